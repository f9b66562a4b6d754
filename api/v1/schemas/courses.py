"""Courses: a course as its file has it, and what is answered about its versions."""

from __future__ import annotations

from api.v1.schemas.report import VERIFIED_WORD
from api.v1.schemas.shapes import STRING, TEXT, Schema, full, listed, obj, or_null, ref, word
from syllabus import courses
from syllabus.engine.course import CODE as CODES
from syllabus.engine.course import ITEM_KINDS, MOST_CODE, PLANNED
from syllabus.engine.minimums import ALLOWED
from syllabus.engine.record import GRADES
from syllabus.engine.rulebook import VERIFIED
from syllabus.engine.standards import BASES, QUANTITIES

_CODE: Schema = {"type": "string", "maxLength": MOST_CODE, "pattern": f"^{CODES.pattern}$"}
_TITLE: Schema = {"type": "string", "minLength": 1, "maxLength": courses.MOST_TITLE, "pattern": r"\S"}
_SAYS: Schema = {"type": "string", "minLength": 1, "maxLength": courses.MOST_TEXT, "pattern": r"\S"}
_GRADE = word(GRADES)
_LIMIT: Schema = {"type": "string", "description": "With its unit; its sign where it counts from a target."}
_TIME: Schema = {"type": "string", "description": "With its unit.", "examples": ["1.4 h", "84 min"]}
_HASH: Schema = {"type": "string", "pattern": "^sha256:[0-9a-f]{64}$"}
_NUMBER: Schema = {"type": "integer", "minimum": 1}
_PASSWORD: Schema = {**TEXT, "description": "The caller's own, typed at the moment of publishing."}


def _some(items: Schema) -> Schema:
    return {**listed(items), "minItems": 1}


def _words(items: Schema) -> Schema:
    return {**listed(items), "uniqueItems": True}


def components() -> dict[str, Schema]:
    return {**_file(), **_answered()}


def _file() -> dict[str, Schema]:
    named = {"code": _CODE, "title": _TITLE, "objective": _SAYS}
    stage = {**named, "completion": {**_SAYS, "description": "When it is complete."}}
    return {
        "CourseOutline": obj(
            {
                "course": _CODE,
                "title": _TITLE,
                "says": _SAYS,
                "minimums": _some(ref("CourseMinimum")),
                "stages": _some(ref("CourseStage")),
                "items": _some(ref("CourseItem")),
            },
            ["course", "title", "says", "stages", "items"],
            description="A whole course, as its file has it.",
        ),
        "CourseMinimum": obj(
            {
                "code": _CODE,
                "kind": word(ALLOWED),
                "says": _SAYS,
                "note": _SAYS,
            },
            ["code", "kind", "says"],
            description="What the course asks for beyond the law, with the parameters of its kind.",
        )
        | {"additionalProperties": True},
        "CourseStage": full({**stage, "lessons": _some(ref("CourseLesson"))}),
        "CourseLesson": obj(
            {
                **stage,
                "times": {
                    **obj(dict.fromkeys(PLANNED, _TIME)),
                    "minProperties": 1,
                    "description": (
                        "Planned, by kind: dual and solo exclude each other, the others but ground are parts."
                    ),
                },
                "items": {
                    "type": "object",
                    "additionalProperties": _GRADE,
                    "minProperties": 1,
                    "description": "Each planned item with the least grade that completes the lesson.",
                },
                "plans": {
                    **_words(_SAYS),
                    "description": "Requirements that the lesson is laid out to meet as a whole.",
                },
            },
            [*stage, "times", "items"],
        ),
        "CourseItem": obj(
            {
                **named,
                "kind": word(ITEM_KINDS),
                "task": {
                    **STRING,
                    "description": "A task of a test standard: document, revision and code.",
                    "examples": ["FAA-S-ACS-6C PA.V.A"],
                },
                "prerequisites": _words(_SAYS),
                "proves": {**_words(_SAYS), "description": "Items that rules ask for."},
                "standard": _some(ref("CourseTolerance")),
            },
            named,
        ),
        "CourseTolerance": obj(
            {
                "name": _TITLE,
                "quantity": word(QUANTITIES),
                "assigned": {**_TITLE, "description": "What is aimed at is told in flight; this says what."},
                "value": {**_LIMIT, "description": "What is aimed at, always the same."},
                "named": {**_TITLE, "description": "What is aimed at is the airplane's or the airport's."},
                "low": _LIMIT,
                "high": _LIMIT,
                "excluded": _words(word(["low", "high"])),
                "basis": word(BASES),
                "source": _SAYS,
                "verified": VERIFIED_WORD,
                "note": _SAYS,
            },
            ["name", "source"],
            description=(
                "How far from its target one quantity may be. With no target the limits are a range. "
                "`source` is where it was found, `verified` how well that was read."
            ),
        ),
    }


def _answered() -> dict[str, Schema]:
    address = {
        "course": {**STRING, "description": "The course's address: its code, or `code@school`."},
        "code": STRING,
        "school": or_null({**STRING, "description": "Null for a course that comes with the product."}),
        "title": STRING,
    }
    version = {
        "number": _NUMBER,
        "state": word(["draft", "published"]),
        "published_at": or_null({"type": "string", "format": "date-time"}),
        "published_by": or_null(
            {
                **STRING,
                "description": "Whoever published it; null for a draft, for what comes with the product, and"
                " for what was published by the server's command line.",
            }
        ),
        "content_hash": _HASH,
    }
    return {
        "CourseList": full({"courses": listed(full({**address, "versions": _some(full(version))}))}),
        "CourseVersion": full(
            {
                **address,
                **version,
                "outline": ref("CourseOutline"),
                "in_words": {
                    "type": "object",
                    "description": "For each item with a standard, each tolerance in words.",
                    "additionalProperties": {"type": "object", "additionalProperties": STRING},
                },
                "planned": {
                    **full(dict.fromkeys(("total", *PLANNED), _TIME)),
                    "description": "Planned time of all lessons, by kind.",
                },
                "limits": {
                    **full({mark: {"type": "integer", "minimum": 0} for mark in VERIFIED}),
                    "description": "How many limits were read in the standard itself, known from an account, "
                    "or from memory.",
                },
                "caution": STRING,
            }
        ),
        "CourseComparison": full(
            {
                "course": STRING,
                "from": _NUMBER,
                "to": _NUMBER,
                "changes": listed(
                    full(
                        {
                            "what": word(["course", "stage", "lesson", "item", "minimum"]),
                            "code": STRING,
                            "kind": word(["added", "removed", "changed", "moved"]),
                            "words": STRING,
                        }
                    )
                ),
            }
        ),
        "CourseToPublish": full({"content_hash": _HASH, "confirm_password": _PASSWORD}),
    }
