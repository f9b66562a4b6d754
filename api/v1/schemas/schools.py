"""What somebody is told, and what a school asks for beyond the law."""

from __future__ import annotations

from api.v1.schemas.shapes import NAME, STRING, Schema, full, listed, obj, optional, or_null, ref

_AT: Schema = {"type": "string", "format": "date-time"}
_DAY: Schema = {"type": "string", "format": "date"}
_ID: Schema = {"type": "integer", "minimum": 0}
_SHORT: Schema = {"type": "string", "maxLength": 2000}


def components() -> dict[str, Schema]:
    return {**_notices(), **_minimums()}


def _notices() -> dict[str, Schema]:
    return {
        "Notice": full(
            {
                "id": _ID,
                "kind": STRING,
                "about": STRING,
                "student": {"type": "string", "format": "uuid"},
                "at": _AT,
                "read_at": or_null(_AT),
            }
        ),
        "NoticePage": full(
            {"next": or_null(STRING), "previous": or_null(STRING), "notices": listed(ref("Notice"))}
        ),
    }


def _minimums() -> dict[str, Schema]:
    said: dict[str, Schema] = {
        "school": {**NAME, "description": "The school's short name."},
        "milestone": {**NAME, "description": "Such as faa.first-solo."},
        "code": {
            **NAME,
            "maxLength": 80,
            "pattern": "^[a-z0-9]+([.-][a-z0-9]+)*$",
            "description": "Names it within the milestone.",
        },
        "kind": {**NAME, "description": "A kind of requirement, such as total_at_least."},
        "params": {
            "type": "object",
            "description": "The kind's parameters: {'counts': ['dual'], 'need': '15 h'}.",
        },
        "says": {**_SHORT, "minLength": 1, "pattern": r"\S", "description": "What is asked for, in words."},
        "starts": {**_DAY, "description": "Its first day."},
    }
    more: dict[str, Schema] = {"note": _SHORT, "ends": {**_DAY, "description": "Its last day."}}
    return {
        "SchoolMinimum": full(
            {
                "id": _ID,
                **said,
                "requirement": {**STRING, "description": "Its id in every report."},
                "note": _SHORT,
                "ends": or_null(_DAY),
            },
            description="What a school asks for beyond the law; never law itself.",
        ),
        "SchoolMinimumList": full({"minimums": listed(ref("SchoolMinimum")), "caution": STRING}),
        "SchoolMinimumToAdd": obj({**said, **optional(more)}, said),
        "SchoolMinimumToEnd": obj(optional({"ends": _DAY})),
    }
