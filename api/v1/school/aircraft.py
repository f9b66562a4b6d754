"""A school's aircraft, with inspections and documents that expire."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from api.v1.base.description import Answer, Created, describe
from api.v1.base.field_types import DAY, INSTANT, NAME, STRING, UTC, VERIFIED, WHOLE, like, short, word
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.views import View
from syllabus.engine.record.record import DEVICES
from syllabus.engine.rules.report import CAUTION
from syllabus.law import airworthiness
from training.models import Aircraft as Craft
from training.models import Grounding, School
from training.reports.airworthiness import Held, by_aircraft
from training.services import texts
from training.services.errors import find
from training.services.fleet import aircraft as fleets
from training.services.fleet import groundings
from training.services.fleet.aircraft import AircraftError

REGISTRATION, CATEGORY, CLASS = like(NAME, maxLength=40), like(NAME, maxLength=40), like(NAME, maxLength=60)
MODEL = like(NAME, maxLength=60, description="Make and model as entries name it, such as C172.")
GROUNDED = word(Grounding.Kind, "kind", "Grounded: it may not be flown. Defect: open, not yet repaired.")
WHY = short(texts.MOST, "write why")
KIND = word(airworthiness.current(), "kind", "What kind of inspection or document.")


class AircraftCheckSerializer(ResponseSerializer):
    """An inspection or a document of an aircraft."""

    id = Field(WHOLE, source="check.pk")
    kind = Field(KIND, source="version.id")
    says = Field(STRING, "The kind in words.")
    done = Field(DAY, source="check.done")
    expires = Field(DAY, "The expiration printed on it.", source="check.expires", allow_null=True)
    last_day = Field(DAY, "By the rule, or as printed on it if that is earlier.", source="last")
    citation = Field(STRING, source="version.cite.section")
    verified = Field(VERIFIED, source="version.verified")
    recorded_at = Field(INSTANT, source="check.recorded_at")
    by = Field(STRING, source="check.by")


class GroundingSerializer(ResponseSerializer):
    """A grounding, or an open defect, of an aircraft."""

    id = Field(WHOLE, source="pk")
    kind = Field(GROUNDED)
    reason = Field(STRING)
    at = Field(UTC)
    by = Field(STRING)
    ended_at = Field(UTC, allow_null=True)
    ended_by = Field(STRING, allow_null=True)
    ended_reason = Field(STRING, "Empty while it is open.")


class AircraftSerializer(ResponseSerializer):
    """An aircraft or a training device of a school."""

    id = Field(WHOLE, source="craft.pk")
    school = Field(STRING)
    registration = Field(REGISTRATION, source="craft.registration")
    model = Field(MODEL, source="craft.model")
    category = Field(CATEGORY, source="craft.category")
    klass = Field(CLASS, source="craft.klass")
    device = Field(word(["", *DEVICES]), "Empty for an aircraft.", source="craft.device")
    checks = AircraftCheckSerializer(
        many=True,
        help_text="The newest recorded of each kind, the first to expire first.",
    )
    groundings = GroundingSerializer(
        many=True, help_text="Open groundings and defects, newest first; none: nothing is noted."
    )


class AircraftListSerializer(ResponseSerializer):
    aircraft = AircraftSerializer(many=True)
    caution = Field(STRING)


class AircraftToListSerializer(RequestSerializer):
    error = AircraftError

    school = Field(NAME, "The school's short name.")
    registration = Field(REGISTRATION)
    model = Field(MODEL)
    category = Field(CATEGORY, required=False)
    klass = Field(CLASS, required=False)
    device = Field(word(DEVICES, "training device"), required=False)


class AircraftCheckToRecordSerializer(RequestSerializer):
    error = AircraftError

    kind = Field(KIND)
    done = Field(DAY)
    expires = Field(DAY, required=False)


class GroundingToRecordSerializer(RequestSerializer):
    error = AircraftError

    kind = Field(GROUNDED)
    reason = Field(WHY, "What is wrong.")


class GroundingToEndSerializer(RequestSerializer):
    error = AircraftError

    reason = Field(WHY, "What was done.")


@dataclass(frozen=True)
class Listed:
    """An aircraft with its inspections and documents."""

    craft: Craft
    school: str
    checks: list[Held]
    groundings: list[Grounding]


def _of_school(school: School, at: dt.datetime) -> Iterator[Listed]:
    grounded = groundings.open_at(school)
    for craft, held in by_aircraft(school, school.day(at)):
        yield Listed(craft, school.slug, held, grounded.get(craft.pk, []))


class _AircraftView(View):
    def one(self, craft: Craft) -> Listed:
        """The aircraft as it is now."""
        return next(each for each in _of_school(craft.school, self.at) if each.craft == craft)


class Aircraft(_AircraftView):
    @describe(
        "listAircraft",
        "List the aircraft of your schools, with their expirations",
        Answer(AircraftListSerializer, "The aircraft"),
    )
    def get(self) -> Any:
        """The aircraft and training devices of the schools where the caller instructs or administers. For
        each kind of inspection or document the newest, with its last day by the rule in force today.
        Inspections by hours in service are not tracked.
        """
        schools = fleets.schools(self.user).order_by("slug")
        listed = [each for school in schools for each in _of_school(school, self.at)]
        return {"aircraft": listed, "caution": CAUTION}

    @describe(
        "addAircraft",
        "Add an aircraft to a school",
        Answer(AircraftSerializer, "Already listed"),
        Answer(AircraftSerializer, "It is listed", status=201),
        body=AircraftToListSerializer,
        refuses=(403, 409),
    )
    def post(self) -> Any:
        """For administrators of the school. Without `category` and `class` it is a single-engine land
        airplane; `device` makes it a training device. Sending the same again returns the existing aircraft
        (200); other content under the same registration is a conflict (409).
        """
        sent = self.sent()
        school = sent.pop("school")
        sent = {key: value for key, value in sent.items() if value is not None}
        done = fleets.add(school, sent, by=self.user)
        listed = self.one(done.aircraft)
        return Created(listed) if done.created else listed


class AircraftChecks(_AircraftView):
    @describe(
        "recordAircraftCheck",
        "Add an inspection or a document of an aircraft",
        Answer(AircraftSerializer, "The aircraft as it is now"),
        body=AircraftCheckToRecordSerializer,
        refuses=(403,),
    )
    def post(self, aircraft: int) -> Any:
        """For administrators of the school. It replaces the earlier one of its kind and is never edited: to
        correct it, add it again. `expires` is the date printed on it, which can only shorten the rule's
        period. Reminders of the earlier one are withdrawn.
        """
        sent = self.sent()
        made = fleets.record(aircraft, **sent, by=self.user, at=self.at)
        return self.one(made.aircraft)


class AircraftGroundings(_AircraftView):
    @describe(
        "groundAircraft",
        "Ground an aircraft or add a defect",
        Answer(AircraftSerializer, "The aircraft as it is now"),
        body=GroundingToRecordSerializer,
    )
    def post(self, aircraft: int) -> Any:
        """For instructors and administrators of the school. While it is open, no solo release counts the
        aircraft as fit. It is never edited: to correct it, end it and add another. Sending the same again
        changes nothing.
        """
        return self.one(groundings.ground(aircraft, **self.sent(), by=self.user, at=self.at).aircraft)


class AircraftGroundingEnd(_AircraftView):
    @describe(
        "endAircraftGrounding",
        "Return an aircraft to service or close a defect",
        Answer(GroundingSerializer, "It ended"),
        body=GroundingToEndSerializer,
        refuses=(409,),
    )
    def post(self, aircraft: int, grounding: int) -> Any:
        """For instructors and administrators of the school. It ends once: sending the same again returns it;
        another reason is a conflict (409).
        """
        seen = Grounding.objects.filter(school__in=fleets.schools(self.user))
        found = find(seen, "grounding of that id", aircraft=aircraft, pk=grounding)
        return groundings.end(found, **self.sent(), by=self.user, at=self.at)
