"""Enrollments in a version of a course, and moves to a newer one."""

import uuid
from typing import Any

from api.v1.base.description import Answer, Parameter, describe
from api.v1.base.field_types import DAY, FLAG, STRING, UTC, UUID
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.school.courses.serializers import CourseChangeSerializer, CourseShortSerializer
from api.v1.student.ledger import LedgerPlaceSerializer
from api.v1.student.lesson_records.views import LessonView
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type
from training.models import Enrolment, Student
from training.services.errors import find
from training.services.people import enrolments
from training.services.people.enrolments import EnrolmentError

MOST_VERSION = 100_000


def _version(errors: Errors, value: Any, place: str) -> int | None:
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MOST_VERSION:
        return value
    errors.add(place, f"{reading.called(value)} is not a version number")
    return None


VERSION = Type(_version, {"type": "integer", "minimum": 1})


class CarriedOverSerializer(ResponseSerializer):
    item = Field(STRING)
    grade = Field(STRING)
    carries = Field(FLAG)
    why = Field(STRING, "Why it does not carry over to the new version.")
    note = Field(STRING, "What to check if it carries over.")


class EnrolmentToMakeSerializer(RequestSerializer):
    error = EnrolmentError

    id = Field(UUID, "Chosen by the caller, so that the request can be repeated.")
    course = Field(Type(reading.name, {"type": "string", "minLength": 1, "maxLength": 150}), "Its address.")
    version = Field(VERSION, "Default: the newest published one.", required=False)
    starts = Field(DAY, "The first day (default: today at the school).", required=False)


class EnrolmentToEndSerializer(RequestSerializer):
    error = EnrolmentError

    ends = Field(DAY, "The last day.")


class EnrolmentToMoveSerializer(RequestSerializer):
    error = EnrolmentError

    version = Field(VERSION)


class MoveSerializer(ResponseSerializer):
    """A move to another version, with what was carried over."""

    stored = ("carried",)

    from_version = Field(VERSION, source="from_version.number")
    to_version = Field(VERSION, source="to_version.number")
    by = Field(STRING)
    at = Field(UTC)
    carried = CarriedOverSerializer(many=True)
    ledger = LedgerPlaceSerializer(source="*")


class EnrolmentSerializer(ResponseSerializer):
    id = Field(UUID, source="ref")
    course = CourseShortSerializer(source="course_version", allow_null=True)
    starts = Field(DAY)
    ends = Field(DAY, allow_null=True)
    moves = MoveSerializer(many=True)


class EnrolmentListSerializer(ResponseSerializer):
    enrolments = EnrolmentSerializer(many=True)


class EnrolmentMovePreviewSerializer(ResponseSerializer):
    from_ = CourseShortSerializer(source="old")
    to = CourseShortSerializer(source="new")
    changes = CourseChangeSerializer(many=True)
    carried = CarriedOverSerializer(many=True)


class EnrolmentView(LessonView):
    def enrolment(self, student: Student, entry: uuid.UUID) -> Enrolment:
        """Raises: Problem (404)."""
        rows = enrolments.of(student).select_related("student__school", "course_version__course")
        return find(rows, "enrollment of that id", ref=entry)


class StudentEnrolments(EnrolmentView):
    @describe("listEnrolments", "List the enrollments", Answer(EnrolmentListSerializer, "The enrollments"))
    def get(self, ref: uuid.UUID) -> Any:
        """The newest first, each with its version of the course."""
        student = self.open(ref, "enrolments")
        return {"enrolments": enrolments.of(student)}

    @describe(
        "enrolStudent",
        "Enroll in a course",
        Answer(EnrolmentSerializer, "The enrolment", status=201),
        body=EnrolmentToMakeSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """The enrollment stays on its version of the course. `id` is chosen by the caller: sending the same
        again returns the existing one.
        """
        student = self.writable(ref)
        sent = self.sent()
        made = enrolments.enrol(
            student,
            ref=sent["id"],
            course=sent["course"],
            version=sent["version"],
            starts=sent["starts"] or student.school.day(self.at),
            **self.acting,
        )
        return self.enrolment(student, made.ref)


class EnrolmentEnd(EnrolmentView):
    @describe(
        "endEnrolment",
        "End an enrollment",
        Answer(EnrolmentSerializer, "The enrolment"),
        body=EnrolmentToEndSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """Sets its last day. It stays on file."""
        student = self.writable(ref)
        found = self.enrolment(student, entry)
        ends = self.sent()["ends"]
        enrolments.end(found, on=ends, **self.acting)
        return self.enrolment(student, entry)


class EnrolmentMove(EnrolmentView):
    query = (Parameter("version", "query", "The newer version.", {"type": "integer", "minimum": 1}, True),)

    @describe(
        "previewEnrolmentMove",
        "Preview a move to a newer version",
        Answer(EnrolmentMovePreviewSerializer, "What would change"),
    )
    def get(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """The changes between the two versions of the course, and for each graded item whether its grade
        carries over.
        """
        student = self.open(ref, f"enrolment {entry} move")
        found = self.enrolment(student, entry)
        errors = Errors()
        asked = self.asked["version"]
        plain = asked if isinstance(asked, str) and asked.isascii() and asked.isdigit() else ""
        number = _version(errors, int(plain) if plain and len(plain) < 9 else asked, "version")
        errors.stop(EnrolmentError)
        assert number is not None
        return enrolments.preview(found, number, student.school.day(self.at))

    @describe(
        "moveEnrolment",
        "Move to a newer version",
        Answer(EnrolmentSerializer, "The enrolment"),
        body=EnrolmentToMoveSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """Signed into the ledger with the grades carried over. The course requires the others again; no grade
        is removed from the record.
        """
        student = self.writable(ref)
        found = self.enrolment(student, entry)
        number = self.sent()["version"]
        enrolments.move(found, number, **self.acting)
        return self.enrolment(student, entry)
