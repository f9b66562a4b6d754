"""What the tests of reminders share: a student with papers that end, and a sweep at an instant."""

from __future__ import annotations

import contextlib
import datetime as dt
import uuid
from collections.abc import Iterable
from typing import Any
from unittest import mock

from syllabus.engine.record import record as engine
from syllabus.engine.time.units import HOUR
from tests.support import factories
from tests.support.cast import IDAS_CERTIFICATE, Cast
from training import models
from training.services import sweep as sweeping
from training.services.operations import clock
from training.services.records import page_cache
from training.services.sweep import Swept

CHICAGO = dt.timezone(dt.timedelta(hours=-6))
#: Examined at 20: 60 calendar months, through 31 March 2031 (14 CFR 61.23(d)).
MEDICAL = engine.Document("m1", "medical", dt.date(2026, 3, 10), "third")
IDA = engine.Instructor("Ida Example", IDAS_CERTIFICATE)


def at(text: str) -> dt.datetime:
    """An instant in UTC: ``2026-05-03 15:00``."""
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)


def solo(given: str, entry: str = "e1", **more: Any) -> engine.Endorsement:
    """A solo endorsement for the C172, which lives 90 days from its training (14 CFR 61.87(n))."""
    day = dt.date.fromisoformat(given)
    return engine.Endorsement(
        **{
            "id": entry,
            "kind": "solo-90-day",
            "given": day,
            "instructor": IDA,
            "aircraft_model": "C172",
            "training_date": day,
            **more,
        }
    )


def taught(endorsements: Iterable[engine.Endorsement]) -> tuple[engine.Flight, ...]:
    """The lesson that each solo endorsement rests on: with whoever gave it, in its model, on its day."""
    return tuple(
        engine.Flight(
            f"for-{each.id}",
            each.training_date or each.given,
            engine.Aircraft(model=each.aircraft_model, category="airplane", klass="single-engine land"),
            times={"total": HOUR, "dual": HOUR},
            instructor=each.instructor,
        )
        for each in endorsements
        if each.kind == "solo-90-day"
    )


def enrolled(student: models.Student) -> models.Student:
    models.Enrolment.objects.create(school=student.school, student=student, starts=factories.LONG_AGO)
    return student


def on_record(student: models.Student, **parts: Any) -> models.Student:
    """The student, in training, with these parts in the place of what was on record.

    What an endorsement among them rests on is on record too.
    """
    lessons = taught(parts.get("endorsements", ()))
    if not student.enrolments.exists():
        enrolled(student)
    factories.recorded(student, **{**parts, "flights": (*parts.get("flights", ()), *lessons)})
    return student


def sam(people: Cast, *endorsements: engine.Endorsement) -> models.Student:
    """Sam with a medical, and with these endorsements."""
    return on_record(people.sam, documents=(MEDICAL,), endorsements=endorsements)


def sweep(text: str | dt.datetime, audits: bool = False, **more: Any) -> Swept:
    """Sweep at an instant in UTC, and see that no step failed.

    Without what takes longest: no page is rendered ahead, and no school is audited unless asked.
    """
    then = at(text) if isinstance(text, str) else text
    with mock.patch.dict(page_cache.PAGES, clear=True), contextlib.ExitStack() as left_out:
        if not audits:
            left_out.enter_context(mock.patch.object(sweeping.audits, "waiting", return_value=[]))
        # Rows that are kept for several tests are made before the fixture that leaves the clock out.
        left_out.enter_context(mock.patch.object(clock, "doubt", return_value=""))
        done = sweeping.sweep(now=lambda: then, **more)
    assert done.faults == []
    return done


def told(**which: Any) -> list[tuple[str, dt.date, int, str]]:
    """Every reminder there is: what, its last day, the lead time, and the state."""
    rows = models.Reminder.objects.filter(**which).order_by("last_day", "-lead_days", "what")
    return list(rows.values_list("what", "last_day", "lead_days", "state"))


def told_of(people: Cast, ref: uuid.UUID) -> models.Reminder:
    """A reminder of that reference about something of Sam's that ends in a month."""
    now = dt.datetime.now(dt.UTC)
    return models.Reminder.objects.create(
        school=people.school,
        student=people.sam,
        ref=ref,
        what="medical",
        kind="medical",
        last_day=people.school.day(now) + dt.timedelta(days=30),
        lead_days=30,
        says="Medical certificate",
        due_at=now,
        created_at=now,
    )
