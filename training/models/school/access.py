"""The access log."""

from django.db import models


class AccessLog(models.Model):
    """A person read or wrote a student's record. Written once, never edited."""

    class Action(models.TextChoices):
        READ = "read"
        WRITE = "write"

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="access_log")
    user = models.ForeignKey(
        "training.User",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="empty: someone with the server's command line",
    )
    action = models.CharField(max_length=10, choices=Action.choices)
    what = models.CharField(max_length=100, help_text="such as record, or eligibility and a milestone's id")
    via = models.CharField(max_length=20, help_text="api, web or command")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["student", "at"], name="accesslog_by_student_and_time")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(action__in=["read", "write"]), name="accesslog_action_is_known"
            ),
        ]

    def __str__(self) -> str:
        who = self.user or "command line"
        return f"{self.at:%Y-%m-%d %H:%M} {who}: {self.action} {self.what} of {self.student}"
