"""Who is taught at a school, by whom, and for how long."""

import datetime

from django.db import models
from django.db.models import F, Q


class Dated(models.Model):
    """Something that lasts from a first day to a last day, both included; without a last day it goes on."""

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
        """The condition that a row is in force on a day; ``prefix`` names the way to it, as ``roles__``."""
        ends, starts = f"{prefix}ends", f"{prefix}starts"
        return Q(**{f"{starts}__lte": on}) & (Q(**{f"{ends}__isnull": True}) | Q(**{f"{ends}__gte": on}))


class Enrolment(Dated):
    """A student is in training at the school."""

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.CASCADE, related_name="enrolments")

    class Meta(Dated.Meta):
        ordering = ["starts", "pk"]

    def __str__(self) -> str:
        return f"{self.student} from {self.starts}"


class Assignment(Dated):
    """An instructor teaches a student, and sees the record while that lasts."""

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.CASCADE, related_name="assignments")
    instructor = models.ForeignKey("training.User", on_delete=models.CASCADE, related_name="assignments")

    class Meta(Dated.Meta):
        ordering = ["starts", "pk"]
        indexes = [models.Index(fields=["instructor", "student"], name="assignment_by_instructor")]

    def __str__(self) -> str:
        return f"{self.instructor} teaches {self.student} from {self.starts}"
