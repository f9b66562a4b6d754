"""Everything else that is answered."""

from __future__ import annotations

from api.v1.errors import BLANK, NOT_COVERED
from api.v1.schemas.report import MET, VERIFIED_WORD
from api.v1.schemas.shapes import FLAG, NAME, STRING, TEXT, Schema, full, listed, obj, or_null, ref

_DAY: Schema = {"type": "string", "format": "date"}
_COUNTS = full({name: {"type": "integer", "minimum": 0} for name in ("added", "changed", "removed", "kept")})


def components() -> dict[str, Schema]:
    return {**_milestones(), **_students(), **_shared()}


def _shared() -> dict[str, Schema]:
    problem: dict[str, Schema] = {
        "type": {
            **STRING,
            "examples": [BLANK, NOT_COVERED],
            "description": "The address, on this server, of what a problem of this type is.",
        },
        "title": STRING,
        "status": {"type": "integer"},
        "detail": STRING,
    }
    place = "A path into what was sent, as record.flights[3].times.dual, or a parameter's name."
    return {
        "Problem": obj(
            {
                **problem,
                "errors": listed(full({"place": {**STRING, "description": place}, "message": STRING})),
                "errors_not_listed": {"type": "integer", "minimum": 0},
                "milestone": {**STRING, "description": "Of a refusal where the rules end: the milestone."},
                "report": ref("EndorsementReport"),
            },
            problem,
            description="Why it was refused (RFC 9457).",
        ),
        "Login": obj(
            {
                "email": NAME,
                "password": TEXT,
                "code": or_null(
                    {**NAME, "description": "Of the authenticator app, or a recovery code; once each."}
                ),
            },
            ["email", "password"],
        ),
        "Token": full({"token": STRING, "expires": or_null({"type": "string", "format": "date-time"})}),
    }


def _milestones() -> dict[str, Schema]:
    short = {"id": STRING, "title": STRING, "says": STRING, "context": listed(STRING)}
    around = {"rulebook": STRING, "caution": STRING}
    return {
        "MilestoneList": full(
            {**around, "milestones": listed(full({**short, "requirements": listed(STRING)}))}
        ),
        "Milestone": full({**around, **short, "on": _DAY, "requirements": listed(ref("Requirement"))}),
        "Requirement": full(
            {
                "id": STRING,
                "kind": STRING,
                "in_force": or_null(ref("RuleVersion")),
                "versions": listed(ref("RuleVersion")),
            },
        ),
        "RuleVersion": full(
            {
                "from": _DAY,
                "until": or_null(_DAY),
                "says": STRING,
                "citation": STRING,
                "source": STRING,
                "read_on": _DAY,
                "verified": VERIFIED_WORD,
                "note": STRING,
                "parameters": {
                    "type": "object",
                    "additionalProperties": True,
                    "description": (
                        "The numbers and words of this kind of requirement; numbers have their unit."
                    ),
                },
            },
            description="One requirement as it is in force from one day until another.",
        ),
    }


def _students() -> dict[str, Schema]:
    student = {
        "ref": {"type": "string", "format": "uuid"},
        "name": STRING,
        "training_model": or_null(STRING),
        "school": full({"slug": STRING, "name": STRING}),
    }
    requirement = {"requirement": STRING, "citation": STRING, "says": STRING}
    gap = {**requirement, "met": MET, "have": STRING, "need": STRING, "remaining": STRING, "words": STRING}
    gap["amounts"] = ref("Amounts")
    return {
        "Student": full({**student, "birth_date": or_null(_DAY), "may_write": FLAG}),
        "StudentInAList": full(student),
        "StudentPage": full(
            {"next": or_null(STRING), "previous": or_null(STRING), "students": listed(ref("StudentInAList"))}
        ),
        "Lapse": full(
            {**requirement, "last_day": _DAY},
            description="What is met on the day asked about and lapses first.",
        ),
        "Gap": full(gap, description="What is not met, or not known to be."),
        "Overview": full(
            {
                "on": _DAY,
                "known_at": or_null({"type": "string", "format": "date-time"}),
                "rulebook": STRING,
                "next_lapse": or_null(ref("Lapse")),
                "milestones": listed(ref("MilestoneInShort")),
                "not_covered": {
                    **listed(ref("MilestoneNotCovered")),
                    "description": "Milestones that are refused by name: these rules do not cover them here.",
                },
                "caution": STRING,
            }
        ),
        "MilestoneNotCovered": full(
            {
                "milestone": STRING,
                "title": STRING,
                "key": {
                    **STRING,
                    "description": "What is not covered: category, class, aircraft_model, path, certificate.",
                },
                "value": STRING,
                "why": STRING,
            }
        ),
        "MilestoneInShort": full(
            {
                "milestone": STRING,
                "title": STRING,
                "context": ref("Context"),
                "eligible": FLAG,
                "met": MET,
                "eligible_from": or_null(_DAY),
                "eligible_until": or_null(_DAY),
                "gaps": {"type": "integer", "minimum": 0},
                "next_gap": or_null(ref("Gap")),
                "next_lapse": or_null(ref("Lapse")),
            }
        ),
        "RecordChange": full(
            {
                "changed": FLAG,
                "entries": {
                    "type": "object",
                    "description": (
                        "For each list of the record, how many entries were added, changed, removed, kept."
                    ),
                    "additionalProperties": _COUNTS,
                },
            }
        ),
    }
