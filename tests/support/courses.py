"""The shipped course for the tests, as a value and as a published version that lessons are of."""

from __future__ import annotations

import datetime as dt
import pathlib
from functools import cache
from typing import Any

from syllabus.courses import files, outlines
from syllabus.engine.course.course import Outline
from syllabus.models import CourseVersion
from tests.support.cast import Cast
from tests.support.lessons import AT
from training import models

FILE = pathlib.Path(__file__).parents[2] / "fixtures" / "courses" / "private-airplane.yaml"


@cache
def private_airplane() -> Outline:
    return files.read_bytes(FILE.read_bytes(), FILE.name)


def published(outline: Outline | None = None) -> CourseVersion:
    """A published version."""
    return outlines.publish(outlines.save(outline or private_airplane()).version, AT - dt.timedelta(days=30))


def enrolled(people: Cast, version: CourseVersion | None = None, **given: Any) -> models.Enrolment:
    """Sam in training in that version, by default the shipped course, since the beginning of the year."""
    return models.Enrolment.objects.create(
        school=people.school,
        student=people.sam,
        course_version=version or published(),
        starts=dt.date(2026, 1, 1),
        **given,
    )
