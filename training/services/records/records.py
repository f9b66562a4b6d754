"""Imports and exports whole record documents."""

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import rfc8785
from django.db import transaction

from syllabus.engine.errors import DocumentError, Error
from syllabus.engine.record import document as documents
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors
from training import record
from training.models import Assignment, Enrolment, RecordChange, Role, School, Student, User
from training.services import access
from training.services.records import record_changes


@dataclass(frozen=True, slots=True)
class Imported:
    """The student; what changed, None if nothing; whether the student is new."""

    student: Student
    change: RecordChange | None
    created: bool


@transaction.atomic
def import_document(
    document: object,
    *,
    school: School | None = None,
    student: Student | None = None,
    by: User,
    at: dt.datetime,
    via: str,
    reason: str,
    confirmed: Mapping[str, Any] | None = None,
) -> Imported:
    """Import a record document: replace ``student``'s record, or add a new student of ``school``.

    A new student is enrolled from today, and assigned to ``by`` if that is an instructor of the school. The
    entries are claims. The caller has re-authenticated ``by`` (``confirmed``, from ``confirming``), or is the
    command line.

    Raises: DocumentError with every error, before anything is written, including entries in the future by the
            server's clock, entries before the student's birth, and ids that only a lesson signed here may
            have. ReasonError; NotAllowed; SealedEntry.
    Effects: one transaction; signed into the school's ledger; the access is logged; the student is notified.
    """
    record_changes.reason_of(reason)
    found = documents.parse(document)
    created = student is None
    place = school if student is None else student.school
    if place is None:
        raise ValueError("a new student needs a school")
    if wrong := wrong_days(document, found, place.day(at)):
        raise DocumentError(wrong)
    if student is None:
        access.require(by, "add a student", place)
        student = new_student(found.student.name, place, by, at)
    else:
        access.require(by, "write a record", student, on=at.date())
        access.locked_student(student.pk)  # what is compared is what will be replaced
    stands = engine.Record() if created else record.of(student)
    if planted := set(record_changes.planted(stands, found)):
        raise DocumentError(
            Error(f"{part}[{number}].id", f"{name!r} {record_changes.PLANTED}")
            for part in engine.Record.PARTS
            for number, _, name in _sent(document, part)
            if (part, name) in planted
        )
    sent = sent_hash(document)
    change = record_changes.replace(
        student, found, by=by, at=at, reason=reason, sent=sent, via=via, confirmed=confirmed
    )
    access.log(by, student, access.WRITE, "record", via=via, at=at)
    return Imported(student, change, created)


def wrong_days(document: object, found: engine.Record, today: dt.date) -> list[Error]:
    """An error for each entry dated after today at the school or before the student's birth, at its place in
    the document; and for a birth date in the future.
    """
    errors = Errors()
    born = found.student.birth_date
    if born is not None and born > today:
        errors.add("student.birth_date", f"{born} is in the future; today is {today}")
        born = None
    for part in engine.Record.PARTS:
        days = {each.id: engine.entry_day(each) for each in getattr(found, part)}
        wrong = {name: day for name, day in days.items() if day > today or (born is not None and day < born)}
        for number, entry, name in _sent(document, part) if wrong else ():
            if name in wrong:
                key = next(key for key in ("date", "issued", "given") if key in entry)
                why = (
                    f"is in the future; today is {today}"
                    if wrong[name] > today
                    else f"is before the student's birth, {born}"
                )
                errors.add(f"{part}[{number}].{key}", f"{wrong[name]} {why}")
    return errors


def _sent(document: object, part: str) -> Iterator[tuple[int, Mapping[str, Any], str]]:
    """The entries of a list of a document: place, entry as sent, id."""
    sent = document.get(part) if isinstance(document, Mapping) else None
    for number, entry in enumerate(sent or ()):
        yield number, entry, str(entry.get("id") or f"{part}[{number}]").strip()


def sent_hash(document: object) -> str:
    """``sha256:…`` over the canonical form of a document as it was sent."""
    return "sha256:" + hashlib.sha256(rfc8785.dumps(document)).hexdigest()  # type: ignore[arg-type]


def new_student(name: str, school: School, by: User | None, at: dt.datetime) -> Student:
    """A new student who starts at a school that day, assigned to ``by`` if that is one of its instructors."""
    day = school.day(at)
    student = Student.objects.create(school=school, name=name, recorded_at=at)
    Enrolment.objects.create(school=school, student=student, starts=day)
    if by is not None and Role.objects.filter(user=by, school=school, role=Role.Kind.INSTRUCTOR).exists():
        Assignment.objects.create(school=school, student=student, instructor=by, starts=min(day, at.date()))
    return student


def export_document(
    student: Student,
    *,
    by: User | None,
    at: dt.datetime,
    via: str,
    known_at: dt.datetime | None = None,
) -> dict[str, Any]:
    """A student's record document, as it is or as known at an instant; the access is logged.

    Raises: NotAllowed.
    """
    access.require(by, "read a record", student, on=at.date())
    access.log(by, student, access.READ, "record", via=via, at=at)
    return documents.dump(record.of(student, known_at=known_at), provenance=True)
