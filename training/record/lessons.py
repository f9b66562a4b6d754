"""Reads what progress is calculated from: lessons flown, and the grades of a course's items."""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import BigIntegerField, DateField, DateTimeField

from syllabus.engine.course.progress import Flown, Graded, times_of
from syllabus.engine.record.record import TIMES
from syllabus.engine.rules.kinds.times import PREPARATION
from training import models
from training.record.codec import as_text, texts_of
from training.record.reading import known, on_record
from training.record.statements import Member, Union
from training.sql import Place, Row

_MICROSECOND = dt.timedelta(microseconds=1)
_EARLIEST = dt.datetime.min.replace(tzinfo=dt.UTC)
#: Day, takeoff and times of a lesson's flight, by the lesson's id.
_Flights = dict[str, tuple[dt.date, dt.datetime, dict[str, int]]]


@dataclass(frozen=True, slots=True)
class Given:
    """Signed lessons of a course, and every grade on record, both in order of time.

    ``recorded`` says when each grade's entry was recorded here; ``other`` are times by kind from flights
    outside the lessons signed here.
    """

    flown: tuple[Flown, ...]
    grades: tuple[Graded, ...]
    recorded: Mapping[str, dt.datetime]
    other: Mapping[str, int]


def given(student: models.Student, course: int, on: dt.date, *, known_at: dt.datetime | None = None) -> Given:
    """The lessons and grades of a course up to a day, as on record or as known at an instant.

    ``course`` is the course's primary key; lessons of all its versions count. A corrected lesson is left out,
    its correction is not.

    Queries: 1, whatever the size.
    """
    about: dict[str, Any] = {"student": student.pk, "course": course, "on": on}
    rows = _AS_IT_IS.rows(**about) if known_at is None else _AS_KNOWN.rows(**about, known_at=known_at)
    flights, other = _flights(rows["flights"])
    ground = {_lesson(entry): (day, time // _MICROSECOND) for entry, day, time in rows["ground"]}
    flown = []
    for pk, code in rows["lessons"]:
        lesson = str(pk)
        flight, talk = flights.get(lesson), ground.get(lesson)
        if flight is None and talk is None:
            continue
        day, off, times = flight or (talk[0] if talk else on, _EARLIEST, times_of({}))
        flown.append((day, off, Flown(code, day, lesson, {**times, "ground": talk[1] if talk else 0})))
    flown.sort(key=lambda each: (each[0], each[1], each[2].entry))
    return Given(tuple(each for _, _, each in flown), *_grades(rows["grades"], flights), other)


def _asked(known_at: Place | None) -> Mapping[str, Member]:
    student, course = Place("student", BigIntegerField()), Place("course", BigIntegerField())
    until = {"student_id": student, "date__lte": Place("on", DateField())}
    signed = models.LessonRecord.objects.filter(
        student_id=student, state=models.LessonRecord.State.SIGNED, course_version__course_id=course
    ).exclude(lesson="")
    if known_at is None:
        signed = signed.filter(correction__isnull=True)
    else:
        signed = signed.filter(sign_off__at__lte=known_at).exclude(correction__at__lte=known_at)
    return {
        "lessons": Member(signed, ("pk", "lesson")),
        "flights": Member(
            models.Flight.objects.filter(on_record(known_at), **until),
            ("entry_id", "sealed", "date", "off_at", as_text("purposes"), *TIMES),
        ),
        "ground": Member(
            models.GroundLesson.objects.filter(known(known_at), **until, sealed=True),
            ("entry_id", "date", "time"),
        ),
        "grades": Member(
            models.ItemGrade.objects.filter(known(known_at), **until, instructor_name__isnull=False),
            ("entry_id", "item", "grade", "date", "recorded_at", "provenance"),
        ),
    }


_AS_IT_IS = Union(lambda: _asked(None))
_AS_KNOWN = Union(lambda: _asked(Place("known_at", DateTimeField())))


def _flights(rows: list[Row]) -> tuple[_Flights, dict[str, int]]:
    """Day, takeoff and times of the flight of each lesson signed here, by the lesson's id; and the sum of the
    other flights' times.
    """
    found: _Flights = {}
    other = defaultdict[str, int](int)
    for entry, sealed, day, off, purposes, *times in rows:
        logged = {
            name: time // _MICROSECOND for name, time in zip(TIMES, times, strict=True) if time is not None
        }
        preparation = any(each.startswith(PREPARATION) for each in texts_of(purposes) or ())
        counted = times_of(logged, preparation=preparation)
        if sealed:
            found[_lesson(entry)] = (day, off or _EARLIEST, counted)
        else:
            for kind, time in counted.items():
                other[kind] += time
    return found, dict(other)


def _grades(rows: list[Row], flights: _Flights) -> tuple[tuple[Graded, ...], dict[str, dt.datetime]]:
    """Grades by an instructor, sorted by day, takeoff, and the time of recording."""
    recorded, ordered = {}, []
    for entry, item, grade, day, at, provenance in rows:
        recorded[entry] = at
        off = flights[_lesson(entry)][1] if _lesson(entry) in flights else _EARLIEST
        ordered.append(((day, off, at, entry), Graded(item, grade, day, entry, provenance)))
    ordered.sort(key=lambda each: each[0])
    return tuple(each for _, each in ordered), recorded


def _lesson(entry: str) -> str:
    return entry.partition("/")[0]
