"""Courses in versions, and schools' minimums beyond the law."""

from syllabus.models.courses import Course, CourseParts, CourseVersion, NotADraft
from syllabus.models.minimums import SchoolMinimum
