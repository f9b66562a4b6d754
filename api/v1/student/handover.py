"""Export a student's whole record as one file, and import one from another school."""

import base64
import binascii
import uuid
from dataclasses import replace
from http import HTTPStatus
from typing import Any

from django.db.models import Count

from api.v1.base import reauthentication
from api.v1.base.description import Answer, Created, describe
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
from api.v1.base.reauthentication import ConfirmedSerializer
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.throttles import ConfirmThrottle
from api.v1.base.views import View
from api.v1.student.students import StudentView
from syllabus.engine.record.json_schema import Schema
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type
from training.models import HandOver, RecordChange
from training.services import access
from training.services.signing.reauthentication import Act, Confirmed
from training.services.transfer import handover

MOST_KEYS = 20


def _file(errors: Errors, value: Any, place: str) -> bytes | None:
    if isinstance(value, str):
        try:
            return base64.b64decode(value, validate=True)
        except (binascii.Error, ValueError):
            pass
    errors.add(place, "is not base64")
    return None


def _keys(errors: Errors, value: Any, place: str) -> list[str] | None:
    if isinstance(value, list) and len(value) <= MOST_KEYS and all(isinstance(one, str) for one in value):
        return value
    errors.add(place, f"is not a list of at most {MOST_KEYS} ids of keys")
    return None


FILE: Schema = {"type": "string", "contentEncoding": "base64", "contentMediaType": "application/zip"}
COUNTS = open_to(WHOLE.schema)


class HandOverSerializer(ResponseSerializer):
    name = Field(STRING)
    bytes = Field(WHOLE)
    file = Field(Type(as_it_came, FILE))


class HandOverToTakeSerializer(ConfirmedSerializer):
    error = handover.HandOverError

    school = Field(NAME, "The short name of the importing school.")
    file = Field(Type(_file, FILE))
    trust = Field(
        replace(list_of(STRING, MOST_KEYS), read=_keys), "Key ids of the other school.", required=False
    )
    reason = Field(like(TEXT, maxLength=2000), "Why; it is signed into the ledger.")


class OriginSerializer(ResponseSerializer):
    """The origin of an imported record, with the number of its signed entries."""

    school = Field(STRING, source="origin")
    ledger = Field(STRING, source="origin_tree")
    student = Field(STRING, source="origin_subject")
    key = Field(STRING, source="kid")
    signed_at = Field(INSTANT, source="made_at")
    rulebook = Field(STRING)
    sealed_entries = Field(WHOLE, source="sealed")


class HandedOverSerializer(OriginSerializer):
    """A file from which the record was imported."""

    taken_over_at = Field(INSTANT, source="at")


class TakenOverSerializer(ResponseSerializer):
    """`origin` is null if the same file was imported before."""

    student = Field(UUID)
    created = Field(FLAG)
    changed = Field(FLAG)
    entries = Field(open_to(COUNTS.schema))
    origin = OriginSerializer(allow_null=True)


class ForeignEntrySerializer(ResponseSerializer):
    """An entry signed at another school, as its ledger has it."""

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
    @describe("handOverRecord", "Hand over a record", Answer(HandOverSerializer, "The file"))
    def post(self, ref: uuid.UUID) -> Any:
        """Creates one ZIP file (in base64 as `file`) with the record document, its pages as PDF, every signed
        entry about the student with its proof, the signed checkpoint, the public keys, the hash of the
        rulebook and the courses: for students who want their data, or for another school. `python -m
        training.ledger.verify FILE --key ID` checks it without this server. For those who may read the
        record; the export is logged and signed into the ledger.
        """
        student = access.student(self.user, ref, on=self.today)
        raw = handover.make(student, **self.acting)
        return {
            "name": f"training-record-{student.school.day(self.at)}.zip",
            "bytes": len(raw),
            "file": base64.b64encode(raw).decode(),
        }


class TakeOver(View):
    @describe(
        "takeOverRecord",
        "Import a record from another school",
        Answer(TakenOverSerializer, "Updated, or the same as before"),
        Answer(TakenOverSerializer, "A new student", status=201),
        body=HandOverToTakeSerializer,
        refuses=(403, 409, 429),
    )
    def post(self) -> Any:
        """For administrators of the school. The file becomes a new student, or updates one that was imported
        before; what was recorded here since stays. The other school's signed entries are stored with their
        origin. `trust` has the ids of keys that you compared with what that school publishes. A file that was
        damaged, cut, re-ordered or signed with an untrusted key is refused with the place (422), and nothing
        is imported. Give a `reason`, and the password or a passkey, which signs `reason`, `sent`, the hash of
        the file's bytes (`sha256:…`), and, if keys are trusted, `trust`, their ids in order. The kind in the
        statement is `record.taken-over`; the student is the one here, or that of the file for a new student.
        The import is signed into the ledger, and the student is notified of changes. Larger files are
        imported on the server's command line.
        """
        sent = self.sent()
        slug, raw = sent["school"], sent["file"]
        school = access.schools(self.user).filter(slug=slug).first()
        if school is None:
            raise Problem(HTTPStatus.FORBIDDEN, f"You do not administer a school named {slug}.")

        def confirm(act: Act) -> Confirmed:
            before = RecordChange.objects.filter(student__ref=act.subject)
            return reauthentication.signer(self.request, self.user, sent["confirmation"], self.at).confirm(
                act, before
            )

        done = handover.take(
            raw,
            school=school,
            trust=sent["trust"] or [],
            reason=sent["reason"],
            confirm=confirm,
            **self.acting,
        )
        made = done.hand_over
        answer = {
            "student": done.student.ref,
            "created": done.created,
            "changed": done.change is not None,
            "entries": done.change.counts if done.change else {},
            "origin": made and HandOver.objects.annotate(sealed=Count("entries")).get(pk=made.pk),
        }
        return Created(answer) if done.created else answer

    def get_throttles(self) -> list[Any]:
        return [*super().get_throttles(), ConfirmThrottle()]


class StudentOrigins(StudentView):
    @describe(
        "originsOfStudent",
        "List the entries signed at other schools",
        Answer(OriginsSerializer, "The entries from other schools"),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """Every file from which this record was imported, and each entry signed at the other school: in which
        ledger, at which index, with which key. `verified` says that its proof and its body matched a
        checkpoint signed with a trusted key; it is false if the body had been erased there, so that only the
        proof could be checked. The reading is logged.
        """
        student = self.open(ref, "origins")
        return {
            "hand_overs": student.hand_overs.annotate(sealed=Count("entries")),
            "entries": student.foreign_entries.all(),
        }
