"""The milestones whose status changed since yesterday."""

from __future__ import annotations

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.description import Answer, describe
from api.v1.views import View
from syllabus.engine.report import CAUTION
from training.services import turns


class Turns(View):
    """GET: those of every student whose record the caller may read."""

    @describe(
        name="listTurns",
        summary="List the changes since yesterday",
        description=(
            "The milestones that stand otherwise today, at the student's school, than at the end of "
            "yesterday: by what came on record, or by the days that passed. From the summaries that are "
            f"kept, which follow a change within minutes; {turns.MOST} at most, by the students' names. What "
            "turned and turned back is left out. The reading is logged."
        ),
        answers={200: Answer("TurnList", "What turned")},
        refuses=(401, 406, 422),
    )
    def get(self, request: Request) -> Response:
        found = turns.seen_by(self.user, self.at, via="api")
        return Response({"turns": [each.as_json() for each in found], "caution": CAUTION})
