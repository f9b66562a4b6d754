"""The account of a student whose record has none yet."""

import uuid
from typing import Any

from api.v1.base.description import Answer, describe
from api.v1.base.field_types import NAME, STRING
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.student.students import StudentView
from training.models import Invitation
from training.services.people import invitations, people


class AccountToGiveSerializer(RequestSerializer):
    error = people.PeopleError

    email = Field(NAME)


class AccountGivenSerializer(ResponseSerializer):
    mail = Field(STRING, "What was done about the e-mail; null if none is needed.", allow_null=True)


class StudentAccount(StudentView):
    @describe(
        "giveStudentAccount",
        "Invite a student who has no account",
        Answer(AccountGivenSerializer, "The owner of the address is invited, or has the record"),
        body=AccountToGiveSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """For administrators. The owner of the address is invited to the student's record, even where an
        earlier invitation was withdrawn. An account of the school gets the record at once, and no e-mail is
        sent (`mail` is null).
        """
        student = self.open(ref, "student's account")
        given = invitations.to_record(student, self.sent()["email"], by=self.user, at=self.at)
        mail = invitations.send(self.request._request, given) if isinstance(given, Invitation) else None
        return {"mail": mail}
