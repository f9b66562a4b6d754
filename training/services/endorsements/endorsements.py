"""Checks, gives (signs) and revokes endorsements.

The instructor decides. Only what the rule itself forbids is refused; all other warnings are shown, and stored
with the signature.
"""

import dataclasses
import datetime as dt
import hashlib
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import rfc8785
from django.db import transaction

from syllabus.engine.audit.audit import SOLO
from syllabus.engine.errors import DocumentError, InputError
from syllabus.engine.record import document as documents
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors
from syllabus.law import endorsements
from training import record
from training.database import run_again
from training.models import Endorsement, EndorsementSeal, Revocation, Student, User
from training.services import access, texts
from training.services.endorsements.endorsement_check import Checked, checked
from training.services.errors import Conflict, NotFound, Refused
from training.services.signing import seals

_PLACE = "endorsements[0]"
_NOT_SENT = ("id", "kind", "instructor", "recorded", "provenance")
#: A day after everything in a record.
_LATE = "2199-12-31"


class EndorsementError(InputError):
    """The endorsement cannot be read."""

    what = "the endorsement"


class AgainstTheRule(Refused):
    """The rule forbids it; ``report`` says what and why."""

    def __init__(self, report: Checked):
        self.report = report
        super().__init__(
            " ".join(each.message for each in report.refusals),
            errors=[each.error("endorsement.") for each in report.refusals],
            summary="The rule forbids this endorsement; see `report` for what it forbids and the citation.",
            facts={"report": report.as_json()},
        )


class CheckVoid(Conflict):
    """The check that the instructor read is not of this endorsement any more; ``report`` is the new one."""

    def __init__(self, report: Checked):
        self.report = report
        super().__init__(
            "The endorsement or the record changed after the check. Read the new check, then sign.",
            facts={"report": report.as_json(), "checked_hash": report.digest},
        )


@dataclass(frozen=True, slots=True)
class Given:
    """The row on record, its signature, and whether this call gave it."""

    endorsement: Endorsement
    seal: EndorsementSeal
    created: bool


def check(
    student: Student,
    kind: str,
    fields: object,
    *,
    by: User,
    at: dt.datetime,
    via: str,
    known: engine.Record | None = None,
) -> Checked:
    """The report on an endorsement as if it were given now; writes only the access log.

    ``fields``: as in a record document's endorsement, without kind and instructor; ``given`` is today at the
    school by default.

    Raises: EndorsementError; NotAllowed; NotInForce if a rule has no version on the day.
    """
    access.require(by, "write a record", student, on=at.date())
    asked = read(kind, fields, student.school.day(at))
    access.log(by, student, access.READ, f"check of endorsement {asked.kind}", via=via, at=at)
    return checked(student, asked, by=by, at=at, known=known)


def read(kind: str, fields: object, today: dt.date, *, entry: str = "to be given") -> engine.Endorsement:
    """The endorsement as sent, without its instructor. Raises: EndorsementError."""
    if not isinstance(fields, Mapping):
        raise EndorsementError.at("", "expected an object with the endorsement's fields")
    sent = {key: value for key, value in fields.items() if value is not None}
    errors = Errors()
    for key in _NOT_SENT:
        if sent.pop(key, None) is not None:
            errors.add(key, "is set by the server; leave it out")
    # read apart: the rule forbids training after the endorsement, and the report says so
    own = {"id": entry, "kind": kind}
    said = {key: value for key, value in sent.items() if key != "training_date"}
    found = _parsed(errors, {"given": today.isoformat(), **said, **own})
    found += _parsed(errors, {"given": _LATE, "training_date": sent.get("training_date"), **own})
    if not errors:
        _fits(errors, found[0], sent)
    if errors:
        raise EndorsementError(dict.fromkeys(errors))
    return dataclasses.replace(found[0], training_date=found[1].training_date)


def _parsed(errors: Errors, fields: Mapping[str, Any]) -> tuple[engine.Endorsement, ...]:
    """One endorsement from the record's reader; None if it has errors."""
    try:
        return documents.parse({"format": engine.FORMAT, "endorsements": [fields]}).endorsements
    except DocumentError as problem:
        for error in problem.errors:
            errors.add(error.place.removeprefix(_PLACE).lstrip("."), error.message)
        return ()


def _fits(errors: Errors, made: engine.Endorsement, sent: Mapping[str, Any]) -> None:
    """Add errors for a kind that is not given here, and for fields that the kind does not have."""
    known = endorsements.current().kinds
    if made.kind not in known:
        errors.add(
            "kind", f"{made.kind!r} is not a kind of endorsement given here; use one of {', '.join(known)}"
        )
        return
    kind = known[made.kind]
    for name in endorsements.FIELDS:
        if name in sent and name not in kind.fields:
            errors.add(name, f"does not belong in a {made.kind} endorsement; leave it out")
    if made.limits and kind.about != SOLO:
        errors.add("limits", f"are those of solo flight and do not belong in a {made.kind} endorsement")
    if made.test and kind.tests and endorsements.sort_of(made.test) not in kind.tests:
        errors.add("test", f"{made.test!r} is not for {made.kind}; name a {' or '.join(kind.tests)} test")


@run_again
@transaction.atomic
def give(
    student: Student,
    entry: uuid.UUID,
    kind: str,
    fields: object,
    *,
    by: User,
    at: dt.datetime,
    via: str,
    judgement: str = "",
    checked_hash: str = "",
    confirmed: Mapping[str, Any] | None = None,
) -> Given:
    """Give and sign an endorsement. Sending the same again returns the first one.

    ``entry`` is the caller's own id, so that the call can be repeated. ``judgement`` is what the instructor
    adds in words. ``checked_hash`` is of the check that the instructor read, if there was one. ``confirmed``
    says how the caller re-authenticated ``by``.

    Raises: EndorsementError; NotAllowed; AgainstTheRule with the report; CheckVoid; NotInForce; Conflict if
            the id belongs to something else.
    Effects: one transaction, with the student's row locked; the access is logged.
    """
    access.require(by, "write a record", student, on=at.date())
    texts.short(EndorsementError, "judgement", judgement)
    locked = access.locked_student(student.pk)
    rows = Endorsement.objects.filter(student=locked, entry_id=str(entry))
    if (stands := rows.order_by("recorded_at", "pk").first()) is not None:
        return _again(stands, kind, fields, by=by, judgement=judgement)
    asked = read(kind, fields, locked.school.day(at), entry=str(entry))
    report = checked(locked, asked, by=by, at=at)
    if report.refusals:
        raise AgainstTheRule(report)
    if checked_hash and checked_hash != report.digest:
        raise CheckVoid(report)
    row: Endorsement = record.add(
        locked, "endorsements", report.endorsement, at=at, sealed=True, instructor_user=by
    )
    seal = _seal(locked, row, report, judgement, by=by, at=at, confirmed=confirmed)
    access.log(by, locked, access.WRITE, f"endorsement {asked.kind}", via=via, at=at)
    return Given(row, seal, created=True)


def _seal(
    student: Student,
    row: Endorsement,
    report: Checked,
    judgement: str,
    *,
    by: User,
    at: dt.datetime,
    confirmed: Mapping[str, Any] | None,
) -> EndorsementSeal:
    shown = report.as_json()
    body = {
        "endorsement": _written(report.endorsement),
        "wording": report.wording,
        "judgement": judgement,
        "by": by.pk,
        "provenance": engine.SIGNED,
        "rulebook": report.report.rulebook,
        "shown": {each["id"]: each["met"] for each in shown["rests_on"]},
        "warnings": shown["warnings"],
        "report": "sha256:" + hashlib.sha256(rfc8785.dumps(shown)).hexdigest(),
    }
    return EndorsementSeal.objects.create(
        endorsement=row,
        wording=report.wording,
        judgement=judgement,
        shown=shown,
        **seals.signed(student, "endorsement.given", body, by=by, at=at, confirmed=confirmed),
    )


def _again(stands: Endorsement, kind: str, fields: object, *, by: User, judgement: str) -> Given:
    """The endorsement given under this id, if the same was sent again. Raises: Conflict."""
    seal = EndorsementSeal.objects.filter(endorsement=stands).first()
    asked = read(kind, fields, stands.given, entry=stands.entry_id)
    written: engine.Endorsement = record.entry_of(stands, "endorsements")
    bare = dataclasses.replace(written, instructor=None, recorded=None, provenance=asked.provenance)
    same = bare == asked
    if seal is None or seal.by_id != by.pk or seal.judgement != judgement or not same:
        raise Conflict(
            f"The id {stands.entry_id} already belongs to the endorsement {stands.kind} of {stands.given},"
            " with other content. Send a new endorsement with a new id."
        )
    return Given(stands, seal, created=False)


def find(student: Student, entry: uuid.UUID) -> Endorsement:
    """The endorsement given here under that id, revoked or not. Raises: NotFound."""
    found = Endorsement.objects.filter(student=student, entry_id=str(entry), seal__isnull=False).first()
    if found is None:
        raise NotFound("endorsement of that id", "that was given by signature")
    found.student = student
    return found


@run_again
@transaction.atomic
def revoke(
    endorsement: Endorsement,
    *,
    by: User,
    reason: str,
    at: dt.datetime,
    via: str,
    confirmed: Mapping[str, Any] | None = None,
) -> Revocation:
    """Revoke an endorsement that was given here, from today at the school.

    Its row is retired. A successor with the same id and content ends yesterday, so that nothing relies on it
    from today. Questions about an earlier ``known_at`` get the same answer as before. The student's
    instructors and the school's administrators may revoke it.

    Raises: EndorsementError without a reason; NotAllowed; Conflict if it was already revoked for another.
    Effects: one transaction, with the student's row locked; signed into the ledger; the access is logged.
    """
    student = access.locked_student(endorsement.student_id)
    access.require(by, "write a record", student, on=at.date())
    texts.needed(EndorsementError, "reason", reason, "write why the endorsement ends")
    before = Revocation.objects.filter(endorsement=endorsement).first()
    if before is not None:
        if (before.by_id, before.reason) == (by.pk, reason):
            return before
        raise Conflict(f"The endorsement was revoked on {student.school.day(before.at)}: {before.reason}")
    at = max(at, endorsement.recorded_at)
    ended = _ended(endorsement, student.school.day(at), reason)
    body = {
        "entry": ended.id,
        "by": by.pk,
        "reason": reason,
        "provenance": engine.SIGNED,
        "in_its_place": _written(ended),
    }
    revocation = Revocation.objects.create(
        endorsement=endorsement,
        reason=reason,
        **seals.signed(student, "endorsement.revoked", body, by=by, at=at, confirmed=confirmed),
    )
    Endorsement.objects.filter(pk=endorsement.pk).update(retired_at=at)
    by_then = {"instructor_user_id": endorsement.instructor_user_id, "ended_by": revocation}
    record.add(student, "endorsements", ended, at=at, sealed=True, **by_then)
    access.log(by, student, access.WRITE, f"revocation of endorsement {ended.kind}", via=via, at=at)
    return revocation


def _ended(endorsement: Endorsement, day: dt.date, reason: str) -> engine.Endorsement:
    """The successor of a revoked endorsement."""
    given: engine.Endorsement = record.entry_of(endorsement, "endorsements")
    last = day - dt.timedelta(days=1)
    return dataclasses.replace(
        given,
        expires=min(last, given.expires or last),
        conditions="\n".join(filter(None, (given.conditions, f"Revoked {day}: {reason}"))),
    )


def listed(student: Student) -> list[tuple[Endorsement, EndorsementSeal | None, Revocation | None]]:
    """Every endorsement on record, newest first: the row, its signature, its revocation."""
    rows = (
        Endorsement.objects.filter(student=student, retired_at__isnull=True)
        .select_related("seal__by", "ended_by__by", "ended_by__endorsement__seal__by")
        .order_by("-given", "-pk")
    )
    return [
        (row, getattr(row.ended_by.endorsement if row.ended_by else row, "seal", None), row.ended_by)
        for row in rows
    ]


def _written(endorsement: engine.Endorsement) -> dict[str, Any]:
    """The endorsement as in a record document."""
    whole = documents.dump(engine.Record(endorsements=(endorsement,)))
    made: dict[str, Any] = whole["endorsements"][0]
    return made
