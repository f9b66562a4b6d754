"""When something that must run on and on last ran."""

from django.db import models


class Tick(models.Model):
    """The last time a repeated work of this installation was done; of no school, overwritten each time."""

    name = models.CharField(primary_key=True, max_length=50)
    at = models.DateTimeField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return f"{self.name}: {self.at:%Y-%m-%d %H:%M:%S}"
