"""The audit of one lesson before it is signed: what the nightly audit would find of it. Reads only."""

import datetime as dt
import logging
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db import DatabaseError
from django.db.models import Q

from syllabus.engine.audit.audit import SEVERITIES
from syllabus.engine.course import proving
from syllabus.engine.course.course import Outline
from syllabus.engine.record.record import SIGNED, Entry, Instructor, Record
from training import record
from training.models import Flight, Student, User
from training.reports import audit, audit_across, audit_record, authorities
from training.reports.audit_tables import Audited, Told

log = logging.getLogger(__name__)
#: Days around a flight on which others may fall into the same 24 hours, with a day to spare.
_NEAR = dt.timedelta(days=3)


@dataclass(frozen=True)
class Draft:
    """The entries that a signature would add to a record, by list, and those that it would take off.

    ``prefix`` begins the ids of the new entries, ``replaces`` those of the old ones; ``outlines`` are those
    of the record's lessons.
    """

    prefix: str
    entries: Mapping[str, Sequence[Entry]]
    outlines: Mapping[str, Outline]
    replaces: str | None = None


def findings(student: Student, draft: Draft, signer: Instructor, by: User, at: dt.datetime) -> list[Told]:
    """What an audit of the record finds of these entries, as if ``by`` had signed them at ``at``.

    Also what a correction leaves behind: a finding about other entries that was not there before. If the
    record cannot be audited, that is the one finding.
    """
    on = student.school.day(at)
    try:
        known = record.of(student, known_at=at)
        signed = _signed(known, draft, at)
        new = {
            each.id
            for part in Record.PARTS
            for each in getattr(signed, part)
            if each.id.startswith(draft.prefix)
        }
        found = list(_found(student, signed, draft, new, signer, by, at))
        before: set[tuple[str, ...]] = set()
        if draft.replaces is not None:
            before = {_as_said(each) for each in _of_record(_whole(student, at), student, known)}
    except DatabaseError:
        raise  # a database error is not about this record
    except Exception as fault:
        log.exception("a draft of student %s could not be audited", student.ref)
        return [Told(audit.not_audited(on, fault), student)]
    told = [
        each
        for each in found
        if new & {entry for _, entry in each.places or [("", entry) for entry in each.found.entries]}
        or (draft.replaces is not None and not each.places and _as_said(each) not in before)
    ]
    return sorted(told, key=lambda each: (SEVERITIES.index(each.found.severity), each.found.kind))


def _as_said(told: Told) -> tuple[str, ...]:
    return told.key, told.digest, told.found.says


def _signed(known: Record, draft: Draft, at: dt.datetime) -> Record:
    """The record with the entries of a draft, and the items that follow from its lessons then."""
    parts: dict[str, Any] = {}
    for part in Record.PARTS:
        stays = [each for each in getattr(known, part) if not _goes(each, draft)]
        made = [replace(each, recorded=at, provenance=SIGNED) for each in draft.entries.get(part, ())]
        parts[part] = (*stays, *made)
    signed = replace(known, **parts)
    proofs = proving.proofs(signed.items, signed.flights_by_id, draft.outlines)
    return replace(signed, items=(*signed.items, *proofs)) if proofs else signed


def _goes(entry: Entry, draft: Draft) -> bool:
    """Whether an entry goes with the signature: it is replaced, or is a proof, which is computed again."""
    replaced = draft.replaces is not None and entry.id.startswith(draft.replaces)
    return replaced or proving.MARK in entry.id


def _whole(student: Student, at: dt.datetime) -> Audited:
    whole = Audited.of(student.school, student.school.day(at), at, student)
    whole.by_pk[student.pk] = student
    whole.under[student.pk] = authorities.of(student)
    return whole


def _of_record(whole: Audited, student: Student, known: Record) -> list[Told]:
    return [Told(each, student) for each in audit_record.findings(whole, student, known)]


def _found(
    student: Student,
    signed: Record,
    draft: Draft,
    new: Iterable[str],
    signer: Instructor,
    by: User,
    at: dt.datetime,
) -> Iterator[Told]:
    whole = _whole(student, at)
    whole.signed[student.pk] = whole.signed.get(student.pk, frozenset()) | frozenset(new)
    if draft.replaces is not None:
        whole.retired.setdefault(student.pk, set()).add(at)
    audit_across.collect(whole, student, signed)
    for flight in draft.entries.get("flights", ()):
        _collect_others(whole, student, flight, signer, by)
    yield from _of_record(whole, student, signed)
    yield from audit_across.hours(whole)
    yield from audit_across.two_places(whole)


def _collect_others(whole: Audited, student: Student, flight: Any, signer: Instructor, by: User) -> None:
    """Collect the flights of others near this one, with the same instructor or in the same aircraft."""
    theirs = Q(instructor_user=by)
    if signer.certificate:
        theirs |= Q(instructor_certificate=signer.certificate)
    if flight.aircraft.registration:
        theirs |= Q(aircraft_registration__iexact=flight.aircraft.registration)
    rows = Flight.objects.filter(
        theirs,
        school=student.school,
        retired_at__isnull=True,
        date__range=(flight.date - _NEAR, flight.date + _NEAR),
    ).exclude(student=student)
    for row in rows.select_related("student"):
        other = row.student
        other.school = student.school
        whole.by_pk[other.pk] = other
        whole.under.setdefault(other.pk, authorities.of(other))
        audit_across.collect(whole, other, Record(flights=(record.entry_of(row, "flights"),)))
