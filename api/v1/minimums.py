"""What a school asks for beyond the law."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.description import Answer, Parameter, describe
from api.v1.views import View
from syllabus.engine import reading
from syllabus.engine.reading import Faults, Object
from syllabus.engine.report import CAUTION
from syllabus.models import SchoolMinimum
from training.services import minimums
from training.services.minimums import MinimumError

MOST_TEXT = 2_000
#: As much is listed; a school has a handful.
MOST_LISTED = 1_000
WRITES = (400, 401, 403, 406, 409, 411, 413, 415, 422)


def _short(faults: Faults, value: Any, place: str) -> str | None:
    found = reading.text(faults, value, place)
    if found is not None and len(found) > MOST_TEXT:
        faults.add(place, f"{len(found)} characters; at most {MOST_TEXT} are kept here")
        return None
    return found


def _says(faults: Faults, value: Any, place: str) -> str | None:
    found = _short(faults, value, place)
    if found is not None and not found.strip():
        faults.add(place, "is blank; say in words what is asked for")
        return None
    return found


def _params(faults: Faults, value: Any, place: str) -> dict[str, Any] | None:
    if not isinstance(value, dict):
        faults.expected("an object of parameters", value, place)
        return None
    return value


class SchoolMinimums(View):
    """GET: the minimums of the caller's schools. POST: one more."""

    @describe(
        name="listSchoolMinimums",
        summary="List the minimums of your schools",
        description=(
            "What the schools at which the caller is anything ask for beyond the law, those that ended too."
            " They stand in every report of the school's students, as the school's and never as law."
        ),
        answers={200: Answer("SchoolMinimumList", "The minimums")},
        refuses=(401, 406, 422),
    )
    def get(self, request: Request) -> Response:
        listed = [_shown(each) for each in minimums.seen(self.user)[:MOST_LISTED]]
        return Response({"minimums": listed, "caution": CAUTION})

    @describe(
        name="addSchoolMinimum",
        summary="Add a school minimum",
        description=(
            "By an administrator of the school. `kind` and `params` are those of a requirement, as"
            " `milestones/{id}` shows them. The same sent again is answered with what stands (200); something"
            " else under the same code from the same day is a conflict (409). It is never deleted: it ends."
        ),
        body="SchoolMinimumToAdd",
        answers={
            200: Answer("SchoolMinimum", "Already on record"),
            201: Answer("SchoolMinimum", "Added"),
        },
        refuses=WRITES,
    )
    def post(self, request: Request) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        school = fields.take("school", reading.name, required=True)
        sent = {
            "milestone": fields.take("milestone", reading.name, required=True),
            "code": fields.take("code", reading.name, required=True),
            "kind": fields.take("kind", reading.name, required=True),
            "params": fields.take("params", _params, required=True),
            "says": fields.take("says", _says, required=True),
            "note": fields.take("note", _short, ""),
            "starts": fields.take("starts", reading.day, required=True),
            "ends": fields.take("ends", reading.day),
        }
        fields.done()
        faults.stop(MinimumError)
        done = minimums.add(school, sent, by=self.user)
        return Response(_shown(done.minimum), status=HTTPStatus.CREATED if done.created else HTTPStatus.OK)


class SchoolMinimumEnd(View):
    """POST: its last day."""

    @describe(
        name="endSchoolMinimum",
        summary="End a minimum of a school",
        description=(
            "By an administrator of the school. `ends` is its last day, today at the school where it is not"
            " given, yesterday at the earliest: what was asked for on days that are over stays."
        ),
        parameters=[
            Parameter("minimum", "path", "The minimum's id.", {"type": "integer", "minimum": 0}, True)
        ],
        body="SchoolMinimumToEnd",
        answers={200: Answer("SchoolMinimum", "The minimum with its last day")},
        refuses=(*WRITES, 404),
    )
    def post(self, request: Request, minimum: int) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        ends = fields.take("ends", reading.day)
        fields.done()
        faults.stop(MinimumError)
        return Response(_shown(minimums.end(minimum, ends, by=self.user, at=self.at)))


def _shown(minimum: SchoolMinimum) -> dict[str, Any]:
    return {
        "id": minimum.pk,
        "school": minimum.school_ref,
        "milestone": minimum.milestone,
        "code": minimum.code,
        "requirement": f"{minimum.milestone}.school.{minimum.code}",
        "kind": minimum.kind,
        "params": minimum.params,
        "says": minimum.says,
        "note": minimum.note,
        "starts": minimum.starts.isoformat(),
        "ends": minimum.ends and minimum.ends.isoformat(),
    }
