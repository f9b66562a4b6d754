"""The main parts of a student's pages: what they say to every reader, as HTML that may be kept.

They know the student, the day and the language, and neither the request nor who asks.
"""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

from django.core.paginator import Paginator
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.translation import ngettext

from syllabus.engine.rules.reasons import NotCovered, Reason
from syllabus.law import rulebook
from training import reports
from training.models import Student
from training.presenters.entry import Names
from training.presenters.reasons import PAGE
from training.reports import Overview, progress
from training.reports.eligibility import record_of
from training.services.lessons import lesson_records
from training.services.records.page_cache import PAGES, Page
from training.web.shared import lesson_presenter
from training.web.shared import report_presenter as shown
from training.web.student import course, gaps
from training.web.student import hours as by_kind
from training.web.student.charts import LONG_WEEKS, SHORT_WEEKS
from training.web.student.rules import StudentShown

AT_ONCE = 20
#: Whose lessons are listed: those that are signed, or drafts as well.
SIGNED, ALL = "signed", "all"
#: The list of students has a column of what their courses ask for.
COURSES = "courses"


def _made(name: str, student: Student, **told: Any) -> SafeString:
    return render_to_string(f"training/student/cached/{name}.html", {"student": student, **told})


def standing(student: Student, on: dt.date, _variant: str = "") -> SafeString:
    """Where the student stands: the way, the next lesson, what the next milestone lacks, what lapses."""
    stands, overview = progress.standing(student, on), reports.overview(student, on)
    endings = reports.endings(student, on)[: gaps.MOST_LAPSES]
    return _made(
        "standing",
        student,
        stands=stands,
        milestones=shown.in_short(overview.every, overview.provenance),
        refused=[shown.RefusedShown(each) for each in overview.not_covered],
        toward=gaps.toward(overview, Names(record_of(student))),
        endings=[gaps.EndingShown(each, on) for each in endings],
        **(course.shown(stands, overview) if stands else dict.fromkeys(course.SHOWN)),
    )


def hours(student: Student, on: dt.date, _variant: str = "") -> SafeString:
    """Hours over time by kind, each beside what the practical test asks for."""
    test = progress.test_of(student, on)
    try:
        report = reports.eligibility(student, test.id, on)
        kinds, refused = by_kind.hours(report, record_of(student)), ""
    except NotCovered as problem:
        kinds, refused = [], PAGE.words(problem.reason)
    return _made(
        "hours",
        student,
        kinds=kinds,
        refused=refused,
        milestone=test,
        short_weeks=SHORT_WEEKS,
        long_weeks=LONG_WEEKS,
        rulebook=rulebook.current().id,
    )


def lessons(student: Student, _on: dt.date, variant: str, number: str = "1") -> SafeString:
    """The lessons, the newest first; of them the page of that number, of which the first is kept."""
    seen = lesson_records.listed(student, drafts=variant == ALL)
    page = Paginator(seen, AT_ONCE).get_page(number)
    shown = [lesson_presenter.LessonShown(each) for each in page.object_list]
    return _made("lessons", student, page=page, lessons=shown)


def rules(student: Student, on: dt.date, _variant: str = "", overview: Overview | None = None) -> SafeString:
    """Every milestone in full; of the day as it stands, or of an overview that was asked for."""
    found = overview or reports.overview(student, on)
    return _made("rules", student, shown=StudentShown(student, found), rulebook=found.rulebook)


def row(student: Student, on: dt.date, variant: str) -> SafeString:
    """The cells of the list of students: every milestone in short, what lapses next and what is missing."""
    return _made(
        "row", student, each=StudentShown(student, reports.overview(student, on)), courses=variant == COURSES
    )


def following(student: Student, on: dt.date, _variant: str = "") -> SafeString:
    """The next lesson as JSON, for an instructor's list of students."""
    stands = progress.standing(student, on)
    if stands is None:
        return SafeString("null")
    told = progress.next_json(stands.next, PAGE.words)
    for said, (_lesson, why) in zip(told["blocked"], stands.next.blocked, strict=True):
        said["brief"] = [_brief(each.reason) for each in why]
    return SafeString(json.dumps(told))


def _brief(why: Reason) -> str:
    """What blocks a lesson, in a few words: of a milestone how many requirements remain, and not which."""
    first, more = (why["reasons"], why["more"]) if why.code == "lesson.and-more" else (why, 0)
    if not isinstance(first, Reason) or not isinstance(more, int) or first.code != "lesson.not-open":
        return PAGE.words(why)
    return ngettext(
        "%(milestone)s is not open: %(number)s requirement remains",
        "%(milestone)s is not open: %(number)s requirements remain",
        more + 1,
    ) % {"milestone": first["milestone"], "number": more + 1}


PAGES.update(
    standing=Page(standing),
    hours=Page(hours),
    lessons=Page(lessons, of_lessons=True, variants=(SIGNED, ALL)),
    rules=Page(rules),
    next=Page(following),
    row=Page(row, variants=("", COURSES)),
)
