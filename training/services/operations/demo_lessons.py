"""The lessons of the demo school's file: what each says, when, and who signs it.

A student's ``lessons`` are written as the file's flights are (``demo_fixture``), each with:

- ``lesson``: its code in the course; left out, it is none of the course;
- ``ground`` and ``topic``: the ground lesson; without a flight it is all there is;
- ``grades`` and ``measured``, by item: what a lesson plans is graded as it asks where ``grades`` does not say
  otherwise; of a lesson that is none of the course only what ``grades`` says;
- ``comments`` and ``next``;
- ``by``: who signs it, where that is not the student's own instructor;
- ``signed: false``: it stays a draft; ``acknowledged: false``: the student has not signed it too;
- ``corrected``: on which ``date``, for what ``reason``, and the keys that were wrong; it may have its own
  ``acknowledged``;
- ``planned: true``, alone: the draft of whatever comes next, made at the loading.

Flights begin at the student's ``clock`` where they say nothing else, and every lesson
is signed that afternoon.
"""

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from syllabus.engine.course.course import Outline
from training.services.operations import demo_fixture

#: At the school's clock; by day in UTC too, whatever the season.
SIGNED_AT, ACKNOWLEDGED_AT = dt.time(16), dt.time(16, 30)
_FLOWN = ("dual", "solo")
_OF_A_FLIGHT = (
    "aircraft",
    *_FLOWN,
    "route",
    "landings",
    "takeoff",
    "cross_country",
    "night",
    "hood",
    "purposes",
)
_NAMESPACE = uuid.UUID("0e0b7f52-30a4-5f6b-8c39-6f0d4e1f9a27")


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson record to create. ``content`` is None for the next lesson; ``at`` is when it is written."""

    id: uuid.UUID
    lesson: str
    content: dict[str, Any] | None
    by: str
    at: dt.datetime
    signed: bool = True
    acknowledged_at: dt.datetime | None = None
    corrects: uuid.UUID | None = None
    reason: str = ""


def of(
    school: Mapping[str, Any], student: Mapping[str, Any], outline: Outline, on: dt.date, at: dt.datetime
) -> list[Lesson]:
    """The lessons of one student of the file, in order of time; ``on`` and ``at`` as for the document."""
    found: list[Lesson] = []
    for number, each in enumerate(_flat(student.get("lessons", [])), start=1):
        found.extend(_made(school, student, each, number, outline, on, at))
    return sorted(found, key=lambda lesson: lesson.at)


def _flat(entries: Any) -> Iterator[dict[str, Any]]:
    for each in entries:
        if isinstance(each, list):
            yield from _flat(each)
        else:
            yield dict(each)


def _made(
    school: Mapping[str, Any],
    student: Mapping[str, Any],
    said: dict[str, Any],
    number: int,
    outline: Outline,
    on: dt.date,
    at: dt.datetime,
) -> Iterator[Lesson]:
    zone = zoneinfo.ZoneInfo(school["school"]["time_zone"])

    def name(what: object) -> uuid.UUID:
        return uuid.uuid5(_NAMESPACE, f"{student['key']}/{number}/{what}")

    def moment(day: dt.date, time: dt.time) -> dt.datetime:
        return min(dt.datetime.combine(day, time, zone), at.astimezone(zone))

    by = said.pop("by", student["taught_by"])
    if said.pop("planned", False):
        yield Lesson(name("planned"), "", None, by, at, signed=False)
        return
    day = demo_fixture.day(said["date"], on)
    correction = dict(said.pop("corrected", {}))
    signed, known = said.pop("signed", True), student.get("login", True)
    acknowledged = moment(day, ACKNOWLEDGED_AT) if said.pop("acknowledged", signed) and known else None
    code = said.get("lesson", "")
    first = name("lesson")
    content = _content(school, student, said, outline, day, zone)
    yield Lesson(first, code, content, by, moment(day, SIGNED_AT), signed, acknowledged)
    if correction:
        again = demo_fixture.day(correction.pop("date"), on)
        reason = correction.pop("reason")
        acknowledged = (
            moment(again, ACKNOWLEDGED_AT) if correction.pop("acknowledged", True) and known else None
        )
        content = _content(school, student, {**said, **correction}, outline, day, zone)
        yield Lesson(
            name("correction"), code, content, by, moment(again, SIGNED_AT), True, acknowledged, first, reason
        )


def _content(
    school: Mapping[str, Any],
    student: Mapping[str, Any],
    said: Mapping[str, Any],
    outline: Outline,
    day: dt.date,
    zone: dt.tzinfo,
) -> dict[str, Any]:
    """The content of the lesson record, as it would be sent."""
    grades = {**_planned(outline, said.get("lesson", "")), **said.get("grades", {})}
    measured = said.get("measured", {})
    made: dict[str, Any] = {
        "items": [
            {"item": code, "grade": grade, **({"measured": measured[code]} if code in measured else {})}
            for code, grade in grades.items()
        ],
        "comments": said.get("comments", ""),
        "next": said.get("next", ""),
    }
    if any(key in said for key in _FLOWN):
        flight = {"date": day.isoformat(), **{key: said[key] for key in _OF_A_FLIGHT if key in said}}
        if not school["aircraft"][said["aircraft"]].get("device"):
            flight.setdefault("takeoff", student["clock"])
        demo_fixture.fly(flight, school["aircraft"], zone)
        made["flight"] = flight
    if "ground" in said:
        topic = said.get("topic") or "what the flight asks for"
        made["ground"] = {"date": day.isoformat(), "time": said["ground"], "topic": topic}
    return made


def _planned(outline: Outline, code: str) -> Mapping[str, str]:
    return next((each.items for each in outline.lessons if each.code == code), {}) if code else {}
