"""Audits a school's records against the rules in force on each entry's own day. Reads only.

Each record is read once. Milestones, days and words are the engine's (``syllabus.engine.audit.audit``). This
adds what only the school's tables know: who may sign, which entries were signed here and when, what was
removed from the record, unsigned drafts, unacknowledged lessons.
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
    """Every finding of a school about days up to ``on``, as known at ``at``.

    It checks the law, and the school's own minimums, which are marked as the school's. Queries: those of
    ``record.of`` for each student, more if entries were removed from the record, and about twenty for the
    school.
    """
    for _student, told in by_student(school, on, at=at):
        yield from told


def by_student(
    school: School, on: dt.date, *, at: dt.datetime
) -> Iterator[tuple[Student | None, Iterable[Told]]]:
    """The same, student by student, to show progress; findings about the school itself come last."""
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
    audit_across.released_against,
)


def _all_of(whole: Audited, student: Student) -> list[Found]:
    """The findings of a student's record; if it cannot be audited, one finding that says so."""
    try:
        known = record.of(student, known_at=whole.at)
        whole.under[student.pk] = authorities.of(student)
        audit_across.collect(whole, student, known)
        return list(audit_record.findings(whole, student, known))
    except DatabaseError:
        raise  # a database error is not about this record
    except Exception as fault:
        log.exception("the record of student %s could not be audited", student.ref)
        return [not_audited(whole.on, fault)]


def not_audited(on: dt.date, fault: Exception) -> Found:
    """The one finding of a record that cannot be audited."""
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
    """A finding for what does not match the school's ledger."""
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
