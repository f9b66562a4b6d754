"""Retention, holds and erasure of a record."""

import uuid
from http import HTTPStatus
from typing import Any

from rest_framework.response import Response

from api.v1.base.description import Answer, describe
from api.v1.base.errors import Problem, not_found
from api.v1.base.field_types import DAY, FLAG, STRING, TEXT, UTC, UUID, WHOLE, like, list_of, open_to
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.student.students import StudentView
from syllabus.engine.time.instants import in_utc
from training.models import RetentionHold, Student
from training.services import access
from training.services.records import erasure

COUNTS = open_to(WHOLE.schema)
REASON = like(TEXT, minLength=1, maxLength=2000, pattern=r"\S")


class HoldSerializer(ResponseSerializer):
    """Nothing in the record is erased while a hold is in force."""

    id = Field(WHOLE)
    reason = Field(STRING)
    by = Field(STRING, of=lambda hold: hold.by and hold.by.get_short_name(), allow_null=True)
    at = Field(UTC)
    released_at = Field(UTC, allow_null=True)
    released_reason = Field(STRING)


class ReasonSerializer(RequestSerializer):
    error = erasure.ErasureError

    reason = Field(REASON)


class ErasureToDoSerializer(ReasonSerializer):
    really = Field(FLAG, default=False)


class KeptByLawSerializer(ResponseSerializer):
    """A rule that requires the record to be retained, and until when."""

    rule = Field(STRING, source="rule.id")
    citation = Field(STRING, source="rule.cite.section")
    says = Field(STRING, source="rule.says")
    years = Field(WHOLE, of=lambda kept: kept.rule.params["years"])
    verified = Field(STRING, source="rule.verified")
    note = Field(STRING, source="rule.note")
    counts_from = Field(DAY, source="day")
    keep_until = Field(DAY, source="until")


class WouldEraseSerializer(ResponseSerializer):
    rows = Field(COUNTS)
    sealed_bodies = Field(WHOLE, source="bodies")
    accounts = Field(WHOLE, of=lambda plan: len(plan.accounts))


class RetentionSerializer(ResponseSerializer):
    student = Field(UUID, source="student.ref")
    on = Field(DAY)
    erased_at = Field(UTC, source="student.erased_at", allow_null=True)
    may_be_erased = Field(FLAG, source="may")
    may_be_erased_from = Field(DAY, source="may_from")
    reasons_against = Field(list_of(STRING), source="reasons")
    rules = KeptByLawSerializer(source="kept", many=True)
    holds = HoldSerializer(many=True)
    would_erase = WouldEraseSerializer(source="*")
    still_named = Field(COUNTS, source="named")
    stays = Field(STRING, of=lambda plan: erasure.STAYS)


class _Administered(StudentView):
    """A student of a school that the caller administers."""

    def administered(self, ref: uuid.UUID, what: str) -> Student:
        """The student, with the access noted. Raises: Problem (403, 404)."""
        student = self.open(ref, what)
        if not access.schools(self.user).filter(pk=student.school_id).exists():
            raise Problem(HTTPStatus.FORBIDDEN, "Only the school's administrators may do this.")
        return student


class StudentRetention(_Administered):
    @describe(
        "readRetention",
        "Show what may be erased, and when",
        Answer(RetentionSerializer, "What may be erased, and when"),
        refuses=(403,),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """How long the law requires this record to be retained, with citations, the holds in force, and what
        an erasure would remove. For the school's administrators.
        """
        student = self.administered(ref, "retention")
        return erasure.plan(student, student.school.day(self.at))


class StudentHolds(_Administered):
    @describe(
        "holdRecord",
        "Place a hold on a record",
        Answer(HoldSerializer, "The hold", status=201),
        body=ReasonSerializer,
        refuses=(403,),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """Nothing in the record is erased while the hold is in force. For the school's administrators."""
        student = self.administered(ref, "holds")
        reason = self.sent()["reason"]
        return erasure.hold(student, reason, **self.acting)


class StudentHoldRelease(_Administered):
    @describe(
        "releaseHold",
        "Release a hold",
        Answer(HoldSerializer, "The hold, released"),
        body=ReasonSerializer,
        refuses=(403,),
    )
    def post(self, ref: uuid.UUID, hold: int) -> Any:
        """The hold stays on file with both reasons. For the school's administrators."""
        student = self.administered(ref, "holds")
        reason = self.sent()["reason"]
        found = RetentionHold.objects.filter(student=student, pk=min(hold, 2**63 - 1)).first()
        if found is None:
            raise not_found("hold of that id")
        return erasure.release(found, reason, **self.acting)


class StudentErasure(_Administered):
    @describe(
        "eraseRecord",
        "Erase a record",
        Answer(RetentionSerializer, "What was or would be erased"),
        body=ErasureToDoSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """Without `really` nothing changes, and the answer is a preview. With it, the record and the contents
        of its ledger entries are erased; the proofs stay, and the reason is signed into the ledger (so do not
        put names in it). Refused (409) while the law requires the record, a hold is in force or the student
        is enrolled. For the school's administrators.
        """
        student = self.administered(ref, "erasure")
        sent = self.sent()
        if not sent["really"]:
            return erasure.plan(student, student.school.day(self.at))
        done = erasure.erase(student, sent["reason"], **self.acting)
        return Response({**RetentionSerializer(done).data, "erased_at": in_utc(self.at)})
