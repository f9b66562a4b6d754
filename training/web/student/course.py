"""Presents the course and the next lesson for the student's page."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from syllabus.engine.course.course import PLANNED, STANDARD, Lesson, Outline
from syllabus.engine.course.next_lesson import AGAIN, BLOCKED, CAUTION, LACKS, Planned, Proposal, Why
from syllabus.engine.course.progress import COMPLETE, NOT_FLOWN, ItemStanding, LessonStanding, StageStanding
from training.presenters.amounts import hours as in_hours
from training.presenters.days import day
from training.presenters.entry import sentence
from training.presenters.reasons import PAGE
from training.reports import Overview
from training.reports.authorities import leads_to
from training.reports.progress import Standing
from training.web.shared import plain_words
from training.web.shared.report_presenter import MilestoneShown, State


@dataclass(frozen=True)
class LessonOnWay:
    """A lesson of the course with its state: flown, partly flown, next or later."""

    standing: LessonStanding
    is_next: bool

    @property
    def lesson(self) -> Lesson:
        return self.standing.lesson

    @property
    def state(self) -> str:
        if self.is_next:
            return "following"
        return {COMPLETE: "flown", NOT_FLOWN: "ahead"}.get(self.standing.state, "partly")

    @property
    def words(self) -> str:
        return {
            "following": _("next"),
            "flown": _("done"),
            "ahead": _("not flown yet"),
            "partly": _("flown, items to repeat"),
        }[self.state]

    @property
    def flown(self) -> str:
        return ", ".join(day(each.date) for each in self.standing.flown)


@dataclass(frozen=True)
class StageOnWay:
    """A stage with its lessons and the milestones they lead to; ``today`` marks the student's stage."""

    number: int
    standing: StageStanding
    lessons: tuple[LessonOnWay, ...]
    milestones: tuple[MilestoneShown, ...]
    here: bool
    items: "tuple[ItemOnWay, ...]"

    @property
    def state(self) -> str:
        return "flown" if self.standing.complete else "present" if self.here else "ahead"

    @property
    def share(self) -> int:
        """The share of its lessons that are done, in whole percent."""
        return 100 * self.done // len(self.lessons) if self.lessons else 0

    @property
    def done(self) -> int:
        return sum(each.standing.state == COMPLETE for each in self.lessons)

    @property
    def times(self) -> list[tuple[str, str, str]]:
        """For each kind of time that is planned or flown in the stage: name, flown, planned."""
        return [
            (plain_words.kind(kind), in_hours(self.standing.flown(kind)), in_hours(planned))
            for kind in PLANNED
            if (planned := self.standing.planned(kind)) or self.standing.flown(kind)
        ]


@dataclass(frozen=True)
class ItemOnWay:
    """An item with its newest grade, the grade required so far, and the final one."""

    standing: ItemStanding

    @property
    def title(self) -> str:
        return self.standing.item.title

    @property
    def grade(self) -> str | None:
        return self.standing.grade

    @property
    def words(self) -> str:
        return plain_words.grade(self.standing.grade)

    @property
    def when(self) -> str:
        newest = self.standing.newest
        return day(newest.date) if newest else ""

    @property
    def asked(self) -> str:
        return self.standing.asked or self.standing.wanted

    @property
    def asked_words(self) -> str:
        return plain_words.grade(self.asked)

    @property
    def state(self) -> State:
        if self.standing.passed:
            return State("yes", "✓", _("At standard"))
        if self.standing.carried_over:
            return State("no", "↻", _("To fly again"))
        if self.standing.grade:
            return State("none", "•", _("In progress"))
        return State("none", "–", _("Not started"))


def way(standing: Standing, overview: Overview) -> list[StageOnWay]:
    """The stages from the first lesson to the test, each with the milestones it leads to."""
    found, opens = standing.progress, _opens(standing.progress.outline)
    shown = {
        each.report.milestone.id: MilestoneShown(each, overview.provenance) for each in overview.milestones
    }
    proposal, made = standing.next.proposal, []
    following = proposal.lesson.code if proposal else None
    seen: set[str] = set()
    for number, stage in enumerate(found.stages, start=1):
        codes = [code for each in stage.lessons for code in each.lesson.items]
        fresh = [code for code in dict.fromkeys(codes) if code not in seen]
        seen.update(fresh)
        made.append(
            StageOnWay(
                number,
                stage,
                tuple(LessonOnWay(each, each.lesson.code == following) for each in stage.lessons),
                tuple(shown[each] for each, at in opens.items() if at == number and each in shown),
                found.stage is stage,
                tuple(ItemOnWay(found.items[code]) for code in fresh),
            )
        )
    return made


def _opens(outline: Outline) -> dict[str, int]:
    """For each milestone the number of the stage that ends its flying requirements."""
    found: dict[str, int] = {}
    for milestone in leads_to(outline):
        needed = {
            item.code for proof, items in outline.proofs.items() if proof in milestone.items for item in items
        }
        for number, stage in enumerate(outline.stages, start=1):
            for lesson in stage.lessons:
                needed -= {code for code, grade in lesson.items.items() if grade == STANDARD}
            if not needed:
                found[milestone.id] = number
                break
    return found


@dataclass(frozen=True)
class SheetItem:
    """An item on the sheet of the next lesson."""

    planned: Planned

    @property
    def title(self) -> str:
        return self.planned.standing.item.title

    @property
    def wanted(self) -> str:
        return plain_words.grade(self.planned.wanted)

    @property
    def carried(self) -> bool:
        return self.planned.why.code != "sheet.planned"

    @property
    def why(self) -> str:
        return PAGE.words(self.planned.why)

    @property
    def standard(self) -> list[str]:
        return [f"{each.name}: {each.says}" for each in self.planned.standing.item.standard]


@dataclass(frozen=True)
class NextShown:
    """A proposed lesson with its reasons and its sheet."""

    proposal: Proposal

    @property
    def lesson(self) -> Lesson:
        return self.proposal.lesson

    @property
    def again(self) -> bool:
        return any(reason.kind == AGAIN for reason in self.proposal.why)

    @property
    def why(self) -> list[str]:
        """The reasons, without the items it would cover, which the page lists by themselves."""
        reasons = self._reasons(CAUTION, wanted=False)
        return [sentence(PAGE.words(each.reason)) for each in reasons if each.kind != LACKS]

    @property
    def cautions(self) -> list[str]:
        return [sentence(PAGE.words(each.reason)) for each in self._reasons(CAUTION, wanted=True)]

    def _reasons(self, kind: str, *, wanted: bool) -> Iterator[Why]:
        return (each for each in self.proposal.why if (each.kind == kind) is wanted and each.kind != BLOCKED)

    @property
    def covers(self) -> list[str]:
        return [PAGE.words(each) for each in self.proposal.covers]

    @property
    def times(self) -> str:
        planned = self.lesson.times
        return ", ".join(
            _("%(time)s %(kind)s") % {"time": in_hours(planned[kind]), "kind": plain_words.kind(kind)}
            for kind in PLANNED
            if planned.get(kind)
        )

    @property
    def sheet(self) -> list[SheetItem]:
        return [SheetItem(each) for each in self.proposal.items]


@dataclass(frozen=True)
class BlockedShown:
    """A lesson of the stage that is not open yet, and what it waits for."""

    lesson: Lesson
    why: list[str]


def blocked(standing: Standing) -> list[BlockedShown]:
    return [
        BlockedShown(lesson.lesson, [sentence(PAGE.words(each.reason)) for each in why])
        for lesson, why in standing.next.blocked
    ]


#: The course part of the page.
SHOWN = ("begun", "way", "next", "others", "blocked", "says", "carried")


def shown(standing: Standing, overview: Overview) -> dict[str, Any]:
    """The course, the proposed lesson with the others, and the items carried over."""
    found, following = standing.progress, standing.next
    return {
        "begun": sum(bool(each.grades) and not each.passed for each in found.items.values()),
        "way": way(standing, overview),
        "next": NextShown(following.proposal) if following.proposal else None,
        "others": [NextShown(each) for each in following.others],
        "blocked": blocked(standing),
        "says": PAGE.words(following.says),
        "carried": [ItemOnWay(each) for each in found.carried_over],
    }
