"""Lesson records: the draft, its sign-off, the student's acknowledgement, the correction."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from http import HTTPStatus
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.http import parse_etags
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from api.v1 import confirming
from api.v1.description import Answer, Header, Parameter, describe
from api.v1.endorsements import ConfirmThrottle, SigningView, as_it_came, own_id
from api.v1.errors import Problem
from syllabus.engine import reading
from syllabus.engine.errors import Fault, QuestionError
from syllabus.engine.reading import Faults, Object
from training.models import Acknowledgement, LessonRecord, SignOff, Student
from training.reports.progress import course_json
from training.services import access, lesson_content, lesson_records, sign_offs, signatures
from training.services.errors import find
from training.services.lesson_content import LessonError

PAGE_SIZE = 50
MOST_REASON = 2000
MOST_CODE = 200
ETAG = Header("ETag", "Names this draft; send it back in If-Match.")
RECORD = Parameter("entry", "path", "The lesson record's id.", {"type": "string", "format": "uuid"}, True)
_HASH = re.compile(r"sha256:[0-9a-f]{64}")
_WRITES = (400, 401, 403, 404, 406, 409, 411, 413, 415, 422)
_SIGNS = (*_WRITES, 429)


class Pages(CursorPagination):
    """Fifty lesson records at a time, the newest first."""

    page_size = PAGE_SIZE
    ordering = ("-created_at", "id")

    def decode_cursor(self, request: Request) -> Any:
        cursor = super().decode_cursor(request)
        if cursor is not None and cursor.position is not None:
            try:
                fits = parse_datetime(str(cursor.position)) is not None
            except ValueError:
                fits = False
            if not fits:
                raise QuestionError([Fault("cursor", "is not one that next or previous gave")])
        return cursor


def _code(faults: Faults, value: Any, place: str) -> str | None:
    return _short(faults, value, place, MOST_CODE)


def _reason(faults: Faults, value: Any, place: str) -> str | None:
    found = _short(faults, value, place, MOST_REASON)
    if found is not None and not found.strip():
        faults.add(place, "is blank; say what is wrong in the record that is corrected")
        return None
    return found


def _short(faults: Faults, value: Any, place: str, most: int) -> str | None:
    found = reading.text(faults, value, place)
    if found is not None and len(found) > most:
        faults.add(place, f"{len(found)} characters; at most {most} are kept here")
        return None
    return found


def _hash(faults: Faults, value: Any, place: str) -> str | None:
    if isinstance(value, str) and _HASH.fullmatch(value):
        return value
    faults.add(place, f"{reading.called(value)} is no content_hash of a lesson record")
    return None


class LessonView(SigningView):
    """About the lesson records of one student."""

    def teaching(self, ref: uuid.UUID) -> Student:
        """The student, for an instructor who may write the record. Raises: Problem (404, 403)."""
        return self.writable(ref, instructing=True)

    def seen(self, ref: uuid.UUID) -> Student:
        """The student, for whoever may see the record. Raises: Problem (404)."""
        return access.student(self.user, ref, on=self.today)

    def record(self, student: Student, entry: uuid.UUID) -> LessonRecord:
        """Raises: Problem (404)."""
        return find(
            lesson_records.visible(student, self.user, on=self.today), "lesson record of that id", pk=entry
        )


class LessonRecords(LessonView):
    """GET: a student's lesson records, in pages. POST: the draft of one."""

    query = {"cursor": reading.text}

    @describe(
        name="listLessonRecords",
        summary="List the lesson records",
        description=(
            f"Drafts and signed ones, the newest first, in pages of {PAGE_SIZE}; follow `next`. The student"
            " sees those that are signed. The reading is logged."
        ),
        parameters=[
            Parameter.student(),
            Parameter("cursor", "query", "As `next` or `previous` of a page has it.", {"type": "string"}),
        ],
        answers={200: Answer("LessonRecordPage", "A page")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "lesson-records")
        pages = Pages()
        seen = lesson_records.visible(student, self.user, on=self.today)
        page = pages.paginate_queryset(seen, request, view=self) or []
        return Response(
            {
                "next": pages.get_next_link(),
                "previous": pages.get_previous_link(),
                "lesson_records": [_in_short(each) for each in page],
            }
        )

    @describe(
        name="draftLessonRecord",
        summary="Create a draft of a lesson",
        description=(
            "Makes a draft; nothing is on the student's record before it is signed. `id` is the caller's own:"
            " the same sent again gives what became of it, something else under it is a conflict (409)."
            " Contradictions are refused with their place (422); what only looks odd stands in `warnings`."
            " Without `content` the draft holds what is planned: the items of `lesson`, or of the lesson that"
            " comes next, and those carried over because they were below standard."
            " What was measured is held against the standards of the course: `hints` says inside or outside"
            " and by how much, and the instructor grades."
        ),
        parameters=[Parameter.student()],
        body="LessonRecordToDraft",
        answers={201: Answer("LessonRecord", "The draft", [ETAG])},
        refuses=_WRITES,
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.teaching(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        key = fields.take("id", own_id, required=True)
        lesson = fields.take("lesson", _code, "")
        content = fields.take("content", as_it_came)
        _read(faults, content, given=content is not None)
        fields.done()
        faults.stop(LessonError)
        made = lesson_records.create(
            student, id=key, lesson=lesson, content=content, by=self.user, at=self.at, via="api"
        )
        return _answer(made, HTTPStatus.CREATED)


class LessonRecordDetail(LessonView):
    """GET: one lesson record. PUT: other content for a draft."""

    @describe(
        name="readLessonRecord",
        summary="Read a lesson record",
        description=(
            "With what is computed from times and route beside what was typed, and its sign-off,"
            " acknowledgement and correction where there are any. The reading is logged."
        ),
        parameters=[Parameter.student(), RECORD],
        answers={200: Answer("LessonRecord", "The lesson record", [ETAG])},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        return _answer(self.record(self.open(ref, f"lesson-record {entry}"), entry))

    @describe(
        name="changeLessonRecord",
        summary="Change a draft",
        description=(
            "The body takes the place of the draft's lesson and content. `If-Match` carries the ETag of the"
            " draft that the change starts from. What is signed is not changed (409) but corrected."
        ),
        parameters=[
            Parameter.student(),
            RECORD,
            Parameter("If-Match", "header", "The ETag of the draft.", {"type": "string"}),
        ],
        body="LessonRecordToChange",
        answers={200: Answer("LessonRecord", "The draft", [ETAG])},
        refuses=(*_WRITES, 412, 428),
    )
    def put(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.teaching(ref)
        wanted = request.headers.get("If-Match")
        if wanted is None:
            raise Problem(
                HTTPStatus.PRECONDITION_REQUIRED,
                "If-Match is missing. Read the draft, and send its ETag along with your change.",
            )
        found = self.record(student, entry)
        faults = Faults()
        fields = Object(faults, request.data, "")
        lesson = fields.take("lesson", _code, "")
        content = fields.take("content", as_it_came, required=True)
        _read(faults, content, given=fields.ok and "content" in request.data)
        fields.done()
        faults.stop(LessonError)
        held = parse_etags(wanted)
        # The version is compared once more under the lock.
        version = None if "*" in held else found.version if _etag(found) in held else 0
        changed = lesson_records.change(
            found, version=version, lesson=lesson, content=content, by=self.user, at=self.at, via="api"
        )
        return _answer(changed)


class LessonRecordSign(LessonView):
    """POST: the sign-off."""

    throttle_classes = [ConfirmThrottle]

    @describe(
        name="signLessonRecord",
        summary="Sign a lesson record",
        description=(
            "By an authorized instructor, who confirms it with the password or a passkey. "
            "`content_hash` is that of the draft that was read. The record is sealed in the school's ledger,"
            " and its flight, ground lesson and grades stand on the student's record; a correction takes the"
            " place of what it corrects. The same sent again gives the same answer; a second, different"
            " sign-off is a conflict (409). `performed_at` is when it was signed, where the network was away."
        ),
        parameters=[Parameter.student(), RECORD],
        body="LessonRecordToSign",
        answers={200: Answer("LessonSignOff", "Signed")},
        refuses=_SIGNS,
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.teaching(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        digest = fields.take("content_hash", _hash, required=True)
        given = confirming.take(fields)
        performed_at = fields.take("performed_at", reading.instant)
        fields.done()
        faults.stop(LessonError)
        found = self.record(student, entry)
        by = self.signer(given)
        signed = signatures.sign_lesson(found, by, content_hash=digest, performed_at=performed_at)
        return Response({"lesson_record": str(found.pk), **_signed(signed)})


class LessonRecordAcknowledge(LessonView):
    """POST: the student's own signature."""

    throttle_classes = [ConfirmThrottle]

    @describe(
        name="acknowledgeLessonRecord",
        summary="Acknowledge a signed lesson record",
        description=(
            "By the student, who confirms it with the password or a passkey. It is sealed in the school's"
            " ledger. The same sent again gives the same answer."
        ),
        parameters=[Parameter.student(), RECORD],
        body="LessonRecordToAcknowledge",
        answers={200: Answer("LessonAcknowledgement", "Acknowledged")},
        refuses=_SIGNS,
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.seen(ref)
        if student.user_id != self.user.pk:
            raise Problem(HTTPStatus.FORBIDDEN, "Only the student acknowledges a lesson record.")
        faults = Faults()
        fields = Object(faults, request.data, "")
        given = confirming.take(fields)
        fields.done()
        faults.stop(LessonError)
        found = self.record(student, entry)
        made = signatures.acknowledge_lesson(found, self.signer(given))
        return Response({"lesson_record": str(found.pk), **_acknowledged(made)})


class LessonRecordCorrect(LessonView):
    """POST: the draft of a correction."""

    @describe(
        name="correctLessonRecord",
        summary="Correct a signed lesson record",
        description=(
            "Makes a draft that points at the signed record and says why. When it is signed, its entries"
            " stand in the place of the other's; both records and both sign-offs stay visible. A record is"
            " corrected once; after that its correction is. `id` is the caller's own, as for a draft."
        ),
        parameters=[Parameter.student(), RECORD],
        body="LessonRecordCorrection",
        answers={201: Answer("LessonRecord", "The draft of the correction", [ETAG])},
        refuses=_WRITES,
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.teaching(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        key = fields.take("id", own_id, required=True)
        reason = fields.take("reason", _reason, required=True)
        content = fields.take("content", as_it_came, required=True)
        _read(faults, content, given=fields.ok and "content" in request.data)
        fields.done()
        faults.stop(LessonError)
        found = self.record(student, entry)
        made = sign_offs.correct(
            found, id=key, reason=reason, content=content, by=self.user, at=self.at, via="api"
        )
        return _answer(made, HTTPStatus.CREATED)


def _read(faults: Faults, content: Any, *, given: bool) -> None:
    """Add the content's faults to the body's, so that all are told at once."""
    if given:
        try:
            lesson_content.read(content)
        except LessonError as wrong:
            faults.extend(wrong.faults)


# What is answered


def _etag(record: LessonRecord) -> str:
    return f'"{record.version}"'


def _answer(record: LessonRecord, status: HTTPStatus = HTTPStatus.OK) -> Response:
    try:
        flight = lesson_content.read(record.content).flight
    except LessonError:
        flight = None  # an airport that a newer table no longer knows: nothing is computed
    signed = getattr(record, "sign_off", None)
    acknowledged = getattr(signed, "acknowledgement", None)
    shown = {
        **_in_short(record),
        "version": record.version,
        "content": record.content,
        "content_hash": record.content_hash,
        "reason": record.reason,
        "warnings": record.warnings,
        "hints": lesson_records.hints(record),
        "proves": [
            {"item": each.item, "grade": each.grade, "words": each.remarks}
            for each in lesson_records.proves(record)
        ],
        "computed": lesson_records.computed(flight).as_json(),
        "sign_off": signed and _signed(signed),
        "acknowledgement": acknowledged and _acknowledged(acknowledged),
    }
    return Response(shown, status=status, headers={"ETag": _etag(record)})


def _in_short(record: LessonRecord) -> dict[str, Any]:
    correction = getattr(record, "correction", None)
    return {
        "id": str(record.pk),
        "lesson": record.lesson,
        "course": record.course_version and course_json(record.course_version),
        "state": record.state,
        "instructor": str(record.instructor),
        "created_at": _instant(record.created_at),
        "updated_at": _instant(record.updated_at),
        "corrects": str(record.corrects_id) if record.corrects_id else None,
        "corrected_by": str(correction.successor_id) if correction else None,
    }


def _signed(signed: SignOff) -> dict[str, Any]:
    return {
        "by": signed.instructor_name,
        "certificate": signed.instructor_certificate,
        "at": _instant(signed.at),
        "performed_at": _instant(signed.performed_at),
        "content_hash": signed.content_hash,
        "warnings": signed.warnings,
        "hints": signed.hints,
        "ledger": {"tree": signed.ledger_tree, "index": signed.ledger_index},
    }


def _acknowledged(made: Acknowledgement) -> dict[str, Any]:
    return {
        "by": str(made.by),
        "at": _instant(made.at),
        "ledger": {"tree": made.ledger_tree, "index": made.ledger_index},
    }


def _instant(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
