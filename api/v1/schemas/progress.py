"""Enrolments, where a student stands in a course, and the next lesson: what is sent and answered."""

from __future__ import annotations

from api.v1.schemas.shapes import FLAG, STRING, Schema, full, listed, obj, optional, or_null, ref, word
from syllabus.engine import next_lesson, progress
from syllabus.engine.course import PLANNED
from syllabus.engine.record import GRADES

_UUID: Schema = {"type": "string", "format": "uuid"}
_DAY: Schema = {"type": "string", "format": "date"}
_AT: Schema = {"type": "string", "format": "date-time"}
_NUMBER: Schema = {"type": "integer", "minimum": 1}
_COUNT: Schema = {"type": "integer", "minimum": 0}
_GRADE = word(GRADES)
_TIME: Schema = {"type": "string", "description": "Hours with the unit, `1.2 h`."}
#: Times by kind, only of kinds that there are any of.
_SOME_TIMES: Schema = obj(dict.fromkeys(PLANNED, _TIME))
_REASON = full(
    {
        "kind": word(
            [
                next_lesson.READY,
                next_lesson.BELOW,
                next_lesson.LACKS,
                next_lesson.LONGEST,
                next_lesson.ORDER,
                next_lesson.AGAIN,
                next_lesson.BLOCKED,
                next_lesson.CAUTION,
            ]
        ),
        "code": ref("ReasonCode"),
        "words": STRING,
    }
)


def components() -> dict[str, Schema]:
    item = {
        "item": STRING,
        "title": STRING,
        "wanted": {**_GRADE, "description": "The highest grade that the course asks of it."},
        "asked": {**or_null(_GRADE), "description": "The highest that the lessons flown so far asked."},
        "grade": {**or_null(_GRADE), "description": "The newest."},
        "graded": or_null(_DAY),
        "entry": {**or_null(STRING), "description": "The id of the grade's entry on record."},
        "provenance": or_null(ref("Provenance")),
        "times_graded": _COUNT,
        "passed": FLAG,
        "carried_over": {**FLAG, "description": "Below what the lessons flown so far asked."},
    }
    moved = full(
        {
            "from_version": _NUMBER,
            "to_version": _NUMBER,
            "by": STRING,
            "at": _AT,
            "carried": listed(ref("CarriedOver")),
            "ledger": full({"tree": STRING, "index": _COUNT}),
        }
    )
    return {
        "CourseShort": full(
            {
                "course": {**STRING, "description": "Its address: `code`, or `code@school`."},
                "of_the_school": {
                    **FLAG,
                    "description": "Whether it is the school's own; else it comes with the product.",
                },
                "version": _NUMBER,
                "title": STRING,
                "content_hash": STRING,
            }
        ),
        "CarriedOver": full(
            {
                "item": STRING,
                "grade": STRING,
                "carries": FLAG,
                "why": {**STRING, "description": "What keeps it from standing in the new version."},
                "note": {**STRING, "description": "What to look at where it stands."},
            }
        ),
        "EnrolmentToMake": obj(
            {
                "id": {**_UUID, "description": "Drawn by the caller, so that it may be sent again."},
                "course": {"type": "string", "minLength": 1, "maxLength": 150, "description": "Its address."},
                **optional(
                    {
                        "version": {**_NUMBER, "description": "By default the newest that is published."},
                        "starts": {**_DAY, "description": "The first day; by default today at the school."},
                    }
                ),
            },
            ["id", "course"],
        ),
        "EnrolmentToEnd": obj({"ends": {**_DAY, "description": "The last day."}}, ["ends"]),
        "EnrolmentToMove": obj({"version": _NUMBER}, ["version"]),
        "Enrolment": full(
            {
                "id": _UUID,
                "course": or_null(ref("CourseShort")),
                "starts": _DAY,
                "ends": or_null(_DAY),
                "moves": listed(moved),
            }
        ),
        "EnrolmentList": full({"enrolments": listed(ref("Enrolment"))}),
        "EnrolmentMovePreview": full(
            {
                "from": ref("CourseShort"),
                "to": ref("CourseShort"),
                "changes": listed(full({"what": STRING, "code": STRING, "kind": STRING, "words": STRING})),
                "carried": listed(ref("CarriedOver")),
            }
        ),
        "ItemStanding": full(item),
        "LessonStanding": full(
            {
                "code": STRING,
                "title": STRING,
                "state": word([progress.NOT_FLOWN, progress.OPEN, progress.COMPLETE]),
                "flown": listed(full({"lesson_record": _UUID, "date": _DAY, "times": _SOME_TIMES})),
                "planned": _SOME_TIMES,
                "items": listed(
                    full(
                        {
                            **item,
                            "asked": {**_GRADE, "description": "What this lesson asks."},
                            "reached": FLAG,
                        }
                    )
                ),
            }
        ),
        "StageStanding": full(
            {
                "code": STRING,
                "title": STRING,
                "completion": STRING,
                "complete": FLAG,
                "times": obj({kind: full({"planned": _TIME, "flown": _TIME}) for kind in PLANNED}),
                "check": or_null(
                    full({"lesson": STRING, "state": STRING, "ready": FLAG, "before": listed(STRING)})
                ),
                "lessons": listed(ref("LessonStanding")),
            }
        ),
        "ProposedLesson": full(
            {
                "lesson": STRING,
                "title": STRING,
                "objective": STRING,
                "completion": STRING,
                "planned": _SOME_TIMES,
                "why": listed(_REASON),
                "covers": {
                    **listed(STRING),
                    "description": "What of the next milestone's gaps it takes up.",
                },
                "items": listed(
                    full(
                        {
                            "item": STRING,
                            "title": STRING,
                            "wanted": _GRADE,
                            "grade": or_null(_GRADE),
                            "why": STRING,
                            "standard": listed(full({"name": STRING, "says": STRING, "caution": STRING})),
                        }
                    )
                ),
            },
            description="One lesson with its reasons; the instructor, the weather and the airplane decide.",
        ),
        "NextLesson": full(
            {
                "proposal": or_null(ref("ProposedLesson")),
                "others": listed(ref("ProposedLesson")),
                "blocked": listed(full({"lesson": STRING, "title": STRING, "why": listed(_REASON)})),
                "says": STRING,
            }
        ),
        "Progress": full(
            {
                "on": _DAY,
                "known_at": or_null(_AT),
                "enrolment": _UUID,
                "course": ref("CourseShort"),
                "newer_version": or_null(_NUMBER),
                "complete": FLAG,
                "items_passed": _COUNT,
                "items": _COUNT,
                "times": full(
                    {
                        kind: full(
                            {
                                "planned": _TIME,
                                "flown": _TIME,
                                "elsewhere": {**_TIME, "description": "On record, in no lesson signed here."},
                            }
                        )
                        for kind in PLANNED
                    }
                ),
                "stages": listed(ref("StageStanding")),
                "carried_over": listed(ref("ItemStanding")),
                "not_carried": listed(full({"item": STRING, "grade": STRING, "why": STRING})),
                "next": ref("NextLesson"),
                "toward": {**or_null(STRING), "description": "The milestone that the next lesson is for."},
                "caution": STRING,
            }
        ),
    }
