"""Who replaced a record, when, why, and from what to what."""

from django.db import models


class RecordChange(models.Model):
    """One replacement of a student's record. Written once, never edited.

    ``before`` and ``after`` are hashes of the record document (its canonical form); ``counts`` has for each
    list how many entries were added, changed, removed and unchanged. The changed and removed rows still
    exist, retired at the same instant. ``student_before`` has the old name and birth date; null if neither
    changed. ``reason`` is what the person wrote, ``confirmed`` how they re-authenticated; ``ledger_index`` is
    null if the change was made before changes were signed.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="record_changes")
    by = models.ForeignKey(
        "training.User",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="empty: someone with the server's command line",
    )
    at = models.DateTimeField()
    before = models.CharField(max_length=80)
    after = models.CharField(max_length=80)
    counts = models.JSONField()
    student_before = models.JSONField(null=True, blank=True)
    reason = models.TextField(blank=True)
    confirmed = models.JSONField(default=dict, blank=True)
    ledger_index = models.BigIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.student}, {self.at:%Y-%m-%d %H:%M}"
