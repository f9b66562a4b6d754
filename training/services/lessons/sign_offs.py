"""Signs, acknowledges and corrects lesson records: one transaction and one ledger entry each."""

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, models, transaction

from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors
from syllabus.models import CourseVersion
from training import record
from training.database import run_again
from training.models import (
    Acknowledgement,
    Aircraft,
    Correction,
    LessonRecord,
    Notice,
    SignOff,
    Student,
    User,
)
from training.reports import instructing
from training.services import access
from training.services.endorsements import signing_authority
from training.services.endorsements.signing_authority import Refusal
from training.services.errors import Conflict, NotAllowed, NotAsRead, NotFound, find
from training.services.lessons import lesson_content, lesson_findings, lesson_hints, lesson_records
from training.services.lessons.lesson_content import Content, LessonError
from training.services.lessons.lesson_findings import NOTHING_ACCEPTED, Accepted
from training.services.signing import seals
from training.sql import Change, Place, Statement

LESSON = "lesson record of that id"
#: How far the clock of a sign-off may be ahead of this server's: common practice.
CLOCK_DRIFT = dt.timedelta(minutes=5)


class NotAuthorised(NotAllowed):
    """The signer may not sign this lesson; ``errors`` have the reasons and citations."""

    def __init__(self, reasons: list[Refusal]):
        errors = [each.error() for each in reasons]
        super().__init__(
            " ".join(each.message for each in errors),
            errors=errors,
            summary="You may not sign this lesson record; see `errors` for the reasons and citations.",
        )


@run_again
def sign_off(
    lesson_id: uuid.UUID,
    *,
    by: User,
    content_hash: str,
    at: dt.datetime,
    performed_at: dt.datetime | None = None,
    via: str,
    confirmed: Mapping[str, Any] | None = None,
    accepted: Accepted = NOTHING_ACCEPTED,
) -> SignOff:
    """Sign a lesson record, and add its entries to the student's record.

    ``content_hash`` is of the content that the instructor read. ``performed_at`` is when they signed, by
    default ``at``; a time ahead by at most ``CLOCK_DRIFT`` becomes ``at``. The entries are on record from
    ``at``. Signing again returns the first sign-off. ``confirmed``, how ``by`` re-authenticated, is stored.
    ``accepted`` names the audit's findings that the instructor read, with the reason for signing.

    Raises: NotFound; NotAuthorised; LessonError if there is nothing to sign yet; NotAsRead if the draft
            changed; OpenFindings for findings not accepted; Conflict if it was signed or corrected already,
            or if another entry has one of its ids.
    Effects: one transaction, with the student's row locked. A correction retires the entries of the lesson
             that it replaces. The student gets a notice.
    """
    try:
        with transaction.atomic(), signing_authority.read_once():
            lesson = _locked(lesson_id)
            access.log(by, lesson.student, access.WRITE, f"lesson-record {lesson.pk} sign", via=via, at=at)
            if lesson.state == LessonRecord.State.SIGNED:
                return _same(lesson, by, content_hash)
            content = lesson_content.read(lesson.content)
            _check(lesson, content, by, at, performed_at or at)
            if content_hash != lesson.content_hash:
                raise NotAsRead("The draft changed after you read it. Read it again, then sign it.")
            found = lesson_findings.accepted(lesson, content, by, at, accepted)
            return _seal(lesson, content, by, at, min(performed_at or at, at), confirmed, found)
    except IntegrityError:
        if stand := record.unsealed(LessonRecord.objects.get(pk=lesson_id)):
            raise Conflict(
                f"Another entry of this record, not signed here, has the id {', '.join(stand)}, which this"
                " lesson needs. Remove that entry, or draft the lesson again; then sign."
            ) from None
        raise


def _locked(lesson_id: uuid.UUID) -> LessonRecord:
    """The lesson record with its student, both locked, and its course. Raises: NotFound."""
    found = _LESSON.instances(lesson=lesson_id)
    if not found:
        raise NotFound(LESSON)
    lesson: LessonRecord = found[0]
    if lesson.course_version_id is not None:
        lesson.course_version = _VERSION.instances(version=lesson.course_version_id)[0]
    return lesson


def _seal(
    lesson: LessonRecord,
    content: Content,
    by: User,
    at: dt.datetime,
    signed_at: dt.datetime,
    confirmed: Mapping[str, Any] | None,
    found: Mapping[str, Any],
) -> SignOff:
    """Sign a checked lesson record, and add its entries to the record."""
    student = lesson.student
    signature = signing_authority.signature(by, student)
    assert signature is not None
    assert signature.certificate is not None
    replaced = _replaced(lesson)
    shown = [
        *lesson_records.warnings(lesson, content, by),
        *signing_authority.late(student, content.last_day, at),
    ]
    signed = SignOff(
        school_id=lesson.school_id,
        student=student,
        lesson=lesson,
        by=by,
        instructor_name=signature.name,
        instructor_certificate=signature.certificate,
        at=at,
        performed_at=signed_at,
        content_hash=lesson.content_hash,
        warnings=shown,
        hints=lesson_hints.hints(content.plain, lesson_hints.outline_of(lesson)),
        **found,
        confirmed=confirmed or {},
        ledger_tree=seals.tree_of(student.school_id),
    )
    body = _sealed(signed, content, signature)
    index = signed.ledger_index = seals.seal(student, "lesson.signed", body, at=at)
    if replaced is not None:
        _put_in_place_of(replaced, lesson, student, by, index, at)
    notice = Notice(
        school_id=student.school_id,
        student=student,
        user_id=student.user_id,
        kind=Notice.Kind.SIGNED if replaced is None else Notice.Kind.CORRECTED,
        about=str(lesson.pk),
        at=at,
    )
    craft: int | None = lesson.craft  # type: ignore[attr-defined]  # as ``_lesson`` annotates it
    record.put([signed, *_entries(lesson, content, signature, by, at, craft), notice])
    lesson.state, lesson.updated_at = LessonRecord.State.SIGNED, at
    _STATE(lesson=lesson.pk, state=lesson.state, at=at)
    return signed


def _sealed(signed: SignOff, content: Content, signature: engine.Instructor) -> dict[str, Any]:
    """The body of the ledger entry."""
    lesson = signed.lesson
    return {
        "lesson_record": str(lesson.pk),
        "lesson": lesson.lesson,
        "course": lesson_content.course_of(lesson.course_version),
        "content": content.plain,
        "content_hash": lesson.content_hash,
        "corrects": lesson.corrects_id and str(lesson.corrects_id),
        "reason": lesson.reason,
        "instructor": {
            "user": signed.by_id,
            "name": signature.name,
            "certificate": signature.certificate,
            "kind": signature.kind,
        },
        "performed_at": signed.performed_at.astimezone(dt.UTC).isoformat(),
        "provenance": engine.SIGNED,
        "warnings": signed.warnings,
        "hints": signed.hints,
        **(
            {"findings": signed.findings, "findings_reason": signed.findings_reason}
            if signed.findings
            else {}
        ),
        **({"confirmed": signed.confirmed} if signed.confirmed else {}),
    }


@run_again
def acknowledge(
    lesson_id: uuid.UUID,
    *,
    by: User,
    at: dt.datetime,
    via: str,
    confirmed: Mapping[str, Any] | None = None,
) -> Acknowledgement:
    """The student's signature under a signed lesson record. Signing again returns the first one.

    Raises: NotFound; NotAllowed for anyone but the student; Conflict before the sign-off.
    """
    with transaction.atomic():
        lesson = find(LessonRecord.objects.only("student"), LESSON, pk=lesson_id)
        student = access.locked_student(lesson.student_id)
        if student.user_id is None or student.user_id != by.pk:
            raise NotAllowed("Only the student of this lesson can acknowledge it.")
        signed = SignOff.objects.filter(lesson_id=lesson_id).first()
        if signed is None:
            raise Conflict("The lesson record is not signed yet. Acknowledge it after the sign-off.")
        access.log(by, student, access.WRITE, f"lesson-record {lesson_id} acknowledge", via=via, at=at)
        there = Acknowledgement.objects.filter(sign_off=signed).first()
        if there is not None:
            return there
        body = {
            "lesson_record": str(lesson_id),
            "content_hash": signed.content_hash,
            "sign_off": signed.ledger_index,
            "user": by.pk,
        }
        return Acknowledgement.objects.create(
            sign_off=signed,
            ledger_tree=seals.tree_of(student.school_id),
            **seals.signed(student, "lesson.acknowledged", body, by=by, at=at, confirmed=confirmed),
        )


def correct(
    lesson: LessonRecord,
    *,
    id: uuid.UUID,
    reason: str,
    content: object,
    by: User,
    at: dt.datetime,
    via: str,
) -> LessonRecord:
    """The draft of a correction, which replaces ``lesson`` once it is signed. Again, as ``create``.

    Raises: as ``lesson_records.create``; Conflict if ``lesson`` is not signed, or was corrected already.
    """
    if lesson.state != LessonRecord.State.SIGNED:
        raise Conflict("The lesson record is not signed yet. Change the draft instead.")
    if not LessonRecord.objects.filter(pk=id, corrects=lesson).exists():
        _check_uncorrected(lesson)
    return lesson_records.create(
        lesson.student,
        id=id,
        lesson=lesson.lesson,
        content=content,
        by=by,
        at=at,
        via=via,
        corrects=lesson,
        reason=reason,
    )


def _lesson() -> models.QuerySet[LessonRecord]:
    # Everyone who writes the record locks the student first, so that all take their locks in one order.
    school, registration = models.OuterRef("school"), models.OuterRef("aircraft_registration")
    craft = Aircraft.objects.filter(school=school, registration=registration)
    return (
        LessonRecord.objects.select_for_update(of=("student", "self"), no_key=True)
        .select_related("student__school")
        .annotate(craft=models.Subquery(craft.order_by().values("pk")))
        .filter(pk=Place("lesson", models.UUIDField()))
        .order_by()
    )


def _version() -> models.QuerySet[CourseVersion]:
    asked = Place("version", models.BigIntegerField())
    return CourseVersion.objects.select_related("course").filter(pk=asked).order_by()


def _state() -> tuple[models.QuerySet[LessonRecord], dict[str, Any]]:
    changes = {"state": Place("state", models.CharField()), "updated_at": Place("at", models.DateTimeField())}
    return LessonRecord.objects.filter(pk=Place("lesson", models.UUIDField())), changes


#: The lesson record and its student, locked; ``craft`` is the primary key of the school's aircraft.
_LESSON = Statement(_lesson)
_VERSION = Statement(_version)
_STATE = Change(_state)


def _same(lesson: LessonRecord, by: User, content_hash: str) -> SignOff:
    """The existing sign-off, if the same instructor signed the same content."""
    signed = SignOff.objects.get(lesson=lesson)
    if signed.by_id == by.pk and signed.content_hash == content_hash:
        return signed
    who = "you" if signed.by_id == by.pk else "another instructor"
    raise Conflict(
        f"The lesson record was signed already, by {who}, on {signed.at:%Y-%m-%d at %H:%M} UTC. To change"
        " it, correct the signed lesson."
    )


def _check(
    lesson: LessonRecord, content: Content, by: User, at: dt.datetime, performed_at: dt.datetime
) -> None:
    """Raises: NotAuthorised; LessonError if there is nothing to sign, or a day is in the future."""
    student = lesson.student
    today, performed = student.school.day(at), student.school.day(performed_at)
    if student.user_id is not None and student.user_id == by.pk:
        own = instructing.rule("not-oneself", today, student).cite.section
        raise NotAuthorised(
            [Refusal("instructor", "You cannot sign your own lesson; another instructor must.", own)]
        )
    days = {today, content.day or today, content.last_day or today, performed}
    if reasons := signing_authority.refusals(by, student, *days, flight=content.flight):
        raise NotAuthorised(reasons)
    errors = Errors()
    if content.day is None:
        errors.add("content", "has no flight and no ground lesson; add one before you sign")
    for part, entry in (("flight", content.flight), ("ground", content.ground)):
        if entry is not None and entry.date > today:
            says = f"{entry.date} is after today, {today}; sign the lesson after it is flown or taught"
            errors.add(f"content.{part}.date", says)
    if performed_at > at + CLOCK_DRIFT:
        errors.add(
            "performed_at",
            f"{performed_at.isoformat()} is in the future; it is {at.isoformat()} here. Set the device's"
            " clock, then sign again",
        )
    if content.last_day is not None and performed < content.last_day:
        errors.add("performed_at", f"{performed_at.isoformat()} is before the lesson, {content.last_day}")
    errors.stop(LessonError)


def _replaced(lesson: LessonRecord) -> LessonRecord | None:
    """The lesson that this one corrects, locked. Raises: Conflict."""
    if lesson.corrects_id is None:
        return None
    replaced = LessonRecord.objects.select_for_update(no_key=True).get(pk=lesson.corrects_id)
    _check_uncorrected(replaced)
    return replaced


def _check_uncorrected(lesson: LessonRecord) -> None:
    found = Correction.objects.filter(lesson=lesson).values_list("successor_id", flat=True).first()
    if found is not None:
        raise Conflict(f"The lesson record was corrected already, by {found}. Correct that one instead.")


def _put_in_place_of(
    replaced: LessonRecord, lesson: LessonRecord, student: Student, by: User, index: int, at: dt.datetime
) -> None:
    """Sign the correction, and retire the entries of the lesson that it replaces."""
    old = SignOff.objects.get(lesson=replaced)
    body = {
        "lesson_record": str(replaced.pk),
        "sign_off": old.ledger_index,
        "successor": str(lesson.pk),
        "successor_sign_off": index,
        "reason": lesson.reason,
        "user": by.pk,
    }
    Correction.objects.create(
        school_id=student.school_id,
        student=student,
        lesson=replaced,
        successor=lesson,
        entries=replaced.prefix,
        by=by,
        at=at,
        reason=lesson.reason,
        ledger_tree=seals.tree_of(student.school_id),
        ledger_index=seals.seal(student, "lesson.corrected", body, at=at),
    )
    record.retire(student, replaced.prefix, at=at, sealed=True)


def _entries(
    lesson: LessonRecord,
    content: Content,
    signature: engine.Instructor,
    by: User,
    at: dt.datetime,
    craft: int | None,
) -> list[Any]:
    """The rows of the lesson's entries in the student's record; ``craft`` is the aircraft's primary key."""
    found = []
    for name, entries in content.entries(lesson.prefix, signature).items():
        columns: dict[str, Any] = {"aircraft_id": craft} if name == "flights" else {}
        # All entries of a list have the same instructor, or none.
        if any(getattr(entry, "instructor", None) is not None for entry in entries):
            columns["instructor_user"] = by
        found += record.rows(lesson.student, name, entries, at=at, sealed=True, **columns)
    return found
