"""A school's aircraft, and the inspections and papers of them that end on a day."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.description import Answer, Parameter, describe
from api.v1.views import View
from syllabus import airworthiness
from syllabus.engine import reading
from syllabus.engine.reading import Faults, Object
from syllabus.engine.record import DEVICES
from syllabus.engine.report import CAUTION
from training.models import Aircraft as Craft
from training.reports.airworthiness import Held, by_aircraft
from training.services import aircraft as fleets
from training.services.aircraft import AircraftError

WRITES = (400, 401, 403, 406, 411, 413, 415, 422)


class Aircraft(View):
    """GET: the aircraft of the caller's schools. POST: one more."""

    @describe(
        name="listAircraft",
        summary="List the aircraft of your schools, with their expirations",
        description=(
            "Those of the schools where the caller instructs or administers, training devices too. Of each "
            "kind of inspection or paper the newest recorded stands, with its last day by the rule in force "
            "today. Days alone: an inspection that goes by hours in service is not counted here."
        ),
        answers={200: Answer("AircraftList", "The aircraft")},
        refuses=(401, 406, 422),
    )
    def get(self, request: Request) -> Response:
        listed = [
            _shown(craft, school.slug, held)
            for school in fleets.schools(self.user).order_by("slug")
            for craft, held in by_aircraft(school, school.day(self.at))
        ]
        return Response({"aircraft": listed, "caution": CAUTION})

    @describe(
        name="addAircraft",
        summary="Add an aircraft to a school",
        description=(
            "By an administrator of the school. Without `category` and `class` it is a single-engine land "
            "airplane; `device` makes it a training device. The same sent again is answered with what stands "
            "(200); something else under the same registration is a conflict (409)."
        ),
        body="AircraftToList",
        answers={200: Answer("Aircraft", "Already listed"), 201: Answer("Aircraft", "It is listed")},
        refuses=(*WRITES, 409),
    )
    def post(self, request: Request) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        school = fields.take("school", reading.name, required=True)
        given = {
            "registration": fields.take("registration", reading.name, required=True),
            "model": fields.take("model", reading.name, required=True),
            "category": fields.take("category", reading.name),
            "klass": fields.take("class", reading.name),
            "device": fields.take("device", reading.one_of(DEVICES, "training device")),
        }
        fields.done()
        faults.stop(AircraftError)
        sent = {key: value for key, value in given.items() if value is not None}
        done = fleets.add(school, sent, by=self.user)
        status = HTTPStatus.CREATED if done.created else HTTPStatus.OK
        held = dict(by_aircraft(done.aircraft.school, done.aircraft.school.day(self.at)))
        return Response(_shown(done.aircraft, school, held.get(done.aircraft, [])), status=status)


class AircraftChecks(View):
    """POST: something was done or issued."""

    @describe(
        name="recordAircraftCheck",
        summary="Add an inspection or a document of an aircraft",
        description=(
            "By an administrator of the school. It takes the place of what stood of its kind, and is never "
            "edited: record it again to put a slip right. `expires` is the last day that is written on it, "
            "and only shortens what the rule gives. Reminders of what it renews are withdrawn."
        ),
        parameters=[
            Parameter("aircraft", "path", "The aircraft's id.", {"type": "integer", "minimum": 0}, True)
        ],
        body="AircraftCheckToRecord",
        answers={200: Answer("Aircraft", "The aircraft with what stands of it now")},
        refuses=(*WRITES, 404),
    )
    def post(self, request: Request, aircraft: int) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        kind = fields.take("kind", reading.one_of(airworthiness.current(), "kind"), required=True)
        done = fields.take("done", reading.day, required=True)
        expires = fields.take("expires", reading.day)
        fields.done()
        faults.stop(AircraftError)
        made = fleets.record(aircraft, kind, done, expires, by=self.user, at=self.at)
        held = dict(by_aircraft(made.school, made.school.day(self.at)))
        return Response(_shown(made.aircraft, made.school.slug, held[made.aircraft]))


def _shown(craft: Craft, school: str, held: list[Held]) -> dict[str, Any]:
    return {
        "id": craft.pk,
        "school": school,
        "registration": craft.registration,
        "model": craft.model,
        "category": craft.category,
        "class": craft.klass,
        "device": craft.device,
        "checks": [
            {
                "id": each.check.pk,
                "kind": each.version.id,
                "says": each.says,
                "done": each.check.done.isoformat(),
                "expires": each.check.expires and each.check.expires.isoformat(),
                "last_day": each.last.isoformat(),
                "citation": each.version.cite.section,
                "verified": each.version.verified,
                "recorded_at": each.check.recorded_at.isoformat(),
                "by": str(each.check.by),
            }
            for each in held
        ],
    }
