"""The question, and the eligibility report that answers it."""

from __future__ import annotations

from api.v1.schemas.shapes import (
    DAY,
    FLAG,
    HOLDS,
    INSTANT,
    NAME,
    STRING,
    Schema,
    full,
    listed,
    obj,
    optional,
    or_null,
    ref,
    word,
)
from syllabus import rulebook
from syllabus.engine.amounts import WRITTEN
from syllabus.engine.question import Context
from syllabus.engine.reasons import REASONS
from syllabus.engine.rulebook import VERIFIED
from syllabus.engine.shapes import shape_of

CONTEXT = shape_of(Context)
CONTEXT_WORDS = {field.key: field.description for field in CONTEXT.fields}
#: In a query string a point is an identifier, and a route is identifiers apart by commas.
CONTEXT_IN_A_QUERY = {
    field.key: STRING if field.type.component else field.type.schema for field in CONTEXT.fields
}

MET: Schema = {
    "type": ["boolean", "null"],
    "description": "Null where a fact that nothing on record gives could tip the answer; `ask` names it.",
}
VERIFIED_WORD = word(
    VERIFIED, "How the text was checked: read itself, known from an account, or from memory."
)


def _said(key: str) -> Schema:
    """Entries of the record, the student or the context, with what is said of each."""
    entry = {"id": STRING, key: STRING}
    more = {"code": ref("ReasonCode"), "reasons": listed(ref("Reason")), "provenance": ref("Provenance")}
    return listed(obj({**entry, **more}, entry))


def components() -> dict[str, Schema]:
    finding = {
        "id": STRING,
        "citation": STRING,
        "says": STRING,
        "verified": VERIFIED_WORD,
        "met": MET,
        "have": {**STRING, "description": "`amounts.have` as text: `1.4 h`, `10 takeoff, 1 landing`."},
        "need": STRING,
        "remaining": {**STRING, "description": "Never below zero."},
        "counted": _said("gave"),
        "not_counted": _said("why"),
        "ask": _said("missing"),
        "holds": HOLDS,
        "note": STRING,
        "notes": {**listed(ref("Reason")), "description": "What `note` says besides the rule's own note."},
        "amounts": ref("Amounts"),
    }
    context = {field.key: field.value for field in CONTEXT.fields}
    report = {
        "milestone": STRING,
        "title": STRING,
        "on": {"type": "string", "format": "date"},
        "known_at": or_null({"type": "string", "format": "date-time"}),
        "context": obj(context, description="What the question gave."),
        "rulebook": {**STRING, "description": "Names the very rules that answered."},
        "eligible": FLAG,
        "eligible_from": or_null({"type": "string", "format": "date"}),
        "eligible_until": or_null({"type": "string", "format": "date"}),
        "holds": HOLDS,
        "requirements": listed(ref("Finding")),
        "caution": STRING,
    }
    return {
        "EligibilityQuestion": obj(
            {
                "record": ref("TrainingRecord"),
                "milestone": {**NAME, "examples": [next(iter(rulebook.current().milestones))]},
                **optional(
                    {
                        "on": {
                            **DAY,
                            "description": "The day asked about; today in UTC where it is not given.",
                        },
                        "context": ref("Context"),
                        "known_at": {
                            **INSTANT,
                            "description": "Leave out what was recorded after this instant.",
                        },
                    }
                ),
            },
            ["record", "milestone"],
        ),
        "Context": CONTEXT.schema,
        "EligibilityReport": obj(
            {
                **report,
                "path": or_null({**STRING, "description": "The way that is shown, where there are several."}),
                "paths": listed(full({"id": STRING, "says": STRING, "citation": STRING})),
            },
            report,
            description="What is met, what is missing, and the days on which the answer holds.",
        ),
        "ReasonCode": word(
            sorted(REASONS),
            "What the text beside it says; of `several`, `reasons` has a code and a text for each.",
        ),
        "Reason": full({"code": ref("ReasonCode"), "text": STRING}),
        "Amount": full(
            {
                "value": {"type": "number", "minimum": 0, "description": "Exact, in `unit`."},
                "unit": word(
                    WRITTEN,
                    "Of time hours where two decimals are exact, else minutes, else seconds; a noun counts.",
                ),
                "text": {**STRING, "description": "The two as text.", "examples": ["1.4 h", "3 landing"]},
            },
            description="How much of one thing.",
        ),
        "Amounts": full(
            {
                "have": listed(ref("Amount")),
                "need": listed(ref("Amount")),
                "remaining": listed(ref("Amount")),
            },
            description=(
                "What there is, what is needed and what remains: an amount for each thing that is needed, in"
                " the same order. A list is empty where nothing on record says how much."
            ),
        ),
        "Finding": obj(
            {
                **finding,
                "requirements": {
                    **listed(ref("Finding")),
                    "description": "Of a milestone that stands as one requirement, its own requirements.",
                },
            },
            finding,
            description="What one requirement found. `have`, `need` and `remaining` are `amounts` as text.",
        ),
    }
