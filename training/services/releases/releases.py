"""Asks for, decides and ends solo releases.

The instructor decides. A release against a line that is not met or unknown needs a typed reason, is marked,
and is a serious finding of the audit. A decision names the check that it was made to: if another answer or
another flight came meanwhile, it is refused with a fresh check.
"""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from training.database import run_again
from training.models import ReleaseDecision, ReleaseEnd, SoloRelease, Student, User
from training.services import access, errors, texts
from training.services.endorsements import signing_authority
from training.services.errors import Conflict, NotAsRead, Refused
from training.services.releases.release_check import (
    Checked,
    ReleaseError,
    canonical,
    checked,
    read,
    written,
)
from training.services.signing import seals

DECIDED, ENDED = "solo-release.decided", "solo-release.ended"
RELEASED, DECLINED = ReleaseDecision.DECISIONS
REPLACED = "Replaced by another request"


class NotTheCheck(NotAsRead):
    """The check differs from the one that the decision was made to; ``report`` is the fresh one."""

    def __init__(self, report: Checked):
        self.report = report
        super().__init__(
            "The flight, the record, the aircraft or the weather changed since the check. Nothing was signed."
            " Read the new check, then decide.",
            facts={"check": report.as_json()},
        )


@dataclass(frozen=True, slots=True)
class Asked:
    """The request, and whether this call made it."""

    release: SoloRelease
    created: bool


def check(student: Student, flight: object, *, by: User, at: dt.datetime, via: str) -> Checked:
    """The check of a planned flight now; writes only the access log.

    Raises: NotAllowed; ReleaseError with every error of the flight; NotInForce; NotCovered.
    """
    access.require(by, "ask for a release", student, on=at.date())
    planned = read(flight)
    access.log(by, student, access.READ, "check of a solo release", via=via, at=at)
    return checked(student, planned, at=at)


@run_again
@transaction.atomic
def ask(
    student: Student,
    entry: uuid.UUID,
    flight: object,
    *,
    by: User,
    at: dt.datetime,
    via: str,
    replaces: uuid.UUID | None = None,
) -> Asked:
    """Ask for a release. Sending the same again returns the first one.

    ``entry`` is the caller's own id. ``replaces`` is the request or release whose flight changed: it ends.

    Raises: NotAllowed; ReleaseError; NotFound; Conflict if the id belongs to something else, or what it
            replaces ended already.
    """
    access.require(by, "ask for a release", student, on=at.date())
    planned = read(flight)
    locked = access.locked_student(student.pk)
    there = SoloRelease.objects.filter(pk=entry).first()
    if there is not None:
        same = (locked.pk, by.pk, written(planned), replaces)
        if (there.student_id, there.by_id, there.flight, there.replaces_id) != same:
            raise Conflict(f"The id {entry} already belongs to something else. Send a new id.")
        return Asked(there, created=False)
    before = find(locked, replaces) if replaces else None
    if before is not None:
        _end(before, REPLACED, by=by, at=at)
    made = SoloRelease.objects.create(
        pk=entry,
        school=locked.school,
        student=locked,
        by=by,
        at=at,
        flight=written(planned),
        replaces=before,
    )
    access.log(by, locked, access.WRITE, f"request of solo release {entry}", via=via, at=at)
    return Asked(made, created=True)


def find(student: Student, entry: uuid.UUID) -> SoloRelease:
    """One of the student's requests. Raises: NotFound."""
    found = errors.find(listed(student), "solo release of that id", pk=entry)
    found.student = student
    return found


def listed(student: Student) -> QuerySet[SoloRelease, SoloRelease]:
    """The student's requests with decision and end, newest first."""
    rows = SoloRelease.objects.filter(student=student)
    return rows.select_related("by", "decision__by", "end__by", "replacement")


@run_again
@transaction.atomic
def decide(
    release: SoloRelease,
    decision: str,
    *,
    by: User,
    at: dt.datetime,
    via: str,
    checked_as: str,
    lines_confirmed: Iterable[str] = (),
    reason: str = "",
    confirmed: Mapping[str, Any] | None = None,
) -> ReleaseDecision:
    """Release the student for the flight, or decline. Sending the same again returns the decision.

    ``checked_as`` is the hash of the check that the instructor read; ``confirmed`` says how the caller
    re-authenticated ``by``.

    Raises: NotAllowed; Refused if ``by`` may not sign for this student today; NotTheCheck with a fresh check;
            ReleaseError without a reason where one is needed; Conflict if it is decided or ended.
    Effects: one transaction, with the student's row locked; signed into the ledger; the access is logged.
    """
    student = access.locked_student(release.student_id)
    access.require(by, "write a record", student, on=at.date())
    current, lines = find(student, release.pk), sorted(set(lines_confirmed))
    if decision not in ReleaseDecision.DECISIONS:
        raise ReleaseError.at("decision", f"{decision!r} is not one of {RELEASED}, {DECLINED}")
    reason = texts.short(ReleaseError, "reason", reason.strip())
    if (before := getattr(current, "decision", None)) is not None:
        said = (before.by_id, before.decision, before.checked, before.lines_confirmed, before.reason)
        if said == (by.pk, decision, checked_as, lines, reason):
            return before
    if current.state(at) != SoloRelease.State.REQUESTED:
        raise Conflict("This request is already decided or ended. Ask for another release.")
    may_sign(student, by, at)
    found = checked(student, read(current.flight), at=at)
    if found.digest != checked_as:
        raise NotTheCheck(found)
    _known(found, lines)
    final = checked(student, read(current.flight), at=at, confirmed=lines)
    against = decision == RELEASED and not final.answer.met
    if (against or decision == DECLINED) and not reason:
        need = "write why you release it although a line is not met or unknown" if against else "write why"
        raise ReleaseError.at("reason", f"is empty; {need}")
    return _decided(
        current, decision, found, final, lines, reason, against, by=by, at=at, via=via, confirmed=confirmed
    )


def check_of(release: SoloRelease, at: dt.datetime) -> Checked:
    """The check of a request now. Raises: ReleaseError if an earlier version's flight cannot be read."""
    return checked(release.student, read(release.flight), at=at)


def may_sign(student: Student, by: User, at: dt.datetime) -> None:
    """Require signing authority for this student today. Raises: Refused with each reason."""
    if refusals := signing_authority.refusals(by, student, student.school.day(at)):
        raise Refused(
            " ".join(each.message for each in refusals), errors=[each.error("") for each in refusals]
        )


def _known(found: Checked, lines: Iterable[str]) -> None:
    confirmable = found.to_confirm
    if unknown := [each for each in lines if each not in confirmable]:
        raise ReleaseError.at("lines_confirmed", f"{unknown[0]!r} is not a line to confirm")


def _decided(
    release: SoloRelease,
    decision: str,
    found: Checked,
    final: Checked,
    lines: list[str],
    reason: str,
    against: bool,
    *,
    by: User,
    at: dt.datetime,
    via: str,
    confirmed: Mapping[str, Any] | None,
) -> ReleaseDecision:
    ends = final.ends_at if decision == RELEASED else None
    body = {
        "release": str(release.pk),
        "by": by.pk,
        "decision": decision,
        "reason": reason,
        "check": found.text,
        "checked": found.digest,
        "lines_confirmed": lines,
        "against": against,
        "answer": canonical(final.as_json()),
        "ends_at": ends.isoformat() if ends else None,
    }
    made = ReleaseDecision.objects.create(
        release=release,
        decision=decision,
        reason=reason,
        checked=found.digest,
        answer=final.as_json(),
        lines_confirmed=lines,
        against=against,
        ends_at=ends,
        **seals.signed(release.student, DECIDED, body, by=by, at=at, confirmed=confirmed),
    )
    access.log(by, release.student, access.WRITE, f"solo release {release.pk}: {decision}", via=via, at=at)
    return made


@run_again
@transaction.atomic
def end(release: SoloRelease, reason: str, *, by: User, at: dt.datetime, via: str) -> ReleaseEnd:
    """End a release or withdraw a request: the student, or an instructor of the student.

    Raises: NotAllowed; ReleaseError without a reason; Conflict if it ended for another reason or was
            declined.
    """
    student = access.locked_student(release.student_id)
    access.require(by, "ask for a release", student, on=at.date())
    reason = texts.needed(ReleaseError, "reason", reason, "write why it ends")
    current = find(student, release.pk)
    if (before := getattr(current, "end", None)) is not None and (before.by_id, before.reason) == (
        by.pk,
        reason,
    ):
        return before
    made = _end(current, reason, by=by, at=at)
    access.log(by, student, access.WRITE, f"end of solo release {release.pk}", via=via, at=at)
    return made


def _end(release: SoloRelease, reason: str, *, by: User, at: dt.datetime) -> ReleaseEnd:
    if release.state(at) in (SoloRelease.State.DECLINED, SoloRelease.State.ENDED):
        raise Conflict("This release has ended or was declined already.")
    body = {"release": str(release.pk), "by": by.pk, "reason": reason}
    return ReleaseEnd.objects.create(
        release=release,
        reason=reason,
        **seals.signed(release.student, ENDED, body, by=by, at=at, confirmed=None),
    )
