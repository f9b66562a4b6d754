"""A passkey's signature over what was sealed: made by a browser (WebAuthn, level 3), checked years later.

Plain Python with the standard library and ``cryptography``, so that the offline verifier checks what the
server took by the same code. An entry that a passkey confirmed holds, under ``confirmed``::

    {"by": "passkey",
     "statement": {"format": "signing-statement/2", "kind", "subject", "about", "content_hash", "nonce"},
     "said": text,                       an endorsement alone: the canonical JSON that was signed
     "rp", "origin",                     the site that it was made for
     "credential", "authenticator_data", "client_data", "signature",      base64url
     "public_key": JWK}

The challenge in ``client_data`` is the SHA-256 of the statement's canonical form, so that the signature is
over this kind of act, this student, this record and this content, and fits nothing else. The nonce is the
server's, used once; older entries have "signing-statement/1", without it.
"""

import base64
import binascii
import hashlib
import json
import re
from collections.abc import Callable, Mapping
from typing import Any

from training.ledger.core import sealed

STATEMENT, WITHOUT_NONCE = "signing-statement/2", "signing-statement/1"
#: What a statement about a whole record is about, beside the student it names.
WHOLE_RECORD = "record"
_TAKEN_OVER = "record.taken-over"
PASSWORD, PASSKEY = "password", "passkey"
USER_PRESENT, USER_VERIFIED = 0x01, 0x04
_FIELDS = {
    "by",
    "statement",
    "rp",
    "origin",
    "credential",
    "authenticator_data",
    "client_data",
    "signature",
    "public_key",
}
#: Elliptic curves by the name of the algorithm: the curve's name in a JWK, and the hash.
_CURVES = {"ES256": ("P-256", "SHA256"), "ES512": ("P-521", "SHA512")}
_DECIMAL = re.compile(r"-?[0-9]+\.[0-9]+")
#: Numbers with a fraction, which a ledger holds as text: the coordinates of a point.
_COORDINATES = ("lat", "lon")


def statement(
    kind: str, *, subject: str, about: str, content_hash: str, nonce: str | None = None
) -> dict[str, str]:
    """What a passkey signs: the kind of the entry that will be sealed, the student, the record, its hash.

    Without a nonce it is as entries had it before there were any.
    """
    said = {"kind": kind, "subject": subject, "about": about, "content_hash": content_hash}
    if nonce is None:
        return {"format": WITHOUT_NONCE, **said}
    return {"format": STATEMENT, **said, "nonce": nonce}


def challenge(said: Mapping[str, str]) -> bytes:
    """The 32 bytes that the browser is asked to sign."""
    return hashlib.sha256(sealed.canonical(said)).digest()


def hash_of(text: str) -> str:
    """``sha256:…`` of a text that is canonical JSON."""
    return "sha256:" + hashlib.sha256(text.encode()).hexdigest()


def decode(text: object) -> bytes:
    """The bytes of base64url, with or without padding; else ``ValueError``."""
    if not isinstance(text, str) or not re.fullmatch(r"[A-Za-z0-9_-]*={0,2}", text):
        raise ValueError("is not base64url")
    bare = text.rstrip("=")
    try:
        return base64.urlsafe_b64decode(bare + "=" * (-len(bare) % 4))
    except binascii.Error:
        raise ValueError("is not base64url") from None


def encode(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def client_data(confirmed: Mapping[str, Any]) -> dict[str, Any]:
    """What the browser says that it asked for; ``ValueError`` where that cannot be read."""
    try:
        said = json.loads(decode(confirmed["client_data"]))
    except (ValueError, RecursionError):
        raise ValueError("what the browser said (client data) is not JSON") from None
    if not isinstance(said, dict):
        raise ValueError("what the browser said (client data) is not an object")
    return said


def sign_count(authenticator_data: bytes) -> int:
    """How often the passkey says that it was used; 0 where it does not count. ``ValueError`` if cut short."""
    if len(authenticator_data) < 37:
        raise ValueError("the authenticator's data is cut short")
    return int.from_bytes(authenticator_data[33:37], "big")


def fault(confirmed: Mapping[str, Any]) -> str:
    """Why a passkey's confirmation does not hold, in words; empty where it does.

    Raises ``ModuleNotFoundError`` where ``cryptography`` is not installed.
    """
    if set(confirmed) - {"said"} != _FIELDS:
        return "its confirmation by passkey has other parts than it should"
    said = confirmed["statement"]
    if not isinstance(said, dict) or set(said) != set(
        statement("", subject="", about="", content_hash="", nonce=said.get("nonce"))
    ):
        return "its confirmation by passkey has no statement that was signed"
    try:
        browser = client_data(confirmed)
        data, signature = decode(confirmed["authenticator_data"]), decode(confirmed["signature"])
        sign_count(data)
        asked = decode(browser.get("challenge"))
    except ValueError as wrong:
        return f"its confirmation by passkey cannot be read: {wrong}"
    if browser.get("type") != "webauthn.get":
        return "the passkey was asked for something other than a signature"
    if asked != challenge(said):
        return "the passkey signed something else than this"
    if browser.get("origin") != confirmed["origin"] or browser.get("crossOrigin", False) is not False:
        return "the passkey was used on another site than it says"
    if data[:32] != hashlib.sha256(str(confirmed["rp"]).encode()).digest():
        return "the passkey belongs to another site than it says"
    if not data[32] & USER_PRESENT or not data[32] & USER_VERIFIED:
        return "the passkey did not make sure who used it (no PIN, finger or face was asked for)"
    message = data + hashlib.sha256(decode(confirmed["client_data"])).digest()
    if not _verifies(confirmed["public_key"], signature, message):
        return "the passkey's signature does not fit: it, or what it is over, was changed"
    return ""


def _verifies(jwk: object, signature: bytes, message: bytes) -> bool:
    from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec, ed25519, padding, rsa

    if not isinstance(jwk, dict):
        return False
    algorithm = jwk.get("alg")
    try:
        if algorithm in _CURVES:
            name, digest = _CURVES[algorithm]
            if (jwk["kty"], jwk["crv"]) != ("EC", name):
                return False
            curve = {"P-256": ec.SECP256R1, "P-521": ec.SECP521R1}[name]()
            x, y = (int.from_bytes(decode(jwk[part]), "big") for part in "xy")
            public = ec.EllipticCurvePublicNumbers(x, y, curve).public_key()
            public.verify(signature, message, ec.ECDSA(getattr(hashes, digest)()))
        elif algorithm == "EdDSA" and (jwk["kty"], jwk["crv"]) == ("OKP", "Ed25519"):
            ed25519.Ed25519PublicKey.from_public_bytes(decode(jwk["x"])).verify(signature, message)
        elif algorithm in ("RS256", "PS256") and jwk["kty"] == "RSA":
            n, e = (int.from_bytes(decode(jwk[part]), "big") for part in "ne")
            pad: Any = padding.PKCS1v15()
            if algorithm == "PS256":
                pad = padding.PSS(mgf=padding.MGF1(hashes.SHA256()), salt_length=32)
            rsa.RSAPublicNumbers(e, n).public_key().verify(signature, message, pad, hashes.SHA256())
        else:
            return False
    except (InvalidSignature, UnsupportedAlgorithm, ValueError, KeyError, TypeError):
        return False
    return True


# What an entry's own words must say, so that the signature is over them


def entry_fault(kind: str, subject: str, body: Mapping[str, Any]) -> str:
    """Why an entry's confirmation does not fit the entry; empty where it does, or where none was kept."""
    confirmed = body.get("confirmed")
    if confirmed is None or confirmed == {"by": PASSWORD}:
        return ""
    if not isinstance(confirmed, dict) or confirmed.get("by") != PASSKEY:
        return "it is confirmed in a way that is not known here"
    if kind not in _SIGNED:
        return "it is confirmed by passkey, and of a kind that a passkey does not confirm"
    if wrong := fault(confirmed):
        return wrong
    try:
        about, content_hash = _SIGNED[kind](body)
    except (KeyError, TypeError, ValueError, AttributeError):
        return "what the passkey signed cannot be found in it"
    subjects = [subject]
    if kind == _TAKEN_OVER:  # a student who is new here has no reference of this school before
        subjects.append(str(body.get("origin_subject")))
    signed = confirmed["statement"]
    whole = {"kind": kind, "about": about, "content_hash": content_hash, "nonce": signed.get("nonce")}
    if signed not in [statement(subject=each, **whole) for each in subjects]:
        return "the passkey's signature is over another record, or over other content"
    return ""


def _lesson(body: Mapping[str, Any]) -> tuple[str, str]:
    whole = {key: body[key] for key in ("lesson", "content", "corrects", "reason")}
    if body.get("course") is not None:
        whole["course"] = body["course"]
    return body["lesson_record"], hash_of(canonical(whole))


def _acknowledgement(body: Mapping[str, Any]) -> tuple[str, str]:
    return body["lesson_record"], body["content_hash"]


def _endorsement(body: Mapping[str, Any]) -> tuple[str, str]:
    text = body["confirmed"]["said"]
    said, given = sealed_json(text), body["endorsement"]
    if (said["kind"], said["judgement"]) != (given["kind"], body["judgement"]):
        raise ValueError("another endorsement")
    for key, value in said["endorsement"].items():
        if isinstance(value, str) and isinstance(given.get(key), str) and _bare(value) != _bare(given[key]):
            raise ValueError("another endorsement")
    return given["id"], hash_of(text)


def _revocation(body: Mapping[str, Any]) -> tuple[str, str]:
    return body["entry"], hash_of(canonical({"reason": body["reason"]}))


def _release(body: Mapping[str, Any]) -> tuple[str, str]:
    """With the check itself, whose hash the person sent back."""
    if hash_of(body["check"]) != body["checked"]:
        raise ValueError("another check")
    said = ("checked", "decision", "lines_confirmed", "reason")
    return body["release"], hash_of(canonical({key: body[key] for key in said}))


def _resolution(body: Mapping[str, Any]) -> tuple[str, str]:
    return body["finding"], hash_of(canonical({key: body[key] for key in ("digest", "how", "note")}))


def _replaced(body: Mapping[str, Any]) -> tuple[str, str]:
    return WHOLE_RECORD, hash_of(canonical({key: body[key] for key in ("reason", "sent")}))


def _taken_over(body: Mapping[str, Any]) -> tuple[str, str]:
    """With the keys that were trusted for it, where there were any."""
    keys = ("reason", "sent", "trust") if "trust" in body else ("reason", "sent")
    return WHOLE_RECORD, hash_of(canonical({key: body[key] for key in keys}))


def _entered(body: Mapping[str, Any]) -> tuple[str, str]:
    """One entry with the hash of what it says, or several that stood on the record already."""
    if "sent" in body:
        return body["added"][0]["id"], hash_of(canonical({"saw": body["saw"], "sent": body["sent"]}))
    return WHOLE_RECORD, hash_of(canonical({"entries": body["entries"], "saw": body["saw"]}))


_SIGNED: Mapping[str, Callable[[Mapping[str, Any]], tuple[str, str]]] = {
    "lesson.signed": _lesson,
    "lesson.acknowledged": _acknowledgement,
    "endorsement.given": _endorsement,
    "endorsement.revoked": _revocation,
    "solo-release.decided": _release,
    "finding.resolved": _resolution,
    "record.replaced": _replaced,
    _TAKEN_OVER: _taken_over,
    "record.added": _entered,
    "record.attested": _entered,
}


def _bare(text: str) -> str:
    return " ".join(text.split()).casefold()


def sealed_json(text: object) -> dict[str, Any]:
    """An object of canonical JSON that was signed as text. Numbers may have fractions there."""
    found = json.loads(str(text))
    if not isinstance(found, dict):
        raise ValueError("is not an object")
    return found


def canonical(value: Any) -> str:
    """Canonical JSON (RFC 8785) of what was sealed, with a point's coordinates as the numbers they were."""
    if isinstance(value, Mapping):
        if set(_COORDINATES) <= set(value):
            value = {key: _coordinate(each) if key in _COORDINATES else each for key, each in value.items()}
        inside = sorted(value.items(), key=lambda pair: str(pair[0]).encode("utf-16-be"))
        return "{" + ",".join(f"{json.dumps(k, ensure_ascii=False)}:{canonical(v)}" for k, v in inside) + "}"
    if isinstance(value, list | tuple):
        return "[" + ",".join(canonical(each) for each in value) + "]"
    if isinstance(value, float):
        return number(value)
    return json.dumps(value, ensure_ascii=False)


def _coordinate(value: Any) -> Any:
    return float(value) if isinstance(value, str) and _DECIMAL.fullmatch(value) else value


def number(value: float) -> str:
    """A number as ECMAScript writes it, of the size of a coordinate (between 1e-6 and 1e15, or nought)."""
    if value == int(value):
        return str(int(value))
    text = repr(value)
    if "e" in text:  # Python writes 1e-05 where ECMAScript still writes 0.00001
        digits, _, power = text.partition("e")
        if -7 < int(power) < 0:
            bare = digits.replace(".", "").lstrip("-")
            text = ("-" if value < 0 else "") + "0." + "0" * (-int(power) - 1) + bare
        else:
            text = f"{digits}e{int(power)}"
    return text
