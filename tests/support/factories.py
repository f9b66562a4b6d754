"""Rows for the tests, each with what it cannot do without."""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
from typing import Any

from syllabus.engine.record import record as engine
from training import models, record
from training.services.people import invitations
from training.services.records import attesting, record_changes

_numbers = itertools.count(1)
LONG_AGO = dt.date(2020, 1, 1)
NOON = dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC)
PASSWORD = "three words of everybody"
#: What goes along with a record that takes the place of another.
CONFIRMED = {"reason": "from the paper logbook", "confirm_password": PASSWORD}


def school(**given: Any) -> models.School:
    number = next(_numbers)
    said = {"name": f"School {number}", "slug": f"school-{number}", "time_zone": "America/Chicago"}
    return models.School.objects.create(**{**said, "second_factor_for": [], **given})


def user(**given: Any) -> models.User:
    number = next(_numbers)
    password = given.pop("password", None)
    return models.User.objects.create_user(
        **{"email": f"person{number}@example.org", "name": f"Person {number}", **given}, password=password
    )


def role(
    kind: str, *, at: models.School, whose: models.User | None = None, certificate: str = "", **more: Any
) -> models.User:
    """A user with a role at a school."""
    whose = whose or user()
    models.Role.objects.create(school=at, user=whose, role=kind, certificate=certificate, **more)
    return whose


def instructor(at: models.School, **given: Any) -> models.User:
    """An instructor in single-engine airplanes, with what the role holds where it is given."""
    held = {"ratings": [{"category": "airplane", "class": "single-engine land", "instrument": True}]}
    held |= {
        key: given.pop(key) for key in ("certificate", "ratings", "recent_experience_until") if key in given
    }
    return role("instructor", at=at, whose=user(**given), **held)


def administrator(at: models.School, **given: Any) -> models.User:
    return role("administrator", at=at, whose=user(**given))


def student(
    at: models.School | None = None, *, taught_by: models.User | None = None, **given: Any
) -> models.Student:
    """A student, with an account where ``user`` is given, assigned to ``taught_by`` since long ago."""
    at = at or school()
    made = models.Student.objects.create(
        **{"name": f"Student {next(_numbers)}", "birth_date": dt.date(2006, 5, 17), **given}, school=at
    )
    if made.user:
        models.Role.objects.get_or_create(school=at, user=made.user, role="student")
    if taught_by:
        assign(taught_by, made)
    return made


def accepted(email: str) -> models.User:
    """The account of an address, made where there is none, after it accepted every invitation that waits."""
    waiting = list(models.Invitation.objects.filter(email=email))
    whose = models.User.objects.filter(email=email).first() or user(email=email, name=waiting[0].name)
    for each in waiting:
        invitations.accept(each.pk, by=whose, at=each.at)
    return whose


def assign(
    instructor: models.User,
    student: models.Student,
    *,
    starts: dt.date = LONG_AGO,
    ends: dt.date | None = None,
) -> models.Assignment:
    return models.Assignment.objects.create(
        school=student.school, student=student, instructor=instructor, starts=starts, ends=ends
    )


def aircraft(at: models.School, **given: Any) -> models.Aircraft:
    return models.Aircraft.objects.create(
        **{"registration": f"N{next(_numbers):02d}XY", "model": "C172", **given}, school=at
    )


def recorded(student: models.Student, *, at: dt.datetime = NOON, **parts: Any) -> models.Student:
    """The student, with a record of these parts put on record at an instant, every entry attested."""
    whose = engine.Student(student.name, student.birth_date)
    return attested(student, engine.Record(student=whose, **parts), at=at)


def attested(
    student: models.Student,
    found: engine.Record,
    *,
    at: dt.datetime = NOON,
    by: models.User | None = None,
) -> models.Student:
    """The student, with this record put on record at an instant as if somebody had seen every document.

    It stands in the ledger where it is said ``by`` whom.
    """

    def seal(done: record.Replaced, when: dt.datetime) -> int:
        assert by is not None
        return attesting.seal(
            student, record_changes.ADDED, done.added, saw="all of it", by=by, at=when, confirmed=None
        )

    def vouches(part: str, entry: engine.Entry) -> str:
        return engine.ATTESTED

    record.store(student, found, by=by, at=at, vouches=vouches, seal=seal if by else None)
    return student


def in_time(student: models.Student, found: engine.Record, *, at: dt.datetime = NOON) -> models.Student:
    """The student, with every entry attested and put on record when it says that it was; else at ``at``.

    What stands and is not among them is taken off; what is, stays.
    """
    stands = record.of(student)
    for part in found.PARTS:
        old = {each.id: each for each in getattr(stands, part)}
        for entry in getattr(found, part):
            there = old.pop(entry.id, None)
            if there == dataclasses.replace(entry, provenance=engine.ATTESTED):
                continue
            if there is not None:
                record.retire(student, entry.id, at=at)
            when = entry.recorded or at
            record.put(record.rows(student, part, [entry], at=when, provenance=engine.ATTESTED))
        for gone in old:
            record.retire(student, gone, at=at)
    return student


def guardian(
    student: models.Student,
    *,
    starts: dt.date = LONG_AGO,
    ends: dt.date | None = None,
    user: models.User | None = None,
) -> models.Guardian:
    """A guardian whose consent is on record, with an account where ``user`` is given."""
    number = next(_numbers)
    return models.Guardian.objects.create(
        school=student.school,
        student=student,
        user=user,
        name=f"Guardian {number}",
        email=user.email if user else f"guardian{number}@example.org",
        consent_on=starts,
        consent_until=ends,
        recorded_by=administrator(student.school),
        recorded_at=NOON,
    )
