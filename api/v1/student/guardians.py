"""A minor's guardians with their consent."""

import uuid
from http import HTTPStatus
from typing import Any

from api.v1.base.description import Answer, describe
from api.v1.base.errors import Problem
from api.v1.base.field_types import DAY, NAME, STRING
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.student.students import StudentView
from training.services import access
from training.services.people import guardians


class GuardianSerializer(ResponseSerializer):
    name = Field(STRING)
    email = Field(STRING)
    consent_on = Field(DAY)
    consent_until = Field(DAY, allow_null=True)


class GuardianListSerializer(ResponseSerializer):
    guardians = GuardianSerializer(many=True)
    caution = Field(STRING, "Why nothing is sent to them; empty if e-mails are sent.")


class GuardianToRecordSerializer(RequestSerializer):
    error = guardians.GuardianError

    name = Field(NAME)
    email = Field(NAME)
    consent_on = Field(DAY)
    consent_until = Field(DAY, required=False)


class Guardians(StudentView):
    @describe("listGuardians", "List a student's guardians", Answer(GuardianListSerializer, "The guardians"))
    def get(self, ref: uuid.UUID) -> Any:
        """Guardians with consent on record, ended ones included. The reading is logged."""
        student = self.open(ref, "guardians")
        return {
            "guardians": guardians.listed(student),
            "caution": guardians.caution(student, student.school.day(self.at)),
        }

    @describe(
        "recordGuardian",
        "Add a guardian's consent",
        Answer(GuardianSerializer, "The guardian as on record now"),
        body=GuardianToRecordSerializer,
        refuses=(403,),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """The guardian of a minor then gets reminders too, until the student is of age. The same e-mail again
        updates the consent; `consent_until` ends it.
        """
        student = self.open(ref, "guardians")
        if not access.may(self.user, access.WRITE, student, on=self.today):
            raise Problem(HTTPStatus.FORBIDDEN, "You may read this student's record but not write it.")
        given = self.sent()
        return guardians.record(student, **given, **self.acting)
