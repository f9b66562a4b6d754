"""The shapes of reports and refusals."""

import datetime as dt
from typing import Any, get_args

from api.v1.base import examples
from api.v1.base.errors import BLANK, NOT_COVERED
from api.v1.base.field_types import FLAG, STRING, VERIFIED, WHOLE, as_it_came, like, list_of, word
from api.v1.base.serializers import Field, ResponseSerializer
from syllabus.engine.record.json_schema import Schema, obj, or_null
from syllabus.engine.record.record import FORMAT, Provenance, Record
from syllabus.engine.record.shapes import Type, shape_of
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import REASONS
from syllabus.engine.time.amounts import WRITTEN

DATE: Schema = {"type": "string", "format": "date"}
#: A day in a response.
ON = Type(as_it_came, DATE, dt.date.isoformat)
AT = Type(as_it_came, {"type": "string", "format": "date-time"}, dt.datetime.isoformat)
CONTEXT = shape_of(Context)
_, PROVENANCE = get_args(Provenance)
MET = "Null if a fact that is not on record could change the answer; `ask` names it."
HOLDS = list_of(
    Type(
        as_it_came,
        {
            "type": "array",
            "prefixItems": [or_null(DATE)] * 2,
            "items": False,
            "minItems": 2,
            "maxItems": 2,
        },
    )
)
SPANS = "Spans of days, first and last, both included; null has no end."
GIVEN = Type(as_it_came, obj({field.key: field.value for field in CONTEXT.fields}), uses=CONTEXT.uses)
RECORD = shape_of(Record)
#: The record document, whose parts the engine declares.
TRAINING_RECORD = Type(
    as_it_came,
    obj(
        {"format": word([FORMAT]).schema, **RECORD.properties()},
        ["format"],
        description=(
            "One student's whole training record. A missing key means none, zero or unknown; an "
            "unknown key is an error. Ids are unique within a list."
        ),
        examples=[examples.RECORD],
    ),
    component="TrainingRecord",
    uses=RECORD.uses,
)
CODE = Type(
    as_it_came,
    word(
        sorted(REASONS),
        says="What the text beside it says. For `several`, `reasons` has a code and a text for each.",
    ).schema,
    component="ReasonCode",
)


class AmountSerializer(ResponseSerializer):
    """An amount of one thing."""

    value = Field(Type(as_it_came, {"type": "number", "minimum": 0}), "Exact, in `unit`.")
    unit = Field(
        word(WRITTEN),
        "For time: hours if two decimals are exact, else minutes, else seconds. For things: a noun.",
    )
    text = Field(like(STRING, examples=["1.4 h", "3 landing"]), "The two as text.")


class AmountsSerializer(ResponseSerializer):
    """What is on record, needed and remaining: an amount for each thing needed, in the same order. A list
    is empty if nothing on record gives an amount.
    """

    have = AmountSerializer(many=True)
    need = AmountSerializer(many=True)
    remaining = AmountSerializer(many=True)


class CodedReasonSerializer(ResponseSerializer):
    code = Field(CODE)
    text = Field(STRING)


class Named(ResponseSerializer):
    id = Field(STRING)
    code = Field(CODE, required=False)
    reasons = CodedReasonSerializer(many=True, required=False)
    provenance = Field(PROVENANCE, required=False)


class CountedSerializer(Named):
    """An entry that counts, with its share."""

    gave = Field(STRING)


class NotCountedSerializer(Named):
    """An entry that looks relevant and does not count, with the reason."""

    why = Field(STRING)


class AskedSerializer(Named):
    """A missing fact that could change the answer."""

    missing = Field(STRING)


class FindingSerializer(ResponseSerializer):
    """The finding of one requirement. `have`, `need` and `remaining` are `amounts` as text."""

    id = Field(STRING)
    citation = Field(STRING)
    says = Field(STRING)
    verified = Field(VERIFIED)
    met = Field(FLAG, MET, allow_null=True)
    have = Field(STRING, "`amounts.have` as text: `1.4 h`, `10 takeoff, 1 landing`.")
    need = Field(STRING)
    remaining = Field(STRING, "Never below zero.")
    counted = CountedSerializer(many=True)
    not_counted = NotCountedSerializer(many=True)
    ask = AskedSerializer(many=True)
    holds = Field(HOLDS, SPANS)
    note = Field(STRING)
    notes = CodedReasonSerializer(many=True, help_text="Further notes, besides the rule's own.")
    amounts = AmountsSerializer()

    def get_fields(self) -> dict[str, Any]:
        says = "For a requirement that is itself a milestone: that milestone's requirements."
        within = FindingSerializer(many=True, required=False, help_text=says)
        return {**super().get_fields(), "requirements": within}


class PathSerializer(ResponseSerializer):
    """One of several ways to meet a milestone."""

    id = Field(STRING)
    says = Field(STRING)
    citation = Field(STRING)


class EligibilityReportSerializer(ResponseSerializer):
    """What is met, what is missing, and the days on which the answer is valid."""

    example = staticmethod(examples.report)

    milestone = Field(STRING)
    title = Field(STRING)
    on = Field(ON)
    known_at = Field(AT, allow_null=True)
    context_ = Field(GIVEN, "The context of the question.")
    rulebook = Field(STRING, "A hash of the rules that were applied.")
    eligible = Field(FLAG)
    eligible_from = Field(ON, allow_null=True)
    eligible_until = Field(ON, allow_null=True)
    holds = Field(HOLDS, SPANS)
    requirements = FindingSerializer(many=True)
    caution = Field(STRING)
    path = Field(STRING, "The path that is shown, if there are several.", required=False, allow_null=True)
    paths = PathSerializer(many=True, required=False)


class RefusalSerializer(ResponseSerializer):
    """Something that the rule forbids."""

    place = Field(STRING)
    message = Field(STRING)
    citation = Field(STRING)


class EndorsementReportSerializer(ResponseSerializer):
    """The requirements behind an endorsement, checked before it is given."""

    kind = Field(STRING)
    title = Field(STRING)
    citation = Field(STRING)
    verified = Field(VERIFIED)
    on = Field(ON)
    given = Field(ON)
    context_ = Field(CONTEXT)
    rulebook = Field(STRING)
    rests_on = FindingSerializer(many=True)
    warnings = Field(list_of(STRING), "Shown and saved with the endorsement; the instructor decides.")
    refusals = RefusalSerializer(many=True, help_text="What the rule forbids.")
    may_be_given = Field(FLAG)
    wording = Field(STRING)
    last_day = Field(ON, allow_null=True)
    life = Field(STRING)
    caution = Field(STRING)


class EndorsementCheckedSerializer(EndorsementReportSerializer):
    checked_hash = Field(STRING, "Of this answer; send it with the endorsement that you give.")


class ErrorSerializer(ResponseSerializer):
    """One error in the request."""

    place = Field(
        STRING, "A path into the body, such as record.flights[3].times.dual, or a parameter's name."
    )
    message = Field(STRING)


class ProblemSerializer(ResponseSerializer):
    """Why the request was refused (RFC 9457)."""

    example = staticmethod(lambda: examples.PROBLEM)

    type = Field(
        like(STRING, examples=[BLANK, NOT_COVERED]),
        "A page on this server that explains this type of problem.",
    )
    title = Field(STRING)
    status = Field(Type(as_it_came, {"type": "integer"}))
    detail = Field(STRING)
    errors_ = ErrorSerializer(many=True, required=False)
    errors_not_listed = Field(WHOLE, required=False)
    milestone = Field(STRING, "If the rules do not cover the question: the milestone.", required=False)
    report = EndorsementReportSerializer(required=False)
