"""Enrolments in a version of a course, the move to a newer one, and where a student stands."""

from __future__ import annotations

import datetime as dt
import uuid
from http import HTTPStatus
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1 import schemas
from api.v1.description import Answer, Parameter, describe
from api.v1.endorsements import own_id
from api.v1.errors import not_found
from api.v1.lesson_records import LessonView
from syllabus.engine import reading
from syllabus.engine.reading import Faults, Object
from training.models import CourseMove, Enrolment, Student
from training.reports import progress
from training.services import enrolments
from training.services.enrolments import EnrolmentError
from training.services.errors import find

MOST_VERSION = 100_000
ENROLMENT = Parameter("entry", "path", "The enrolment's id.", {"type": "string", "format": "uuid"}, True)
_WRITES = (400, 401, 403, 404, 406, 409, 411, 413, 415, 422)


def _version(faults: Faults, value: Any, place: str) -> int | None:
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MOST_VERSION:
        return value
    faults.add(place, f"{reading.called(value)} is no number of a version")
    return None


class EnrolmentView(LessonView):
    def enrolment(self, student: Student, entry: uuid.UUID) -> Enrolment:
        """Raises: Problem (404)."""
        rows = enrolments.of(student).select_related("student__school", "course_version__course")
        return find(rows, "enrolment of that id", ref=entry)


class StudentEnrolments(EnrolmentView):
    """GET: the enrolments of a student. POST: one more."""

    @describe(
        name="listEnrolments",
        summary="List the enrolments",
        description="The newest first, each with the version of the course that it holds on to.",
        parameters=[Parameter.student()],
        answers={200: Answer("EnrolmentList", "The enrolments")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "enrolments")
        return Response({"enrolments": [_shown(each) for each in enrolments.of(student)]})

    @describe(
        name="enrolStudent",
        summary="Enrol in a course",
        description=(
            "The enrolment holds on to the version it was made with. `id` is the caller's own: the same sent"
            " again gives what there is."
        ),
        parameters=[Parameter.student()],
        body="EnrolmentToMake",
        answers={201: Answer("Enrolment", "The enrolment")},
        refuses=_WRITES,
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.writable(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        key = fields.take("id", own_id, required=True)
        course = fields.take("course", reading.name, required=True)
        version = fields.take("version", _version)
        starts = fields.take("starts", reading.day, student.school.day(self.at))
        fields.done()
        faults.stop(EnrolmentError)
        made = enrolments.enrol(
            student,
            ref=key,
            course=course,
            version=version,
            starts=starts,
            by=self.user,
            at=self.at,
            via="api",
        )
        return Response(_shown(self.enrolment(student, made.ref)), status=HTTPStatus.CREATED)


class EnrolmentEnd(EnrolmentView):
    """POST: the last day of an enrolment."""

    @describe(
        name="endEnrolment",
        summary="End an enrolment",
        description="Gives it its last day; it stays on file.",
        parameters=[Parameter.student(), ENROLMENT],
        body="EnrolmentToEnd",
        answers={200: Answer("Enrolment", "The enrolment")},
        refuses=_WRITES,
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.writable(ref)
        found = self.enrolment(student, entry)
        faults = Faults()
        fields = Object(faults, request.data, "")
        ends = fields.take("ends", reading.day, required=True)
        fields.done()
        faults.stop(EnrolmentError)
        enrolments.end(found, on=ends, by=self.user, at=self.at, via="api")
        return Response(_shown(self.enrolment(student, entry)))


class EnrolmentMove(EnrolmentView):
    """GET: what a move to a newer version would mean. POST: the move."""

    query = {"version": reading.text}

    @describe(
        name="previewEnrolmentMove",
        summary="Preview a move to a newer version",
        description=(
            "What differs between the two versions of the course, and of each item graded so far whether its"
            " grade stands in the newer one."
        ),
        parameters=[
            Parameter.student(),
            ENROLMENT,
            Parameter("version", "query", "The newer version.", {"type": "integer", "minimum": 1}, True),
        ],
        answers={200: Answer("EnrolmentMovePreview", "What would change")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.open(ref, f"enrolment {entry} move")
        found = self.enrolment(student, entry)
        faults = Faults()
        asked = self.asked["version"]
        plain = asked if isinstance(asked, str) and asked.isascii() and asked.isdigit() else ""
        number = _version(faults, int(plain) if plain and len(plain) < 9 else asked, "version")
        faults.stop(EnrolmentError)
        assert number is not None
        shown = enrolments.preview(found, number, student.school.day(self.at))
        return Response(
            {
                "from": progress.course_json(shown.old),
                "to": progress.course_json(shown.new),
                "changes": [
                    {"what": each.what, "code": each.code, "kind": each.kind, "words": each.words}
                    for each in shown.changes
                ],
                "carried": [
                    {
                        "item": each.item,
                        "grade": each.grade,
                        "carries": each.carries,
                        "why": each.why,
                        "note": each.note,
                    }
                    for each in shown.carried
                ],
            }
        )

    @describe(
        name="moveEnrolment",
        summary="Move to a newer version",
        description=(
            "Sealed with what was carried over. What was not is asked for again; no grade is lost from the"
            " record."
        ),
        parameters=[Parameter.student(), ENROLMENT],
        body="EnrolmentToMove",
        answers={200: Answer("Enrolment", "The enrolment")},
        refuses=_WRITES,
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.writable(ref)
        found = self.enrolment(student, entry)
        faults = Faults()
        fields = Object(faults, request.data, "")
        number = fields.take("version", _version, required=True)
        fields.done()
        faults.stop(EnrolmentError)
        enrolments.move(found, number, by=self.user, at=self.at, via="api")
        return Response(_shown(self.enrolment(student, entry)))


class StudentProgress(LessonView):
    """GET: where a student stands in the course, and the next lesson."""

    query = {"on": reading.day, "known_at": reading.instant}

    @describe(
        name="readProgress",
        summary="Show a student's progress in the course",
        description=(
            "By stage and item the newest grade, what is carried over, planned against flown time, whether"
            " the stage check may come, and which lesson is proposed next and why. A student in no course has"
            " none (404). The reading is logged."
        ),
        parameters=[
            Parameter.student(),
            Parameter.on("the day asked about"),
            Parameter(
                "known_at", "query", "Answer from what was on record at this instant.", schemas.INSTANT
            ),
        ],
        answers={200: Answer("Progress", "The student's progress")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "progress")
        on: dt.date = self.asked["on"] or student.school.day(self.at)
        found = progress.standing(student, on, known_at=self.asked["known_at"])
        if found is None:
            raise not_found("enrolment in a course on that day")
        return Response(found.as_json())


def _shown(enrolment: Enrolment) -> dict[str, Any]:
    return {
        "id": str(enrolment.ref),
        "course": enrolment.course_version and progress.course_json(enrolment.course_version),
        "starts": enrolment.starts.isoformat(),
        "ends": enrolment.ends and enrolment.ends.isoformat(),
        "moves": [_moved(each) for each in enrolment.moves.all()],
    }


def _moved(move: CourseMove) -> dict[str, Any]:
    return {
        "from_version": move.from_version.number,
        "to_version": move.to_version.number,
        "by": str(move.by),
        "at": move.at.astimezone(dt.UTC).isoformat().replace("+00:00", "Z"),
        "carried": move.carried,
        "ledger": {"tree": move.ledger_tree, "index": move.ledger_index},
    }
