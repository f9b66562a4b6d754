"""The views of courses: list, read, compare, write a draft, publish."""

from collections import Counter
from dataclasses import replace
from http import HTTPStatus
from typing import Any

from django.utils.http import parse_etags
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.base.description import Answer, Header, Parameter, describe
from api.v1.base.errors import Problem
from api.v1.base.field_types import matching
from api.v1.base.parsing import StrictJSONParser
from api.v1.base.throttles import ConfirmThrottle
from api.v1.base.views import View
from api.v1.school.courses.files import YAML, Text, YAMLParser, YAMLRenderer, too_large
from api.v1.school.courses.outline import CourseOutlineSerializer
from api.v1.school.courses.serializers import (
    NUMBER,
    CourseComparisonSerializer,
    CourseListSerializer,
    CourseToPublishSerializer,
    CourseVersionSerializer,
    VersionSerializer,
)
from syllabus.courses import files
from syllabus.engine.course import changes
from syllabus.engine.course.course import PLANNED, CourseError, Outline
from syllabus.engine.record import reading
from syllabus.engine.rules.report import CAUTION
from syllabus.engine.rules.rulebook import VERIFIED
from syllabus.engine.time.units import format_time
from syllabus.models import CourseVersion
from training.services.courses import courses
from training.services.courses.courses import Address
from training.services.signing import reauthentication

ETAG = Header("ETag", "A hash of this version; send it back in If-Match.")


class CourseView(View):
    """One course; 404 for those who may not see it."""

    def version(self, course: str, number: int | None = None) -> CourseVersion:
        """Raises: Problem (404)."""
        return courses.version(self.user, Address.read(course), number)

    def confirm(self, password: str) -> None:
        """Re-authenticate the user. Raises: NotConfirmed (403); Locked (429)."""
        reauthentication.check_password(self.user, password, "Not published. Wrong password.")


class Courses(CourseView):
    @describe("listCourses", "List your courses", Answer(CourseListSerializer, "The courses"))
    def get(self) -> Any:
        """The courses that come with the program and those of the caller's schools, each with its published
        versions; an administrator also sees the school's drafts. `course` is the course's code; for a
        school's own course `code@school`.
        """
        listed = [
            {**_addressed(address), "title": versions[-1].title, "versions": versions}
            for address, versions in courses.listed(self.user)
        ]
        return {"courses": listed}


class CourseDetail(CourseView):
    parser_classes = [StrictJSONParser, YAMLParser]
    renderer_classes = [JSONRenderer, YAMLRenderer]

    @describe(
        "readCourse",
        "Read a course",
        Answer(CourseVersionSerializer, "The newest version", [ETAG], also={YAML: CourseOutlineSerializer}),
    )
    def get(self, course: str) -> Any:
        """The newest version that the caller may see, for an administrator of its school the draft, if there
        is one. `Accept: application/yaml` returns the course file instead.
        """
        return _answer(self.request, self.version(course))

    @describe(
        "writeCourse",
        "Write a course",
        Answer(
            CourseVersionSerializer,
            "The draft, or the version with the same content",
            [ETAG],
            also={YAML: CourseOutlineSerializer},
        ),
        Answer(
            CourseVersionSerializer,
            "The draft of a new course",
            [ETAG],
            also={YAML: CourseOutlineSerializer},
            status=201,
        ),
        parameters=[Parameter("If-Match", "header", "The ETag of the newest version.", {"type": "string"})],
        body=CourseOutlineSerializer,
        body_also=[YAML],
        refuses=(403, 412, 428),
    )
    def put(self, course: str) -> Any:
        """For administrators, for a course of the school (`code@school`); the courses of the program are
        read-only. The body is a whole course, as `outline` of a version has it, or a course file. It becomes
        the draft of the next version and replaces the current draft; published versions stay. An inconsistent
        course is refused with every error at its line, or in JSON at its path. `If-Match` has the ETag of the
        newest version, on which the change is based; a new course is sent without it. A course that equals
        the newest version changes nothing.
        """
        address = Address.read(course)
        courses.may_write(self.user, address)
        length = self.request.META.get("CONTENT_LENGTH") or "0"
        if length.isdecimal() and int(length) > courses.MOST_BYTES:
            raise too_large()
        stands = _read(self.request.data)
        wanted = self.request.headers.get("If-Match")
        starts_from: list[CourseVersion | None] = []

        def fits(newest: CourseVersion | None) -> bool:
            starts_from.append(newest)
            if wanted is None:
                if newest is None:
                    return True
                raise Problem(
                    HTTPStatus.PRECONDITION_REQUIRED,
                    "If-Match is missing. Read the course, then send its ETag with your change.",
                )
            held = parse_etags(wanted)
            return newest is not None and ("*" in held or _etag(newest) in held)

        saved = courses.put(self.user, address, stands, fits=fits)
        created = starts_from == [None]
        return _answer(self.request, saved.version, HTTPStatus.CREATED if created else HTTPStatus.OK)


class CourseVersionDetail(CourseView):
    renderer_classes = [JSONRenderer, YAMLRenderer]

    @describe(
        "readCourseVersion",
        "Read a version of a course",
        Answer(CourseVersionSerializer, "The version", [ETAG], also={YAML: CourseOutlineSerializer}),
    )
    def get(self, course: str, number: int) -> Any:
        """Stages, lessons with planned times, items with objective, completion standard, task, prerequisites
        and what they prove, each limit with its source and how it was checked. `outline` is the course as
        `writeCourse` takes it; `in_words` has each standard in words. `Accept: application/yaml` returns the
        course file instead.
        """
        return _answer(self.request, self.version(course, number))


class CourseComparison(CourseView):
    query = (
        Parameter.asked(
            "with",
            "The other version.",
            replace(NUMBER, read=matching("[1-9][0-9]{0,8}", "a version number such as 1", int)),
            required=True,
        ),
    )

    @describe(
        "compareCourseVersions",
        "Compare two versions of a course",
        Answer(CourseComparisonSerializer, "What differs"),
    )
    def get(self, course: str, number: int) -> Any:
        """The changes from version `number` to version `with`, in words; empty if they are equal. Either one
        may be older.
        """
        other = self.asked["with"]
        if other is None:
            raise CourseError.at("with", "missing; enter the version to compare with")
        old, new = self.version(course, number), self.version(course, other)
        differs = changes.compare(courses.outline(old), courses.outline(new))
        compared = {"course": str(Address.of(old.course)), "from": old.number, "to": new.number}
        return {**compared, "changes": differs}


class CoursePublication(CourseView):
    throttle_classes = [ConfirmThrottle]

    @describe(
        "publishCourse",
        "Publish a version of a course",
        Answer(CourseVersionSerializer, "Published", [ETAG]),
        body=CourseToPublishSerializer,
        refuses=(403, 409),
    )
    def post(self, course: str, number: int) -> Any:
        """For administrators of the school, with the password. `content_hash` is that of the draft that was
        read. From then on the version cannot be changed, and students can be enrolled in it. Sending the same
        again gives the same answer; other content is a conflict (409).
        """
        address = Address.read(course)
        courses.may_write(self.user, address, number)
        sent = self.sent()
        self.confirm(sent["confirm_password"])
        made = courses.publish(self.user, address, number, content_hash=sent["content_hash"], at=self.at)
        return _answer(self.request, made)


def _read(sent: Any) -> Outline:
    """Raises: CourseError."""
    if isinstance(sent, Text):
        return files.read(sent, "course.yaml")
    if not isinstance(sent, dict):
        raise CourseError.at("", f"expected a course, got {reading.got(sent)}")
    return files.read_plain(sent, "")


def _etag(version: CourseVersion) -> str:
    return f'"{version.content_hash}"'


def _addressed(address: Address) -> dict[str, Any]:
    return {"course": str(address), "code": address.code, "school": address.school}


def _answer(request: Request, version: CourseVersion, status: HTTPStatus = HTTPStatus.OK) -> Response:
    stands = courses.outline(version)
    headers = {"ETag": _etag(version)}
    if request.accepted_renderer.media_type == YAML:
        return Response(files.write(stands), status=status, headers=headers)
    marks = Counter(tolerance.verified for item in stands.items for tolerance in item.standard)
    planned = {kind: stands.planned(kind) for kind in ("total", *PLANNED) if kind != "ground"}
    shown = {
        **_addressed(Address.of(version.course)),
        "title": version.title,
        **VersionSerializer(version).data,
        "outline": files.as_data(stands),
        "in_words": {
            item.code: {tolerance.name: tolerance.says for tolerance in item.standard}
            for item in stands.items
            if item.standard
        },
        "planned": {
            **{kind: format_time(time) for kind, time in planned.items()},
            "ground": format_time(stands.ground_time),
        },
        "limits": {mark: marks[mark] for mark in VERIFIED},
        "caution": CAUTION,
    }
    return Response(CourseVersionSerializer(shown).data, status=status, headers=headers)
