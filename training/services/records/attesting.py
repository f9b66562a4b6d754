"""Attests claimed entries: a named person entered them from a document, or compared them with it.

The person says which document it was, and re-authenticates. Attesting never makes an entry look signed: only
the school's own instructor gives a signature of theirs, and nobody else attests it.
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db import transaction

from syllabus.engine.errors import InputError
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors
from training import record
from training.models import Student, User
from training.record import Moved
from training.reports.named import instructors
from training.services import access, texts
from training.services.records import record_changes
from training.services.records.records import sent_hash
from training.services.signing import seals
from training.services.signing.reauthentication import Act, content_of

MOST_TEXT = 500
#: The most entries in one call.
MOST_ENTRIES = 1_000
#: Lists whose entries instructors sign: nobody attests a signature of another instructor of the school.
_SIGNED = ("endorsements", "tests")


class NotAttested(InputError):
    """Some entries cannot be attested; every error with its place. Nothing was written."""

    what = "the attestation"


def saw_of(text: str) -> str:
    """The document that was seen, stripped. Raises: NotAttested."""
    return texts.needed(NotAttested, "saw", text, "write which document you saw", MOST_TEXT)


def act(student: Student, entry: str, sent: Mapping[str, Any], saw: str) -> Act:
    """What the user signs to add and attest one entry. Raises: ValueError."""
    _, digest = content_of({"saw": saw, "sent": sent_hash(sent)})
    return Act(record_changes.ADDED, str(student.ref), entry, digest)


def act_on_record(student: Student, entries: Iterable[tuple[str, str]], saw: str) -> Act:
    """What the user signs to attest entries on record, in the order in which they are named."""
    listed = [{"part": part, "id": entry} for part, entry in entries]
    _, digest = content_of({"entries": listed, "saw": saw})
    return Act(record_changes.ATTESTED, str(student.ref), record_changes.WHOLE, digest)


def check(student: Student, part: str, entry: engine.Entry, by: User, place: str = "") -> None:
    """Whether ``by`` may attest an entry. Up to four queries.

    An endorsement in the name of an instructor of this school must be given here by that instructor: nobody
    attests it, not even that instructor.

    Raises: NotAttested if another instructor of this school signed it, or if it is the user's own.
    """
    if student.user_id is not None and student.user_id == by.pk:
        raise NotAttested.at(place, "is on your own record; someone else must attest it")
    named: engine.Instructor | None = getattr(entry, "instructor", None)
    if part not in _SIGNED or named is None:
        return
    meant = {each.user for each in instructors(student.school_id) if each.may_be(named)}
    whose = f"names {named.name}, by name or certificate a present or former instructor of this school, who"
    if part == "endorsements" and meant:
        own = "must give it here; nobody can attest an endorsement from this school"
        raise NotAttested.at(place, f"{whose} {own}")
    if meant - {by.pk}:
        raise NotAttested.at(place, f"{whose} alone can attest it")


@transaction.atomic
def attest(
    student: Student,
    entries: Sequence[tuple[str, str]],
    *,
    saw: str,
    by: User,
    at: dt.datetime,
    via: str,
    confirmed: Mapping[str, Any] | None,
    sent: object = None,
) -> list[Moved]:
    """Attest claimed entries, each by its list and id; returns those that were attested.

    Entries that are attested or signed already are skipped, so that the call can be repeated. ``sent``: the
    entry as sent, if it was sent with the call.

    Raises: NotAttested with every error; NotAllowed.
    Effects: one transaction, with the student's row locked; signed into the ledger; the access is logged.
             Each entry is attested from ``at`` on; before that it was a claim.
    """
    access.require(by, "write a record", student, on=at.date())
    saw = saw_of(saw)
    locked = access.locked_student(student.pk)
    wanted = _claims(locked, entries, by)
    done = []
    for part, found in wanted:
        record.vouch(locked, part, found, engine.ATTESTED, at=at)
        done.append(record.moved(part, found, engine.ATTESTED))
    if done:
        kind, named = (record_changes.ATTESTED, entries) if sent is None else (record_changes.ADDED, ())
        seal(locked, kind, done, entries=named, saw=saw, by=by, at=at, confirmed=confirmed, sent=sent)
        access.log(by, locked, access.WRITE, f"attestation of {len(done)} entries", via=via, at=at)
    return done


def _claims(student: Student, entries: Sequence[tuple[str, str]], by: User) -> list[tuple[str, engine.Entry]]:
    """The claimed ones among the entries. Raises: NotAttested with every error."""
    known, errors, wanted = record.of(student), Errors(), []
    for number, (part, name) in enumerate(dict.fromkeys(entries)):
        place = f"entries[{number}]"
        if part not in engine.Record.PARTS:
            errors.add(f"{place}.part", f"{part!r} is not a list of a record")
            continue
        found = next((each for each in getattr(known, part) if each.id == name), None)
        if found is None:
            errors.add(f"{place}.id", f"{name!r} is not on record among the {part}")
            continue
        try:
            check(student, part, found, by, place)
        except NotAttested as problem:
            errors += problem.errors
        if found.provenance == engine.CLAIMED:
            wanted.append((part, found))
    if not entries:
        errors.add("entries", "is empty; name the entries that you compared with the document")
    if len(entries) > MOST_ENTRIES:
        errors.add("entries", f"has {len(entries)} entries, at most {MOST_ENTRIES} fit")
    errors.stop(NotAttested)
    return wanted


def seal(
    student: Student,
    kind: str,
    added: Iterable[Moved],
    *,
    entries: Iterable[tuple[str, str]] = (),
    saw: str,
    by: User,
    at: dt.datetime,
    confirmed: Mapping[str, Any] | None,
    sent: object = None,
) -> int:
    """Sign the added entries with their provenance; returns the place in the ledger.

    ``entries``: those that were named, which a passkey's signature covers (``act_on_record``).
    """
    body: dict[str, Any] = {
        "added": [each.as_json() for each in added],
        **({"entries": [{"part": part, "id": entry} for part, entry in entries]} if entries else {}),
        **record_changes.named(by),
        "saw": saw,
        **({"sent": sent_hash(sent)} if sent is not None else {}),
        **({"confirmed": dict(confirmed)} if confirmed else {}),
    }
    return seals.seal(student, kind, body, at=at)
