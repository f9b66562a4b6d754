"""Every milestone in short: from when until when it is met, what expires first, what is missing."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered, Reason, reason, several
from syllabus.engine.rules.report import CAUTION, Report
from syllabus.engine.rules.rulebook import Milestone
from syllabus.engine.time import amounts
from training.models import Student
from training.reports.eligibility import provenance_of, reports_of, rules_of


@dataclass(frozen=True)
class Lapse:
    """A requirement that is met today and expires on ``last``."""

    finding: Finding
    last: dt.date

    def as_json(self) -> dict[str, Any]:
        rule = self.finding.rule
        return {
            "requirement": rule.id,
            "citation": rule.cite.section,
            "says": rule.says,
            "last_day": self.last.isoformat(),
        }


@dataclass(frozen=True)
class Gap:
    """A requirement that is not met or unknown."""

    finding: Finding
    met: bool | None

    @property
    def missing(self) -> Reason:
        """The first missing facts, each with its entry."""
        asked = [reason("gap.asked", entry=entry, what=what) for entry, what in self.finding.ask[:2]]
        return several(asked) or reason("gap.fact-missing")

    @property
    def reason(self) -> Reason:
        """The reason that a person can act on."""
        finding, rule = self.finding, self.finding.rule
        if self.met is None:
            return reason("gap.unknown", says=rule.says, missing=self.missing, citation=rule.cite.section)
        return reason(
            "gap.remaining",
            says=rule.says,
            have=finding.have,
            need=finding.need,
            remaining=finding.remaining,
            citation=rule.cite.section,
        )

    def as_json(self) -> dict[str, Any]:
        finding, rule = self.finding, self.finding.rule
        return {
            "requirement": rule.id,
            "citation": rule.cite.section,
            "says": rule.says,
            "met": self.met,
            "have": amounts.text(finding.have),
            "need": amounts.text(finding.need),
            "remaining": amounts.text(finding.remaining),
            "amounts": amounts.as_json(finding.have, finding.need, finding.remaining),
            "words": str(self.reason),
            "code": self.reason.code,
        }


@dataclass(frozen=True)
class Short:
    """One milestone in a line."""

    report: Report

    @cached_property
    def lapse(self) -> Lapse | None:
        """The requirement met today that expires first."""
        first = self.report.first_to_lapse()
        return Lapse(*first) if first else None

    @cached_property
    def gaps(self) -> list[Gap]:
        on = self.report.question.on
        return [Gap(finding, finding.met(on)) for finding in self.report.unmet()]

    def as_json(self) -> dict[str, Any]:
        report = self.report
        return {
            "milestone": report.milestone.id,
            "title": report.milestone.title,
            "context": report.question.context.as_json(),
            "eligible": report.eligible,
            "met": report.met,
            "eligible_from": report.eligible_from and report.eligible_from.isoformat(),
            "eligible_until": report.eligible_until and report.eligible_until.isoformat(),
            "gaps": len(self.gaps),
            "next_gap": self.gaps[0].as_json() if self.gaps else None,
            "next_lapse": self.lapse.as_json() if self.lapse else None,
        }


@dataclass(frozen=True)
class Refused:
    """A milestone that the rules do not cover for this student, neither met nor not met, and why."""

    milestone: Milestone
    refusal: NotCovered

    def as_json(self) -> dict[str, Any]:
        return {
            "milestone": self.milestone.id,
            "title": self.milestone.title,
            "key": self.refusal.key,
            "value": self.refusal.value,
            "why": str(self.refusal),
            "code": self.refusal.reason.code,
        }


@dataclass(frozen=True)
class Overview:
    """Every milestone in short on one day; those that the rules do not cover are among them."""

    on: dt.date
    known_at: dt.datetime | None
    rulebook: str
    every: tuple[Short | Refused, ...]
    #: The provenance of each entry of the record, by id.
    provenance: Mapping[str, str] = field(default_factory=dict, repr=False)

    @property
    def milestones(self) -> tuple[Short, ...]:
        """The milestones with an answer."""
        return tuple(each for each in self.every if isinstance(each, Short))

    @property
    def not_covered(self) -> tuple[Refused, ...]:
        return tuple(each for each in self.every if isinstance(each, Refused))

    @property
    def next_lapse(self) -> Lapse | None:
        """The first expiration of anything met today."""
        lapses = [each.lapse for each in self.milestones if each.lapse]
        return min(lapses, key=lambda lapse: lapse.last, default=None)

    def as_json(self) -> dict[str, Any]:
        return {
            "on": self.on.isoformat(),
            "known_at": self.known_at and self.known_at.isoformat(),
            "rulebook": self.rulebook,
            "next_lapse": self.next_lapse.as_json() if self.next_lapse else None,
            "milestones": [each.as_json() for each in self.milestones],
            "not_covered": [each.as_json() for each in self.not_covered],
            "caution": CAUTION,
        }


def overview(
    student: Student,
    on: dt.date,
    *,
    known_at: dt.datetime | None = None,
    context: Context | None = None,
) -> Overview:
    """Every milestone in short for a stored student: from when until when, expirations, gaps.

    A milestone that the rules do not cover says so and does not stop the others. The requirements of the
    student's course, if any, come last.

    Queries: those of ``record.of`` and of ``rules_of``, once. Raises: NotInForce if a rule has no version on
             the day.
    """
    book = rules_of(student, on)
    every = (
        Short(report) if isinstance(report, Report) else Refused(milestone, report)
        for milestone, report in reports_of(book, student, on, known_at, context)
    )
    return Overview(on, known_at, book.id, tuple(every), provenance_of(student, known_at))
