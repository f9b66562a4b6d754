"""The school's students, their instructors and their courses."""

import uuid
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from syllabus.courses import outlines
from syllabus.models import CourseVersion
from training.models import Assignment, Enrolment, Invitation, Role, Student
from training.services import access
from training.services.courses.courses import Address
from training.services.people import enrolments, guardians, invitations, people
from training.web.people.student_forms import Account, Assign, Consent, EndEnrolment, Enrol
from training.web.shared.forms import Form, Search, sent_or_new
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import day

AT_ONCE = 50


@administered("GET")
def roll(opened: Opened) -> HttpResponse:
    """The students by name, with instructors and course; searched by a part of the name."""
    form, asked = Search.of(opened.request, _("Name"), most=100)
    rows = Student.objects.filter(school=opened.school).order_by("name", "pk")
    if asked:
        rows = rows.filter(name__icontains=asked)
    page = Paginator(rows, AT_ONCE).get_page(opened.request.GET.get("page"))
    listed = list(page.object_list)
    teaching, taking = defaultdict(list), defaultdict(list)
    today = opened.today
    for each in Assignment.objects.filter(Assignment.in_force(today), student__in=listed).select_related(
        "instructor"
    ):
        teaching[each.student_id].append(str(each.instructor))
    for running in Enrolment.objects.filter(Enrolment.in_force(today), student__in=listed).select_related(
        "course_version"
    ):
        version = running.course_version
        taking[running.student_id].append(
            _("%(course)s, version %(number)d") % {"course": version.title, "number": version.number}
            if version
            else _("no course")
        )
    return opened.page(
        "students",
        "students",
        page=page,
        form=form,
        asked=asked,
        students=[
            {
                "row": each,
                "born": day(each.birth_date),
                "teachers": teaching[each.pk],
                "courses": taking[each.pk],
            }
            for each in listed
        ],
    )


@administered("GET")
def teaching(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """One student: assignments and enrollments, with the forms to change them."""
    return page(opened, opened.student(ref, "assignments and enrolments"))


def open_courses(opened: Opened) -> dict[str, CourseVersion]:
    """The newest published version of each course that the school may use, by the course's URL name."""
    return {str(Address.of(each.course)): each for each in outlines.open_to(opened.school.course_ref)}


def course_choices(known: Mapping[str, CourseVersion]) -> list[tuple[str, str]]:
    return [(address, f"{newest.title} ({address})") for address, newest in known.items()]


def page(opened: Opened, student: Student, form: Form | None = None) -> HttpResponse:
    """The page of ``teaching`` with the form that was sent, if any."""
    assigned = Assignment.objects.filter(student=student).select_related("instructor")
    known = open_courses(opened)
    return opened.page(
        "student",
        "students",
        status=form.status if form else 200,
        student=student,
        born=day(student.birth_date),
        assignments=[
            {
                "row": each,
                "starts": day(each.starts),
                "ends": day(each.ends),
                "running": each.ends is None or each.ends >= opened.today,
            }
            for each in assigned.order_by("-starts", "-pk")
        ],
        enrolments=_enrolments(opened, student, known, form),
        guardians=[
            {
                "row": each,
                "starts": day(each.consent_on),
                "ends": day(each.consent_until),
                "running": each.consent_until is None or each.consent_until >= opened.today,
            }
            for each in guardians.listed(student)
        ],
        guardians_caution=guardians.caution(student, opened.today),
        invited=Invitation.objects.filter(student=student, role=Role.Kind.STUDENT).first(),
        account=sent_or_new(form, Account),
        assign=sent_or_new(form, Assign, school=opened.school, today=opened.today),
        enrol=sent_or_new(form, Enrol, courses=course_choices(known), today=opened.today),
        consent=sent_or_new(form, Consent, today=opened.today),
    )


def _enrolments(
    opened: Opened,
    student: Student,
    known: Mapping[str, CourseVersion],
    form: Form | None,
) -> list[dict[str, Any]]:
    """The enrollments, newest first, each with its moves and the changes that are possible.

    ``known``: the newest published version of each course of the school. Two queries.
    """
    newest = {each.course_id: each.number for each in known.values()}
    shown = []
    for each in enrolments.of(student):
        version = each.course_version
        running = each.ends is None or each.ends >= opened.today
        shown.append(
            {
                "row": each,
                "starts": day(each.starts),
                "ends": day(each.ends),
                "running": running,
                "newest": newest[version.course_id]
                if running and version and newest.get(version.course_id, 0) > version.number
                else None,
                "moves": [
                    {
                        "row": made,
                        "on": day(opened.school.day(made.at)),
                        "all": len(made.carried),
                        "stands": sum(item["carries"] for item in made.carried),
                    }
                    for made in each.moves.all()
                ],
                "form": form
                if isinstance(form, EndEnrolment) and form.enrolment == each.ref
                else EndEnrolment(enrolment=each.ref, today=opened.today),
            }
        )
    return shown


@administered("POST")
def account(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """Let a student who has no account sign in, or invite the owner of the address."""
    student = opened.student(ref, "student's account", access.WRITE)
    form = Account.bind(opened.request)
    if not form.submit(lambda email: invitations.to_record(student, email, by=opened.user, at=opened.at)):
        return page(opened, student, form)
    given = form.result
    if isinstance(given, Invitation):
        return opened.done(invitations.send(opened.request, given), "school-student", ref)
    told = {"student": student, "email": given.email}
    return opened.done(_("%(student)s signs in as %(email)s.") % told, "school-student", ref)


@administered("POST")
def assign(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """Assign an instructor to the student."""
    student = opened.student(ref, "assignment", access.WRITE)
    form = Assign.bind(opened.request, school=opened.school, today=opened.today)
    if not form.submit(
        lambda instructor, **sent: people.assign(
            student, instructor, starts=sent["from"], by=opened.user, at=opened.at
        )
    ):
        return page(opened, student, form)
    told = {"instructor": form.result.instructor, "student": student, "day": day(form.result.starts)}
    return opened.done(
        _("%(instructor)s assigned to %(student)s from %(day)s.") % told, "school-student", ref
    )


@administered("POST")
def end_assignment(opened: Opened, ref: uuid.UUID, pk: int) -> HttpResponse:
    """End an instructor's access to the record now."""
    student = opened.student(ref, "assignment", access.WRITE)
    found = get_object_or_404(Assignment, pk=pk, student=student)
    people.end_assignment(found, by=opened.user, at=opened.at)
    told = {"instructor": found.instructor, "student": student}
    return opened.done(
        _("%(instructor)s is no longer assigned to %(student)s and has no access to the record.") % told,
        "school-student",
        ref,
    )
