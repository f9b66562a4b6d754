"""Courses in versions, and what a school asks for beyond the law."""

from syllabus.models.courses import Course, CourseParts, CourseVersion, NotADraft
from syllabus.models.minimums import SchoolMinimum
