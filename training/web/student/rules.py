"""Presents a student with every milestone, the next expiration and the next gap."""

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from syllabus.courses.outlines import OF_A_COURSE
from training.models import Student
from training.presenters import amounts
from training.presenters.days import expiring
from training.presenters.reasons import PAGE, Reader
from training.reports import Gap, Overview
from training.web.shared.report_presenter import MilestoneShown, RefusedShown, in_short

SOON_DAYS = 30


@dataclass(frozen=True)
class StudentShown:
    """A student with every milestone in short."""

    student: Student
    overview: Overview
    #: Calls the entries by name.
    reader: Reader = PAGE

    @property
    def milestones(self) -> list[MilestoneShown]:
        return [
            MilestoneShown(each, self.overview.provenance, self.reader) for each in self.overview.milestones
        ]

    @property
    def every(self) -> list[MilestoneShown | RefusedShown]:
        """Every milestone in order, answered or not covered."""
        return in_short(self.overview.every, self.overview.provenance, self.reader)

    @property
    def refused(self) -> list[RefusedShown]:
        return [RefusedShown(each) for each in self.overview.not_covered]

    @property
    def of_law(self) -> list[MilestoneShown | RefusedShown]:
        return [each for each in self.every if not each.milestone.id.startswith(OF_A_COURSE)]

    @property
    def course(self) -> MilestoneShown | RefusedShown | None:
        """The requirements of the student's course, if it has any."""
        return next((each for each in self.every if each.milestone.id.startswith(OF_A_COURSE)), None)

    @property
    def lapse(self) -> dict[str, Any] | None:
        """What expires next."""
        found, on = self.overview.next_lapse, self.overview.on
        if found is None:
            return None
        soon = (found.last - on).days <= SOON_DAYS
        return {"rule": found.finding.rule, "when": expiring(found.last, on), "soon": soon}

    @property
    def gap(self) -> dict[str, Any] | None:
        """The next gap in the order of training, without those that concern a flight not named."""
        for each in self.milestones:
            if each.gaps:
                gap = each.gaps[0]
                return {
                    "rule": gap.finding.rule,
                    "words": _missing(gap, self.reader),
                    "milestone": each.milestone,
                }
        return None


def _missing(gap: Gap, reader: Reader) -> str:
    finding = gap.finding
    if gap.met is None:
        asked = [f"{reader.named(entry)}: {reader.words(what)}" for entry, what in finding.ask[:2]]
        return "; ".join(asked) or _("a fact is missing")
    return amounts.of(finding.have, finding.need)
