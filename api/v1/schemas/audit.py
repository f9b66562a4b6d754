"""What an audit found, who dealt with it, and an instructor's own record."""

from __future__ import annotations

from api.v1.schemas.confirmation import CONFIRMATION, EITHER
from api.v1.schemas.shapes import (
    FLAG,
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
from syllabus.engine.audit import MENDS, SEVERITIES
from syllabus.engine.rulebook import VERIFIED
from training.reports.audit_kinds import KINDS
from training.services.findings import MOST_NOTE, STATES

_AT: Schema = {"type": "string", "format": "date-time"}
_DAY: Schema = {"type": "string", "format": "date"}
_UUID: Schema = {"type": "string", "format": "uuid"}
_COUNT: Schema = {"type": "integer", "minimum": 0}
_KNOWN: Schema = {
    **or_null(FLAG),
    "description": "Whether what was asked held on the day; null where it is not known.",
}
KIND = word(list(KINDS), "What sort of finding it is.")
SEVERITY = word(
    list(SEVERITIES),
    "serious: a rule was not kept; incomplete: the record cannot show that it was; note: worth a look.",
)
STATE = word(list(STATES), "open, resolved by somebody, or gone: an audit does not find it any more.")
HOW = word(list(MENDS), "What was done: an entry corrected, a note made, or nothing that could be.")


def components() -> dict[str, Schema]:
    return {**_findings(), **_own_record()}


def _findings() -> dict[str, Schema]:
    return {
        "AuditFinding": full(
            {
                "id": _UUID,
                "kind": KIND,
                "severity": SEVERITY,
                "state": STATE,
                "digest": {**STRING, "description": "Of the finding as it stands; a passkey signs it."},
                "student": or_null(_UUID),
                "instructor": or_null(STRING),
                "day": {**_DAY, "description": "The day that it is about."},
                "entries": listed(
                    full({"student": or_null(_UUID), "id": STRING, "provenance": or_null(ref("Provenance"))})
                ),
                "says": STRING,
                "citations": listed(STRING),
                "verified": word(VERIFIED, "How the rule's text was checked."),
                "mend": word(list(MENDS), "The remedy."),
                "way": {**STRING, "description": "The remedy, in words."},
                "unmet": listed(
                    full(
                        {
                            "requirement": STRING,
                            "says": STRING,
                            "citation": STRING,
                            "verified": word(VERIFIED),
                            "met_now": _KNOWN,
                            "met_then": _KNOWN,
                        }
                    )
                ),
                "known": {
                    **or_null(full({"now": _KNOWN, "then": _KNOWN})),
                    "description": "By what is known now, and by what was known then.",
                },
                "first_seen": _AT,
                "last_seen": _AT,
                "changed_at": or_null(_AT),
                "gone_at": or_null(_AT),
                "returned_at": or_null(_AT),
                "resolutions": listed(ref("FindingResolution")),
            },
            description="Something on record that does not agree with the rules in force on its own day.",
        ),
        "FindingResolution": full(
            {
                "by": STRING,
                "at": _AT,
                "how": HOW,
                "note": STRING,
                "stands": {**FLAG, "description": "Whether it is of the finding as it is now."},
                "ledger_index": _COUNT,
            }
        ),
        "AuditRun": full({"at": _AT, "on": _DAY, "students": _COUNT, "found": _COUNT, "rulebook": STRING}),
        "AuditFindingPage": full(
            {
                "school": STRING,
                "last_audit": or_null(ref("AuditRun")),
                "next": or_null(STRING),
                "previous": or_null(STRING),
                "findings": listed(ref("AuditFinding")),
                "caution": STRING,
            }
        ),
        "AuditToRun": obj(optional({"school": STRING, "on": _DAY})),
        "AuditDone": full(
            {
                "school": STRING,
                "audit": ref("AuditRun"),
                "kept": {**FLAG, "description": "False where one as of a later day was kept before."},
                "new": _COUNT,
                "returned": _COUNT,
                "gone": _COUNT,
                "caution": STRING,
            }
        ),
        "FindingToResolve": obj(
            {
                "how": HOW,
                "note": {"type": "string", "minLength": 1, "maxLength": MOST_NOTE, "pattern": r"\S"},
                **CONFIRMATION,
            },
            ["how", "note"],
            anyOf=EITHER,
        ),
    }


def _own_record() -> dict[str, Schema]:
    attempts = full(
        {
            "since": _DAY,
            "applicants": _COUNT,
            "passed": _COUNT,
            "enough": or_null(FLAG),
            "citation": or_null(STRING),
            "says": or_null(STRING),
            "note": or_null(STRING),
        },
        description="First attempts of applicants whom the instructor endorsed last, since a day.",
    )
    own: dict[str, Schema] = {
        "id": _COUNT,
        "name": STRING,
        "certificate": STRING,
        "recent_experience_until": or_null(_DAY),
    }
    return {
        "InstructorList": full({"instructors": listed(full({**own, "school": STRING})), "caution": STRING}),
        "InstructorRecord": full(
            {
                **own,
                "on": _DAY,
                "first_attempts": full({"practical": attempts, "knowledge": attempts}),
                "endorsements": listed(
                    full(
                        {
                            "student": _UUID,
                            "name": STRING,
                            "kind": STRING,
                            "title": STRING,
                            "about": word(["solo", "test", "other"]),
                            "given": _DAY,
                            "aircraft_model": or_null(STRING),
                            "entry": STRING,
                            "revoked": FLAG,
                            "result": or_null(
                                full(
                                    {
                                        "test": STRING,
                                        "date": _DAY,
                                        "result": word(["pass", "fail"]),
                                        "first_attempt": or_null(FLAG),
                                    }
                                )
                            ),
                            "result_missing": FLAG,
                            "keep_until": _DAY,
                        }
                    )
                ),
                "kept": full({"says": STRING, "citation": STRING, "note": STRING}),
                "caution": STRING,
            },
            description="Who was endorsed for what, when, with what result.",
        ),
    }
