"""An instructor's own record: endorsements with test results."""

from typing import Any

from api.v1.base.description import Answer, Parameter, describe
from api.v1.base.field_types import DAY, FLAG, STRING, UUID, WHOLE, word
from api.v1.base.reports import ON
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from syllabus.engine.rules.report import CAUTION
from training.reports.own_record import Line
from training.services.people import instructors


class InstructorListedSerializer(ResponseSerializer):
    id = Field(WHOLE)
    name = Field(STRING, source="user")
    certificate = Field(STRING)
    recent_experience_until = Field(ON, allow_null=True)
    school = Field(STRING, source="school.slug")


class InstructorListSerializer(ResponseSerializer):
    instructors = InstructorListedSerializer(many=True)
    caution = Field(STRING)


class FirstAttemptsOfKindSerializer(ResponseSerializer):
    """First attempts since a day, of applicants whom the instructor endorsed last."""

    since = Field(ON)
    applicants = Field(WHOLE)
    passed = Field(WHOLE)
    enough = Field(FLAG, allow_null=True)
    citation = Field(STRING, of=lambda found: found.rule and found.rule.cite.section, allow_null=True)
    says = Field(STRING, of=lambda found: found.rule and found.rule.says, allow_null=True)
    note = Field(STRING, of=lambda found: found.rule and found.rule.note, allow_null=True)


class FirstAttemptsSerializer(ResponseSerializer):
    practical = FirstAttemptsOfKindSerializer()
    knowledge = FirstAttemptsOfKindSerializer()


class TestResultSerializer(ResponseSerializer):
    test = Field(STRING, source="result.kind")
    date = Field(ON, source="result.date")
    result = Field(word(["pass", "fail"]), source="result.result")
    first_attempt = Field(FLAG, allow_null=True)


class EndorsedSerializer(ResponseSerializer):
    """Endorsements with test results."""

    student = Field(UUID, source="student.ref")
    name = Field(STRING, source="student.name")
    kind = Field(STRING)
    title = Field(STRING)
    about = Field(word(["solo", "test", "other"]))
    given = Field(ON)
    aircraft_model = Field(STRING, allow_null=True)
    entry = Field(STRING)
    revoked = Field(FLAG, source="ended")
    result = TestResultSerializer(allow_null=True)
    result_missing = Field(FLAG, source="missing")
    keep_until = Field(ON)

    def find_result(self, line: Line) -> Line | None:
        return line if line.result else None


class KeptSerializer(ResponseSerializer):
    """The rule by which an instructor keeps a record."""

    says = Field(STRING)
    citation = Field(STRING, source="cite.section")
    note = Field(STRING)


class InstructorRecordSerializer(ResponseSerializer):
    """Endorsements with test results."""

    id = Field(WHOLE, source="role.pk")
    name = Field(STRING, source="role.user")
    certificate = Field(STRING, source="role.certificate")
    recent_experience_until = Field(ON, source="role.recent_experience_until", allow_null=True)
    on = Field(ON)
    first_attempts = FirstAttemptsSerializer(source="*")
    endorsements = EndorsedSerializer(source="lines", many=True)
    kept = KeptSerializer(source="kept_by")
    caution = Field(STRING, of=lambda kept: CAUTION)


class Instructors(View):
    @describe(
        "listInstructorRecords",
        "List the instructors whose own record you may see",
        Answer(InstructorListSerializer, "The instructors"),
    )
    def get(self) -> Any:
        """Every instructor of the schools that the caller administers, and the caller."""
        return {"instructors": instructors.seen(self.user), "caution": CAUTION}


class InstructorRecord(View):
    query = (Parameter.asked("on", "As of this day (default: today).", DAY),)

    @describe(
        "readInstructorRecord",
        "Read an instructor's own record",
        Answer(InstructorRecordSerializer, "The record"),
    )
    def get(self, instructor: int) -> Any:
        """For the instructor and the administrators of the school: endorsements for solo and for tests, with
        date and result, how long each is retained, first attempts, and the last day of recent experience. The
        reading is logged for each student in it.
        """
        return instructors.own_record(self.user, instructor, on=self.asked["on"], at=self.at, via="api")
