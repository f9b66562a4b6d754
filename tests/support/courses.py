"""The shipped course for the tests, as a value and as a published version that lessons are of."""

from __future__ import annotations

import datetime as dt
import pathlib
from functools import cache
from typing import Any

from syllabus.courses import files, outlines
from syllabus.engine.course.course import Outline
from syllabus.models import Course, CourseParts, CourseVersion
from syllabus.models.courses import PUBLISHED
from tests.support.cast import Cast
from tests.support.lessons import AT
from training import models

FILE = pathlib.Path(__file__).parents[2] / "fixtures" / "courses" / "private-airplane.yaml"


@cache
def private_airplane() -> Outline:
    return files.read_bytes(FILE.read_bytes(), FILE.name)


def published(outline: Outline | None = None) -> CourseVersion:
    """A published version, by default of the shipped course."""
    if outline is None and not Course.objects.exists():
        return _shipped()
    return outlines.publish(outlines.save(outline or private_airplane()).version, AT - dt.timedelta(days=30))


@cache
def _kept() -> dict[str, Any]:
    return {"content_hash": files.content_hash(private_airplane()), "parts": files.parts(private_airplane())}


def _shipped() -> CourseVersion:
    """The shipped course as publishing leaves it, which would read it several times."""
    outline, kept = private_airplane(), _kept()
    version = CourseVersion.objects.create(
        course=Course.objects.create(code=outline.code),
        number=1,
        content_hash=kept["content_hash"],
        title=outline.title,
        says=outline.says,
    )
    CourseParts.objects.create(version=version, document=kept["parts"])
    version.state, version.published_at = PUBLISHED, AT - dt.timedelta(days=30)
    version.save(update_fields=["state", "published_at"])
    return version


def enrolled(people: Cast, version: CourseVersion | None = None, **given: Any) -> models.Enrolment:
    """Sam in training in that version, by default the shipped course, since the beginning of the year."""
    return models.Enrolment.objects.create(
        school=people.school,
        student=people.sam,
        course_version=version or published(),
        starts=dt.date(2026, 1, 1),
        **given,
    )
