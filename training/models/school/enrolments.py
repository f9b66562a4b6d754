"""Enrollments, moves between versions of a course, and assignments of instructors."""

import datetime
import uuid

from django.db import models
from django.db.models import F, Q


class Dated(models.Model):
    """Something from a first through a last day; without a last day it continues."""

    starts = models.DateField("first day")
    ends = models.DateField("last day", null=True, blank=True)

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=Q(ends__isnull=True) | Q(ends__gte=F("starts")),
                name="%(class)s_does_not_end_before_it_starts",
            ),
        ]

    @staticmethod
    def in_force(on: datetime.date, prefix: str = "") -> Q:
        """The condition that a row is in force on a day; ``prefix`` is a lookup path, such as ``roles__``."""
        ends, starts = f"{prefix}ends", f"{prefix}starts"
        return Q(**{f"{starts}__lte": on}) & (Q(**{f"{ends}__isnull": True}) | Q(**{f"{ends}__gte": on}))


class Enrolment(Dated):
    """A student in training at the school, in a version of a course if there is one.

    Newer versions do not affect it; only a ``CourseMove`` changes its version.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.CASCADE, related_name="enrolments")
    course_version = models.ForeignKey(
        "syllabus.CourseVersion", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    ref = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)

    class Meta(Dated.Meta):
        ordering = ["starts", "pk"]

    def __str__(self) -> str:
        return f"{self.student} from {self.starts}"


class CourseMove(models.Model):
    """An enrollment moved from one version of its course to a newer one. Written once, never edited.

    ``carried`` says whether the grade of each item carries over, and if not why: ``[{"item", "grade",
    "carries", "why", "note"}]``.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.CASCADE, related_name="+")
    enrolment = models.ForeignKey(Enrolment, on_delete=models.CASCADE, related_name="moves")
    from_version = models.ForeignKey("syllabus.CourseVersion", on_delete=models.PROTECT, related_name="+")
    to_version = models.ForeignKey("syllabus.CourseVersion", on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    carried = models.JSONField(default=list)
    ledger_tree = models.CharField(max_length=100)
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.enrolment}: {self.from_version} to {self.to_version}"


class Assignment(Dated):
    """An instructor teaches a student, and has access to the record meanwhile."""

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.CASCADE, related_name="assignments")
    instructor = models.ForeignKey("training.User", on_delete=models.CASCADE, related_name="assignments")

    class Meta(Dated.Meta):
        ordering = ["starts", "pk"]
        indexes = [models.Index(fields=["instructor", "student"], name="assignment_by_instructor")]

    def __str__(self) -> str:
        return f"{self.instructor} teaches {self.student} from {self.starts}"
