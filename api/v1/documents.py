"""Papers a student showed and tests taken."""

from __future__ import annotations

import uuid
from http import HTTPStatus

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.description import Answer, Parameter, describe
from api.v1.endorsements import SigningView, as_it_came, own_id
from api.v1.errors import Problem
from syllabus.engine import reading
from syllabus.engine.reading import Faults, Object
from syllabus.engine.report import CAUTION
from training import record
from training.services import documents


class StudentDocuments(SigningView):
    """GET: the documents and tests on record. POST: one more."""

    query = {"on": reading.day}

    @describe(
        name="listDocuments",
        summary="List documents and tests",
        description=(
            "Each document and test on record, newest first within its list, with what it is good for and "
            "until when: one medical certificate has an end for each privilege. Worked out by the rules in "
            "force on the day `on`, today at the school where it is not given. The reading is logged."
        ),
        parameters=[Parameter.student(), Parameter.on("the rules in force on it answer")],
        answers={200: Answer("PaperList", "Documents and tests")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "documents")
        on = self.asked["on"] or student.school.day(self.at)
        listed = [documents.as_json(*each) for each in documents.listed(record.of(student), on)]
        return Response({"on": on.isoformat(), "papers": listed, "caution": CAUTION})

    @describe(
        name="addDocument",
        summary="Put a document or a test on record",
        description=(
            "Either `document` or `test`, as in a record document without its id. `id` is the caller's "
            "own: the "
            "same sent again is answered with what stands (200), something else under it is a conflict "
            "(409). "
            "Of proof of identity or citizenship (`citizenship-evidence`) `remarks` says what was shown; no "
            "copy is kept."
        ),
        parameters=[Parameter.student()],
        body="PaperToAdd",
        answers={
            200: Answer("PaperListed", "It stands already"),
            201: Answer("PaperListed", "It was put on record"),
        },
        refuses=(400, 401, 403, 404, 406, 409, 411, 413, 415, 422),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.writable(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        entry = fields.take("id", own_id, required=True)
        said = {key: fields.take(key, as_it_came) for key in ("document", "test")}
        fields.done()
        faults.stop(documents.PaperError)
        sent = {key: value for key, value in said.items() if value is not None}
        try:
            done = documents.add(student, entry, sent, by=self.user, at=self.at, via="api")
        except documents.Conflict as conflict:
            raise Problem(HTTPStatus.CONFLICT, str(conflict)) from None
        on = student.school.day(self.at)
        part = documents.list_of(done.entry)
        shown = documents.as_json(part, done.entry, documents.good_for(record.of(student), done.entry, on))
        return Response(shown, status=HTTPStatus.CREATED if done.created else HTTPStatus.OK)
