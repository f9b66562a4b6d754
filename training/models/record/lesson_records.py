"""Lesson records: draft, sign-off, acknowledgement, correction; and notices."""

from django.db import models
from django.db.models import Q

from syllabus.engine.record.record import NOT_OBSERVED
from training.triggers.sealing import PREFIX_LENGTH


class LessonRecord(models.Model):
    """One lesson, as an instructor writes it down and then signs it.

    The client chooses the ``id``, so that a record made offline may arrive several times. ``content`` is in
    the one form that ``training.services.lessons.lesson_content`` writes; ``content_hash`` is over its
    canonical form (RFC 8785) with the lesson's code and what it corrects. ``first_hash`` is that of the
    record as it first arrived. ``version`` counts the drafts from 1. ``warnings`` never refuse anything.

    The database refuses changes and deletion of a signed record (``training.triggers.sealing``).
    """

    class State(models.TextChoices):
        DRAFT = "draft"
        SIGNED = "signed"

    id = models.UUIDField(primary_key=True, editable=False)
    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="lesson_records")
    instructor = models.ForeignKey(
        "training.User", on_delete=models.PROTECT, related_name="+", help_text="who wrote the draft last"
    )
    lesson = models.CharField("the lesson's code", max_length=200, blank=True)
    course_version = models.ForeignKey(
        "syllabus.CourseVersion",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="the version of the course whose lesson and items it names",
    )
    content = models.JSONField()
    content_hash = models.CharField(max_length=80)
    first_hash = models.CharField(max_length=80)
    warnings = models.JSONField(default=list, blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    version = models.PositiveIntegerField(default=1)
    corrects = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    reason = models.TextField(blank=True, help_text="why it corrects the other")
    off_at = models.DateTimeField(null=True, blank=True, help_text="as in content, to find overlaps by")
    on_at = models.DateTimeField(null=True, blank=True)
    aircraft_registration = models.TextField(blank=True)
    created_at = models.DateTimeField()
    updated_at = models.DateTimeField()

    class Meta:
        ordering = ["-created_at", "id"]
        indexes = [
            models.Index(fields=["student", "-created_at"], name="lessonrecord_by_student"),
            models.Index(
                fields=["school", "off_at"], condition=Q(state="draft"), name="lessonrecord_draft_by_time"
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["draft", "signed"]), name="lessonrecord_state_is_known"
            ),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True, reason="") | (Q(corrects__isnull=False) & ~Q(reason="")),
                name="lessonrecord_corrects_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"lesson {self.lesson or self.id} of {self.student}"

    @property
    def prefix(self) -> str:
        """The start of the ids of this lesson's entries in the student's record."""
        return f"{self.id}/"

    @property
    def only_planned(self) -> bool:
        """Whether nothing was done yet: no flight, no ground lesson, no grade."""
        said = self.content
        graded = any(each.get("grade") != NOT_OBSERVED for each in said.get("items") or ())
        return not (said.get("flight") or said.get("ground") or graded)


class SignOff(models.Model):
    """An instructor's signature of a lesson record. Written once, never edited.

    ``at`` is when it arrived here, ``performed_at`` when the instructor signed; the two differ for an offline
    signature. ``warnings`` and ``hints`` (measured values beside their standards, as
    ``training.services.lessons.lesson_hints`` gives them) are those that the instructor saw. ``findings`` are
    what the audit found of the lesson at the signature, and ``findings_reason`` why it was signed all the
    same. ``confirmed`` is the re-authentication (``training.ledger.core.assertions``).
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="+")
    lesson = models.OneToOneField(LessonRecord, on_delete=models.PROTECT, related_name="sign_off")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    instructor_name = models.TextField()
    instructor_certificate = models.TextField()
    at = models.DateTimeField()
    performed_at = models.DateTimeField()
    content_hash = models.CharField(max_length=80)
    warnings = models.JSONField(default=list, blank=True)
    hints = models.JSONField(default=list, blank=True)
    findings = models.JSONField(default=list, db_default=models.Value([], models.JSONField()), blank=True)
    findings_reason = models.TextField(default="", db_default="", blank=True)
    confirmed = models.JSONField(default=dict, blank=True, help_text="as the ledger has it")
    ledger_tree = models.CharField(max_length=100)
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["ledger_tree", "ledger_index"], name="signoff_sealed_once"),
            models.CheckConstraint(
                condition=Q(performed_at__lte=models.F("at")), name="signoff_not_sealed_before_performed"
            ),
        ]

    def __str__(self) -> str:
        return f"sign-off of {self.lesson}"


class Acknowledgement(models.Model):
    """The student's signature: the lesson record was read. Written once, never edited."""

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="+")
    sign_off = models.OneToOneField(SignOff, on_delete=models.PROTECT, related_name="acknowledgement")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    confirmed = models.JSONField(default=dict, blank=True, help_text="as the ledger has it")
    ledger_tree = models.CharField(max_length=100)
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"acknowledgement of {self.sign_off}"


class Correction(models.Model):
    """A signed lesson record replaced another. Written once, never edited.

    It allows retiring the other's entries, whose ids begin with ``entries``.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="+")
    lesson = models.OneToOneField(LessonRecord, on_delete=models.PROTECT, related_name="correction")
    successor = models.OneToOneField(LessonRecord, on_delete=models.PROTECT, related_name="correction_of")
    entries = models.CharField(max_length=PREFIX_LENGTH)
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reason = models.TextField()
    ledger_tree = models.CharField(max_length=100)
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="correction_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"correction of {self.lesson}"


class Notice(models.Model):
    """A notice to a student inside the program, written together with what it is about."""

    class Kind(models.TextChoices):
        SIGNED = "lesson-signed"
        CORRECTED = "lesson-corrected"
        RECORD_CHANGED = "record-changed"
        PERSON_CHANGED = "name-or-birth-date-changed"
        REMINDER = "reminder"

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="notices")
    user = models.ForeignKey(
        "training.User",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="notices",
        help_text="the student's account; empty where there is none yet",
    )
    kind = models.CharField(max_length=30, choices=Kind.choices)
    about = models.CharField(
        max_length=100,
        help_text="the id of the lesson record or of the change, or of the reminder with its reader",
    )
    at = models.DateTimeField()
    read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [models.UniqueConstraint(fields=["kind", "about"], name="notice_once")]

    def __str__(self) -> str:
        return f"{self.kind} {self.about}"
