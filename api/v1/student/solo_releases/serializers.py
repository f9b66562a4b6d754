"""The serializers of solo releases."""

from api.v1.base.field_types import (
    FLAG,
    NAME,
    STRING,
    TEXT,
    UTC,
    UUID,
    as_it_came,
    content_hash,
    like,
    list_of,
    word,
)
from api.v1.base.reauthentication import ConfirmedSerializer
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from syllabus.engine.record.shapes import Type, shape_of
from syllabus.engine.release.flight import PlannedFlight
from training.models import ReleaseDecision, SoloRelease
from training.reports.solo_checks import GROUPS
from training.services.releases.release_check import ReleaseError

_SHAPE = shape_of(PlannedFlight)
FLIGHT = Type(as_it_came, _SHAPE.schema, component=_SHAPE.component, uses=_SHAPE.uses)
OWN_ID = like(UUID, description="Chosen by the caller, so that the request can be repeated.")
CHECKED = content_hash("a check", description="Over the flight and every line's answer, as `check` gave it.")
WHY = like(TEXT, maxLength=2000)
DECISION = word(ReleaseDecision.DECISIONS, "decision")
STATE = word(SoloRelease.State.values)
LINES = list_of(NAME, 100)


class FlightToCheckSerializer(RequestSerializer):
    error = ReleaseError

    flight = Field(FLIGHT)


class ReleaseToAskForSerializer(RequestSerializer):
    error = ReleaseError

    id = Field(OWN_ID)
    flight = Field(FLIGHT)
    replaces = Field(UUID, "The request or release whose flight changed; it ends.", required=False)


class ReleaseToDecideSerializer(ConfirmedSerializer):
    error = ReleaseError

    decision = Field(DECISION)
    checked = Field(CHECKED)
    lines_confirmed = Field(LINES, "The lines to confirm that the caller confirmed.", default=[])
    reason = Field(
        WHY, "Needed to decline, and to release although a line is not met or unknown.", default=""
    )


class ReleaseToEndSerializer(RequestSerializer):
    error = ReleaseError

    reason = Field(WHY, "Why it ends.")


class ReleaseLineSerializer(ResponseSerializer):
    """One line of a check."""

    id = Field(STRING)
    group = Field(word(GROUPS))
    met = Field(FLAG, "Null if it is unknown.", allow_null=True)
    text = Field(STRING)
    citation = Field(
        STRING, "Null if it is the instructor's, the school's or the aircraft's.", allow_null=True
    )
    ask = Field(list_of(STRING), "What is missing to answer it.")


class ReleaseCheckSerializer(ResponseSerializer):
    """A check of a planned solo flight. It decides nothing: the instructor does."""

    flight = Field(FLIGHT)
    checked = Field(CHECKED)
    lines = ReleaseLineSerializer(many=True, help_text="Not met first, then unknown, to confirm, and met.")
    met = Field(FLAG, "Whether every line is met.")
    ends_at = Field(UTC, "When a release that is signed now would end.")
    caution = Field(STRING)


class ReleaseDecisionSerializer(ResponseSerializer):
    """An instructor's decision, as signed."""

    stored = ("answer",)

    decision = Field(DECISION)
    by = Field(STRING)
    at = Field(UTC)
    reason = Field(STRING)
    against = Field(FLAG, "Whether it was released although a line is not met or unknown.")
    lines_confirmed = Field(LINES)
    ends_at = Field(UTC, allow_null=True)
    answer = ReleaseCheckSerializer(help_text="Every line, those that the instructor confirmed met.")
    ledger_index = Field(Type(as_it_came, {"type": "integer", "minimum": 0}))


class ReleaseEndSerializer(ResponseSerializer):
    """The end of a release or of a request, before its time."""

    by = Field(STRING)
    at = Field(UTC)
    reason = Field(STRING)


class SoloReleaseSerializer(ResponseSerializer):
    """A request for a solo release, with what became of it."""

    id = Field(UUID, source="pk")
    state = Field(STATE)
    flight = Field(FLIGHT)
    by = Field(STRING)
    at = Field(UTC)
    replaces = Field(UUID, source="replaces_id", allow_null=True)
    decision = ReleaseDecisionSerializer(allow_null=True)
    end = ReleaseEndSerializer(allow_null=True)
    caution = Field(STRING)


class SoloReleaseListSerializer(ResponseSerializer):
    releases = SoloReleaseSerializer(many=True)
    caution = Field(STRING)
