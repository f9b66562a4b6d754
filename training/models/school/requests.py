"""Requests of students to their instructors."""

from django.db import models
from django.db.models import Q


class StudentRequest(models.Model):
    """A student asks for a lesson, for the correction of a signed lesson, or for a solo release.

    ``text`` and ``answer`` are each in the writer's own words. No part of the training record: an answer
    changes nothing there, and the hand-over of a record does not have it.
    """

    class Kind(models.TextChoices):
        LESSON = "lesson"
        CORRECTION = "correction"
        RELEASE = "release"

    class State(models.TextChoices):
        OPEN = "open"
        ACCEPTED = "accepted"
        DECLINED = "declined"
        WITHDRAWN = "withdrawn"

    id = models.UUIDField(primary_key=True)
    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="requests")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    on = models.DateField("day of the flight", null=True, blank=True)
    text = models.TextField(blank=True)
    lesson = models.ForeignKey(
        "training.LessonRecord",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="to be corrected",
    )
    at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)
    answer = models.TextField(blank=True)

    class Meta:
        ordering = ["-at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="correction", lesson__isnull=False)
                | Q(on__isnull=False, lesson__isnull=True),
                name="request_names_its_day_or_lesson",
            ),
            models.CheckConstraint(
                condition=Q(state="open", answered_at__isnull=True, by__isnull=True)
                | Q(answered_at__isnull=False, by__isnull=False),
                name="request_is_open_or_answered",
            ),
        ]
        indexes = [
            models.Index(fields=["student"], condition=Q(state="open"), name="request_open_by_student"),
            models.Index(fields=["student", "on"], name="request_by_student_and_day"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} for {self.student}: {self.state}"
