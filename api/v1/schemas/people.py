"""The people of a school and what each is there."""

from __future__ import annotations

from api.v1.schemas.shapes import (
    DAY,
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
from syllabus.engine.instructing import MOST_RATINGS
from syllabus.engine.vocabulary import CATEGORIES, CLASSES, INSTRUCTORS
from training.models import Role

_ID: Schema = {"type": "integer", "minimum": 0}
_UUID: Schema = {"type": "string", "format": "uuid"}


def components() -> dict[str, Schema]:
    ratings = {
        **listed(ref("Rating"), MOST_RATINGS),
        "description": "In which aircraft flight training may be given; null: not recorded; []: in none.",
    }
    held: dict[str, Schema] = {
        "certificate": {"type": "string", "maxLength": 40, "description": "The certificate's number."},
        "instructor_kind": word(INSTRUCTORS, "Under what authority the instructor signs; flight by default."),
        "recent_experience_until": {**DAY, "description": "Last day of recent experience."},
        "ratings": ratings,
    }
    role = word(Role.Kind.values, "What the person is at the school.")
    return {
        "Rating": obj(
            {
                "category": word(CATEGORIES),
                "class": or_null({**NAME, "maxLength": 60, "description": f"One of {', '.join(CLASSES)}."}),
                "instrument": or_null(FLAG),
            },
            ["category"],
        ),
        "Person": full(
            {
                "id": {**_ID, "description": "Of the role: one person with two roles is there twice."},
                "school": STRING,
                "role": role,
                "name": STRING,
                "email": STRING,
                "account_open": {**FLAG, "description": "Whether the person can sign in."},
                "student": {**or_null(_UUID), "description": "A student's reference."},
                "certificate": STRING,
                "instructor_kind": or_null(word(INSTRUCTORS, "Of an instructor's role.")),
                "recent_experience_until": or_null(DAY),
                "ratings": or_null(ratings),
            }
        ),
        "PersonPage": full(
            {"next": or_null(STRING), "previous": or_null(STRING), "people": listed(ref("Person"))}
        ),
        "PersonToAdd": obj(
            {
                "school": {**NAME, "description": "The school's short name."},
                "role": role,
                "name": NAME,
                **optional(
                    {
                        "email": {"type": "string", "maxLength": 254},
                        "id": {**_UUID, "description": "A student's reference, drawn by the caller."},
                        "birth_date": {**DAY, "description": "A student's."},
                        "training_model": {"type": "string", "maxLength": 60, "description": "A student's."},
                        **held,
                    }
                ),
            },
            ["school", "role", "name"],
            description=(
                "`id`, `birth_date` and `training_model` are a student's, `certificate`, `instructor_kind`,"
                " `recent_experience_until` and `ratings` an instructor's; sent for another they are unknown."
            ),
        ),
        "PersonAdded": full(
            {
                "person": {
                    **or_null(ref("Person")),
                    "description": "null for a student without an account.",
                },
                "student": or_null(_UUID),
                "mail": {
                    **or_null(STRING),
                    "description": "What was mailed to whom; null where nothing was.",
                },
            }
        ),
        "PersonToChange": obj(optional(held)),
        "PersonLink": full({"mail": STRING}),
        "Assignment": full({"id": _ID, "instructor": STRING, "starts": DAY, "ends": or_null(DAY)}),
        "AssignmentList": full({"assignments": listed(ref("Assignment"))}),
        "AssignmentToMake": obj(
            {
                "instructor": {**_ID, "description": "The id of the instructor's role."},
                **optional({"starts": DAY}),
            },
            ["instructor"],
        ),
    }
