"""Endorsements, documents and tests: what is sent about them, and what is answered."""

from __future__ import annotations

from api.v1.schemas import confirmation
from api.v1.schemas.confirmation import CONFIRMATION, EITHER
from api.v1.schemas.report import MET, VERIFIED_WORD
from api.v1.schemas.shapes import (
    FLAG,
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
from syllabus import catalogue
from syllabus.engine.record import Record
from syllabus.engine.vocabulary import INSTRUCTORS

_DAY: Schema = {"type": "string", "format": "date"}
_INSTANT: Schema = {"type": "string", "format": "date-time"}
_UUID: Schema = {"type": "string", "format": "uuid"}
_OWN_ID: Schema = {**_UUID, "description": "Drawn by the caller, so that it may be sent again."}
_SAW: Schema = {
    "type": "string",
    "minLength": 1,
    "maxLength": 200,
    "pattern": r"\S",
    "description": "Which document the caller saw, such as 'medical certificate, the original'.",
}
#: What an entry of a record document has that is not sent here.
_GIVEN = ("id", "recorded", "provenance")
_REASON: Schema = {"type": "string", "maxLength": 2000}


def components(record: dict[str, Schema]) -> dict[str, Schema]:
    """The components; ``record`` are those of the record document."""
    return {**_sent(record), **_answered(), **confirmation.components()}


def _without(schema: Schema, *keys: str) -> Schema:
    made = dict(schema)
    made["properties"] = {key: each for key, each in schema["properties"].items() if key not in keys}
    made["required"] = [key for key in schema.get("required", ()) if key not in keys]
    if not made["required"]:
        del made["required"]
    return made


def _sent(record: dict[str, Schema]) -> dict[str, Schema]:
    fields = _without(record["Endorsement"], *_GIVEN, "kind", "instructor")
    fields = {
        **fields,
        "properties": {
            key: or_null(schema) for key, schema in fields["properties"].items() if key != "given"
        },
        "description": (
            "What the kind names, as endorsement-kinds tells. `given` is today at the school where it is "
            "left out."
        ),
    }
    fields["properties"]["given"] = or_null(_DAY)
    fields.pop("required", None)
    return {
        "EndorsementFields": fields,
        "EndorsementToCheck": obj(
            {"kind": NAME, **optional({"endorsement": ref("EndorsementFields")})}, ["kind"]
        ),
        "EndorsementToGive": obj(
            {
                "id": _OWN_ID,
                "kind": NAME,
                **CONFIRMATION,
                **optional(
                    {
                        "endorsement": ref("EndorsementFields"),
                        "judgement": {**_REASON, "description": "What the instructor adds in words."},
                    }
                ),
            },
            ["id", "kind"],
            anyOf=EITHER,
        ),
        "RevocationOfEndorsement": obj(
            {"reason": {**NAME, "description": "Why it ends."}, **CONFIRMATION}, ["reason"], anyOf=EITHER
        ),
        "PaperToAdd": obj(
            {
                "id": _OWN_ID,
                **optional(
                    {
                        "document": _without(record["Paper"], *_GIVEN),
                        "test": _without(record["TestTaken"], *_GIVEN),
                        "saw": _SAW,
                    }
                ),
                **CONFIRMATION,
            },
            ["id"],
            description="Either document or test; with `saw` also the password or a passkey.",
        ),
        "EntriesToAttest": obj(
            {
                "entries": {
                    **listed(full({"part": word(Record.PARTS), "id": NAME}), 1000),
                    "minItems": 1,
                },
                "saw": _SAW,
                **CONFIRMATION,
            },
            ["entries", "saw"],
            anyOf=EITHER,
        ),
    }


def _answered() -> dict[str, Schema]:
    refusal = full({"place": STRING, "message": STRING, "citation": STRING})
    signature = full(
        {
            "by": STRING,
            "at": _INSTANT,
            "wording": {**STRING, "description": "The words that were signed."},
            "judgement": STRING,
            "ledger_index": {"type": "integer", "minimum": 0, "description": "Its place in the ledger."},
        }
    )
    revocation = {
        "by": STRING,
        "at": _INSTANT,
        "reason": STRING,
        "ledger_index": {"type": "integer", "minimum": 0},
        "was": {**ref("Endorsement"), "description": "As it was given."},
    }
    return {
        "EndorsementKindList": full({"kinds": listed(ref("EndorsementKind")), "caution": STRING}),
        "EndorsementKind": full(
            {
                "kind": STRING,
                "title": STRING,
                "citation": STRING,
                "source": STRING,
                "read_on": _DAY,
                "verified": VERIFIED_WORD,
                "fields": obj(
                    {name: word([catalogue.REQUIRED, catalogue.OPTIONAL]) for name in catalogue.FIELDS}
                ),
                "tests": {
                    **listed(word(catalogue.SORTS)),
                    "description": "The sorts of test that `test` may name; empty without that field.",
                },
                "given_by": {
                    **listed(full({"instructor": word(INSTRUCTORS), "tests": listed(word(catalogue.SORTS))})),
                    "description": "The kinds of instructor who may give it, and for which sorts of test; "
                    "empty: for whatever it is about.",
                },
                "proves": {**listed(STRING), "description": "Requirements that it satisfies."},
                "rests_on": {
                    **listed(STRING),
                    "description": "Requirements, or a milestone: all of it but what is proved.",
                },
                "given_by_who_trained": FLAG,
                "life": STRING,
                "wording": {**STRING, "description": "With placeholders in braces."},
            }
        ),
        "EndorsementReport": full(
            {
                "kind": STRING,
                "title": STRING,
                "citation": STRING,
                "verified": VERIFIED_WORD,
                "on": _DAY,
                "given": _DAY,
                "context": ref("Context"),
                "rulebook": STRING,
                "rests_on": listed(ref("Finding")),
                "warnings": {**listed(STRING), "description": "Shown and kept; the instructor decides."},
                "refusals": {**listed(refusal), "description": "What the rule itself forbids."},
                "may_be_given": FLAG,
                "wording": STRING,
                "last_day": or_null(_DAY),
                "life": STRING,
                "caution": STRING,
            },
            description="What an endorsement rests on, looked at before it is given.",
        ),
        "EndorsementGiven": full(
            {
                "id": STRING,
                "kind": STRING,
                "endorsement": ref("Endorsement"),
                "signature": signature,
                "report": {**ref("EndorsementReport"), "description": "As it was shown at the signing."},
            }
        ),
        "EndorsementRevoked": full({"id": STRING, "kind": STRING, **revocation}),
        "EndorsementList": full(
            {
                "endorsements": listed(
                    full(
                        {
                            "id": STRING,
                            "kind": STRING,
                            "endorsement": ref("Endorsement"),
                            "last_day": or_null(_DAY),
                            "signature": or_null(signature),
                            "revocation": or_null(full(revocation)),
                        }
                    )
                ),
                "caution": STRING,
            }
        ),
        "PaperGoodFor": full(
            {
                "milestone": STRING,
                "requirement": STRING,
                "says": STRING,
                "citation": STRING,
                "met": MET,
                "first_day": or_null(_DAY),
                "last_day": or_null(_DAY),
                "why": listed(STRING),
            }
        ),
        "PaperListed": full(
            {
                "list": word(["documents", "tests"]),
                "entry": {"anyOf": [ref("Paper"), ref("TestTaken")]},
                "good_for": listed(ref("PaperGoodFor")),
            }
        ),
        "EntriesAttested": full(
            {
                "attested": listed(
                    full({"part": word(Record.PARTS), "id": STRING, "provenance": ref("Provenance")})
                )
            }
        ),
        "PaperList": full({"on": _DAY, "papers": listed(ref("PaperListed")), "caution": STRING}),
    }
