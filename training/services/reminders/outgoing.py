"""E-mail about accounts: a row in the caller's transaction. Nothing here contacts a mail server."""

import datetime as dt
import uuid
from collections.abc import Sequence

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.utils import timezone

from training.models import Delivery, School, User


def link(email: str, *, at: dt.datetime, school: School | None = None) -> None:
    """Queue the link to set the password of the account of this address, if there is one.

    The same statement for every address: whether it has an account is looked up when the e-mail is sent.
    """
    _queue(Delivery.Kind.LINK, to=email, at=at, school=school)


def notice(user: User, subject: str, text: str, *, at: dt.datetime) -> None:
    """Queue a notice about an account for its owner, to its current address."""
    _queue(Delivery.Kind.ACCOUNT, to=user.email, at=at, user=user, subject=subject, text=text)


def invitation(email: str, subject: str, text: str, *, at: dt.datetime) -> None:
    """Queue an invitation, whether or not its address has an account."""
    _queue(Delivery.Kind.ACCOUNT, to=email, at=at, subject=subject, text=text)


def _queue(kind: str, *, at: dt.datetime, **more: object) -> None:
    Delivery.objects.create(kind=kind, key=f"{kind}:{uuid.uuid4()}", send_after=at, created_at=at, **more)


def needless(delivery: Delivery, at: dt.datetime) -> str:
    """Why a link is not to be sent; empty where it is: then the delivery has the user whose account it opens.

    One that a person asked for is of no use as late as this. An invitation waits for as long as it takes.
    """
    age = (at - delivery.created_at).total_seconds()
    if delivery.school_id is None and age > settings.PASSWORD_RESET_TIMEOUT:
        return "asked for too long ago"
    delivery.user = User.objects.filter(email=delivery.to.lower(), is_active=True).first()
    return "" if delivery.user else "no open account has this address"


class Outbox(BaseEmailBackend):
    """Django's way to send e-mail, for whatever does not call this module: it is queued as plain text."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        for mail in email_messages:
            for to in mail.recipients():
                _queue(
                    Delivery.Kind.ACCOUNT,
                    to=to,
                    at=timezone.now(),
                    user=User.objects.filter(email=to.lower()).first(),
                    subject=" ".join(mail.subject.split())[:200],
                    text=str(mail.body),
                )
        return len(email_messages)
