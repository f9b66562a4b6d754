"""What an account asks for besides the password, where it is asked without a page: by a program."""

from __future__ import annotations

from allauth.core import ratelimit
from allauth.mfa.models import Authenticator
from django.http import HttpRequest

from training.models import User


class NotGiven(Exception):
    """The password alone was sent, or a code that is not good; the message says what to send."""


class TooMany(Exception):
    """Too many codes were tried for this account."""


def check(request: HttpRequest, user: User, code: str | None) -> None:
    """Make sure of the second factor of a user whose password was right; nothing where none is set up.

    A passkey is asked for on a page alone; here its owner gives a recovery code. A code is good once. Tries
    are counted for the account, together with those on the pages.

    Raises: NotGiven; TooMany.
    """
    known = Authenticator.objects.filter(user=user)
    if not known.exclude(type=Authenticator.Type.RECOVERY_CODES).exists():
        return
    if code is None:
        raise NotGiven(
            "This account asks for more than the password. Send code as well: one of its authenticator app,"
            " or a recovery code."
        )
    key = f"mfa-auth-user-{user.pk}"
    if not ratelimit.consume(request, action="login_failed", key=key):
        raise TooMany("Too many codes were tried for this account. Wait five minutes, then try again.")
    for each in known.exclude(type=Authenticator.Type.WEBAUTHN):
        if each.wrap().validate_code(code):
            ratelimit.clear(request, action="login_failed", key=key)
            each.record_usage()
            return
    raise NotGiven(
        "The code is not good, or was used before. Send the next one of the authenticator app, or another"
        " recovery code."
    )
