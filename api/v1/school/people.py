"""The people and roles of the schools that the caller administers."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from http import HTTPStatus
from typing import Any

from api.v1.base.description import CURSOR, Answer, Created, Parameter, describe
from api.v1.base.errors import Problem, not_found
from api.v1.base.field_types import DAY, FLAG, NAME, SLUG, STRING, UUID, WHOLE, as_it_came, list_of, word
from api.v1.base.pages import Pages, PageSerializer
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.views import View
from syllabus.engine.audit.instructing import MOST_RATINGS
from syllabus.engine.record import reading
from syllabus.engine.record.json_schema import obj, or_null
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.record import FLIGHT_INSTRUCTOR
from syllabus.engine.record.shapes import Type
from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES, INSTRUCTORS
from training.models import Role, School, Student
from training.services import access
from training.services.people import account_links as links
from training.services.people import invitations, people
from training.services.people.people import PeopleError

_NUMBER = re.compile(r"[0-9]{1,18}", re.ASCII)
_ADMINISTRATORS = "Only administrators of a school may list and change its people."


CERTIFICATE = Type(
    reading.text, {"type": "string", "maxLength": 40, "description": "The certificate number."}
)
INSTRUCTOR_KIND = Type(reading.text, word(INSTRUCTORS).schema)
RATING = Type(
    as_it_came,
    obj(
        {
            "category": word(CATEGORIES).schema,
            "class": or_null(
                {**NAME.schema, "maxLength": 60, "description": f"One of {', '.join(CLASSES)}."}
            ),
            "instrument": or_null(FLAG.schema),
        },
        ["category"],
    ),
    component="Rating",
)


def _ratings(errors: Errors, value: Any, place: str) -> list[Any] | None:
    """Ratings as sent; the service checks them."""
    if not isinstance(value, list):
        errors.expected("a list of ratings", value, place)
        return None
    return value


RATINGS = replace(list_of(RATING, MOST_RATINGS), read=_ratings)
RATINGS_SAY = "The aircraft in which the person may give flight training; null: not recorded; []: "
"none."


class PersonSerializer(ResponseSerializer):
    """A person's role at a school."""

    id = Field(WHOLE, "The id of the role; a person with two roles is listed twice.")
    school = Field(STRING, source="school.slug")
    role = Field(word(Role.Kind.values, "role"), "The person's role at the school.")
    name = Field(STRING, source="user")
    email = Field(STRING, source="user.email")
    account_open = Field(FLAG, "Whether the person can sign in.", source="user.is_active")
    student = Field(UUID, "A student's reference.", allow_null=True)
    certificate = Field(STRING)
    instructor_kind = Field(
        INSTRUCTOR_KIND,
        "Only for instructors.",
        of=lambda role: role.instructor_kind if role.role == Role.Kind.INSTRUCTOR else None,
        allow_null=True,
    )
    recent_experience_until = Field(DAY, allow_null=True)
    ratings = Field(RATINGS, RATINGS_SAY, allow_null=True)


class PersonPageSerializer(PageSerializer):
    people = PersonSerializer(many=True)


class PersonToChangeSerializer(RequestSerializer):
    error = PeopleError

    certificate = Field(CERTIFICATE, default="")
    instructor_kind = Field(
        INSTRUCTOR_KIND,
        "The kind of instructor (default: flight).",
        default=FLIGHT_INSTRUCTOR,
    )
    recent_experience_until = Field(DAY, "Last day of recent experience.", required=False)
    ratings = Field(RATINGS, RATINGS_SAY, required=False)


class PersonToAddSerializer(PersonToChangeSerializer):
    """`id`, `birth_date` and `training_model` are for students; `certificate`, `instructor_kind`,
    `recent_experience_until` and `ratings` for instructors. For other roles they are unknown keys.
    """

    school = Field(NAME, "The school's short name.")
    role = Field(word(Role.Kind.values, "role"), "The person's role at the school.")
    name = Field(NAME)
    email = Field(Type(reading.text, {"type": "string", "maxLength": 254}), default="")
    id = Field(UUID, "The student's reference, chosen by the caller.", required=False)
    birth_date = Field(DAY, "A student's.", required=False)
    training_model = Field(
        Type(reading.text, {"type": "string", "maxLength": 60}), "A student's.", default=""
    )

    def read(self, errors: Errors, value: Any, place: str) -> dict[str, Any] | None:
        kind = value.get("role") if isinstance(value, Mapping) else None
        for role, keys in OF_ROLE.items():
            for key in keys if role != kind else ():
                del self.fields[key]
        if kind == Role.Kind.STUDENT:
            self.fields["id"].required = True
        return super().read(errors, value, place)


#: Keys for one role only.
OF_ROLE = {
    Role.Kind.STUDENT: ("id", "birth_date", "training_model"),
    Role.Kind.INSTRUCTOR: ("certificate", "instructor_kind", "recent_experience_until", "ratings"),
}


class PersonAddedSerializer(ResponseSerializer):
    person = PersonSerializer(
        allow_null=True, help_text="null for a student without an account, and for who is only invited."
    )
    student = Field(UUID, allow_null=True)
    invitation = Field(WHOLE, "The id of the invitation that waits for its answer.", allow_null=True)
    mail = Field(STRING, "What was done about the e-mail; null if none is needed.", allow_null=True)


class PersonLinkSerializer(ResponseSerializer):
    mail = Field(STRING)


class PeoplePages(Pages):
    """A hundred roles a page, the oldest first."""

    page_size = 100
    ordering = "id"

    def position(self, text: str) -> None:
        if not _NUMBER.fullmatch(text):
            raise ValueError(text)


class PeopleView(View):
    def school(self, slug: str) -> School:
        """A school that the caller administers. Raises: Problem (403)."""
        found = access.schools(self.user).filter(slug=slug).first()
        if found is None:
            raise Problem(HTTPStatus.FORBIDDEN, f"You do not administer a school named {slug!r}.")
        return found

    def role(self, pk: int) -> Role:
        """A role at a school that the caller administers. Raises: Problem (404)."""
        found = Role.objects.filter(pk=pk, school__in=access.schools(self.user))
        role = found.select_related("school", "user").first()
        if role is None:
            raise not_found("role of that id")
        return role

    def shown(self, pk: int) -> Role:
        return _with_students([self.role(pk)])[0]


class People(PeopleView):
    query = (Parameter.asked("school", "A school's short name.", SLUG), CURSOR)

    @describe(
        "listPeople",
        "List the people of your schools",
        Answer(PersonPageSerializer, "A page"),
        words={"page_size": PeoplePages.page_size},
        refuses=(403, 404),
    )
    def get(self) -> Any:
        """For administrators: every role at the schools that the caller administers, or at the one that
        `school` names, in pages of %(page_size)s; follow `next`. Students without an account have no role;
        they are among the students.
        """
        mine = access.schools(self.user)
        if self.asked["school"] is not None:
            mine = mine.filter(slug=self.asked["school"])
        if not mine.exists():
            raise Problem(HTTPStatus.FORBIDDEN, _ADMINISTRATORS)
        roles = Role.objects.filter(school__in=mine).select_related("school", "user")
        page = PeoplePages(roles, self.request)
        return {**page.links, "people": _with_students(page.rows)}

    @describe(
        "addPerson",
        "Add a person to a school",
        Answer(PersonAddedSerializer, "The person already has this role"),
        Answer(PersonAddedSerializer, "The person was added", status=201),
        body=PersonToAddSerializer,
        refuses=(403, 409),
    )
    def post(self) -> Any:
        """For administrators of the school. An instructor or administrator needs an e-mail address. A student
        may be added without one, then has no account, and needs `id`, which becomes the student's reference.
        Whoever has no role at the school yet gets an invitation by e-mail, and the role when it is accepted;
        the answer is the same whether or not the address has an account. Sending the same again returns the
        existing role or invitation (200) and sends no e-mail.
        """
        sent = self.sent()
        school, kind, name, email = (sent.pop(key) for key in ("school", "role", "name", "email"))
        if kind == Role.Kind.STUDENT:
            sent["ref"] = sent.pop("id")
        elif kind == Role.Kind.INSTRUCTOR:
            sent = {"held": sent}
        at_school = self.school(school)
        made = people.add(
            at_school, kind=kind, name=name, email=email, by=self.user, at=self.at, again=True, **sent
        )
        send = made.invitation if made.created else None
        mail = invitations.send(self.request._request, send) if send else None
        role = Role.objects.filter(school=at_school, user=made.user, role=kind).select_related(
            "school", "user"
        )
        [shown] = _with_students(role) if made.user else [None]
        added = {
            "person": shown,
            "student": made.student.ref if made.student else None,
            "invitation": made.invitation.pk if made.invitation else None,
            "mail": mail,
        }
        return Created(added) if made.created else added


class PersonDetail(PeopleView):
    @describe("readPerson", "Read one role", Answer(PersonSerializer, "The role with its person"))
    def get(self, role: int) -> Any:
        """For administrators of its school."""
        return self.shown(role)

    @describe(
        "changePerson",
        "Change an instructor's certificate and ratings",
        Answer(PersonSerializer, "The role as it is now"),
        body=PersonToChangeSerializer,
        refuses=(403, 409),
    )
    def put(self, role: int) -> Any:
        """Certificate number, last day of recent experience and ratings, all at once; a missing key is no
        longer recorded. Who changed what is recorded.
        """
        found = self.role(role)
        held = self.sent()
        people.change(found, held, by=self.user, at=self.at)
        return self.shown(role)


class PersonEnd(PeopleView):
    @describe(
        "endPerson", "End a role", Answer(None, "It has ended", status=204), refuses=(403, 409, 411, 413, 415)
    )
    def post(self, role: int) -> Any:
        """The access ends now. An instructor's assignments end too; signed entries stay signed. The last
        administrator of a school cannot be ended (409). Sending it again gives the same answer.
        """
        try:
            found = self.role(role)
        except Problem:
            if people.was_ended(role, self.user):
                return None
            raise
        people.end(found, by=self.user, at=self.at)
        return None


class PersonLink(PeopleView):
    @describe(
        "sendPersonLink",
        "Send the link to set a password",
        Answer(PersonLinkSerializer, "In progress"),
        refuses=(409, 411, 413, 415, 429),
    )
    def post(self, role: int) -> Any:
        """Sent to the e-mail of the account. Limited to a few a minute (429)."""
        found = self.role(role)
        if not found.user.is_active:
            raise Problem(HTTPStatus.CONFLICT, f"The account of {found.user.email} is closed.")
        done = links.queue(self.request._request, found.user.email, found.school)
        if not done.queued:
            raise Problem(HTTPStatus.TOO_MANY_REQUESTS, done.words, headers={"Retry-After": "60"})
        return {"mail": done.words}


def _with_students(roles: Iterable[Role]) -> list[Role]:
    """Roles, each student's with the student's reference. One query more."""
    roles = list(roles)
    learns = {each.user_id for each in roles if each.role == Role.Kind.STUDENT}
    of_school = {each.school_id for each in roles}
    students = Student.objects.filter(user__in=learns, school__in=of_school)
    refs = {(school, user): ref for school, user, ref in students.values_list("school", "user", "ref")}
    for each in roles:
        is_student = each.role == Role.Kind.STUDENT
        each.student = refs.get((each.school_id, each.user_id)) if is_student else None  # type: ignore[attr-defined]
    return roles
