"""Courses in versions, and what a school asks for beyond the law."""

from syllabus.models.courses import Course, CourseMinimum, CourseVersion, NotADraft, Stage
from syllabus.models.items import Item, Prerequisite, Proof, StandardTolerance
from syllabus.models.lessons import Lesson, LessonItem
from syllabus.models.minimums import SchoolMinimum

__all__ = [
    "Course",
    "CourseMinimum",
    "CourseVersion",
    "Item",
    "Lesson",
    "LessonItem",
    "NotADraft",
    "Prerequisite",
    "Proof",
    "SchoolMinimum",
    "Stage",
    "StandardTolerance",
]
