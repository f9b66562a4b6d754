"""E-mail of a school: what waits and failed, another try, and a test."""

import uuid
from http import HTTPStatus
from typing import Any

from django.conf import settings

from api.v1.base.description import SCHOOL, Answer, describe
from api.v1.base.errors import Problem
from api.v1.base.field_types import COUNT, FLAG, STRING
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.everyone.reminders import NotSentSerializer, SchoolView
from syllabus.engine.errors import InputError
from training.models import Delivery
from training.services.reminders import failures, mail_server


class MailError(InputError):
    what = "the request"


class MailSerializer(ResponseSerializer):
    """How a school's e-mails do."""

    school = Field(STRING)
    refused = Field(STRING, "Why no e-mail can be sent at all; empty if one can.")
    waiting = Field(COUNT, "E-mails that are due.")
    oldest_seconds = Field(COUNT, "For how long the oldest of them has waited.")
    failed = Field(COUNT, "E-mails that were given up.")
    not_sent = NotSentSerializer(many=True, help_text="The newest 100 of those given up.")
    retrying = NotSentSerializer(many=True, help_text="The newest 100 that wait after an error.")


class MailSchoolSerializer(RequestSerializer):
    error = MailError

    school = Field(
        STRING, "The school's short name; optional for an administrator of one school.", required=False
    )


class MailTestedSerializer(ResponseSerializer):
    accepted = Field(FLAG, "Whether the mail server accepted the test e-mail.")
    said = Field(STRING, "What the mail server answered, in words.")


class Mail(SchoolView):
    query = (SCHOOL,)

    @describe(
        "readMail", "Show how a school's e-mails do", Answer(MailSerializer, "The queue"), refuses=(403, 404)
    )
    def get(self) -> Any:
        """For administrators. No answer contains the text of an e-mail."""
        school = self.school(self.asked["school"])
        queue = failures.queue(self.at, failures.of_school(school))
        return {
            "school": school.slug,
            "refused": settings.MAIL_REFUSED,
            "waiting": queue.waiting,
            "oldest_seconds": queue.oldest_seconds,
            "failed": queue.failed,
            "not_sent": failures.deliveries(school),
            "retrying": failures.deliveries(school, Delivery.State.PENDING),
        }


class MailTest(SchoolView):
    @describe(
        "testMail",
        "Send yourself a test e-mail",
        Answer(MailTestedSerializer, "What the mail server answered"),
        body=MailSchoolSerializer,
        refuses=(403, 404, 429),
    )
    def post(self) -> Any:
        """For administrators. Sent at once to the caller's own address; takes up to 20 seconds. Limited to a
        few a minute (429).
        """
        self.school(self.sent()["school"])
        done = mail_server.try_for(self.request._request, self.user)
        if done.too_many:
            raise Problem(HTTPStatus.TOO_MANY_REQUESTS, done.words, headers={"Retry-After": "60"})
        return {"accepted": done.accepted, "said": done.words}


class MailRetry(SchoolView):
    @describe(
        "retryMail",
        "Send a failed e-mail again",
        Answer(None, "It waits to be sent", status=204),
        body=MailSchoolSerializer,
        refuses=(403, 404),
    )
    def post(self, mail: uuid.UUID) -> Any:
        """For administrators. `mail` is the `id` of a failed e-mail."""
        school = self.school(self.sent()["school"])
        failures.retry(failures.of_school(school), self.at, mail)
        return None
