"""A number for one signature by passkey (nonce): given to a person in advance, taken once.

A tablet takes some along, so that what is signed without a network has one too. The server stores none before
it is used: its own signature says for whom a number is and since when. The passkey signs it with the content,
and it is spent in the transaction that enters the signature in the ledger.
"""

import datetime as dt
import secrets
from collections.abc import Mapping
from typing import Any

from django.core import signing
from django.db import IntegrityError, transaction

from training.models import SpentNonce, User
from training.services.errors import NotAllowed

#: How long one may wait for its signature: a tablet holds what it signed until the network is back.
VALID = dt.timedelta(days=14)
#: Nonces that a tablet takes along for a day.
FOR_A_DAY = 24
_AGAIN = "Nothing was signed. Open the record again, then sign it."
_USED = f"This passkey signature was used already. {_AGAIN}"


class NotConfirmed(NotAllowed):
    """It is not shown that the user signs this; the message says why, and what to do."""


def draw(user: User) -> str:
    """A new number for one signature of this user."""
    return _signer(user).sign(secrets.token_urlsafe(16))


def check(user: User, nonce: str) -> None:
    """Make sure that a number is this user's, still valid and not spent. Raises: NotConfirmed."""
    try:
        drawn = _signer(user).unsign(nonce, max_age=VALID)
    except signing.SignatureExpired:
        raise NotConfirmed(
            f"The passkey signature is valid for {VALID.days} days, and it is older. {_AGAIN}"
        ) from None
    except signing.BadSignature:
        raise NotConfirmed(
            f"The passkey signature has no nonce that this server gave to you. {_AGAIN}"
        ) from None
    if SpentNonce.objects.filter(nonce=drawn).exists():
        raise NotConfirmed(_USED)


def spend(confirmed: Mapping[str, Any] | None, at: dt.datetime) -> None:
    """Take the number of what a passkey confirmed, inside the caller's transaction; nothing for a password.

    Raises: NotConfirmed where it is spent already.
    """
    nonce = ((confirmed or {}).get("statement") or {}).get("nonce")
    if not nonce:
        return
    try:
        with transaction.atomic():
            SpentNonce.objects.create(nonce=nonce.partition(":")[0], at=at)
    except IntegrityError:
        raise NotConfirmed(_USED) from None


def _signer(user: User) -> signing.TimestampSigner:
    return signing.TimestampSigner(salt=f"training.signing-nonce.{user.pk}")
