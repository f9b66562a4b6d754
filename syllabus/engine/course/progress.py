"""Where a student stands in a course: each item's newest grade, what is carried over, which lessons are done.

Times are microseconds, as everywhere in the engine. "Below standard" is always against what the lessons flown
so far asked for: an item that the course has not come to yet is not below anything.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from types import MappingProxyType

from syllabus.engine.course.course import FLOWN, PLANNED, STAGE_CHECK, Item, Lesson, Outline, Stage
from syllabus.engine.record.record import GRADES, NOT_OBSERVED
from syllabus.engine.rules.reasons import Reason, reason

NOT_FLOWN, OPEN, COMPLETE = "not flown", "open", "complete"


@dataclass(frozen=True, slots=True)
class Graded:
    """One grade of one item; ``entry`` is the id of its entry, ``provenance`` says who vouches for it."""

    item: str
    grade: str
    date: date
    entry: str
    provenance: str | None = None


@dataclass(frozen=True, slots=True)
class Flown:
    """A lesson that was given and signed. ``times`` are by planned kind, in microseconds."""

    lesson: str
    date: date
    entry: str
    times: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class ItemStanding:
    """An item with what the course asks of it in the end, and what the lessons flown asked so far."""

    item: Item
    wanted: str
    asked: str | None
    grades: tuple[Graded, ...] = ()

    @property
    def newest(self) -> Graded | None:
        return self.grades[-1] if self.grades else None

    @property
    def grade(self) -> str | None:
        return self.grades[-1].grade if self.grades else None

    @property
    def passed(self) -> bool:
        return reaches(self.grade, self.wanted)

    @property
    def carried_over(self) -> bool:
        """Whether a lesson that was flown asked for more than the newest grade."""
        return self.asked is not None and not reaches(self.grade, self.asked)


@dataclass(frozen=True, slots=True)
class LessonStanding:
    """A lesson with the times it was flown, and the items whose newest grade is below what it asks.

    ``missing`` holds for each such item its code, the grade asked and the newest (None where there is none).
    """

    lesson: Lesson
    stage: str
    flown: tuple[Flown, ...] = ()
    missing: tuple[tuple[str, str, str | None], ...] = ()

    @property
    def state(self) -> str:
        if not self.flown:
            return NOT_FLOWN
        return OPEN if self.missing else COMPLETE


@dataclass(frozen=True, slots=True)
class StageStanding:
    """A stage. ``check`` is its stage check lesson, where it has one; ``before_check`` what it waits for."""

    stage: Stage
    lessons: tuple[LessonStanding, ...]
    check: LessonStanding | None
    before_check: tuple[Reason, ...]

    @property
    def complete(self) -> bool:
        return all(each.state == COMPLETE for each in self.lessons)

    @property
    def ready_for_check(self) -> bool:
        return self.check is not None and not self.before_check

    def planned(self, kind: str) -> int:
        return sum(each.lesson.times.get(kind, 0) for each in self.lessons)

    def flown(self, kind: str) -> int:
        return sum(flown.times.get(kind, 0) for each in self.lessons for flown in each.flown)


@dataclass(frozen=True)
class Progress:
    """A student's standing in one version of a course."""

    outline: Outline
    items: Mapping[str, ItemStanding]
    stages: tuple[StageStanding, ...]
    #: Lessons on record of codes that this version does not have.
    others: tuple[Flown, ...] = ()

    @cached_property
    def lessons(self) -> Mapping[str, LessonStanding]:
        return {each.lesson.code: each for stage in self.stages for each in stage.lessons}

    @cached_property
    def carried_over(self) -> tuple[ItemStanding, ...]:
        """Items below what the lessons flown asked for, the longest not practised first."""
        below = [each for each in self.items.values() if each.carried_over]
        return tuple(sorted(below, key=lambda each: each.newest.date if each.newest else date.min))

    @property
    def stage(self) -> StageStanding | None:
        """The first stage that is not complete; None where the whole course is."""
        return next((each for each in self.stages if not each.complete), None)

    @property
    def passed(self) -> int:
        return sum(each.passed for each in self.items.values())

    @property
    def complete(self) -> bool:
        return all(each.complete for each in self.stages)

    def planned(self, kind: str) -> int:
        return sum(each.planned(kind) for each in self.stages)

    def flown(self, kind: str) -> int:
        """Time of a kind in lessons of this course, those of codes it no longer has among them."""
        return sum(each.flown(kind) for each in self.stages) + sum(
            each.times.get(kind, 0) for each in self.others
        )


def reaches(grade: str | None, wanted: str) -> bool:
    """Whether a grade is as high as the one wanted; none and not-observed never are."""
    return grade in GRADES and GRADES.index(grade) >= GRADES.index(wanted)


def progress(outline: Outline, grades: Iterable[Graded], flown: Iterable[Flown]) -> Progress:
    """Where a student stands. ``grades`` and ``flown`` are in order of time.

    Not-observed is no grade, and lowers none.
    """
    by_item: dict[str, list[Graded]] = {}
    for given in grades:
        if given.grade != NOT_OBSERVED:
            by_item.setdefault(given.item, []).append(given)
    by_lesson: dict[str, list[Flown]] = {}
    for each in flown:
        by_lesson.setdefault(each.lesson, []).append(each)
    asked: dict[str, str] = {}
    for lesson in outline.lessons:
        if lesson.code in by_lesson:
            for code, grade in lesson.items.items():
                asked[code] = max(asked.get(code, grade), grade, key=GRADES.index)
    items = {
        item.code: ItemStanding(
            item, outline.highest[item.code], asked.get(item.code), tuple(by_item.get(item.code, ()))
        )
        for item in outline.items
        if item.code in outline.highest
    }
    known = {lesson.code for lesson in outline.lessons}
    return Progress(
        outline,
        items,
        tuple(_stage(stage, by_lesson, items) for stage in outline.stages),
        tuple(each for code, done in by_lesson.items() if code not in known for each in done),
    )


def _stage(
    stage: Stage, flown: Mapping[str, Sequence[Flown]], items: Mapping[str, ItemStanding]
) -> StageStanding:
    lessons = tuple(
        LessonStanding(
            lesson,
            stage.code,
            tuple(flown.get(lesson.code, ())),
            tuple(
                (code, wanted, items[code].grade)
                for code, wanted in lesson.items.items()
                if not reaches(items[code].grade, wanted)
            ),
        )
        for lesson in stage.lessons
    )
    check = next(
        (each for each in lessons if any(items[code].item.kind == STAGE_CHECK for code in each.lesson.items)),
        None,
    )
    return StageStanding(stage, lessons, check, tuple(_before(check, lessons, items)) if check else ())


def _before(
    check: LessonStanding, lessons: Sequence[LessonStanding], items: Mapping[str, ItemStanding]
) -> Iterable[Reason]:
    """What is between the student and the stage check: lessons before it, items below."""
    for each in lessons:
        if each is check:
            return
        if each.state == NOT_FLOWN:
            yield reason("lesson.not-flown", lesson=each.lesson.code, title=each.lesson.title)
        for code, wanted, grade in each.missing if each.flown else ():
            said = {"item": items[code].item.title, "lesson": each.lesson.code, "wanted": wanted}
            yield (
                reason("lesson.asks-more", grade=grade, **said)
                if grade
                else reason("lesson.asks-for-grade", **said)
            )


def times_of(times: Mapping[str, int], *, preparation: bool = False, ground: int = 0) -> dict[str, int]:
    """Logged times by the kinds that lessons plan; instrument is actual and simulated together.

    ``preparation`` says whether the flight was logged as preparation for a practical test.
    """
    found = {kind: times.get(kind, 0) for kind in (*FLOWN, "cross_country", "night")}
    found["instrument"] = times.get("actual_instrument", 0) + times.get("simulated_instrument", 0)
    found["preparation"] = found["dual"] if preparation else 0
    found["ground"] = ground
    assert set(found) == set(PLANNED)
    return found
