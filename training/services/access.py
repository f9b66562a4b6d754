"""Who may read and write which record, and the access log.

The rules are here only, as conditions on students: a list and a single look-up use the same condition, so
that they cannot disagree. ``MAY`` says which relations to a student allow which action, ``HELD`` which roles
allow something at a school; without these a user may do nothing, a superuser included. ``TAKES`` says which
permission each action of a service needs, and every service calls ``require``.
"""

import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache, reduce
from operator import or_
from typing import Any, TypedDict

from django.db import DEFAULT_DB_ALIAS
from django.db.models import (
    BigIntegerField,
    BooleanField,
    DateField,
    Exists,
    ExpressionWrapper,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    UUIDField,
)
from django.db.models.functions import ExtractDay, ExtractMonth, ExtractYear

from training.models import AccessLog, Assignment, Guardian, Role, School, Student, User
from training.services.errors import NotAllowed, NotFound, find
from training.sql import Place, Statement, insert

READ, WRITE = AccessLog.Action.READ, AccessLog.Action.WRITE
#: To make a request, which only the student does.
ASK = "ask"
#: To ask for a solo release, or to end one.
PLAN = "plan"
#: Any user, signed in or not.
Anyone = Any
STUDENT = "student of that reference"


def _oneself(user: int, on: dt.date) -> Q:
    return Q(user_id=user)


def _holds(user: int, kind: str) -> Exists:
    return Exists(Role.objects.filter(user_id=user, role=kind, school=OuterRef("school")))


def _instructs(user: int, on: dt.date) -> Q:
    assigned = Assignment.objects.filter(Assignment.in_force(on), instructor_id=user, student=OuterRef("pk"))
    return Q(Exists(assigned)) & Q(_holds(user, Role.Kind.INSTRUCTOR))


def _administers(user: int, on: dt.date) -> Q:
    return Q(_holds(user, Role.Kind.ADMINISTRATOR))


def _guards(user: int, on: dt.date) -> Q:
    """A guardian with an account, while the consent is in force and the student is known to be a minor.

    The student is of age on the birthday; for one born on 29 February that is 1 March of a common year, as in
    ``calendar.age``.
    """
    consented = Guardian.objects.filter(
        Q(consent_until__isnull=True) | Q(consent_until__gte=on),
        user_id=user,
        school=OuterRef("school"),
        student=OuterRef("pk"),
        consent_on__lte=on,
    ).annotate(
        turns=ExtractYear("student__birth_date") + F("student__school__of_age_at"),
        month=ExtractMonth("student__birth_date"),
        day=ExtractDay("student__birth_date"),
    )
    later = Q(month__gt=on.month) | Q(month=on.month, day__gt=on.day)
    return Q(Exists(consented.filter(Q(turns__gt=on.year) | (Q(turns=on.year) & later))))


#: The possible relations of a user (by primary key) to a student on a day, as conditions on students.
RELATIONS: Mapping[str, Callable[[int, dt.date], Q]] = {
    "oneself": _oneself,
    "instructs": _instructs,
    "administers": _administers,
    "guards": _guards,
}
#: The relations that allow each action.
MAY: Mapping[str, tuple[str, ...]] = {
    READ: ("oneself", "instructs", "administers", "guards"),
    WRITE: ("instructs", "administers"),
    ASK: ("oneself",),
    PLAN: ("oneself", "instructs"),
}
#: Actions at a school that are not about one record.
ADMINISTER, INSTRUCT, STAFF = "administer", "instruct", "staff"
#: The roles at the school that allow it.
HELD: Mapping[str, tuple[str, ...]] = {
    ADMINISTER: (Role.Kind.ADMINISTRATOR,),
    INSTRUCT: (Role.Kind.INSTRUCTOR,),
    STAFF: (Role.Kind.ADMINISTRATOR, Role.Kind.INSTRUCTOR),
}
_NOT_YOURS = "You do not administer a school named {at!r}."
#: The permission that each action of a service needs, and the message for anyone without it.
TAKES: Mapping[str, tuple[str, str]] = {
    "read a record": (READ, "{user} may not read this student's record."),
    "write a record": (WRITE, "{user} may not write this student's record."),
    "make a request": (ASK, "Only the student may make or withdraw a request."),
    "answer a request": (WRITE, "Only the student's instructors and administrators may answer a request."),
    "ask for a release": (PLAN, "Only the student and the student's instructors may ask for a solo release."),
    "enroll": (
        WRITE,
        "Only the student's instructors and the school's administrators may change enrollments.",
    ),
    "add a student": (STAFF, "{user} is neither an instructor nor an administrator at {at.name}."),
    "import flights": (ADMINISTER, "Only administrators of the student's school may import flights."),
    "erase a record": (ADMINISTER, "{user} does not administer the student's school."),
    "take over a record": (ADMINISTER, "{user} does not administer {at.name}."),
    "change people": (ADMINISTER, "Only administrators of the school may change its people."),
    "audit": (ADMINISTER, "Only administrators of the school may see its audit."),
    "keep aircraft": (ADMINISTER, _NOT_YOURS),
    "ground aircraft": (
        STAFF,
        "You are neither an instructor nor an administrator at a school named {at!r}.",
    ),
    "set minimums": (ADMINISTER, _NOT_YOURS),
    "change settings": (ADMINISTER, _NOT_YOURS),
}


class Acting(TypedDict):
    """A user, a time and a channel, as services take them."""

    by: User
    at: dt.datetime
    via: str


def require(by: User | None, what: str, at: School | Student | str, *, on: dt.date | None = None) -> None:
    """Require that a user may do this at a school (or its short name), or with a student's record on a day.

    ``by`` is None for the server's command line, which may. One query. Raises: NotAllowed.
    """
    takes, otherwise = TAKES[what]
    if by is not None and not _allowed(by, takes, at, on):
        raise NotAllowed(otherwise.format(user=by.email, at=at))


def _allowed(by: User, takes: str, at: School | Student | str, on: dt.date | None) -> bool:
    if takes not in HELD:
        assert isinstance(at, Student)
        assert on is not None
        return may(by, takes, at, on=on)
    if isinstance(at, Student):
        return schools(by, takes).filter(pk=at.school_id).exists()
    return schools(by, takes).filter(slug=at if isinstance(at, str) else at.slug).exists()


def locked_school(by: User, what: str, slug: str) -> School:
    """The school, locked, so that two such changes run one after the other. Raises: NotAllowed."""
    require(by, what, slug)
    return School.objects.select_for_update(no_key=True).get(slug=slug)


def locked_student(pk: int) -> Student:
    """The student with the school; locking the student's row locks the whole record."""
    rows = Student.objects.select_for_update(of=("self",), no_key=True)
    return rows.select_related("school").get(pk=pk)


def schools(user: Anyone, takes: str = ADMINISTER) -> QuerySet[School]:
    """The schools where a user may do this; none if the user is not signed in or the account is closed."""
    if not (user and user.is_authenticated and user.is_active):
        return School.objects.none()
    held = Role.objects.filter(user=user, role__in=HELD[takes], school=OuterRef("pk"))
    return School.objects.filter(Exists(held))


def roles(user: Anyone) -> frozenset[str]:
    """The kinds of role that a user has at any school. One query for each request's user, or none."""
    if not (user and user.is_authenticated and user.is_active):
        return frozenset()
    if user.kinds_of_role is None:
        user.kinds_of_role = frozenset(Role.objects.filter(user=user).values_list("role", flat=True))
    found: frozenset[str] = user.kinds_of_role
    return found


def holding(user: int, kind: str) -> Exists:
    """Whether a user has a role at any school: an annotation for a query that a page makes anyway."""
    return Exists(Role.objects.filter(user_id=user, role=kind))


def visible_students(user: Anyone, action: str = READ, *, on: dt.date) -> QuerySet[Student]:
    """The students whose record a user may read, or write.

    ``on`` is the day that decides which assignments are in force.
    """
    if not (user and user.is_authenticated and user.is_active):
        return Student.objects.none()
    return _condition(user.pk, action, on).all()


@lru_cache(maxsize=1 << 10)
def _condition(user: int, action: str, on: dt.date) -> QuerySet[Student]:
    """The compiled condition, never an answer; compiling costs as much as the query."""
    found = Student.objects.filter(reduce(or_, (RELATIONS[each](user, on) for each in MAY[action])))
    # Nothing is written to an erased record: its erasure in the ledger would allow deleting that as well.
    return found.filter(erased_at__isnull=True) if action != READ else found


def may(user: Anyone, action: str, student: Student, *, on: dt.date) -> bool:
    """Whether a user may read, or write, one student's record. One query."""
    return visible_students(user, action, on=on).filter(pk=student.pk).exists()


def guards(user: Anyone, student: Student, *, on: dt.date) -> bool:
    """Whether a user reads a student's record as a guardian, among other relations. One query."""
    return Student.objects.filter(_guards(user.pk, on), pk=student.pk).exists()


def log(user: User | None, student: Student, action: str, what: str, *, via: str, at: dt.datetime) -> None:
    """Log that a user read or wrote a student's record. One INSERT.

    ``user`` is None for the server's command line.
    """
    log_each(user, {student.pk: student.school_id}, action, what, via=via, at=at)


def log_each(
    user: User | None, students: Mapping[int, int], action: str, what: str, *, via: str, at: dt.datetime
) -> None:
    """The same for several students: each school's primary key by the student's. One INSERT."""
    insert(
        [
            AccessLog(
                school_id=school,
                student_id=student,
                user=user,
                action=action,
                what=what[:100],
                via=via,
                at=at,
            )
            for student, school in students.items()
        ]
    )


def schools_of(students: Iterable[Student]) -> dict[int, int]:
    """Students as ``log_each`` takes them, once each."""
    return {each.pk: each.school_id for each in students}


@dataclass(frozen=True, slots=True)
class Opened:
    """A student's record, opened by a user who may read it; ``relations`` are all of the user's to the
    student.
    """

    student: Student
    relations: frozenset[str]

    def may(self, action: str) -> bool:
        """As ``may``, from the relations read when the record was opened."""
        if action != READ and self.student.erased_at is not None:
            return False
        return not self.relations.isdisjoint(MAY[action])

    @property
    def as_guardian(self) -> bool:
        """Whether the user reads as a guardian, and not their own record."""
        return "guards" in self.relations and "oneself" not in self.relations


def opened(
    user: Anyone, ref: uuid.UUID, action: str = READ, *, what: str, via: str, at: dt.datetime
) -> Opened:
    """The student of that reference with the school, for a user with access; logs the access.

    For services that do not log by themselves, unlike ``records.import_document`` and ``export_document``.

    Queries: 2.
    Raises: NotFound, whether there is no such student or the user must not know of one.
    """
    if not (user and user.is_authenticated and user.is_active):
        raise NotFound(STUDENT)
    on = at.date()
    rows = _OPENED.rows(ref=ref, user=user.pk, on=on, year=on.year, month=on.month, day=on.day)
    if not rows:
        raise NotFound(STUDENT)
    [row] = rows
    own, schools = len(_COLUMNS[Student]), len(_COLUMNS[School])
    found = Student.from_db(DEFAULT_DB_ALIAS, _COLUMNS[Student], row[:own])
    found.school = School.from_db(DEFAULT_DB_ALIAS, _COLUMNS[School], row[own : own + schools])
    asked = zip((*RELATIONS, *Role.Kind), row[own + schools :], strict=True)
    held = frozenset(each for each, holds in asked if holds)
    user.kinds_of_role = held.intersection(Role.Kind)
    it = Opened(found, held.intersection(RELATIONS))
    if not it.may(action):
        raise NotFound(STUDENT)
    log(user, found, action, what, via=via, at=at)
    return it


def student(user: Anyone, ref: uuid.UUID, *, on: dt.date) -> Student:
    """The student of that reference with the school; the caller logs the access. Raises: NotFound."""
    return find(visible_students(user, on=on).select_related("school"), STUDENT, ref=ref)


def open_record(
    user: Anyone, ref: uuid.UUID, action: str = READ, *, what: str, via: str, at: dt.datetime
) -> Student:
    """Only the student; else as ``opened``."""
    return opened(user, ref, action, what=what, via=via, at=at).student


class _Day(Place):
    """A day with its parts, by the names of ``date``."""

    year, month, day = (Place(part, IntegerField()) for part in ("year", "month", "day"))


def _of_a_reader() -> QuerySet[Any, tuple[Any, ...]]:
    """A student with the school, the user's relations, by the same conditions, and kinds of role."""
    user: Any = Place("user", BigIntegerField())
    on: Any = _Day("on", DateField())
    relations = {
        f"is_{name}": ExpressionWrapper(relation(user, on), output_field=BooleanField())
        for name, relation in RELATIONS.items()
    }
    relations |= {
        f"has_{kind}": ExpressionWrapper(Q(holding(user, kind)), output_field=BooleanField())
        for kind in Role.Kind
    }
    columns = (*_COLUMNS[Student], *(f"school__{each}" for each in _COLUMNS[School]))
    found = Student.objects.filter(ref=Place("ref", UUIDField())).order_by()
    return found.annotate(**relations).values_list(*columns, *relations)


_COLUMNS = {model: [each.attname for each in model._meta.concrete_fields] for model in (Student, School)}
# Every page and call opens a record, and compiling the query costs more than running it.
_OPENED = Statement(_of_a_reader)
