"""Reads a lesson record's content strictly into the engine's entries, and writes it in one form.

The content is ``{"flight", "ground", "items", "comments", "next"}``. A flight, a ground lesson and the items
are written as in the record document and read by the same reader, without what the sign-off sets: id,
instructor, time of recording, and an item's day and flight. Measured values are with their item as the pilot
wrote them (``syllabus.engine.course.measured``), by the name of a tolerance of its standard or any other; if
the target was given in flight, as ``{"value": "3320 ft", "target": "3,500 ft"}``.
"""

import datetime as dt
import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import rfc8785

from syllabus.engine.course import measured
from syllabus.engine.errors import DocumentError, Error, InputError
from syllabus.engine.record import document, reading
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors, Object
from syllabus.engine.time.units import QuantityError
from syllabus.models import CourseVersion

MOST_ITEMS = 200
MOST_MEASURED = 20
#: A placeholder day for items of a draft that has no flight and no ground lesson yet.
_NO_DAY = "2000-01-01"
_GIVEN = ("id", "instructor", "recorded", "provenance")
_GIVEN_TO_ITEMS = (*_GIVEN, "date", "flight")
#: The measured values of one item by name: the text as typed, or ``{"value", "target"}``.
Measured = dict[str, str | dict[str, str]]
_ITEM_DAY = re.compile(r"content\.items\[\d+\]\.date")
_PLACE = re.compile(r"^content\.(flights|ground)\[0\]")


class LessonError(InputError):
    """A lesson record cannot be read."""

    what = "the lesson record"


@dataclass(frozen=True, slots=True)
class Content:
    """A lesson's content: ``plain`` is its one form in JSON, the rest are the engine's entries."""

    plain: dict[str, Any]
    flight: engine.Flight | None
    ground: engine.GroundLesson | None
    items: tuple[engine.ItemGrade, ...]

    @property
    def day(self) -> dt.date | None:
        """The day of the flight, else of the ground lesson; None for a draft without either."""
        days = [each.date for each in (self.flight, self.ground) if each is not None]
        return days[0] if days else None

    @property
    def last_day(self) -> dt.date | None:
        days = [each.date for each in (self.flight, self.ground) if each is not None]
        return max(days) if days else None

    def entries(self, prefix: str, instructor: engine.Instructor) -> dict[str, list[engine.Entry]]:
        """The entries that a sign-off adds to the student's record; their ids begin with ``prefix``.

        The signer of a solo flight is not its instructor, because it is no training received.
        """
        made: dict[str, list[engine.Entry]] = {"flights": [], "ground": [], "items": []}
        flown = f"{prefix}flight"
        if self.flight is not None:
            taught = None if self.flight.times.get("solo") else instructor
            made["flights"].append(replace(self.flight, id=flown, instructor=taught))
        if self.ground is not None:
            made["ground"].append(replace(self.ground, id=f"{prefix}ground", instructor=instructor))
        for number, each in enumerate(self.items, start=1):
            made["items"].append(
                replace(
                    each,
                    id=f"{prefix}item-{number}",
                    date=self.day or each.date,
                    flight=flown if self.flight is not None else None,
                    instructor=instructor,
                )
            )
        return made


def read(value: object) -> Content:
    """Read a lesson's content. Raises: LessonError with every error; places begin with ``content``."""
    errors = Errors()
    fields = Object(errors, value, "content")
    flight, ground = (fields.take(key, _bare(_GIVEN)) for key in ("flight", "ground"))
    items = fields.take("items", reading.list_of(_item, most=MOST_ITEMS), ())
    comments, following = (fields.take(key, reading.text, "") for key in ("comments", "next"))
    fields.done()
    found = _parsed(errors, flight, ground, [each for each, _ in items])
    names = [each.item for each in found.items]
    for number, name in enumerate(names):
        if name in names[:number]:
            errors.add(f"content.items[{number}].item", f"{name!r} is graded twice; keep one grade")
    errors.stop(LessonError)
    plain = document.dump(found)
    return Content(
        plain={
            **{
                key: next((_without(each, _GIVEN) for each in plain[part]), None)
                for key, part in (("flight", "flights"), ("ground", "ground"))
            },
            "items": [
                {**_without(each, _GIVEN_TO_ITEMS), **({"measured": taken} if taken else {})}
                for each, (_, taken) in zip(plain["items"], items, strict=True)
            ],
            "comments": comments,
            "next": following,
        },
        flight=next(iter(found.flights), None),
        ground=next(iter(found.ground), None),
        items=tuple(found.items),
    )


def _parsed(
    errors: Errors,
    flight: Mapping[str, Any] | None,
    ground: Mapping[str, Any] | None,
    items: Iterable[Mapping[str, Any]],
) -> engine.Record:
    """The content from the record's strict reader, with each of its errors once, at its place here."""
    day = next((each["date"] for each in (flight, ground) if each and "date" in each), _NO_DAY)
    form = {
        "format": engine.FORMAT,
        "flights": [{**flight, "id": "flight"}] if flight is not None else [],
        "ground": [{**ground, "id": "ground"}] if ground is not None else [],
        "items": [{**each, "id": f"{number:03d}", "date": day} for number, each in enumerate(items)],
    }
    try:
        return document.parse(form, "content")
    except DocumentError as wrong:
        told = [
            Error(_PLACE.sub(lambda part: f"content.{part[1].removesuffix('s')}", each.place), each.message)
            for each in wrong.errors
        ]
        # An item takes its day from the flight or the ground lesson, where the error is listed already.
        errors += [each for each in dict.fromkeys(told) if not _ITEM_DAY.fullmatch(each.place)]
        return engine.Record(student=engine.Student())


def hash_of(
    lesson: str, plain: Mapping[str, Any], corrects: str | None, reason: str, course: str | None = None
) -> str:
    """``sha256:…`` over the canonical form (RFC 8785) of everything that is signed.

    ``course`` is the result of ``course_of``; without a course the key is left out.
    """
    signed = {"lesson": lesson, "content": plain, "corrects": corrects, "reason": reason}
    if course is not None:
        signed["course"] = course
    return "sha256:" + hashlib.sha256(rfc8785.dumps(signed)).hexdigest()  # type: ignore[arg-type]


def course_of(version: CourseVersion | None) -> str | None:
    """A unique name of a version of a course: code, number, hash of its text."""
    return None if version is None else f"{version.course.code} {version.number} {version.content_hash}"


def _without(entry: Mapping[str, Any], keys: tuple[str, ...]) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key not in keys}


def _bare(given: tuple[str, ...]) -> reading.Read:
    """An object as sent, without the keys that the sign-off sets."""

    def reader(errors: Errors, value: Any, place: str) -> dict[str, Any] | None:
        if not isinstance(value, Mapping):
            errors.expected("an object", value, place)
            return None
        for key in given:
            if key in value:
                errors.add(f"{place}.{key}", "is set by the sign-off; leave it out")
        return _without(value, given)

    return reader


def _item(errors: Errors, value: Any, place: str) -> tuple[dict[str, Any], Measured]:
    """An item for the record's reader, and its measured values."""
    bare = _bare(_GIVEN_TO_ITEMS)(errors, value, place)
    if bare is None:
        return {"item": "none", "grade": engine.NOT_OBSERVED}, {}
    given = bare.pop("measured", None)
    if given is None:
        return bare, {}
    at = f"{place}.measured"
    if not isinstance(given, Mapping):
        errors.expected("an object", given, at)
        return bare, {}
    if len(given) > MOST_MEASURED:
        errors.add(at, f"{len(given)} values; at most {MOST_MEASURED} are allowed")
        return bare, {}
    found: Measured = {}
    for key, each in given.items():
        name = reading.name(errors, key, at)
        if name is None:
            continue
        amount = _measured(errors, each, f"{at}.{name[:100]}", name)
        if name in found:
            errors.add(f"{at}.{name[:100]}", "is measured twice; keep one, or name each")
        elif amount is not None:
            found[name] = amount
    return bare, found


def _measured(errors: Errors, value: Any, place: str, name: str) -> str | dict[str, str] | None:
    """A measured value as typed: a text, or an object with its target."""
    amount, target = value, None
    if isinstance(value, Mapping):
        before = len(errors)
        fields = Object(errors, value, place)
        amount, target = fields.take("value", _short, required=True), fields.take("target", _short)
        fields.done()
        if len(errors) > before:
            return None
    elif not isinstance(value, str):
        errors.add(
            place,
            f"expected a measured value, got {reading.got(value)}; write {measured.MAY_BE}, or an object with"
            " `value` and `target`",
        )
        return None
    elif (amount := _short(errors, value, place)) is None:
        return None
    try:
        measured.check(name, amount, target)
    except QuantityError as problem:
        errors.add(place, str(problem))
        return None
    return amount if target is None else {"value": amount, "target": target}


def _short(errors: Errors, value: Any, place: str) -> str | None:
    found = reading.text(errors, value, place)
    if found is not None and len(found) > measured.MOST_TEXT:
        errors.add(place, f"{len(found)} characters; a measured value has at most {measured.MOST_TEXT}")
        return None
    return None if found is None else found.strip()
