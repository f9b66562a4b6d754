"""E-mail of the tests: what waits in the outbox goes out, as a background job would send it."""

import math

from django.core import mail
from django.core.mail import EmailMessage

from training.services.reminders import outbox


def mails_sent() -> list[EmailMessage]:
    """Send what is due now, and give every e-mail that went out in this test."""
    outbox.send(until=math.inf)
    return mail.outbox
