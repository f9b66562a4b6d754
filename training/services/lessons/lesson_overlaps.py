"""Flights at the same time as a lesson's, with the same student, instructor or aircraft."""

import json
from collections.abc import Iterator, Mapping

from django.db.models import BigIntegerField, DateTimeField, Q, TextField, UUIDField
from django.db.models.functions import Cast, Upper

from syllabus.engine.record import record as engine
from syllabus.engine.time.units import parse_time
from training.models import Flight, LessonRecord, User
from training.record.statements import Member, Union
from training.sql import Place

#: A flight's student, instructor (None if solo) and aircraft.
_Aboard = tuple[int, int | None, str | None]


def overlaps(record: LessonRecord, flight: engine.Flight, by: User) -> Iterator[tuple[str, str, str]]:
    """A warning for each of the three that has other flights then, signed or drafts.

    A solo flight has no instructor aboard.
    """
    if record.off_at is None or record.on_at is None:
        return
    craft, others = record.aircraft_registration, _others(record, by)
    same = {
        "student": [student == record.student_id for student, _, _ in others],
        "instructor": [not _solo(flight.times) and each == by.pk for _, each, _ in others],
        "aircraft": [bool(craft) and (each or "").upper() == craft.upper() for _, _, each in others],
    }
    for kind, found in same.items():
        if number := sum(found):
            who = f"The aircraft {craft}" if kind == "aircraft" else f"The {kind}"
            times = "another flight" if number == 1 else f"{number} other flights"
            yield f"overlap-{kind}", "off", f"{who} has {times} between off and on; look at the times."


def _others(record: LessonRecord, by: User) -> list[_Aboard]:
    """The other flights at that time, without the one that is corrected. One query."""
    found = _IN_THE_AIR.rows(
        school=record.school_id,
        off=record.off_at,
        on=record.on_at,
        student=record.student_id,
        craft=record.aircraft_registration,
        by=by.pk,
        record=record.pk,
    )
    flown: list[_Aboard] = [
        (student, instructor, registration)
        for student, instructor, registration, entry in found["flown"]
        if student != record.student_id or not entry.startswith(f"{record.corrects_id}/")
    ]
    return flown + [
        (student, None if logged and _solo(json.loads(logged)) else instructor, registration)
        for student, instructor, registration, logged in found["drafted"]
    ]


def _in_the_air() -> Mapping[str, Member]:
    asked, theirs = _then()
    by = Place("by", BigIntegerField())
    flown = Flight.objects.alias(registration=Upper("aircraft_registration"))
    drafted = LessonRecord.objects.alias(registration=Upper("aircraft_registration"))
    times = Cast("content__flight__times", TextField())
    return {
        "flown": Member(
            flown.filter(theirs | Q(instructor_user_id=by), asked, retired_at__isnull=True),
            ("student_id", "instructor_user_id", "aircraft_registration", "entry_id"),
        ),
        "drafted": Member(
            drafted.filter(theirs | Q(instructor_id=by), asked, state=LessonRecord.State.DRAFT).exclude(
                pk=Place("record", UUIDField())
            ),
            ("student_id", "instructor_id", "aircraft_registration", times),
        ),
    }


def _then() -> tuple[Q, Q]:
    """The condition that a flight was at that time at the school, by the student or in the aircraft."""
    off, on = Place("off", DateTimeField()), Place("on", DateTimeField())
    theirs = Q(student_id=Place("student", BigIntegerField()))
    return (
        Q(school_id=Place("school", BigIntegerField()), off_at__lt=on, on_at__gt=off),
        theirs | Q(registration=Upper(Place("craft", TextField()))),
    )


#: One statement, so that a draft that is signed meanwhile is counted once.
_IN_THE_AIR = Union(_in_the_air)


def _solo(times: Mapping[str, int | str] | None) -> bool:
    """Whether the student is alone aboard, from the engine's times or the document's."""
    logged = (times or {}).get("solo", 0)
    return bool(logged if isinstance(logged, int) else parse_time(logged))
