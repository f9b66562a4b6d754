"""Which lesson comes next, and why: a proposal with its reasons, for the instructor to take or leave.

A lesson is *ready* when it was not flown yet, its stage is the one the student is in, every prerequisite of
its items is at the grade that the lessons before asked for, and the lessons it builds on were flown. Of the
ready lessons the one comes first that takes up most of what is below standard, then most of what the next
milestone lacks, then what was longest not practised (beyond a month), then the earlier in the course. Where
none is ready, the lesson flown before is proposed again that takes up most of what holds the others up.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from types import MappingProxyType

from syllabus.engine.course import STANDARD, Lesson
from syllabus.engine.progress import COMPLETE, NOT_FLOWN, ItemStanding, LessonStanding, Progress, reaches
from syllabus.engine.record import GRADES
from syllabus.engine.units import format_time

READY, BELOW, LACKS, LONGEST, ORDER, AGAIN, BLOCKED, CAUTION = (
    "prerequisites met",
    "below standard",
    "next milestone",
    "longest not practised",
    "order of the course",
    "again",
    "blocked",
    "caution",
)
#: Items longer away than this are worth flying again with the next lesson. Common practice, a month.
LONG_AWAY_DAYS = 30
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a lesson is or is not proposed: ``kind`` is one of those above, ``words`` say it."""

    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class ShortTime:
    """A total that the next milestone asks for and that is not reached; ``remaining`` in microseconds."""

    requirement: str
    says: str
    counts: tuple[str, ...]
    remaining: int


@dataclass(frozen=True)
class Lacking:
    """What the next milestone lacks: items below the grade a rule asks, totals not reached, whole flights.

    ``barred`` gives for kinds of flying (``solo``, ``solo cross_country``) why they are not open today, and
    ``cautions`` what is still to be given or asked before they are.
    """

    milestone: str = ""
    title: str = ""
    items: frozenset[str] = frozenset()
    times: tuple[ShortTime, ...] = ()
    requirements: frozenset[str] = frozenset()
    barred: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    cautions: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Planned:
    """An item of a lesson to be flown: ``wanted`` is the grade asked, ``why`` it is on the sheet."""

    standing: ItemStanding
    wanted: str
    why: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """One lesson, what would be on its sheet, and the reasons."""

    standing: LessonStanding
    items: tuple[Planned, ...]
    why: tuple[Reason, ...]
    covers: tuple[str, ...] = ()

    @property
    def lesson(self) -> Lesson:
        return self.standing.lesson


@dataclass(frozen=True, slots=True)
class NextLesson:
    """The proposal, the other lessons that are ready, and those of this stage that are not, each with why."""

    proposal: Proposal | None
    others: tuple[Proposal, ...] = ()
    blocked: tuple[tuple[LessonStanding, tuple[Reason, ...]], ...] = ()
    says: str = ""


def next_lesson(progress: Progress, on: date, lacking: Lacking | None = None) -> NextLesson:
    """What to fly next. Decides nothing: weather, airplane and the instructor do."""
    return _Choice(progress, on, lacking or Lacking()).made()


def sheet(progress: Progress, lesson: Lesson) -> tuple[Planned, ...]:
    """What is on the sheet of a lesson: what is carried over from lessons before, then what it plans."""
    taken = [
        Planned(each, each.asked or each.wanted, f"carried over: asked {each.asked}, {_at(each)}")
        for each in progress.carried_over
        if each.item.code not in lesson.items
    ]
    own = [
        Planned(
            standing := progress.items[code],
            max(wanted, standing.asked or wanted, key=_rank) if standing.carried_over else wanted,
            "planned, and below standard" if standing.carried_over else "planned",
        )
        for code, wanted in lesson.items.items()
    ]
    return (*taken, *own)


def _rank(grade: str) -> int:
    return GRADES.index(grade)


def _at(standing: ItemStanding) -> str:
    newest = standing.newest
    return f"{newest.grade} on {newest.date}" if newest else "not graded yet"


class _Choice:
    def __init__(self, progress: Progress, on: date, lacking: Lacking):
        self.progress, self.on, self.lacking = progress, on, lacking

    def made(self) -> NextLesson:
        stage = self.progress.stage
        if stage is None:
            return NextLesson(None, says="Every lesson of the course is complete.")
        ready, blocked = [], []
        for each in stage.lessons:
            if each.state == NOT_FLOWN:
                why = tuple(self.blocks(each))
                (blocked.append((each, why)) if why else ready.append(each))
        if ready:
            ready.sort(key=self._rank)
            made = [self.proposal(each) for each in ready]
            return NextLesson(made[0], tuple(made[1:]), tuple(blocked))
        again = self._again(stage.lessons)
        if again is None:
            return NextLesson(None, (), tuple(blocked), "No lesson of this stage is open today.")
        return NextLesson(again, (), tuple(blocked))

    # Ready, or not

    def blocks(self, standing: LessonStanding) -> Iterator[Reason]:
        """Everything that keeps a lesson from being next."""
        lesson = standing.lesson
        for code in lesson.items:
            for other in self.progress.items[code].item.prerequisites:
                if other in lesson.items:
                    continue
                needed = self._asked_before(lesson, other)
                item = self.progress.items[other]
                if needed and not reaches(item.grade, needed):
                    at = f"at {item.grade}" if item.grade else "not graded yet"
                    name = self.progress.items[code].item.title
                    yield Reason(BLOCKED, f"{name} needs {item.item.title} at {needed}; it is {at}")
        for before in self._builds_on(lesson):
            yield Reason(BLOCKED, f"builds on lesson {before.code} ({before.title}), which is not flown yet")
        if self._is_check(standing):
            stage = next(each for each in self.progress.stages if each.stage.code == standing.stage)
            for words in stage.before_check:
                yield Reason(BLOCKED, words)
        yield from (Reason(BLOCKED, why) for why in _about(lesson, self.lacking.barred))

    def _is_check(self, standing: LessonStanding) -> bool:
        stage = next(each for each in self.progress.stages if each.stage.code == standing.stage)
        return stage.check is not None and stage.check.lesson is standing.lesson

    @cached_property
    def _place(self) -> Mapping[str, int]:
        return {lesson.code: index for index, lesson in enumerate(self.progress.outline.lessons)}

    def _before(self, lesson: Lesson, item: str) -> list[Lesson]:
        place = self._place[lesson.code]
        return [each for each in self.progress.outline.taught.get(item, ()) if self._place[each.code] < place]

    def _asked_before(self, lesson: Lesson, item: str) -> str | None:
        """The highest grade that the lessons before this one ask of an item."""
        return max((each.items[item] for each in self._before(lesson, item)), key=_rank, default=None)

    def _builds_on(self, lesson: Lesson) -> list[Lesson]:
        """Lessons not flown that take an item of this one a step toward it; solo lessons come in order."""
        before = [each for item in lesson.items for each in self._before(lesson, item)]
        if lesson.times.get("solo"):
            earlier = self.progress.outline.lessons[: self._place[lesson.code]]
            before.extend(each for each in earlier if each.times.get("solo"))
        found = {each.code: each for each in before if self.progress.lessons[each.code].state == NOT_FLOWN}
        return sorted(found.values(), key=lambda each: self._place[each.code])

    # Which of them first

    def _rank(self, standing: LessonStanding) -> tuple[int, int, int, int]:
        lesson = standing.lesson
        return (
            -len(self._below(lesson)),
            -len(self.covers(lesson)),
            -self._days_away(lesson),
            self._place[lesson.code],
        )

    def _below(self, lesson: Lesson) -> list[ItemStanding]:
        return [each for each in self.progress.carried_over if each.item.code in lesson.items]

    def _days_away(self, lesson: Lesson) -> int:
        """How long its item longest away was not practised; 0 where that is no longer than usual."""
        longest = max(((self.on - day).days for _, day in self._practised(lesson)), default=0)
        return longest if longest > LONG_AWAY_DAYS else 0

    def _practised(self, lesson: Lesson) -> list[tuple[ItemStanding, date]]:
        items = (self.progress.items[code] for code in lesson.items)
        return [(each, each.newest.date) for each in items if each.newest is not None]

    def covers(self, lesson: Lesson) -> tuple[str, ...]:
        """What of the next milestone's gaps the lesson takes up, in words."""
        lacking, found = self.lacking, []
        for code, wanted in lesson.items.items():
            item = self.progress.items[code].item
            if wanted == STANDARD and (proves := [each for each in item.proves if each in lacking.items]):
                found.append(f"{item.title} at {STANDARD} ({', '.join(proves)})")
        for short in lacking.times:
            if gives := lesson.overlap(short.counts):
                part = min(gives, short.remaining)
                found.append(
                    f"{format_time(part)} of the {format_time(short.remaining)} still to go: {short.says}"
                )
        found.extend(f"is laid out for {each}" for each in lesson.plans if each in lacking.requirements)
        return tuple(found)

    # In words

    def proposal(self, standing: LessonStanding, *first: Reason) -> Proposal:
        covers = self.covers(standing.lesson)
        return Proposal(
            standing, sheet(self.progress, standing.lesson), (*first, *self._why(standing, covers)), covers
        )

    def _why(self, standing: LessonStanding, covers: Sequence[str]) -> Iterator[Reason]:
        lesson = standing.lesson
        if standing.state == NOT_FLOWN:
            needs = {
                other for code in lesson.items for other in self.progress.items[code].item.prerequisites
            } - set(lesson.items)
            words = (
                "it has no prerequisites"
                if not needs
                else "its prerequisite is met"
                if len(needs) == 1
                else f"all of its {len(needs)} prerequisites are met"
            )
            yield Reason(READY, words)
        if below := self._below(lesson):
            names = _named([f"{each.item.title} ({_at(each)})" for each in below])
            yield Reason(BELOW, f"takes up {names}")
        others = [each for each in self.progress.carried_over if each.item.code not in lesson.items]
        if others:
            yield Reason(
                BELOW, f"carried over onto its sheet: {_named([each.item.title for each in others])}"
            )
        if covers:
            yield Reason(LACKS, f"{self.lacking.title}: {_named(list(covers))}")
        away = [
            (each, (self.on - day).days)
            for each, day in sorted(self._practised(lesson), key=lambda pair: pair[1])
            if (self.on - day).days > LONG_AWAY_DAYS
        ]
        if away:
            names = _named([f"{each.item.title}, {days} days ago" for each, days in away])
            yield Reason(LONGEST, f"longest without practice: {names}")
        if not (below or covers or away):
            yield Reason(ORDER, "comes next in the order of the course")
        yield from (Reason(CAUTION, words) for words in _about(lesson, self.lacking.cautions))

    # Nothing new is ready

    def _again(self, lessons: Sequence[LessonStanding]) -> Proposal | None:
        """The lesson flown before that takes up most of what is below standard, or was away the longest."""
        flown = [each for each in lessons if each.flown and not self._barred(each.lesson)]
        if not flown:
            return None
        best = max(
            flown,
            key=lambda each: (
                each.state != COMPLETE,
                len(self._below(each.lesson)),
                self._furthest_and_long_away(each.lesson),
                self._place[each.lesson.code],
            ),
        )
        if best.missing:
            names = _named(
                [
                    f"{self.progress.items[code].item.title} ({grade or 'not graded'}, {wanted} asked)"
                    for code, wanted, grade in best.missing
                ]
            )
            return self.proposal(best, Reason(AGAIN, f"flown on {best.flown[-1].date}; still open: {names}"))
        return self.proposal(best, Reason(AGAIN, "nothing new to start today; practice"))

    def _furthest_and_long_away(self, lesson: Lesson) -> int:
        """How many items this lesson takes as far as the course has come, and that were away for long."""
        return sum(
            each.asked == lesson.items[each.item.code] and (self.on - day).days > LONG_AWAY_DAYS
            for each, day in self._practised(lesson)
        )

    def _barred(self, lesson: Lesson) -> bool:
        return any(True for _ in _about(lesson, self.lacking.barred))


def _about(lesson: Lesson, said: Mapping[str, str]) -> Iterator[str]:
    """What is said of the kinds of flying that a lesson plans all at once."""
    return (words for kinds, words in said.items() if all(lesson.times.get(kind) for kind in kinds.split()))


def _named(names: Sequence[str]) -> str:
    """``a, b, c and 4 more``."""
    more = len(names) - _MOST_NAMED
    shown = "; ".join(names[:_MOST_NAMED])
    return f"{shown}; and {more} more" if more > 0 else shown
