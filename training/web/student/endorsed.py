"""What endorsements a student needs next, and those on record with their last days."""

import datetime as dt
from collections.abc import Iterator
from typing import Any

from syllabus.engine.rules.finding import Finding
from syllabus.law import endorsements as catalogue
from syllabus.law import rulebook
from training.models import Student
from training.reports import Overview, authorities
from training.reports.eligibility import record_of
from training.services.endorsements import endorsement_check
from training.web.shared.report_presenter import MilestoneShown


def found(student: Student, on: dt.date, overview: Overview) -> dict[str, Any]:
    """As plain values: the kinds needed next with their milestone, and each last day by the entry's id."""
    milestone, kinds = needed(student, on, overview)
    known = record_of(student)
    last = {each.id: endorsement_check.last_day(student, known, each) for each in known.endorsements}
    titles = {each.id: title_of(each.kind) for each in known.endorsements}
    return {
        "milestone": milestone,
        "needed": kinds,
        "last": {entry: day and day.isoformat() for entry, day in last.items()},
        "titles": titles,
    }


def needed(student: Student, on: dt.date, overview: Overview) -> tuple[str, list[str]]:
    """The first milestone of the course with a gap, and the kinds of endorsement that close some of it."""
    rules, listed = rulebook.current(), catalogue.current()
    by_id = {each.report.milestone.id: MilestoneShown(each) for each in overview.milestones}
    for milestone in rules.on_the_way():
        gaps = by_id[milestone.id].gaps if milestone.id in by_id else []
        if not gaps:
            continue
        missing = {rule for gap in gaps for rule in _missing(gap.finding, on)}
        kinds = [
            kind.kind
            for kind in listed.kinds.values()
            if kind.authority in authorities.of(student)
            and missing & {each.id for each in listed.proves(kind, rules)}
        ]
        return milestone.title, kinds
    return "", []


def _missing(finding: Finding, on: dt.date) -> Iterator[str]:
    """The requirements of a finding that are not met or unknown."""
    if not finding.met(on):
        yield finding.rule.id
    for part in finding.parts:
        yield from _missing(part, on)


def title_of(kind: str) -> str:
    listed = catalogue.current().kinds
    return listed[kind].title if kind in listed else kind.replace("-", " ")
