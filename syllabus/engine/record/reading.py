"""Reading plain JSON values strictly: every error is collected with its place, and nothing is ignored.

A reader takes a value and its place and gives a Python value, or notes a error and gives None. An object's
keys are taken one by one; what is left over at the end is a error that names the key.
"""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import Any

from syllabus.engine import effort
from syllabus.engine.errors import InputError
from syllabus.engine.places import geography
from syllabus.engine.places.geography import Place
from syllabus.engine.record.noted import Errors as Errors
from syllabus.engine.record.noted import called as called
from syllabus.engine.record.noted import got as got
from syllabus.engine.time import units

#: Outside these years a date in a training record is a slip of the pen (and arithmetic may overflow).
FIRST_YEAR, LAST_YEAR = 1900, 2199
MOST_COUNT = 10_000
MOST_HOURS = 100_000
MOST_TEXT = 10_000
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_DATE_TIME = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?([Zz]|[+-]\d{2}:\d{2})?", re.ASCII
)
_DEGREES = re.compile(r"(-?\d{1,3}(?:\.\d{1,15})?)\s*(?:deg|degrees?|°)?", re.ASCII)
_LONE_SURROGATE = re.compile("[\ud800-\udfff]")

#: Objects and lists that JSON text may hold.
MOST_OBJECTS = 400_000

Read = Callable[[Errors, Any, str], Any]


def loads(text: str | bytes, *, error: type[InputError]) -> Any:
    """JSON text as plain values; a key that stands twice in one object, NaN and infinities are errors."""
    errors = Errors()
    raw = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    if (objects := raw.count(b"{") + raw.count(b"[")) > MOST_OBJECTS:
        raise effort.TooMuch(
            f"{objects:,} JSON objects and lists; at most {MOST_OBJECTS:,} are read. Send fewer entries."
        )

    def pairs(found: list[tuple[str, Any]]) -> dict[str, Any]:
        made = dict(found)
        if len(made) < len(found):
            times = Counter(key for key, _ in found)
            twice = sorted(key for key, number in times.items() if number > 1)
            errors.add(
                "", f"the key {', '.join(map(called, twice[:10]))} occurs twice in one object; keep one"
            )
        return made

    def constant(name: str) -> float:
        errors.add("", f"{name} is not a number in JSON")
        return 0.0

    try:
        value = json.loads(text, object_pairs_hook=pairs, parse_constant=constant)
    except json.JSONDecodeError as problem:
        raise error.at(f"line {problem.lineno}, column {problem.colno}", f"not JSON: {problem.msg}") from None
    except UnicodeDecodeError as problem:
        raise error.at(f"byte {problem.start}", "not UTF-8 text") from None
    except (RecursionError, ValueError):
        raise error.at(
            "", "not readable JSON: it is nested too deeply or contains a number that is too long"
        ) from None
    errors.stop(error)
    return value


class Object:
    """A JSON object whose keys are taken one by one."""

    def __init__(self, errors: Errors, value: Any, place: str):
        self.errors, self.place = errors, place
        self.ok = isinstance(value, Mapping)
        if not self.ok:
            errors.expected("an object", value, place)
        self.left: dict[Any, Any] = dict(value) if self.ok else {}
        self.known: list[str] = []

    def at(self, key: str) -> str:
        return at(self.place, key)

    def take(self, key: str, read: Read, default: Any = None, *, required: bool = False) -> Any:
        """The value at ``key`` as ``read`` gives it; ``default`` when it is absent, or null and optional."""
        self.known.append(key)
        if key not in self.left:
            if required and self.ok:
                self.errors.add(self.at(key), "missing")
            return default
        value = self.left.pop(key)
        if value is None and not required:
            return default
        found = read(self.errors, value, self.at(key))
        return default if found is None else found

    def done(self) -> None:
        """Every key that nobody took is a error."""
        unknown(self.errors, self.left, self.known, self.place)


def at(place: str, key: str) -> str:
    """The place of a key of the object at ``place``, which is empty for the whole input."""
    return f"{place}.{key}" if place else key


def unknown(errors: Errors, keys: Iterable[Any], known: Collection[str], place: str) -> None:
    """Note every key of an object that is none of those known."""
    for key in keys:
        close = errors.meant(key, known)
        hint = f"did you mean {close!r}?" if close else f"use one of {', '.join(known)}"
        errors.add(at(place, str(key)[:100]), f"unknown key; {hint}")


def list_of(
    read: Read, *, most: int = 20_000, plain: Callable[[Errors], Callable[[Any], Any]] | None = None
) -> Read:
    """A reader of lists. ``plain`` gives a quick reader of ordinary entries, which may give None instead."""

    def reader(errors: Errors, value: Any, place: str) -> tuple | None:
        if not isinstance(value, list | tuple):
            errors.expected("a list", value, place)
            return None
        if len(value) > most:
            errors.add(place, f"{len(value)} entries; at most {most} are read")
            return None
        quick = [None] * len(value) if plain is None else map(plain(errors), value)
        made = [
            read(errors, each, f"{place}[{index}]") if found is None else found
            for index, (each, found) in enumerate(zip(value, quick, strict=True))
        ]
        return tuple([each for each in made if each is not None])

    return reader


def text(errors: Errors, value: Any, place: str) -> str | None:
    """Text, kept as it stands; a control character or half a character cannot be kept and is a error."""
    if value.__class__ is str and len(value) <= MOST_TEXT and value.isprintable():
        return value  # as nearly every text is
    if not isinstance(value, str):
        errors.expected("text", value, place)
        return None
    if len(value) > MOST_TEXT:
        errors.add(place, f"{len(value)} characters; at most {MOST_TEXT} are allowed")
        return None
    if not value.isprintable() and ("\x00" in value or _LONE_SURROGATE.search(value)):
        errors.add(place, "contains a character that is not text (NUL or half of a surrogate pair)")
        return None
    return value


def name(errors: Errors, value: Any, place: str) -> str | None:
    """A short text that may not be blank; spaces around it are dropped."""
    if value.__class__ is str and len(value) <= 200 and value.isprintable() and (stripped := value.strip()):
        return stripped  # as nearly every name is
    found = text(errors, value, place)
    if found is None:
        return None
    if not (stripped := found.strip()):
        errors.add(place, "is blank; leave the key out or give a value")
        return None
    if len(found) > 200:
        errors.add(place, f"{len(found)} characters; at most 200 are allowed here")
        return None
    return stripped


def one_of(words: Collection[str], what: str) -> Read:
    def reader(errors: Errors, value: Any, place: str) -> str | None:
        if isinstance(value, str) and value in words:
            return value
        near = errors.meant(value.lower(), words) if isinstance(value, str) else None
        hint = f"; did you mean {near!r}?" if near else ""
        errors.add(place, f"{called(value)} is not a {what}; use one of {', '.join(words)}{hint}")
        return None

    return reader


def flag(errors: Errors, value: Any, place: str) -> bool | None:
    if not isinstance(value, bool):
        errors.expected("true or false", value, place)
        return None
    return value


def count(errors: Errors, value: Any, place: str) -> int | None:
    """A whole number, 0 or more."""
    whole = isinstance(value, float) and math.isfinite(value) and value == int(value)
    if isinstance(value, bool) or not (isinstance(value, int) or whole):
        errors.add(place, f"{called(value)} is not a whole number")
        return None
    if not 0 <= value <= MOST_COUNT:
        errors.add(place, f"{called(value)} is not between 0 and {MOST_COUNT}")
        return None
    return int(value)


def day(errors: Errors, value: Any, place: str) -> date | None:
    """An ISO 8601 calendar date, ``2026-03-02``."""
    return _of_text(_day, errors, value, place, "a date; write it like 2026-03-02")


def instant(errors: Errors, value: Any, place: str) -> datetime | None:
    """An ISO 8601 date and time with its offset from UTC, ``2026-03-02T19:40:00-06:00``."""
    what = "a date and time; write it like 2026-03-02T19:40:00-06:00"
    return _of_text(_instant, errors, value, place, what)


def _of_text(parse: Callable[[str], Any], errors: Errors, value: Any, place: str, what: str) -> Any:
    """What a text says, or the error that ``parse`` gives as a message; None where it is not ``what``."""
    found = parse(value) if isinstance(value, str) else None
    if found is None:
        errors.add(place, f"{called(value)} is not {what}")
    elif found.__class__ is str:
        errors.add(place, found)
    else:
        return found
    return None


@lru_cache(maxsize=16_384)  # a school's entries are of few days
def _day(text: str) -> date | str | None:
    if not _DATE.fullmatch(text):
        return None
    try:
        return _believed(date.fromisoformat(text), text)
    except ValueError:
        return f"{text!r} is not a calendar date"


@lru_cache(maxsize=16_384)
def _instant(text: str) -> datetime | str | None:
    if not _DATE_TIME.fullmatch(text):
        return None
    try:
        found = datetime.fromisoformat(text.upper().replace(" ", "T"))
    except ValueError:
        return f"{text!r} is not a calendar date and time"
    if found.tzinfo is None:
        return f"{text!r} has no offset from UTC; write it like {text}-06:00 or {text}Z"
    return _believed(found, text)


def _believed(found: Any, text: str) -> Any:
    """A day or an instant of a year that a record may be of; else what is wrong."""
    if FIRST_YEAR <= found.year <= LAST_YEAR:
        return found
    return f"{text} is not between the years {FIRST_YEAR} and {LAST_YEAR}"


def time(errors: Errors, value: Any, place: str) -> int | None:
    """A time in microseconds."""
    try:
        found = units.parse_time(value)
    except units.QuantityError as problem:
        errors.add(place, str(problem))
        return None
    if found >= MOST_HOURS * units.HOUR:
        errors.add(place, f"{called(value)} is {MOST_HOURS:,} hours or more, too long for one entry")
        return None
    return found


def degrees(errors: Errors, value: Any, place: str) -> float | None:
    if isinstance(value, str) and (found := _DEGREES.fullmatch(value.strip())):
        return float(found[1])
    if (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and math.isfinite(value)
        and abs(value) <= 360
    ):
        return float(value)
    errors.add(place, f"{called(value)} is not an angle in degrees, such as 44.1")
    return None


def point(errors: Errors, value: Any, place: str) -> Place | None:
    """An airport's identifier, or a name with ``lat`` and ``lon``; a name alone has no known position."""
    if isinstance(value, str):
        try:
            return geography.airports().find(value, hint=errors.hint)
        except geography.UnknownAirport as problem:
            errors.add(place, str(problem))
            return None
    if not isinstance(value, Mapping):
        errors.add(
            place,
            f"{called(value)} is not a waypoint; give an airport's identifier or a name with lat and lon",
        )
        return None
    errors.position()
    fields = Object(errors, value, place)
    before = len(errors)
    named = fields.take("name", name, "")
    lat, lon = fields.take("lat", degrees), fields.take("lon", degrees)
    fields.done()
    if len(errors) > before:
        return None
    try:
        return geography.position(named, lat, lon)
    except ValueError as problem:
        errors.add(place, str(problem))
        return None


def route(errors: Errors, value: Any, place: str) -> tuple[Place, ...] | None:
    """Points in order: a list, or one text with the identifiers separated by spaces, commas or hyphens."""
    if isinstance(value, str):
        value = [part for part in re.split(r"[\s,>\-–→]+", value) if part]
    return list_of(point, most=100)(errors, value, place)


def write_point(place: Place) -> str | dict[str, Any]:
    """A place as the record document says it."""
    if place.key.startswith("@"):
        return {"name": place.name, "lat": place.lat, "lon": place.lon}
    if place.key.startswith("?"):
        return {"name": place.name}
    return place.key


def unique(errors: Errors, entries: Sequence[Any], place: str) -> None:
    """Note every entry whose id another entry of the same list has already."""
    if len({entry.id for entry in entries}) == len(entries):
        return
    seen: dict[str, str] = {}
    for index, entry in enumerate(entries):
        here = f"{place}[{index}]"
        if entry.id in seen:
            errors.add(
                f"{here}.id", f"{entry.id!r} is the id of {seen[entry.id]} already; give each entry its own"
            )
        seen.setdefault(entry.id, here)
