"""Papers a student showed and tests taken."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1 import confirming
from api.v1.description import Answer, Parameter, describe
from api.v1.endorsements import ConfirmThrottle, SigningView, as_it_came, own_id
from syllabus.engine import reading
from syllabus.engine import record as engine
from syllabus.engine.reading import Faults, Object
from syllabus.engine.report import CAUTION
from training import record
from training.models import RecordChange
from training.services import attesting, documents


class StudentDocuments(SigningView):
    """GET: the documents and tests on record. POST: one more."""

    query = {"on": reading.day}

    def get_throttles(self) -> list[Any]:
        confirms = isinstance(self.request.data, Mapping) and "saw" in self.request.data
        return [ConfirmThrottle()] if self.request.method == "POST" and confirms else []

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
        summary="Add a document or a test",
        description=(
            "Either `document` or `test`, as in a record document without its id. Who saw the document says "
            "which it was (`saw`), and confirms it with the password or a passkey, which signs `saw` and "
            "`sent`, the hash of the canonical form of `document` or `test` by its key: the entry is then "
            "`attested`. Without `saw` it is `claimed`, and nothing rests on it. `id` is the caller's "
            "own: the "
            "same sent again is answered with what stands (200), something else under it is a conflict "
            "(409). "
            "Of proof of identity or citizenship (`citizenship-evidence`) `remarks` says what was shown; no "
            "copy is kept."
        ),
        parameters=[Parameter.student()],
        body="PaperToAdd",
        answers={
            200: Answer("PaperListed", "Already on record"),
            201: Answer("PaperListed", "Added"),
        },
        refuses=(400, 401, 403, 404, 406, 409, 411, 413, 415, 422, 429),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.writable(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        entry = fields.take("id", own_id, required=True)
        said = {key: fields.take(key, as_it_came) for key in ("document", "test")}
        saw = fields.take("saw", reading.name)
        confirmation = None
        if saw is not None:
            confirmation = confirming.take(fields)
        else:
            for key in (confirming.PASSWORD, confirming.PASSKEY):
                if fields.take(key, as_it_came) is not None:
                    faults.add("saw", "is missing; say which document you saw, or confirm nothing")
        fields.done()
        faults.stop(documents.PaperError)
        sent = {key: value for key, value in said.items() if value is not None}
        confirmed = None
        if saw is not None and confirmation is not None:
            documents.read(sent, str(entry), today=student.school.day(self.at))
            saw = attesting.saw_of(saw)
            confirmed = self.signer(confirmation).confirm(
                attesting.act(student, str(entry), sent, saw),
                RecordChange.objects.none(),
            )
        done = documents.add(
            student,
            entry,
            sent,
            by=self.user,
            at=self.at,
            via="api",
            saw=saw or "",
            confirmed=confirmed,
        )
        on = student.school.day(self.at)
        part = documents.list_of(done.entry)
        shown = documents.as_json(part, done.entry, documents.good_for(record.of(student), done.entry, on))
        return Response(shown, status=HTTPStatus.CREATED if done.created else HTTPStatus.OK)


class StudentAttestations(SigningView):
    """POST: entries that stand on record as claims are vouched for."""

    throttle_classes = [ConfirmThrottle]

    @describe(
        name="attestEntries",
        summary="Attest entries on record",
        description=(
            "Whoever compared claimed entries with the document they are from says which document it was "
            "(`saw`), and confirms it with the password or a passkey, which signs `entries` and `saw`. Each "
            "is then `attested` by the caller, from now on; before, it was a claim. What is vouched for "
            "already is passed over, so that the same may be sent again. An endorsement that names an "
            "instructor of this school, now or formerly, by name or certificate, is refused: that instructor "
            "gives it here. So is a test that names another instructor of this school, who attests it. "
            "Sealed in the school's ledger."
        ),
        parameters=[Parameter.student()],
        body="EntriesToAttest",
        answers={200: Answer("EntriesAttested", "Those that were claims until now")},
        refuses=(400, 401, 403, 404, 406, 411, 413, 415, 422, 429),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.writable(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        named = fields.take(
            "entries", reading.list_of(_named, most=attesting.MOST_ENTRIES), (), required=True
        )
        saw = fields.take("saw", reading.name, "", required=True)
        confirmation = confirming.take(fields)
        fields.done()
        faults.stop(attesting.NotAttested)
        confirmed = self.signer(confirmation).confirm(
            attesting.act_on_record(student, named, saw), RecordChange.objects.none()
        )
        done = attesting.attest(
            student, named, saw=saw, by=self.user, at=self.at, via="api", confirmed=confirmed
        )
        listed = [{"part": each.part, "id": each.id, "provenance": each.provenance} for each in done]
        return Response({"attested": listed})


def _named(faults: Faults, value: Any, place: str) -> tuple[str, str]:
    fields = Object(faults, value, place)
    part = fields.take("part", reading.one_of(engine.Record.PARTS, "list of a record"), "", required=True)
    entry = fields.take("id", reading.name, "", required=True)
    fields.done()
    return part, entry
