"""Requests of a student to the instructors."""

import uuid
from typing import Any

from api.v1.base.description import Answer, Created, describe
from api.v1.base.field_types import DAY, STRING, UTC, UUID, like, short, word
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.student.students import StudentView
from training.services import access
from training.services.people import requests

_KIND = word(requests.Kind.values, "kind of request")
_TEXT = short(requests.MOST_TEXT)


class StudentRequestSerializer(ResponseSerializer):
    id = Field(UUID)
    kind = Field(_KIND)
    on = Field(DAY, "The day of the lesson or of the solo flight; null for a correction.", allow_null=True)
    lesson = Field(UUID, "The lesson to be corrected.", source="lesson_id", allow_null=True)
    text = Field(STRING)
    at = Field(UTC)
    state = Field(word(requests.State.values, "state"))
    answer = Field(STRING)
    answered_at = Field(UTC, allow_null=True)


class StudentRequestListSerializer(ResponseSerializer):
    requests = StudentRequestSerializer(many=True)


class StudentRequestToMakeSerializer(RequestSerializer):
    """A lesson or a release names its day, a correction its lesson and what is wrong."""

    error = requests.RequestError

    id = Field(like(UUID, description="Chosen by the caller, so that the request can be repeated."))
    kind = Field(_KIND)
    on = Field(DAY, required=False)
    lesson = Field(UUID, required=False)
    text = Field(_TEXT, required=False)


class StudentRequestAnswerSerializer(RequestSerializer):
    error = requests.RequestError

    state = Field(word(requests.ANSWERS, "answer"))
    answer = Field(_TEXT, "A word for the student; needed to decline.", required=False)


class StudentRequests(StudentView):
    @describe(
        "listRequests",
        "List a student's requests",
        Answer(StudentRequestListSerializer, "The requests, the newest first"),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """Open and answered ones. The reading is logged."""
        return {"requests": requests.listed(self.open(ref, "requests"))}

    @describe(
        "makeRequest",
        "Ask for a lesson, a correction or a release",
        Answer(StudentRequestSerializer, "Already on record"),
        Answer(StudentRequestSerializer, "The request", status=201),
        body=StudentRequestToMakeSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """For the student alone. Each instructor of today gets an e-mail. `id` is chosen by the caller:
        sending the same again returns the existing request (200); other content under it is a conflict (409).
        """
        student = self.open(ref, "requests")
        access.require(self.user, "make a request", student, on=self.today)
        sent = self.sent()
        made = requests.ask(student, **{**sent, "text": sent["text"] or ""}, **self.acting)
        return Created(made.row) if made.created else made.row


class StudentRequestAnswer(StudentView):
    @describe(
        "answerRequest",
        "Accept or decline a request",
        Answer(StudentRequestSerializer, "The request with its answer"),
        body=StudentRequestAnswerSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """For those who may write the record. The student gets an e-mail. The answer changes nothing on
        record: a lesson, a correction or a release is entered where it always is.
        """
        student = self.open(ref, "requests")
        access.require(self.user, "answer a request", student, on=self.today)
        sent = self.sent()
        said = {"state": sent["state"], "text": sent["answer"] or ""}
        return requests.answer(student, entry, **said, **self.acting)


class StudentRequestWithdraw(StudentView):
    @describe(
        "withdrawRequest",
        "Withdraw a request",
        Answer(StudentRequestSerializer, "The request as it was withdrawn"),
        refuses=(403, 409, 411, 413, 415),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """For the student alone, while nobody answered. Again, it gives the one withdrawn."""
        return requests.withdraw(self.open(ref, "requests"), entry, **self.acting)
