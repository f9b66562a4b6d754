"""What a tablet downloads so that any lesson can be written offline: courses, grades and signed lessons."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from django.template.loader import render_to_string
from django.utils.translation import get_language

from syllabus.courses import outlines
from syllabus.models import CourseVersion
from training.models import ItemGrade, LessonRecord
from training.presenters.days import day
from training.reports import progress
from training.services.lessons import lesson_content
from training.web.instructor import sheet
from training.web.instructor.opening import Taught
from training.web.instructor.sheet_form import Known, SheetForm

#: The newest signed lessons of each student.
MOST_SIGNED = 6


class Kept:
    """The courses of some students, and of each the newest grades and signed lessons. Three queries."""

    def __init__(self, taught: Iterable[Taught]) -> None:
        every = list(taught)
        students = [each.student for each in every]
        self._version: dict[int, CourseVersion] = {}
        for each in every:
            held = progress.enrolment(each.student, each.today)
            if held is not None and held.course_version is not None:
                self._version[each.student.pk] = held.course_version
        self._signed: dict[int, list[LessonRecord]] = defaultdict(list)
        signed = LessonRecord.objects.filter(student__in=students, state=LessonRecord.State.SIGNED)
        for row in signed.filter(correction__isnull=True).order_by("-created_at"):
            self._signed[row.student_id].append(row)
        self._grades: dict[int, dict[str, ItemGrade]] = defaultdict(dict)
        graded = ItemGrade.objects.filter(student__in=students, retired_at__isnull=True)
        for grade in graded.exclude(grade=sheet.NOT_OBSERVED).order_by("date", "recorded_at"):
            self._grades[grade.student_id][grade.item] = grade

    @property
    def courses(self) -> dict[str, Any]:
        """Each course once, by its name in what is signed."""
        found = {lesson_content.course_of(each): each for each in self._version.values()}
        return {
            str(name): _course(each.pk, each.content_hash, get_language()) for name, each in found.items()
        }

    def of(self, whose: Taught) -> dict[str, Any]:
        signed = self._signed[whose.student.pk]
        return {
            "course": lesson_content.course_of(self._version.get(whose.student.pk)),
            "done": sorted({each.lesson for each in signed if each.lesson}),
            "grades": {
                code: {"grade": each.grade, "remark": each.remarks, "day": day(each.date)}
                for code, each in self._grades[whose.student.pk].items()
            },
            "signed": [_signed(each) for each in signed[:MOST_SIGNED]],
        }


def _signed(record: LessonRecord) -> dict[str, Any]:
    part = record.content.get("flight") or record.content.get("ground") or {}
    return {
        "record": str(record.pk),
        "lesson": record.lesson,
        "day": part.get("date", ""),
        "content": record.content,
    }


@lru_cache(maxsize=32)  # a version is frozen
def _course(pk: int, content_hash: str, language: str) -> dict[str, Any]:
    """The lessons of a course, and a form with every item, of which the tablet takes what a lesson needs.

    ``language`` is that of the form.
    """
    outline = outlines.published_as(pk, content_hash)
    content = {"items": [{"item": each.code, "grade": sheet.NOT_OBSERVED} for each in outline.items]}
    form = SheetForm(sheet.values(content, dt.UTC, outline), None, outline, Known({}, {}))
    nobody = {"school": {"name": "", "time_zone": ""}}
    told = {"form": form, "student": nobody, "record": {"lesson": ""}, "planned": None, "saved": False}
    told |= {"more_items": [], "fleet": {}, "found": None, "preparation": "", "prepares": False, "data": "{}"}
    stock = render_to_string("training/instructor/sheet_form.html", told)
    return {
        "lessons": [
            {"code": each.code, "title": each.title, "objective": each.objective, "items": dict(each.items)}
            for each in outline.lessons
        ],
        "items": {each.code: each.title for each in outline.items},
        "stock": stock,
    }
