"""Documents that a student showed, and tests."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from api.v1.base import reauthentication
from api.v1.base.description import Answer, Created, Parameter, describe
from api.v1.base.field_types import FLAG, NAME, STRING, UUID, as_it_came, like, list_of, without, word
from api.v1.base.reauthentication import ConfirmedSerializer, MayBeConfirmedSerializer
from api.v1.base.reports import MET, ON, PROVENANCE
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.throttles import ConfirmThrottle
from api.v1.student.endorsements.views import SigningView
from syllabus.engine.record import record as engine
from syllabus.engine.record.json_schema import ref
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type, shape_of
from syllabus.engine.rules.report import CAUTION
from training.models import RecordChange
from training.services.records import attesting, documents

_GIVEN = ("id", "recorded", "provenance")
PAPER, TEST = shape_of(engine.Document), shape_of(engine.Test)
DOCUMENT_SENT = without(PAPER, *_GIVEN, component="DocumentToAdd")
TEST_SENT = without(TEST, *_GIVEN, component="TestToAdd")
SAW = like(NAME, description="Which document the caller saw, such as 'medical certificate, the original'.")
ENTRY = Type(as_it_came, {"anyOf": [ref("Paper"), ref("TestTaken")]}, uses=(PAPER, TEST))


class PaperGoodForSerializer(ResponseSerializer):
    milestone = Field(STRING)
    requirement = Field(STRING)
    says = Field(STRING)
    citation = Field(STRING)
    met = Field(FLAG, MET, allow_null=True)
    first_day = Field(ON, source="first", allow_null=True)
    last_day = Field(ON, source="last", allow_null=True)
    why = Field(list_of(STRING))


class PaperListedSerializer(ResponseSerializer):
    list = Field(word(["documents", "tests"]))
    entry = Field(ENTRY)
    good_for = PaperGoodForSerializer(many=True)


class PaperListSerializer(ResponseSerializer):
    on = Field(ON)
    papers = PaperListedSerializer(many=True)
    caution = Field(STRING)


class PaperToAddSerializer(MayBeConfirmedSerializer):
    """Either document or test; with `saw` also the password or a passkey."""

    error = documents.PaperError

    id = Field(like(UUID, description="Chosen by the caller, so that the request can be repeated."))
    document = Field(DOCUMENT_SENT, required=False)
    test = Field(TEST_SENT, required=False)
    saw = Field(SAW, required=False)

    def check(self, errors: Errors, found: dict[str, Any], said: Mapping[str, Any]) -> None:
        super().check(errors, found, said)
        if found["saw"] is not None and not self.sent_of(said):
            errors.extend(reauthentication.missing())
        elif found["saw"] is None and self.sent_of(said):
            errors.add("saw", "is missing; enter which document you saw, or leave out the re-authentication")


class EntryNamedSerializer(RequestSerializer):
    part = Field(word(engine.Record.PARTS, "list of a record"))
    id = Field(NAME)


class EntriesToAttestSerializer(ConfirmedSerializer):
    error = attesting.NotAttested

    entries = EntryNamedSerializer(many=True, min_length=1, max_length=attesting.MOST_ENTRIES)
    saw = Field(SAW)


class EntryAttestedSerializer(ResponseSerializer):
    part = Field(word(engine.Record.PARTS))
    id = Field(STRING)
    provenance = Field(PROVENANCE)


class EntriesAttestedSerializer(ResponseSerializer):
    attested = EntryAttestedSerializer(many=True)


class StudentDocuments(SigningView):
    query = (Parameter.on("by the rules in force on this day"),)

    def get_throttles(self) -> list[Any]:
        confirms = isinstance(self.request.data, Mapping) and "saw" in self.request.data
        return [ConfirmThrottle()] if self.request.method == "POST" and confirms else []

    @describe(
        "listDocuments",
        "List documents and tests",
        Answer(PaperListSerializer, "Documents and tests"),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """Each document and test on record, newest first within its list, with the requirements that it meets
        and until when: a medical certificate has an expiration for each privilege. By the rules in force on
        the day `on` (default: today at the school). The reading is logged.
        """
        student = self.open(ref, "documents")
        on = self.asked["on"] or student.school.day(self.at)
        listed = [documents.as_json(*each) for each in documents.listed(student, on)]
        return {"on": on, "papers": listed, "caution": CAUTION}

    @describe(
        "addDocument",
        "Add a document or a test",
        Answer(PaperListedSerializer, "Already on record"),
        Answer(PaperListedSerializer, "Added", status=201),
        body=PaperToAddSerializer,
        refuses=(403, 409, 429),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """Either `document` or `test`, as in a record document without its id. If you saw the document, say
        which one (`saw`) and give the password or a passkey, which signs `saw` and `sent`, the hash of the
        canonical form of `document` or `test` by its key: the entry is then `attested`. Without `saw` it is
        `claimed`, and no requirement relies on it. `id` is chosen by the caller: sending the same again
        returns the existing entry (200); other content under it is a conflict (409). For proof of identity or
        citizenship (`citizenship-evidence`), `remarks` says what was shown; no copy is stored.
        """
        student = self.writable(ref)
        body = self.sent()
        entry, saw, confirmation = body["id"], body["saw"], body["confirmation"]
        said = {key: body[key] for key in ("document", "test")}
        sent = {key: value for key, value in said.items() if value is not None}
        confirmed = None
        if saw is not None:
            documents.read(sent, str(entry), today=student.school.day(self.at))
            saw = attesting.saw_of(saw)
            confirmed = self.signer(confirmation).confirm(
                attesting.act(student, str(entry), sent, saw),
                RecordChange.objects.none(),
            )
        done = documents.add(student, entry, sent, saw=saw or "", confirmed=confirmed, **self.acting)
        on = student.school.day(self.at)
        part = documents.list_of(done.entry)
        shown = documents.as_json(part, done.entry, documents.good_for(student, done.entry, on))
        return Created(shown) if done.created else shown


class StudentAttestations(SigningView):
    throttle_classes = [ConfirmThrottle]

    @describe(
        "attestEntries",
        "Attest entries on record",
        Answer(EntriesAttestedSerializer, "The entries attested by this call"),
        body=EntriesToAttestSerializer,
        refuses=(403,),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """For those who compared claimed entries with the document: say which one (`saw`) and give the
        password or a passkey, which signs `entries` and `saw`. Each entry is `attested` by the caller from
        now on. Entries that are attested already are skipped, so the request can be repeated. An endorsement
        that names an instructor of this school, now or before, by name or certificate, is refused: that
        instructor gives it here. So is a test that names another instructor of this school, who attests it.
        Signed into the school's ledger.
        """
        student = self.writable(ref)
        sent = self.sent()
        named, saw = [(each["part"], each["id"]) for each in sent["entries"]], sent["saw"]
        confirmed = self.signer(sent["confirmation"]).confirm(
            attesting.act_on_record(student, named, saw), RecordChange.objects.none()
        )
        done = attesting.attest(student, named, saw=saw, confirmed=confirmed, **self.acting)
        listed = [{"part": each.part, "id": each.id, "provenance": each.provenance} for each in done]
        return {"attested": listed}
