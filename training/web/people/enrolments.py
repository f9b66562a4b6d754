"""A student's enrollments: enroll, move to a newer version, end. Only published versions."""

import uuid
from typing import Any

from django import forms
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from syllabus.courses import outlines
from training.models import CourseMove, Enrolment, Student
from training.services import access
from training.services.people import enrolments
from training.web.people import students
from training.web.people.student_forms import EndEnrolment, Enrol
from training.web.shared.forms import Form
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import day


class Move(Form):
    version = forms.IntegerField(required=False, min_value=1, max_value=999_999, widget=forms.HiddenInput)


@administered("POST")
def begin(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """Enroll in the newest published version of a course."""
    student = opened.student(ref, "enrolments")
    form = Enrol.bind(
        opened.request, courses=students.course_choices(students.open_courses(opened)), today=opened.today
    )
    if not form.submit(
        lambda id, **sent: enrolments.enrol(
            student, ref=id or uuid.uuid4(), version=None, **sent, **opened.acting
        )
    ):
        return students.page(opened, student, form)
    version = form.result.course_version
    return opened.done(
        _("Enrolled in %(course)s, version %(number)d.")
        % {"course": version.title, "number": version.number},
        "school-student",
        ref,
    )


@administered("GET", "POST")
def move(opened: Opened, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """GET: a preview of a move to another version, by default the newest. POST: move."""
    posted = opened.request.method == "POST"
    student = opened.student(ref, f"enrolment {entry} move", access.WRITE if posted else access.READ)
    held = _enrolment(student, entry)
    version = held.course_version
    if version is None:
        raise Http404("no course in this enrolment to move to a newer version of")
    newer = enrolments.newer_versions(version)
    form = Move.bind(opened.request) if posted else Move(opened.request.GET)
    if not form.is_valid():
        raise Http404("no version of that number")
    number = form.cleaned_data["version"]
    if (
        posted
        and number is not None
        and form.submit(lambda version: enrolments.move(held, version, **opened.acting))
    ):
        return opened.done(_moved(form.result), "school-student", ref)
    shown = None
    chosen = number if number in {each.number for each in newer} else (newer[-1].number if newer else None)
    if chosen is not None:
        shown = enrolments.preview(held, chosen, opened.today)
    return opened.page(
        "move",
        "students",
        status=form.status,
        student=student,
        enrolment=held,
        version=version,
        newer=newer,
        shown=shown,
        form=form,
        **(_carried(shown) if shown else {}),
    )


def _carried(shown: enrolments.Preview) -> dict[str, Any]:
    """The grades that carry over and those that do not, each item by its title."""
    titles = {
        item.code: item.title
        for version in (shown.old, shown.new)
        for item in outlines.published(version).items
    }
    rows: list[dict[str, Any]] = [
        {"row": each, "title": titles.get(each.item, each.item)} for each in shown.carried
    ]
    return {
        "stands": [each for each in rows if each["row"].carries],
        "falls": [each for each in rows if not each["row"].carries],
    }


def _moved(made: CourseMove) -> str:
    stands = sum(each["carries"] for each in made.carried)
    return _(
        "Moved from version %(old)d to version %(new)d. %(stands)d of %(all)d graded items carried "
        "over. Ledger entry %(index)d."
    ) % {
        "old": made.from_version.number,
        "new": made.to_version.number,
        "all": len(made.carried),
        "stands": stands,
        "index": made.ledger_index,
    }


@administered("POST")
def end(opened: Opened, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Set the enrollment's last day; it stays on file with everything that was signed in it."""
    student = opened.student(ref, f"enrolment {entry} end", access.WRITE)
    held = _enrolment(student, entry)
    form = EndEnrolment.bind(opened.request, enrolment=entry, today=opened.today)
    if not form.submit(lambda ends: enrolments.end(held, on=ends, **opened.acting)):
        return students.page(opened, student, form)
    return opened.done(
        _("The enrollment ends on %(day)s.") % {"day": day(form.result.ends)}, "school-student", ref
    )


def _enrolment(student: Student, entry: uuid.UUID) -> Enrolment:
    found = get_object_or_404(enrolments.of(student), ref=entry)
    found.student = student
    return found
