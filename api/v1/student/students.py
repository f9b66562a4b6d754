"""The students whom the caller may see, and their milestones."""

import uuid
from typing import Any

from django.http import HttpResponse

from api.v1.base.description import CURSOR, KNOWN_AT, Answer, Parameter, describe
from api.v1.base.errors import not_found
from api.v1.base.field_types import FLAG, STRING, UUID, WHOLE
from api.v1.base.pages import Pages, PageSerializer
from api.v1.base.reports import AT, CONTEXT, MET, ON, AmountsSerializer, EligibilityReportSerializer
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from syllabus.courses import outlines
from syllabus.engine.errors import UnknownMilestone
from syllabus.engine.record.json_schema import Schema
from syllabus.engine.rules.question import Context
from syllabus.law import rulebook
from training import reports
from training.models import Student
from training.services import access


class SchoolOfStudentSerializer(ResponseSerializer):
    """The student's school."""

    slug = Field(STRING)
    name = Field(STRING)


class StudentNamedSerializer(ResponseSerializer):
    ref = Field(UUID)
    name = Field(STRING)


class StudentInAListSerializer(ResponseSerializer):
    """A student in a list."""

    ref = Field(UUID)
    name = Field(STRING)
    training_model = Field(STRING, of=lambda student: student.training_model or None, allow_null=True)
    school = SchoolOfStudentSerializer()


class StudentSerializer(StudentInAListSerializer):
    """A student, and whether the caller may write the record."""

    birth_date = Field(ON, allow_null=True)
    may_write = Field(FLAG)


class StudentPageSerializer(PageSerializer):
    students = StudentInAListSerializer(many=True)


class RequirementShort(ResponseSerializer):
    requirement = Field(STRING)
    citation = Field(STRING)
    says = Field(STRING)


class LapseSerializer(RequirementShort):
    """The requirement that expires first."""

    last_day = Field(ON)


class GapSerializer(RequirementShort):
    """A requirement that is not met or unknown."""

    met = Field(FLAG, MET, allow_null=True)
    have = Field(STRING)
    need = Field(STRING)
    remaining = Field(STRING)
    words = Field(STRING)
    code = Field(STRING, "What the words say, for a program.")
    amounts = AmountsSerializer()


class MilestoneInShortSerializer(ResponseSerializer):
    milestone = Field(STRING)
    title = Field(STRING)
    context_ = Field(CONTEXT)
    eligible = Field(FLAG)
    met = Field(FLAG, MET, allow_null=True)
    eligible_from = Field(ON, allow_null=True)
    eligible_until = Field(ON, allow_null=True)
    gaps = Field(WHOLE)
    next_gap = GapSerializer(allow_null=True)
    next_lapse = LapseSerializer(allow_null=True)


class MilestoneNotCoveredSerializer(ResponseSerializer):
    milestone = Field(STRING)
    title = Field(STRING)
    key = Field(STRING, "What the rules do not cover: category, class, aircraft_model, path, certificate.")
    value = Field(STRING)
    why = Field(STRING)
    code = Field(STRING, "Why, for a program.")


class OverviewSerializer(ResponseSerializer):
    on = Field(ON)
    known_at = Field(AT, allow_null=True)
    rulebook = Field(STRING)
    next_lapse = LapseSerializer(allow_null=True)
    milestones = MilestoneInShortSerializer(many=True)
    not_covered = MilestoneNotCoveredSerializer(
        many=True,
        help_text="Milestones that the rules do not cover for this student.",
    )
    caution = Field(STRING)


class StudentPages(Pages):
    """Fifty students a page, by their reference, so that pages do not shift when a student is added."""

    ordering = "ref"

    def position(self, text: str) -> uuid.UUID:
        return uuid.UUID(text)


class StudentView(View):
    """One student; 404 for those who may not see them."""

    def open(self, ref: uuid.UUID, what: str) -> Student:
        """The student; the reading is logged. Raises: Problem (404)."""
        return access.open_record(self.user, ref, what=what, via="api", at=self.at)


class Students(View):
    query = (CURSOR,)

    @describe(
        "listStudents",
        "List the students you may see",
        Answer(StudentPageSerializer, "A page"),
        words={"page_size": StudentPages.page_size},
        refuses=(404,),
    )
    def get(self) -> Any:
        """A student sees themselves, an instructor the students assigned to them today, an administrator
        those of their school. Pages of %(page_size)s; follow `next`.
        """
        seen = access.visible_students(self.user, on=self.today).select_related("school")
        page = StudentPages(seen, self.request)
        return {**page.links, "students": page.rows}


class StudentDetail(StudentView):
    @describe("readStudent", "Read one student", Answer(StudentSerializer, "The student"))
    def get(self, ref: uuid.UUID) -> Any:
        """The student; the record itself is at `record`. The reading is logged."""
        student = self.open(ref, "student")
        student.may_write = access.may(self.user, access.WRITE, student, on=self.today)  # type: ignore[attr-defined]
        return student


_WHEN = (Parameter.on("the day of the question"), KNOWN_AT)


class StudentEligibility(StudentView):
    query = _WHEN

    @describe(
        "overviewOfStudent",
        "Summarize every milestone",
        Answer(OverviewSerializer, "Every milestone"),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """For each milestone: whether it is met on the day, from when until when, what expires first and what
        is missing first; and the milestones that the rules do not cover for this student. Without `on`, the
        day is today at the student's school.
        """
        student = self.open(ref, "eligibility")
        on = self.asked["on"] or student.school.day(self.at)
        found = reports.overview(student, on, known_at=self.asked["known_at"])
        return found.as_json()


def in_a_query(field: Any) -> Schema:
    """In a query string a place is an identifier, and a route is identifiers separated by commas."""
    return STRING.schema if field.type.component else field.type.schema


class StudentMilestone(StudentView):
    query = (
        *_WHEN,
        *(
            Parameter(each.key, "query", each.description, in_a_query(each), read=each.type.read)
            for each in CONTEXT.fields
        ),
    )

    @describe(
        "eligibilityOfStudent",
        "Show one milestone in full",
        Answer(EligibilityReportSerializer, "The report"),
    )
    def get(self, ref: uuid.UUID, milestone: str) -> Any:
        """The eligibility report of the stored record, by the law and by the school's minimums, which are
        marked as the school's; `course.<code>` asks about the course's own requirements. A question that the
        rules do not cover is refused with a problem of the type /problems/not-covered. A missing context key
        is unknown; the aircraft model is by default the student's usual one. Without `on`, the day is today
        at the student's school.
        """
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
