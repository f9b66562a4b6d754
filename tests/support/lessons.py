"""Lesson records for the tests: what a lesson says, and the steps from the draft to the sign-off."""

from __future__ import annotations

import contextlib
import copy
import datetime as dt
import uuid
from collections.abc import Iterator
from typing import Any

from django.db import connection, transaction

from tests.support.cast import Cast
from training import models
from training.services.lessons import lesson_content, lesson_findings, lesson_records, sign_offs
from training.services.lessons.lesson_findings import Accepted
from training.triggers import sealing

#: Noon at the school, the day after the lesson.
AT = dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC)
CONTENT: dict[str, Any] = {
    "flight": {
        "date": "2026-03-02",
        "aircraft": {
            "registration": "N00XY",
            "model": "C172",
            "category": "airplane",
            "class": "single-engine land",
        },
        "route": ["KGRB", "KMTW", "KGRB"],
        "off": "2026-03-02T13:00:00-06:00",
        "on": "2026-03-02T14:24:00-06:00",
        "times": {"total": "1.4 h", "dual": "84 min"},
        "landings": [{"at": "KMTW", "takeoffs": 3, "landings": 3, "period": "day", "full_stop": True}],
        "remarks": "gusts from the left",
    },
    "ground": {"date": "2026-03-02", "time": "0.5 h", "topic": "crosswind landings"},
    "items": [
        {"item": "presolo.d-01", "grade": "perform", "remarks": ""},
        {"item": "presolo.d-02", "grade": "practice", "measured": {"altitude lost": "180 ft"}},
    ],
    "comments": "Well prepared.",
    "next": "Steep turns again.",
}


def content(**changed: Any) -> dict[str, Any]:
    """The content with parts put in their place."""
    return {**copy.deepcopy(CONTENT), **changed}


def flown(**changed: Any) -> dict[str, Any]:
    """The content whose flight has other values."""
    return content(flight={**copy.deepcopy(CONTENT["flight"]), **changed})


def draft(people: Cast, said: Any = None, **given: Any) -> models.LessonRecord:
    return lesson_records.create(
        given.pop("student", people.sam),
        **{
            "id": uuid.uuid4(),
            "lesson": "S1-L3",
            "content": CONTENT if said is None else said,
            "by": people.ida,
            "at": AT,
            "via": "api",
            **given,
        },
    )


def accepted(lesson: models.LessonRecord, by: models.User, at: dt.datetime = AT) -> Accepted:
    """The findings of a lesson, read just now, with a reason for signing it all the same."""
    found = lesson_findings.of(lesson, lesson_content.read(lesson.content), by, at)
    return Accepted(lesson_findings.hash_of(found), "It happened so, and is put on record.")


def sign(lesson: models.LessonRecord, by: models.User, **given: Any) -> models.SignOff:
    """Sign a lesson whose findings were read, unless ``accepted`` says otherwise."""
    given.setdefault("accepted", accepted(lesson, by, given.get("at", AT)))
    return sign_offs.sign_off(
        lesson.pk, **{"by": by, "content_hash": lesson.content_hash, "at": AT, "via": "api", **given}
    )


def signed(people: Cast, said: Any = None, **given: Any) -> models.LessonRecord:
    """A lesson record that Ida signed."""
    lesson = draft(people, said, **given)
    sign(lesson, people.ida)
    lesson.refresh_from_db()
    return lesson


@contextlib.contextmanager
def unguarded() -> Iterator[None]:
    """No trigger on sealed rows for the time of the block, as only the owner of the tables can have it."""

    def settled() -> None:
        # PostgreSQL alters no table on which a foreign key is still to be checked at the transaction's end.
        if connection.vendor == "postgresql" and connection.in_atomic_block:
            with connection.cursor() as cursor:
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("SET CONSTRAINTS ALL DEFERRED")

    settled()
    sealing.TRIGGERS.remove(connection)
    try:
        yield
    finally:
        settled()
        sealing.TRIGGERS.install(connection)


def take_out() -> None:
    """Every sealed row, so that the runner can empty the tables after a test that commits."""
    with unguarded(), transaction.atomic(), connection.cursor() as cursor:
        for model in (
            models.ReleaseEnd,
            models.ReleaseDecision,
            models.SoloRelease,
            models.EndorsementSeal,
            models.Revocation,
            models.Acknowledgement,
            models.Correction,
            models.SignOff,
            models.LessonRecord,
            models.Landing,
            *models.ENTRIES,
        ):
            cursor.execute(f"DELETE FROM {model._meta.db_table}")
