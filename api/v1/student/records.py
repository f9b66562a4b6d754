"""A student's record document: read and replace."""

import hashlib
import uuid
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

import rfc8785
from django.db import transaction
from django.utils.http import parse_etags
from rest_framework.response import Response

from api.v1.base import reauthentication
from api.v1.base.description import Answer, Header, Parameter, describe
from api.v1.base.errors import Problem
from api.v1.base.field_types import FLAG, TEXT, WHOLE, as_it_came, keyed, like, open_to, word
from api.v1.base.reauthentication import ConfirmedSerializer
from api.v1.base.reports import RECORD, TRAINING_RECORD
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.throttles import ConfirmThrottle
from api.v1.student.endorsements.views import SigningView
from syllabus.engine.errors import DocumentError, InputError
from syllabus.engine.record import document as documents
from syllabus.engine.record.document import dump
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.record import FORMAT
from syllabus.engine.record.shapes import Type
from training import record
from training.models import RecordChange, Student
from training.services import access
from training.services.records import record_changes, records

#: Keys of the request besides the record document.
_ABOUT = ("reason", reauthentication.PASSWORD, reauthentication.PASSKEY)
ETAG = Header("ETag", "A hash of this state of the record; send it back in If-Match.")


#: How many entries of each list of a record were added, changed, removed, unchanged.
COUNTS = open_to(keyed(("added", "changed", "removed", "kept"), WHOLE, all_of_them=True).schema)


class RecordToReplaceSerializer(ConfirmedSerializer):
    """A record document, with the reason and re-authentication."""

    error = DocumentError

    format = Field(word([FORMAT]))
    reason = Field(
        like(TEXT, minLength=1, maxLength=2000, pattern=r"\S"),
        "Why the record is changed. It is signed into the ledger and shown to the student.",
    )

    def get_fields(self) -> dict[str, Any]:
        parts = {
            each.key: Field(Type(as_it_came, each.value, uses=each.type.uses), required=False)
            for each in RECORD.fields
        }
        return {**parts, **super().get_fields()}

    def read(self, errors: Errors, value: Any, place: str) -> dict[str, Any]:
        """The record document, which has its own reader, and the keys beside it."""
        document, said = value, {}
        if isinstance(value, Mapping):
            said = {key: value[key] for key in _ABOUT if value.get(key) is not None}
            document = {key: each for key, each in value.items() if key not in _ABOUT}
        found = super().read(errors, {"format": FORMAT, "reason": "", **said}, place) or {}
        for read, given in ((record_changes.reason_of, found["reason"] or ""), (documents.parse, document)):
            try:
                read(given)
            except InputError as problem:
                errors.extend(problem.errors)
        return {**found, "document": document}


class RecordChangeSerializer(ResponseSerializer):
    changed = Field(FLAG)
    entries = Field(
        COUNTS, "For each list of the record, how many entries were added, changed, removed, kept."
    )


def etag_of(document: dict[str, Any]) -> str:
    """The ETag of a record document: a hash over its canonical form."""
    return f'"sha256:{hashlib.sha256(rfc8785.dumps(document)).hexdigest()}"'


def _etag(student: Student) -> str:
    """The ETag of a student's record as it is now, with the provenance of each entry."""
    return etag_of(dump(record.of(student), provenance=True))


def _starts_from(student: Student, wanted: str) -> None:
    """Raises: Problem (412) if the record has changed."""
    held = parse_etags(wanted)
    if "*" not in held and _etag(student) not in held:
        raise Problem(
            HTTPStatus.PRECONDITION_FAILED,
            "The record has changed since you read it. Read it again, then send your change again.",
        )


class StudentRecord(SigningView):
    @describe(
        "readRecord",
        "Read the record",
        Answer(TRAINING_RECORD, "The record", [ETAG]),
        Answer(None, "The record has not changed", [ETAG], status=304),
        parameters=[
            Parameter(
                "If-None-Match",
                "header",
                "An ETag that you have: 304 if it is still current.",
                {"type": "string"},
            )
        ],
    )
    def get(self, ref: uuid.UUID) -> Any:
        """The whole training record as a record document. The reading is logged."""
        student = self.visible(ref)
        document = records.export_document(student, **self.acting)
        tag = etag_of(document)
        headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
        held = parse_etags(self.request.headers.get("If-None-Match", ""))
        if tag in [each.removeprefix("W/") for each in held] or "*" in held:
            return Response(status=HTTPStatus.NOT_MODIFIED, headers=headers)
        return Response(document, headers=headers)

    @describe(
        "replaceRecord",
        "Replace the record",
        Answer(RecordChangeSerializer, "The entries added, changed, removed and kept", [ETAG]),
        parameters=[
            Parameter(
                "If-Match",
                "header",
                "The ETag of the record on which the change is based.",
                {"type": "string"},
            )
        ],
        body=RecordToReplaceSerializer,
        refuses=(403, 409, 412, 428, 429),
    )
    def put(self, ref: uuid.UUID) -> Any:
        """Replaces the stored record by the record document in the body. Nothing is lost: entries that were
        changed or left out stay on file as known until now. For the student's instructors and the school's
        administrators, with the `reason` and the password or a passkey, which signs `reason` and `sent`: the
        hash of the record document's canonical form without these keys. `If-Match` has the ETag from GET, so
        that no other change is overwritten. An entry that was signed here cannot be changed (409). Every
        entry that the document brings is `claimed` and recorded now, whatever the document says, until
        someone attests it. The change is signed into the school's ledger, and the student is notified.
        """
        student = self.writable(ref)
        wanted = self.request.headers.get("If-Match")
        if wanted is None:
            raise Problem(
                HTTPStatus.PRECONDITION_REQUIRED,
                "If-Match is missing. Read the record, then send its ETag with your change.",
            )
        try:
            sent = self.sent()
        except DocumentError:
            _starts_from(student, wanted)  # a changed record comes before errors in the document
            raise
        document, reason = sent["document"], record_changes.reason_of(sent["reason"])
        confirmed = self.signer(sent["confirmation"]).confirm(
            record_changes.act(student, records.sent_hash(document), reason),
            RecordChange.objects.filter(student=student),
        )
        with transaction.atomic():
            # Whoever replaces a record holds this lock, so the record compared is the record replaced.
            student = Student.objects.select_for_update(no_key=True).get(pk=student.pk)
            _starts_from(student, wanted)
            done = records.import_document(
                document, student=student, reason=reason, confirmed=confirmed, **self.acting
            )
            stands = _etag(student)
        change = done.change
        answer = {"changed": change is not None, "entries": change.counts if change else {}}
        return Response(RecordChangeSerializer(answer).data, headers={"ETag": stands})

    def get_throttles(self) -> list[Any]:
        return [ConfirmThrottle()] if self.request.method == "PUT" else []

    def visible(self, ref: uuid.UUID) -> Student:
        """The student. Raises: Problem (404)."""
        return access.student(self.user, ref, on=self.today)
