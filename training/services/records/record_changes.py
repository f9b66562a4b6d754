"""Replaces a whole record: records who and why, signs the change, and notifies the student.

A document can claim anything, so its entries are claims until somebody attests them or signs here. What was
signed here stays unchanged, or the document is refused.
"""

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from syllabus.engine.errors import InputError
from syllabus.engine.record import record as engine
from training import record
from training.ledger.core import assertions
from training.models import Delivery, Guardian, Notice, RecordChange, Student, User
from training.record import Replaced
from training.services import texts
from training.services.reminders import recipients
from training.services.reminders.recipients import Recipient
from training.services.signing import seals
from training.services.signing.reauthentication import Act, content_of

#: Kinds of ledger entries: a record was replaced or imported; an entry was added; entries were attested.
REPLACED, ADDED, ATTESTED = "record.replaced", "record.added", "record.attested"
#: The subject of a passkey's statement about a replacement: the whole record.
WHOLE = assertions.WHOLE_RECORD
MOST_REASON = 2_000
#: Ids of a signed lesson's own entries, and of what follows from them.
_OF_A_LESSON = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}/|.*/proof/", re.IGNORECASE | re.DOTALL)
#: The error of an entry that has such an id and is not on record.
PLANTED = "is an id that only a lesson signed here may have; give the entry another"


class ReasonError(InputError):
    """No reason was given for the change."""

    what = "the change"


def reason_of(text: str) -> str:
    """The reason for a change, stripped. Raises: ReasonError."""
    return texts.needed(
        ReasonError, "reason", text.replace("\r\n", "\n"), "write why the record is changed", MOST_REASON
    )


def planted(stands: engine.Record, found: engine.Record) -> Iterator[tuple[str, str]]:
    """The list and id of each entry that looks like a signed lesson's own, and is not on record as one.

    It does not include changed entries that were signed here, which are refused as signed.
    """
    for part in engine.Record.PARTS:
        own = [each for each in getattr(found, part) if _OF_A_LESSON.match(each.id)]
        known = {each.id: each for each in getattr(stands, part)} if own else {}
        for entry in own:
            there = known.get(entry.id)
            if there is not None and there.provenance == engine.SIGNED:
                continue
            if there is None or record.entry_hash(part, there) != record.entry_hash(part, entry):
                yield part, entry.id


def act(student: Student, sent: str, reason: str) -> Act:
    """What the user signs to replace a record: ``sent`` is the hash of the new one."""
    _, digest = content_of({"reason": reason, "sent": sent})
    return Act(REPLACED, str(student.ref), WHOLE, digest)


def named(by: User | None) -> dict[str, Any]:
    """Who did it, for the ledger; None is the server's operator."""
    return {"by": by and by.pk, "by_name": str(by) if by else ""}


def said(
    *, by: User | None, reason: str, sent: str, via: str, confirmed: Mapping[str, Any] | None
) -> dict[str, Any]:
    """What the ledger has of every change of a record, besides the entries added and removed."""
    made = {**named(by), "reason": reason, "sent": sent, "via": via}
    return {**made, "confirmed": dict(confirmed)} if confirmed else made


def replace(
    student: Student,
    found: engine.Record,
    *,
    by: User,
    at: dt.datetime,
    reason: str,
    sent: str,
    via: str,
    confirmed: Mapping[str, Any] | None = None,
) -> RecordChange | None:
    """Replace a student's record; None if nothing differs.

    ``sent`` is the hash of what was sent, which a passkey's signature covers (``act``).

    Raises: ReasonError; SealedEntry.
    Effects: in the caller's transaction; signed into the school's ledger; the student gets a notice and an
             e-mail, and a minor's guardians too if name or birth date changed.
    """
    why, told = reason_of(reason), guardians(student, at)
    person: list[bool] = []

    def seal(done: Replaced, when: dt.datetime) -> int:
        person.append(done.person is not None)
        beside = said(by=by, reason=why, sent=sent, via=via, confirmed=confirmed)
        return seals.seal(student, REPLACED, {**done.as_json(), **beside}, at=when)

    change = record.store(student, found, by=by, at=at, reason=why, confirmed=confirmed, seal=seal)
    if change is not None:
        tell(student, change, guardians=told if any(person) else None)
    return change


def tell(student: Student, change: RecordChange, *, guardians: list[Guardian] | None) -> None:
    """Notify the student of a change; the guardians too if it is of name or birth date.

    ``guardians``: those who got e-mails about the student before the change; None if neither changed.
    """
    kind = Notice.Kind.RECORD_CHANGED if guardians is None else Notice.Kind.PERSON_CHANGED
    Notice.objects.create(
        school_id=student.school_id,
        student=student,
        user_id=student.user_id,
        kind=kind,
        about=str(change.pk),
        at=change.at,
    )
    on = student.school.day(change.at)
    if student.user is not None and student.user.is_active:
        for one in recipients.of_users([(student.user, recipients.ONESELF)], student.school):
            if one.email:
                _mail(student, change, kind, one)
    if guardians is not None:
        # Guardians of before and after, so that they learn of a birth date that makes the student of age.
        known = {each.pk: each for each in (*guardians, *recipients.guardians(student, on))}
        for each in known.values():
            _mail(student, change, kind, recipients.of_guardian(each, student.school))


def guardians(student: Student, at: dt.datetime) -> list[Guardian]:
    """A minor's guardians who get e-mails about the student now."""
    return recipients.guardians(student, student.school.day(at))


def _mail(student: Student, change: RecordChange, kind: str, one: Recipient) -> None:
    with translation.override(one.language):
        text = _WORDS[kind](student, change)
    Delivery.objects.create(
        school_id=student.school_id,
        kind=Delivery.Kind.NOTICE,
        key=f"{kind}:{change.pk}:{one.key}",
        student=student,
        user=one.user,
        guardian=one.guardian,
        text=text,
        send_after=one.from_then(change.at),
        created_at=change.at,
    )


def _changed(student: Student, change: RecordChange) -> str:
    counts = list(change.counts.values())
    came = sum(each["added"] + each["changed"] for each in counts)
    went = sum(each["changed"] + each["removed"] for each in counts)
    return " ".join(
        (
            _("%(by)s changed the training record of %(student)s at %(school)s.") % _said(student, change),
            ngettext("%d entry was added,", "%d entries were added,", came) % came,
            ngettext("%d was removed.", "%d were removed.", went) % went,
            _("Reason: %(reason)s") % {"reason": change.reason},
        )
    )


def _person(student: Student, change: RecordChange) -> str:
    return " ".join(
        (
            _("%(by)s changed the name or birth date of %(student)s on record at %(school)s.")
            % _said(student, change),
            _("Reason: %(reason)s") % {"reason": change.reason},
            _("If this is wrong, tell the school."),
        )
    )


def _said(student: Student, change: RecordChange) -> dict[str, str]:
    by = str(change.by) if change.by else _("the server's operator")
    return {"by": by, "student": student.name or _("a student"), "school": student.school.name}


_WORDS: Mapping[str, Callable[[Student, RecordChange], str]] = {
    Notice.Kind.RECORD_CHANGED: _changed,
    Notice.Kind.PERSON_CHANGED: _person,
}
