"""Records imported from another school, with that school's ledger entries."""

from django.db import models
from django.db.models import Q


class HandOver(models.Model):
    """An import of a student's record from another school's file. Written once, never edited.

    ``origin_tree`` is the name of that school's ledger and ``origin_subject`` the student's reference there;
    ``kid`` the signing key, ``size`` and ``root`` those of its checkpoint, signed ``made_at``. ``brought``
    are the ids of the imported entries by list: a newer import replaces these, and no others.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="hand_overs")
    origin = models.TextField("school that handed over, as it calls itself")
    origin_tree = models.CharField(max_length=100)
    origin_subject = models.CharField(max_length=200)
    kid = models.CharField("key id", max_length=64)
    size = models.BigIntegerField("entries of that ledger")
    root = models.CharField(max_length=64)
    made_at = models.DateTimeField("signed there at")
    manifest = models.CharField("hash of the signed list of contents", max_length=80)
    rulebook = models.CharField("the other school's rulebook", max_length=80)
    brought = models.JSONField(default=dict)
    by = models.ForeignKey(
        "training.User",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="empty: someone with the server's command line",
    )
    at = models.DateTimeField()
    ledger_tree = models.CharField(max_length=100)
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["school", "origin_subject"], name="handover_by_subject")]

    def __str__(self) -> str:
        return f"{self.student} from {self.origin}, {self.made_at:%Y-%m-%d}"


class ForeignEntry(models.Model):
    """An entry of another school's ledger, as its ledger has it. Written once, never edited.

    ``verified`` says that its proof and its body match a checkpoint signed with a trusted key; it is false if
    the body had been erased there, so that only the proof could be checked.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="foreign_entries")
    hand_over = models.ForeignKey(HandOver, on_delete=models.PROTECT, related_name="entries")
    tree = models.CharField("ledger of origin", max_length=100)
    index = models.BigIntegerField()
    kind = models.CharField(max_length=64)
    subject = models.CharField(max_length=200)
    sealed_at = models.CharField("sealed there at", max_length=27)
    commitment = models.CharField(max_length=64)
    body = models.TextField(null=True, blank=True)  # noqa: DJ001
    salt = models.CharField(max_length=64, null=True, blank=True)  # noqa: DJ001
    kid = models.CharField("key id", max_length=64)
    verified = models.BooleanField()

    class Meta:
        verbose_name_plural = "foreign entries"
        ordering = ["tree", "index"]
        constraints = [
            models.UniqueConstraint(fields=["student", "tree", "index"], name="foreignentry_once"),
            models.CheckConstraint(
                condition=Q(body__isnull=True, salt__isnull=True, verified=False)
                | Q(body__isnull=False, salt__isnull=False),
                name="foreignentry_body_with_salt",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tree} {self.index}: {self.kind}"
