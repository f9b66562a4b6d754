"""E-mail of the tests: what waits in the outbox goes out, as a background job would send it."""

import datetime as dt
import math
import uuid

from django.core import mail
from django.core.mail import EmailMessage

from tests.support.cast import Cast
from training.models import Delivery
from training.services.reminders import outbox


def mails_sent() -> list[EmailMessage]:
    """Send what is due now, and give every e-mail that went out in this test."""
    outbox.send(until=math.inf)
    return mail.outbox


def failed(people: Cast, pk: uuid.UUID) -> Delivery:
    """A link for Ida that the mail server did not accept."""
    now = dt.datetime.now(dt.UTC)
    return Delivery.objects.create(
        pk=pk, school=people.school, kind="link", key=str(pk), to=people.ida.email, user=people.ida,
        state="failed", attempts=7, fault="The mail server did not accept the recipient. 550 no such user",
        send_after=now, created_at=now - dt.timedelta(hours=2),
    )  # fmt: skip
