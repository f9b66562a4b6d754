"""A school's records held against the rules in force on each entry's own day. Reads only, decides nothing.

Each record is read once. Milestones, days and words are the engine's (``syllabus.engine.audit.audit``); what
is added here is what only the school's tables say: who may sign, which entries were signed here and when,
what was taken off the record, drafts nobody signed, lessons nobody acknowledged.
"""

import datetime as dt
import logging
from collections.abc import Iterable, Iterator

from django.db import DatabaseError

from syllabus.engine.audit.audit import A_NOTE, SERIOUS, Found
from training import record
from training.models import School, Student
from training.reports import audit_across, audit_record, authorities
from training.reports.audit_kinds import NOT_AUDITED
from training.reports.audit_tables import Audited, Told, found

log = logging.getLogger(__name__)


def audit(
    school: School,
    on: dt.date,
    *,
    at: dt.datetime,
) -> Iterator[Told]:
    """Everything an audit of a school finds about days up to ``on``, by what is known at ``at``.

    The law is asked, and beside it the school's own minimums, which are told as the school's. Queries: those
    of ``record.of`` for each student, more where entries were taken off the record, and about twenty for the
    school.
    """
    for _student, told in by_student(school, on, at=at):
        yield from told


def by_student(
    school: School, on: dt.date, *, at: dt.datetime
) -> Iterator[tuple[Student | None, Iterable[Told]]]:
    """The same, student by student, to show progress; the findings about the school itself come last."""
    whole = Audited.of(school, on, at)
    students = Student.objects.filter(school=school).select_related("school").order_by("pk")
    for student in students.iterator(chunk_size=200):
        whole.by_pk[student.pk] = student
        yield student, [Told(each, student) for each in _all_of(whole, student) if each.day <= on]
    for rest in _ACROSS:
        yield None, rest(whole)


_ACROSS = (
    audit_across.hours,
    audit_across.two_places,
    audit_across.unsigned,
    audit_across.unacknowledged,
)


def _all_of(whole: Audited, student: Student) -> list[Found]:
    """What a student's record shows; where it cannot be audited, that, so that the others still are."""
    try:
        known = record.of(student, known_at=whole.at)
        whole.under[student.pk] = authorities.of(student)
        audit_across.collect(whole, student, known)
        return list(audit_record.findings(whole, student, known))
    except DatabaseError:
        raise  # it is nothing about this record
    except Exception as fault:
        log.exception("the record of student %s could not be audited", student.ref)
        return [_not_audited(whole.on, fault)]


def _not_audited(on: dt.date, fault: Exception) -> Found:
    return found(
        None,
        on,
        (),
        kind=NOT_AUDITED,
        severity=SERIOUS,
        says=f"The record could not be audited ({type(fault).__name__}: {str(fault)[:200]})."
        " Earlier findings about it are unchanged.",
        mend=A_NOTE,
        way="Tell the server's operator: the log has the whole error.",
    )


def altered(sentence: str, on: dt.date) -> Told:
    """What does not fit the school's ledger, as a finding."""
    wrong = found(
        None,
        on,
        (sentence,),
        kind="record-altered",
        severity=SERIOUS,
        entries=(),
        says=f"{sentence[0].upper()}{sentence[1:]}.",
        mend=A_NOTE,
        way="Find out who changed the tables, restore the signed content, and note it.",
    )
    return Told(wrong)
