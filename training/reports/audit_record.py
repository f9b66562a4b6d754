"""The findings of one student's record."""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cache

from syllabus.engine.audit import audit, claims, one_record
from syllabus.engine.audit import school as audit_school
from syllabus.engine.audit.audit import Found, TakenOff
from syllabus.engine.audit.school import Citations, Cited
from syllabus.engine.record.record import ATTESTED, CLAIMED, Record
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.law import auditing, endorsements, instructing, rulebook
from training import models, record
from training.models import Student
from training.reports import named, settings
from training.reports.audit_tables import Audited

_MICROSECOND = dt.timedelta(microseconds=1)


def findings(whole: Audited, student: Student, known: Record) -> Iterator[Found]:
    """Every finding about a record; ``known`` is the record as known at the time of the audit."""
    audited = audit.Audited(
        known,
        whole.on,
        whole.after,
        _taken_off(student, known, whole.retired.get(student.pk, set()), whole.at),
        whole.signed.get(student.pk, frozenset()),
        settings.of(student.school),
    )
    for authority in whole.under[student.pk]:
        for found in _under(authority, whole, student, audited):
            yield of_authority(authority, found)
    yield from whole.fleet.findings(known)
    yield from whole.releases.findings(student, known)


def of_authority(authority: str, found: Found) -> Found:
    """The finding with an authority's own id: two authorities may both find something about an entry."""
    first = next(iter(rulebook.current().of_authority))
    return found if authority == first else replace(found, about=(*found.about, authority))


def _under(authority: str, whole: Audited, student: Student, audited: audit.Audited) -> Iterator[Found]:
    """The findings of a student's record under the rules of one authority."""
    known, rules = audited.record, auditing.current()[authority]
    kinds = {name: kind for name, kind in endorsements.current().kinds.items() if kind.authority == authority}
    book = rulebook.current().of_authority[authority]
    yield from one_record.findings(audited, book, rules, kinds, whole.minimums)

    @cache
    def cited(day: dt.date) -> Citations:
        def near(name: str) -> RuleVersion:
            return instructing.current()[authority].near(name, day)

        return Citations(
            authorized=near("authorized").cited,
            recent=near("recent-experience").cited,
            oneself=near("not-oneself").cited,
            ratings=near("category-and-class").cited,
            instrument=near("instrument-training").cited,
            with_class=near(instructing.CLASSES_OF).params["classes"],
        )

    def signed(day: dt.date) -> Cited:
        return rules.near("signed-training", day).cited

    yield from audit_school.endorsed(known, whole.known, student.user_id, whole.crafts, cited)
    yield from audit_school.gave(known, whole.known, student.user_id, cited)
    yield from audit_school.strangers(known, whole.known, cited(whole.on).authorized)
    if put := _put_on_record(whole, student, known):
        yield from claims.claimed(known, whole.known, put, signed)
    entries = (each for part in claims.SIGNED_PARTS for each in getattr(known, part))
    if any(each.provenance == ATTESTED and each.instructor for each in entries):
        attested = named.attesters(student, f"school-{whole.school.pk}")
        yield from claims.attested_for(known, whole.meant, attested, signed)


def _put_on_record(
    whole: Audited, student: Student, known: Record
) -> dict[tuple[str, str], claims.PutOnRecord]:
    """How each claimed endorsement and test was added. At most one query."""
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
    """Entries that were removed from the record. One reading for each time at which some were removed."""
    there = {(part, each.id): each for part in Record.PARTS for each in getattr(known, part)}
    gone: dict[tuple[str, str, dt.datetime], TakenOff] = {}
    for instant in sorted(each for each in instants if each <= at):
        before = record.of(student, known_at=instant - _MICROSECOND)
        for part in Record.PARTS:
            for each in getattr(before, part):
                if each.recorded is not None and there.get((part, each.id)) != each:
                    gone[part, each.id, each.recorded] = TakenOff(part, each, each.recorded, instant)
    return tuple(gone.values())
