"""Where a student stands, in the words and shapes of the student's own pages. Nothing is decided here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from syllabus.engine.course.course import PLANNED, STANDARD, Lesson, Outline
from syllabus.engine.course.next_lesson import AGAIN, BLOCKED, CAUTION, LACKS, Planned, Proposal, Why
from syllabus.engine.course.progress import COMPLETE, NOT_FLOWN, ItemStanding, LessonStanding, StageStanding
from syllabus.engine.record.record import Record
from syllabus.engine.rules.report import Report
from syllabus.law import rulebook
from training.presenters import amounts
from training.presenters.amounts import hours as in_hours
from training.presenters.reasons import PAGE, Reader, called
from training.reports import Ending, Overview
from training.reports.authorities import leads_to
from training.reports.progress import TOTAL, Standing
from training.web.shared import plain_words
from training.web.shared.report_presenter import MilestoneShown, RequirementShown, State, day
from training.web.student import charts

SOON_DAYS = 30
MOST_LAPSES = 6
FEW_GAPS = 2


class Names:
    """What the entries of a record are called by a person, by their ids."""

    def __init__(self, record: Record):
        self._record = record

    @cached_property
    def _known(self) -> Mapping[str, str]:
        found = {"student": _("Your birth date")}
        for flight in self._record.flights:
            found[flight.id] = _("Flight of %(day)s, %(time)s in %(craft)s") % {
                "day": day(flight.date),
                "time": in_hours(flight.times.get("total", 0)),
                "craft": flight.aircraft.registration or flight.aircraft.model or _("an airplane"),
            }
        for ground in self._record.ground:
            found[ground.id] = _("Ground lesson of %(day)s") % {"day": day(ground.date)}
        for item in self._record.items:
            found[item.id] = _("Lesson of %(day)s") % {"day": day(item.date)}
        for paper in self._record.documents:
            found[paper.id] = _of(_("%(kind)s of %(day)s"), paper.kind, paper.issued)
        for held in self._record.certificates:
            found[held.id] = _of(_("%(kind)s certificate of %(day)s"), held.kind, held.issued)
        for test in self._record.tests:
            found[test.id] = _of(_("%(kind)s test of %(day)s"), test.kind.partition(":")[0], test.date)
        for given in self._record.endorsements:
            kind = given.kind.replace("-", " ")
            found[given.id] = _("Endorsement of %(day)s, %(kind)s") % {"day": day(given.given), "kind": kind}
        return found

    def __call__(self, entry: str) -> str:
        return self._known.get(entry) or called(entry)

    @cached_property
    def reader(self) -> Reader:
        """Whoever reads reasons with these names in the place of ids."""
        return Reader(named=self)


def _of(words: str, kind: str, when: dt.date) -> str:
    """An entry by its kind, which is a word of the record and stays as it is, and its day."""
    return words % {"kind": sentence(kind.replace("-", " ")), "day": day(when)}


def sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


# The way to the test


@dataclass(frozen=True)
class LessonOnWay:
    """A lesson of the course, and how far it is: flown, partly, following or ahead."""

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
            "partly": _("flown, something to fly again"),
        }[self.state]

    @property
    def flown(self) -> str:
        return ", ".join(day(each.date) for each in self.standing.flown)


@dataclass(frozen=True)
class StageOnWay:
    """A stage with its lessons, the milestones that its lessons lead to, and where today is."""

    number: int
    standing: StageStanding
    lessons: tuple[LessonOnWay, ...]
    milestones: tuple[MilestoneShown, ...]
    here: bool
    items: tuple[ItemOnWay, ...]

    @property
    def state(self) -> str:
        return "flown" if self.standing.complete else "present" if self.here else "ahead"

    @property
    def share(self) -> int:
        """How many of its lessons are done, in whole per cent."""
        return 100 * self.done // len(self.lessons) if self.lessons else 0

    @property
    def done(self) -> int:
        return sum(each.standing.state == COMPLETE for each in self.lessons)

    @property
    def times(self) -> list[tuple[str, str, str]]:
        """For each kind of time that the stage plans or had: its name, how much was flown, and planned."""
        return [
            (plain_words.kind(kind), in_hours(self.standing.flown(kind)), in_hours(planned))
            for kind in PLANNED
            if (planned := self.standing.planned(kind)) or self.standing.flown(kind)
        ]


@dataclass(frozen=True)
class ItemOnWay:
    """An item with its newest grade against what is asked so far, and in the end."""

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
            return State("yes", "✓", _("At its standard"))
        if self.standing.carried_over:
            return State("no", "↻", _("To fly again"))
        if self.standing.grade:
            return State("none", "•", _("On its way"))
        return State("none", "–", _("Not begun"))


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
    """For each milestone the number of the stage by whose end everything that shows its flying was asked."""
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


# The next lesson


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
    """A proposed lesson, with its reasons and its sheet."""

    proposal: Proposal

    @property
    def lesson(self) -> Lesson:
        return self.proposal.lesson

    @property
    def again(self) -> bool:
        return any(reason.kind == AGAIN for reason in self.proposal.why)

    @property
    def why(self) -> list[str]:
        """Why it is proposed; what it would cover stands by itself."""
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
    """A lesson of the stage that is not open yet, and what for."""

    lesson: Lesson
    why: list[str]


def blocked(standing: Standing) -> list[BlockedShown]:
    return [
        BlockedShown(lesson.lesson, [sentence(PAGE.words(each.reason)) for each in why])
        for lesson, why in standing.next.blocked
    ]


# What is missing


@dataclass(frozen=True)
class GapPlain:
    """A requirement that is not met, in plain words, with everything that explains it."""

    shown: RequirementShown
    names: Names

    @property
    def words(self) -> str:
        return plain_words.requirement(self.shown.finding.rule)

    @property
    def amount(self) -> str:
        return amounts.of(self.shown.finding.have, self.shown.finding.need)

    @property
    def from_day(self) -> str:
        """The first day to come on which it holds with nothing more on record."""
        days = [first for first, _ in self.shown.finding.holds if first and first > self.shown.on]
        return day(min(days)) if days else ""

    @property
    def counted(self) -> list[tuple[str, str, str]]:
        return [(self.names(entry), gave, by) for entry, gave, by in self.shown.counted]

    @property
    def not_counted(self) -> list[tuple[str, str, str]]:
        return [(self.names(entry), why, by) for entry, why, by in self.shown.not_counted]

    @property
    def ask(self) -> list[tuple[str, str]]:
        return [(self.names(entry), missing) for entry, missing in self.shown.ask]

    @property
    def notes(self) -> list[str]:
        return self.shown.notes

    @property
    def parts(self) -> list[GapPlain]:
        return [GapPlain(part, self.names) for part in self.shown.parts if not part.met]


@dataclass(frozen=True)
class TowardShown:
    """The next milestone with a gap, and its gaps; what only one flight needs is left out."""

    milestone: MilestoneShown
    gaps: list[GapPlain]
    met: list[str]

    @property
    def few(self) -> bool:
        """Whether so little is missing that what explains it is shown at once."""
        return len(self.gaps) <= FEW_GAPS

    @property
    def says(self) -> str:
        return self.milestone.milestone.says.removesuffix(".")


def toward(overview: Overview, names: Names) -> TowardShown | None:
    """The first milestone of the way with a gap; None where there is none."""
    shown = {
        each.report.milestone.id: MilestoneShown(each, overview.provenance) for each in overview.milestones
    }
    for milestone in (shown[each.id] for each in rulebook.current().on_the_way() if each.id in shown):
        missing = {gap.finding.rule.id for gap in milestone.gaps}
        if missing:
            return TowardShown(
                milestone,
                [
                    GapPlain(replace(each, reader=names.reader), names)
                    for each in milestone.unmet
                    if each.finding.rule.id in missing
                ],
                [plain_words.requirement(each.finding.rule) for each in milestone.met],
            )
    return None


@dataclass(frozen=True)
class EndingShown:
    """Something that ends, and when."""

    ending: Ending
    on: dt.date

    @property
    def words(self) -> str:
        named = plain_words.expiring(self.ending.requirements[0]) or self.ending.says
        return f"{named} ({self.ending.model})" if self.ending.model else named

    @property
    def when(self) -> str:
        left = (self.ending.last - self.on).days
        last: dict[str, Any] = {"day": day(self.ending.last), "left": left}
        if left > 366:
            return day(self.ending.last)
        if left == 0:
            return _("%(day)s, today is its last day") % last
        if left == 1:
            return _("%(day)s, tomorrow is its last day") % last
        return ngettext("%(day)s, in %(left)d day", "%(day)s, in %(left)d days", left) % last

    @property
    def soon(self) -> bool:
        return (self.ending.last - self.on).days <= SOON_DAYS

    @property
    def citations(self) -> str:
        return "; ".join(self.ending.citations)

    @property
    def ends(self) -> str:
        return "; ".join(each.title for each in self.ending.ends)


# Hours over time


@dataclass(frozen=True)
class HoursShown:
    """One kind of hours that the test asks for: how it grew, and where the pace leads."""

    requirement: RequirementShown
    counted: tuple[charts.Counted, ...]

    @property
    def words(self) -> str:
        return plain_words.requirement(self.requirement.finding.rule)

    @property
    def anchor(self) -> str:
        return self.requirement.finding.rule.id.replace(".", "-")

    @cached_property
    def forecast(self) -> charts.Forecast | None:
        (remaining,) = self.requirement.finding.remaining
        return charts.forecast(self.counted, self.requirement.on, remaining.value)

    @cached_property
    def chart(self) -> charts.Chart:
        (need,) = self.requirement.finding.need
        return charts.chart(self.counted, self.requirement.on, need.value, self.forecast)

    @property
    def months(self) -> list[tuple[str, str, str]]:
        """For each month with any: its name, what counted in it, and what there was at its end.

        All are rounded down, so the months' hours may add up to less than the total beside them.
        """
        by_month: dict[tuple[int, int], int] = {}
        for when, time in sorted(self.counted):
            key = when.year, when.month
            by_month[key] = by_month.get(key, 0) + time
        rows, total = [], 0
        for (year, month), time in by_month.items():
            total += time
            name = date_format(dt.date(year, month, 1), "YEAR_MONTH_FORMAT")
            rows.append((name, in_hours(time), in_hours(total)))
        return rows

    @property
    def says(self) -> str:
        """Where the pace leads, in a sentence."""
        if self.requirement.met:
            return _("All requirements are met.")
        if self.forecast is None:
            return _("Nothing counted lately, so there is no pace to go by.")
        one, other = self.forecast.faster.reached, self.forecast.slower.reached
        if one is None:
            return _("At this pace it would take more than three years.")
        if other is None:
            return _("At your pace between %(day)s and more than three years from now.") % {"day": day(one)}
        if one == other:
            return _("At your pace %(day)s.") % {"day": day(one)}
        return _("At your pace between %(first)s and %(last)s.") % {"first": day(one), "last": day(other)}


def hours(report: Report, record: Record) -> list[HoursShown]:
    """The hours that a milestone adds up over all time, each as it grew."""
    on, days = report.question.on, {flight.id: flight.date for flight in record.flights}
    found = []
    for finding in report.findings:
        if finding.rule.kind == TOTAL and not finding.rule.get("window"):
            counted = tuple(
                (days[entry], gave[0].value)
                for entry, gave in finding.counted
                if entry in days and isinstance(gave, tuple)
            )
            found.append(HoursShown(RequirementShown(finding, on), counted))
    return found
