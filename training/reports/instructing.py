"""The training that instructors gave within a stretch of hours, and which aircraft their ratings cover.

Flights given elsewhere are not on record here, so the answer is about this school alone. Reads only.
"""

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import BigIntegerField, CharField, DateField, Q, QuerySet

from syllabus.engine.audit.instructing import (
    Rating,
    Tally,
    Training,
    covered,
    fullest,
    read_ratings,
    training,
)
from syllabus.engine.record import record as engine
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.law import instructing
from training.models import Aircraft, Flight, Role, School, Student
from training.reports import authorities
from training.sql import Place, Statement

#: Days around a flight whose flights may fall into the same stretch, with a day to spare on either side.
_NEAR = dt.timedelta(days=3)
_MICROSECOND = dt.timedelta(microseconds=1)
THIS = "this flight"


@dataclass(frozen=True)
class Hours:
    """The stretch around one flight with the most training, under the rule of its day. ``exceeded`` is None
    if unknown.
    """

    rule: RuleVersion
    tally: Tally
    exceeded: bool | None


def rule(name: str, day: dt.date, whose: Student | School) -> RuleVersion:
    """The rule about instructors of that name on a day; before its first version, the first version."""
    return authorities.rule(instructing.current(), name, day, whose)


def _hours(training: Sequence[Training], day: dt.date, whose: Student | School, **about: str) -> Hours | None:
    """The fullest stretch under each authority's rule; that of an exceeded one, if any."""
    found = []
    for each in authorities.of(whose):
        asked = instructing.current()[each].near(instructing.HOURS_IN_24, day)
        if (tally := fullest(training, asked.params["within"], **about)) is not None:
            found.append(Hours(asked, tally, tally.exceeds(asked.params["most"])))
    return max(found, key=lambda each: (False, None, True).index(each.exceeded), default=None)


def is_training(flight: engine.Flight) -> bool:
    """Whether a flight is, or may be, flight training: in an aircraft, not solo, and not logged as none."""
    times = flight.times
    return flight.aircraft.device is None and not times.get("solo") and times.get("dual") != 0


def training_of(flight: engine.Flight, id: str, zone: dt.tzinfo) -> Training:
    """The flight training in one flight: its dual time; if none was entered, at most its total time."""
    logged = flight.times.get("dual")
    most = flight.times.get("total") if logged is None else logged
    return training(id, flight.date, zone, logged or 0, most, flight.off, flight.on)


def hours(
    role: Role, student: Student, flight: engine.Flight, *, corrects: uuid.UUID | None = None
) -> Hours | None:
    """The stretch around a flight that the instructor is about to sign; None if it is no flight training.

    ``corrects`` is the lesson record that it replaces, whose flight is left out. One query.
    """
    if not is_training(flight):
        return None
    mine = training_of(flight, THIS, zoneinfo.ZoneInfo(role.school.time_zone))
    others = given(role, flight.date - _NEAR, flight.date + _NEAR, corrects=corrects)
    return _hours([mine, *others], flight.date, student, about=THIS)


def given(
    role: Role, since: dt.date, until: dt.date, *, corrects: uuid.UUID | None = None
) -> Iterator[Training]:
    """The flight training that an instructor gave at the school on these days.

    By the account that signed, or by the certificate number of an entry from a document. One query.
    """
    zone = zoneinfo.ZoneInfo(role.school.time_zone)
    asked: dict[str, Any] = {"school": role.school_id, "user": role.user_id, "certificate": role.certificate}
    for entry, *row in _GIVEN_BY.rows(**asked, since=since, until=until):
        if corrects is None or not entry.startswith(f"{corrects}/"):
            yield _read(row, zone)


def _given_by() -> QuerySet[Flight, Any]:
    certificate = Place("certificate", CharField())
    theirs = Q(instructor_user_id=Place("user", BigIntegerField())) | Q(
        instructor_certificate=certificate, instructor_certificate__gt=""
    )
    since, until = Place("since", DateField()), Place("until", DateField())
    rows = _training(Place("school", BigIntegerField()), theirs, since, until)
    return rows.order_by().values_list("entry_id", *_ROW)


_GIVEN_BY = Statement(_given_by)
_ROW = ("pk", "date", "dual", "total", "off_at", "on_at")
_GIVEN = ("instructor_user_id", "instructor_certificate", *_ROW)


def _training(
    school: int | Place, theirs: Q, since: dt.date | Place, until: dt.date | Place
) -> QuerySet[Flight]:
    """What may be flight training on these days, by the instructors in ``theirs``."""
    return Flight.objects.filter(
        theirs,
        Q(dual__isnull=True) | Q(dual__gt=dt.timedelta()),
        Q(solo__isnull=True) | Q(solo=dt.timedelta()),
        school_id=school,
        retired_at__isnull=True,
        aircraft_device__isnull=True,
        date__range=(since, until),
    )


def _read(row: Sequence[Any], zone: dt.tzinfo) -> Training:
    pk, day, dual, total, off, on = row
    most = total if dual is None else dual
    least = 0 if dual is None else dual // _MICROSECOND
    return training(str(pk), day, zone, least, None if most is None else most // _MICROSECOND, off, on)


def fullest_of(school: School, roles: Iterable[Role], since: dt.date, until: dt.date) -> dict[int, Hours]:
    """The fullest stretch of each instructor of a school on these days, by the user's primary key.

    By the rule of the last day; an instructor who gave none is missing. One query for all instructors.
    """
    held = [(each.user_id, each.certificate) for each in roles]
    by_number = {certificate: user for user, certificate in held if certificate}
    theirs = Q(instructor_user_id__in=[user for user, _ in held]) | Q(instructor_certificate__in=by_number)
    mine: dict[int, list[Training]] = {user: [] for user, _ in held}
    zone = zoneinfo.ZoneInfo(school.time_zone)
    rows = _training(school.pk, theirs, since, until)
    for user, certificate, row in ((row[0], row[1], row[2:]) for row in rows.values_list(*_GIVEN)):
        for whose in {user, by_number.get(certificate or "")} & mine.keys():
            mine[whose].append(_read(row, zone))
    return {whose: found for whose, each in mine.items() if (found := _hours(each, until, school))}


def ratings(role: Role) -> tuple[Rating, ...] | None:
    """The ratings that the school recorded; None if it recorded none."""
    return None if role.ratings is None else read_ratings(role.ratings)


def with_class(day: dt.date, student: Student) -> Collection[str]:
    """The categories of aircraft that have classes."""
    classes: Mapping[str, Any] = rule(instructing.CLASSES_OF, day, student).params["classes"]
    return classes.keys()


def covers(role: Role, student: Student, flight: engine.Flight) -> bool | None:
    """Whether the recorded ratings cover the aircraft of a flight; None if unknown.

    Facts about the aircraft that the entry leaves out come from the school's list. At most one query.
    """
    held, craft = ratings(role), flight.aircraft
    if held is None:
        return None
    category, klass = craft.category, craft.klass
    if (category is None or klass is None) and craft.registration:
        ours = Aircraft.objects.filter(school_id=role.school_id, registration=craft.registration).first()
        if ours is not None and category in (None, ours.category):
            category, klass = ours.category, klass or ours.klass or None
    return covered(held, category, klass, with_class(flight.date, student))
