"""The students whom the caller may see, and what their records mean."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from api.v1 import schemas
from api.v1.description import Answer, Parameter, describe
from api.v1.errors import not_found
from api.v1.views import View
from syllabus import outlines, rulebook
from syllabus.engine import reading
from syllabus.engine.errors import QuestionError, UnknownMilestone
from syllabus.engine.question import READERS, Context
from syllabus.engine.reading import Faults
from training import reports
from training.models import Student
from training.services import access

PAGE_SIZE = 50


class Pages(CursorPagination):
    """Fifty students at a time, by their reference: a page never shifts when a student is added."""

    page_size = PAGE_SIZE
    ordering = "ref"

    def decode_cursor(self, request: Request) -> Any:
        cursor = super().decode_cursor(request)
        if cursor is not None and cursor.position is not None:
            try:
                uuid.UUID(str(cursor.position))
            except ValueError:
                faults = Faults()
                faults.add("cursor", "is not one that next or previous gave")
                faults.stop(QuestionError)
        return cursor


def shown(student: Student) -> dict[str, Any]:
    return {
        "ref": str(student.ref),
        "name": student.name,
        "training_model": student.training_model or None,
        "school": {"slug": student.school.slug, "name": student.school.name},
    }


class StudentView(View):
    """About one student, who is not there for whoever may not see them."""

    def open(self, ref: uuid.UUID, what: str) -> Student:
        """The student, with the reading noted in the log. Raises: Problem (404)."""
        return access.open_record(self.user, ref, what=what, via="api", at=self.at)


class Students(View):
    """GET: the students the caller may see, in pages."""

    query = {"cursor": reading.text}

    @describe(
        name="listStudents",
        summary="List the students you may see",
        description=(
            "A student sees themselves, an instructor the students assigned to them today, an administrator "
            f"those of their school. Pages of {PAGE_SIZE}; follow `next`."
        ),
        parameters=[
            Parameter("cursor", "query", "As `next` or `previous` of a page has it.", {"type": "string"})
        ],
        answers={200: Answer("StudentPage", "A page")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request) -> Response:
        pages = Pages()
        seen = access.visible_students(self.user, on=self.today).select_related("school")
        page = pages.paginate_queryset(seen, request, view=self) or []
        return Response(
            {
                "next": pages.get_next_link(),
                "previous": pages.get_previous_link(),
                "students": [shown(student) for student in page],
            }
        )


class StudentDetail(StudentView):
    """GET: one student."""

    @describe(
        name="readStudent",
        summary="Read one student",
        description="Who the student is; the record itself is at `record`. The reading is logged.",
        parameters=[Parameter.student()],
        answers={200: Answer("Student", "The student")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "student")
        birth_date = student.birth_date and student.birth_date.isoformat()
        may_write = access.may(self.user, access.WRITE, student, on=self.today)
        return Response({**shown(student), "birth_date": birth_date, "may_write": may_write})


_WHEN: Mapping[str, reading.Read] = {"on": reading.day, "known_at": reading.instant}
_KNOWN_AT = Parameter(
    "known_at", "query", "Answer from what was on record at this instant; later entries are left out.",
    schemas.INSTANT,
)  # fmt: skip


class StudentEligibility(StudentView):
    """GET: every milestone in short."""

    query = _WHEN

    @describe(
        name="overviewOfStudent",
        summary="Show every milestone in short",
        description=(
            "For each milestone whether the record fulfils it on the day, from when until when, what "
            "lapses next "
            "and what is missing next; and by name those that the rules do not cover for this student. "
            "Without `on`, the day is today at the student's school."
        ),
        parameters=[Parameter.student(), Parameter.on("the day asked about"), _KNOWN_AT],
        answers={200: Answer("Overview", "Every milestone")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "eligibility")
        on = self.asked["on"] or student.school.day(self.at)
        return Response(reports.overview(student, on, known_at=self.asked["known_at"]).as_json())


class StudentMilestone(StudentView):
    """GET: the report for one milestone."""

    query = {**_WHEN, **READERS}

    @describe(
        name="eligibilityOfStudent",
        summary="Show one milestone in full",
        description=(
            "The eligibility report of the stored record, by the law and the school's own minimums, which "
            "say whose they are; `course.<code>` is what the student's course asks for. Where the rules do "
            "not cover what is asked about, it is refused with a problem of the type /problems/not-covered. "
            "What is not given of the context is not known; the aircraft model is then the one the student "
            "normally trains in. "
            "Without `on`, the day is today at the student's school."
        ),
        parameters=[
            Parameter.student(),
            Parameter.milestone(),
            Parameter.on("the day asked about"),
            _KNOWN_AT,
            *(
                Parameter(name, "query", schemas.CONTEXT_WORDS[name], schemas.CONTEXT_IN_A_QUERY[name])
                for name in READERS
            ),
        ],
        answers={200: Answer("EligibilityReport", "The report")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID, milestone: str) -> HttpResponse:
        asked = dict(self.asked)
        on, known_at = asked.pop("on"), asked.pop("known_at")
        no_such = not_found("milestone of that id; /api/v1/milestones lists those that")
        of_a_course = milestone.startswith(outlines.OF_A_COURSE)
        if milestone not in rulebook.current().milestones and not of_a_course:
            raise no_such
        student = self.open(ref, f"eligibility {milestone}")
        try:
            report = reports.eligibility_json(
                student,
                milestone,
                on or student.school.day(self.at),
                known_at=known_at,
                context=Context(klass=asked.pop("class"), **asked),
            )
        except UnknownMilestone:
            raise no_such from None
        return HttpResponse(report, content_type="application/json")
