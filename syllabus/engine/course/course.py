"""A course as values: stages of lessons, lessons of items, and what makes it hang together.

An item is defined once and planned in as many lessons as it takes, each with the grade that lesson asks for.
Times are microseconds, as everywhere in the engine. ``check`` finds what would leave a student or an
instructor stuck: a circle of prerequisites, an item no lesson teaches, a proof nobody ever asks for.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any

from syllabus.engine.course.standards import Tolerance
from syllabus.engine.errors import Error, InputError
from syllabus.engine.record.record import GRADES
from syllabus.engine.rules.minimums import Minimum, read_params
from syllabus.engine.time.units import format_time

FLIGHT, GROUND, STAGE_CHECK = "flight", "ground", "stage check"
ITEM_KINDS = (FLIGHT, GROUND, STAGE_CHECK)
#: Kinds of planned time. Dual and solo exclude each other and are together the flight time; cross-country,
#: night and instrument are parts of it, preparation (for the practical test) a part of dual; ground is none.
PLANNED = ("dual", "solo", "cross_country", "night", "instrument", "preparation", "ground")
FLOWN = ("dual", "solo")
#: The standard on the learner-centered scale: what a rule that asks for proficiency asks for.
STANDARD = GRADES[-1]
CODE = re.compile(r"[a-z0-9]+(?:[.-][a-z0-9]+)*", re.ASCII)
MOST_CODE = 80
_TASK = re.compile(r"([A-Z][A-Z0-9]*(?:-[A-Z0-9]+)*)-([0-9]+[A-Z]?) ([A-Za-z0-9.]+)", re.ASCII)


class CourseError(InputError):
    """A course that does not hang together, or cannot be read; places say where in it."""

    what = "the course"


@dataclass(frozen=True, slots=True)
class Task:
    """A task of a test standard: ``FAA-S-ACS`` in revision ``6C``, code ``PA.V.A``.

    All three name it: a letter may stand for another task in another revision.
    """

    document: str
    revision: str
    code: str

    @classmethod
    def read(cls, text: str) -> "Task":
        """From ``FAA-S-ACS-6C PA.V.A``. Raises: ValueError."""
        found = _TASK.fullmatch(text)
        if not found:
            raise ValueError(
                f"{text!r} is not a task of a test standard; write document, revision and code, such as"
                " FAA-S-ACS-6C PA.V.A"
            )
        return cls(*found.groups())

    def __str__(self) -> str:
        return f"{self.document}-{self.revision} {self.code}"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to learn. ``prerequisites`` are codes of items, ``proves`` items that rules ask for."""

    code: str
    title: str
    objective: str
    kind: str = FLIGHT
    standard: tuple[Tolerance, ...] = ()
    task: Task | None = None
    prerequisites: tuple[str, ...] = ()
    proves: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Lesson:
    """One lesson. ``items`` gives each planned item, in order, the least grade that completes the lesson.

    ``times`` are planned, in microseconds by kind (``PLANNED``). ``plans`` are ids of requirements that this
    lesson is laid out to meet as a whole, such as the long solo cross-country flight.
    """

    code: str
    title: str
    objective: str
    completion: str
    times: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    items: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    plans: tuple[str, ...] = ()

    @property
    def flight_time(self) -> int:
        return sum(self.times.get(kind, 0) for kind in FLOWN)

    def overlap(self, counts: Collection[str]) -> int:
        """The time of which all of ``counts`` is sure: ``total``, or kinds of planned time."""
        whole = self.flight_time
        amounts = [whole if kind == "total" else self.times.get(kind, 0) for kind in counts]
        if not whole or not all(amounts):
            return 0
        return max(0, sum(amounts) - (len(amounts) - 1) * whole)


@dataclass(frozen=True, slots=True)
class Stage:
    code: str
    title: str
    objective: str
    completion: str
    lessons: tuple[Lesson, ...] = ()


@dataclass(frozen=True)
class Outline:
    """A whole course, in order."""

    code: str
    title: str
    says: str
    stages: tuple[Stage, ...] = ()
    items: tuple[Item, ...] = ()
    minimums: tuple[Minimum, ...] = ()

    @cached_property
    def lessons(self) -> tuple[Lesson, ...]:
        return tuple(lesson for stage in self.stages for lesson in stage.lessons)

    @cached_property
    def by_code(self) -> Mapping[str, Item]:
        return {item.code: item for item in self.items}

    @cached_property
    def taught(self) -> Mapping[str, tuple[Lesson, ...]]:
        """The lessons of each item that any lesson plans, in order."""
        found: dict[str, list[Lesson]] = {}
        for lesson in self.lessons:
            for code in lesson.items:
                found.setdefault(code, []).append(lesson)
        return {code: tuple(lessons) for code, lessons in found.items()}

    @cached_property
    def highest(self) -> Mapping[str, str]:
        """The highest grade that any lesson asks of each item: what it takes to have passed it."""
        return {
            code: max((lesson.items[code] for lesson in lessons), key=GRADES.index)
            for code, lessons in self.taught.items()
        }

    @cached_property
    def proofs(self) -> Mapping[str, tuple[Item, ...]]:
        """For each item that a rule asks for, the items of the course that prove it together."""
        found: dict[str, list[Item]] = {}
        for item in self.items:
            for proof in item.proves:
                found.setdefault(proof, []).append(item)
        return {proof: tuple(items) for proof, items in found.items()}

    def planned(self, *counts: str) -> int:
        """Planned time of which all of ``counts`` is sure, over all lessons: ``planned("dual", "night")``."""
        return sum(lesson.overlap(counts) for lesson in self.lessons)

    @property
    def ground_time(self) -> int:
        return sum(lesson.times.get("ground", 0) for lesson in self.lessons)


def proven(outline: Outline, grades: Mapping[str, str]) -> dict[str, str]:
    """The grade of each requirement item, of the newest grades of the course's items.

    Where several items prove one, it is as good as the weakest of them, and absent until each is graded.
    """
    found = {}
    for proof, items in outline.proofs.items():
        reached = [grade for item in items if (grade := grades.get(item.code)) in GRADES]
        if len(reached) == len(items):
            found[proof] = min(reached, key=GRADES.index)
    return found


def check(
    outline: Outline, *, requirements: Collection[str] | None = None, proves: Collection[str] | None = None
) -> tuple[Error, ...]:
    """Everything that keeps the course from hanging together; empty where it does.

    Places are paths into it, ``items.steep-turns.prerequisites``. ``requirements`` are the ids that a lesson
    may plan to meet, ``proves`` the rules' items that an item may prove; without them those are not checked.
    """
    return (
        *_codes(outline),
        *_lessons(outline, requirements),
        *_items(outline, proves),
        *_circles(outline),
        *_minimums(outline),
    )


def _codes(outline: Outline) -> Iterator[Error]:
    """Codes that are none, and codes that stand twice within their kind."""
    groups = (
        ("stages", outline.stages),
        ("lessons", outline.lessons),
        ("items", outline.items),
        ("minimums", outline.minimums),
    )
    yield from _code("code", outline.code)
    for where, group in groups:
        seen: set[str] = set()
        for each in group:
            place = f"{where}.{each.code}.code"
            yield from _code(place, each.code)
            if each.code in seen:
                yield Error(place, f"two {where} are called {each.code!r}; codes are unique in a course")
            seen.add(each.code)
    if not outline.stages:
        yield Error("stages", "the course has no stage")
    for stage in outline.stages:
        if not stage.lessons:
            yield Error(f"stages.{stage.code}.lessons", f"stage {stage.code} has no lesson")


def _code(place: str, code: str) -> Iterator[Error]:
    if not CODE.fullmatch(code) or len(code) > MOST_CODE:
        yield Error(
            place,
            f"{code!r} is not a code: lowercase letters and digits, separated by hyphens or"
            f" points, at most {MOST_CODE}",
        )


def _lessons(outline: Outline, requirements: Collection[str] | None) -> Iterator[Error]:
    for lesson in outline.lessons:
        at = f"lessons.{lesson.code}"
        if not lesson.items:
            yield Error(f"{at}.items", f"lesson {lesson.code} plans no item")
        for code, grade in lesson.items.items():
            if code not in outline.by_code:
                yield Error(
                    f"{at}.items.{code}", f"lesson {lesson.code} plans {code!r}, which is not an item"
                )
            elif outline.by_code[code].kind == FLIGHT and not lesson.flight_time:
                yield Error(
                    f"{at}.items.{code}", f"{code} is flown, and lesson {lesson.code} plans no flight time"
                )
            if grade not in GRADES:
                yield Error(f"{at}.items.{code}", f"{grade!r} is not a grade; use one of {', '.join(GRADES)}")
        yield from _times(lesson, at)
        for requirement in lesson.plans:
            if requirements is not None and requirement not in requirements:
                yield Error(f"{at}.plans", f"{requirement!r} is not a requirement of the rulebook")


def _times(lesson: Lesson, at: str) -> Iterator[Error]:
    whole = lesson.flight_time
    for kind, time in lesson.times.items():
        if kind not in PLANNED:
            yield Error(
                f"{at}.times.{kind}", f"{kind!r} is not a planned time; use one of {', '.join(PLANNED)}"
            )
        elif kind == "preparation" and time > lesson.times.get("dual", 0):
            dual = format_time(lesson.times.get("dual", 0))
            yield Error(f"{at}.times.{kind}", f"{format_time(time)} of preparation in {dual} of dual")
        elif kind in ("cross_country", "night", "instrument") and time > whole:
            yield Error(
                f"{at}.times.{kind}",
                f"{format_time(time)} of {kind.replace('_', '-')} in {format_time(whole)} of flight",
            )
    if not any(lesson.times.values()):
        yield Error(f"{at}.times", f"lesson {lesson.code} plans no time")


def _items(outline: Outline, proves: Collection[str] | None) -> Iterator[Error]:
    order = {lesson.code: index for index, lesson in enumerate(outline.lessons)}
    for item in outline.items:
        at = f"items.{item.code}"
        if item.kind not in ITEM_KINDS:
            yield Error(
                f"{at}.kind", f"{item.kind!r} is not a kind of item; use one of {', '.join(ITEM_KINDS)}"
            )
        if not outline.taught.get(item.code):
            yield Error(at, f"no lesson plans the item {item.code!r}")
        yield from _standard(item, at)
        yield from _prerequisites(outline, item, order, at)
        yield from _proofs(outline, item, proves, at)


def _standard(item: Item, at: str) -> Iterator[Error]:
    names = [tolerance.name for tolerance in item.standard]
    for name in {name for name in names if names.count(name) > 1}:
        yield Error(f"{at}.standard.{name}", f"two tolerances of {item.code} are called {name!r}")
    for tolerance in item.standard:
        if tolerance.low is not None and tolerance.high is not None and tolerance.low > tolerance.high:
            place = f"{at}.standard.{tolerance.name}"
            yield Error(place, f"{tolerance.name}: the low limit is above the high one")


def _prerequisites(outline: Outline, item: Item, order: Mapping[str, int], at: str) -> Iterator[Error]:
    lessons = outline.taught.get(item.code, ())
    for other in item.prerequisites:
        if other not in outline.by_code:
            yield Error(f"{at}.prerequisites", f"{item.code} needs {other!r}, which is not an item")
        elif lessons and (first := outline.taught.get(other)):
            mine, theirs = lessons[0], first[0]
            if order[theirs.code] > order[mine.code]:
                yield Error(
                    f"{at}.prerequisites",
                    f"{item.code} is first taught in {mine.code}, before its prerequisite {other}"
                    f" in {theirs.code}",
                )


def _proofs(outline: Outline, item: Item, proves: Collection[str] | None, at: str) -> Iterator[Error]:
    lessons = outline.taught.get(item.code, ())
    for proof in item.proves:
        if proves is not None and proof not in proves:
            yield Error(f"{at}.proves", f"{proof!r} is not an item that a rule requires")
        elif lessons and all(lesson.items[item.code] != STANDARD for lesson in lessons):
            yield Error(
                f"{at}.proves", f"{item.code} proves {proof}, but no lesson requires {STANDARD} of it"
            )


def _circles(outline: Outline) -> Iterator[Error]:
    """Prerequisites that lead back to where they began; each circle once."""
    done: set[str] = set()
    for start in outline.by_code:
        path: list[str] = []
        stack: list[tuple[str, Iterator[str]]] = []
        if start not in done:
            stack.append((start, iter(outline.by_code[start].prerequisites)))
            path.append(start)
        while stack:
            code, ahead = stack[-1]
            for other in ahead:
                if other in path:
                    circle = " -> ".join([*path[path.index(other) :], other])
                    yield Error(f"items.{code}.prerequisites", f"circular prerequisites: {circle}")
                elif other in outline.by_code and other not in done:
                    path.append(other)
                    stack.append((other, iter(outline.by_code[other].prerequisites)))
                    break
            else:
                done.add(code)
                path.pop()
                stack.pop()


def _minimums(outline: Outline) -> Iterator[Error]:
    """A minimum that cannot be read, and a total that the course asks for and does not plan."""
    for minimum in outline.minimums:
        at = f"minimums.{minimum.code}"
        params, errors = read_params(minimum.kind, minimum.params)
        for error in errors:
            yield Error(f"{at}.{error.place}", error.message)
        if not errors and (short := shortfall(outline, minimum.kind, params)):
            yield Error(at, f"{minimum.says}: the lessons plan {short}")


def shortfall(outline: Outline, kind: str, params: Mapping[str, Any]) -> str:
    """What the planned times lack of a total, in words: ``21.4 h, 0.6 h short``; empty where they reach it.

    ``params`` are those of ``total_at_least`` as a rule version has them (``need`` in microseconds). Of
    another kind, and of conditions that a plan of hours does not show, nothing is said.
    """
    if kind != "total_at_least":
        return ""
    counts = [*params["counts"], *(["preparation"] if params.get("prepares_for") else [])]
    have, need = outline.planned(*counts), params["need"]
    return "" if have >= need else f"{format_time(have)}, {format_time(need - have)} short"
