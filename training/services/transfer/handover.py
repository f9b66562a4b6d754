"""A student's whole record in one file that needs this server no more, and such a file from another school.

The file is a ZIP rather than one JSON document, for the student who opens it wants pages, not hashes; what is
in it, and how it is checked, stands in ``training.ledger.verify.handover``. Taking one over writes everything
or nothing: whatever does not fit is named by its place.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db import transaction

from syllabus.courses import files as courses
from syllabus.courses import outlines
from syllabus.engine.course import proving
from syllabus.engine.errors import DocumentError, Fault, FaultsFound
from syllabus.engine.record import document as documents
from syllabus.engine.record import reading
from syllabus.engine.record import record as engine
from syllabus.law import rulebook
from syllabus.models import CourseVersion
from training import pdf, record, reports
from training.ledger.core import package, sealed
from training.ledger.core.statements import from_base64url
from training.ledger.store import export, keys
from training.ledger.verify import handover
from training.models import (
    Acknowledgement,
    Correction,
    CourseMove,
    EndorsementSeal,
    Enrolment,
    ForeignEntry,
    HandOver,
    LessonRecord,
    RecordChange,
    School,
    SignOff,
    Student,
    User,
)
from training.reports.named import instructors as instructors_of
from training.services import access
from training.services.records import record_changes
from training.services.records.records import new_student, wrong_days
from training.services.signing import seals
from training.services.signing.reauthentication import Act, Confirmed, content_of
from training.services.transfer import handover_pages, handover_proofs
from training.services.transfer.handover_proofs import TAKEN_OVER

#: By way of which nobody need confirm anything: whoever runs the server is believed about who it is.
COMMAND_LINE = "command"
#: Makes sure that it is the user who does this, now; gives what is sealed with it.
Confirm = Callable[[Act], Confirmed]
#: So that every entry says when it was put on record, whatever the clock.
_EVER = dt.datetime(9999, 1, 1, tzinfo=dt.UTC)
_README = """This is the training record of one student, handed over by {school} on {day}.

Read: record.pdf, endorsements.pdf and one page for each signed lesson in lessons/.
Machines read: record.json (the record document), ledger.json (every sealed entry about the student with its
proof, the signed checkpoint and the public keys), manifest.jws (the signed list of these files), courses/.

Check that no byte was changed, without this school's server, on a machine with Python and its package
'cryptography':

    python -m training.ledger.verify THIS-FILE --key {kid}

Compare the key's id with the one that the school publishes elsewhere: who forges the file forges this page.
"""


class HandOverError(FaultsFound):
    """A hand-over cannot be taken over; every fault with its place. Nothing was written."""

    what = "the hand-over"


@dataclass(frozen=True, slots=True)
class Taken:
    """Whose record it is here; how it was taken over, None where the same was before; what changed."""

    student: Student
    hand_over: HandOver | None
    change: RecordChange | None
    created: bool


def make(student: Student, *, by: User | None, at: dt.datetime, via: str) -> bytes:
    """The file of a student's whole record, for whoever may read it.

    That it was handed over is sealed itself, with the hash of the record document. Not to be called inside a
    transaction: a checkpoint is signed over what is committed.

    Raises: NotAllowed; ImproperlyConfigured without a key that signs.
    """
    access.require(by, "read a record", student, on=at.date())
    signer = keys.signer()
    document = documents.dump(record.of(student, known_at=_EVER), provenance=True)
    written = json.dumps(document, ensure_ascii=False, indent=1).encode()
    with transaction.atomic():
        access.log(by, student, access.READ, "hand-over", via=via, at=at)
        said = {"record": _hash(written), "by": by and by.pk}
        seals.seal(student, "record.handed-over", said, at=at)
    tree, subject = seals.tree_of(student.school_id), str(student.ref)
    exported = export.export(tree, at=at, subjects=[subject])
    versions = _courses(student)
    on = student.school.day(at)
    files = {
        handover.RECORD: written,
        handover.LEDGER: json.dumps(exported, ensure_ascii=False, indent=1).encode(),
        "README.txt": _README.format(school=student.school.name, day=on, kid=signer.kid).encode(),
        **_pages(student, document, at),
        **{name: text for name, (_, text) in versions.items()},
    }
    checkpoint = sealed.strict_json(from_base64url(exported["checkpoint"].split(".")[1], "the checkpoint"))
    manifest = {
        "format": sealed.HAND_OVER,
        **{name: checkpoint[name] for name in ("tree", "size", "root")},
        "at": sealed.instant_text(at),
        "subject": subject,
        "about": {
            "school": student.school.name,
            "training_model": student.training_model,
            "on": on.isoformat(),
            "rulebook": rulebook.current().id,
            "rulebook_with_school_and_course": reports.rules_of(student, on).id,
            "courses": [said for said, _ in versions.values()],
        },
        "files": handover.listing(files),
    }
    return package.write({**files, handover.MANIFEST: signer.sign(sealed.canonical(manifest)).encode()})


def _hash(data: bytes) -> str:
    return "sha256:" + hashlib.sha256(data).hexdigest()


def _courses(student: Student) -> dict[str, tuple[str, bytes]]:
    """Every version of a course that the student was taught by: its file, what it is called, its text."""
    of_student = {"student": student}
    wanted = {
        *Enrolment.objects.filter(**of_student).values_list("course_version", flat=True),
        *LessonRecord.objects.filter(**of_student).values_list("course_version", flat=True),
        *CourseMove.objects.filter(**of_student).values_list("from_version", flat=True),
    } - {None}
    found = {}
    for version in CourseVersion.objects.filter(pk__in=wanted).select_related("course").order_by("pk"):
        whose = "-of-the-school" if version.course.school_ref else ""
        name = f"courses/{version.course.code}{whose}-{version.number}.yaml"
        said = f"{version.course.code} {version.number} {version.content_hash}"
        found[name] = (said, courses.write(outlines.outline(version)).encode())
    return found


def _pages(student: Student, document: dict[str, Any], at: dt.datetime) -> dict[str, bytes]:
    wordings = dict(
        EndorsementSeal.objects.filter(student=student).values_list("endorsement__entry_id", "wording")
    )
    found = {
        "record.pdf": pdf.make("record", handover_pages.record(student, document, at), at=at),
        "endorsements.pdf": pdf.make(
            "endorsements", handover_pages.endorsements(student, document, wordings, at), at=at
        ),
    }
    known = {each.sign_off_id: each for each in Acknowledgement.objects.filter(student=student)}
    corrected = {each.lesson_id: each for each in Correction.objects.filter(student=student)}
    for signed in SignOff.objects.filter(student=student).select_related("lesson").order_by("pk"):
        data = handover_pages.lesson(
            student, signed.lesson, signed, known.get(signed.pk), corrected.get(signed.lesson_id), at
        )
        found[f"lessons/{signed.lesson_id}.pdf"] = pdf.make("lesson", data, at=at)
    return found


def take(
    raw: bytes,
    *,
    school: School,
    trust: Iterable[str] = (),
    by: User | None,
    at: dt.datetime,
    via: str,
    reason: str = "",
    confirm: Confirm | None = None,
) -> Taken:
    """Take over a record that another school handed over: a new student of ``school``, or a newer state.

    Its sealed entries are kept as they are, with their origin; the entries of its record document come on
    record and count as the rules allow. Those that a verified sealed entry says are taken over; what nobody
    vouched for there is a claim here too. Of a student who was taken over before, the entries that came then
    give way to those of the newer file; what was recorded here since stays. ``trust`` are ids of keys that
    the caller compared with what the other school publishes; those of this installation are trusted.

    It says why (``reason``), and is confirmed once more by whoever does it (``confirm``) together with the
    keys that are trusted, as an import is; the command line alone is believed about who it is. The same file
    again changes nothing, and asks for nothing.

    Raises: HandOverError with every fault, before anything is written; NotAllowed for whoever does not
            administer the school; ReasonError; whatever ``confirm`` raises.
    Effects: one transaction; sealed in the school's own ledger; the access is logged.
    """
    access.require(by, "take over a record", school)
    trust = set(trust)
    believed = sorted({*trust, *keys.known()})
    found = handover.check(raw, trusted=believed or ["(none is known here)"])
    if not found.whole or found.manifest is None:
        raise HandOverError(_untrusted(found, believed) or _faults(found.faults))
    incoming = _document(found, school.day(at))
    with transaction.atomic():
        given = _Given(_hash(raw), reason, via, confirm, tuple(sorted(trust)))
        return _taken(found, found.manifest, incoming, school, trust, by, at, given)


@dataclass(frozen=True, slots=True)
class _Given:
    """What goes along with a file: the hash of its bytes, why it is taken over, who confirms it, and the keys
    that are trusted for it."""

    sent: str
    reason: str
    via: str
    confirm: Confirm | None
    trust: tuple[str, ...]

    def settled(self, subject: str) -> tuple[str, Confirmed]:
        """Why a record is taken over, and what confirms it. Raises: ReasonError; as ``confirm``."""
        why = record_changes.reason_of(self.reason)
        if self.confirm is not None:
            return why, self.confirm(act(subject, self.sent, why, self.trust))
        if self.via != COMMAND_LINE:
            raise ValueError("nobody is believed without a confirmation but the command line")
        return why, {}


def act(subject: str, sent: str, reason: str, trust: Sequence[str] = ()) -> Act:
    """What is confirmed where a record is taken over: ``sent`` is the hash of the file.

    ``subject`` is the student's reference here, or that of the file where the student is new here.
    """
    trusted = {"trust": list(trust)} if trust else {}
    _, digest = content_of({"reason": reason, "sent": sent, **trusted})
    return Act(TAKEN_OVER, subject, record_changes.WHOLE, digest)


def _faults(found: Iterable[Any]) -> list[Fault]:
    return [Fault(each.place, each.says) for each in found]


def _untrusted(found: handover.Checked, believed: Sequence[str]) -> list[Fault]:
    """The one thing to say about a file whose keys nobody here trusts."""
    if not any(fault.place == f"{handover.LEDGER}: keys" for fault in found.faults):
        return []
    try:
        listed = [str(each["kid"]) for each in found.document(handover.LEDGER)["keys"]]
    except (ValueError, KeyError, TypeError):
        return []
    if set(listed) & set(believed):
        return []
    return [
        Fault(
            f"{handover.LEDGER}: keys",
            f"it is signed with {', '.join(listed) or 'no key'}, which is not trusted here; compare the id "
            "with what that school publishes, then say that you trust it (--trust ID)",
        )
    ]


def _document(found: handover.Checked, today: dt.date) -> engine.Record:
    try:
        return _read(reading.loads(found.files[handover.RECORD], error=DocumentError), today)
    except DocumentError as problem:
        raise HandOverError(
            [Fault(f"{handover.RECORD}: {fault.place}", fault.message) for fault in problem.faults]
        ) from None


def _read(document: Any, today: dt.date) -> engine.Record:
    """Raises: DocumentError, also for a day that cannot be (``wrong_days``)."""
    made = documents.parse(document)
    if wrong := wrong_days(document, made, today):
        raise DocumentError(wrong)
    return made


def _taken(
    found: handover.Checked,
    manifest: dict[str, Any],
    incoming: engine.Record,
    school: School,
    trust: Collection[str],
    by: User | None,
    at: dt.datetime,
    given: _Given,
) -> Taken:
    subject, manifest_hash = manifest["subject"], _hash(found.files[handover.MANIFEST])
    School.objects.select_for_update().get(pk=school.pk)  # two at once make one student
    if _own(subject, school):
        raise HandOverError([Fault("manifest.jws", f"is the record of this school's own student {subject}")])
    before = HandOver.objects.filter(school=school, origin_subject=subject, student__erased_at=None)
    last = before.select_related("student__school").order_by("-size", "-pk").first()
    if last is not None and last.manifest == manifest_hash:
        return Taken(last.student, None, None, created=False)
    _refuse_another(last, found, manifest, trust)
    why, confirmed = given.settled(str(last.student.ref) if last else subject)
    student = last.student if last else new_student(incoming.student.name, school, None, at)
    rows, told = _foreign(found, manifest, last), record_changes.guardians(student, at)
    merged = _merged(student, incoming, last)
    proven = handover_proofs.proven_by(found)
    _refuse_planted(student if last else None, incoming, {name for _, name in proven})
    vouches = _vouching(proven, handover_proofs.sealed_here(student, incoming.student), school)
    brought: list[record.Replaced] = []

    def keep(done: record.Replaced, _: dt.datetime) -> None:
        brought.append(done)

    change = record.store(
        student, merged, by=by, at=at, reason=why, confirmed=confirmed, vouches=vouches, seal=keep
    )
    model = str(manifest["about"].get("training_model") or "")[:60]
    if not student.training_model and model:
        Student.objects.filter(pk=student.pk).update(training_model=model)
        student.training_model = model
    about = _about(found, manifest, manifest_hash)
    said = {
        **about,
        **record_changes.named(by),
        "reason": why,
        "sent": given.sent,
        **({"trust": list(given.trust)} if given.trust else {}),
        "via": given.via,
        **({"confirmed": confirmed} if confirmed else {}),
        **(brought[0].as_json() if brought else {}),
    }
    index = seals.seal(student, TAKEN_OVER, said, at=at)
    if change is not None and last is not None:
        record_changes.tell(student, change, guardians=told if brought[0].person else None)
    made = HandOver.objects.create(
        school=school,
        student=student,
        made_at=sealed.instant_of(manifest["at"]),
        brought={part: [each.id for each in getattr(incoming, part)] for part in incoming.PARTS},
        by=by,
        at=at,
        ledger_tree=seals.tree_of(school),
        ledger_index=index,
        **about,
    )
    ForeignEntry.objects.bulk_create(
        ForeignEntry(school=school, student=student, hand_over=made, kid=found.ledger.kid, **row)
        for row in rows
    )
    access.log(by, student, access.WRITE, "hand-over taken over", via=given.via, at=at)
    return Taken(student, made, change, created=last is None)


def _vouching(
    proven: Mapping[tuple[str, str], str], own: Mapping[tuple[str, str], str], school: School
) -> Callable[[str, engine.Entry], str]:
    """Who vouches for an entry: the other ledger where it proves it, and ours too where one of us signed."""
    instructors = list(instructors_of(school.pk))

    def vouches(part: str, entry: engine.Entry) -> str:
        key, says = (part, entry.id), record.entry_hash(part, entry)
        named: engine.Instructor | None = getattr(entry, "instructor", None)
        ours = named is not None and any(each.may_be(named) for each in instructors)
        known = proven.get(key) == says and (not ours or own.get(key) == says)
        return engine.TAKEN_OVER if known else engine.CLAIMED

    return vouches


def _about(found: handover.Checked, manifest: dict[str, Any], manifest_hash: str) -> dict[str, Any]:
    """Where the record comes from, as the row of the hand-over and the sealed entry both say it."""
    return {
        "origin": str(manifest["about"].get("school") or "")[:200],
        "origin_tree": manifest["tree"],
        "origin_subject": manifest["subject"],
        "kid": found.ledger.kid,
        "size": manifest["size"],
        "root": manifest["root"],
        "manifest": manifest_hash,
        "rulebook": str(manifest["about"].get("rulebook") or "")[:80],
    }


def _refuse_planted(student: Student | None, incoming: engine.Record, proven: Iterable[str]) -> None:
    """Raises: HandOverError for an entry with an id as of a lesson of which no sealed entry speaks."""
    lessons = {proving.lesson_of(name) for name in proven if "/" in name}
    stands = record.of(student) if student else engine.Record()
    faults = [
        Fault(f"{handover.RECORD}: {part}", f"{name!r} {record_changes.PLANTED}")
        for part, name in record_changes.planted(stands, incoming)
        if proving.lesson_of(name) not in lessons
    ]
    if faults:
        raise HandOverError(faults)


def _own(subject: str, school: School) -> bool:
    try:
        return Student.objects.filter(ref=uuid.UUID(subject), school=school).exists()
    except ValueError:
        return False


def _refuse_another(
    last: HandOver | None, found: handover.Checked, manifest: dict[str, Any], trust: Collection[str]
) -> None:
    """Raises: HandOverError where it does not go on from the one that was taken over before.

    Whoever holds a key that is trusted for one school could else put their own in the place of another's: a
    file is only newer where it is of the same ledger, and signed with the same key or one trusted just now.
    """
    if last is None:
        return
    faults = []
    if manifest["tree"] != last.origin_tree:
        faults.append(
            Fault(
                handover.MANIFEST,
                f"is of the ledger {manifest['tree']}; what stands here of {manifest['subject']} came from"
                f" {last.origin_tree} of {last.origin}",
            )
        )
    elif found.ledger.kid != last.kid and found.ledger.kid not in trust:
        faults.append(
            Fault(
                f"{handover.LEDGER}: keys",
                f"it is signed with {found.ledger.kid}, the one taken over before with {last.kid}; compare"
                " the new id with what that school publishes, then say that you trust it (--trust ID)",
            )
        )
    if faults:
        raise HandOverError(faults)
    if sealed.instant_of(manifest["at"]) <= last.made_at:
        raise HandOverError(
            [
                Fault(
                    "manifest.jws",
                    f"was signed {manifest['at']}; one of {sealed.instant_text(last.made_at)} was taken over "
                    "already. Ask for a new one",
                )
            ]
        )


def _foreign(
    found: handover.Checked, manifest: dict[str, Any], last: HandOver | None
) -> list[dict[str, Any]]:
    """The sealed entries that are new. Raises: HandOverError where one taken over before changed."""
    listed = {each["index"]: each for each in found.document(handover.LEDGER)["entries"]}
    faults, held = [], set()
    if last is not None:
        rows = ForeignEntry.objects.filter(student=last.student, tree=manifest["tree"])
        for index, commitment in rows.values_list("index", "commitment"):
            held.add(index)
            if index not in listed:
                faults.append(Fault(f"ledger.json: entry {index}", "was there when it was taken over before"))
            elif listed[index]["commitment"] != commitment:
                faults.append(
                    Fault(f"ledger.json: entry {index}", "is not the one that was taken over before")
                )
    if faults:
        raise HandOverError(faults)
    return [
        {
            "tree": manifest["tree"],
            "index": index,
            "kind": each["kind"],
            "subject": each["subject"],
            "sealed_at": each["at"],
            "commitment": each["commitment"],
            "body": each["body"],
            "salt": each["salt"],
            "verified": each["body"] is not None,
        }
        for index, each in listed.items()
        if index not in held
    ]


def _merged(student: Student, incoming: engine.Record, last: HandOver | None) -> engine.Record:
    """What came beside what was recorded here. Raises: HandOverError where an id means two things."""
    if last is None:
        return incoming
    stands = record.of(student)
    signed = LessonRecord.objects.filter(student=student, state=LessonRecord.State.SIGNED)
    lessons = {str(pk) for pk in signed.values_list("pk", flat=True)}
    faults: list[Fault] = []
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
            if here is not None and not _alike(here, each):
                faults.append(
                    Fault(
                        f"record.json: {part}[{number}].id",
                        f"{each.id!r} stands on record here already and says something else",
                    )
                )
        parts[part] = (*own.values(), *(each for each in came if each.id not in own))
    if faults:
        raise HandOverError(faults)
    return engine.Record(student=incoming.student, **parts)


def _alike(one: engine.Entry, other: engine.Entry) -> bool:
    """Whether two entries say the same, whoever vouches for them and whenever they were written down."""
    return replace(one, recorded=None, provenance=other.provenance) == replace(other, recorded=None)


def _follows(entry: str, lessons: set[str]) -> bool:
    """Whether an entry is a proof that follows from a lesson signed here: it is worked out, never stored."""
    return proving.MARK in entry and proving.lesson_of(entry) in lessons
