"""A student's progress in the course, and the next lesson with its reasons. Reads only."""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any

from syllabus.courses import outlines
from syllabus.engine.course.course import PLANNED
from syllabus.engine.course.next_lesson import Lacking, NextLesson, Proposal, ShortTime, Why, next_lesson
from syllabus.engine.course.progress import Progress, progress
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.reasons import NotCovered, Reason, reason
from syllabus.engine.rules.report import Report
from syllabus.engine.rules.rulebook import (
    ITEMS_AT_STANDARD,
    PRACTICAL_TEST,
    SOLO,
    SOLO_CROSS_COUNTRY,
    Milestone,
)
from syllabus.engine.time.units import format_time
from syllabus.law import rulebook
from syllabus.models import CourseVersion
from training.models import CourseMove, Enrolment, Student
from training.record import lessons
from training.reports.authorities import leads_to
from training.reports.eligibility import eligibility, enrolled

TOTAL = "total_at_least"
#: What blocks a lesson's solo flying: the kinds of its time, and the role of the milestone.
_ALONE = (("solo", SOLO), ("solo cross_country", SOLO_CROSS_COUNTRY))
#: What an instructor gives on the day; a lack of it blocks no lesson toward it.
_GIVEN = "endorsement"


@dataclass(frozen=True)
class Standing:
    """A student's progress in a course on a day. ``other`` are times on record from outside the lessons
    signed here.
    """

    enrolment: Enrolment
    version: CourseVersion
    on: dt.date
    known_at: dt.datetime | None
    progress: Progress
    other: dict[str, int]
    moves: tuple[CourseMove, ...]
    next: NextLesson
    toward: Report | None

    @cached_property
    def newer(self) -> CourseVersion | None:
        """The newest version of the course, if there is a newer one; one query."""
        newest = outlines.newest(self.version.course.code, self.version.course.school_ref)
        return newest if newest is not None and newest.number > self.version.number else None

    @property
    def times(self) -> dict[str, dict[str, str]]:
        """By kind: planned by the course, flown in its lessons, and on record beside them."""
        return {
            kind: {
                "planned": format_time(self.progress.planned(kind)),
                "flown": format_time(self.progress.flown(kind)),
                "elsewhere": format_time(self.other.get(kind, 0)),
            }
            for kind in PLANNED
        }


def test_of(student: Student, on: dt.date) -> Milestone:
    """The practical test that the student's course leads to; without a course, the first one.

    Queries: that of ``enrolled`` and those of ``outlines.published``, or none.
    """
    tests = rulebook.current().in_role(PRACTICAL_TEST)
    held = enrolled(student.pk, student.version, on) if len(tests) > 1 else None
    if held is not None and held.course_version is not None:
        led = leads_to(outlines.published(held.course_version))
        return next((each for each in led if each.role == PRACTICAL_TEST), tests[0])
    return tests[0]


def enrolment(student: Student, on: dt.date) -> Enrolment | None:
    """The enrollment of a day with a course; of several, the newest. One query."""
    return (
        Enrolment.objects.filter(Enrolment.in_force(on), student=student, course_version__isnull=False)
        .select_related("course_version__course")
        .order_by("-starts", "-pk")
        .first()
    )


def standing(student: Student, on: dt.date, *, known_at: dt.datetime | None = None) -> Standing | None:
    """A student's progress in the course of that day's enrollment; None without one.

    A grade from before a move to a newer version counts if it was carried over.

    Queries: 2, one more after a move, and those of three eligibility reports if they are not cached.
    """
    held = enrolled(student.pk, student.version, on)
    if held is None or held.course_version is None:
        return None
    moves: tuple[CourseMove, ...] = ()
    if held.has_moves:  # type: ignore[attr-defined]  # annotated
        moves = tuple(
            CourseMove.objects.filter(enrolment=held)
            .select_related("from_version__course", "to_version__course")
            .order_by("at", "pk")
        )
    version = held.course_version
    if known_at is not None:
        moves, version = _as_known(moves, version, known_at)
    outline = outlines.published(version)
    given = lessons.given(student, version.course_id, on, known_at=known_at)
    stands = _carried(given, moves)
    found = progress(outline, stands, given.flown)
    lacking, toward = _lacking(student, on, known_at, found)
    return Standing(
        held,
        version,
        on,
        known_at,
        found,
        dict(given.other),
        moves,
        next_lesson(found, on, lacking),
        toward,
    )


def _as_known(
    moves: tuple[CourseMove, ...], version: CourseVersion, known_at: dt.datetime
) -> tuple[tuple[CourseMove, ...], CourseVersion]:
    """The moves made by then, and the version in force then: the one that the first later move left."""
    later = [each for each in moves if each.at > known_at]
    return tuple(each for each in moves if each.at <= known_at), (later[0].from_version if later else version)


def _carried(given: lessons.Given, moves: Iterable[CourseMove]) -> list[Any]:
    dropped = {
        each["item"]: move.at for move in moves for each in move.carried if not each["carries"]
    }  # the last move that dropped an item decides; grades after it count
    return [
        grade
        for grade in given.grades
        if grade.item not in dropped or given.recorded[grade.entry] > dropped[grade.item]
    ]


def _lacking(
    student: Student, on: dt.date, known_at: dt.datetime | None, found: Progress
) -> tuple[Lacking, Report | None]:
    """The gaps of the course's first unmet milestone that lessons can close."""
    way = leads_to(found.outline)
    reports: dict[str, Report] = {}
    refused: dict[str, NotCovered] = {}
    for each in way:
        try:
            reports[each.id] = eligibility(student, each.id, on, known_at=known_at)
        except NotCovered as problem:
            refused[each.id] = problem
    barred, cautions = _alone(way, reports, refused, on)
    plans = {each for lesson in found.outline.lessons for each in lesson.plans}
    for report in reports.values():
        unmet = report.unmet()
        lacks = Lacking(
            report.milestone.id,
            report.milestone.title,
            frozenset(item for each in unmet for item in items_lacking(each)),
            tuple(short for each in unmet if (short := short_time(each))),
            frozenset(each.rule.id for each in unmet if each.rule.id in plans),
            barred,
            cautions,
        )
        if lacks.items or lacks.times or lacks.requirements:
            return lacks, report
    return Lacking(barred=barred, cautions=cautions), None


def _alone(
    way: Iterable[Milestone],
    reports: Mapping[str, Report],
    refused: Mapping[str, NotCovered],
    on: dt.date,
) -> tuple[Mapping[str, Reason], Mapping[str, Reason]]:
    """Why no solo lesson may be flown yet, and what to check before one, by kind of lesson."""
    barred: dict[str, Reason] = {}
    cautions: dict[str, Reason] = {}
    for kinds, milestone in ((kinds, each) for kinds, role in _ALONE for each in way if each.role == role):
        if milestone.id in refused:
            why = refused[milestone.id].reason
            barred.setdefault(kinds, reason("lesson.not-covered", milestone=milestone.title, why=why))
        elif not (report := reports[milestone.id]).met:
            missing = report.unmet()
            if bars := [each for each in missing if _bars(each, on)]:
                barred.setdefault(kinds, _first("lesson.not-open", milestone.title, bars))
            else:
                cautions.setdefault(kinds, _first("lesson.before", milestone.title.lower(), missing))
    return MappingProxyType(barred), MappingProxyType(cautions)


def _bars(finding: Finding, on: dt.date) -> bool:
    return finding.met(on) is False and _GIVEN not in finding.rule.kind


def _first(code: str, title: str, findings: list[Finding]) -> Reason:
    rule, more = findings[0].rule, len(findings) - 1
    first = reason(code, milestone=title, requirement=rule.says, citation=rule.cite.section)
    return reason("lesson.and-more", reasons=first, more=more) if more else first


def items_lacking(finding: Finding) -> set[str]:
    """The items of a rule whose grades are too low."""
    if finding.rule.kind != ITEMS_AT_STANDARD:
        return set()
    reached = {str(gave["item"]) for _, gave in finding.counted if isinstance(gave, Reason)}
    return set(finding.rule.params["items"]) - reached


def short_time(finding: Finding) -> ShortTime | None:
    rule = finding.rule
    if rule.kind != TOTAL or not (remaining := finding.remaining[0].value):
        return None
    counts = (*rule.params["counts"], *(("preparation",) if rule.get("prepares_for") else ()))
    known = {"total", *PLANNED}
    return ShortTime(rule.id, rule.says, counts, remaining) if known.issuperset(counts) else None


def course_json(version: CourseVersion) -> dict[str, Any]:
    course = version.course
    return {
        "course": course.code if course.school_ref is None else f"{course.code}@{course.school_ref}",
        "of_the_school": course.school_ref is not None,
        "version": version.number,
        "title": version.title,
        "content_hash": version.content_hash,
    }


def logged(times: Any) -> dict[str, str]:
    """Times by kind in words, without zeros."""
    return {kind: format_time(time) for kind, time in times.items() if time}


def next_json(found: NextLesson, words: Callable[[Reason], str] = str) -> dict[str, Any]:
    """The next lesson as plain JSON values, with the reasons in the words of ``words``."""
    return {
        "proposal": _proposal(found.proposal, words) if found.proposal else None,
        "others": [_proposal(each, words) for each in found.others],
        "blocked": [
            {
                "lesson": standing.lesson.code,
                "title": standing.lesson.title,
                "why": [_why(each, words) for each in why],
            }
            for standing, why in found.blocked
        ],
        "says": words(found.says),
    }


def _why(each: Why, words: Callable[[Reason], str]) -> dict[str, str]:
    return {"kind": each.kind, "code": each.reason.code, "words": words(each.reason)}


def _proposal(each: Proposal, words: Callable[[Reason], str]) -> dict[str, Any]:
    lesson = each.lesson
    return {
        "lesson": lesson.code,
        "title": lesson.title,
        "objective": lesson.objective,
        "completion": lesson.completion,
        "planned": logged(lesson.times),
        "why": [_why(why, words) for why in each.why],
        "covers": list(map(words, each.covers)),
        "items": [
            {
                "item": planned.standing.item.code,
                "title": planned.standing.item.title,
                "wanted": planned.wanted,
                "grade": planned.standing.grade,
                "why": words(planned.why),
                "standard": [
                    {"name": tolerance.name, "says": tolerance.says, "caution": tolerance.caution}
                    for tolerance in planned.standing.item.standard
                ],
            }
            for planned in each.items
        ],
    }
