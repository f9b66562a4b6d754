"""What somebody is told, and what a school asks for beyond the law."""

from __future__ import annotations

from api.v1.schemas.confirmation import CONFIRMATION
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
from syllabus import rulebook
from syllabus.engine.vocabulary import CATEGORIES, CLASSES
from training.models.schools import CLAIMABLE, MOST_TAXI_MINUTES
from training.services import aircraft_models

_AT: Schema = {"type": "string", "format": "date-time"}
_DAY: Schema = {"type": "string", "format": "date"}
_ID: Schema = {"type": "integer", "minimum": 0}
_SHORT: Schema = {"type": "string", "maxLength": 2000}


def components() -> dict[str, Schema]:
    return {**_notices(), **_minimums(), **_settings()}


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


def _settings() -> dict[str, Schema]:
    school: Schema = {**STRING, "description": "The school's short name."}
    can_be_set: dict[str, Schema] = {
        "claims_asked": {
            **listed(word(CLAIMABLE), len(CLAIMABLE)),
            "uniqueItems": True,
            "description": (
                "Lists of a record whose entries raise a question, instead of counting, while nobody vouches "
                "for them (`provenance` is `claimed`)."
            ),
        },
        "taxi_allowance_minutes": {
            "type": "integer",
            "minimum": 0,
            "maximum": MOST_TAXI_MINUTES,
            "description": (
                "Minutes on the ground beside the time between takeoff and landing, past which a logged "
                "total raises a question. Common practice, not law."
            ),
        },
    }
    category, klass = word(CATEGORIES), word(CLASSES)
    names = {"spelling": NAME, "model": NAME}
    return {
        "SchoolSettings": full({"school": school, **can_be_set}),
        "SchoolSettingsToSet": obj(
            {
                **optional(can_be_set),
                "reason": {**_SHORT, "description": "Why `claims_asked` is changed; wanted where it is."},
                **CONFIRMATION,
            }
        ),
        "AircraftModel": full(
            {
                "model": {**STRING, "description": "The spelling that stands for all."},
                "category": or_null(category),
                "class": or_null(klass),
                "shipped": {**FLAG, "description": "False: the school added it."},
                "spellings": {
                    **listed(STRING),
                    "description": "Further ones; letter case, spaces and hyphens do not matter.",
                },
            }
        ),
        "ModelSpelling": full({**names, "category": or_null(category), "class": or_null(klass)}),
        "AircraftModels": full(
            {
                "school": school,
                "models": listed(ref("AircraftModel")),
                "spellings": {**listed(ref("ModelSpelling")), "description": "What the school itself links."},
            }
        ),
        "ModelSpellingToSet": obj({**names, **optional({"category": category, "class": klass})}, names),
        "AircraftModelsToSet": obj(
            {"spellings": listed(ref("ModelSpellingToSet"), aircraft_models.MOST)}, ["spellings"]
        ),
    }


def _minimums() -> dict[str, Schema]:
    said: dict[str, Schema] = {
        "school": {**NAME, "description": "The school's short name."},
        "milestone": {**NAME, "examples": [next(iter(rulebook.current().milestones))]},
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
