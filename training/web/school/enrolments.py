"""A student's way through a course: enrolled, moved to a newer version, ended. Published versions alone."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from syllabus import outlines
from syllabus.engine.reading import Faults
from training.models import CourseMove, Enrolment, Student
from training.services import access, enrolments
from training.services.enrolments import EnrolmentError
from training.services.errors import Conflict, NotAllowed
from training.web.school import opening, students
from training.web.school.opening import Opened, administered
from training.web.shown import day


@require_POST
@administered
def begin(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """Enrol in the newest published version of a course."""
    student = opened.student(ref, "enrolments")
    sent = {key: str(opened.request.POST.get(key, "")) for key in ("course", "starts", "id")}
    faults = Faults()
    starts = opening.day(faults, "starts", sent["starts"], needed=True)
    try:
        entry = uuid.UUID(sent["id"])
    except ValueError:
        entry = uuid.uuid4()
    if not faults and starts:
        try:
            made = enrolments.enrol(
                student,
                ref=entry,
                course=sent["course"],
                version=None,
                starts=starts,
                by=opened.user,
                at=opened.at,
                via="web",
            )
        except EnrolmentError as problem:
            faults.extend(problem.faults)
        except (Conflict, NotAllowed) as refused:
            faults.add("course", str(refused))
        else:
            version = made.course_version
            assert version is not None
            messages.success(
                opened.request,
                _("Enrolled in %(course)s, version %(number)d.")
                % {"course": version.title, "number": version.number},
            )
            return redirect("school-student", opened.school.slug, ref)
    return students.page(opened, student, opening.by_field(faults), sent, 422)


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def move(opened: Opened, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """GET: what a move to a newer version would mean, by default the newest. POST: the move."""
    posted = opened.request.method == "POST"
    student = opened.student(ref, f"enrolment {entry} move", access.WRITE if posted else access.READ)
    held = _enrolment(student, entry)
    version = held.course_version
    if version is None:
        raise Http404("no course in this enrolment to move to a newer version of")
    newer = enrolments.newer_versions(version)
    asked = opened.request.POST if posted else opened.request.GET
    text = str(asked.get("version", ""))
    number = int(text) if text.isascii() and text.isdecimal() and len(text) < 7 else None
    if text and number is None:
        raise Http404("no version of that number")
    fault = ""
    if posted and number is not None:
        try:
            made = enrolments.move(held, number, by=opened.user, at=opened.at, via="web")
        except (EnrolmentError, NotAllowed) as problem:
            fault = _words(problem)
        else:
            messages.success(opened.request, _moved(made))
            return redirect("school-student", opened.school.slug, ref)
    shown = None
    chosen = number if number in {each.number for each in newer} else (newer[-1].number if newer else None)
    if chosen is not None:
        shown = enrolments.preview(held, chosen, opened.today)
    return opened.page(
        "move",
        "students",
        status=422 if fault else 200,
        student=student,
        enrolment=held,
        version=version,
        newer=newer,
        shown=shown,
        fault=fault,
        **(_carried(shown) if shown else {}),
    )


def _carried(shown: enrolments.Preview) -> dict[str, Any]:
    """What stands and what does not, each item by its title."""
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


@require_POST
@administered
def end(opened: Opened, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Give an enrolment its last day; it stays on file with everything that was signed in it."""
    student = opened.student(ref, f"enrolment {entry} end", access.WRITE)
    held = _enrolment(student, entry)
    key = f"ends-{entry}"
    sent = {key: str(opened.request.POST.get("ends", ""))}
    faults = Faults()
    ends = opening.day(faults, key, sent[key], needed=True)
    if not faults and ends:
        try:
            made = enrolments.end(held, on=ends, by=opened.user, at=opened.at, via="web")
        except (EnrolmentError, NotAllowed) as problem:
            faults.add(key, _words(problem))
        else:
            messages.success(opened.request, _("The enrollment ends on %(day)s.") % {"day": day(made.ends)})
            return redirect("school-student", opened.school.slug, ref)
    return students.page(opened, student, opening.by_field(faults), sent, 422)


def _enrolment(student: Student, entry: uuid.UUID) -> Enrolment:
    found = enrolments.of(student).filter(ref=entry).first()
    if found is None:
        raise Http404("no enrolment of that reference of this student")
    found.student = student
    return found


def _words(problem: EnrolmentError | NotAllowed) -> str:
    return opening.in_words(problem) if isinstance(problem, EnrolmentError) else str(problem)
