"""Which numbers of passkey signatures are used up."""

from django.db import models


class SpentNonce(models.Model):
    """The number of one passkey signature that is in a ledger. Written once, of no school and no person."""

    nonce = models.CharField(primary_key=True, max_length=30)
    at = models.DateTimeField()

    class Meta:
        ordering = ["at"]

    def __str__(self) -> str:
        return self.nonce
