"""The serializers of endorsements."""

from typing import Any

from api.v1.base.field_types import (
    FLAG,
    NAME,
    STRING,
    TEXT,
    UTC,
    UUID,
    VERIFIED,
    WHOLE,
    as_it_came,
    content_hash,
    like,
    list_of,
    word,
)
from api.v1.base.reauthentication import ConfirmedSerializer
from api.v1.base.reports import ON, EndorsementReportSerializer
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from syllabus.engine.record import document as documents
from syllabus.engine.record import record as engine
from syllabus.engine.record.json_schema import obj, or_null
from syllabus.engine.record.shapes import Type, shape_of
from syllabus.engine.record.vocabulary import INSTRUCTORS, TEST_SORTS
from syllabus.law import endorsements as catalogue
from syllabus.law.endorsements import Kind
from training import record
from training.models import Endorsement, EndorsementSeal
from training.services.endorsements.endorsements import EndorsementError

#: Keys of a record document's entry that a request does not have.
_GIVEN = ("id", "kind", "instructor", "recorded", "provenance")
_SHAPE = shape_of(engine.Endorsement)
ENDORSEMENT = Type(_SHAPE.read, _SHAPE.schema, component=_SHAPE.component, uses=_SHAPE.uses)
FIELDS = Type(
    as_it_came,
    obj(
        {
            **{each.key: or_null(each.value) for each in _SHAPE.fields if each.key not in _GIVEN},
            "given": or_null({"type": "string", "format": "date"}),
        },
        description=(
            "The fields of the kind, as endorsement-kinds lists them. `given` is today at the "
            "school if left out."
        ),
    ),
    component="EndorsementFields",
    uses=_SHAPE.uses,
)
OWN_ID = like(UUID, description="Chosen by the caller, so that the request can be repeated.")
SORTS = list_of(word(TEST_SORTS))
NEEDED = word([catalogue.REQUIRED, catalogue.OPTIONAL])


def written(endorsement: engine.Endorsement) -> dict[str, Any]:
    """As in a record document."""
    whole = documents.dump(engine.Record(endorsements=(endorsement,)), provenance=True)
    made: dict[str, Any] = whole["endorsements"][0]
    return made


def _of_row(row: Endorsement) -> dict[str, Any]:
    return written(record.entry_of(row, "endorsements"))


class EndorsementToCheckSerializer(RequestSerializer):
    error = EndorsementError

    kind = Field(NAME)
    endorsement = Field(FIELDS, default={})


class EndorsementToGiveSerializer(ConfirmedSerializer):
    error = EndorsementError

    id = Field(OWN_ID)
    kind = Field(NAME)
    endorsement = Field(FIELDS, default={})
    judgement = Field(like(TEXT, maxLength=2000), "The instructor's judgment in words.", default="")
    checked_hash = Field(content_hash("a check"), "That of the check that was read.", default="")


class RevocationOfEndorsementSerializer(ConfirmedSerializer):
    error = EndorsementError

    reason = Field(NAME, "Why it ends.")


class GivenBySerializer(ResponseSerializer):
    """A kind of instructor who may give it, and the sorts of test."""

    instructor = Field(word(INSTRUCTORS))
    tests = Field(SORTS)


class EndorsementKindSerializer(ResponseSerializer):
    kind = Field(STRING)
    title = Field(STRING)
    citation = Field(STRING, source="cite.section")
    source_ = Field(STRING, of=lambda kind: kind.cite.source)
    read_on = Field(ON, source="cite.read_on")
    verified = Field(VERIFIED)
    fields_ = Field(
        Type(as_it_came, obj(dict.fromkeys(catalogue.FIELDS, NEEDED.schema))),
        of=lambda kind: {
            name: catalogue.REQUIRED if needed else catalogue.OPTIONAL for name, needed in kind.fields.items()
        },
    )
    tests = Field(SORTS, "The sorts of test that `test` may name; empty if there is no such field.")
    given_by = GivenBySerializer(
        many=True,
        help_text=("The kinds of instructor who may give it, and for which sorts of test; empty: for any."),
    )
    proves = Field(list_of(STRING), "Requirements that it meets.")
    rests_on = Field(
        list_of(STRING), "Requirements that it relies on, or a milestone: all of it except what it meets."
    )
    given_by_who_trained = Field(FLAG, source="trained")
    life = Field(STRING)
    wording = Field(STRING, "With placeholders in braces.")

    def find_given_by(self, kind: Kind) -> list[dict[str, Any]]:
        return [{"instructor": each, "tests": list(sorts)} for each, sorts in kind.given_by.items()]


class EndorsementKindListSerializer(ResponseSerializer):
    kinds = EndorsementKindSerializer(many=True)
    caution = Field(STRING)


class SignatureSerializer(ResponseSerializer):
    """The signature of an endorsement that was given here."""

    by = Field(STRING)
    at = Field(UTC)
    wording = Field(STRING, "The words that were signed.")
    judgement = Field(STRING)
    ledger_index = Field(WHOLE, "Its place in the ledger.")


class RevocationSerializer(ResponseSerializer):
    """The revocation of an endorsement that was given here."""

    by = Field(STRING)
    at = Field(UTC)
    reason = Field(STRING)
    ledger_index = Field(WHOLE)
    was = Field(ENDORSEMENT, "As it was given.", of=lambda revocation: _of_row(revocation.endorsement))


class EndorsementRevokedSerializer(RevocationSerializer):
    id = Field(STRING, source="endorsement.entry_id")
    kind = Field(STRING, source="endorsement.kind")


class EndorsementGivenSerializer(ResponseSerializer):
    stored = ("report",)

    id = Field(STRING, source="endorsement.entry_id")
    kind = Field(STRING, source="endorsement.kind")
    endorsement = Field(ENDORSEMENT, of=lambda seal: _of_row(seal.endorsement))
    signature = SignatureSerializer(source="*")
    report = EndorsementReportSerializer(help_text="As shown when it was signed.")

    def find_report(self, seal: EndorsementSeal) -> dict[str, Any]:
        return seal.shown


class EndorsementListedSerializer(ResponseSerializer):
    """An endorsement on record."""

    id = Field(STRING)
    kind = Field(STRING)
    endorsement = Field(ENDORSEMENT)
    last_day = Field(ON, allow_null=True)
    signature = SignatureSerializer(allow_null=True)
    revocation = RevocationSerializer(allow_null=True)


class EndorsementListSerializer(ResponseSerializer):
    endorsements = EndorsementListedSerializer(many=True)
    caution = Field(STRING)
