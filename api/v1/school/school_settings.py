"""A school's settings and aircraft models."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from api.v1.base import reauthentication
from api.v1.base.description import Answer, describe
from api.v1.base.errors import not_found
from api.v1.base.field_types import COUNT, FLAG, NAME, STRING, TEXT, as_it_came, like, list_of, word
from api.v1.base.reauthentication import MayBeConfirmedSerializer
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.throttles import ConfirmThrottle
from api.v1.base.views import View
from syllabus.engine.record.json_schema import listed
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type, described, shape_of
from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES
from training.models import School
from training.models.school.schools import CLAIMABLE, FACTOR_ROLES, MOST_RELEASE_HOURS, MOST_TAXI_MINUTES
from training.services.records import record_changes
from training.services.school import aircraft_models, school_settings
from training.services.school.aircraft_models import Link, ModelError
from training.services.school.school_settings import SettingsError

CLAIM_LISTS = replace(
    list_of(NAME, 20), schema={**listed(word(CLAIMABLE).schema, len(CLAIMABLE)), "uniqueItems": True}
)
TAXI_MINUTES = like(COUNT, maximum=MOST_TAXI_MINUTES)
RELEASE_HOURS = like(COUNT, minimum=1, maximum=MOST_RELEASE_HOURS)
RELEASE = "The most hours that a solo release lasts. The school's own limit, not law."
LIMITS = Type(as_it_came, described(shape_of(Limits)), uses=(shape_of(Limits),))
LIMITED = "Limits of every solo flight, beside those in an endorsement. The school's own, not law."
FACTOR_LIST = replace(
    list_of(NAME, 20), schema={**listed(word(FACTOR_ROLES).schema, len(FACTOR_ROLES)), "uniqueItems": True}
)
FACTOR = "Roles whose holders must have a passkey or an authenticator app; all else is refused (403)."
SCHOOL = "The school's short name."
CLAIMS = (
    "Lists of a record whose claimed entries (`provenance` is `claimed`) make an answer "
    "unknown instead of counting."
)
TAXI = (
    "Minutes of taxi time beside the time from takeoff to landing; more than that in a "
    "logged total makes the answer unknown. Common practice, not law."
)


class SchoolSettingsSerializer(ResponseSerializer):
    school = Field(STRING, SCHOOL, source="slug")
    claims_asked = Field(CLAIM_LISTS, CLAIMS)
    taxi_allowance_minutes = Field(TAXI_MINUTES, TAXI)
    release_hours = Field(RELEASE_HOURS, RELEASE)
    release_limits = Field(LIMITS, LIMITED)
    second_factor_for = Field(FACTOR_LIST, FACTOR)


class SchoolSettingsToSetSerializer(MayBeConfirmedSerializer):
    error = SettingsError

    claims_asked = Field(CLAIM_LISTS, CLAIMS, required=False)
    taxi_allowance_minutes = Field(TAXI_MINUTES, TAXI, required=False)
    release_hours = Field(RELEASE_HOURS, RELEASE, required=False)
    release_limits = Field(LIMITS, LIMITED, required=False)
    second_factor_for = Field(FACTOR_LIST, FACTOR, required=False)
    reason = Field(
        like(TEXT, maxLength=2000), "Why `claims_asked` is changed; required if it is.", default=""
    )


class AircraftModelSerializer(ResponseSerializer):
    """A make and model, with its main spelling."""

    model = Field(STRING, "The main spelling.", source="model.name")
    category = Field(word(CATEGORIES), source="model.category", allow_null=True)
    klass = Field(word(CLASSES), source="model.klass", allow_null=True)
    shipped = Field(FLAG, "False if the school added it.")
    spellings = Field(
        list_of(STRING),
        "Other spellings; letter case, spaces and hyphens do not matter.",
        of=lambda listed: [*listed.linked, *listed.spellings],
    )


class ModelSpellingSerializer(ResponseSerializer):
    spelling = Field(NAME)
    model = Field(NAME)
    category = Field(word(CATEGORIES), allow_null=True)
    klass = Field(word(CLASSES), allow_null=True)


class AircraftModelsSerializer(ResponseSerializer):
    school = Field(STRING, SCHOOL)
    models = AircraftModelSerializer(many=True)
    spellings = ModelSpellingSerializer(many=True, help_text="A link of the school's own.")


class ModelSpellingToSetSerializer(RequestSerializer):
    spelling = Field(NAME)
    model = Field(NAME)
    category = Field(replace(NAME, schema=word(CATEGORIES).schema), required=False)
    klass = Field(replace(NAME, schema=word(CLASSES).schema), required=False)


class AircraftModelsToSetSerializer(RequestSerializer):
    error = ModelError

    spellings = ModelSpellingToSetSerializer(many=True, max_length=aircraft_models.MOST)


class OfSchool(View):
    """A school of the caller; 404 for others."""

    def school(self, slug: str) -> School:
        """Raises: Problem (404)."""
        found = school_settings.seen(self.user).filter(slug=slug).first()
        if found is None:
            raise not_found("school of that name")
        return found


class SchoolSettings(OfSchool):
    @describe("schoolSettings", "Show a school's settings", Answer(SchoolSettingsSerializer, "The settings"))
    def get(self, school: str) -> Any:
        """The settings that affect answers about the school's students, and who must have a second factor."""
        return self.school(school)

    @describe(
        "setSchoolSettings",
        "Change a school's settings",
        Answer(SchoolSettingsSerializer, "The settings as they are now"),
        body=SchoolSettingsToSetSerializer,
        refuses=(403, 429),
    )
    def put(self, school: str) -> Any:
        """For administrators of the school. A missing key keeps its value. To change `claims_asked`, give the
        `reason` and the password or a passkey, whose statement has the kind `school.settings-changed`, the
        school's short name as `subject` and `settings` as `about`, and signs `claims_asked` and `reason`. Who
        changed what is recorded, and every report of the school's students is calculated again.
        """
        found = self.school(school)
        sent = self.sent()
        reason, confirmation = sent.pop("reason"), sent.pop("confirmation")
        values = {
            key: list(each) if isinstance(each, tuple) else each
            for key, each in sent.items()
            if each is not None
        }
        confirmed = None
        if school_settings.asks_why(found, values):
            errors = Errors()
            try:
                reason = record_changes.reason_of(reason)
            except record_changes.ReasonError as problem:
                errors.extend(problem.errors)
            if confirmation.password is None and confirmation.passkey is None:
                errors.extend(reauthentication.missing())
            errors.stop(SettingsError)
            act = school_settings.act(found, values["claims_asked"], reason)
            confirmed = reauthentication.confirm(self.request, self.user, confirmation, act, [])
        return school_settings.change(
            found.slug, values, by=self.user, at=self.at, reason=reason, confirmed=confirmed
        )

    def get_throttles(self) -> list[Any]:
        confirms = isinstance(self.request.data, Mapping) and set(self.request.data) & {
            reauthentication.PASSWORD,
            reauthentication.PASSKEY,
        }
        return [ConfirmThrottle()] if self.request.method == "PUT" and confirms else []


class SchoolAircraftModels(OfSchool):
    @describe(
        "aircraftModels",
        "Show the makes and models that a school knows, with their spellings",
        Answer(AircraftModelsSerializer, "The models"),
    )
    def get(self, school: str) -> Any:
        """`models` has all models with category and class: the school's own and the built-in ones.
        `spellings` are the school's own links. An endorsement for one model does not count for another; a
        spelling without a link makes the answer unknown.
        """
        return _models(self.school(school))

    @describe(
        "setAircraftModels",
        "Replace a school's own links of spellings to models",
        Answer(AircraftModelsSerializer, "The models as they are now"),
        body=AircraftModelsToSetSerializer,
        refuses=(403,),
    )
    def put(self, school: str) -> Any:
        """For administrators of the school. Each entry of `spellings` links a spelling to a model. One whose
        `spelling` and `model` are the same adds a model of the school's own, with `category` and `class` if
        given. A link overrides the built-in one of the same spelling. Who changed what is recorded, and every
        report of the school's students is calculated again.
        """
        found = self.school(school)
        sent = self.sent()
        links = [Link(**each) for each in sent["spellings"]]
        aircraft_models.change(found.slug, links, by=self.user, at=self.at)
        return _models(found)


def _models(school: School) -> dict[str, Any]:
    links = aircraft_models.own(school)
    return {"school": school.slug, "models": aircraft_models.listed(links), "spellings": links}
