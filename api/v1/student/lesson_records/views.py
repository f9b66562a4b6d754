"""The views of lesson records: draft, sign, acknowledge, correct."""

import uuid
from http import HTTPStatus
from typing import Any

from django.utils.http import parse_etags
from rest_framework.response import Response

from api.v1.base.description import CURSOR, Answer, Header, Parameter, describe
from api.v1.base.errors import Problem
from api.v1.base.throttles import ConfirmThrottle
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
from training.models import LessonRecord, Student
from training.services import access, signatures
from training.services.errors import find
from training.services.lessons import lesson_findings, lesson_records, sign_offs
from training.services.lessons.lesson_findings import Accepted

ETAG = Header("ETag", "A hash of this draft; send it back in If-Match.")


class LessonView(SigningView):
    """The lesson records of one student."""

    def teaching(self, ref: uuid.UUID) -> Student:
        """The student, for an instructor who may write the record. Raises: Problem (404, 403)."""
        return self.writable(ref, instructing=True)

    def seen(self, ref: uuid.UUID) -> Student:
        """The student, for those who may read the record. Raises: Problem (404)."""
        return access.student(self.user, ref, on=self.today)

    def record(self, student: Student, entry: uuid.UUID) -> LessonRecord:
        """Raises: Problem (404)."""
        return find(
            lesson_records.visible(student, self.user, on=self.today), "lesson record of that id", pk=entry
        )

    def answer(self, record: LessonRecord, status: HTTPStatus = HTTPStatus.OK) -> Response:
        """A lesson record, with the findings that this user's signature would be about."""
        said = LessonRecordSerializer(
            record, context={"findings": lesson_findings.shown(record, self.user, self.at)}
        )
        return Response(said.data, status=status, headers={"ETag": _etag(record)})


class LessonRecords(LessonView):
    query = (CURSOR,)

    @describe(
        "listLessonRecords",
        "List the lesson records",
        Answer(LessonRecordPageSerializer, "A page"),
        words={"page_size": LessonRecordPages.page_size},
    )
    def get(self, ref: uuid.UUID) -> Any:
        """Drafts and signed lessons, the newest first, in pages of %(page_size)s; follow `next`. Students see
        only signed ones. The reading is logged.
        """
        student = self.open(ref, "lesson-records")
        page = LessonRecordPages(lesson_records.visible(student, self.user, on=self.today), self.request)
        return {**page.links, "lesson_records": page.rows}

    @describe(
        "draftLessonRecord",
        "Create a draft of a lesson",
        Answer(LessonRecordSerializer, "The draft", [ETAG], status=201),
        body=LessonRecordToDraftSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """Creates a draft, which does not count until it is signed. `id` is chosen by the caller: sending the
        same again returns the existing draft; other content under it is a conflict (409). Contradictions are
        refused with their place (422); doubtful values are listed in `warnings`. Without `content` the draft
        has the planned items: those of `lesson`, or of the next lesson, and those carried over because they
        were below standard. Measured values are compared with the standards of the course: `hints` says
        inside or outside and by how much; the instructor grades.
        """
        student = self.teaching(ref)
        sent = self.sent()
        made = lesson_records.create(student, **sent, **self.acting)
        return self.answer(made, HTTPStatus.CREATED)


class LessonRecordDetail(LessonView):
    @describe(
        "readLessonRecord",
        "Read a lesson record",
        Answer(LessonRecordSerializer, "The lesson record", [ETAG]),
    )
    def get(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """With the values calculated from times and route, and with sign-off, acknowledgement and correction,
        if any. The reading is logged.
        """
        return self.answer(self.record(self.open(ref, f"lesson-record {entry}"), entry))

    @describe(
        "changeLessonRecord",
        "Change a draft",
        Answer(LessonRecordSerializer, "The draft", [ETAG]),
        parameters=[Parameter("If-Match", "header", "The ETag of the draft.", {"type": "string"})],
        body=LessonRecordToChangeSerializer,
        refuses=(403, 409, 412, 428),
    )
    def put(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """Replaces the draft's lesson and content. `If-Match` has the ETag of the draft on which the change
        is based. A signed lesson cannot be changed (409); correct it.
        """
        student = self.teaching(ref)
        wanted = self.request.headers.get("If-Match")
        if wanted is None:
            raise Problem(
                HTTPStatus.PRECONDITION_REQUIRED,
                "If-Match is missing. Read the draft, then send its ETag with your change.",
            )
        found = self.record(student, entry)
        sent = self.sent()
        held = parse_etags(wanted)
        # compared again under the lock
        version = None if "*" in held else found.version if _etag(found) in held else 0
        changed = lesson_records.change(found, version=version, **sent, **self.acting)
        return self.answer(changed)


class LessonRecordSign(LessonView):
    throttle_classes = [ConfirmThrottle]

    @describe(
        "signLessonRecord",
        "Sign a lesson record",
        Answer(LessonSignOffSerializer, "Signed"),
        body=LessonRecordToSignSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """For an authorized instructor, with password or passkey. `content_hash` is that of the draft that
        was read. The lesson is signed into the school's ledger, and its flight, ground lesson and grades go
        on the student's record; a correction replaces what it corrects. Sending the same again gives the same
        answer; a different sign-off is a conflict (409). `performed_at` is when it was signed, if there was
        no network then. If findings need a reason (serious ones, and a solo flight without its release), send
        `findings_hash` of those that were read and `findings_reason`; without them, or if the findings
        changed, it is not signed (409), and the answer has both as they are now.
        """
        student = self.teaching(ref)
        sent = self.sent()
        found = self.record(student, entry)
        return signatures.sign_lesson(
            found,
            self.signer(sent["confirmation"]),
            content_hash=sent["content_hash"],
            performed_at=sent["performed_at"],
            accepted=Accepted(sent["findings_hash"], sent["findings_reason"]),
        )


class LessonRecordAcknowledge(LessonView):
    throttle_classes = [ConfirmThrottle]

    @describe(
        "acknowledgeLessonRecord",
        "Acknowledge a signed lesson record",
        Answer(LessonAcknowledgementSerializer, "Acknowledged"),
        body=LessonRecordToAcknowledgeSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """For the student, with password or passkey. Signed into the school's ledger. Sending the same again
        gives the same answer.
        """
        student = self.seen(ref)
        if student.user_id != self.user.pk:
            raise Problem(HTTPStatus.FORBIDDEN, "Only the student may acknowledge a lesson record.")
        sent = self.sent()
        found = self.record(student, entry)
        return signatures.acknowledge_lesson(found, self.signer(sent["confirmation"]))


class LessonRecordCorrect(LessonView):
    @describe(
        "correctLessonRecord",
        "Correct a signed lesson record",
        Answer(LessonRecordSerializer, "The draft of the correction", [ETAG], status=201),
        body=LessonRecordCorrectionSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """Creates a draft that refers to the signed lesson, with the reason. Once signed, its entries replace
        those of the other; both lessons and both sign-offs stay visible. A lesson can be corrected once;
        after that, correct the correction. `id` is chosen by the caller, as for a draft.
        """
        student = self.teaching(ref)
        sent = self.sent()
        found = self.record(student, entry)
        made = sign_offs.correct(found, **sent, **self.acting)
        return self.answer(made, HTTPStatus.CREATED)


def _etag(record: LessonRecord) -> str:
    return f'"{record.version}"'
