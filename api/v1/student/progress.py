"""A student's progress in a course, and the next lesson."""

import datetime as dt
import uuid
from typing import Any

from api.v1.base.description import KNOWN_AT, Answer, Parameter, describe
from api.v1.base.errors import not_found
from api.v1.base.field_types import FLAG, STRING, UUID, WHOLE, as_it_came, keyed, like, list_of, word
from api.v1.base.reports import AT, CODE, ON, PROVENANCE
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.school.courses.serializers import CourseShortSerializer
from api.v1.student.enrolments import VERSION
from api.v1.student.lesson_records.views import LessonView
from syllabus.engine.course import next_lesson
from syllabus.engine.course import progress as progress_of_course
from syllabus.engine.course.course import PLANNED
from syllabus.engine.course.progress import LessonStanding, StageStanding
from syllabus.engine.record.json_schema import obj
from syllabus.engine.record.record import GRADES
from syllabus.engine.record.shapes import Type
from syllabus.engine.rules.report import CAUTION
from syllabus.engine.time.units import format_time
from training.reports import progress

GRADE = word(GRADES)
TIME = like(STRING, description="Hours with the unit, `1.2 h`.")
#: Times by kind, without zeros.
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

    item = Field(STRING, source="item.code")
    title = Field(STRING, source="item.title")
    wanted = Field(GRADE, "The highest grade that the course requires.")
    asked = Field(GRADE, "The highest grade that the lessons flown so far require.", allow_null=True)
    grade = Field(GRADE, "The newest.", allow_null=True)
    graded = Field(ON, source="newest.date", allow_null=True)
    entry = Field(STRING, "The id of the grade's entry.", source="newest.entry", allow_null=True)
    provenance = Field(PROVENANCE, source="newest.provenance", allow_null=True)
    times_graded = Field(WHOLE, of=lambda standing: len(standing.grades))
    passed = Field(FLAG)
    carried_over = Field(FLAG, "Below what the lessons flown so far require.")


class ItemOfLessonSerializer(ItemStandingSerializer):
    """A student's progress in one item of a lesson."""

    asked = Field(GRADE, "The grade that this lesson requires.")
    reached = Field(FLAG)


class FlownSerializer(ResponseSerializer):
    """A lesson record in which the lesson was flown."""

    lesson_record = Field(UUID, source="entry")
    date = Field(ON)
    times = Field(TIMES, of=lambda flown: progress.logged(flown.times))


class LessonStandingSerializer(ResponseSerializer):
    code = Field(STRING, source="lesson.code")
    title = Field(STRING, source="lesson.title")
    state = Field(word([progress_of_course.NOT_FLOWN, progress_of_course.OPEN, progress_of_course.COMPLETE]))
    flown = FlownSerializer(many=True)
    planned = Field(TIMES, of=lambda standing: progress.logged(standing.lesson.times))
    items = ItemOfLessonSerializer(many=True)

    def find_items(self, standing: LessonStanding) -> list[dict[str, Any]]:
        whole: Any = self.root.instance
        items, missing = whole.progress.items, {code for code, *_ in standing.missing}
        return [
            {**ItemStandingSerializer(items[code]).data, "asked": grade, "reached": code not in missing}
            for code, grade in standing.lesson.items.items()
        ]


class StageCheckSerializer(ResponseSerializer):
    """Whether the stage check can be taken."""

    lesson = Field(STRING, source="check.lesson.code")
    state = Field(STRING, source="check.state")
    ready = Field(FLAG, source="ready_for_check")
    before = Field(list_of(STRING), source="before_check")


class StageStandingSerializer(ResponseSerializer):
    code = Field(STRING, source="stage.code")
    title = Field(STRING, source="stage.title")
    completion = Field(STRING, source="stage.completion")
    complete = Field(FLAG)
    times = Field(keyed(PLANNED, keyed(("planned", "flown"), TIME, all_of_them=True)))
    check = StageCheckSerializer(allow_null=True)
    lessons = LessonStandingSerializer(many=True)

    def find_times(self, stage: StageStanding) -> dict[str, dict[str, str]]:
        by_kind = {kind: {"planned": stage.planned(kind), "flown": stage.flown(kind)} for kind in PLANNED}
        return {
            kind: {key: format_time(time) for key, time in times.items()}
            for kind, times in by_kind.items()
            if any(times.values())
        }

    def find_check(self, stage: StageStanding) -> StageStanding | None:
        return stage if stage.check else None


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
    enrolment = Field(UUID, source="enrolment.ref")
    course = CourseShortSerializer(source="version")
    newer_version = Field(VERSION, source="newer.number", allow_null=True)
    complete = Field(FLAG, source="progress.complete")
    items_passed = Field(WHOLE, source="progress.passed")
    items = Field(WHOLE, of=lambda standing: len(standing.progress.items))
    times = Field(keyed(PLANNED, COURSE_TIME, all_of_them=True))
    stages = StageStandingSerializer(source="progress.stages", many=True)
    carried_over = ItemStandingSerializer(source="progress.carried_over", many=True)
    not_carried = NotCarriedSerializer(many=True)
    next = NextLessonSerializer()
    toward = Field(
        STRING,
        "The milestone that the next lesson is for.",
        source="toward.milestone.id",
        allow_null=True,
    )
    caution = Field(STRING, of=lambda standing: CAUTION)

    def find_not_carried(self, standing: progress.Standing) -> list[dict[str, Any]]:
        moved = [each for move in standing.moves for each in move.carried if not each["carries"]]
        return [{key: each[key] for key in ("item", "grade", "why")} for each in moved]

    def find_next(self, standing: progress.Standing) -> dict[str, Any]:
        return progress.next_json(standing.next)


class StudentProgress(LessonView):
    query = (Parameter.on("the day of the question"), KNOWN_AT)

    @describe(
        "readProgress",
        "Show a student's progress in the course",
        Answer(ProgressSerializer, "The student's progress"),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """By stage and item: the newest grade, what is carried over, planned and flown time, whether the
        stage check can be taken, and the suggested next lesson with its reasons. 404 without a course. The
        reading is logged.
        """
        student = self.open(ref, "progress")
        on: dt.date = self.asked["on"] or student.school.day(self.at)
        found = progress.standing(student, on, known_at=self.asked["known_at"])
        if found is None:
            raise not_found("enrollment in a course on that day")
        return found
