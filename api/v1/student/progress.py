"""A student's progress in a course, and the next lesson."""

from __future__ import annotations

import datetime as dt
import uuid

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.base.description import Answer, Parameter, describe
from api.v1.base.errors import not_found
from api.v1.base.field_types import FLAG, INSTANT, STRING, UUID, WHOLE, as_it_came, keyed, like, list_of, word
from api.v1.base.reports import AT, CODE, ON, PROVENANCE
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.school.courses.serializers import CourseShortSerializer
from api.v1.student.enrolments import VERSION
from api.v1.student.lesson_records.views import LessonView
from syllabus.engine.course import next_lesson
from syllabus.engine.course import progress as progress_of_course
from syllabus.engine.course.course import PLANNED
from syllabus.engine.record import reading
from syllabus.engine.record.json_schema import obj
from syllabus.engine.record.record import GRADES
from syllabus.engine.record.shapes import Type
from training.reports import progress

GRADE = word(GRADES)
TIME = like(STRING, description="Hours with the unit, `1.2 h`.")
#: Times by kind, only of kinds that there are any of.
TIMES = keyed(PLANNED, TIME)
COURSE_TIME = Type(
    as_it_came,
    obj(
        properties := {
            "planned": TIME.schema,
            "flown": TIME.schema,
            "elsewhere": {**TIME.schema, "description": "On record, but in no lesson signed here."},
        },
        properties,
    ),
)
KINDS = [
    *(next_lesson.READY, next_lesson.BELOW, next_lesson.LACKS, next_lesson.LONGEST),
    *(next_lesson.ORDER, next_lesson.AGAIN, next_lesson.BLOCKED, next_lesson.CAUTION),
]


class ItemStandingSerializer(ResponseSerializer):
    """A student's progress in one item."""

    item = Field(STRING)
    title = Field(STRING)
    wanted = Field(GRADE, "The highest grade that the course requires.")
    asked = Field(GRADE, "The highest grade that the lessons flown so far require.", allow_null=True)
    grade = Field(GRADE, "The newest.", allow_null=True)
    graded = Field(ON, allow_null=True)
    entry = Field(STRING, "The id of the grade's entry.", allow_null=True)
    provenance = Field(PROVENANCE, allow_null=True)
    times_graded = Field(WHOLE)
    passed = Field(FLAG)
    carried_over = Field(FLAG, "Below what the lessons flown so far require.")


class ItemOfLessonSerializer(ItemStandingSerializer):
    """A student's progress in one item of a lesson."""

    asked = Field(GRADE, "The grade that this lesson requires.")
    reached = Field(FLAG)


class FlownSerializer(ResponseSerializer):
    """A lesson record in which the lesson was flown."""

    lesson_record = Field(UUID)
    date = Field(ON)
    times = Field(TIMES)


class LessonStandingSerializer(ResponseSerializer):
    code = Field(STRING)
    title = Field(STRING)
    state = Field(word([progress_of_course.NOT_FLOWN, progress_of_course.OPEN, progress_of_course.COMPLETE]))
    flown = FlownSerializer(many=True)
    planned = Field(TIMES)
    items = ItemOfLessonSerializer(many=True)


class StageCheckSerializer(ResponseSerializer):
    """Whether the stage check can be taken."""

    lesson = Field(STRING)
    state = Field(STRING)
    ready = Field(FLAG)
    before = Field(list_of(STRING))


class StageStandingSerializer(ResponseSerializer):
    code = Field(STRING)
    title = Field(STRING)
    completion = Field(STRING)
    complete = Field(FLAG)
    times = Field(keyed(PLANNED, keyed(("planned", "flown"), TIME, all_of_them=True)))
    check = StageCheckSerializer(allow_null=True)
    lessons = LessonStandingSerializer(many=True)


class WhySerializer(ResponseSerializer):
    """A reason for a proposal."""

    kind = Field(word(KINDS))
    code = Field(CODE)
    words = Field(STRING)


class StandardInWordsSerializer(ResponseSerializer):
    name = Field(STRING)
    says = Field(STRING)
    caution = Field(STRING)


class ProposedItemSerializer(ResponseSerializer):
    item = Field(STRING)
    title = Field(STRING)
    wanted = Field(GRADE)
    grade = Field(GRADE, allow_null=True)
    why = Field(STRING)
    standard = StandardInWordsSerializer(many=True)


class ProposedLessonSerializer(ResponseSerializer):
    """One lesson with its reasons; the instructor, the weather and the airplane decide."""

    lesson = Field(STRING)
    title = Field(STRING)
    objective = Field(STRING)
    completion = Field(STRING)
    planned = Field(TIMES)
    why = WhySerializer(many=True)
    covers = Field(list_of(STRING), "The gaps of the next milestone that it covers.")
    items = ProposedItemSerializer(many=True)


class BlockedLessonSerializer(ResponseSerializer):
    lesson = Field(STRING)
    title = Field(STRING)
    why = WhySerializer(many=True)


class NextLessonSerializer(ResponseSerializer):
    proposal = ProposedLessonSerializer(allow_null=True)
    others = ProposedLessonSerializer(many=True)
    blocked = BlockedLessonSerializer(many=True)
    says = Field(STRING)


class NotCarriedSerializer(ResponseSerializer):
    """A grade that did not carry over to the newer version."""

    item = Field(STRING)
    grade = Field(STRING)
    why = Field(STRING)


class ProgressSerializer(ResponseSerializer):
    on = Field(ON)
    known_at = Field(AT, allow_null=True)
    enrolment = Field(UUID)
    course = CourseShortSerializer()
    newer_version = Field(VERSION, allow_null=True)
    complete = Field(FLAG)
    items_passed = Field(WHOLE)
    items = Field(WHOLE)
    times = Field(keyed(PLANNED, COURSE_TIME, all_of_them=True))
    stages = StageStandingSerializer(many=True)
    carried_over = ItemStandingSerializer(many=True)
    not_carried = NotCarriedSerializer(many=True)
    next = NextLessonSerializer()
    toward = Field(STRING, "The milestone that the next lesson is for.", allow_null=True)
    caution = Field(STRING)


class StudentProgress(LessonView):
    query = {"on": reading.day, "known_at": reading.instant}

    @describe(
        name="readProgress",
        summary="Show a student's progress in the course",
        description=(
            "By stage and item: the newest grade, what is carried over, planned and flown time, "
            "whether the stage check can be taken, and the suggested next lesson with its "
            "reasons. 404 without a course. The reading is logged."
        ),
        parameters=[
            Parameter.on("the day of the question"),
            Parameter("known_at", "query", "Ignore what was recorded after this time.", INSTANT.schema),
        ],
        answers={200: Answer(ProgressSerializer, "The student's progress")},
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "progress")
        on: dt.date = self.asked["on"] or student.school.day(self.at)
        found = progress.standing(student, on, known_at=self.asked["known_at"])
        if found is None:
            raise not_found("enrolment in a course on that day")
        return Response(ProgressSerializer(found.as_json()).data)
