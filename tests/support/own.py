"""A notice and a request of Sam's, an aircraft and a minimum of Ida's school, under a known key."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from syllabus.models import SchoolMinimum
from tests.support.cast import Cast
from training import models

KEY = 4_711
AT = dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC)
SENT: dict[str, Any] = {
    "school": "lakeside",
    "milestone": "faa.first-solo",
    "code": "dual",
    "kind": "total_at_least",
    "params": {"counts": ["dual"], "need": "15 h"},
    "says": "15 hours of dual before the first solo",
    "starts": "2026-03-01",
}


def minimum(people: Cast, **changed: Any) -> SchoolMinimum:
    said = {key: value for key, value in SENT.items() if key not in ("school", "starts")}
    return SchoolMinimum.objects.create(
        **{**said, "school_ref": people.school.slug, "starts": dt.date(2026, 3, 1), **changed}
    )


def notice(people: Cast, **changed: Any) -> models.Notice:
    return models.Notice.objects.create(
        **{
            "school": people.school,
            "student": people.sam,
            "user": people.sams_account,
            "kind": "lesson-signed",
            "about": "a lesson",
            "at": AT,
            **changed,
        }
    )


def request(people: Cast, **changed: Any) -> models.StudentRequest:
    """Sam asks for a lesson."""
    said = {"kind": "lesson", "on": dt.date(2026, 3, 5), "text": "Crosswind landings?", "at": AT}
    return models.StudentRequest.objects.create(
        **{"id": uuid.uuid4(), "school": people.school, "student": people.sam, **said, **changed}
    )


def aircraft(people: Cast, **changed: Any) -> models.Aircraft:
    return models.Aircraft.objects.create(
        **{"school": people.school, "registration": "N00XY", "model": "C172", **changed}
    )


def another_instructor(people: Cast) -> models.Role:
    """Ines, who teaches Sam as well."""
    ines = models.User.objects.create_user("ines@lakeside.example", name="Ines Example")
    models.Assignment.objects.create(
        pk=KEY, school=people.school, student=people.sam, instructor=ines, starts=dt.date(2026, 1, 1)
    )
    return models.Role.objects.create(pk=KEY, school=people.school, user=ines, role="instructor")


def stand(people: Cast) -> None:
    notice(people, pk=KEY)
    craft = aircraft(people, pk=KEY)
    models.Grounding.objects.create(
        pk=KEY, school=people.school, aircraft=craft, kind="defect", reason="Flat tire", at=AT, by=people.ida
    )
    minimum(people, pk=KEY, code="solo", params={"counts": ["solo"], "need": "1 h"}, says="An hour solo")
