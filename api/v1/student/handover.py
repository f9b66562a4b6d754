"""A student's whole record in one file, and one taken over from another school."""

from __future__ import annotations

import base64
import binascii
import uuid
from dataclasses import replace
from http import HTTPStatus
from typing import Any

from django.db.models import Count
from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.base import reauthentication
from api.v1.base.description import Answer, describe
from api.v1.base.errors import Problem
from api.v1.base.field_types import (
    FLAG,
    INSTANT,
    NAME,
    STRING,
    TEXT,
    UUID,
    WHOLE,
    as_it_came,
    like,
    list_of,
    open_to,
)
from api.v1.base.reauthentication import ConfirmedSerializer, ConfirmThrottle
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from api.v1.student.students import StudentView
from syllabus.engine.record.json_schema import Schema
from syllabus.engine.record.reading import Faults
from syllabus.engine.record.shapes import Type
from training.models import HandOver, RecordChange
from training.services import access
from training.services.signing.reauthentication import Act, Confirmed
from training.services.transfer import handover

MOST_KEYS = 20


def _file(faults: Faults, value: Any, place: str) -> bytes | None:
    if isinstance(value, str):
        try:
            return base64.b64decode(value, validate=True)
        except (binascii.Error, ValueError):
            pass
    faults.add(place, "is not the file in base64")
    return None


def _keys(faults: Faults, value: Any, place: str) -> list[str] | None:
    if isinstance(value, list) and len(value) <= MOST_KEYS and all(isinstance(one, str) for one in value):
        return value
    faults.add(place, f"is not a list of at most {MOST_KEYS} ids of keys")
    return None


FILE: Schema = {"type": "string", "contentEncoding": "base64", "contentMediaType": "application/zip"}
COUNTS = open_to(WHOLE.schema)


class HandOverSerializer(ResponseSerializer):
    name = Field(STRING)
    bytes = Field(WHOLE)
    file = Field(Type(as_it_came, FILE))


class HandOverToTakeSerializer(ConfirmedSerializer):
    error = handover.HandOverError

    school = Field(NAME, "The short name of the school that takes the record over.")
    file = Field(Type(_file, FILE))
    trust = Field(
        replace(list_of(STRING, MOST_KEYS), read=_keys), "Ids of the other school's keys.", required=False
    )
    reason = Field(like(TEXT, maxLength=2000), "Why; it is sealed.")


class OriginSerializer(ResponseSerializer):
    """Where a record came from; of a hand-over that is counted with its entries (``sealed``)."""

    school = Field(STRING, source="origin")
    ledger = Field(STRING, source="origin_tree")
    student = Field(STRING, source="origin_subject")
    key = Field(STRING, source="kid")
    signed_at = Field(INSTANT, source="made_at")
    rulebook = Field(STRING)
    sealed_entries = Field(WHOLE, source="sealed")


class HandedOverSerializer(OriginSerializer):
    """A hand-over that the record was taken over from."""

    taken_over_at = Field(INSTANT, source="at")


class TakenOverSerializer(ResponseSerializer):
    """`origin` is null where the same file was taken over before."""

    student = Field(UUID)
    created = Field(FLAG)
    changed = Field(FLAG)
    entries = Field(open_to(COUNTS.schema))
    origin = OriginSerializer(allow_null=True)


class ForeignEntrySerializer(ResponseSerializer):
    """What another school sealed, as its ledger has it."""

    ledger = Field(STRING, source="tree")
    index = Field(WHOLE)
    kind = Field(STRING)
    student = Field(STRING, "The reference at the other school.", source="subject")
    sealed_at = Field(STRING)
    key = Field(STRING, source="kid")
    verified = Field(FLAG)
    body = Field(STRING, "Canonical JSON (RFC 8785); null when erased.", allow_null=True)


class OriginsSerializer(ResponseSerializer):
    hand_overs = HandedOverSerializer(many=True)
    entries = ForeignEntrySerializer(many=True)


class StudentHandOver(StudentView):
    @describe(
        name="handOverRecord",
        summary="Hand over a record",
        description=(
            "Makes one file (a ZIP, in base64 under `file`) of the record document, its pages as PDF, every"
            " sealed entry about the student with its proof, the signed checkpoint, the public keys, the"
            " rulebook's hash and the courses: for the student who asks for their data, or another school."
            " `python -m training.ledger.verify FILE --key ID` checks it without this server. For whoever may"
            " read the record; that it was handed over is logged, and sealed."
        ),
        answers={200: Answer(HandOverSerializer, "The file")},
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = access.student(self.user, ref, on=self.today)
        raw = handover.make(student, by=self.user, at=self.at, via="api")
        made = {
            "name": f"training-record-{student.school.day(self.at)}.zip",
            "bytes": len(raw),
            "file": base64.b64encode(raw).decode(),
        }
        return Response(HandOverSerializer(made).data)


class TakeOver(View):
    @describe(
        name="takeOverRecord",
        summary="Import a record from another school",
        description=(
            "By an administrator of the school: the file that another school handed over becomes a new"
            " student's record here, or brings one that was taken over before up to date; what was recorded"
            " here since stays. The other school's sealed entries are kept with their origin. `trust` has the"
            " ids of keys that you compared with what that school publishes. A file that was damaged, cut,"
            " re-ordered or signed with a key that nobody trusts is refused with the place (422), and nothing"
            " is written. It says why (`reason`), and is confirmed with the password or a passkey, which"
            " signs `reason`, `sent`, the hash of the file's bytes (`sha256:…`), and, where keys are"
            " trusted, `trust`, their ids in order; the kind it names is `record.taken-over`, the student"
            " the one here, or that of the file where the student is new here. It is sealed, and what"
            " changes a record here is told to the student. Files larger than a body may be are taken over"
            " by the server's command line."
        ),
        body=HandOverToTakeSerializer,
        answers={
            200: Answer(TakenOverSerializer, "Brought up to date, or the same as before"),
            201: Answer(TakenOverSerializer, "A new student"),
        },
        refuses=(403, 409, 429),
    )
    def post(self, request: Request) -> Response:
        sent = HandOverToTakeSerializer.sent(request)
        slug, raw = sent["school"], sent["file"]
        school = access.schools(self.user).filter(slug=slug).first()
        if school is None:
            raise Problem(HTTPStatus.FORBIDDEN, f"You do not administer a school that is called {slug}.")

        def confirm(act: Act) -> Confirmed:
            before = RecordChange.objects.filter(student__ref=act.subject)
            return reauthentication.signer(request, self.user, sent["confirmation"], self.at).confirm(
                act, before
            )

        done = handover.take(
            raw,
            school=school,
            trust=sent["trust"] or [],
            by=self.user,
            at=self.at,
            via="api",
            reason=sent["reason"],
            confirm=confirm,
        )
        made = done.hand_over
        answer = {
            "student": done.student.ref,
            "created": done.created,
            "changed": done.change is not None,
            "entries": done.change.counts if done.change else {},
            "origin": made and HandOver.objects.annotate(sealed=Count("entries")).get(pk=made.pk),
        }
        status = HTTPStatus.CREATED if done.created else HTTPStatus.OK
        return Response(TakenOverSerializer(answer).data, status=status)

    def get_throttles(self) -> list[Any]:
        return [*super().get_throttles(), ConfirmThrottle()]


class StudentOrigins(StudentView):
    @describe(
        name="originsOfStudent",
        summary="List the entries signed at other schools",
        description=(
            "Every hand-over that this record was taken over from, and each entry that the other school had"
            " sealed: in which ledger, at which index, signed with which key. `verified` says that its proof"
            " and its body fitted a checkpoint signed with a trusted key; it is false where the body had been"
            " erased there, so that only the proof could be checked. The reading is logged."
        ),
        answers={200: Answer(OriginsSerializer, "What came from elsewhere")},
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "origins")
        origins = {
            "hand_overs": student.hand_overs.annotate(sealed=Count("entries")),
            "entries": student.foreign_entries.all(),
        }
        return Response(OriginsSerializer(origins).data)
