"""A school's requirements beyond the regulations."""

from typing import Any

from api.v1.base.description import Answer, Created, describe
from api.v1.base.field_types import DAY, MILESTONE, NAME, STRING, WHOLE, like, short
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.views import View
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type
from syllabus.engine.rules.report import CAUTION
from training.services.courses import minimums
from training.services.courses.minimums import MinimumError

MOST_TEXT = 2_000
#: The most that are listed; a school has a handful.
MOST_LISTED = 1_000


CODE = like(NAME, maxLength=80, pattern="^[a-z0-9]+([.-][a-z0-9]+)*$")


def _params(errors: Errors, value: Any, place: str) -> dict[str, Any] | None:
    if not isinstance(value, dict):
        errors.expected("an object of parameters", value, place)
        return None
    return value


class MinimumSaid(ResponseSerializer):
    milestone = Field(MILESTONE)
    code = Field(CODE, "Its name within the milestone.")
    kind = Field(NAME, "A kind of requirement, such as total_at_least.")
    params = Field(
        Type(_params, {"type": "object"}), "The kind's parameters: {'counts': ['dual'], 'need': '15 h'}."
    )
    says = Field(short(MOST_TEXT, "write the requirement in words"), "The requirement in words.")
    starts = Field(DAY, "Its first day.")


class SchoolMinimumToAddSerializer(RequestSerializer, MinimumSaid):
    error = MinimumError

    school = Field(NAME, "The school's short name.")
    note = Field(short(MOST_TEXT), default="")
    ends = Field(DAY, "Its last day.", required=False)


class SchoolMinimumSerializer(MinimumSaid):
    """A school's requirement beyond the regulations; never law."""

    id = Field(WHOLE, source="pk")
    school = Field(NAME, "The school's short name.", source="school_ref")
    requirement = Field(
        STRING, "Its id in every report.", of=lambda row: f"{row.milestone}.school.{row.code}"
    )
    note = Field(short(MOST_TEXT))
    ends = Field(DAY, allow_null=True)


class SchoolMinimumListSerializer(ResponseSerializer):
    minimums = SchoolMinimumSerializer(many=True)
    caution = Field(STRING)


class SchoolMinimumToEndSerializer(RequestSerializer):
    error = MinimumError

    ends = Field(DAY, "Its last day.", required=False)


class SchoolMinimums(View):
    @describe(
        "listSchoolMinimums",
        "List the minimums of your schools",
        Answer(SchoolMinimumListSerializer, "The minimums"),
    )
    def get(self) -> Any:
        """The minimums of the caller's schools beyond the regulations, ended ones included. Reports on the
        school's students show them as the school's, never as law.
        """
        listed = minimums.seen(self.user)[:MOST_LISTED]
        return {"minimums": listed, "caution": CAUTION}

    @describe(
        "addSchoolMinimum",
        "Add a school minimum",
        Answer(SchoolMinimumSerializer, "Already on record"),
        Answer(SchoolMinimumSerializer, "Added", status=201),
        body=SchoolMinimumToAddSerializer,
        refuses=(403, 409),
    )
    def post(self) -> Any:
        """For administrators of the school. `kind` and `params` are those of a requirement, as
        `milestones/{id}` shows them. Sending the same again returns the existing minimum (200); other content
        under the same code and first day is a conflict (409). A minimum is ended, never deleted.
        """
        sent = self.sent()
        school = sent.pop("school")
        done = minimums.add(school, sent, by=self.user)
        return Created(done.minimum) if done.created else done.minimum


class SchoolMinimumEnd(View):
    @describe(
        "endSchoolMinimum",
        "End a minimum of a school",
        Answer(SchoolMinimumSerializer, "The minimum with its last day"),
        body=SchoolMinimumToEndSerializer,
        refuses=(403, 409),
    )
    def post(self, minimum: int) -> Any:
        """For administrators of the school. `ends` is its last day (default: today at the school), yesterday
        at the earliest: what applied on earlier days does not change.
        """
        sent = self.sent()
        return minimums.end(minimum, sent["ends"], by=self.user, at=self.at)
