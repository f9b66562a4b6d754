"""The plan of a lesson: its version of the course, and the first content of its draft."""

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any

from django.db.models import Case, Q, When

from syllabus.courses import outlines
from syllabus.engine.course.course import Outline
from syllabus.engine.course.next_lesson import sheet
from syllabus.engine.record.record import NOT_OBSERVED
from syllabus.models import CourseVersion
from training.models import ItemGrade, LessonRecord, Student, User
from training.reports import progress
from training.services.lessons.lesson_content import Content, LessonError

#: A lesson's id with the names of its course's outline.
PINNED = ("pk", "course_version_id", "course_version__content_hash")


def version_of(student: Student, content: Content, at: dt.datetime) -> CourseVersion | None:
    """The version in which the student is enrolled on the lesson's day; one query."""
    held = progress.enrolment(student, content.day or student.school.day(at))
    return held.course_version if held else None


def outlines_of(record: LessonRecord) -> Mapping[str, Outline]:
    """The outline of every signed lesson of the student, and of this one, by the lesson's id."""
    lessons = LessonRecord.objects.filter(student_id=record.student_id, course_version__isnull=False)
    signed = lessons.filter(state=LessonRecord.State.SIGNED).values_list(*PINNED)
    found = {str(pk): outlines.published_as(*pinned) for pk, *pinned in signed}
    if record.course_version is not None:
        found[str(record.pk)] = outlines.published(record.course_version)
    return found


def planned(student: Student, lesson: str, on: dt.date) -> tuple[str, dict[str, Any]]:
    """A lesson's code and the first content of its draft; without a code, those of the next lesson.

    Raises: LessonError if the student is in no course, it has no such lesson, or no lesson is next.
    """
    stands = progress.standing(student, on)
    if stands is None:
        raise LessonError.at(
            "content",
            f"is missing, and the student is in no course on {on} that could say what is planned;"
            " send the content, or enroll the student",
        )
    if lesson:
        standing = stands.progress.lessons.get(lesson)
        if standing is None:
            raise LessonError.at("lesson", f"{stands.version} has no lesson {lesson!r}")
        items = sheet(stands.progress, standing.lesson)
    elif stands.next.proposal is not None:
        lesson, items = stands.next.proposal.lesson.code, stands.next.proposal.items
    else:
        raise LessonError.at("lesson", f"no lesson is next: {stands.next.says} Name the lesson")
    return lesson, {
        "items": [{"item": each.standing.item.code, "grade": NOT_OBSERVED} for each in items],
    }


def last_flight(student: Student, by: User) -> dict[str, Any]:
    """The content of the student's last signed flight; else of the last that the instructor signed here.

    Empty if there is none. One query.
    """
    own = Case(When(student=student, then=0), default=1)
    flown = (
        LessonRecord.objects.filter(Q(student=student) | Q(instructor=by), school=student.school_id)
        .filter(state=LessonRecord.State.SIGNED)
        .exclude(content__flight=None)
        .order_by(own, "-content__flight__date", "-off_at", "-created_at")
    )
    return flown.values_list("content__flight", flat=True).first() or {}


def newest_grades(student: Student, corrected: uuid.UUID | None = None) -> dict[str, ItemGrade]:
    """The newest grade of each item, with its remark; without those of a lesson to correct. One query."""
    rows = ItemGrade.objects.filter(student=student, retired_at__isnull=True, instructor_name__isnull=False)
    rows = rows.exclude(grade=NOT_OBSERVED).order_by("date", "recorded_at")
    if corrected is not None:
        rows = rows.exclude(entry_id__startswith=f"{corrected}/")
    return {each.item: each for each in rows.only("item", "grade", "remarks", "date")}
