"""What a student's next milestone still needs and what closes it, as JSON for the instructor's Today."""

import datetime as dt
from typing import Any

from syllabus.engine.rules.rulebook import PRACTICAL_TEST
from training import reports
from training.models import Student
from training.presenters import amounts
from training.presenters.entry import Names
from training.reports import Gap, Overview
from training.reports.closing import LESSON, closing
from training.reports.eligibility import record_of
from training.reports.progress import Standing
from training.web.student import gaps

#: Days before its last day from which an expiration needs the instructor. Common practice, a month.
SOON = gaps.SOON_DAYS


def needs(student: Student, on: dt.date, stands: Standing | None, overview: Overview) -> dict[str, Any]:
    """``toward``: the next milestone with its gaps, null if there is none; ``ready``: the practical tests
    for which all is met; ``ending``: what expires soon, with its last day.
    """
    toward = gaps.toward(overview, Names(record_of(student)))
    return {
        "toward": {
            "title": toward.milestone.milestone.title,
            "gaps": [_gap(each, stands) for each in toward.milestone.gaps],
        }
        if toward
        else None,
        "ready": [
            each.report.milestone.title
            for each in overview.milestones
            if each.report.milestone.role == PRACTICAL_TEST and each.report.eligible
        ],
        "ending": [
            {
                "last": each.last.isoformat(),
                "what": f"{each.says} ({each.citations[0]})" if each.citations else each.says,
            }
            for each in reports.endings(student, on)
            if (each.last - on).days <= SOON
        ],
    }


def _gap(gap: Gap, stands: Standing | None) -> dict[str, Any]:
    finding, closes = gap.finding, closing(gap.finding, stands)
    return {
        "says": finding.rule.says,
        "citation": finding.rule.cite.section,
        "unknown": gap.met is None,
        "amount": amounts.of(finding.have, finding.need) if closes.kind == LESSON else "",
        "closes": {"kind": closes.kind, "name": closes.name, "title": closes.title},
    }
