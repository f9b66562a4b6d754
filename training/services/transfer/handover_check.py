"""Reads another school's file of a record and compares it with the record here. Writes nothing."""

import datetime as dt
import hashlib
import uuid
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from syllabus.engine.course import proving
from syllabus.engine.errors import DocumentError, Error, InputError
from syllabus.engine.record import document as documents
from syllabus.engine.record import reading
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors
from training import record
from training.ledger.core import sealed
from training.ledger.store import keys
from training.ledger.verify import handover
from training.models import ForeignEntry, HandOver, LessonRecord, School, Student
from training.services.records import record_changes
from training.services.records.records import wrong_days
from training.services.transfer import handover_proofs

_KEYS = f"{handover.LEDGER}: keys"
#: The columns of an imported ledger entry, besides its tree and when it was signed there.
_FOREIGN = ("index", "kind", "subject", "commitment", "body", "salt")


class HandOverError(InputError):
    """The file cannot be imported; every error with its place. Nothing was written."""

    what = "the file"


def hash_of(data: bytes) -> str:
    return "sha256:" + hashlib.sha256(data).hexdigest()


@dataclass(frozen=True)
class Incoming:
    """A file that passed every check: its contents, its signed manifest, and its record.

    ``trust``: the ids of the keys that the caller trusts for it.
    """

    found: handover.Checked
    manifest: dict[str, Any]
    record: engine.Record
    sent: str
    trust: frozenset[str]

    @property
    def subject(self) -> str:
        """The student's reference at the other school."""
        return str(self.manifest["subject"])

    @property
    def model(self) -> str:
        """The aircraft model that the student normally trains in."""
        return str(self.manifest["about"].get("training_model") or "")[:60]

    @cached_property
    def about(self) -> dict[str, Any]:
        """Where the record comes from, for the row and for the ledger entry."""
        about = self.manifest["about"]
        return {
            "origin": str(about.get("school") or "")[:200],
            "origin_tree": self.manifest["tree"],
            "origin_subject": self.manifest["subject"],
            "kid": self.found.ledger.kid,
            "size": self.manifest["size"],
            "root": self.manifest["root"],
            "manifest": hash_of(self.found.files[handover.MANIFEST]),
            "rulebook": str(about.get("rulebook") or "")[:80],
        }

    @cached_property
    def proven(self) -> handover_proofs.Hashes:
        """The hash of each entry that the other ledger proves."""
        return handover_proofs.proven_by(self.found)


def read(raw: bytes, trust: Collection[str], today: dt.date) -> Incoming:
    """Check a file and read it. Raises: HandOverError with every error."""
    believed = sorted({*trust, *keys.known()})
    found = handover.check(raw, trusted=believed or ["(no key is trusted here)"])
    if not found.whole or found.manifest is None:
        raise HandOverError(
            _untrusted(found, believed) or [Error(each.place, each.says) for each in found.faults]
        )
    try:
        document = reading.loads(found.files[handover.RECORD], error=DocumentError)
        made = documents.parse(document)
        if wrong := wrong_days(document, made, today):
            raise DocumentError(wrong)
    except DocumentError as problem:
        raise HandOverError(
            [Error(f"{handover.RECORD}: {error.place}", error.message) for error in problem.errors]
        ) from None
    return Incoming(found, found.manifest, made, hash_of(raw), frozenset(trust))


def _untrusted(found: handover.Checked, believed: Sequence[str]) -> list[Error]:
    """The one error to report of a file whose keys are not trusted here."""
    if not any(error.place == _KEYS for error in found.faults):
        return []
    try:
        listed = [str(each["kid"]) for each in found.document(handover.LEDGER)["keys"]]
    except (ValueError, KeyError, TypeError):
        return []
    if set(listed) & set(believed):
        return []
    return [
        Error(
            _KEYS,
            f"signed with {', '.join(listed) or 'no key'}, which is not trusted here; compare the id with the"
            " one that the school publishes, then trust it (--trust ID)",
        )
    ]


def taken_before(incoming: Incoming, school: School) -> HandOver | None:
    """The last file of the same student that was imported here.

    Raises: HandOverError if the student is the school's own, or if this file does not continue that one.
    """
    if _own(incoming.subject, school):
        raise HandOverError.at(
            "manifest.jws", f"is the record of a student of this school, {incoming.subject}"
        )
    before = HandOver.objects.filter(school=school, origin_subject=incoming.subject, student__erased_at=None)
    last = before.select_related("student__school").order_by("-size", "-pk").first()
    if last is not None and last.manifest != incoming.about["manifest"]:
        _refuse_another(last, incoming)
    return last


def refuse_planted(incoming: Incoming, student: Student | None) -> None:
    """Raises: HandOverError for an entry with a signed lesson's id but no ledger entry of that lesson."""
    lessons = {proving.lesson_of(name) for _, name in incoming.proven if "/" in name}
    stands = record.of(student) if student else engine.Record()
    errors = Errors()
    for part, name in record_changes.planted(stands, incoming.record):
        if proving.lesson_of(name) not in lessons:
            errors.add(f"{handover.RECORD}: {part}", f"{name!r} {record_changes.PLANTED}")
    errors.stop(HandOverError)


def _own(subject: str, school: School) -> bool:
    try:
        return Student.objects.filter(ref=uuid.UUID(subject), school=school).exists()
    except ValueError:
        return False


def _refuse_another(last: HandOver, incoming: Incoming) -> None:
    """Raises: HandOverError if the file does not continue the one that was imported before.

    It must be of the same ledger, and signed with the same key or one that the caller trusts now. Otherwise
    the holder of one school's key could replace another school's record.
    """
    manifest, kid, wrong = incoming.manifest, incoming.found.ledger.kid, None
    if manifest["tree"] != last.origin_tree:
        wrong = Error(
            handover.MANIFEST,
            f"is of the ledger {manifest['tree']}; the record of {incoming.subject} here came from"
            f" {last.origin_tree} of {last.origin}",
        )
    elif kid != last.kid and kid not in incoming.trust:
        wrong = Error(
            _KEYS,
            f"signed with {kid}, the file imported before with {last.kid}; compare the new id with the one"
            " that the school publishes, then trust it (--trust ID)",
        )
    elif sealed.instant_of(manifest["at"]) <= last.made_at:
        wrong = Error(
            "manifest.jws",
            f"was signed {manifest['at']}; one of {sealed.instant_text(last.made_at)} was already imported."
            " Ask the school for a new file",
        )
    if wrong:
        raise HandOverError([wrong])


def new_entries(incoming: Incoming, last: HandOver | None) -> list[dict[str, Any]]:
    """The ledger entries that are new. Raises: HandOverError if one imported before changed."""
    tree = incoming.manifest["tree"]
    listed = {each["index"]: each for each in incoming.found.document(handover.LEDGER)["entries"]}
    rows = ForeignEntry.objects.filter(student=last.student if last else None, tree=tree)
    held = dict(rows.values_list("index", "commitment"))
    errors = Errors()
    for index, commitment in held.items():
        if index not in listed:
            errors.add(f"ledger.json: entry {index}", "is missing, but was in the file imported before")
        elif listed[index]["commitment"] != commitment:
            errors.add(f"ledger.json: entry {index}", "differs from the file imported before")
    errors.stop(HandOverError)
    return [
        {
            **{key: each[key] for key in _FOREIGN},
            "tree": tree,
            "sealed_at": each["at"],
            "verified": each["body"] is not None,
        }
        for index, each in listed.items()
        if index not in held
    ]


def merged(student: Student, incoming: engine.Record, last: HandOver | None) -> engine.Record:
    """The imported entries and the school's own. Raises: HandOverError if an id means two things."""
    if last is None:
        return incoming
    stands = record.of(student)
    signed = LessonRecord.objects.filter(student=student, state=LessonRecord.State.SIGNED)
    lessons = {str(pk) for pk in signed.values_list("pk", flat=True)}
    errors = Errors()
    parts: dict[str, tuple[Any, ...]] = {}
    for part in incoming.PARTS:
        brought = set(last.brought.get(part, ()))
        own = {
            each.id: each
            for each in getattr(stands, part)
            if each.id not in brought and not _follows(each.id, lessons)
        }
        came = [each for each in getattr(incoming, part) if not _follows(each.id, lessons)]
        for number, each in enumerate(came):
            here = own.get(each.id)
            if here is not None and not record.same(here, each):
                errors.add(
                    f"record.json: {part}[{number}].id",
                    f"{each.id!r} is already on record here with other content",
                )
        parts[part] = (*own.values(), *(each for each in came if each.id not in own))
    errors.stop(HandOverError)
    return engine.Record(student=incoming.student, **parts)


def _follows(entry: str, lessons: set[str]) -> bool:
    """Whether an entry is a proof of a lesson signed here, which is computed and never stored."""
    return proving.MARK in entry and proving.lesson_of(entry) in lessons
