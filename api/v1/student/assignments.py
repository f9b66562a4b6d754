"""A student's instructors, now and before."""

import datetime as dt
import uuid
from http import HTTPStatus
from typing import Any

from api.v1.base.description import Answer, Created, describe
from api.v1.base.errors import Problem, not_found
from api.v1.base.field_types import DAY, STRING, WHOLE
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.views import View
from api.v1.student.students import StudentView
from training.models import Assignment, Role, Student
from training.services import access
from training.services.people import people
from training.services.people.people import PeopleError


class AssignmentSerializer(ResponseSerializer):
    id = Field(WHOLE)
    instructor = Field(STRING)
    starts = Field(DAY)
    ends = Field(DAY, allow_null=True)


class AssignmentListSerializer(ResponseSerializer):
    assignments = AssignmentSerializer(many=True)


class AssignmentToMakeSerializer(RequestSerializer):
    error = PeopleError

    instructor = Field(WHOLE, "The id of the instructor's role.")
    starts = Field(DAY, required=False)


class StudentAssignments(StudentView):
    @describe(
        "listAssignments",
        "List the instructors of a student",
        Answer(AssignmentListSerializer, "The assignments"),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """Ended assignments included, the newest first. The reading is logged."""
        student = self.open(ref, "assignments")
        rows = Assignment.objects.filter(student=student).select_related("instructor")
        return {"assignments": rows.order_by("-starts", "-pk")}

    @describe(
        "assignInstructor",
        "Assign an instructor to a student",
        Answer(AssignmentSerializer, "Already on record"),
        Answer(AssignmentSerializer, "The assignment", status=201),
        body=AssignmentToMakeSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """For administrators of the school. `instructor` is the id of the instructor's role, as the list of
        people has it. From `starts` on (default: today) the instructor reads and writes the record. Sending
        the same again returns the existing assignment (200).
        """
        student = self.open(ref, "assignments")
        _administers(self, student)
        sent = self.sent()
        role, starts = sent["instructor"], sent["starts"] or student.school.day(self.at)
        taught = Role.objects.filter(pk=role, school=student.school_id, role=Role.Kind.INSTRUCTOR)
        found = taught.select_related("user").first()
        if found is None:
            raise PeopleError.at("instructor", f"{role} is not an instructor's role at {student.school.name}")
        there = Assignment.objects.filter(student=student, instructor=found.user, starts=starts).first()
        if there is not None and there.ends is None:
            return there
        made = people.assign(student, found.user, starts=starts, by=self.user, at=self.at)
        return Created(made)


class AssignmentEnd(StudentView):
    @describe(
        "endAssignment",
        "End an instructor's assignment",
        Answer(AssignmentSerializer, "The assignment as it ended"),
        refuses=(403, 411, 413, 415),
    )
    def post(self, ref: uuid.UUID, assignment: int) -> Any:
        """For administrators of the school. The last day is yesterday; for an assignment that began today,
        `ends` is the day before `starts`. An ended one stays as it is.
        """
        student = self.open(ref, "assignments")
        _administers(self, student)
        rows = Assignment.objects.filter(pk=assignment, student=student)
        found = rows.select_related("school", "instructor", "student").first()
        if found is None:
            raise not_found("assignment of that id")
        ended = people.end_assignment(found, by=self.user, at=self.at)
        if not rows.exists():
            ended.pk, ended.ends = assignment, ended.starts - dt.timedelta(days=1)
        return ended


def _administers(view: View, student: Student) -> None:
    """Raises: Problem (403)."""
    if not access.schools(view.user).filter(pk=student.school_id).exists():
        raise Problem(HTTPStatus.FORBIDDEN, "Only an administrator of the school may change its people.")
