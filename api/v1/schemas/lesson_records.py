"""Lesson records: what is sent about them, and what is answered."""

from __future__ import annotations

from api.v1.schemas.confirmation import CONFIRMATION, EITHER
from api.v1.schemas.shapes import (
    FLAG,
    INSTANT,
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
from syllabus.engine import measured, standards

_UUID: Schema = {"type": "string", "format": "uuid"}
_OWN_ID: Schema = {**_UUID, "description": "Drawn by the caller, so that it may be sent again."}
_CODE: Schema = {"type": "string", "maxLength": 200, "description": "The lesson's code in the course."}
_REASON: Schema = {"type": "string", "minLength": 1, "maxLength": 2000, "pattern": r"\S"}
_HASH: Schema = {
    "type": "string",
    "pattern": "^sha256:[0-9a-f]{64}$",
    "description": "Over the canonical form (RFC 8785) of lesson, content, corrects, reason and course.",
}
_MEASURED: Schema = {
    "type": "string",
    "minLength": 1,
    "maxLength": measured.MOST_TEXT,
    "pattern": "[0-9]",
    "description": f"Kept as typed: {measured.MAY_BE}.",
}
_AIMED_AT: Schema = {**_MEASURED, "description": f"Kept as typed: {measured.AIM_MAY_BE}."}
_AT: Schema = {"type": "string", "format": "date-time"}
_LEDGER = full({"tree": STRING, "index": {"type": "integer", "minimum": 0}})


def components(record: dict[str, Schema]) -> dict[str, Schema]:
    """The components; ``record`` are those of the record document."""
    given = ("id", "instructor", "recorded", "provenance")
    item = _without(record["ItemGrade"], *given, "date", "flight")
    item["properties"]["measured"] = or_null(
        {
            "type": "object",
            "additionalProperties": {
                "anyOf": [
                    _MEASURED,
                    obj({"value": _MEASURED, **optional({"target": _AIMED_AT})}, ["value"]),
                ]
            },
            "propertyNames": NAME,
            "maxProperties": 20,
            "description": (
                "What was measured, by the name of a tolerance of the item's standard, with which it is"
                " compared, or by any other name. Each is a text as a pilot writes it, or that text with what"
                " was aimed at, where it was told in flight."
            ),
            "examples": [
                {
                    "altitude": "lost 180 ft",
                    "bank": "38°",
                    "rollout": "12° late",
                    "airspeed": {"value": "84 kt", "target": "95 kt"},
                }
            ],
        }
    )
    short = {
        "id": _UUID,
        "lesson": STRING,
        "course": or_null(ref("CourseShort")),
        "state": word(["draft", "signed"]),
        "instructor": STRING,
        "created_at": _AT,
        "updated_at": _AT,
        "corrects": or_null(_UUID),
        "corrected_by": or_null(_UUID),
    }
    signed = {
        "by": STRING,
        "certificate": STRING,
        "at": _AT,
        "performed_at": _AT,
        "content_hash": _HASH,
        "warnings": listed(ref("LessonWarning")),
        "hints": listed(ref("LessonHint")),
        "ledger": _LEDGER,
    }
    acknowledged = {"by": STRING, "at": _AT, "ledger": _LEDGER}
    change = {"lesson": _CODE}
    return {
        "LessonContent": obj(
            optional(
                {
                    "flight": ref("LessonFlight"),
                    "ground": ref("LessonGround"),
                    "items": listed(ref("LessonItem"), 200),
                    "comments": TEXT,
                    "next": {**TEXT, "description": "What to do next."},
                }
            ),
            description="What happened in a lesson. The sign-off gives ids, the instructor and the links.",
        ),
        "LessonFlight": _without(record["Flight"], *given),
        "LessonGround": _without(record["GroundLesson"], *given),
        "LessonItem": item,
        "LessonWarning": full(
            {"kind": STRING, "place": STRING, "message": STRING},
            description="What looks odd; it refuses nothing.",
        ),
        "LessonHint": full(
            {
                "place": STRING,
                "item": STRING,
                "name": STRING,
                "measured": {**STRING, "description": "As typed."},
                "target": {**or_null(STRING), "description": "What was aimed at, as typed."},
                "words": {**STRING, "description": "What it comes to."},
                "inside": {**or_null(FLAG), "description": "Null where there is nothing that says."},
                "by": {
                    **or_null(STRING),
                    "description": "How far within the nearer limit, or beyond it, with its unit.",
                },
                "standard": {**or_null(STRING), "description": "Target and limits."},
                "task": {**or_null(STRING), "description": "Of the test standard: FAA-S-ACS-6C PA.V.A."},
                "basis": {**or_null(word(standards.BASES)), "description": "Whose limit it is."},
                "source": {**or_null(STRING), "description": "Where the limit was found."},
                "note": or_null(STRING),
                "caution": {**STRING, "description": "What to know before relying on it; may be empty."},
            },
            description=(
                "A measured value beside its standard; a hint for the debrief, never a grade. Of a signed"
                " record it is what stood there when it was signed."
            ),
        ),
        "LessonRecordToDraft": obj(
            {
                "id": _OWN_ID,
                **optional(
                    {
                        **change,
                        "content": {
                            **ref("LessonContent"),
                            "description": "Without it the draft holds what is planned.",
                        },
                    }
                ),
            },
            ["id"],
        ),
        "LessonRecordToChange": obj({"content": ref("LessonContent"), **optional(change)}, ["content"]),
        "LessonRecordCorrection": obj(
            {"id": _OWN_ID, "reason": _REASON, "content": ref("LessonContent")}, ["id", "reason", "content"]
        ),
        "LessonRecordToSign": obj(
            {
                "content_hash": _HASH,
                **CONFIRMATION,
                **optional(
                    {"performed_at": {**INSTANT, "description": "When it was signed; not after now."}}
                ),
            },
            ["content_hash"],
            anyOf=EITHER,
        ),
        "LessonRecordToAcknowledge": obj(CONFIRMATION, anyOf=EITHER),
        "LessonRecordInShort": full(short),
        "LessonRecordPage": full(
            {
                "next": or_null(STRING),
                "previous": or_null(STRING),
                "lesson_records": listed(ref("LessonRecordInShort")),
            }
        ),
        "LessonRecord": full(
            {
                **short,
                "version": {"type": "integer", "minimum": 1},
                "content": ref("LessonContent"),
                "content_hash": _HASH,
                "reason": STRING,
                "warnings": listed(ref("LessonWarning")),
                "hints": listed(ref("LessonHint")),
                "proves": {
                    **listed(full({"item": STRING, "grade": STRING, "words": STRING})),
                    "description": (
                        "Grades of items that rules ask for, which follow from those of the course's items;"
                        " of a draft as if it were signed as it stands."
                    ),
                },
                "computed": full(
                    {"night": or_null(STRING), "distance": or_null(STRING)},
                    description="Worked out from off, on and the route; null where they do not give enough.",
                ),
                "sign_off": or_null(full(signed)),
                "acknowledgement": or_null(full(acknowledged)),
            }
        ),
        "LessonSignOff": full({"lesson_record": _UUID, **signed}),
        "LessonAcknowledgement": full({"lesson_record": _UUID, **acknowledged}),
    }


def _without(schema: Schema, *keys: str) -> Schema:
    properties = {key: each for key, each in schema["properties"].items() if key not in keys}
    required = [key for key in schema.get("required", ()) if key not in keys]
    return obj(properties, required)
