"""Ground lessons, and the grades of single items of a lesson."""

import datetime

from django.db import models
from django.db.models import Q

from syllabus.engine.record.record import GRADES, NOT_OBSERVED
from training.models.record.entries import Taught


class GroundLesson(Taught):
    """Ground training received."""

    date = models.DateField()
    time = models.DurationField(default=datetime.timedelta)
    topic = models.TextField(blank=True)

    class Meta(Taught.Meta):
        ordering = ["date", "entry_id"]
        constraints = [
            *Taught.Meta.constraints,
            models.CheckConstraint(
                condition=Q(time__gte=datetime.timedelta()), name="groundlesson_time_not_below_zero"
            ),
        ]


class ItemGrade(Taught):
    """How well one item was done on one day, on the learner-centered scale of FAA-H-8083-9."""

    item = models.TextField()
    date = models.DateField()
    grade = models.CharField(max_length=20)
    flight = models.TextField(null=True, blank=True, help_text="the id of the flight's entry")  # noqa: DJ001
    remarks = models.TextField(blank=True)

    class Meta(Taught.Meta):
        ordering = ["date", "entry_id"]
        constraints = [
            *Taught.Meta.constraints,
            models.CheckConstraint(
                condition=Q(grade__in=[*GRADES, NOT_OBSERVED]), name="itemgrade_grade_is_known"
            ),
        ]
