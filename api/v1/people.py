"""The people of the schools that the caller administers: who is what there, and who teaches whom."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Iterable
from http import HTTPStatus
from typing import Any

from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.description import Answer, Parameter, describe
from api.v1.endorsements import own_id
from api.v1.errors import Problem, not_found
from api.v1.students import StudentView
from api.v1.views import View
from syllabus.engine import reading
from syllabus.engine.errors import Fault, QuestionError
from syllabus.engine.reading import Faults, Object
from syllabus.engine.record import FLIGHT_INSTRUCTOR
from training.models import Assignment, Role, School, Student
from training.services import access, people
from training.services import account_links as links
from training.services.people import PeopleError

PAGE_SIZE = 100
_NUMBER = re.compile(r"[0-9]{1,18}", re.ASCII)
WRITES = (400, 401, 403, 406, 409, 411, 413, 415, 422)
ROLE = Parameter("role", "path", "The role's id.", {"type": "integer", "minimum": 0}, True)
_ASSIGNMENT = Parameter("assignment", "path", "The assignment's id.", {"type": "integer", "minimum": 0}, True)
_ADMINISTRATORS = "The people of a school are listed and changed by its administrators alone."


class Pages(CursorPagination):
    """A hundred roles at a time, the eldest first."""

    page_size = PAGE_SIZE
    ordering = "id"

    def decode_cursor(self, request: Request) -> Any:
        cursor = super().decode_cursor(request)
        if cursor is not None and cursor.position is not None and not _NUMBER.fullmatch(str(cursor.position)):
            raise QuestionError([Fault("cursor", "is not one that next or previous gave")])
        return cursor


def _ratings(faults: Faults, value: Any, place: str) -> list[Any] | None:
    """Ratings as they are kept; what is wrong inside them is told when they are."""
    if not isinstance(value, list):
        faults.expected("a list of ratings", value, place)
        return None
    return value


def _held(fields: Object) -> dict[str, Any]:
    """What an instructor's role holds; what is left out is not recorded."""
    return {
        "certificate": fields.take("certificate", reading.text, ""),
        "instructor_kind": fields.take("instructor_kind", reading.text, FLIGHT_INSTRUCTOR),
        "recent_experience_until": fields.take("recent_experience_until", reading.day),
        "ratings": fields.take("ratings", _ratings),
    }


class PeopleView(View):
    def school(self, slug: str) -> School:
        """A school that the caller administers. Raises: Problem (403)."""
        found = access.schools(self.user).filter(slug=slug).first()
        if found is None:
            raise Problem(HTTPStatus.FORBIDDEN, f"You administer no school called {slug!r}.")
        return found

    def role(self, pk: int) -> Role:
        """A role at a school that the caller administers. Raises: Problem (404)."""
        found = Role.objects.filter(pk=pk, school__in=access.schools(self.user))
        role = found.select_related("school", "user").first()
        if role is None:
            raise not_found("role of that id")
        return role


class People(PeopleView):
    """GET: the roles at the caller's schools. POST: one more person."""

    query = {"cursor": reading.text, "school": reading.name}

    @describe(
        name="listPeople",
        summary="List the people of your schools",
        description=(
            "By an administrator: every role at the schools that the caller administers, or at the one that"
            f" `school` names, in pages of {PAGE_SIZE}; follow `next`. Students without an account have no"
            " role; they are among the students."
        ),
        parameters=[
            Parameter("school", "query", "A school's short name.", {"type": "string"}),
            Parameter("cursor", "query", "As `next` or `previous` of a page has it.", {"type": "string"}),
        ],
        answers={200: Answer("PersonPage", "A page")},
        refuses=(401, 403, 404, 406, 422),
    )
    def get(self, request: Request) -> Response:
        mine = access.schools(self.user)
        if self.asked["school"] is not None:
            mine = mine.filter(slug=self.asked["school"])
        if not mine.exists():
            raise Problem(HTTPStatus.FORBIDDEN, _ADMINISTRATORS)
        pages = Pages()
        roles = Role.objects.filter(school__in=mine).select_related("school", "user")
        page: list[Role] = pages.paginate_queryset(roles, request, view=self) or []
        return Response(
            {
                "next": pages.get_next_link(),
                "previous": pages.get_previous_link(),
                "people": _people(page),
            }
        )

    @describe(
        name="addPerson",
        summary="Add a person to a school",
        description=(
            "By an administrator of the school. An instructor or administrator needs an e-mail address; a"
            " student may come without one and have no account yet, and needs `id`, which becomes the"
            " student's reference. A new account sets its own password by a link that is mailed to it: `mail`"
            " says so. The same sent again is answered with what there is (200), and nothing is mailed."
        ),
        body="PersonToAdd",
        answers={
            200: Answer("PersonAdded", "The person already has this role"),
            201: Answer("PersonAdded", "The person was added"),
        },
        refuses=WRITES,
    )
    def post(self, request: Request) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        slug = fields.take("school", reading.name, required=True)
        kind = fields.take("role", reading.one_of(Role.Kind.values, "role"), required=True)
        name = fields.take("name", reading.name, required=True)
        email = fields.take("email", reading.text, "")
        more: dict[str, Any] = {}
        if kind == Role.Kind.STUDENT:
            more = {
                "ref": fields.take("id", own_id, required=True),
                "birth_date": fields.take("birth_date", reading.day),
                "training_model": fields.take("training_model", reading.text, ""),
            }
        elif kind == Role.Kind.INSTRUCTOR:
            more = {"held": _held(fields)}
        fields.done()
        faults.stop(PeopleError)
        school = self.school(slug)
        made = people.add(
            school, kind=kind, name=name, email=email, by=self.user, at=self.at, again=True, **more
        )
        mail = links.send(request._request, made.user.email).words if made.new_account and made.user else None
        role = Role.objects.filter(school=school, user=made.user, role=kind).select_related("school", "user")
        [shown] = _people(role) if made.user else [None]
        said = {"person": shown, "student": str(made.student.ref) if made.student else None, "mail": mail}
        return Response(said, status=HTTPStatus.CREATED if made.created else HTTPStatus.OK)


class PersonDetail(PeopleView):
    """GET: one role. PUT: what an instructor's role holds."""

    @describe(
        name="readPerson",
        summary="Read one role",
        description="By an administrator of its school.",
        parameters=[ROLE],
        answers={200: Answer("Person", "The role with its person")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, role: int) -> Response:
        return Response(_people([self.role(role)])[0])

    @describe(
        name="changePerson",
        summary="Change an instructor's certificate and ratings",
        description=(
            "Certificate number, last day of recent experience, ratings: all of it at once; what is left out"
            " is not recorded any more. It is kept who changed what."
        ),
        parameters=[ROLE],
        body="PersonToChange",
        answers={200: Answer("Person", "The role as it is now")},
        refuses=(*WRITES, 404),
    )
    def put(self, request: Request, role: int) -> Response:
        found = self.role(role)
        faults = Faults()
        fields = Object(faults, request.data, "")
        held = _held(fields)
        fields.done()
        faults.stop(PeopleError)
        people.change(found, held, by=self.user, at=self.at)
        return Response(_people([self.role(role)])[0])


class PersonEnd(PeopleView):
    """POST: a role ends."""

    @describe(
        name="endPerson",
        summary="End a role",
        description=(
            "From now on it gives nothing; an instructor's assignments end with it, what was signed stays"
            " signed. The last administrator of a school stays (409). Ended once, it is answered the same"
            " again."
        ),
        parameters=[ROLE],
        answers={204: Answer(None, "It has ended")},
        refuses=(401, 403, 404, 406, 409, 411, 413, 415, 422),
    )
    def post(self, request: Request, role: int) -> Response:
        try:
            found = self.role(role)
        except Problem:
            if people.was_ended(role, self.user):
                return Response(status=HTTPStatus.NO_CONTENT)
            raise
        people.end(found, by=self.user, at=self.at)
        return Response(status=HTTPStatus.NO_CONTENT)


class PersonLink(PeopleView):
    """POST: the link to set the password goes out once more."""

    @describe(
        name="sendPersonLink",
        summary="Send the link to set a password",
        description="To the address on the account. Too many within a minute are refused (429).",
        parameters=[ROLE],
        answers={200: Answer("PersonLink", "Sent")},
        refuses=(401, 404, 406, 409, 411, 413, 415, 422, 429),
    )
    def post(self, request: Request, role: int) -> Response:
        found = self.role(role)
        if not found.user.is_active:
            raise Problem(HTTPStatus.CONFLICT, f"The account of {found.user.email} is closed.")
        done = links.send(request._request, found.user.email)
        if not done.sent:
            raise Problem(HTTPStatus.TOO_MANY_REQUESTS, done.words, headers={"Retry-After": "60"})
        return Response({"mail": done.words})


class StudentAssignments(StudentView):
    """GET: who teaches a student, and did. POST: somebody teaches the student from a day on."""

    @describe(
        name="listAssignments",
        summary="List the instructors of a student",
        description="Those that ended too, the newest first. The reading is logged.",
        parameters=[Parameter.student()],
        answers={200: Answer("AssignmentList", "The assignments")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "assignments")
        rows = Assignment.objects.filter(student=student).select_related("instructor")
        return Response({"assignments": [_assigned(each) for each in rows.order_by("-starts", "-pk")]})

    @describe(
        name="assignInstructor",
        summary="Assign an instructor to a student",
        description=(
            "By an administrator of the school. `instructor` is the id of the instructor's role, as the list"
            " of people has it; from `starts` on, today where it is left out, the instructor reads and writes"
            " the record. The same sent again is answered with what stands (200)."
        ),
        parameters=[Parameter.student()],
        body="AssignmentToMake",
        answers={
            200: Answer("Assignment", "Already on record"),
            201: Answer("Assignment", "The assignment"),
        },
        refuses=(*WRITES, 404),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "assignments")
        _administers(self, student)
        faults = Faults()
        fields = Object(faults, request.data, "")
        role = fields.take("instructor", reading.count, required=True)
        starts = fields.take("starts", reading.day, student.school.day(self.at))
        fields.done()
        taught = Role.objects.filter(pk=role, school=student.school_id, role=Role.Kind.INSTRUCTOR)
        found = taught.select_related("user").first() if role is not None else None
        if role is not None and found is None:
            faults.add("instructor", f"{role} is no instructor's role at {student.school.name}")
        faults.stop(PeopleError)
        assert found is not None
        there = Assignment.objects.filter(student=student, instructor=found.user, starts=starts).first()
        if there is not None and there.ends is None:
            return Response(_assigned(there))
        made = people.assign(student, found.user, starts=starts, by=self.user, at=self.at)
        return Response(_assigned(made), status=HTTPStatus.CREATED)


class AssignmentEnd(StudentView):
    """POST: the record is closed to an instructor, now."""

    @describe(
        name="endAssignment",
        summary="End an instructor's assignment",
        description=(
            "By an administrator of the school. It ends with yesterday; one that began today had no day and"
            " is taken back, and `ends` is then the day before `starts`. Ended already, it stays as it is."
        ),
        parameters=[Parameter.student(), _ASSIGNMENT],
        answers={200: Answer("Assignment", "The assignment as it ended")},
        refuses=(401, 403, 404, 406, 411, 413, 415, 422),
    )
    def post(self, request: Request, ref: uuid.UUID, assignment: int) -> Response:
        student = self.open(ref, "assignments")
        _administers(self, student)
        rows = Assignment.objects.filter(pk=assignment, student=student)
        found = rows.select_related("school", "instructor", "student").first()
        if found is None:
            raise not_found("assignment of that id")
        ended = people.end_assignment(found, by=self.user, at=self.at)
        if not rows.exists():
            ended.pk, ended.ends = assignment, ended.starts - dt.timedelta(days=1)
        return Response(_assigned(ended))


def _administers(view: View, student: Student) -> None:
    """Raises: Problem (403)."""
    if not access.schools(view.user).filter(pk=student.school_id).exists():
        raise Problem(HTTPStatus.FORBIDDEN, "Only an administrator of the school changes its people.")


def _people(roles: Iterable[Role]) -> list[dict[str, Any]]:
    """Roles as they are shown, each student's with the student's reference. One query more."""
    roles = list(roles)
    learns = {each.user_id for each in roles if each.role == Role.Kind.STUDENT}
    refs = {
        (school, user): str(ref)
        for school, user, ref in Student.objects.filter(
            user__in=learns, school__in={each.school_id for each in roles}
        ).values_list("school", "user", "ref")
    }
    return [
        {
            "id": each.pk,
            "school": each.school.slug,
            "role": each.role,
            "name": str(each.user),
            "email": each.user.email,
            "account_open": each.user.is_active,
            "student": refs.get((each.school_id, each.user_id)) if each.role == Role.Kind.STUDENT else None,
            "certificate": each.certificate,
            "instructor_kind": each.instructor_kind if each.role == Role.Kind.INSTRUCTOR else None,
            "recent_experience_until": each.recent_experience_until
            and each.recent_experience_until.isoformat(),
            "ratings": each.ratings,
        }
        for each in roles
    ]


def _assigned(row: Assignment) -> dict[str, Any]:
    return {
        "id": row.pk,
        "instructor": str(row.instructor),
        "starts": row.starts.isoformat(),
        "ends": row.ends and row.ends.isoformat(),
    }
