"""Re-authentication in a request's body: exactly one of `confirm_password` and `passkey`."""

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django.conf import settings
from rest_framework.request import Request

from api.v1.base.field_types import NAME, TEXT, as_it_came
from api.v1.base.serializers import Field, RequestSerializer
from syllabus.engine.errors import Error
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors, Object
from syllabus.engine.record.shapes import Type
from training.models import User
from training.services.signatures import Signer
from training.services.signing import reauthentication
from training.services.signing.reauthentication import Act, Confirmed, Given, Site

PASSWORD, PASSKEY = "confirm_password", "passkey"
_EITHER = f"confirm with either {PASSWORD} or {PASSKEY}"
_MOST = 10_000


def take(fields: Object, *, required: bool = True) -> Given:
    """Read it, with every error at its place."""
    given = [key for key in (PASSWORD, PASSKEY) if fields.left.get(key) is not None]
    password = fields.take(PASSWORD, reading.text)
    passkey = fields.take(PASSKEY, PasskeyAnswerSerializer().read)
    if fields.ok and len(given) > 1:
        fields.errors.add(PASSWORD, f"is sent together with passkey; {_EITHER}")
    elif fields.ok and not given and required:
        fields.errors.extend(missing())
    return Given(password, passkey)


def missing() -> list[Error]:
    """The error of a request without either."""
    return [Error(PASSWORD, f"missing; {_EITHER}")]


def _base64url(errors: Errors, value: Any, place: str) -> str | None:
    found = reading.text(errors, value, place)
    if found is None:
        return None
    try:
        if not found or len(found) > _MOST:
            raise ValueError("is empty or too long")
        reauthentication.decode(found)
    except ValueError as wrong:
        errors.add(place, f"{wrong}; send the bytes as base64url")
        return None
    return found


BYTES = Type(_base64url, {"type": "string", "pattern": "^[A-Za-z0-9_-]+={0,2}$", "maxLength": _MOST})
IGNORED = Type(as_it_came, {"description": "As the browser gives it; ignored."})


class PasskeyResponseSerializer(RequestSerializer):
    clientDataJSON = Field(BYTES)
    authenticatorData = Field(BYTES)
    signature = Field(BYTES)
    userHandle = Field(IGNORED, required=False)


class PasskeyAnswerSerializer(RequestSerializer):
    """The answer of one of the caller's passkeys (AuthenticationResponseJSON of WebAuthn), user verified.

    Its challenge is the SHA-256 of the canonical JSON (RFC 8785) of
    `{"format": "signing-statement/2", "kind", "subject", "about", "content_hash", "nonce"}`: `kind` is
    `lesson.signed`, `lesson.acknowledged`, `endorsement.given`, `endorsement.revoked` or
    `solo-release.decided`; `subject` the student's reference; `about` the id in question; `content_hash` that
    of the lesson record, or `sha256:…`
    over the canonical JSON of `kind`, `endorsement` and `judgement` as they are sent (`{}` and an empty text
    where they are left out), or of `reason`; `nonce` is one that `GET /api/v1/auth/nonce` gave to the caller,
    used once. It is stored in the ledger.
    """

    id = Field(BYTES)
    response = PasskeyResponseSerializer()
    nonce = Field(NAME, "The nonce in the signed statement; a passkey needs one.", required=False)
    rawId = Field(IGNORED, required=False)
    type = Field(IGNORED, required=False)
    authenticatorAttachment = Field(IGNORED, required=False)
    clientExtensionResults = Field(IGNORED, required=False)

    def read(self, errors: Errors, value: Any, place: str) -> dict[str, Any] | None:
        """The signed parts of the response. Without a response, each of its keys is reported as missing."""
        if isinstance(value, Mapping) and value.get("response") is None:
            value = {**value, "response": {}}
        return super().read(errors, value, place)


class MayBeConfirmedSerializer(RequestSerializer):
    """With at most one way of re-authentication, as ``confirmation``."""

    confirm_password = Field(
        TEXT, "The caller's password, entered at signing. Either this or passkey.", required=False
    )
    passkey = PasskeyAnswerSerializer(required=False)

    def check(self, errors: Errors, found: dict[str, Any], said: Mapping[str, Any]) -> None:
        if self.sent_of(said) == 2:
            errors.add(PASSWORD, f"is sent together with passkey; {_EITHER}")
        found["confirmation"] = Given(found.pop(PASSWORD), found.pop(PASSKEY))

    @staticmethod
    def sent_of(said: Mapping[str, Any]) -> int:
        return sum(said.get(key) is not None for key in (PASSWORD, PASSKEY))


class ConfirmedSerializer(MayBeConfirmedSerializer):
    """With exactly one way of re-authentication."""

    more_schema = {
        "anyOf": [
            {"required": [PASSWORD], "properties": {PASSWORD: {"type": "string"}}},
            {"required": [PASSKEY], "properties": {PASSKEY: {"type": "object"}}},
        ]
    }

    def check(self, errors: Errors, found: dict[str, Any], said: Mapping[str, Any]) -> None:
        super().check(errors, found, said)
        if not self.sent_of(said):
            errors.extend(missing())


def signer(request: Request, user: User, given: Given, at: dt.datetime) -> Signer:
    """Who signs by this request, for one of ``training.services.signatures``."""
    site = Site.of(request.get_host(), request.scheme or "https", settings.CSRF_TRUSTED_ORIGINS)
    return Signer(user, given, site, at, "api")


def confirm(request: Request, user: User, given: Given, act: Act, settled: Iterable[Any]) -> Confirmed:
    """Re-authenticate the user. Raises: NotConfirmed."""
    site = Site.of(request.get_host(), request.scheme or "https", settings.CSRF_TRUSTED_ORIGINS)
    return reauthentication.confirm(user, given, act, site=site, settled=settled)
