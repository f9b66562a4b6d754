"""A passkey in software, for the tests: it makes what a browser and an authenticator would send."""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
from typing import Any

from allauth.mfa.models import Authenticator
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, padding, rsa
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from fido2 import cbor

from training.ledger.core import assertions
from training.ledger.core.assertions import encode
from training.models import User
from training.services.signing import nonces

PRESENT, VERIFIED, ATTESTED = 0x01, 0x04, 0x40
ORIGIN, RP = "http://testserver", "testserver"


def _bytes(number: int, length: int = 32) -> bytes:
    return number.to_bytes(length, "big")


class Passkey:
    """A key of an algorithm; ``count`` is how often it was used, or None where it does not count."""

    def __init__(self, algorithm: str = "ES256", *, count: int | None = 0):
        self.id = secrets.token_bytes(16)
        self.algorithm, self.count = algorithm, count
        self.owner: User | None = None
        self.private: Any
        if algorithm == "ES256":
            self.private = ec.generate_private_key(ec.SECP256R1())
            public = self.private.public_key().public_numbers()
            self.cose = {1: 2, 3: -7, -1: 1, -2: _bytes(public.x), -3: _bytes(public.y)}
        elif algorithm == "ES384":
            self.private = ec.generate_private_key(ec.SECP384R1())
            public = self.private.public_key().public_numbers()
            self.cose = {1: 2, 3: -35, -1: 2, -2: _bytes(public.x, 48), -3: _bytes(public.y, 48)}
        elif algorithm == "EdDSA":
            self.private = ed25519.Ed25519PrivateKey.generate()
            self.cose = {1: 1, 3: -8, -1: 6, -2: self.private.public_key().public_bytes_raw()}
        elif algorithm == "RS256":
            self.private = rsa.generate_private_key(65537, 2048)
            numbers = self.private.public_key().public_numbers()
            self.cose = {1: 3, 3: -257, -1: _bytes(numbers.n, 256), -2: _bytes(numbers.e, 3)}
        elif algorithm == "ES256K":
            self.private = ec.generate_private_key(ec.SECP256K1())
            public = self.private.public_key().public_numbers()
            self.cose = {1: 2, 3: -47, -1: 8, -2: _bytes(public.x), -3: _bytes(public.y)}

    def added_to(self, user: User, name: str = "Tablet", **where: str) -> Authenticator:
        """On the user's account, as the page that adds one leaves it."""
        self.owner = user
        made = self.registration(b"x" * 32, **where)
        return Authenticator.objects.create(
            user=user, type="webauthn", data={"name": name, "credential": made}
        )

    def in_chromium(self, user: User, rp: str) -> dict[str, Any]:
        """The passkey for ``WebAuthn.addCredential`` of a browser's virtual authenticator."""
        key = self.private.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
        said = {"credentialId": self.id, "privateKey": key, "userHandle": str(user.pk).encode()}
        written = {name: base64.b64encode(value).decode() for name, value in said.items()}
        return {**written, "isResidentCredential": True, "rpId": rp, "signCount": 0}

    def registration(self, challenge: bytes, *, origin: str = ORIGIN, rp: str = RP) -> dict[str, Any]:
        attested = b"\x00" * 16 + len(self.id).to_bytes(2, "big") + self.id + cbor.encode(self.cose)
        data = self._data(rp, PRESENT | VERIFIED | ATTESTED) + attested
        return {
            "id": encode(self.id),
            "rawId": encode(self.id),
            "type": "public-key",
            "clientExtensionResults": {"credProps": {"rk": True}},
            "response": {
                "clientDataJSON": encode(self._client("webauthn.create", challenge, origin)),
                "attestationObject": encode(cbor.encode({"fmt": "none", "attStmt": {}, "authData": data})),
            },
        }

    def answer(
        self,
        challenge: bytes,
        *,
        origin: str = ORIGIN,
        rp: str = RP,
        flags: int = PRESENT | VERIFIED,
        asked: str = "webauthn.get",
        handle: bytes | None = None,
    ) -> dict[str, Any]:
        """What the browser sends after the passkey signed."""
        if self.count is not None:
            self.count += 1
        data, client = self._data(rp, flags), self._client(asked, challenge, origin)
        message = data + hashlib.sha256(client).digest()
        if self.algorithm == "EdDSA":
            signature = self.private.sign(message)
        elif self.algorithm == "RS256":
            signature = self.private.sign(message, padding.PKCS1v15(), hashes.SHA256())
        else:
            digest = hashes.SHA384() if self.algorithm == "ES384" else hashes.SHA256()
            signature = self.private.sign(message, ec.ECDSA(digest))
        response = {"clientDataJSON": client, "authenticatorData": data, "signature": signature}
        return {
            "id": encode(self.id),
            "rawId": encode(self.id),
            "type": "public-key",
            "clientExtensionResults": {},
            "response": {
                **{key: encode(value) for key, value in response.items()},
                "userHandle": encode(handle) if handle else None,
            },
        }

    def signs(
        self,
        kind: str,
        subject: object,
        about: object,
        content_hash: str,
        *,
        nonce: str | None = None,
        **how: Any,
    ) -> dict[str, Any]:
        """The answer over a statement of what is signed, with a new nonce of the owner's by default."""
        if nonce is None:
            nonce = nonces.draw(self.owner) if self.owner else "of nobody"
        whole = {"subject": str(subject), "about": str(about), "content_hash": content_hash, "nonce": nonce}
        said = assertions.statement(kind, **whole)
        return {**self.answer(assertions.challenge(said), **how), "nonce": nonce}

    def _data(self, rp: str, flags: int) -> bytes:
        return hashlib.sha256(rp.encode()).digest() + bytes([flags]) + (self.count or 0).to_bytes(4, "big")

    @staticmethod
    def _client(asked: str, challenge: bytes, origin: str) -> bytes:
        said = {"type": asked, "challenge": encode(challenge), "origin": origin, "crossOrigin": False}
        return json.dumps(said).encode()
