"""Flights in an aircraft that was grounded, or whose papers had ended, are findings of the audit."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from syllabus.engine.record import record as engine
from tests.support import own
from tests.support.cast import Cast
from training import models
from training.reports.audit_aircraft import Fleet

DAY = dt.date(2026, 3, 2)
NOON = dt.datetime(2026, 3, 2, 18, tzinfo=dt.UTC)  # noon in Chicago
HOUR = dt.timedelta(hours=1)


@pytest.fixture
def craft(people: Cast) -> models.Aircraft:
    return own.aircraft(people)


def flown(craft: models.Aircraft, off: dt.datetime | None = NOON, **more: Any) -> engine.Record:
    aircraft = engine.Aircraft(registration=craft.registration.lower(), model=craft.model, **more)
    flight = engine.Flight("f1", DAY, aircraft, off=off)
    return engine.Record(student=engine.Student(), flights=(flight,))


def told(people: Cast, record: engine.Record) -> list[tuple[str, str]]:
    return [(each.kind, each.severity) for each in Fleet.of(people.school).findings(record)]


def grounded(people: Cast, craft: models.Aircraft, at: dt.datetime, **more: Any) -> models.Grounding:
    said = {"kind": "grounded", "reason": "Oil leak", "by": people.ada, **more}
    return models.Grounding.objects.create(school=people.school, aircraft=craft, at=at, **said)


def checked(people: Cast, craft: models.Aircraft, kind: str, done: dt.date, **more: Any) -> None:
    said = {"kind": kind, "done": done, "by": people.ada, "recorded_at": NOON, **more}
    models.AircraftCheck.objects.create(school=people.school, aircraft=craft, **said)


@pytest.mark.parametrize(
    ("begun", "ended", "off", "severity"),
    [
        (-1, None, 0, "serious"),
        (0, None, 0, "serious"),
        (1, None, 0, None),
        (-2, -1, 0, None),
        (-2, 0, 0, None),
        (-2, 1, 0, "serious"),
        (-2, 1, None, "incomplete"),  # on the same day, and nobody knows when it flew
        (-48, None, None, "serious"),
        (24, None, None, None),
        (-72, -48, None, None),
    ],
)
def test_a_flight_is_held_against_what_was_grounded_when_it_took_off(
    people: Cast,
    craft: models.Aircraft,
    begun: int,
    ended: int | None,
    off: int | None,
    severity: str | None,
) -> None:
    over = (
        {}
        if ended is None
        else {"ended_at": NOON + ended * HOUR, "ended_by": people.ada, "ended_reason": "x"}
    )
    grounded(people, craft, NOON + begun * HOUR, **over)
    found = told(people, flown(craft, None if off is None else NOON + off * HOUR))
    assert found == ([("aircraft-grounded", severity)] if severity else [])


def test_an_open_defect_is_a_note_and_a_training_device_is_no_aircraft(
    people: Cast, craft: models.Aircraft
) -> None:
    grounded(people, craft, NOON - HOUR, kind="defect")
    assert told(people, flown(craft)) == [("aircraft-grounded", "note")]
    assert told(people, flown(craft, device="AATD")) == []


@pytest.mark.parametrize(
    ("kind", "done", "expires", "severity"),
    [
        # 14 CFR 91.409(a): through the last day of the twelfth calendar month after it
        ("annual-inspection", dt.date(2025, 2, 28), None, "serious"),
        ("annual-inspection", dt.date(2025, 3, 1), None, None),
        ("annual-inspection", dt.date(2025, 3, 1), dt.date(2026, 3, 1), "serious"),
        ("annual-inspection", dt.date(2026, 3, 3), None, None),  # done after the flight: says nothing of it
        # 14 CFR 91.413(a): only where the transponder is used
        ("transponder", dt.date(2024, 2, 28), None, "incomplete"),
        ("transponder", dt.date(2024, 3, 1), None, None),
        ("hundred-hour-inspection", dt.date(2020, 3, 1), None, None),
    ],
)
def test_an_expired_inspection_is_held_against_a_flight(
    people: Cast,
    craft: models.Aircraft,
    kind: str,
    done: dt.date,
    expires: dt.date | None,
    severity: str | None,
) -> None:
    checked(people, craft, kind, done, expires=expires)
    assert told(people, flown(craft)) == ([("aircraft-papers", severity)] if severity else [])


def test_the_newest_that_was_done_by_the_day_of_the_flight_counts(
    people: Cast, craft: models.Aircraft
) -> None:
    checked(people, craft, "annual-inspection", dt.date(2025, 1, 10))
    checked(people, craft, "annual-inspection", dt.date(2026, 3, 3))
    [found] = Fleet.of(people.school).findings(flown(craft))
    assert found.says.startswith("Annual inspection of n00xy: expired on 2026-01-31, before the flight of")
    assert found.citations == ("14 CFR 91.409(a)",)
