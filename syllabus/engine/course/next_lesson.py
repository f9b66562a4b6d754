"""Which lesson comes next, and why: a proposal with its reasons, for the instructor to take or leave.

A lesson is *ready* when it was not flown yet, its stage is the one the student is in, every prerequisite of
its items is at the grade that the lessons before asked for, and the lessons it builds on were flown. Of the
ready lessons the one comes first that takes up most of what is below standard, then most of what the next
milestone lacks, then what was longest not practised (beyond a month), then the earlier in the course. Where
none is ready, the lesson flown before is proposed again that takes up most of what holds the others up.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from types import MappingProxyType

from syllabus.engine.course.course import STANDARD, Lesson
from syllabus.engine.course.progress import (
    COMPLETE,
    NOT_FLOWN,
    ItemStanding,
    LessonStanding,
    Progress,
    reaches,
)
from syllabus.engine.record.record import GRADES
from syllabus.engine.rules.reasons import NOTHING, Named, Reason, reason, several
from syllabus.engine.time import amounts

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
class Why:
    """Why a lesson is or is not proposed: ``kind`` is one of those above."""

    kind: str
    reason: Reason


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
    barred: Mapping[str, Reason] = field(default_factory=lambda: MappingProxyType({}))
    cautions: Mapping[str, Reason] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Planned:
    """An item of a lesson to be flown: ``wanted`` is the grade asked, ``why`` it is on the sheet."""

    standing: ItemStanding
    wanted: str
    why: Reason


@dataclass(frozen=True, slots=True)
class Proposal:
    """One lesson, what would be on its sheet, and the reasons."""

    standing: LessonStanding
    items: tuple[Planned, ...]
    why: tuple[Why, ...]
    covers: tuple[Reason, ...] = ()

    @property
    def lesson(self) -> Lesson:
        return self.standing.lesson


@dataclass(frozen=True, slots=True)
class NextLesson:
    """The proposal, the other lessons that are ready, and those of this stage that are not, each with why."""

    proposal: Proposal | None
    others: tuple[Proposal, ...] = ()
    blocked: tuple[tuple[LessonStanding, tuple[Why, ...]], ...] = ()
    says: Reason = NOTHING


def next_lesson(progress: Progress, on: date, lacking: Lacking | None = None) -> NextLesson:
    """What to fly next. Decides nothing: weather, airplane and the instructor do."""
    return _Choice(progress, on, lacking or Lacking()).made()


def sheet(progress: Progress, lesson: Lesson) -> tuple[Planned, ...]:
    """What is on the sheet of a lesson: what is carried over from lessons before, then what it plans."""
    taken = [
        Planned(each, each.asked or each.wanted, _carried(each))
        for each in progress.carried_over
        if each.item.code not in lesson.items
    ]
    own = [
        Planned(
            standing := progress.items[code],
            max(wanted, standing.asked or wanted, key=_rank) if standing.carried_over else wanted,
            reason("sheet.planned-below" if standing.carried_over else "sheet.planned"),
        )
        for code, wanted in lesson.items.items()
    ]
    return (*taken, *own)


def _rank(grade: str) -> int:
    return GRADES.index(grade)


def _carried(standing: ItemStanding) -> Reason:
    asked, newest = standing.asked or standing.wanted, standing.newest
    if newest is None:
        return reason("sheet.carried-over-not-graded", asked=asked)
    return reason("sheet.carried-over", asked=asked, grade=newest.grade, day=newest.date)


def _at(standing: ItemStanding) -> Reason:
    item, newest = standing.item.title, standing.newest
    if newest is None:
        return reason("lesson.item-not-graded", item=item)
    return reason("lesson.item-at", item=item, grade=newest.grade, day=newest.date)


class _Choice:
    def __init__(self, progress: Progress, on: date, lacking: Lacking):
        self.progress, self.on, self.lacking = progress, on, lacking

    def made(self) -> NextLesson:
        stage = self.progress.stage
        if stage is None:
            return NextLesson(None, says=reason("lesson.course-complete"))
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
            return NextLesson(None, (), tuple(blocked), reason("lesson.none-open"))
        return NextLesson(again, (), tuple(blocked))

    # Ready, or not

    def blocks(self, standing: LessonStanding) -> Iterator[Why]:
        """Everything that keeps a lesson from being next."""
        lesson = standing.lesson
        for code in lesson.items:
            for other in self.progress.items[code].item.prerequisites:
                if other in lesson.items:
                    continue
                needed = self._asked_before(lesson, other)
                item = self.progress.items[other]
                if needed and not reaches(item.grade, needed):
                    said = {
                        "item": self.progress.items[code].item.title,
                        "other": item.item.title,
                        "needed": needed,
                    }
                    yield Why(
                        BLOCKED,
                        reason("lesson.prerequisite-below", **said, grade=item.grade)
                        if item.grade
                        else reason("lesson.prerequisite-not-graded", **said),
                    )
        for before in self._builds_on(lesson):
            yield Why(BLOCKED, reason("lesson.builds-on", lesson=before.code, title=before.title))
        if self._is_check(standing):
            stage = next(each for each in self.progress.stages if each.stage.code == standing.stage)
            yield from (Why(BLOCKED, why) for why in stage.before_check)
        yield from (Why(BLOCKED, why) for why in _about(lesson, self.lacking.barred))

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

    def covers(self, lesson: Lesson) -> tuple[Reason, ...]:
        """What of the next milestone's gaps the lesson takes up."""
        lacking, found = self.lacking, list[Reason]()
        for code, wanted in lesson.items.items():
            item = self.progress.items[code].item
            if wanted == STANDARD and (proves := [each for each in item.proves if each in lacking.items]):
                name = Named(", ".join(proves), item.title)
                found.append(reason("covers.item", item=name, grade=STANDARD))
        for short in lacking.times:
            if gives := lesson.overlap(short.counts):
                part, remaining = amounts.time(min(gives, short.remaining)), amounts.time(short.remaining)
                found.append(reason("covers.time", part=part, remaining=remaining, requirement=short.says))
        found.extend(
            reason("covers.flight", requirement=Named(each))
            for each in lesson.plans
            if each in lacking.requirements
        )
        return tuple(found)

    # Why

    def proposal(self, standing: LessonStanding, *first: Why) -> Proposal:
        covers = self.covers(standing.lesson)
        return Proposal(
            standing, sheet(self.progress, standing.lesson), (*first, *self._why(standing, covers)), covers
        )

    def _why(self, standing: LessonStanding, covers: Sequence[Reason]) -> Iterator[Why]:
        lesson = standing.lesson
        if standing.state == NOT_FLOWN:
            needs = {
                other for code in lesson.items for other in self.progress.items[code].item.prerequisites
            } - set(lesson.items)
            yield Why(READY, _met(len(needs)))
        if below := self._below(lesson):
            yield Why(BELOW, reason("lesson.takes-up", items=_named([_at(each) for each in below])))
        others = [each for each in self.progress.carried_over if each.item.code not in lesson.items]
        if others:
            names = _named([reason("lesson.item", item=each.item.title) for each in others])
            yield Why(BELOW, reason("lesson.carried-over", items=names))
        if covers:
            title = self.lacking.title
            yield Why(LACKS, reason("lesson.covers", milestone=title, covers=_named(covers)))
        if away := self._long_away(lesson):
            yield Why(LONGEST, reason("lesson.long-away", items=_named(away)))
        if not (below or covers or away):
            yield Why(ORDER, reason("lesson.in-order"))
        yield from (Why(CAUTION, why) for why in _about(lesson, self.lacking.cautions))

    def _long_away(self, lesson: Lesson) -> list[Reason]:
        """The lesson's items that were not practised for longer than usual, the longest away first."""
        practised = sorted(self._practised(lesson), key=lambda pair: pair[1])
        return [
            reason("lesson.item-days-ago", item=each.item.title, days=(self.on - day).days)
            for each, day in practised
            if (self.on - day).days > LONG_AWAY_DAYS
        ]

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
            names = _named([self._short(*each) for each in best.missing])
            still = reason("lesson.still-open", day=best.flown[-1].date, items=names)
            return self.proposal(best, Why(AGAIN, still))
        return self.proposal(best, Why(AGAIN, reason("lesson.practice")))

    def _short(self, code: str, wanted: str, grade: str | None) -> Reason:
        item = self.progress.items[code].item.title
        if grade is None:
            return reason("lesson.item-without-grade", item=item, wanted=wanted)
        return reason("lesson.item-below", item=item, grade=grade, wanted=wanted)

    def _furthest_and_long_away(self, lesson: Lesson) -> int:
        """How many items this lesson takes as far as the course has come, and that were away for long."""
        return sum(
            each.asked == lesson.items[each.item.code] and (self.on - day).days > LONG_AWAY_DAYS
            for each, day in self._practised(lesson)
        )

    def _barred(self, lesson: Lesson) -> bool:
        return any(True for _ in _about(lesson, self.lacking.barred))


def _met(prerequisites: int) -> Reason:
    if prerequisites < 2:
        return reason("lesson.prerequisite-met" if prerequisites else "lesson.no-prerequisites")
    return reason("lesson.prerequisites-met", number=prerequisites)


def _about(lesson: Lesson, said: Mapping[str, Reason]) -> Iterator[Reason]:
    """What is said of the kinds of flying that a lesson plans all at once."""
    return (why for kinds, why in said.items() if all(lesson.times.get(kind) for kind in kinds.split()))


def _named(names: Sequence[Reason]) -> Reason:
    """``a; b; c; and 4 more``."""
    more = len(names) - _MOST_NAMED
    if more > 0:
        return reason("lesson.list-and-more", reasons=tuple(names[:_MOST_NAMED]), more=more)
    return several(names)
