"""What changed of a student's record and its meaning between two instants."""

from __future__ import annotations

import uuid

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1 import schemas
from api.v1.description import Answer, Parameter, describe
from api.v1.students import StudentView
from syllabus.engine import reading
from syllabus.engine.errors import Fault, QuestionError
from training.reports.changes import changes


class StudentChanges(StudentView):
    """GET: the difference of two instants."""

    query = {"from": reading.instant, "to": reading.instant}

    @describe(
        name="changesOfStudent",
        summary="What changed between two instants",
        description=(
            "Which entries came, were put right or taken off the record between `from` and `to` (now, where"
            " it is left out), and which requirements and milestones turned, in words: by what was put on"
            " record, or by the days that passed. Each side is answered as it was known then, for the"
            " school's day of that instant. The reading is logged."
        ),
        parameters=[
            Parameter.student(),
            Parameter("from", "query", "The earlier instant.", schemas.INSTANT, True),
            Parameter("to", "query", "The later instant.", schemas.INSTANT),
        ],
        answers={200: Answer("Changes", "What changed")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "changes")
        first, second = self.asked["from"], self.asked["to"] or self.at
        if first is None:
            raise QuestionError([Fault("from", "missing; say since which instant")])
        if second < first:
            raise QuestionError([Fault("to", "lies before 'from'; give the later instant")])
        return Response(changes(student, first, second).as_json())
