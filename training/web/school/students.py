"""The school's students: who they are, who teaches them, which course they are in."""

from __future__ import annotations

import uuid
from collections import defaultdict

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST, require_safe

from syllabus.engine.reading import Faults
from training.models import Assignment, Enrolment, Role, Student, User
from training.services import access, courses, enrolments, people
from training.services.enrolments import EnrolmentError
from training.services.lesson_records import Conflict as EnrolledAlready
from training.services.records import NotAllowed
from training.services.reminders import guardians
from training.web.school import opening
from training.web.school.opening import Opened, administered
from training.web.shown import day

AT_ONCE = 50


@require_safe
@administered
def roll(opened: Opened) -> HttpResponse:
    """The students by name, with instructors and course; found by a part of the name."""
    asked = str(opened.request.GET.get("q", ""))[:100].replace("\x00", "").strip()
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
            f"{version.title}, version {version.number}" if version else "no course"
        )
    return opened.page(
        "students",
        "students",
        page=page,
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


@require_safe
@administered
def teaching(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """One student: assignments and enrolments, with the forms to change them."""
    return page(opened, opened.student(ref, "assignments and enrolments"), {}, {})


def page(
    opened: Opened, student: Student, faults: dict[str, str], sent: dict[str, str], status: int = 200
) -> HttpResponse:
    """The page of ``teaching``, with what was sent by one of its forms and is wrong."""
    assigned = Assignment.objects.filter(student=student).select_related("instructor")
    instructors = Role.objects.filter(school=opened.school, role=Role.Kind.INSTRUCTOR).select_related("user")
    enrolled = Enrolment.objects.filter(student=student).select_related("course_version__course")
    known = [
        (str(address), f"{versions[-1].title} ({address})")
        for address, versions in courses.listed(opened.user)
        if address.school in (None, opened.school.course_ref) and any(each.is_published for each in versions)
    ]
    return opened.page(
        "student",
        "students",
        status=status,
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
        enrolments=[
            {"row": each, "starts": day(each.starts), "ends": day(each.ends)}
            for each in enrolled.order_by("-starts", "-pk")
        ],
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
        instructors=instructors.order_by("user__name", "pk"),
        courses=known,
        new=uuid.uuid4(),
        faults=faults,
        sent=sent,
        today_text=opened.today.isoformat(),
    )


@require_POST
@administered
def enrol(opened: Opened, ref: uuid.UUID) -> HttpResponse:
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
        except (EnrolledAlready, NotAllowed) as refused:
            faults.add("course", str(refused))
        else:
            version = made.course_version
            assert version is not None
            messages.success(opened.request, f"Enrolled in {version.title}, version {version.number}.")
            return redirect("school-student", opened.school.slug, ref)
    return page(opened, student, opening.by_field(faults), sent, 422)


@require_POST
@administered
def assign(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """Let an instructor teach the student."""
    student = opened.student(ref, "assignment", access.WRITE)
    sent = {key: str(opened.request.POST.get(key, "")) for key in ("instructor", "from")}
    faults = Faults()
    starts = opening.day(faults, "from", sent["from"], needed=True)
    whose = Q(pk=int(sent["instructor"])) if sent["instructor"].isdecimal() else Q(pk=None)
    instructor = User.objects.filter(whose, roles__school=opened.school).distinct().first()
    if instructor is None:
        faults.add("instructor", "choose one of the school's instructors")
    if not faults and starts and instructor:
        try:
            people.assign(student, instructor, starts=starts, by=opened.user, at=opened.at)
        except people.PeopleError as problem:
            faults.extend(problem.faults)
        except people.Conflict as refused:
            faults.add("instructor", str(refused))
        else:
            messages.success(opened.request, f"{instructor} teaches {student} from {day(starts)} on.")
            return redirect("school-student", opened.school.slug, ref)
    return page(opened, student, opening.by_field(faults), sent, 422)


@require_POST
@administered
def end_assignment(opened: Opened, ref: uuid.UUID, pk: int) -> HttpResponse:
    """Close the record to an instructor, now."""
    student = opened.student(ref, "assignment", access.WRITE)
    found = Assignment.objects.filter(pk=pk, student=student).first()
    if found is None:
        raise Http404("no assignment of that number of this student")
    people.end_assignment(found, by=opened.user, at=opened.at)
    messages.success(
        opened.request, f"{found.instructor} teaches {student} no more; the record is closed to them."
    )
    return redirect("school-student", opened.school.slug, ref)
