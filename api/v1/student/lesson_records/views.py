"""Lesson records: the draft, its sign-off, the student's acknowledgement, the correction."""

from __future__ import annotations

import uuid
from http import HTTPStatus

from django.utils.http import parse_etags
from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.base.description import CURSOR, Answer, Header, Parameter, describe
from api.v1.base.errors import Problem
from api.v1.base.reauthentication import ConfirmThrottle
from api.v1.student.endorsements.views import SigningView
from api.v1.student.lesson_records.serializers import (
    LessonAcknowledgementSerializer,
    LessonRecordCorrectionSerializer,
    LessonRecordPages,
    LessonRecordPageSerializer,
    LessonRecordSerializer,
    LessonRecordToAcknowledgeSerializer,
    LessonRecordToChangeSerializer,
    LessonRecordToDraftSerializer,
    LessonRecordToSignSerializer,
    LessonSignOffSerializer,
)
from syllabus.engine.record import reading
from training.models import LessonRecord, Student
from training.services import access, signatures
from training.services.errors import find
from training.services.lessons import lesson_records, sign_offs

ETAG = Header("ETag", "Names this draft; send it back in If-Match.")


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
    query = {"cursor": reading.text}

    @describe(
        name="listLessonRecords",
        summary="List the lesson records",
        description=(
            f"Drafts and signed ones, the newest first, in pages of {LessonRecordPages.page_size}; follow"
            " `next`. The student sees those that are signed. The reading is logged."
        ),
        parameters=[CURSOR],
        answers={200: Answer(LessonRecordPageSerializer, "A page")},
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "lesson-records")
        page = LessonRecordPages(lesson_records.visible(student, self.user, on=self.today), request)
        return Response(LessonRecordPageSerializer({**page.links, "lesson_records": page.rows}).data)

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
        body=LessonRecordToDraftSerializer,
        answers={201: Answer(LessonRecordSerializer, "The draft", [ETAG])},
        refuses=(403, 409),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.teaching(ref)
        sent = LessonRecordToDraftSerializer.sent(request)
        made = lesson_records.create(student, **sent, by=self.user, at=self.at, via="api")
        return _answer(made, HTTPStatus.CREATED)


class LessonRecordDetail(LessonView):
    @describe(
        name="readLessonRecord",
        summary="Read a lesson record",
        description=(
            "With what is computed from times and route beside what was typed, and its sign-off,"
            " acknowledgement and correction where there are any. The reading is logged."
        ),
        answers={200: Answer(LessonRecordSerializer, "The lesson record", [ETAG])},
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
        parameters=[Parameter("If-Match", "header", "The ETag of the draft.", {"type": "string"})],
        body=LessonRecordToChangeSerializer,
        answers={200: Answer(LessonRecordSerializer, "The draft", [ETAG])},
        refuses=(403, 409, 412, 428),
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
        sent = LessonRecordToChangeSerializer.sent(request)
        held = parse_etags(wanted)
        # The version is compared once more under the lock.
        version = None if "*" in held else found.version if _etag(found) in held else 0
        changed = lesson_records.change(found, version=version, **sent, by=self.user, at=self.at, via="api")
        return _answer(changed)


class LessonRecordSign(LessonView):
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
        body=LessonRecordToSignSerializer,
        answers={200: Answer(LessonSignOffSerializer, "Signed")},
        refuses=(403, 409, 429),
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.teaching(ref)
        sent = LessonRecordToSignSerializer.sent(request)
        digest = sent["content_hash"]
        found = self.record(student, entry)
        by = self.signer(sent["confirmation"])
        signed = signatures.sign_lesson(found, by, content_hash=digest, performed_at=sent["performed_at"])
        return Response(LessonSignOffSerializer(signed).data)


class LessonRecordAcknowledge(LessonView):
    throttle_classes = [ConfirmThrottle]

    @describe(
        name="acknowledgeLessonRecord",
        summary="Acknowledge a signed lesson record",
        description=(
            "By the student, who confirms it with the password or a passkey. It is sealed in the school's"
            " ledger. The same sent again gives the same answer."
        ),
        body=LessonRecordToAcknowledgeSerializer,
        answers={200: Answer(LessonAcknowledgementSerializer, "Acknowledged")},
        refuses=(403, 409, 429),
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.seen(ref)
        if student.user_id != self.user.pk:
            raise Problem(HTTPStatus.FORBIDDEN, "Only the student acknowledges a lesson record.")
        sent = LessonRecordToAcknowledgeSerializer.sent(request)
        found = self.record(student, entry)
        made = signatures.acknowledge_lesson(found, self.signer(sent["confirmation"]))
        return Response(LessonAcknowledgementSerializer(made).data)


class LessonRecordCorrect(LessonView):
    @describe(
        name="correctLessonRecord",
        summary="Correct a signed lesson record",
        description=(
            "Makes a draft that points at the signed record and says why. When it is signed, its entries"
            " stand in the place of the other's; both records and both sign-offs stay visible. A record is"
            " corrected once; after that its correction is. `id` is the caller's own, as for a draft."
        ),
        body=LessonRecordCorrectionSerializer,
        answers={201: Answer(LessonRecordSerializer, "The draft of the correction", [ETAG])},
        refuses=(403, 409),
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.teaching(ref)
        sent = LessonRecordCorrectionSerializer.sent(request)
        found = self.record(student, entry)
        made = sign_offs.correct(found, **sent, by=self.user, at=self.at, via="api")
        return _answer(made, HTTPStatus.CREATED)


def _etag(record: LessonRecord) -> str:
    return f'"{record.version}"'


def _answer(record: LessonRecord, status: HTTPStatus = HTTPStatus.OK) -> Response:
    return Response(LessonRecordSerializer(record).data, status=status, headers={"ETag": _etag(record)})
