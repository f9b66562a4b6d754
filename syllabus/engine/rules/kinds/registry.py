"""The closed vocabulary of requirement kinds, and how the numbers in rule data are read for them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from syllabus.engine.record.record import Record
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import units
from syllabus.engine.time.calendar import Length

Judge = Callable[[RuleVersion, Record, Question, Callable[..., Any]], Finding]
ReadParam = Callable[[Any], Any]


@dataclass(frozen=True, slots=True)
class Param:
    """A parameter of a kind: how its value in the data is read (ValueError says what is wrong)."""

    read: ReadParam
    required: bool = False


@dataclass(frozen=True, slots=True)
class Kind:
    name: str
    judge: Judge
    params: Mapping[str, Param]

    @property
    def rests_on_entries(self) -> bool:
        """False for a kind that may hold with nothing on record but the person."""
        return self.name not in ("age_at_least", "airport_open", "milestone", "retest")


KINDS: dict[str, Kind] = {}


def kind(name: str, **params: Param) -> Callable[[Judge], Judge]:
    """Register a kind of requirement under ``name``."""

    def register(judge: Judge) -> Judge:
        KINDS[name] = Kind(name, judge, params)
        return judge

    return register


def time(value: Any) -> int:
    """A time with its unit, as ``3 h``; microseconds."""
    if not isinstance(value, str):
        raise ValueError(f"{value!r} needs a unit, such as '3 h'")
    return units.parse_time(value)


def distance(value: Any) -> int:
    """A distance with its unit, as ``50 NM``; hundredths of a nautical mile."""
    if not isinstance(value, str):
        raise ValueError(f"{value!r} needs a unit, such as '50 NM'")
    found = units.parse(value, units.DISTANCE) * 100
    if found.denominator != 1:
        raise ValueError(f"{value!r} is finer than 0.01 NM, in which distances are compared")
    return int(found)


_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_LENGTH = re.compile(r"(\d{1,4}) (day|month|calendar month|year)", re.ASCII)


def length(value: Any) -> Length:
    """A length of time as the law counts it: ``90 day``, ``48 month``, ``24 calendar month``, ``16 year``."""
    found = _LENGTH.fullmatch(value) if isinstance(value, str) else None
    if not found:
        raise ValueError(
            f"{value!r} is not a length such as '90 day', '48 month', '24 calendar month', '16 year'"
        )
    return Length(int(found[1]), found[2])


def age(value: Any) -> int:
    """An age, as ``16 year``; whole years."""
    found = length(value)
    if found.unit != "year":
        raise ValueError(f"{value!r} is not an age such as '16 year'")
    return found.number


def window(value: Any) -> Length:
    """A window looking back, in days or calendar months."""
    found = length(value)
    if found.unit not in ("day", "calendar month"):
        raise ValueError(f"{value!r} is not a window such as '60 day' or '2 calendar month'")
    return found


def number(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError(f"{value!r} is not a whole number")
    return value


def flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{value!r} is neither true nor false")
    return value


def day(value: Any) -> date:
    """A date, or its text as JSON has it."""
    if isinstance(value, str) and _DAY.fullmatch(value):
        return date.fromisoformat(value)
    if not isinstance(value, date):
        raise ValueError(f"{value!r} is not a date")
    return value


def text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"{value!r} is not text")
    return value


def word(*known: str) -> ReadParam:
    def read(value: Any) -> str:
        if not isinstance(value, str) or (known and value not in known):
            raise ValueError(
                f"{value!r} is not one of {', '.join(known)}" if known else f"{value!r} is not text"
            )
        return value

    return read


def words(*known: str) -> ReadParam:
    """One or more words."""
    one = word(*known)

    def read(value: Any) -> tuple[str, ...]:
        if not isinstance(value, list) or not value:
            raise ValueError(f"{value!r} is not a list of words")
        return tuple(one(each) for each in value)

    return read


def table(read_key: ReadParam, read_value: ReadParam) -> ReadParam:
    def read(value: Any) -> dict[Any, Any]:
        if not isinstance(value, Mapping) or not value:
            raise ValueError(f"{value!r} is not a table")
        return {read_key(key): read_value(each) for key, each in value.items()}

    return read


def struct(*, together: tuple[tuple[str, str], ...] = (), **params: Param) -> ReadParam:
    """A group of parameters that belong together; of each pair in ``together`` both stand or neither."""

    def read(value: Any) -> dict[str, Any]:
        if not isinstance(value, Mapping):
            raise ValueError(f"{value!r} is not a group of {', '.join(params)}")
        if extra := sorted(set(value) - set(params)):
            raise ValueError(f"unknown {', '.join(map(repr, extra))}; use one of {', '.join(params)}")
        if missing := [name for name, param in params.items() if param.required and name not in value]:
            raise ValueError(f"{', '.join(missing)} is missing")
        for one, other in together:
            if (one in value) != (other in value):
                raise ValueError(f"{one} and {other} go together; give both or neither")
        return {name: param.read(value[name]) for name, param in params.items() if name in value}

    return read


def list_of(read_one: ReadParam) -> ReadParam:
    def read(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list) or not value:
            raise ValueError(f"{value!r} is not a list")
        return tuple(read_one(each) for each in value)

    return read
