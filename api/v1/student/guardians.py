"""A minor's guardians with their consent."""

import uuid
from http import HTTPStatus

from rest_framework.request import Request
from rest_framework.response import Response

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
    @describe(
        name="listGuardians",
        summary="List a student's guardians",
        description="Guardians with consent on record, ended ones included. The reading is logged.",
        answers={200: Answer(GuardianListSerializer, "The guardians")},
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "guardians")
        found = {
            "guardians": guardians.listed(student),
            "caution": guardians.caution(student, student.school.day(self.at)),
        }
        return Response(GuardianListSerializer(found).data)

    @describe(
        name="recordGuardian",
        summary="Add a guardian's consent",
        description=(
            "The guardian of a minor then gets reminders too, until the student is of age. The "
            "same e-mail again updates the consent; `consent_until` ends it."
        ),
        body=GuardianToRecordSerializer,
        answers={200: Answer(GuardianSerializer, "The guardian as on record now")},
        refuses=(403,),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "guardians")
        if not access.may(self.user, access.WRITE, student, on=self.today):
            raise Problem(HTTPStatus.FORBIDDEN, "You may read this student's record but not write it.")
        given = GuardianToRecordSerializer.sent(request)
        made = guardians.record(student, **given, by=self.user, at=self.at, via="api")
        return Response(GuardianSerializer(made).data)
