"""The serializers of lesson records."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from api.v1.base import reports
from api.v1.base.field_types import (
    DAY,
    FLAG,
    INSTANT,
    NAME,
    STRING,
    TEXT,
    UTC,
    UUID,
    VERIFIED,
    as_it_came,
    content_hash,
    like,
    list_of,
    short,
    without,
    word,
)
from api.v1.base.pages import Pages, PageSerializer
from api.v1.base.reauthentication import ConfirmedSerializer
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.school.courses.serializers import CourseShortSerializer
from api.v1.student.ledger import LedgerPlaceSerializer
from syllabus.engine.audit.audit import MENDS, SEVERITIES
from syllabus.engine.course import measured, proving, standards
from syllabus.engine.record import reading
from syllabus.engine.record import record as engine
from syllabus.engine.record.json_schema import listed, obj, optional, or_null, ref
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type, shape_of
from training.models import Acknowledgement, LessonRecord, SignOff
from training.reports.audit_kinds import KINDS
from training.services.lessons import lesson_content, lesson_findings, lesson_records
from training.services.lessons.lesson_content import LessonError

#: The result of a sign-off.
_GIVEN = ("id", "instructor", "recorded", "provenance")
OWN_ID = like(UUID, description="Chosen by the caller, so that the request can be repeated.")
CODE = like(short(200), description="The lesson's code in the course.")


HASH = content_hash(
    "a lesson record",
    description="Over the canonical form (RFC 8785) of lesson, content, corrects, reason and course.",
)


FINDINGS_HASH = content_hash(
    "findings", description="Over the canonical form (RFC 8785) of the findings, as they were answered."
)


class LessonRecordPages(Pages):
    """Fifty lesson records a page, the newest first."""

    ordering = ("-created_at", "id")

    def position(self, text: str) -> dt.datetime:
        return dt.datetime.fromisoformat(text)


# What happened in a lesson. ``training.services.lessons.lesson_content`` reads it, and it is stored as sent.

_TYPED = {"type": "string", "minLength": 1, "maxLength": measured.MOST_TEXT, "pattern": "[0-9]"}
_VALUE = {**_TYPED, "description": f"Saved as entered: {measured.MAY_BE}."}
_TARGET = {**_TYPED, "description": f"Saved as entered: {measured.AIM_MAY_BE}."}
MEASURED = {
    "type": "object",
    "additionalProperties": {
        "anyOf": [_VALUE, obj({"value": _VALUE, **optional({"target": _TARGET})}, ["value"])]
    },
    "propertyNames": NAME.schema,
    "maxProperties": 20,
    "description": (
        "Measured values, by the name of a tolerance of the item's standard, with which each "
        "is compared, or by any other name. Each is a text as a pilot writes it, or that text"
        " with the target, if it was given in flight."
    ),
    "examples": [
        {
            "altitude": "lost 180 ft",
            "bank": "38°",
            "rollout": "12° late",
            "airspeed": {"value": "84 kt", "target": "95 kt"},
        }
    ],
}
FLIGHT = without(shape_of(engine.Flight), *_GIVEN, component="LessonFlight")
GROUND = without(shape_of(engine.GroundLesson), *_GIVEN, component="LessonGround")
ITEM = without(
    shape_of(engine.ItemGrade), *_GIVEN, "date", "flight", component="LessonItem", measured=or_null(MEASURED)
)
CONTENT = Type(
    as_it_came,
    obj(
        optional(
            {
                "flight": ref("LessonFlight"),
                "ground": ref("LessonGround"),
                "items": listed(ref("LessonItem"), 200),
                "comments": TEXT.schema,
                "next": {**TEXT.schema, "description": "What to do next."},
            }
        ),
        description="The content of a lesson. The sign-off adds ids, the instructor and the links.",
    ),
    component="LessonContent",
    uses=(FLIGHT, GROUND, ITEM),
)


class ContentSerializer(RequestSerializer):
    """With the content of a lesson; its errors are listed with those of the body."""

    error = LessonError

    def check(self, errors: Errors, found: dict[str, Any], said: Mapping[str, Any]) -> None:
        if "content" in said and (said["content"] is not None or self.fields["content"].required):
            try:
                lesson_content.read(said["content"])
            except LessonError as wrong:
                errors.extend(wrong.errors)


class LessonRecordToDraftSerializer(ContentSerializer):
    id = Field(OWN_ID)
    lesson = Field(CODE, default="")
    content = Field(CONTENT, "Without it the draft has the planned content.", required=False)


class LessonRecordToChangeSerializer(ContentSerializer):
    content = Field(CONTENT)
    lesson = Field(CODE, default="")


class LessonRecordCorrectionSerializer(ContentSerializer):
    id = Field(OWN_ID)
    reason = Field(short(2000, "say what is wrong in the signed lesson"))
    content = Field(CONTENT)


class LessonRecordToSignSerializer(ConfirmedSerializer):
    error = LessonError

    content_hash = Field(HASH)
    performed_at = Field(INSTANT, "When it was signed; not in the future.", required=False)
    findings_hash = Field(FINDINGS_HASH, "That of the findings that were read.", default="")
    findings_reason = Field(short(2000), "Why it is signed with serious findings.", default="")


class LessonRecordToAcknowledgeSerializer(ConfirmedSerializer):
    error = LessonError


class LessonWarningSerializer(ResponseSerializer):
    """A warning, which refuses nothing."""

    kind = Field(STRING)
    place = Field(STRING)
    message = Field(STRING)


class LessonFindingSerializer(ResponseSerializer):
    """What the audit finds of this lesson, in its words, as if it were signed now."""

    kind = Field(word(KINDS, "kind of finding"))
    severity = Field(word(SEVERITIES))
    digest = Field(STRING, "A hash of the finding as it is now.")
    day = Field(DAY)
    says = Field(STRING)
    citations = Field(list_of(STRING))
    verified = Field(VERIFIED)
    mend = Field(word(MENDS), "What would settle it.")
    way = Field(STRING, "How.")


class LessonHintSerializer(ResponseSerializer):
    """A measured value beside its standard: a hint for the debrief, never a grade. For a signed record, the
    hint as of the signing.
    """

    place = Field(STRING)
    item = Field(STRING)
    name = Field(STRING)
    measured = Field(STRING, "As typed.")
    target = Field(STRING, "The target as entered.", allow_null=True)
    words = Field(STRING, "What it comes to.")
    inside = Field(FLAG, "Null if unknown.", allow_null=True)
    by = Field(STRING, "The distance within or beyond the nearer limit, with its unit.", allow_null=True)
    standard = Field(STRING, "Target and limits.", allow_null=True)
    task = Field(STRING, "The task of the test standard: FAA-S-ACS-6C PA.V.A.", allow_null=True)
    basis = Field(word(standards.BASES), "Whose limit it is.", allow_null=True)
    source_ = Field(STRING, "The source of the limit.", allow_null=True)
    note = Field(STRING, allow_null=True)
    caution = Field(STRING, "What to know before relying on it, if anything.")


class SignedSerializer(ResponseSerializer):
    """A lesson's sign-off."""

    stored = ("warnings", "hints", "findings")

    by = Field(STRING, source="instructor_name")
    certificate = Field(STRING, source="instructor_certificate")
    at = Field(UTC)
    performed_at = Field(UTC)
    content_hash = Field(HASH)
    warnings = LessonWarningSerializer(many=True)
    hints = LessonHintSerializer(many=True)
    findings = LessonFindingSerializer(many=True)
    findings_reason = Field(STRING, "Why it was signed with serious findings.")
    ledger = LedgerPlaceSerializer(source="*")


class AcknowledgedSerializer(ResponseSerializer):
    """The student's acknowledgment of a signed lesson."""

    by = Field(STRING)
    at = Field(UTC)
    ledger = LedgerPlaceSerializer(source="*")


class LessonSignOffSerializer(SignedSerializer):
    lesson_record = Field(UUID, source="lesson_id")


class LessonAcknowledgementSerializer(AcknowledgedSerializer):
    lesson_record = Field(UUID, source="sign_off.lesson_id")


class LessonRecordInShortSerializer(ResponseSerializer):
    id = Field(UUID)
    lesson = Field(STRING)
    course = CourseShortSerializer(source="course_version", allow_null=True)
    state = Field(word(["draft", "signed"]))
    instructor = Field(STRING)
    created_at = Field(UTC)
    updated_at = Field(UTC)
    corrects = Field(UUID, source="corrects_id", allow_null=True)
    corrected_by = Field(
        UUID,
        of=lambda record: getattr(getattr(record, "correction", None), "successor_id", None),
        allow_null=True,
    )


class LessonRecordPageSerializer(PageSerializer):
    lesson_records = LessonRecordInShortSerializer(many=True)


class ProvedSerializer(ResponseSerializer):
    item = Field(STRING)
    grade = Field(STRING)
    code = Field(reports.CODE, of=lambda proof: proving.rests_on(proof).code)
    words = Field(STRING, of=lambda proof: str(proving.rests_on(proof)))


class ComputedSerializer(ResponseSerializer):
    """Calculated from off, on and the route; null if these are not enough."""

    night = Field(STRING, allow_null=True)
    distance = Field(STRING, allow_null=True)


class LessonRecordSerializer(LessonRecordInShortSerializer):
    stored = ("content", "warnings", "hints", "findings")

    version = Field(Type(reading.count, {"type": "integer", "minimum": 1}))
    content = Field(CONTENT)
    content_hash = Field(HASH)
    reason = Field(STRING)
    warnings = LessonWarningSerializer(many=True)
    hints = LessonHintSerializer(many=True)
    findings = LessonFindingSerializer(
        many=True, help_text="What the audit finds of it; for a draft, as if you signed it now."
    )
    findings_hash = Field(STRING, "Of the findings, for the signature; empty without any.")
    proves = ProvedSerializer(
        many=True,
        help_text=(
            "Grades of the rules' items that follow from those of the course's items; for a "
            "draft, as if it were signed as it is."
        ),
    )
    computed = ComputedSerializer()
    sign_off = SignedSerializer(allow_null=True)
    acknowledgement = AcknowledgedSerializer(allow_null=True)

    def find_findings(self, record: LessonRecord) -> Any:
        return self.context["findings"]

    def find_findings_hash(self, record: LessonRecord) -> str:
        return lesson_findings.hash_of(self.context["findings"])

    def find_hints(self, record: LessonRecord) -> Any:
        return lesson_records.hints(record)

    def find_proves(self, record: LessonRecord) -> Any:
        return lesson_records.proves(record)

    def find_computed(self, record: LessonRecord) -> dict[str, str | None]:
        try:
            flight = lesson_content.read(record.content).flight
        except LessonError:
            flight = None  # a newer table may no longer have an airport: nothing is calculated
        return lesson_records.computed(flight).as_json()

    def find_sign_off(self, record: LessonRecord) -> SignOff | None:
        return getattr(record, "sign_off", None)

    def find_acknowledgement(self, record: LessonRecord) -> Acknowledgement | None:
        return getattr(self.find_sign_off(record), "acknowledgement", None)
