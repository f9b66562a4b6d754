"""The log of changes of a school's people."""

from django.db import models


class PeopleChange(models.Model):
    """One change of a role, an assignment or an account's membership. Written once, never edited.

    ``user`` has the role or the assignment; ``student`` is the student concerned, if any. ``before`` and
    ``after`` have the old and new values (``{"certificate": …}``), or null.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(
        "training.User",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="empty: someone with the server's command line",
    )
    user = models.ForeignKey(
        "training.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    student = models.ForeignKey(
        "training.Student", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    what = models.CharField(max_length=60, help_text="such as instructor added, or assignment ended")
    before = models.JSONField(null=True, blank=True)
    after = models.JSONField(null=True, blank=True)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["school", "-at"], name="peoplechange_by_school")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.by or 'command line'}: {self.what}"
