"""The check of a planned solo flight over what a school has on record: the engine's lines, in words."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from syllabus.engine.record.limits import read_limits
from syllabus.engine.release import answers
from syllabus.engine.release import check as engine
from syllabus.engine.release.answers import Line, Release
from syllabus.engine.release.facts import AircraftFacts
from syllabus.engine.release.flight import PlannedFlight
from syllabus.law import release as law
from training import record
from training.models import Aircraft, Grounding, Student
from training.presenters.reasons import PAGE
from training.reports import authorities, settings
from training.reports.eligibility import rules_of

GROUPS, CONFIRM = answers.GROUPS, answers.CONFIRM


def check(
    student: Student, planned: PlannedFlight, *, at: dt.datetime, confirmed: Iterable[str] = ()
) -> Release:
    """Check a planned flight as of an instant. ``confirmed`` are the lines that the instructor confirmed."""
    rules = rules_of(student, student.school.day(planned.off))
    theirs = {each.id: each for each in authorities.asked(student, rules)}
    return engine.check(
        replace(rules, milestones=theirs),
        law.current(),
        record.of(student),
        planned,
        now=at,
        aircraft=_aircraft(student, planned),
        school=read_limits(student.school.release_limits),
        confirmed=confirmed,
        lasts=dt.timedelta(hours=student.school.release_hours),
        settings=settings.of(student.school),
    )


def _aircraft(student: Student, planned: PlannedFlight) -> AircraftFacts | None:
    """What is on record of an aircraft of the school; None of another, of which nothing is."""
    name = planned.aircraft.registration or ""
    rows = Aircraft.objects.filter(school=student.school_id, device="", registration__iexact=name)
    craft = rows.first()
    if craft is None:
        return None
    grounded = Grounding.objects.filter(aircraft=craft, ended_at__isnull=True)
    return AircraftFacts(tuple(craft.checks.all()), tuple(grounded), craft.model)


def in_json(line: Line) -> dict[str, Any]:
    """A line as stored and answered."""
    return {
        "id": line.id,
        "group": line.group,
        "met": line.met,
        "text": PAGE.words(line.reason),
        "citation": line.citation,
        "ask": [PAGE.words(each) for each in line.ask],
    }
