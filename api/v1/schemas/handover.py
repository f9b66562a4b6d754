"""Hand-overs, retention and what changed between two instants."""

from __future__ import annotations

from api.v1.schemas.confirmation import CONFIRMATION
from api.v1.schemas.shapes import (
    DAY,
    FLAG,
    NAME,
    STRING,
    TEXT,
    Schema,
    full,
    listed,
    obj,
    optional,
    or_null,
    ref,
    word,
)

_AT: Schema = {"type": "string", "format": "date-time"}
_WHOLE: Schema = {"type": "integer", "minimum": 0}
_REF: Schema = {"type": "string", "format": "uuid"}
_FILE: Schema = {"type": "string", "contentEncoding": "base64", "contentMediaType": "application/zip"}
_COUNTS: Schema = {"type": "object", "additionalProperties": _WHOLE}
_REASON: Schema = {"type": "string", "minLength": 1, "maxLength": 2000, "pattern": r"\S"}
_MET: Schema = or_null(FLAG)


def components() -> dict[str, Schema]:
    return {**_hand_over(), **_retention(), **_changes()}


def _hand_over() -> dict[str, Schema]:
    origin: dict[str, Schema] = {
        "school": STRING,
        "ledger": STRING,
        "student": STRING,
        "key": STRING,
        "signed_at": _AT,
        "rulebook": STRING,
        "sealed_entries": _WHOLE,
    }
    return {
        "HandOver": full({"name": STRING, "bytes": _WHOLE, "file": _FILE}),
        "HandOverToTake": obj(
            {
                "school": {**NAME, "description": "The short name of the school that takes the record over."},
                "file": _FILE,
                "trust": {**listed(STRING, 20), "description": "Ids of the other school's keys."},
                "reason": {
                    **TEXT,
                    "maxLength": 2000,
                    "description": "Why; it is sealed.",
                },
                **CONFIRMATION,
            },
            ["school", "file", "reason"],
        ),
        "TakenOver": full(
            {
                "student": _REF,
                "created": FLAG,
                "changed": FLAG,
                "entries": {"type": "object", "additionalProperties": _COUNTS},
                "origin": or_null(ref("Origin")),
            },
            description="`origin` is null where the same file was taken over before.",
        ),
        "Origin": full(origin),
        "Origins": full(
            {
                "hand_overs": listed(full({**origin, "taken_over_at": _AT})),
                "entries": listed(ref("ForeignEntry")),
            }
        ),
        "ForeignEntry": full(
            {
                "ledger": STRING,
                "index": _WHOLE,
                "kind": STRING,
                "student": {**STRING, "description": "The reference at the other school."},
                "sealed_at": STRING,
                "key": STRING,
                "verified": FLAG,
                "body": or_null({**STRING, "description": "Canonical JSON (RFC 8785); null when erased."}),
            },
            description="What another school sealed, as its ledger has it.",
        ),
    }


def _retention() -> dict[str, Schema]:
    return {
        "Hold": full(
            {
                "id": _WHOLE,
                "reason": STRING,
                "by": or_null(STRING),
                "at": _AT,
                "released_at": or_null(_AT),
                "released_reason": STRING,
            }
        ),
        "Reason": obj({"reason": _REASON}, ["reason"]),
        "ErasureToDo": obj({"reason": _REASON, **optional({"really": FLAG})}, ["reason"]),
        "KeptByLaw": full(
            {
                "rule": STRING,
                "citation": STRING,
                "says": STRING,
                "years": _WHOLE,
                "verified": STRING,
                "note": STRING,
                "counts_from": DAY,
                "keep_until": DAY,
            }
        ),
        "Retention": full(
            {
                "student": _REF,
                "on": DAY,
                "erased_at": or_null(_AT),
                "may_be_erased": FLAG,
                "may_be_erased_from": DAY,
                "reasons_against": listed(STRING),
                "rules": listed(ref("KeptByLaw")),
                "holds": listed(ref("Hold")),
                "would_erase": full({"rows": _COUNTS, "sealed_bodies": _WHOLE, "accounts": _WHOLE}),
                "still_named": _COUNTS,
                "stays": STRING,
            }
        ),
    }


def _changes() -> dict[str, Schema]:
    side = full({"at": _AT, "on": DAY, "rulebook": STRING})
    turn: dict[str, Schema] = {
        "milestone": STRING,
        "title": STRING,
        "was": _MET,
        "now": _MET,
        "because": word(["record", "time"], "What turned it: an entry, or the days that passed."),
        "words": STRING,
    }
    more = ("requirement", "citation", "says", "have_before", "have_now", "need")
    return {
        "Changes": full(
            {
                "student": _REF,
                "from": side,
                "to": side,
                "words": STRING,
                "entries": listed(ref("EntryChange")),
                "person": {
                    **listed(
                        full(
                            {
                                "field": word(["name", "birth_date"]),
                                "was": or_null(STRING),
                                "now": or_null(STRING),
                                "words": STRING,
                            }
                        )
                    ),
                    "description": "The name or the birth date on record, where it is another than before.",
                },
                "milestones": listed(ref("MilestoneTurn")),
                "requirements": listed(ref("RequirementTurn")),
                "caution": STRING,
            }
        ),
        "EntryChange": full(
            {
                "part": STRING,
                "id": STRING,
                "change": word(["came", "corrected", "retired"]),
                "provenance": ref("Provenance"),
                "day": DAY,
                "was": or_null(STRING),
                "why": STRING,
                "words": STRING,
            }
        ),
        "MilestoneTurn": full(turn),
        "RequirementTurn": full({**turn, **dict.fromkeys(more, STRING)}),
    }
