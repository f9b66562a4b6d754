"""Wrong passwords of one account, wherever they are entered: at sign-in, by a program, or to sign."""

import datetime as dt

from django.dispatch import Signal
from django.utils.translation import gettext_lazy as _

from training.services import limits

MOST, SECONDS = 5, 5 * 60
LOCKED = _("Too many wrong passwords. Wait five minutes, then try again.")
#: Sent by the wrong password that locks an account, with ``email``, ``at`` and ``where``.
locking = Signal()


def locked(email: str) -> bool:
    """Whether no password is looked at now; alike for an address that has no account."""
    return limits.count(_key(email), SECONDS, by=0) >= MOST


def note(email: str, *, at: dt.datetime, where: str = "") -> None:
    """Count a wrong password."""
    if limits.count(_key(email), SECONDS) == MOST:
        locking.send(None, email=email, at=at, where=where)


def _key(email: str) -> str:
    return f"wrong-password:{limits.digest(email.strip().casefold())}"
