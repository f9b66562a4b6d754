"""Solo releases: what was asked for, what an instructor decided, and the end. Each row is written once."""

import datetime as dt
import uuid

from django.db import models
from django.db.models import Q


class SoloRelease(models.Model):
    """A request to release a student for one solo flight. Another flight is another request.

    ``flight`` is the flight as planned, in the form that the engine reads (``PlannedFlight``).
    """

    class State(models.TextChoices):
        REQUESTED = "requested"
        RELEASED = "released"
        DECLINED = "declined"
        EXPIRED = "expired"
        ENDED = "ended"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="solo_releases")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField("requested at")
    flight = models.JSONField()
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replacement"
    )

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["student", "-at"], name="solorelease_by_student")]

    def __str__(self) -> str:
        return f"solo release {self.pk}"

    def state(self, at: dt.datetime) -> str:
        """The state at an instant; a release that ran out is expired whether or not anybody ended it."""
        decision: ReleaseDecision | None = getattr(self, "decision", None)
        if hasattr(self, "end"):
            return self.State.ENDED
        if decision is None:
            return self.State.REQUESTED
        if decision.ends_at is not None and decision.ends_at <= at:
            return self.State.EXPIRED
        return decision.decision


class ReleaseDecision(models.Model):
    """An instructor's decision on a request, as signed.

    ``answer`` is the whole answer under the signature, ``checked`` the hash of the check that the instructor
    sent back. ``lines_confirmed`` are the lines that the instructor confirmed one by one. A release is
    ``against`` the check if a line of it is not met or unknown, and then has a ``reason``.
    """

    DECISIONS = ("released", "declined")

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="+")
    release = models.OneToOneField(SoloRelease, on_delete=models.PROTECT, related_name="decision")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    decision = models.CharField(max_length=10, choices=[(each, each) for each in DECISIONS])
    reason = models.TextField(blank=True)
    checked = models.CharField(max_length=80)
    answer = models.JSONField(help_text="every line with its answer, the confirmed lines met")
    lines_confirmed = models.JSONField(default=list, blank=True)
    against = models.BooleanField("a line is not met or unknown", default=False)
    ends_at = models.DateTimeField(null=True, blank=True)
    confirmed = models.JSONField(default=dict, blank=True, help_text="as the ledger has it")
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(decision="released", ends_at__isnull=False) & (Q(against=False) | ~Q(reason=""))
                | Q(decision="declined", ends_at__isnull=True) & ~Q(reason=""),
                name="releasedecision_has_its_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.decision}: {self.release_id}"


class ReleaseEnd(models.Model):
    """The end of a release or of a request before its time: flown, withdrawn, replaced, or called back."""

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="+")
    release = models.OneToOneField(SoloRelease, on_delete=models.PROTECT, related_name="end")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reason = models.TextField()
    confirmed = models.JSONField(default=dict, blank=True, help_text="as the ledger has it")
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="releaseend_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"end of {self.release_id}"
