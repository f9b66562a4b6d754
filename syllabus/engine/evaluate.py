"""Ask the rulebook: may this person, on this day, with what is on record?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

from syllabus.engine.days import Days
from syllabus.engine.finding import Finding
from syllabus.engine.kinds import KINDS
from syllabus.engine.question import Context, Question
from syllabus.engine.record import Record
from syllabus.engine.report import Report
from syllabus.engine.rulebook import Requirement, Rulebook, RuleVersion


def evaluate(
    rulebook: Rulebook,
    record: Record,
    milestone: str,
    on: date,
    *,
    known_at: datetime | None = None,
    context: Context | None = None,
) -> Report:
    """The eligibility report for one milestone.

    ``on`` is the day asked about, and the versions of the rules in force on it answer. ``known_at`` leaves
    out what was recorded later. The report's ``holds`` cover every day, under the versions of that day.

    Raises: UnknownMilestone; NotInForce where a requirement has no version for ``on``.
    """
    wanted = rulebook.milestone(milestone)
    question = Question(on, context or Context())
    known = record.as_known_at(known_at)
    findings = _Asking(rulebook, known, question).milestone(milestone)
    return Report(wanted, question, known_at, rulebook.id, findings)


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
