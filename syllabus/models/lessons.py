"""Lessons, their planned times, and the items they plan with the grade each asks for."""

from __future__ import annotations

import datetime as dt

from django.db import models
from django.db.models import F, Q

from syllabus.engine.record.record import GRADES
from syllabus.models.courses import CODE, Positioned, Stage
from syllabus.models.items import Item


def _planned() -> models.DurationField[object, object]:
    """Exact to the microsecond; null where the lesson says nothing of that kind of time."""
    return models.DurationField(null=True, blank=True)


class Lesson(Positioned):
    """One lesson of a stage. Dual and solo make up the flight time; the others but ground are parts of it."""

    VERSION = "stage__version"

    stage = models.ForeignKey(Stage, on_delete=models.CASCADE, related_name="lessons")
    code = models.CharField(max_length=CODE)
    title = models.CharField(max_length=200)
    objective = models.TextField()
    completion = models.TextField("completion standard")
    dual = _planned()
    solo = _planned()
    cross_country = _planned()
    night = _planned()
    instrument = _planned()
    preparation = _planned()
    ground = _planned()
    plans = models.JSONField(
        default=list, blank=True, help_text="ids of requirements that the lesson is laid out to meet"
    )

    class Meta(Positioned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["stage", "code"], name="lesson_code_once"),
            models.UniqueConstraint(fields=["stage", "position"], name="lesson_position_once"),
            models.CheckConstraint(
                condition=Q(
                    *(
                        Q(**{f"{kind}__isnull": True}) | Q(**{f"{kind}__gte": dt.timedelta()})
                        for kind in (
                            "dual",
                            "solo",
                            "cross_country",
                            "night",
                            "instrument",
                            "preparation",
                            "ground",
                        )
                    )
                ),
                name="lesson_no_time_below_zero",
            ),
            models.CheckConstraint(
                condition=Q(preparation__isnull=True) | Q(preparation__lte=F("dual")),
                name="lesson_prepares_in_dual_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class LessonItem(Positioned):
    """An item planned in a lesson, and the least grade there that completes the lesson."""

    VERSION = "lesson__stage__version"

    lesson = models.ForeignKey(Lesson, on_delete=models.CASCADE, related_name="planned")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="planned_in")
    minimum_grade = models.CharField(max_length=20)

    class Meta(Positioned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["lesson", "item"], name="lessonitem_once"),
            models.UniqueConstraint(fields=["lesson", "position"], name="lessonitem_position_once"),
            models.CheckConstraint(condition=Q(minimum_grade__in=GRADES), name="lessonitem_grade_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.item} at {self.minimum_grade}"
