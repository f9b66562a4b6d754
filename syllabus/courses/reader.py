"""Reads a course from its file's data, or from JSON, and collects every error at its place."""

import datetime as dt
import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from syllabus.engine.course.course import FLIGHT, PLANNED, CourseError, Item, Lesson, Outline, Stage, Task
from syllabus.engine.course.standards import (
    ASSIGNED,
    BASES,
    NAMED,
    QUANTITIES,
    RANGE,
    TEST_STANDARD,
    VALUE,
    Target,
    Tolerance,
)
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.minimums import Minimum
from syllabus.engine.rules.rulebook import VERIFIED
from syllabus.engine.time import units
from syllabus.law import rulebook
from syllabus.law.dated import Lined

MOST_TITLE, MOST_TEXT = 200, 10_000
MOST_NESTED = 20
_COURSE = ("course", "title", "says", "minimums", "stages", "items")
_STAGE = ("code", "title", "objective", "completion", "lessons")
_LESSON = ("code", "title", "objective", "completion", "times", "items", "plans")
_ITEM = ("code", "title", "objective", "kind", "standard", "task", "prerequisites", "proves")
_SOURCES = ("basis", "source", "verified", "note")
_TOLERANCE = ("name", "quantity", ASSIGNED, VALUE, NAMED, "low", "high", "excluded", *_SOURCES)
_MINIMUM = ("code", "kind", "says", "note")
_UNKEEPABLE = re.compile("[\x00\ud800-\udfff]")


class _Pathed(Lined):
    """A mapping whose places are paths, not lines."""

    def place(self, key: str | None = None) -> str:
        return f"{self.file}.{key}" if key and self.file else key or self.file


def with_paths(value: Any, place: str, depth: int = 0) -> Any:
    """Plain values whose mappings know their path. Raises: CourseError if they nest too deep."""
    if depth > MOST_NESTED:
        raise CourseError.at(place, f"nests more than {MOST_NESTED} deep")
    if isinstance(value, Mapping):
        made = _Pathed(place, 0)
        for key, each in value.items():
            made[key] = with_paths(each, f"{place}.{key}" if place else key, depth + 1)
        return made
    if isinstance(value, list):
        return [with_paths(each, f"{place}[{index}]", depth + 1) for index, each in enumerate(value)]
    return value


class Reader(rulebook.Builder):
    """Reads one course and remembers the line of each part."""

    def __init__(self) -> None:
        super().__init__()
        self.places: dict[str, str] = {}

    def place(self, path: str, data: Lined) -> str:
        """The place of a part of the course, or of the nearest thing around it."""
        while path:
            if path in self.places:
                return self.places[path]
            path = path.rpartition(".")[0]
        return data.place()

    def stands(self, path: str, at: Lined, *keys: str) -> None:
        self.places[path] = at.place()
        for key in keys:
            self.places[f"{path}.{key}"] = at.place(key)

    def text(self, at: Lined, key: str, *, most: int = MOST_TEXT, optional: bool = False) -> str:
        """Stripped text that a database can store."""
        found: str = self.field(at, key, str, "", optional=optional)
        if _UNKEEPABLE.search(found):
            self.error(at.place(key), f"{key} contains a character that is not text")
            return ""
        if len(found) > most:
            self.error(at.place(key), f"{key}: {len(found)} characters; at most {most} are allowed")
        return found.strip()

    def words(self, at: Lined, key: str) -> tuple[str, ...]:
        """A list of words, each once."""
        found = self.field(at, key, list, [], optional=True)
        for index, each in enumerate(found):
            if not isinstance(each, str) or not each.strip():
                self.error(at.place(key), f"{key}: {each!r} is not text; put it in quotes")
                return ()
            if each in found[:index]:
                self.error(at.place(key), f"{key}: {each!r} occurs twice; keep one")
        return tuple(found)

    def one_of(self, at: Lined, key: str, known: tuple[str, ...], default: str) -> str:
        found: str = self.field(at, key, str, default, optional=True)
        if found not in known:
            self.error(at.place(key), f"{key}: {found!r} is not one of {', '.join(known)}")
            return default
        return found

    def course(self, at: Lined) -> Outline:
        self.known(at, _COURSE)
        self.places["code"] = at.place("course")
        self.places["stages"] = at.place("stages")
        return Outline(
            code=self.text(at, "course"),
            title=self.text(at, "title", most=MOST_TITLE),
            says=self.text(at, "says"),
            minimums=tuple(map(self.minimum, self.mappings(at, "minimums", optional=True))),
            stages=tuple(map(self.stage, self.mappings(at, "stages"))),
            items=tuple(map(self.item, self.mappings(at, "items"))),
        )

    def minimum(self, at: Lined) -> Minimum:
        code, kind = self.text(at, "code"), self.text(at, "kind")
        params = {key: plain(value) for key, value in at.items() if key not in _MINIMUM}
        self.stands(f"minimums.{code}", at, "code", "kind", *params)
        return Minimum(
            code, kind, MappingProxyType(params), self.text(at, "says"), self.text(at, "note", optional=True)
        )

    def stage(self, at: Lined) -> Stage:
        self.known(at, _STAGE)
        code = self.text(at, "code")
        self.stands(f"stages.{code}", at, "code", "lessons")
        return Stage(
            code=code,
            title=self.text(at, "title", most=MOST_TITLE),
            objective=self.text(at, "objective"),
            completion=self.text(at, "completion"),
            lessons=tuple(map(self.lesson, self.mappings(at, "lessons"))),
        )

    def lesson(self, at: Lined) -> Lesson:
        self.known(at, _LESSON)
        code = self.text(at, "code")
        path = f"lessons.{code}"
        self.stands(path, at, "code", "times", "items", "plans")
        times = self.inside(at, "times", f"{path}.times")
        items = self.inside(at, "items", f"{path}.items")
        read_times = {
            kind: self.read(times, kind, registry.time, 0) for kind in times if self.planned_kind(times, kind)
        }
        return Lesson(
            code=code,
            title=self.text(at, "title", most=MOST_TITLE),
            objective=self.text(at, "objective"),
            completion=self.text(at, "completion"),
            # in the order of the file, so that it reads back the same
            times=MappingProxyType({kind: read_times[kind] for kind in PLANNED if kind in read_times}),
            items=MappingProxyType({item: self.field(items, item, str, "") for item in items}),
            plans=self.words(at, "plans"),
        )

    def planned_kind(self, times: Lined, kind: str) -> bool:
        if kind in PLANNED:
            return True
        self.error(times.place(kind), f"{kind!r} is not a planned time; use one of {', '.join(PLANNED)}")
        return False

    def inside(self, at: Lined, key: str, path: str) -> Lined:
        """The mapping at ``key``, each of its keys with its line; an empty one after an error."""
        found = self.field(at, key, dict)
        if not isinstance(found, Lined):
            return Lined(at.file, at.lines.get(key, at.line))
        for each in found:
            self.places[f"{path}.{each}"] = found.place(each)
        return found

    def item(self, at: Lined) -> Item:
        self.known(at, _ITEM)
        code = self.text(at, "code")
        path = f"items.{code}"
        self.stands(path, at, "code", "kind", "prerequisites", "proves")
        standard = []
        for each in self.mappings(at, "standard", optional=True):
            if made := self.tolerance(each):
                standard.append(made)
                self.places[f"{path}.standard.{made.name}"] = each.place()
        return Item(
            code=code,
            title=self.text(at, "title", most=MOST_TITLE),
            objective=self.text(at, "objective"),
            kind=self.field(at, "kind", str, FLIGHT, optional=True),
            standard=tuple(standard),
            task=self.read(at, "task", lambda text: Task.read(str(text)), None),
            prerequisites=self.words(at, "prerequisites"),
            proves=self.words(at, "proves"),
        )

    def tolerance(self, at: Lined) -> Tolerance | None:
        self.known(at, _TOLERANCE)
        name = self.text(at, "name", most=MOST_TITLE)
        if "quantity" not in at and name not in QUANTITIES:
            told = f"say which it is with 'quantity', one of {', '.join(QUANTITIES)}"
            self.error(at.place("name"), f"name: {name!r} is not a quantity; {told}")
            return None
        quantity = self.one_of(at, "quantity", tuple(QUANTITIES), name if name in QUANTITIES else "")
        if not quantity:
            return None
        target = self.target(at, quantity)
        low, high = self.limit(at, "low", quantity, target), self.limit(at, "high", quantity, target)
        excluded = self.words(at, "excluded")
        for word in excluded:
            if word not in ("low", "high") or word not in at:
                self.error(at.place("excluded"), f"excluded: {word!r} is not a limit given here")
        if target.kind == RANGE and low is None and high is None and not {"low", "high"} & set(at):
            self.error(at.place(), f"{name}: give the target ({ASSIGNED}, {VALUE}, {NAMED}) or a limit")
        return Tolerance(
            name=name,
            quantity=quantity,
            target=target,
            low=low,
            high=high,
            low_inclusive="low" not in excluded,
            high_inclusive="high" not in excluded,
            basis=self.one_of(at, "basis", BASES, TEST_STANDARD),
            source=self.text(at, "source"),
            verified=self.one_of(at, "verified", VERIFIED, "memory"),
            note=self.text(at, "note", optional=True),
        )

    def target(self, at: Lined, quantity: str) -> Target:
        given = [key for key in (ASSIGNED, VALUE, NAMED) if key in at]
        if len(given) > 1:
            self.error(at.place(given[1]), f"{' and '.join(given)} are given together; keep one")
        if not given:
            return Target(RANGE)
        if given[0] == VALUE:
            return Target(VALUE, self.read(at, VALUE, lambda text: _quantity(text, quantity), Fraction(0)))
        return Target(given[0], name=self.text(at, given[0], most=MOST_TITLE))

    def limit(self, at: Lined, key: str, quantity: str, target: Target) -> Fraction | None:
        def signed(text: Any) -> Fraction:
            sign = text.strip()[:1] if isinstance(text, str) else ""
            sign = sign if sign in ("+", "-", "−") else ""
            number = _quantity(text.strip()[1:].strip() if sign else text, quantity)
            if target.kind == RANGE and sign:
                raise ValueError(f"{text!r}: a range has a minimum and a maximum, without signs")
            if target.kind != RANGE and number and not sign:
                raise ValueError(f"{text!r} is relative to the target; write its sign, as in '+{text}'")
            return -number if sign in ("-", "−") else number

        found: Fraction | None = self.read(at, key, signed, None)
        return found


def _quantity(text: Any, quantity: str) -> Fraction:
    """A number in a quantity's unit, which must be exact to six decimals."""
    known = QUANTITIES[quantity]
    if not isinstance(text, str):
        raise ValueError(f"{text!r} needs a unit, such as {units.EXAMPLES[known.dimension]}")
    found = units.parse_in(text, known.dimension, known.unit)
    if found and re.fullmatch(r"[0-9.]+", text.strip()):
        raise ValueError(f"{text!r} needs a unit, such as '{text.strip()} {known.unit}'")
    if abs(found) >= 10**units.MOST_DIGITS:
        raise ValueError(
            f"{text!r} is too long: at most {units.MOST_DIGITS} digits of {known.unit} are allowed"
        )
    if (found * 10**units.MOST_DECIMALS).denominator != 1:
        raise ValueError(f"{text!r} is not exact in {known.unit}; write it in {known.unit}")
    return found


def plain(value: Any) -> Any:
    """Data without line numbers, and with days as text, as JSON has them."""
    if isinstance(value, Mapping):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list):
        return [plain(each) for each in value]
    return value.isoformat() if isinstance(value, dt.date) else value
