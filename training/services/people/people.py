"""The people of a school: roles and assignments. Only its administrators change them.

Each change is recorded (``PeopleChange``). Nobody sets another person's password, and nobody gets a role by
an address alone: the owner of the address accepts an invitation.
"""

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from syllabus.engine.audit.instructing import RatingsError, read_ratings
from syllabus.engine.errors import InputError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.vocabulary import INSTRUCTORS
from training.models import (
    Assignment,
    Enrolment,
    Guardian,
    Invitation,
    PeopleChange,
    Role,
    School,
    Student,
    User,
)
from training.models.school.invitations import GUARDIAN
from training.services import access, row_scope
from training.services.errors import Conflict
from training.services.people import sign_ins

HELD = ("certificate", "instructor_kind", "recent_experience_until", "ratings")
MOST_NAME, MOST_CERTIFICATE, MOST_MODEL = 200, 40, 60
#: How long an invitation can be accepted.
INVITED_FOR = dt.timedelta(days=14)
#: The changes that are events of somebody's sign-in too: what they may open.
_OF_ROLES = (
    *(
        f"{kind} {how}"
        for kind in (*Role.Kind.values, GUARDIAN)
        for how in ("added", "invited", "accepted", "withdrawn", "ended")
    ),
    "guardian's account given",
    "guardian's account taken",
)


class PeopleError(InputError):
    """Invalid details of a person."""

    what = "the person"


@dataclass(frozen=True, slots=True)
class Added:
    """The person, or the invitation that waits for its answer; the student.

    ``created`` is false if the role existed.
    """

    user: User | None
    invitation: Invitation | None = None
    student: Student | None = None
    created: bool = True


def roles_of(school: School) -> QuerySet[Role]:
    """Every role at a school with its user. One query."""
    return Role.objects.filter(school=school).select_related("user").order_by("user__name", "user_id", "role")


@transaction.atomic
def add(
    school: School,
    *,
    kind: str,
    name: str,
    email: str,
    by: User,
    at: dt.datetime,
    held: Mapping[str, Any] | None = None,
    birth_date: dt.date | None = None,
    training_model: str = "",
    ref: uuid.UUID | None = None,
    again: bool = False,
) -> Added:
    """Give somebody of the school a role, or invite the owner of any other address to it.

    It makes no difference whether an account has that address, so that nobody learns it. A student gets a
    record and is enrolled from today; without an address there is no account, because a child may be taught
    before having one. An existing account keeps its own name. ``ref`` is the new student's reference, if the
    caller chose it. With ``again``, an existing role is returned.

    Raises: NotAllowed; PeopleError with every error; Conflict if the role was given or offered already.
    """
    access.locked_school(by, "change people", school.slug)
    is_student = kind == Role.Kind.STUDENT
    errors = Errors()
    if kind not in Role.Kind.values:
        errors.add("role", f"{kind!r} is not a role; use one of {', '.join(Role.Kind.values)}")
    name = _text(errors, "name", name, MOST_NAME, needed=True)
    email = _email(errors, email, needed=not is_student)
    model = _text(errors, "training_model", training_model, MOST_MODEL)
    if birth_date is not None and birth_date > school.day(at):
        errors.add("birth_date", f"{birth_date} is in the future")
    kept = _held(errors, held or {}) if kind == Role.Kind.INSTRUCTOR else {}
    errors.stop(PeopleError)
    said = {"name": name, "birth_date": birth_date, "training_model": model}
    if again and (there := _already(school, kind, email, ref, kept, said)) is not None:
        return there
    user = known(school, email)
    if user is not None:
        _give_role(school, user, kind, kept)
    invited = None
    if email and user is None:
        check_not_invited(school, email, kind)
    student = _student(school, user, at, {**said, **({"ref": ref} if ref else {})}) if is_student else None
    if user is not None or student is not None:
        after = _plain(kept) or {"name": name}
        note(school, by, f"{kind} added", at, user=user, student=student, after=after)
    if email and user is None:
        invited = invite(school, kind, name, email, by=by, at=at, student=student, held=_plain(kept))
    return Added(user, invited, student)


def known(school: School, email: str) -> User | None:
    """The account of an address if it has to do with this school: its administrators know of that one."""
    here = (
        Q(Exists(Role.objects.filter(school=school, user=OuterRef("pk"))))
        | Q(Exists(Student.objects.filter(school=school, user=OuterRef("pk"))))
        | Q(Exists(Guardian.objects.filter(school=school, user=OuterRef("pk"))))
    )
    return User.objects.filter(here, email=email).first()


def check_not_invited(school: School, email: str, kind: str, **about: Any) -> None:
    """Raises: Conflict if the address is invited to that role already."""
    if Invitation.objects.filter(school=school, email=email, role=kind, **about).exists():
        raise Conflict(
            f"{email} is already invited as {_a(kind)}. Send that invitation again, or withdraw it."
        )


def invite(
    school: School, kind: str, name: str, email: str, *, by: User, at: dt.datetime, **more: Any
) -> Invitation:
    """Offer a role, or a guardian's access, to the owner of an address. The caller sends the e-mail."""
    said = {"role": kind, "name": name, "email": email, "by": by, "at": at, "expires": at + INVITED_FOR}
    made = Invitation.objects.create(school=school, **said, **more)
    named = {"name": name, "email": email}
    note(school, by, f"{kind} invited", at, student=more.get("student"), after=named)
    return made


def _give_role(school: School, user: User, kind: str, held: Mapping[str, Any]) -> None:
    """Raises: Conflict if the account is closed, or has the role already."""
    if not user.is_active:
        raise Conflict(f"The account of {user.email} is closed. Ask the server's operator to open it again.")
    if Role.objects.filter(school=school, user=user, role=kind).exists():
        raise Conflict(f"{user} is already {_a(kind)} at {school.name}. Change that role instead.")
    Role.objects.create(school=school, user=user, role=kind, **held)


def _student(school: School, user: User | None, at: dt.datetime, said: Mapping[str, Any]) -> Student:
    """The record of an account, which a role given again takes up; else a new one."""
    if user is not None and (there := Student.objects.filter(school=school, user=user).first()) is not None:
        return there
    student = Student.objects.create(school=school, user=user, recorded_at=at, **said)
    Enrolment.objects.create(school=school, student=student, starts=school.day(at))
    return student


def _already(
    school: School,
    kind: str,
    email: str,
    ref: uuid.UUID | None,
    kept: Mapping[str, Any],
    said: Mapping[str, Any],
) -> Added | None:
    """What was added before, if exactly the same is sent again. Raises: Conflict otherwise."""
    if kind == Role.Kind.STUDENT and ref is not None:
        with row_scope.every_school():
            student = Student.objects.filter(ref=ref).select_related("user").first()
        if student is None:
            return None
        invited = Invitation.objects.filter(student=student, role=kind).first()
        whose = student.user or invited
        held = whose.email if whose else ""
        same = all(getattr(student, key) == value for key, value in said.items())
        if student.school_id != school.pk or held != email or not same:
            raise Conflict("Another student has this id. Send your own with a new UUID.")
        return Added(student.user, invited, student, created=False)
    roles = Role.objects.filter(school=school, user__email=email, role=kind, user__is_active=True)
    role = roles.select_related("user").first()
    if role is not None and all(getattr(role, key) == value for key, value in kept.items()):
        return Added(role.user, created=False)
    offered = Invitation.objects.filter(school=school, email=email, role=kind, name=said["name"])
    invited = offered.filter(held=_plain(kept)).first() if kind != Role.Kind.STUDENT else None
    return Added(None, invited, created=False) if invited else None


@transaction.atomic
def change(role: Role, held: Mapping[str, Any], *, by: User, at: dt.datetime) -> Role:
    """Change what an instructor's role holds: certificate, its kind, recent experience, ratings.

    Raises: NotAllowed; PeopleError.
    """
    access.locked_school(by, "change people", role.school.slug)
    found = (
        Role.objects.select_for_update(of=("self",), no_key=True)
        .select_related("user", "school")
        .get(pk=role.pk)
    )
    errors = Errors()
    if found.role != Role.Kind.INSTRUCTOR:
        errors.add("role", "only an instructor's role holds a certificate, recent experience and ratings")
    kept = _held(errors, held)
    errors.stop(PeopleError)
    before = {key: getattr(found, key) for key in kept}
    if kept == before:
        return found
    for key, value in kept.items():
        setattr(found, key, value)
    found.save(update_fields=list(kept))
    note(
        found.school, by, "instructor changed", at, user=found.user, before=_plain(before), after=_plain(kept)
    )
    return found


@transaction.atomic
def end(role: Role, *, by: User, at: dt.datetime) -> None:
    """End a role. An instructor's assignments end with it; no record changes.

    Raises: NotAllowed; Conflict for the last administrator, without whom nobody could add another.
    """
    school = access.locked_school(by, "change people", role.school.slug)
    found = Role.objects.select_for_update(of=("self",), no_key=True).select_related("user").get(pk=role.pk)
    if found.role == Role.Kind.ADMINISTRATOR:
        others = Role.objects.filter(school=school, role=found.role, user__is_active=True)
        if not others.exclude(pk=found.pk).exists():
            raise Conflict(
                f"{found.user} is the last administrator of {school.name}; add another one before."
            )
    if found.role == Role.Kind.INSTRUCTOR:
        running = Assignment.objects.filter(_unended(school.day(at)), school=school, instructor=found.user)
        for each in running.select_related("student", "instructor"):
            _end(each, by, at)
    held = {"id": found.pk, **{key: getattr(found, key) for key in HELD}}
    note(school, by, f"{found.role} ended", at, user=found.user, before=_plain(held))
    found.delete()


def was_ended(role: int, by: User) -> bool:
    """Whether there was a role of that key at a school that a user administers, and it ended."""
    ended = PeopleChange.objects.filter(what__endswith=" ended", before__id=role)
    return ended.filter(school__in=access.schools(by)).exists()


@transaction.atomic
def assign(student: Student, instructor: User, *, starts: dt.date, by: User, at: dt.datetime) -> Assignment:
    """Assign an instructor of the school to a student from a day on, with access to the record.

    Raises: NotAllowed; PeopleError if the user is not an instructor there; Conflict if already assigned.
    """
    school = access.locked_school(by, "change people", student.school.slug)
    if not Role.objects.filter(school=school, user=instructor, role=Role.Kind.INSTRUCTOR).exists():
        raise PeopleError.at("instructor", f"{instructor} is not an instructor at {school.name}")
    there = Assignment.objects.filter(_unended(starts), student=student, instructor=instructor)
    if there.exists():
        raise Conflict(f"{instructor} teaches {student} already.")
    made = Assignment.objects.create(school=school, student=student, instructor=instructor, starts=starts)
    said = {"starts": starts.isoformat()}
    note(school, by, "assignment added", at, user=instructor, student=student, after=said)
    return made


@transaction.atomic
def end_assignment(assignment: Assignment, *, by: User, at: dt.datetime) -> Assignment:
    """End an assignment yesterday, so that the instructor loses access now.

    One that began today is deleted, because it had no day. Raises: NotAllowed.
    """
    access.locked_school(by, "change people", assignment.school.slug)
    found = Assignment.objects.select_for_update(of=("self",), no_key=True).select_related(
        "student", "instructor", "school"
    )
    return _end(found.get(pk=assignment.pk), by, at)


def _unended(on: dt.date) -> Q:
    return Q(ends__isnull=True) | Q(ends__gte=on)


def _end(assignment: Assignment, by: User, at: dt.datetime) -> Assignment:
    yesterday = min(assignment.school.day(at), at.date()) - dt.timedelta(days=1)
    before = {
        "starts": assignment.starts.isoformat(),
        "ends": assignment.ends.isoformat() if assignment.ends else None,
    }
    who = {"user": assignment.instructor, "student": assignment.student}
    if assignment.ends is not None and assignment.ends <= yesterday:
        return assignment
    if assignment.starts > yesterday:
        note(assignment.school, by, "assignment taken back", at, before=before, **who)
        assignment.delete()
        return assignment
    assignment.ends = yesterday
    assignment.save(update_fields=["ends"])
    after = {"ends": yesterday.isoformat()}
    note(assignment.school, by, "assignment ended", at, before=before, after=after, **who)
    return assignment


def _held(errors: Errors, sent: Mapping[str, Any]) -> dict[str, Any]:
    """What an instructor's role holds, as far as it was sent."""
    kept: dict[str, Any] = {}
    if "certificate" in sent:
        kept["certificate"] = _text(errors, "certificate", sent["certificate"], MOST_CERTIFICATE)
    if "instructor_kind" in sent:
        kinds = reading.one_of(INSTRUCTORS, "kind of instructor")
        kept["instructor_kind"] = kinds(errors, sent["instructor_kind"], "instructor_kind")
    if "recent_experience_until" in sent:
        kept["recent_experience_until"] = sent["recent_experience_until"]
    if "ratings" in sent:
        kept["ratings"] = sent["ratings"]
        if sent["ratings"] is not None:
            try:
                read_ratings(sent["ratings"])
            except RatingsError as problem:
                errors.extend(problem.errors)
    return kept


def _text(errors: Errors, place: str, value: object, most: int, *, needed: bool = False) -> str:
    found = (reading.text(errors, value, place) or "").strip()
    if needed and not found and not any(each.place == place for each in errors):
        errors.add(place, "is blank; enter the name to show")
    if len(found) > most:
        errors.add(place, f"{len(found)} characters; at most {most} are allowed here")
    return found


def _email(errors: Errors, value: str, *, needed: bool) -> str:
    found = (reading.text(errors, value, "email") or "").strip().lower()
    if not found:
        if needed:
            errors.add("email", "is blank; people sign in with their e-mail address")
        return ""
    try:
        validate_email(found)
    except ValidationError:
        errors.add("email", f"{found[:60]!r} is not an e-mail address, such as ida@school.example")
    return found


def address(value: str) -> str:
    """An e-mail address in lower case. Raises: PeopleError."""
    errors = Errors()
    found = _email(errors, value, needed=True)
    errors.stop(PeopleError)
    return found


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'ai' else 'a'} {kind}"


def _plain(held: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value.isoformat() if isinstance(value, dt.date) else value for key, value in held.items()}


def note(school: School, by: User | None, what: str, at: dt.datetime, **more: Any) -> None:
    """Record who changed what about people (``PeopleChange``)."""
    PeopleChange.objects.create(school=school, by=by, what=what, at=at, **more)
    if what.endswith(_OF_ROLES):
        sign_ins.record(sign_ins.What.ROLE, more.get("user") or by, about=what, school=school)
