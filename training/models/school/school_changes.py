"""The log of changes of a school's settings."""

from django.db import models


class SchoolChange(models.Model):
    """One change of a school's settings or aircraft models. Written once, never edited.

    ``before`` and ``after`` have what changed: ``{"taxi_allowance_minutes": 30}``, or the links of spellings.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    what = models.CharField(max_length=60, help_text="settings, or aircraft models")
    before = models.JSONField()
    after = models.JSONField()
    at = models.DateTimeField()
    reason = models.TextField(blank=True, default="", help_text="why, where that is asked")
    confirmed = models.JSONField(
        default=dict, blank=True, help_text="how it was made sure who changed it, where that is asked"
    )

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["school", "-at"], name="schoolchange_by_school")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.by}: {self.what}"
