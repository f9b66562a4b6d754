"""Exports a student's whole record as one file, and imports such a file from another school.

The file is a ZIP rather than one JSON document, because a student who opens it wants pages, not hashes.
``training.ledger.verify.handover`` says what is in it and how to check it. An import writes everything or
nothing, and every error names its place.
"""

import datetime as dt
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from syllabus.courses import files as courses
from syllabus.courses import outlines
from syllabus.engine.record import document as documents
from syllabus.engine.record import record as engine
from syllabus.law import rulebook
from syllabus.models import CourseVersion
from training import models, pdf, record, reports
from training.ledger.core import package, sealed
from training.ledger.core.statements import from_base64url
from training.ledger.store import export, keys
from training.ledger.verify import handover
from training.reports.named import instructors as instructors_of
from training.services import access
from training.services.records import record_changes
from training.services.records.records import new_student
from training.services.signing import seals
from training.services.signing.reauthentication import Act, Confirmed, content_of
from training.services.transfer import handover_check, handover_pages, handover_proofs
from training.services.transfer.handover_check import HandOverError, Incoming, hash_of
from training.services.transfer.handover_proofs import TAKEN_OVER

#: The only way in that needs no re-authentication: the server's operator.
COMMAND_LINE = "command"
#: Re-authenticates the user; returns what the import signs.
Confirm = Callable[[Act], Confirmed]
#: An instant after all others, so that every entry says when it was recorded.
_EVER = dt.datetime(9999, 1, 1, tzinfo=dt.UTC)
_README = """This is the training record of one student, from {school}, made on {day}.

For people: record.pdf, endorsements.pdf and one page for each signed lesson in lessons/.
For programs: record.json (the record document), ledger.json (every ledger entry about the student with its
proof, the signed checkpoint and the public keys), manifest.jws (the signed list of these files), courses/.

To check that nothing was changed, without this school's server, on a computer with Python and its package
'cryptography':

    python -m training.ledger.verify THIS-FILE --key {kid}

Compare the key's id with the one that the school publishes: whoever forges this file can forge this page too.
"""


@dataclass(frozen=True, slots=True)
class Taken:
    """The student here; the import, None if the same file was imported before; and what changed."""

    student: models.Student
    hand_over: models.HandOver | None
    change: models.RecordChange | None
    created: bool


def make(student: models.Student, *, by: models.User | None, at: dt.datetime, via: str) -> bytes:
    """The file of a student's whole record, for those who may read it.

    The export itself is signed into the ledger, with the hash of the record document. Call it outside a
    transaction: the checkpoint covers committed entries only.

    Raises: NotAllowed; ImproperlyConfigured without a signing key.
    """
    access.require(by, "read a record", student, on=at.date())
    signer = keys.signer()
    document = documents.dump(record.of(student, known_at=_EVER), provenance=True)
    written = json.dumps(document, ensure_ascii=False, indent=1).encode()
    with transaction.atomic():
        access.log(by, student, access.READ, "hand-over", via=via, at=at)
        said = {"record": hash_of(written), "by": by and by.pk}
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


def _courses(student: models.Student) -> dict[str, tuple[str, bytes]]:
    """Every version of a course that the student was taught by: file name, title and text."""
    of_student = {"student": student}
    wanted = {
        *models.Enrolment.objects.filter(**of_student).values_list("course_version", flat=True),
        *models.LessonRecord.objects.filter(**of_student).values_list("course_version", flat=True),
        *models.CourseMove.objects.filter(**of_student).values_list("from_version", flat=True),
    } - {None}
    found = {}
    for version in CourseVersion.objects.filter(pk__in=wanted).select_related("course").order_by("pk"):
        whose = "-of-the-school" if version.course.school_ref else ""
        name = f"courses/{version.course.code}{whose}-{version.number}.yaml"
        said = f"{version.course.code} {version.number} {version.content_hash}"
        found[name] = (said, courses.write(outlines.outline(version)).encode())
    return found


def _pages(student: models.Student, document: dict[str, Any], at: dt.datetime) -> dict[str, bytes]:
    wordings = dict(
        models.EndorsementSeal.objects.filter(student=student).values_list("endorsement__entry_id", "wording")
    )
    found = {
        "record.pdf": pdf.make("record", handover_pages.record(student, document, at), at=at),
        "endorsements.pdf": pdf.make(
            "endorsements", handover_pages.endorsements(student, document, wordings, at), at=at
        ),
    }
    known = {each.sign_off_id: each for each in models.Acknowledgement.objects.filter(student=student)}
    corrected = {each.lesson_id: each for each in models.Correction.objects.filter(student=student)}
    for signed in (
        models.SignOff.objects.filter(student=student).select_related("lesson__course_version").order_by("pk")
    ):
        data = handover_pages.lesson(
            student, signed.lesson, signed, known.get(signed.pk), corrected.get(signed.lesson_id), at
        )
        found[f"lessons/{signed.lesson_id}.pdf"] = pdf.make("lesson", data, at=at)
    return found


def take(
    raw: bytes,
    *,
    school: models.School,
    trust: Iterable[str] = (),
    by: models.User | None,
    at: dt.datetime,
    via: str,
    reason: str = "",
    confirm: Confirm | None = None,
) -> Taken:
    """Import a record that another school exported: a new student of ``school``, or a newer state of one.

    Its ledger entries are stored unchanged, with their origin. The entries of its record document are added
    to the record and count as the rules allow: as attested if a verified ledger entry says so, else as
    claims. If the student was imported before, the new file's entries replace those of the earlier file; what
    was recorded here stays. ``trust`` are ids of keys that the caller compared with what the other school
    publishes; this installation's own keys are trusted.

    ``confirm`` re-authenticates the user for this reason and these trusted keys; only the command line needs
    none. The same file again changes nothing, and needs no re-authentication.

    Raises: HandOverError with every error, before anything is written; NotAllowed for anyone but the school's
            administrators; ReasonError; whatever ``confirm`` raises.
    Effects: one transaction; signed into the school's own ledger; the access is logged.
    """
    access.require(by, "take over a record", school)
    incoming = handover_check.read(raw, set(trust), school.day(at))
    with transaction.atomic():
        models.School.objects.select_for_update(no_key=True).get(pk=school.pk)  # two at once make one student
        last = handover_check.taken_before(incoming, school)
        if last is not None and last.manifest == incoming.about["manifest"]:
            return Taken(last.student, None, None, created=False)
        subject = str(last.student.ref) if last else incoming.subject
        why = record_changes.reason_of(reason)
        if confirm is None and via != COMMAND_LINE:
            raise ValueError("only the command line may import without re-authentication")
        confirmed = confirm(act(subject, incoming.sent, why, sorted(incoming.trust))) if confirm else {}
        return _taken(incoming, last, school, why, confirmed, by=by, at=at, via=via)


def act(subject: str, sent: str, reason: str, trust: Sequence[str] = ()) -> Act:
    """What the user signs for an import: ``sent`` is the hash of the file.

    ``subject`` is the student's reference here, or the file's if the student is new here.
    """
    trusted = {"trust": list(trust)} if trust else {}
    _, digest = content_of({"reason": reason, "sent": sent, **trusted})
    return Act(TAKEN_OVER, subject, record_changes.WHOLE, digest)


def _taken(
    incoming: Incoming,
    last: models.HandOver | None,
    school: models.School,
    reason: str,
    confirmed: Confirmed,
    *,
    by: models.User | None,
    at: dt.datetime,
    via: str,
) -> Taken:
    """Replace the previous import by a file's record, and sign it. Raises: HandOverError."""
    student = last.student if last else new_student(incoming.record.student.name, school, None, at)
    rows, told = handover_check.new_entries(incoming, last), record_changes.guardians(student, at)
    merged = handover_check.merged(student, incoming.record, last)
    handover_check.refuse_planted(incoming, student if last else None)
    own = handover_proofs.sealed_here(student, incoming.record.student)
    brought: list[record.Replaced] = []

    def keep(done: record.Replaced, _: dt.datetime) -> None:
        brought.append(done)

    change = record.store(
        student,
        merged,
        by=by,
        at=at,
        reason=reason,
        confirmed=confirmed,
        vouches=_vouching(incoming.proven, own, school),
        seal=keep,
    )
    if not student.training_model and incoming.model:
        student.training_model = incoming.model
        models.Student.objects.filter(pk=student.pk).update(training_model=incoming.model)
    said = record_changes.said(by=by, reason=reason, sent=incoming.sent, via=via, confirmed=confirmed)
    if incoming.trust:
        said["trust"] = sorted(incoming.trust)
    if change is not None:
        said |= brought[0].as_json()
    index = seals.seal(student, TAKEN_OVER, {**incoming.about, **said}, at=at)
    if change is not None and last is not None:
        record_changes.tell(student, change, guardians=told if brought[0].person else None)
    made = _noted(incoming, rows, student, index, by=by, at=at)
    access.log(by, student, access.WRITE, "import of another school's record", via=via, at=at)
    return Taken(student, made, change, created=last is None)


def _noted(
    incoming: Incoming,
    rows: Iterable[Mapping[str, Any]],
    student: models.Student,
    index: int,
    *,
    by: models.User | None,
    at: dt.datetime,
) -> models.HandOver:
    """The row of an import, with the ledger entries that came with it."""
    school = student.school
    made = models.HandOver.objects.create(
        school=school,
        student=student,
        made_at=sealed.instant_of(incoming.manifest["at"]),
        brought={part: [each.id for each in getattr(incoming.record, part)] for part in engine.Record.PARTS},
        by=by,
        at=at,
        ledger_tree=seals.tree_of(school),
        ledger_index=index,
        **incoming.about,
    )
    models.ForeignEntry.objects.bulk_create(
        models.ForeignEntry(school=school, student=student, hand_over=made, kid=made.kid, **row)
        for row in rows
    )
    return made


def _vouching(
    proven: Mapping[tuple[str, str], str], own: Mapping[tuple[str, str], str], school: models.School
) -> Callable[[str, engine.Entry], str]:
    """Who attests an entry: the other ledger if it proves the entry, and ours if one of us signed it."""
    instructors = list(instructors_of(school.pk))

    def vouches(part: str, entry: engine.Entry) -> str:
        key, says = (part, entry.id), record.entry_hash(part, entry)
        named: engine.Instructor | None = getattr(entry, "instructor", None)
        ours = named is not None and any(each.may_be(named) for each in instructors)
        known = proven.get(key) == says and (not ours or own.get(key) == says)
        return engine.TAKEN_OVER if known else engine.CLAIMED

    return vouches


__all__ = ["COMMAND_LINE", "Confirm", "HandOverError", "Taken", "act", "make", "take"]
