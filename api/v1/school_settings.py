"""What a school sets that answers depend on: its settings, and its aircraft models."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1 import confirming
from api.v1.description import Answer, Parameter, describe
from api.v1.endorsements import ConfirmThrottle
from api.v1.errors import not_found
from api.v1.views import View
from syllabus.engine import reading
from syllabus.engine.reading import Faults, Object, list_of
from training.models import School
from training.services import aircraft_models, record_changes, school_settings
from training.services.aircraft_models import Link, ModelError
from training.services.school_settings import SettingsError

READS = (401, 404, 406, 422)
WRITES = (400, 401, 403, 404, 406, 411, 413, 415, 422)
_SCHOOL = Parameter("school", "path", "The school's short name.", {"type": "string"}, True)


class OfSchool(View):
    """About a school at which the caller is anything; of others nothing is known here."""

    def school(self, slug: str) -> School:
        """Raises: Problem (404)."""
        found = school_settings.seen(self.user).filter(slug=slug).first()
        if found is None:
            raise not_found("school of that name")
        return found


class SchoolSettings(OfSchool):
    """GET, PUT: the settings."""

    @describe(
        name="schoolSettings",
        summary="Show a school's settings",
        description="Those that answers about the school's students depend on.",
        parameters=[_SCHOOL],
        answers={200: Answer("SchoolSettings", "The settings")},
        refuses=READS,
    )
    def get(self, request: Request, school: str) -> Response:
        return Response(_settings(self.school(school)))

    @describe(
        name="setSchoolSettings",
        summary="Change a school's settings",
        description=(
            "By an administrator of the school. What is left out stays. Where `claims_asked` changes, the "
            "administrator says why (`reason`) and confirms it with the password or a passkey. Its statement "
            "has the kind `school.settings-changed`, the school's short name as `subject` and `settings` as "
            "`about`, and signs `claims_asked` and `reason`. Who changed what is kept, and every report of "
            "the school's students is worked out anew."
        ),
        parameters=[_SCHOOL],
        body="SchoolSettingsToSet",
        answers={200: Answer("SchoolSettings", "The settings as they are now")},
        refuses=(*WRITES, 429),
    )
    def put(self, request: Request, school: str) -> Response:
        found = self.school(school)
        faults = Faults()
        fields = Object(faults, request.data, "")
        given = {
            "claims_asked": fields.take("claims_asked", list_of(reading.name, most=20)),
            "taxi_allowance_minutes": fields.take("taxi_allowance_minutes", reading.count),
        }
        reason = fields.take("reason", reading.text, "")
        confirmation = confirming.take(fields, required=False)
        fields.done()
        faults.stop(SettingsError)
        values = {
            key: list(each) if key == "claims_asked" else each
            for key, each in given.items()
            if each is not None
        }
        confirmed = None
        if school_settings.asks_why(found, values):
            try:
                reason = record_changes.reason_of(reason)
            except record_changes.ReasonError as problem:
                faults.extend(problem.faults)
            if confirmation.password is None and confirmation.passkey is None:
                faults.extend(confirming.missing())
            faults.stop(SettingsError)
            act = school_settings.act(found, values["claims_asked"], reason)
            confirmed = confirming.confirm(request, self.user, confirmation, act, [])
        return Response(
            _settings(
                school_settings.change(
                    found.slug, values, by=self.user, at=self.at, reason=reason, confirmed=confirmed
                )
            )
        )

    def get_throttles(self) -> list[Any]:
        confirms = isinstance(self.request.data, Mapping) and set(self.request.data) & {
            confirming.PASSWORD,
            confirming.PASSKEY,
        }
        return [ConfirmThrottle()] if self.request.method == "PUT" and confirms else []


class SchoolAircraftModels(OfSchool):
    """GET, PUT: which spellings are one make and model."""

    @describe(
        name="aircraftModels",
        summary="Show the makes and models that a school knows, with their spellings",
        description=(
            "`models` are all of them, with category and class: the school's own, and those that are "
            "shipped. `spellings` are the school's own links. An endorsement for one model does not count "
            "for another; a spelling that nobody linked raises a question."
        ),
        parameters=[_SCHOOL],
        answers={200: Answer("AircraftModels", "The models")},
        refuses=READS,
    )
    def get(self, request: Request, school: str) -> Response:
        return Response(_models(self.school(school)))

    @describe(
        name="setAircraftModels",
        summary="Replace a school's own links of spellings to models",
        description=(
            "By an administrator of the school. Each entry of `spellings` links a spelling to a model; one "
            "whose `spelling` and `model` are the same adds a model of the school's own, and may say its "
            "`category` and `class`. A link stands over the shipped one of the same spelling. Who changed "
            "what is kept, and every report of the school's students is worked out anew."
        ),
        parameters=[_SCHOOL],
        body="AircraftModelsToSet",
        answers={200: Answer("AircraftModels", "The models as they are now")},
        refuses=WRITES,
    )
    def put(self, request: Request, school: str) -> Response:
        found = self.school(school)
        faults = Faults()
        fields = Object(faults, request.data, "")
        links = fields.take("spellings", list_of(_link, most=aircraft_models.MOST), required=True)
        fields.done()
        faults.stop(ModelError)
        aircraft_models.change(found.slug, links, by=self.user, at=self.at)
        return Response(_models(found))


def _link(faults: Faults, value: Any, place: str) -> Link:
    fields = Object(faults, value, place)
    made = Link(
        fields.take("spelling", reading.name, "", required=True),
        fields.take("model", reading.name, "", required=True),
        fields.take("category", reading.name),
        fields.take("class", reading.name),
    )
    fields.done()
    return made


def _settings(school: School) -> dict[str, Any]:
    return {"school": school.slug, **{name: getattr(school, name) for name in school_settings.NAMES}}


def _models(school: School) -> dict[str, Any]:
    links = aircraft_models.own(school)
    return {
        "school": school.slug,
        "models": [
            {
                "model": each.model.name,
                "category": each.model.category,
                "class": each.model.klass,
                "shipped": each.shipped,
                "spellings": [*each.linked, *each.spellings],
            }
            for each in aircraft_models.listed(links)
        ],
        "spellings": [each.as_json() for each in links],
    }
