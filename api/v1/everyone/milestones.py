"""Every milestone with its requirements and their versions, in words and with citations."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.v1.base.description import Answer, Parameter, describe
from api.v1.base.errors import not_found
from api.v1.base.field_types import STRING, VERIFIED, list_of, open_to
from api.v1.base.reports import ON
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import OpenView
from syllabus.engine.errors import NotInForce, UnknownMilestone
from syllabus.engine.rules.report import CAUTION, UNVERIFIED
from syllabus.engine.rules.rulebook import Milestone, Requirement, RuleVersion
from syllabus.law import rulebook, sources

#: Keys that every requirement and version has in the data; the rest are the kind's parameters.
_FRAME = {"id", "kind", "plain", "expiring", "versions", "from", "until", "says", "cite", "verified", "note"}


@sources.read_once
def _as_written() -> Mapping[tuple[str, str], list[dict[str, Any]]]:
    """For each requirement (milestone, name) the parameters of its versions, as the data has them."""
    found: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for data in rulebook.read().values():
        for requirement in data["requirements"]:
            shared = {key: value for key, value in requirement.items() if key not in _FRAME}
            found[data["milestone"], requirement["id"]] = [
                _plain({**shared, **{key: value for key, value in version.items() if key not in _FRAME}})
                for version in requirement["versions"]
            ]
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    return value.isoformat() if isinstance(value, dt.date) else value


class RuleVersionSerializer(ResponseSerializer):
    """One version of a requirement, with its days in force."""

    from_ = Field(ON, source="version.first")
    until = Field(ON, source="version.last", allow_null=True)
    says = Field(STRING, source="version.says")
    citation = Field(STRING, source="version.cite.section")
    source_ = Field(STRING, of=lambda written: written.version.cite.source)
    read_on = Field(ON, source="version.cite.read_on")
    verified = Field(VERIFIED, source="version.verified")
    note = Field(STRING)
    parameters = Field(
        open_to(True), "The numbers and words of this kind of requirement; numbers have their unit."
    )


class RequirementSerializer(ResponseSerializer):
    id = Field(STRING)
    kind = Field(STRING)
    in_force = RuleVersionSerializer(allow_null=True)
    versions = RuleVersionSerializer(many=True)


class MilestoneShort(ResponseSerializer):
    id = Field(STRING)
    title = Field(STRING)
    says = Field(STRING)
    context_ = Field(list_of(STRING))


class MilestoneListedSerializer(MilestoneShort):
    """A milestone with the ids of its requirements."""

    requirements = Field(list_of(STRING), of=lambda milestone: [each.id for each in milestone.requirements])


class MilestoneListSerializer(ResponseSerializer):
    rulebook = Field(STRING)
    caution = Field(STRING)
    milestones = MilestoneListedSerializer(many=True)


class MilestoneSerializer(MilestoneShort):
    rulebook = Field(STRING)
    caution = Field(STRING)
    on = Field(ON)
    requirements = RequirementSerializer(many=True)


@dataclass(frozen=True)
class Written:
    """A version with its parameters as the data has them."""

    version: RuleVersion
    parameters: dict[str, Any]

    @property
    def note(self) -> str:
        return " ".join(filter(None, (self.version.note, UNVERIFIED[self.version.verified])))


def _requirement(milestone: Milestone, requirement: Requirement, on: dt.date) -> dict[str, Any]:
    written = _as_written()[milestone.id, requirement.id.removeprefix(milestone.id + ".")]
    versions = [Written(*each) for each in zip(requirement.versions, written, strict=True)]
    try:
        current = versions[requirement.versions.index(requirement.on(on))]
    except NotInForce:
        current = None
    return {"id": requirement.id, "kind": requirement.kind, "in_force": current, "versions": versions}


class Milestones(OpenView):
    @describe("listMilestones", "List the milestones", Answer(MilestoneListSerializer, "Every milestone"))
    def get(self) -> Any:
        """The milestones in the order of training."""
        rules = rulebook.current()
        return {"rulebook": rules.id, "milestones": rules.milestones.values(), "caution": CAUTION}


class MilestoneDetail(OpenView):
    query = (Parameter.on("the version in force on this day is included"),)

    @describe(
        "readMilestone",
        "Read one milestone's requirements",
        Answer(MilestoneSerializer, "The milestone"),
    )
    def get(self, milestone: str) -> Any:
        """Every requirement with its words and citation, the version in force on the day `on` (default: today
        in UTC; null before the first version), and all versions with their days in force.
        """
        rules = rulebook.current()
        try:
            found = rules.milestone(milestone)
        except UnknownMilestone:
            raise not_found("milestone of that id; /api/v1/milestones lists those that") from None
        on = self.asked["on"] or self.today
        return {
            **{key: getattr(found, key) for key in ("id", "title", "says", "context")},
            "rulebook": rules.id,
            "on": on,
            "requirements": [_requirement(found, each, on) for each in found.requirements],
            "caution": CAUTION,
        }
