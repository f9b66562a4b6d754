"""The way to the mail server: whether there is one, what it answered in plain words, and a test."""

import smtplib
import socket
import ssl
import threading
from dataclasses import dataclass
from typing import Any

from allauth.core import ratelimit
from django.conf import settings
from django.core.checks import CheckMessage, Error, register
from django.core.mail import EmailMessage, get_connection
from django.http import HttpRequest

from training.models import User

#: Seconds that a test takes at most, and each of its steps.
TEST_SECONDS, TEST_STEP = 20, 5
#: What a fault is in plain words, the narrowest kind first.
_WORDS: tuple[tuple[type[Exception], str], ...] = (
    (socket.gaierror, "The mail server's name was not found (DNS)."),
    (ConnectionRefusedError, "The mail server refused the connection. Check host and port."),
    (TimeoutError, "The mail server did not answer in time."),
    (ssl.SSLCertVerificationError, "The mail server's certificate is not trusted (TLS)."),
    (ssl.SSLError, "No encrypted connection (TLS). Check smtp+tls or smtp+ssl, and the port."),
    (smtplib.SMTPNotSupportedError, "The mail server does not offer what EMAIL_URL needs (TLS or login)."),
    (smtplib.SMTPAuthenticationError, "The mail server did not accept user name and password (login)."),
    (smtplib.SMTPSenderRefused, "The mail server did not accept the sender, which EMAIL_FROM sets."),
    (smtplib.SMTPRecipientsRefused, "The mail server did not accept the recipient."),
    (smtplib.SMTPDataError, "The mail server did not accept the message."),
    (smtplib.SMTPServerDisconnected, "The mail server closed the connection."),
    (smtplib.SMTPException, "The mail server did not accept the e-mail."),
    (OSError, "No connection to the mail server."),
    (Exception, "The e-mail could not be sent."),
)


# Of no tag that the image's migrations check: they run where no mail server is known.
@register("mail", deploy=True)
def there_is_a_mail_server(**_: Any) -> list[CheckMessage]:
    found: list[CheckMessage] = []
    if settings.MAIL_REFUSED:
        found.append(Error(f"No e-mail is sent. {settings.MAIL_REFUSED}", id="training.E001"))
    if not settings.EMBEDDED and settings.PUBLIC_ADDRESS == settings.OWN_ADDRESS:
        said = f"PUBLIC_ADDRESS is not set: links in e-mails lead to {settings.OWN_ADDRESS}."
        found.append(Error(said, id="training.E002"))
    return found


class Unreachable(Exception):
    """No e-mail can be handed over at all; it counts against none. The message is in words."""


@dataclass(frozen=True, slots=True)
class Tested:
    """Whether the mail server accepted a test e-mail, and what to say of it."""

    accepted: bool
    words: str
    too_many: bool = False


def connect(timeout: int | None = None) -> Any:
    """Django's connection to the mail server, not opened yet. Raises: Unreachable where none is set."""
    if settings.MAIL_REFUSED:
        raise Unreachable(settings.MAIL_REFUSED)
    return get_connection(settings.MAIL_BACKEND, timeout=timeout or settings.EMAIL_TIMEOUT)


def in_words(fault: Exception) -> str:
    """What went wrong, in plain words; then what the mail server or the system said itself."""
    cause = fault.__context__ if isinstance(fault, smtplib.SMTPServerDisconnected) else None
    kind = cause if isinstance(cause, TimeoutError) else fault
    words = next(words for kinds, words in _WORDS if isinstance(kind, kinds))
    said = f"{type(fault).__name__}: {fault}"
    if isinstance(fault, smtplib.SMTPRecipientsRefused):
        said = "; ".join(_answer(*each) for each in fault.recipients.values())
    elif isinstance(fault, smtplib.SMTPResponseException):
        said = _answer(fault.smtp_code, fault.smtp_error)
    elif isinstance(fault, OSError):
        said = fault.strerror or str(fault)
    return f"{words} ({said})"[:2000]


def _answer(code: int, said: bytes | str) -> str:
    return f"{code} {said.decode(errors='replace') if isinstance(said, bytes) else said}"


def try_for(request: HttpRequest, user: User) -> Tested:
    """Send a test e-mail to whoever asks for it, a few times a minute at most."""
    if not ratelimit.consume(request, action="reset_password", key=f"test-mail-{user.pk}"):
        return Tested(False, "Not sent. Wait a minute, then try again.", too_many=True)
    return try_out(user.email)


def try_out(to: str) -> Tested:
    """Send a test e-mail at once, and say what the mail server answered, within ``TEST_SECONDS``."""
    found: list[Tested] = []
    # In a thread of its own: nothing else bounds the look-up of a name, or a server that answers by drops.
    thread = threading.Thread(target=lambda: found.append(_tested(to)), daemon=True)
    thread.start()
    thread.join(TEST_SECONDS)
    late = f"Not sent. The mail server was not done within {TEST_SECONDS} seconds."
    return found[0] if found else Tested(False, late)


def _tested(to: str) -> Tested:
    try:
        with connect(TEST_STEP) as server:
            EmailMessage(
                "Test of the training record's e-mail",
                "This e-mail shows that the training record can send e-mail.\n",
                to=[to],
                headers={"Auto-Submitted": "auto-generated"},
                connection=server,
            ).send()
    except Unreachable as fault:
        return Tested(False, f"Not sent. {fault}")
    except Exception as fault:
        return Tested(False, f"Not sent. {in_words(fault)}")
    if settings.MAIL_BACKEND.split(".")[-2] in ("console", "dummy", "filebased"):
        return Tested(
            False, "Not sent. There is no mail server: e-mails are only written down on this machine."
        )
    return Tested(True, f"The mail server accepted the test e-mail to {to}.")
