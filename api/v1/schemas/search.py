"""What is found by words."""

from __future__ import annotations

from api.v1.schemas.shapes import DAY, STRING, Schema, full, listed, or_null, ref, word
from training.models import LessonRecord, Role
from training.services.search import MOST

_ID: Schema = {"type": "integer", "minimum": 0}
_UUID: Schema = {"type": "string", "format": "uuid"}


def components() -> dict[str, Schema]:
    lesson = full(
        {
            "id": _UUID,
            "student": full({"ref": _UUID, "name": STRING}),
            "instructor": STRING,
            "lesson": {**STRING, "description": "The lesson's code; empty outside a course."},
            "title": or_null(STRING),
            "state": word(LessonRecord.State.values),
            "flown": {**or_null(DAY), "description": "The day of the flight."},
            "taught": {**or_null(DAY), "description": "The day of the ground lesson."},
        }
    )
    person = full(
        {"id": _ID, "school": STRING, "role": word(Role.Kind.values), "name": STRING, "email": STRING}
    )
    craft = full({"id": _ID, "school": STRING, "registration": STRING, "model": STRING})
    return {
        "Found": full(
            {
                "students": listed(ref("StudentInAList"), MOST),
                "lessons": listed(lesson, MOST),
                "people": listed(person, MOST),
                "aircraft": listed(craft, MOST),
                "more": {**listed(STRING, 4), "description": "Of which there is more than is given."},
            }
        )
    }
