"""Findings of audits, and their resolutions."""

import uuid

from django.db import models
from django.db.models import Q

from syllabus.engine.audit.audit import MENDS, SEVERITIES


class AuditRun(models.Model):
    """An audit of a school's records: as of a day, with what was known at an instant."""

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="audit_runs")
    at = models.DateTimeField()
    on = models.DateField()
    by = models.ForeignKey(
        "training.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    students = models.PositiveIntegerField()
    found = models.PositiveIntegerField()
    rulebook = models.CharField(max_length=100)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["school", "-at"], name="auditrun_by_school")]

    def __str__(self) -> str:
        return f"audit of {self.school} as of {self.on}"


class NightlyAudit(models.Model):
    """How a school's last nightly audit went: on which day at the school, after how many tries.

    ``fault`` is why the last try failed; empty where it is done, or where a try ended with its process.
    """

    school = models.OneToOneField(
        "training.School", on_delete=models.CASCADE, related_name="nightly_audit", primary_key=True
    )
    on = models.DateField()
    tries = models.PositiveSmallIntegerField(default=0)
    done = models.BooleanField(default=False)
    fault = models.TextField(blank=True, default="")

    class Meta:
        ordering = ["school"]

    def __str__(self) -> str:
        return f"nightly audit of {self.school} on {self.on}"


class Finding(models.Model):
    """One finding of an audit, recognized by its ``key`` when found again; never deleted.

    ``key`` follows from the kind and the subject alone, so that the same finding in other words is the same.
    ``digest`` is over what was found; if it changes, an earlier resolution no longer applies. ``body`` is
    from the latest audit. ``gone_at``: an audit no longer found it; ``returned_at``: a later one found it
    again.
    """

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="findings")
    student = models.ForeignKey(
        "training.Student", on_delete=models.CASCADE, null=True, blank=True, related_name="findings"
    )
    instructor = models.ForeignKey(
        "training.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    ref = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    key = models.CharField(max_length=64)
    kind = models.CharField(max_length=40)
    severity = models.CharField(max_length=12)
    day = models.DateField()
    digest = models.CharField(max_length=64)
    body = models.JSONField()
    first_seen = models.DateTimeField()
    last_seen = models.DateTimeField()
    changed_at = models.DateTimeField("found otherwise than before at", null=True, blank=True)
    gone_at = models.DateTimeField(null=True, blank=True)
    returned_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-day", "-pk"]
        indexes = [
            models.Index(fields=["school", "-day", "-id"], name="finding_by_school_and_day"),
            models.Index(fields=["student"], name="finding_by_student"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["school", "key"], name="finding_once_for_school"),
            models.CheckConstraint(
                condition=Q(severity__in=list(SEVERITIES)), name="finding_severity_is_known"
            ),
            models.CheckConstraint(
                condition=Q(last_seen__gte=models.F("first_seen")), name="finding_not_seen_before_first"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.day}"


class Resolution(models.Model):
    """A finding was resolved. Written once, never edited; signed into the school's ledger.

    ``how`` is what was done: a correction, a note, or nothing. ``digest`` is that of the finding then.
    """

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="+")
    finding = models.ForeignKey(Finding, on_delete=models.CASCADE, related_name="resolutions")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    how = models.CharField(max_length=12)
    note = models.TextField()
    digest = models.CharField(max_length=64)
    confirmed = models.JSONField(default=dict, blank=True, help_text="as the ledger has it")
    ledger_tree = models.CharField(max_length=100)
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(how__in=list(MENDS)), name="resolution_how_is_known"),
            models.CheckConstraint(condition=~Q(note=""), name="resolution_has_a_note"),
        ]

    def __str__(self) -> str:
        return f"resolution of {self.finding}"
