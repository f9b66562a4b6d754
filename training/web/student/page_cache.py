"""The main parts of a student's pages as HTML for the page cache: the same for every reader.

They depend on the student, the day and the language, never on the request or the reader.
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
from training.web.student import course, endorsed, gaps
from training.web.student import hours as by_kind
from training.web.student.charts import LONG_WEEKS, SHORT_WEEKS
from training.web.student.needs import needs
from training.web.student.rules import StudentShown

AT_ONCE = 20
#: Which lessons are listed: signed ones only, or drafts as well.
SIGNED, ALL = "signed", "all"
#: The list of students has a column for the requirements of their courses.
COURSES = "courses"


def _made(name: str, student: Student, **told: Any) -> SafeString:
    return render_to_string(f"training/student/cached/{name}.html", {"student": student, **told})


def standing(student: Student, on: dt.date, _variant: str = "") -> SafeString:
    """The student's progress: the course, the next lesson, the next milestone's gaps, expirations."""
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
    """Hours over time by kind, each beside the requirement of the practical test."""
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
    """One page of the lessons, newest first; the first page is cached."""
    seen = lesson_records.listed(student, drafts=variant == ALL)
    page = Paginator(seen, AT_ONCE).get_page(number)
    shown = [lesson_presenter.LessonShown(each) for each in page.object_list]
    return _made("lessons", student, page=page, lessons=shown)


def rules(student: Student, on: dt.date, _variant: str = "", overview: Overview | None = None) -> SafeString:
    """Every milestone in full; for the day, or for the overview given."""
    found = overview or reports.overview(student, on)
    full = StudentShown(student, found, Names(record_of(student)).reader)
    return _made("rules", student, shown=full, rulebook=found.rulebook)


def row(student: Student, on: dt.date, variant: str) -> SafeString:
    """The cells of the list of students: every milestone in short, the next expiration and the next gap."""
    reader = Names(record_of(student)).reader
    each = StudentShown(student, reports.overview(student, on), reader)
    return _made("row", student, each=each, courses=variant == COURSES)


def following(student: Student, on: dt.date, _variant: str = "") -> SafeString:
    """The next lesson and what the next milestone needs as JSON, for an instructor's list of students."""
    stands = progress.standing(student, on)
    needed = needs(student, on, stands, reports.overview(student, on))
    if stands is None:
        return SafeString(json.dumps({"proposal": None, "blocked": [], "says": "", **needed}))
    told = progress.next_json(stands.next, PAGE.words) | needed
    for said, (_lesson, why) in zip(told["blocked"], stands.next.blocked, strict=True):
        said["brief"] = [_brief(each.reason) for each in why]
    return SafeString(json.dumps(told))


def _brief(why: Reason) -> str:
    """What blocks a lesson, in a few words: for a milestone only how many requirements remain."""
    first, more = (why["reasons"], why["more"]) if why.code == "lesson.and-more" else (why, 0)
    if not isinstance(first, Reason) or not isinstance(more, int) or first.code != "lesson.not-open":
        return PAGE.words(why)
    return ngettext(
        "%(milestone)s is not met: %(number)s requirement remains",
        "%(milestone)s is not met: %(number)s requirements remain",
        more + 1,
    ) % {"milestone": first["milestone"], "number": more + 1}


def endorsements(student: Student, on: dt.date, _variant: str = "") -> SafeString:
    """The endorsements needed next and the last days of those on record, as JSON."""
    return SafeString(json.dumps(endorsed.found(student, on, reports.overview(student, on))))


PAGES.update(
    endorsements=Page(endorsements),
    standing=Page(standing),
    hours=Page(hours),
    lessons=Page(lessons, of_lessons=True, variants=(SIGNED, ALL)),
    rules=Page(rules),
    next=Page(following),
    row=Page(row, variants=("", COURSES)),
)
