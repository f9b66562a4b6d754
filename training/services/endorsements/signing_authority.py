"""Whether someone may sign as an instructor on a day, and what to check before they do."""

import contextlib
import dataclasses
import datetime as dt
import uuid
from collections.abc import Iterator
from contextvars import ContextVar
from dataclasses import dataclass

from django.db.models import BigIntegerField, QuerySet

from syllabus.engine.audit.instructing import covered
from syllabus.engine.errors import Error
from syllabus.engine.record import record as engine
from training.models import Aircraft, Role, Student, User
from training.presenters import amounts
from training.reports import instructing as given
from training.sql import Place, Statement


@dataclass(frozen=True, slots=True)
class Refusal:
    """What a rule forbids: the field, a message that says what to do, and the citation."""

    place: str
    message: str
    citation: str

    def error(self, within: str = "") -> Error:
        return Error(within + self.place, f"{self.message} ({self.citation})")

    def as_json(self) -> dict[str, str]:
        return dataclasses.asdict(self)


#: An instructor who gives no flight training (14 CFR 61.215).
_GROUND = "ground"


def signature(by: User, student: Student) -> engine.Instructor | None:
    """The name, certificate and kind with which ``by`` signs at the student's school; None without a
    certificate.
    """
    role = _role(by, student)
    if not role or not role.certificate:
        return None
    return engine.Instructor(str(by), role.certificate, role.instructor_kind)


def refusals(
    by: User, student: Student, *days: dt.date, flight: engine.Flight | None = None
) -> list[Refusal]:
    """Why ``by`` is not an authorized instructor for this student on one of these days; empty if they are.

    An authorized instructor holds a certificate and has the recent experience (14 CFR 61.1, 61.197). If the
    school recorded no last day of recent experience, that is not a refusal. With a ``flight``, also why they
    may not give flight training in its aircraft (14 CFR 61.195(b)): only if the recorded ratings do not cover
    it; ratings that are not recorded are a caution. One query or two.
    """
    first, last = min(days), max(days)
    role, school = _role(by, student), student.school.name
    found: list[Refusal] = []

    def refuse(rule: str, day: dt.date, message: str) -> None:
        found.append(Refusal("instructor", message, given.rule(rule, day, student).cite.section))

    if student.user_id is not None and student.user_id == by.pk:
        refuse("not-oneself", first, "You cannot endorse yourself; another instructor must.")
    if not by.is_active:
        refuse("authorized", first, f"The account of {by} is closed.")
    if role is None:
        must = "an instructor of the school must sign."
        refuse("authorized", first, f"{by} is not an instructor at {school}; {must}")
        return found
    if not role.certificate:
        adds = "the school adds it to the role."
        refuse("authorized", first, f"{by} has no certificate number at {school}; {adds}")
    until = role.recent_experience_until
    if until is not None and until < last:
        renewal = "the school records its renewal."
        refuse("recent-experience", last, f"The recent experience of {by} ended on {until}; {renewal}")
    if flight is not None and given.is_training(flight):
        found += _not_trained(by, student, role, flight)
    return found


def _not_trained(by: User, student: Student, role: Role, flight: engine.Flight) -> Iterator[Refusal]:
    """Why an instructor may not give flight training in the aircraft of a flight."""
    if role.instructor_kind == _GROUND:
        rule = given.rule("ground-instructor", flight.date, student)
        yield Refusal(
            "instructor",
            f"{by} signs as a ground instructor; a flight instructor must sign flight training. {rule.says}",
            rule.cite.section,
        )
    elif given.covers(role, student, flight) is False:
        yield Refusal(
            "content.flight.aircraft",
            f"{_held(role)}; flight training in this aircraft ({_named(flight.aircraft)}) is signed by an"
            " instructor who holds its category and class. The school records ratings with the role.",
            given.rule("category-and-class", flight.date, student).cite.section,
        )


def cautions(
    by: User, student: Student, flight: engine.Flight, corrects: uuid.UUID | None = None
) -> Iterator[tuple[str, str, str]]:
    """Cautions about a flight that ``by`` signs: kind, field, sentence.

    More flight training in 24 hours than allowed still happened and belongs on record, so it is a warning,
    stored with the signature. No other student's flight is named. Two queries.
    """
    role = _role(by, student)
    if role is None or not given.is_training(flight):
        return
    if given.covers(role, student, flight) is None:
        why = (
            f"Which ratings {by} holds is not recorded at the school"
            if role.ratings is None
            else "The category and class of the aircraft, or of the ratings recorded, are not complete"
        )
        cite = given.rule("category-and-class", flight.date, student).cite
        yield "ratings-not-known", "aircraft", f"{why}: whether they cover it is not known ({cite.section})."
    hours = given.hours(role, student, flight, corrects=corrects)
    if hours is None or hours.exceeded is False:
        return
    most, within = (amounts.hours(hours.rule.params[key]) for key in ("most", "within"))
    where = f"as far as this school's record says ({hours.rule.cite.section})."
    if hours.exceeded:
        told = hours.tally.sure
        yield (
            "hours-exceeded",
            "times.dual",
            f"With this flight, {by} gave {amounts.hours(told.amount)} of flight training within {within} on"
            f" the clock, from {told.start:%Y-%m-%d %H:%M} UTC on; at most {most} are allowed, {where}",
        )
    else:
        yield (
            "hours-not-known",
            "times.dual",
            f"With this flight, {by} may have given {amounts.hours(hours.tally.possible.amount)} of flight"
            f" training within {within} on the clock, where at most {most} are allowed: off and on or the"
            f" time given are missing, {where}",
        )


def late(student: Student, day: dt.date | None, at: dt.datetime) -> list[dict[str, str]]:
    """The warning that a lesson is signed later than the school allows, by the server's clock.

    No regulation has such a number: the school sets one or has none.
    """
    limit = student.school.late_after_days
    if day is None or limit is None:
        return []
    days = (student.school.day(at) - day).days
    if days <= limit:
        return []
    return [
        {
            "kind": "late",
            "place": "content",
            "message": f"The lesson of {day} is sealed {days} days later; the school requires"
            f" it within {limit}"
            " (its own limit, not a regulation's).",
        }
    ]


def endorsement_cautions(
    by: User, student: Student, category: str | None, model: str | None, on: dt.date
) -> list[str]:
    """A caution if the signer's ratings do not cover the aircraft that an endorsement is about.

    The regulation is about flight training, not endorsements, so it is shown and not refused. The class is
    that of the school's aircraft of the model, if it has one. Up to two queries.
    """
    role = _role(by, student)
    held = given.ratings(role) if role else None
    if held is None or (category is None and model is None):
        return []
    fleet = Aircraft.objects.filter(school_id=student.school_id, model=model or "", device="")
    crafts: list[tuple[str | None, str | None]] = [*fleet.values_list("category", "klass").distinct()]
    with_class = given.with_class(on, student)
    if any(covered(held, *each, with_class) is not False for each in crafts or [(category, None)]):
        return []
    assert role is not None
    cite = given.rule("category-and-class", on, student).cite
    return [f"{_held(role)}, not the category and class that this is about ({cite.section})."]


def _held(role: Role) -> str:
    """The aircraft in which a role's ratings allow training, in words."""
    held = ", ".join(map(str, given.ratings(role) or ())) or "none"
    return f"The ratings recorded for {role.user} are {held}"


def _named(craft: engine.Aircraft) -> str:
    what = " ".join(filter(None, (craft.category, craft.klass)))
    return ", ".join(filter(None, (craft.registration, craft.model, what))) or "none named"


#: Roles already read, by user and school, inside ``read_once``.
_READ: ContextVar[dict[tuple[int, int], Role | None] | None] = ContextVar("roles read once", default=None)


@contextlib.contextmanager
def read_once() -> Iterator[None]:
    """Read each role once inside the block, so that all checks of a transaction see the same."""
    before = _READ.set({})
    try:
        yield
    finally:
        _READ.reset(before)


def _instructing() -> QuerySet[Role]:
    user, school = Place("user", BigIntegerField()), Place("school", BigIntegerField())
    return Role.objects.filter(user_id=user, school_id=school, role=Role.Kind.INSTRUCTOR)


_INSTRUCTING = Statement(_instructing)


def _role(by: User, student: Student) -> Role | None:
    read, key = _READ.get(), (by.pk, student.school_id)
    if read is not None and key in read:
        return read[key]
    role = next(iter(_INSTRUCTING.instances(user=by.pk, school=student.school_id)), None)
    if role is not None:
        role.user, role.school = by, student.school
    if read is not None:
        read[key] = role
    return role
