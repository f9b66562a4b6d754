"""The next milestone's gaps and the expirations, in the words of the student's page."""

import datetime as dt
from dataclasses import dataclass

from syllabus.law import rulebook
from training.presenters import amounts
from training.presenters.days import day, expiring
from training.presenters.entry import Names
from training.reports import Ending, Overview
from training.web.shared import plain_words
from training.web.shared.report_presenter import MilestoneShown, RequirementShown

SOON_DAYS = 30
MOST_LAPSES = 6
FEW_GAPS = 2


@dataclass(frozen=True)
class GapPlain:
    """An unmet requirement in plain words, with everything that explains it."""

    shown: RequirementShown

    @property
    def words(self) -> str:
        return plain_words.requirement(self.shown.finding.rule)

    @property
    def amount(self) -> str:
        return amounts.of(self.shown.finding.have, self.shown.finding.need)

    @property
    def from_day(self) -> str:
        """The first future day on which it is met without anything more on record."""
        days = [first for first, _ in self.shown.finding.holds if first and first > self.shown.on]
        return day(min(days)) if days else ""

    @property
    def parts(self) -> "list[GapPlain]":
        return [GapPlain(part) for part in self.shown.parts if not part.met]


@dataclass(frozen=True)
class TowardShown:
    """The next milestone with a gap, and its gaps, without those that concern a single flight."""

    milestone: MilestoneShown
    gaps: list[GapPlain]
    met: list[str]

    @property
    def few(self) -> bool:
        """Whether so few gaps remain that the page shows the details at once."""
        return len(self.gaps) <= FEW_GAPS

    @property
    def says(self) -> str:
        return self.milestone.milestone.says.removesuffix(".")


def toward(overview: Overview, names: Names) -> TowardShown | None:
    """The first milestone of the course with a gap; None if there is none."""
    shown = {
        each.report.milestone.id: MilestoneShown(each, overview.provenance, names.reader)
        for each in overview.milestones
    }
    for milestone in (shown[each.id] for each in rulebook.current().on_the_way() if each.id in shown):
        missing = {gap.finding.rule.id for gap in milestone.gaps}
        if missing:
            return TowardShown(
                milestone,
                [GapPlain(each) for each in milestone.unmet if each.finding.rule.id in missing],
                [plain_words.requirement(each.finding.rule) for each in milestone.met],
            )
    return None


@dataclass(frozen=True)
class EndingShown:
    """Something that expires, and when."""

    ending: Ending
    on: dt.date

    @property
    def words(self) -> str:
        named = plain_words.expiring(self.ending.requirements[0]) or self.ending.says
        return f"{named} ({self.ending.model})" if self.ending.model else named

    @property
    def when(self) -> str:
        return expiring(self.ending.last, self.on)

    @property
    def soon(self) -> bool:
        return (self.ending.last - self.on).days <= SOON_DAYS

    @property
    def citations(self) -> str:
        return "; ".join(self.ending.citations)

    @property
    def ends(self) -> str:
        return "; ".join(each.title for each in self.ending.ends)
