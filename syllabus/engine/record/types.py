"""The types of a record's fields: how each is read, written and described, whichever entry has it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Annotated, Any

from syllabus.engine.places.geography import Place
from syllabus.engine.record import json_schema, reading
from syllabus.engine.record.json_schema import STRING, Schema, listed, obj, optional, or_null, ref
from syllabus.engine.record.plain import Remembered
from syllabus.engine.record.reading import Errors, Read
from syllabus.engine.record.shapes import Keys, Type
from syllabus.engine.record.vocabulary import RULE_ITEMS, RULE_LISTS
from syllabus.engine.time import units
from syllabus.engine.time.units import format_time

MOST_POINTS = 100
MOST_WORD = 100
_PURPOSE = re.compile(r"[a-z0-9-]+(:[a-z0-9-]+)*", re.ASCII)
_KIND = re.compile(r"[a-z0-9]+([-:][a-z0-9]+)*", re.ASCII)
_ITEM = re.compile(r"[A-Za-z0-9]+([._:-][A-Za-z0-9]+)*", re.ASCII)


def word(words: Collection[str], what: str) -> Type:
    """One of a closed list of words; ``what`` they are, for messages."""
    return Type(reading.one_of(words, what), json_schema.word(words))


def _percent(errors: Errors, value: Any, place: str) -> int | None:
    found = reading.count(errors, value, place)
    if found is not None and found > 100:
        errors.add(place, f"{found} is more than 100 percent")
        return None
    return found


def _isoformat(value: dt.date) -> str:
    return value.isoformat()


TEXT = Type(reading.text, {"type": "string", "maxLength": reading.MOST_TEXT})
NAME = Type(reading.name, {"type": "string", "minLength": 1, "maxLength": 200, "pattern": r"\S"})
FLAG = Type(reading.flag, {"type": "boolean"})
COUNT = Type(reading.count, {"type": "integer", "minimum": 0, "maximum": reading.MOST_COUNT})
PERCENT = Type(_percent, {"type": "integer", "minimum": 0, "maximum": 100})
DAY = Type(reading.day, {"type": "string", "format": "date", "examples": ["2026-11-20"]}, _isoformat)
INSTANT = Type(
    reading.instant,
    {"type": "string", "format": "date-time", "examples": ["2026-03-02T19:40:00-06:00"]},
    _isoformat,
)
RECORDED = Type(
    reading.instant,
    {
        **INSTANT.schema,
        "description": (
            "When the entry was first written down, as the document claims. In the stateless call an "
            "answer `known_at` an earlier instant leaves it out; of a stored record the server's clock "
            "decides."
        ),
    },
    _isoformat,
    component="Recorded",
)

_units = "|".join(
    re.escape(name) for name, unit in units.SPELLINGS.items() if unit in units.DIMENSIONS[units.TIME][0]
)
#: Whole microseconds.
TIME = Type(
    reading.time,
    {
        "description": (
            "A time: a number of hours, or text with a unit ('1.4 h', '84 min') or as hours and minutes"
            f" ('1:24'). At most {units.MOST_DECIMALS} decimals."
        ),
        "anyOf": [
            {"type": "number", "minimum": 0, "maximum": 10**units.MOST_DIGITS - 1},
            {
                "type": "string",
                "pattern": (
                    rf"^\s*([0-9]{{1,5}}:[0-5][0-9]|[0-9]{{1,{units.MOST_DIGITS}}}"
                    rf"(\.[0-9]{{1,{units.MOST_DECIMALS}}})?\s*({_units})?)\s*$"
                ),
            },
        ],
        "examples": ["1.4 h", "84 min", "1:24", 1.4],
    },
    format_time,
    component="Time",
)
DEGREES: Schema = {
    "description": "Degrees on WGS 84, north and east positive.",
    "anyOf": [{"type": "number", "minimum": -360, "maximum": 360}, {"type": "string", "pattern": "[0-9]"}],
}
POINT = Type(
    reading.point,
    {
        "description": (
            "An airport's ICAO or local identifier, or a place with latitude and longitude. A place with a"
            " name alone has no known position."
        ),
        "anyOf": [
            STRING,
            obj(
                optional({"name": NAME.schema, "lat": DEGREES, "lon": DEGREES}),
                anyOf=[{"required": ["name"]}, {"required": ["lat", "lon"]}],
            ),
        ],
        "examples": ["KGRB", {"name": "grass strip", "lat": 44.1, "lon": -87.9}],
    },
    reading.write_point,
    component="Point",
)


def _write_route(route: Iterable[Place]) -> list[Any]:
    return [reading.write_point(place) for place in route]


ROUTE = Type(
    Remembered(reading.route),
    {
        "description": (
            "The point of departure, then every landing; as text, identifiers separated by spaces or commas."
        ),
        "anyOf": [listed(ref("Point"), MOST_POINTS), STRING],
    },
    _write_route,
    component="Route",
    uses=(POINT,),
)

Text = Annotated[str, TEXT]
Name = Annotated[str, NAME]
Flag = Annotated[bool, FLAG]
Count = Annotated[int, COUNT]
Percent = Annotated[int, PERCENT]
Day = Annotated[dt.date, DAY]
Instant = Annotated[dt.datetime, INSTANT]
Recorded = Annotated[dt.datetime, RECORDED]
Time = Annotated[int, TIME]
Point = Annotated[Place, POINT]
Route = Annotated[tuple[Place, ...], ROUTE]


def times(names: Collection[str]) -> Type:
    """What was logged of each kind of time, in microseconds; a kind that is absent was not."""

    known = frozenset(names)
    keys = Keys((name, name, TIME.read, False) for name in names)

    def read(errors: Errors, value: Any, place: str) -> Mapping[str, int]:
        before = len(errors)
        logged: dict[str, int] = {}
        if value.__class__ is dict and value.keys() <= known:
            for key, raw in value.items():
                if raw is not None:
                    logged[key] = reading.time(errors, raw, "") or 0
        if len(errors) > before or not logged:  # errors need their places
            del errors[before:]
            logged.clear()
            keys.read(errors, value, place, logged)
        if len(errors) == before:
            _contradictions(errors, logged, place)
        return MappingProxyType(logged)

    def write(logged: Mapping[str, int]) -> dict[str, str]:
        return {key: format_time(logged[key]) for key in names if key in logged}

    schema = obj(
        {key: or_null(ref("Time")) for key in names},
        description="What was logged. No part is more than the total; dual and solo exclude each other.",
    )
    return Type(Remembered(read), schema, write, component="Times", uses=(TIME,))


def _contradictions(errors: Errors, times: Mapping[str, int], place: str) -> None:
    total = times.get("total")
    if total is not None:
        for key, amount in times.items():
            if amount > total:
                errors.add(
                    f"{place}.{key}",
                    f"{format_time(amount)} is more than the total, {format_time(total)}; correct one",
                )
        instrument = times.get("actual_instrument", 0) + times.get("simulated_instrument", 0)
        if instrument > total >= max(times.values()):
            errors.add(
                place,
                f"actual and simulated instrument time together, {format_time(instrument)}, are more than the"
                f" total, {format_time(total)}; correct one",
            )
    if times.get("dual") and times.get("solo"):
        errors.add(
            place,
            f"dual {format_time(times['dual'])} and solo {format_time(times['solo'])} in one entry: with an"
            " instructor aboard nobody is the sole occupant; write two entries",
        )


def kind(
    known: Sequence[str],
    what: str,
    also: Mapping[str, str] = MappingProxyType({}),
    closed: Collection[str] = (),
) -> Type:
    """A kind of document, test or endorsement: known, or not to be mistaken for a known one."""

    def read(errors: Errors, value: Any, place: str) -> str | None:
        if not isinstance(value, str):
            errors.add(
                place, f"{reading.called(value)} is not a kind of {what}; use one of {', '.join(known)}"
            )
            return None
        named = value.replace("_", "-")
        named = also.get(named, named)
        if named in known:
            return named
        stem = named.split(":")[0]
        if stem.removesuffix("-test") in closed:
            # rules read these, so one that no rule knows would count for nothing without a word
            errors.add(place, f"{value!r} is not a known {what}; use one of {', '.join(known)}")
            return None
        near = errors.mistaken(named.lower()[:MOST_WORD], known, 0.82)
        if near and not (":" in named and any(each.startswith(stem + ":") for each in known)):
            errors.add(place, f"{value!r} is not a known kind of {what}; did you mean {near!r}?")
            return None
        if not _KIND.fullmatch(named) or len(named) > MOST_WORD:
            errors.add(
                place,
                f"{reading.called(value)} is not a kind of {what}: kinds are lowercase words joined by"
                f" hyphens; rules read {', '.join(known)}",
            )
            return None
        return named

    return Type(
        read,
        {
            "type": "string",
            "maxLength": MOST_WORD,
            "pattern": "^[a-z0-9]+([-:_][a-z0-9]+)*$",
            "examples": list(known),
        },
    )


def _item(errors: Errors, value: Any, place: str) -> str | None:
    if value in RULE_ITEMS:
        return value
    if not isinstance(value, str) or not _ITEM.fullmatch(value) or len(value) > MOST_WORD:
        errors.add(place, f"{reading.called(value)} is not an item; items are named like 'presolo.d-01'")
        return None
    for stem, (first, last) in RULE_LISTS.items():
        if value.lower().startswith(stem.split(".")[0] + "."):
            errors.add(
                place,
                f"{value!r} is not an item of that list, which runs from {stem}{first:02d} to"
                f" {stem}{last:02d}",
            )
            return None
    return value


def _purpose(errors: Errors, value: Any, place: str) -> str | None:
    if isinstance(value, str) and _PURPOSE.fullmatch(value) and len(value) <= MOST_WORD:
        known = "practical-test-preparation"
        stem = value.split(":")[0]
        if stem != known and errors.mistaken(stem, (known,), 0.82):
            errors.add(place, f"{value!r} is not a known purpose; did you mean '{known}:private'?")
            return None
        if value == known:
            errors.add(place, f"{value!r} does not say for which test; write '{known}:private'")
            return None
        return value
    errors.add(
        place, f"{reading.called(value)} is not a purpose; write it like 'practical-test-preparation:private'"
    )
    return None


Item = Annotated[str, Type(_item, STRING)]
Purpose = Annotated[str, Type(_purpose, {"type": "string", "pattern": "^[a-z0-9-]+(:[a-z0-9-]+)*$"})]


def unbelieved(words: Collection[str], what: str, component: str, description: str) -> Type:
    """A word that a document may say, for an export shows it, and that nobody is believed who sends it."""
    check: Read = reading.one_of(words, what)

    def read(errors: Errors, value: Any, place: str) -> None:
        check(errors, value, place)

    return Type(read, json_schema.word(words, description), _unsaid, component)


def _unsaid(_: Any) -> None:
    return None
