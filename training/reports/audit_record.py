"""What an audit finds on one student's record."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator

from syllabus.engine.audit import audit, claims, one_record
from syllabus.engine.audit import school as audit_school
from syllabus.engine.audit.audit import Found, TakenOff
from syllabus.engine.record.record import ATTESTED, CLAIMED, Record
from syllabus.law import auditing, endorsements, rulebook
from training import models, record
from training.models import Student
from training.reports import named, settings
from training.reports.audit_tables import Audited

_MICROSECOND = dt.timedelta(microseconds=1)


def findings(whole: Audited, student: Student, known: Record) -> Iterator[Found]:
    """Every finding about a record, ``known`` as it is known at the instant of the audit."""
    audited = audit.Audited(
        known,
        whole.on,
        whole.after,
        _taken_off(student, known, whole.retired.get(student.pk, set()), whole.at),
        whole.signed.get(student.pk, frozenset()),
        settings.of(student.school),
    )
    yield from one_record.findings(
        audited, rulebook.current(), auditing.current(), endorsements.current().kinds, whole.minimums
    )
    cited = whole.cited(whole.on)
    yield from audit_school.endorsed(known, whole.known, student.user_id, whole.crafts, whole.cited)
    yield from audit_school.gave(known, whole.known, student.user_id, whole.cited)
    yield from audit_school.strangers(known, whole.known, cited.authorized)
    if put := _put_on_record(whole, student, known):
        yield from claims.claimed(known, whole.known, put, _where_signed)
    signed = (each for part in claims.SIGNED_PARTS for each in getattr(known, part))
    if any(each.provenance == ATTESTED and each.instructor for each in signed):
        attested = named.attesters(student, f"school-{whole.school.pk}")
        yield from claims.attested_for(known, whole.meant, attested, _where_signed)


def _where_signed(day: dt.date) -> tuple[str, str]:
    """Where the rule stands that an instructor signs."""
    rule = auditing.current().near("signed-training", day)
    return rule.cite.section, rule.verified


def _put_on_record(
    whole: Audited, student: Student, known: Record
) -> dict[tuple[str, str], claims.PutOnRecord]:
    """How each claimed endorsement and test came on record. One query, where there is any; else none."""
    recorded = {
        (part, each.id): each.recorded
        for part in claims.SIGNED_PARTS
        for each in getattr(known, part)
        if each.provenance == CLAIMED and each.recorded is not None
    }
    if not recorded:
        return {}
    changes = models.RecordChange.objects.filter(student=student, at__in=set(recorded.values()))
    by = dict(changes.values_list("at", "by_id"))
    return {
        key: claims.PutOnRecord(whole.school.day(at), by.get(at), by_server=at in by and by[at] is None)
        for key, at in recorded.items()
    }


def _taken_off(
    student: Student, known: Record, instants: Iterable[dt.datetime], at: dt.datetime
) -> tuple[TakenOff, ...]:
    """What was on record once and is so no longer: one reading for each instant at which something went."""
    there = {(part, each.id): each for part in Record.PARTS for each in getattr(known, part)}
    gone: dict[tuple[str, str, dt.datetime], TakenOff] = {}
    for instant in sorted(each for each in instants if each <= at):
        before = record.of(student, known_at=instant - _MICROSECOND)
        for part in Record.PARTS:
            for each in getattr(before, part):
                if each.recorded is not None and there.get((part, each.id)) != each:
                    gone[part, each.id, each.recorded] = TakenOff(part, each, each.recorded, instant)
    return tuple(gone.values())
