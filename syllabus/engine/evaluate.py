"""Ask the rulebook: may this person, on this day, with what is on record?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any

from syllabus.engine.days import Days
from syllabus.engine.finding import Finding
from syllabus.engine.kinds import KINDS
from syllabus.engine.question import Context, Question
from syllabus.engine.record import CLAIMED, Record
from syllabus.engine.report import Report
from syllabus.engine.rulebook import Requirement, Rulebook, RuleVersion
from syllabus.engine.settings import DEFAULT, Settings

_CLAIM = "is a claim: nobody who saw the document vouches for it"


def evaluate(
    rulebook: Rulebook,
    record: Record,
    milestone: str,
    on: date,
    *,
    known_at: datetime | None = None,
    context: Context | None = None,
    settings: Settings = DEFAULT,
) -> Report:
    """The eligibility report for one milestone.

    ``on`` is the day asked about, and the versions of the rules in force on it answer. ``known_at`` leaves
    out what was recorded later. A claimed entry of the lists that ``settings.claims_asked`` names is a
    question: what rests on it is neither met nor not met. The report's ``holds`` cover every day, under the
    versions of that day.

    Raises: UnknownMilestone; NotInForce where a requirement has no version for ``on``.
    """
    wanted = rulebook.milestone(milestone)
    question = Question(on, context or Context())
    known = record.as_known_at(known_at)
    findings = _Asking(rulebook, known, question).milestone(milestone)
    claims = {
        each.id
        for part in settings.claims_asked
        for each in getattr(known, part)
        if each.provenance == CLAIMED
    }
    if claims:
        parts: dict[str, Any] = {
            part: tuple(each for each in getattr(known, part) if each.provenance != CLAIMED)
            for part in settings.claims_asked
        }
        vouched = replace(known, **parts)
        certain = _Asking(rulebook, vouched, question).milestone(milestone)
        findings = tuple(map(_unclaimed, findings, certain, [claims] * len(findings)))
    return Report(wanted, question, known_at, rulebook.id, findings)


def _unclaimed(found: Finding, certain: Finding, claims: set[str]) -> Finding:
    """A finding that holds where it does with the claims and without them; in between lies a question."""
    asked = tuple((entry, _CLAIM) for entry, _ in found.counted if entry in claims)
    return replace(
        found,
        holds=found.holds & certain.holds,
        possible=Days.union([found.possible, found.holds, certain.possible, certain.holds]),
        ask=(*found.ask, *asked),
        parts=tuple(map(_unclaimed, found.parts, certain.parts, [claims] * len(found.parts))),
    )


class _Asking:
    """One question put to every requirement, nested milestones included."""

    def __init__(self, rulebook: Rulebook, record: Record, question: Question):
        self.rulebook, self.record, self.question = rulebook, record, question

    def milestone(self, name: str) -> tuple[Finding, ...]:
        return tuple(self.requirement(each) for each in self.rulebook.milestone(name).requirements)

    def _matters(self, version: RuleVersion) -> bool:
        """Whether a version can hold on any day: only an age holds before the first entry on record."""
        if version.last is None or not KINDS[version.kind].rests_on_entries:
            return True
        return self.record.first_day is not None and self.record.first_day <= version.last

    def requirement(self, requirement: Requirement) -> Finding:
        """The finding of the version in force on the day, with the days of every version joined."""
        judge = KINDS[requirement.kind].judge
        current = requirement.on(self.question.on)
        found = judge(current, self.record, self.question, self.milestone)
        if len(requirement.versions) > 1:
            others = [
                judge(version, self.record, self.question, self.milestone)
                for version in requirement.versions
                if version is not current and self._matters(version)
            ]
            found = replace(
                found,
                holds=Days.union([found.holds, *(other.holds for other in others)]),
                possible=Days.union([found.possible, *(other.possible for other in others)]),
            )
        return found
