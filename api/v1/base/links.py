"""The links of the API's description: the operations that may follow a response, with its values.

They are together so that each workflow reads as one: a lesson is drafted, read, signed, acknowledged and
corrected; an endorsement is checked, given and revoked; a course is written and published.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Link:
    """An operation that may be called next; values are OpenAPI runtime expressions."""

    operation: str
    parameters: Mapping[str, str]
    body: Any = None

    def as_openapi(self) -> dict[str, Any]:
        made: dict[str, Any] = {"operationId": self.operation, "parameters": dict(self.parameters)}
        return made if self.body is None else {**made, "requestBody": self.body}


_ETAG = "$response.header.ETag"
_SAME_STUDENT = {"ref": "$request.path.ref"}
_FIRST_STUDENT = {"ref": "$response.body#/students/0/ref"}
_LESSON = {**_SAME_STUDENT, "entry": "$response.body#/id"}
_SAME_LESSON = {**_SAME_STUDENT, "entry": "$request.path.entry"}
_ENROLMENT = {**_SAME_STUDENT, "entry": "$response.body#/id"}
_COURSE = {"course": "$response.body#/course"}
_VERSION = {**_COURSE, "number": "$response.body#/number"}
_READ = {"content_hash": "$response.body#/content_hash"}

_ON_A_LESSON = (
    Link("readLessonRecord", _LESSON),
    Link("changeLessonRecord", {**_LESSON, "If-Match": _ETAG}, {"content": "$response.body#/content"}),
    Link("signLessonRecord", _LESSON, _READ),
)
_ON_A_SIGNED_LESSON = (
    Link("acknowledgeLessonRecord", _SAME_LESSON),
    Link("correctLessonRecord", _SAME_LESSON),
    Link("readLedgerProof", {"lesson_record": "$request.path.entry"}),
)
_ON_AN_ENDORSEMENT = (
    Link("revokeEndorsement", {**_SAME_STUDENT, "entry": "$response.body#/id"}),
    Link("readLedgerProof", {"endorsement": "$response.body#/id"}),
)
_ON_A_VERSION = (
    Link("readCourseVersion", _VERSION),
    Link("writeCourse", {**_COURSE, "If-Match": _ETAG}, "$response.body#/outline"),
    Link("publishCourse", _VERSION, _READ),
    Link("compareCourseVersions", {**_VERSION, "with": "$response.body#/number"}),
)

#: For each operation and status, what may be called next.
LINKS: Mapping[tuple[str, int], tuple[Link, ...]] = {
    ("listMilestones", 200): (Link("readMilestone", {"milestone": "$response.body#/milestones/0/id"}),),
    ("listStudents", 200): (
        Link("readStudent", _FIRST_STUDENT),
        Link("readRecord", _FIRST_STUDENT),
        Link("overviewOfStudent", _FIRST_STUDENT),
        Link("listDocuments", _FIRST_STUDENT),
        Link("addDocument", _FIRST_STUDENT),
        Link("listEndorsements", _FIRST_STUDENT),
        Link("checkEndorsement", _FIRST_STUDENT),
        Link("giveEndorsement", _FIRST_STUDENT),
        Link("listLessonRecords", _FIRST_STUDENT),
        Link("draftLessonRecord", _FIRST_STUDENT),
        Link("listEnrolments", _FIRST_STUDENT),
        Link("enrolStudent", _FIRST_STUDENT),
        Link("readProgress", _FIRST_STUDENT),
    ),
    ("readRecord", 200): (Link("replaceRecord", {**_SAME_STUDENT, "If-Match": _ETAG}, "$response.body"),),
    ("overviewOfStudent", 200): (
        Link(
            "eligibilityOfStudent",
            {**_SAME_STUDENT, "milestone": "$response.body#/milestones/0/milestone"},
        ),
    ),
    ("addDocument", 201): (Link("listDocuments", _SAME_STUDENT),),
    ("checkEndorsement", 200): (Link("giveEndorsement", _SAME_STUDENT, {"kind": "$response.body#/kind"}),),
    ("giveEndorsement", 201): (*_ON_AN_ENDORSEMENT, Link("listEndorsements", _SAME_STUDENT)),
    ("giveEndorsement", 200): _ON_AN_ENDORSEMENT,
    ("listLessonRecords", 200): (
        Link("readLessonRecord", {**_SAME_STUDENT, "entry": "$response.body#/lesson_records/0/id"}),
    ),
    ("draftLessonRecord", 201): _ON_A_LESSON,
    ("readLessonRecord", 200): (*_ON_A_LESSON[1:], *_ON_A_SIGNED_LESSON),
    ("changeLessonRecord", 200): (_ON_A_LESSON[0], _ON_A_LESSON[2]),
    ("signLessonRecord", 200): _ON_A_SIGNED_LESSON,
    ("acknowledgeLessonRecord", 200): (Link("readLessonRecord", _SAME_LESSON), *_ON_A_SIGNED_LESSON[1:]),
    ("correctLessonRecord", 201): _ON_A_LESSON,
    ("enrolStudent", 201): (
        Link("listEnrolments", _SAME_STUDENT),
        Link("readProgress", _SAME_STUDENT),
        Link("endEnrolment", _ENROLMENT),
        Link("previewEnrolmentMove", _ENROLMENT),
        Link("moveEnrolment", _ENROLMENT),
    ),
    ("listCourses", 200): (
        Link("readCourse", {"course": "$response.body#/courses/0/course"}),
        Link(
            "readCourseVersion",
            {
                "course": "$response.body#/courses/0/course",
                "number": "$response.body#/courses/0/versions/0/number",
            },
        ),
    ),
    ("readCourse", 200): _ON_A_VERSION,
    ("readCourseVersion", 200): _ON_A_VERSION[1:],
    ("writeCourse", 200): _ON_A_VERSION,
    ("writeCourse", 201): _ON_A_VERSION,
    ("publishCourse", 200): _ON_A_VERSION,
    ("readLedgerCheckpoint", 200): (
        Link(
            "readLedgerConsistency",
            {"from": "$response.body#/size", "school": "$response.body#/school"},
        ),
    ),
}


def of(operation: str, status: int) -> dict[str, Any]:
    """The links of a response in OpenAPI's form, by the operation they lead to."""
    return {each.operation: each.as_openapi() for each in LINKS.get((operation, status), ())}
