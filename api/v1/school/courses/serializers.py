"""The serializers of courses and their versions."""

from collections.abc import Mapping
from typing import Any

from api.v1.base.field_types import FLAG, STRING, TEXT, UTC, WHOLE, content_hash, keyed, open_to, word
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.school.courses.outline import TIME, CourseOutlineSerializer
from syllabus.engine.course.course import PLANNED
from syllabus.engine.errors import InputError
from syllabus.engine.record import reading
from syllabus.engine.record.shapes import Type
from syllabus.engine.rules.rulebook import VERIFIED
from training.reports.progress import course_json
from training.services.courses import courses

HASH = content_hash("a course")
NUMBER = Type(reading.count, {"type": "integer", "minimum": 1})


class PublishError(InputError):
    what = "the request"


class CourseShortSerializer(ResponseSerializer):
    course = Field(STRING, "Its code, or `code@school`.")
    of_the_school = Field(FLAG, "Whether it is the school's own; else it comes with the program.")
    version = Field(NUMBER)
    title = Field(STRING)
    content_hash = Field(STRING)

    def to_representation(self, instance: Any) -> dict[str, Any]:
        """From a version of a course, or a mapping with the keys."""
        return super().to_representation(instance if isinstance(instance, Mapping) else course_json(instance))


class CourseAddress(ResponseSerializer):
    course = Field(STRING, "The course: its code, or `code@school`.")
    code = Field(STRING)
    school = Field(STRING, "Null for a course that comes with the program.", allow_null=True)
    title = Field(STRING)


class VersionSerializer(ResponseSerializer):
    """A version of a course."""

    number = Field(NUMBER)
    state = Field(word(["draft", "published"]))
    published_at = Field(UTC, allow_null=True)
    published_by = Field(
        STRING,
        "The publisher; null for a draft, for a course that comes with the program, and for a"
        " version published on the command line.",
        of=courses.publisher,
        allow_null=True,
    )
    content_hash = Field(HASH)


class CourseListedSerializer(CourseAddress):
    """A course with its versions."""

    versions = VersionSerializer(many=True, min_length=1)


class CourseListSerializer(ResponseSerializer):
    courses = CourseListedSerializer(many=True)


class CourseVersionSerializer(CourseAddress, VersionSerializer):
    """A whole version of a course."""

    outline = CourseOutlineSerializer()
    in_words = Field(
        open_to(open_to(STRING.schema).schema), "For each item with a standard, each tolerance in words."
    )
    planned = Field(
        keyed(("total", *PLANNED), TIME, all_of_them=True), "Planned time of all lessons, by kind."
    )
    limits = Field(
        keyed(VERIFIED, WHOLE, all_of_them=True),
        "How many limits were read in the standard itself, in an account of it, or are from memory.",
    )
    caution = Field(STRING)


class CourseChangeSerializer(ResponseSerializer):
    """A difference between two versions."""

    what = Field(word(["course", "stage", "lesson", "item", "minimum"]))
    code = Field(STRING)
    kind = Field(word(["added", "removed", "changed", "moved"]))
    words = Field(STRING)


class CourseComparisonSerializer(ResponseSerializer):
    course = Field(STRING)
    from_ = Field(NUMBER)
    to = Field(NUMBER)
    changes = CourseChangeSerializer(many=True)


class CourseToPublishSerializer(RequestSerializer):
    error = PublishError

    content_hash = Field(HASH)
    confirm_password = Field(TEXT, "The caller's password, entered at publishing.")
