"""Re-authenticates a user for a signature: by password, or by a passkey over what is signed.

The result (``confirmed``) goes into the ledger entry and beside the signature, in the form that
``training.ledger.core.assertions`` reads: an inspector can check a passkey's signature years later, without
this server. Passkeys are those that the person added to the account.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import rfc8785
from allauth.mfa.models import Authenticator
from django.db import transaction
from django.utils import timezone

from training.ledger.core import assertions
from training.ledger.core.assertions import decode
from training.ledger.core.assertions import sign_count as _sign_count
from training.models import User
from training.services.signing import nonces, wrong_passwords
from training.services.signing.nonces import NotConfirmed

Confirmed = dict[str, Any]
#: A passkey's uses are counted separately: an offline signature may arrive after a later sign-in.
LOGIN, SIGNING = "login", "signing"
_AGAIN = "Nothing was signed."
_NAMES = {-7: "ES256", -36: "ES512", -8: "EdDSA", -257: "RS256", -37: "PS256"}
_CURVES = {1: ("EC", "P-256"), 3: ("EC", "P-521"), 6: ("OKP", "Ed25519")}


class Locked(NotConfirmed):
    """No password is looked at for now, for too many were wrong."""


@dataclass(frozen=True, slots=True)
class Site:
    """Where a passkey must have been used: its domain, and the allowed origins."""

    domain: str
    origins: tuple[str, ...]

    @classmethod
    def of(cls, host: str, scheme: str, trusted: Iterable[str] = ()) -> Site:
        """The site of a request; ``trusted``: further origins of the same server."""
        return cls(host.partition(":")[0], (f"{scheme}://{host}", *trusted))


@dataclass(frozen=True, slots=True)
class Given:
    """What came to confirm with: a password, or a passkey's answer as ``AuthenticationResponseJSON``.

    The answer has the ``nonce`` besides that the passkey signed.
    """

    password: str | None = None
    passkey: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Act:
    """What the user signs: the kind of ledger entry, the student, the record and the hash of its content.

    ``said``: the canonical JSON under the hash, if the ledger entry does not have it as it was signed.
    """

    kind: str
    subject: str
    about: str
    content_hash: str
    said: str | None = None

    def statement(self, nonce: str | None = None) -> dict[str, str]:
        """What the passkey signs; a page's has no nonce yet."""
        return assertions.statement(
            self.kind, subject=self.subject, about=self.about, content_hash=self.content_hash, nonce=nonce
        )


def content_of(said: Mapping[str, Any]) -> tuple[str, str]:
    """The canonical JSON (RFC 8785) of what is signed, and its hash (``sha256:…``)."""
    text = rfc8785.dumps(dict(said)).decode()
    return text, assertions.hash_of(text)


def confirm(user: User, given: Given, act: Act, *, site: Site, settled: Iterable[Any] = ()) -> Confirmed:
    """Re-authenticate ``user`` for ``act``; returns what is stored with the signature.

    ``settled``: earlier re-authentications of this same act; a passkey's answer among them may be repeated.
    Raises: NotConfirmed; Locked. Never call it in a transaction, which would lose the count.
    """
    if given.passkey is None:
        check_password(user, given.password, "Wrong password; nothing was signed. Enter your own password.")
        return {"by": assertions.PASSWORD}
    return _by_passkey(user, given.passkey, act, site, settled)


def check_password(user: User, password: str | None, wrong: str) -> None:
    """Make sure that it is the user's password; a wrong one counts, as at sign-in.

    Raises: NotConfirmed with the words of ``wrong``; Locked.
    """
    if wrong_passwords.locked(user.email):
        raise Locked(str(wrong_passwords.LOCKED))
    if password is None or not user.check_password(password):
        wrong_passwords.note(user.email, at=timezone.now())
        raise NotConfirmed(wrong)


def _by_passkey(
    user: User, answer: Mapping[str, Any], act: Act, site: Site, settled: Iterable[Any]
) -> Confirmed:
    response, statement = answer["response"], act.statement(answer.get("nonce"))
    try:
        credential = decode(answer["id"])
        origin = assertions.client_data({"client_data": response["clientDataJSON"]}).get("origin")
        count = sign_count(response["authenticatorData"])
    except ValueError as wrong:
        raise NotConfirmed(f"The passkey's answer cannot be read: {wrong}. {_AGAIN}") from None
    row = _passkey(user, credential)
    if origin not in site.origins:
        raise NotConfirmed(
            f"The passkey was used on {str(origin)[:200]!r}, and this is {site.origins[0]!r}. {_AGAIN} Open"
            " the record here, and sign it again."
        )
    key = row.wrap().authenticator_data.credential_data.public_key
    confirmed: Confirmed = {
        "by": assertions.PASSKEY,
        "statement": statement,
        "rp": site.domain,
        "origin": origin,
        "credential": assertions.encode(credential),
        "authenticator_data": response["authenticatorData"].rstrip("="),
        "client_data": response["clientDataJSON"].rstrip("="),
        "signature": response["signature"].rstrip("="),
        "public_key": _jwk(key),
        **({"said": act.said} if act.said is not None else {}),
    }
    if error := assertions.fault(confirmed):
        raise NotConfirmed(f"{error[0].upper()}{error[1:]}. {_AGAIN} Read it again, then sign it.")
    _by_the_library(answer, statement, site, key)
    again = any(each.get("signature") == confirmed["signature"] for each in settled if isinstance(each, dict))
    if not again:
        nonces.check(user, statement.get("nonce", ""))
        count_use(row, SIGNING, count, signature=confirmed["signature"])
    return confirmed


def _by_the_library(
    answer: Mapping[str, Any], statement: Mapping[str, str], site: Site, key: Mapping[int, Any]
) -> None:
    """The same check by a maintained library; the sign count is checked separately."""
    # importing it takes longer than many a command
    from webauthn import verify_authentication_response
    from webauthn.helpers import encode_cbor
    from webauthn.helpers.exceptions import WebAuthnException

    try:
        verify_authentication_response(
            credential={
                "id": answer["id"],
                "rawId": answer["id"],
                "type": "public-key",
                "response": answer["response"],
            },
            expected_challenge=assertions.challenge(statement),
            expected_rp_id=site.domain,
            expected_origin=list(site.origins),
            credential_public_key=encode_cbor(dict(key)),
            credential_current_sign_count=0,
            require_user_verification=True,
        )
    except WebAuthnException as wrong:
        raise NotConfirmed(f"The passkey's answer is not valid: {wrong}. {_AGAIN}") from None


def passkeys(user: User) -> list[str]:
    """The ids of the user's passkeys, as a page passes them to the browser (``allow``)."""
    rows = Authenticator.objects.filter(user=user, type=Authenticator.Type.WEBAUTHN).order_by("pk")
    return [assertions.encode(_id_of(each)) for each in rows]


def _passkey(user: User, credential: bytes) -> Authenticator:
    for each in Authenticator.objects.filter(user=user, type=Authenticator.Type.WEBAUTHN):
        if _id_of(each) == credential:
            return each
    raise NotConfirmed(
        f"This passkey does not belong to your account. {_AGAIN} Use one of your own, or your password;"
        " passkeys are added on the page Security."
    )


def _id_of(row: Authenticator) -> bytes:
    return bytes(row.wrap().authenticator_data.credential_data.credential_id)


def _jwk(key: Mapping[int, Any]) -> dict[str, str]:
    """A COSE key (RFC 9053) as a JWK. Raises: NotConfirmed if it could not be checked later."""
    algorithm = _NAMES.get(key[3])
    if algorithm is None:
        raise NotConfirmed(
            f"The passkey signs by an algorithm (COSE {key[3]}) that could not be checked later. {_AGAIN} Use"
            " another passkey, or your password."
        )
    if algorithm in ("RS256", "PS256"):
        return {
            "kty": "RSA",
            "alg": algorithm,
            "n": assertions.encode(key[-1]),
            "e": assertions.encode(key[-2]),
        }
    kind, curve = _CURVES[key[-1]]
    made = {"kty": kind, "alg": algorithm, "crv": curve, "x": assertions.encode(key[-2])}
    return {**made, "y": assertions.encode(key[-3])} if kind == "EC" else made


def sign_count(authenticator_data: object) -> int:
    """A passkey's use counter. Raises: ValueError if it cannot be read."""
    return _sign_count(decode(authenticator_data))


@transaction.atomic
def count_use(row: Authenticator, lane: str, count: int, *, signature: str = "") -> None:
    """Store a passkey's use counter; it stays 0 for a passkey that does not count.

    ``signature``: the same one may come again, because what it signs may have been refused the first time.
    Raises: NotConfirmed if the counter did not go up: the passkey may have been copied.
    """
    row = Authenticator.objects.select_for_update(no_key=True).get(pk=row.pk)
    counts = row.data.setdefault("sign_counts", {})
    last = counts.get(lane, {"count": 0, "last": ""})
    mark = hashlib.sha256(signature.encode()).hexdigest() if signature else ""
    if mark and (last["count"], last["last"]) == (count, mark):
        return
    if (count or last["count"]) and count <= last["count"]:
        raise NotConfirmed(
            f"This passkey's use counter did not go up ({last['count']}, now {count}): there may be a copy"
            " of it, or what was signed came twice. Nothing was done. Try again; if it happens again,"
            " remove the passkey on the page Security."
        )
    counts[lane] = {"count": count, "last": mark}
    row.save(update_fields=["data"])
