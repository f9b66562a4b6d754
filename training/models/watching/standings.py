"""What was worked out from a record and is kept: where a student stands, and what ends next.

The record is the truth; these rows are drawn from it by ``training.services.reminders`` and could all be
drawn again. ``Stale`` says whose are to be drawn anew; the database itself writes it with every change
(``training.models.staleness``).
"""

import uuid

from django.db import models
from django.db.models import Q

#: Characters of the name of what ends, such as ``endorsement:solo-90-day@C172``.
WHAT_LENGTH = 400


class Stale(models.Model):
    """A student whose record, or name or model, changed since it was worked out last; or who is new.

    ``attempts`` counts how often it was begun; ``parked_at`` is set where it failed so often that it is left
    until the record changes again, with the ``fault`` in words.
    """

    student_id = models.BigIntegerField(primary_key=True)
    school = models.ForeignKey(
        "training.School", on_delete=models.CASCADE, related_name="+", db_constraint=False
    )
    attempts = models.PositiveSmallIntegerField(default=0, db_default=0)
    parked_at = models.DateTimeField(null=True, blank=True)
    fault = models.TextField(blank=True, default="", db_default="")

    class Meta:
        verbose_name_plural = "stale"
        ordering = ["student_id"]
        indexes = [
            models.Index(
                fields=["student_id"], condition=Q(parked_at__isnull=True), name="stale_not_parked_by_student"
            )
        ]

    def __str__(self) -> str:
        return f"student {self.student_id} is to be worked out"


class Standing(models.Model):
    """Every milestone of one student in short, as it was on a day: the eligibility summary of a list.

    ``summary`` is the JSON of ``reports.Overview``; ``version`` the state of the record and ``rulebook`` the
    rules it was worked out from. ``rendered_by`` is the state of the program that rendered the
    student's pages after that, empty where none did yet (``training.services.records.page_cache``).
    """

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="+")
    student = models.OneToOneField("training.Student", on_delete=models.CASCADE, related_name="standing")
    version = models.UUIDField()
    rulebook = models.CharField(max_length=100)
    on = models.DateField()
    at = models.DateTimeField("worked out at")
    summary = models.JSONField()
    rendered_by = models.CharField("pages made by", max_length=64, blank=True, default="", db_default="")

    class Meta:
        ordering = ["student"]
        indexes = [
            models.Index(fields=["school", "on"], name="standing_by_school_and_day"),
            models.Index(fields=["rulebook"], name="standing_by_rulebook"),
            models.Index(fields=["rendered_by"], name="standing_by_rendered_by"),
        ]

    def __str__(self) -> str:
        return f"{self.student} on {self.on}"


class StandingChange(models.Model):
    """On a day, a student's eligibility for a milestone became another than it was the day before, or earlier
    on the same day. Written once, never edited.

    ``before`` and ``after`` hold ``{"met", "eligible_until", "gaps"}`` of the milestone; ``before`` is null
    where it was never worked out.
    """

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.CASCADE, related_name="standing_changes")
    milestone = models.CharField(max_length=200)
    on = models.DateField()
    at = models.DateTimeField()
    before = models.JSONField(null=True)
    after = models.JSONField()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["school", "on"], name="standingchange_by_school_day")]

    def __str__(self) -> str:
        return f"{self.milestone} of {self.student} on {self.on}"


class Lapse(models.Model):
    """Something on a student's record holds on ``last_day`` for the last time, as the record stands.

    ``what`` names it the same at every working out; ``kind`` chooses the lead times; ``first_day`` is the
    span's first day, null where it is open. ``requirements`` are the ids of the rules that end, ``ends`` the
    milestones whose own span ends with it (``[{"milestone", "title", "model"}]``). ``due_at`` is the instant
    at which the next reminder of it is due, null where there is none left; ``due_lead`` its lead time.

    One that is not so any more (renewed, revoked, corrected) stays with ``gone_at``; ``sequence`` counts its
    changes, as calendars want it.
    """

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.CASCADE, related_name="lapses")
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    what = models.CharField(max_length=WHAT_LENGTH)
    kind = models.CharField(max_length=30)
    first_day = models.DateField(null=True, blank=True)
    last_day = models.DateField()
    requirements = models.JSONField(default=list)
    says = models.TextField("in words")
    citations = models.JSONField(default=list)
    model = models.CharField("aircraft model", max_length=60, blank=True)
    ends = models.JSONField(default=list)
    due_at = models.DateTimeField(null=True, blank=True)
    due_lead = models.PositiveSmallIntegerField("lead time of the next, in days", null=True, blank=True)
    gone_at = models.DateTimeField(null=True, blank=True)
    changed_at = models.DateTimeField()
    sequence = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["last_day", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["student", "what", "last_day"], name="lapse_once_for_student_and_day"
            ),
        ]
        indexes = [
            models.Index(
                fields=["due_at"],
                condition=Q(due_at__isnull=False, gone_at__isnull=True),
                name="lapse_by_due_time",
            ),
            models.Index(fields=["school", "last_day"], name="lapse_by_school_and_day"),
        ]

    def __str__(self) -> str:
        return f"{self.what} of {self.student}, {self.last_day}"
