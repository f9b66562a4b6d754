"""What confirms a signature in a request's body: exactly one of `confirm_password` and `passkey`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django.conf import settings
from rest_framework.request import Request

from syllabus.engine import reading
from syllabus.engine.errors import Fault
from syllabus.engine.reading import Faults, Object
from training.models import User
from training.services import confirming
from training.services.confirming import Act, Confirmed, Given, Site
from training.services.signatures import Signer

PASSWORD, PASSKEY = "confirm_password", "passkey"
_EITHER = f"confirm with either {PASSWORD} or {PASSKEY}"
_MOST = 10_000
_SIGNED = ("clientDataJSON", "authenticatorData", "signature")


def take(fields: Object, *, required: bool = True) -> Given:
    """Read it; what is wrong is a fault at its place."""
    given = [key for key in (PASSWORD, PASSKEY) if fields.left.get(key) is not None]
    password = fields.take(PASSWORD, reading.text)
    passkey = fields.take(PASSKEY, _answer)
    if fields.ok and len(given) > 1:
        fields.faults.add(PASSWORD, f"is sent together with passkey; {_EITHER}")
    elif fields.ok and not given and required:
        fields.faults.extend(missing())
    return Given(password, passkey)


def missing() -> list[Fault]:
    """The fault of a request that nothing confirms."""
    return [Fault(PASSWORD, f"missing; {_EITHER}")]


def _answer(faults: Faults, value: Any, place: str) -> Mapping[str, Any] | None:
    """A passkey's answer, as ``AuthenticationResponseJSON`` (WebAuthn, level 3) has it."""
    before = len(faults)
    fields = Object(faults, value, place)
    if not fields.ok:
        return None
    credential = fields.take("id", _base64url, required=True)
    response = Object(faults, fields.take("response", _as_it_came, {}), f"{place}.response")
    signed = {key: response.take(key, _base64url, required=True) for key in _SIGNED}
    response.take("userHandle", _as_it_came)
    response.done()
    for known in ("rawId", "type", "authenticatorAttachment", "clientExtensionResults"):
        fields.take(known, _as_it_came)
    fields.done()
    return None if len(faults) > before else {"id": credential, "response": signed}


def _as_it_came(faults: Faults, value: Any, place: str) -> Any:
    return value


def _base64url(faults: Faults, value: Any, place: str) -> str | None:
    found = reading.text(faults, value, place)
    if found is None:
        return None
    try:
        if not found or len(found) > _MOST:
            raise ValueError("is empty or too long")
        confirming.decode(found)
    except ValueError as wrong:
        faults.add(place, f"{wrong}; send the bytes as base64url")
        return None
    return found


def signer(request: Request, user: User, given: Given, at: dt.datetime) -> Signer:
    """Who signs by this request, for one of ``training.services.signatures``."""
    site = Site.of(request.get_host(), request.scheme or "https", settings.CSRF_TRUSTED_ORIGINS)
    return Signer(user, given, site, at, "api")


def confirm(request: Request, user: User, given: Given, act: Act, settled: Iterable[Any]) -> Confirmed:
    """Make sure that it is the user who signs, now. Raises: NotConfirmed."""
    site = Site.of(request.get_host(), request.scheme or "https", settings.CSRF_TRUSTED_ORIGINS)
    return confirming.confirm(user, given, act, site=site, settled=settled)
