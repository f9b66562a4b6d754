"""Reminders of expirations: one row for each thing, owner and lead time."""

import uuid

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from training.models.watching.standings import WHAT_LENGTH

#: The longest lead time, in days.
MOST_LEAD = 366


def check_days(value: object) -> None:
    """Refuse invalid lead times."""
    days = value if isinstance(value, list) else [value]
    whole = all(type(each) is int and 0 <= each <= MOST_LEAD for each in days)
    if days is value and whole and len(set(days)) == len(days):
        return
    raise ValidationError(f"Write different whole days from 0 to {MOST_LEAD}, such as [60, 30, 7].")


class LeadTimes(models.Model):
    """A school's own lead times for one kind of thing, which replace the defaults."""

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="lead_times")
    kind = models.CharField(max_length=30)
    days = models.JSONField(
        blank=True,
        validators=[check_days],
        help_text="days before the last day, such as [60, 30, 7]; [] for none",
    )

    class Meta:
        verbose_name_plural = "lead times"
        ordering = ["kind"]
        constraints = [models.UniqueConstraint(fields=["school", "kind"], name="leadtimes_once_for_kind")]

    def __str__(self) -> str:
        return f"{self.kind} at {self.school}: {self.days}"


class Reminder(models.Model):
    """A reminder that something expires, ``lead_days`` before its last day. Never doubled.

    It is of a student's record, of an instructor's role at the school, or of an aircraft. If its expiration
    is gone it is withdrawn, and restored if that comes back; what was sent is not sent again.
    """

    class State(models.TextChoices):
        DUE = "due"
        WITHDRAWN = "withdrawn"

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="+")
    ref = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    student = models.ForeignKey(
        "training.Student", on_delete=models.CASCADE, null=True, blank=True, related_name="reminders"
    )
    role = models.ForeignKey(
        "training.Role", on_delete=models.CASCADE, null=True, blank=True, related_name="reminders"
    )
    aircraft = models.ForeignKey(
        "training.Aircraft", on_delete=models.CASCADE, null=True, blank=True, related_name="reminders"
    )
    what = models.CharField(max_length=WHAT_LENGTH)
    kind = models.CharField(max_length=30)
    last_day = models.DateField()
    lead_days = models.PositiveSmallIntegerField("lead time, days")
    says = models.TextField("in words")
    citations = models.JSONField(default=list)
    ends = models.JSONField(default=list)
    state = models.CharField(max_length=10, choices=State.choices, default=State.DUE)
    due_at = models.DateTimeField()
    created_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["last_day", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["student", "what", "last_day", "lead_days"],
                condition=Q(student__isnull=False),
                name="reminder_once_for_student",
            ),
            models.UniqueConstraint(
                fields=["role", "what", "last_day", "lead_days"],
                condition=Q(role__isnull=False),
                name="reminder_once_for_role",
            ),
            models.UniqueConstraint(
                fields=["aircraft", "what", "last_day", "lead_days"],
                condition=Q(aircraft__isnull=False),
                name="reminder_once_for_aircraft",
            ),
            models.CheckConstraint(
                condition=Q(student__isnull=False, role__isnull=True, aircraft__isnull=True)
                | Q(student__isnull=True, role__isnull=False, aircraft__isnull=True)
                | Q(student__isnull=True, role__isnull=True, aircraft__isnull=False),
                name="reminder_is_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["due", "withdrawn"]), name="reminder_state_is_known"
            ),
        ]
        indexes = [models.Index(fields=["school", "created_at"], name="reminder_by_school_and_time")]

    def __str__(self) -> str:
        return f"{self.what}, {self.lead_days} days before {self.last_day}"


class ReminderOf(models.Model):
    """What one user did with one reminder: read it, or postponed it until a day."""

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="+")
    reminder = models.ForeignKey(Reminder, on_delete=models.CASCADE, related_name="seen_by")
    user = models.ForeignKey("training.User", on_delete=models.CASCADE, related_name="+")
    read_at = models.DateTimeField(null=True, blank=True)
    snoozed_until = models.DateField(null=True, blank=True)

    class Meta:
        verbose_name = "reminder of a user"
        verbose_name_plural = "reminders of users"
        ordering = ["reminder"]
        constraints = [models.UniqueConstraint(fields=["reminder", "user"], name="reminderof_once_for_user")]

    def __str__(self) -> str:
        return f"{self.reminder} of {self.user}"
