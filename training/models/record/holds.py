"""Holds: reasons to retain a student's record beyond the legal period."""

from django.db import models
from django.db.models import F, Q


class RetentionHold(models.Model):
    """While one is in force, nothing of the student's record is erased: an investigation, a dispute."""

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="holds")
    reason = models.TextField()
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        "training.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    released_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="hold_has_a_reason"),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True)
                | (Q(released_at__gte=F("at")) & ~Q(released_reason="")),
                name="hold_is_released_later_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"hold on {self.student}: {self.reason}"
