"""Signed statements: compact JWS (RFC 7515) with the algorithm Ed25519 (RFC 9864), read and checked strictly.

Needs only the standard library and ``cryptography``. A key is known by the thumbprint of its public part
(RFC 7638), so a key id cannot be moved to another key.
"""

import base64
import binascii
import hashlib
import itertools
import re
from collections.abc import Mapping
from typing import Any

from training.ledger.core.sealed import canonical, instant_of, is_hash, strict_json

PART = re.compile(r"[A-Za-z0-9_-]*")
FIELDS: dict[str, set[str]] = {
    "ledger-checkpoint/1": {"format", "tree", "size", "root", "at"},
    "ledger-contents/1": {"format", "tree", "size", "root", "at", "subjects", "indices", "erased"},
    "hand-over/1": {"format", "tree", "size", "root", "at", "subject", "about", "files"},
}


class StatementError(ValueError):
    """A signed statement cannot be read, or nobody we know signed it; the message says which."""


def to_base64url(data: bytes) -> str:
    """Base64url without padding (RFC 7515, section 2)."""
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def from_base64url(text: object, what: str) -> bytes:
    """Reads the one spelling that ``to_base64url`` writes; any other is a ``StatementError``."""
    if not isinstance(text, str) or not PART.fullmatch(text):
        raise StatementError(f"{what} is not base64url")
    try:
        data = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except binascii.Error:
        raise StatementError(f"{what} is not base64url") from None
    if to_base64url(data) != text:
        raise StatementError(f"{what} is not base64url in its one spelling")
    return data


def thumbprint(public: str) -> str:
    """The key id: RFC 7638 thumbprint of an Ed25519 key, whose public part is given as base64url."""
    return to_base64url(hashlib.sha256(canonical({"crv": "Ed25519", "kty": "OKP", "x": public})).digest())


def public_keys(listed: object) -> dict[str, str]:
    """Key id to public part, of a list of JWKs. What does not fit together is a ``StatementError``."""
    if not isinstance(listed, list):
        raise StatementError("keys: is not a list")
    found: dict[str, str] = {}
    for place, jwk in enumerate(listed):
        if not isinstance(jwk, dict) or set(jwk) != {"kty", "crv", "x", "kid"}:
            raise StatementError(f"keys[{place}]: is not a key with kty, crv, x and kid")
        if (jwk["kty"], jwk["crv"]) != ("OKP", "Ed25519"):
            raise StatementError(f"keys[{place}]: is not an Ed25519 key")
        if len(from_base64url(jwk["x"], f"keys[{place}].x")) != 32:
            raise StatementError(f"keys[{place}].x: an Ed25519 key has 32 bytes")
        if thumbprint(jwk["x"]) != jwk["kid"]:
            raise StatementError(f"keys[{place}].kid: is not the thumbprint of its key")
        found[jwk["kid"]] = jwk["x"]
    return found


def as_jwk(kid: str, public: str) -> dict[str, str]:
    return {"kty": "OKP", "crv": "Ed25519", "x": public, "kid": kid}


def read(token: object, keys: Mapping[str, str], form: str) -> tuple[str, dict[str, Any]]:
    """Check a statement of the form ``form`` and return its key id and what it says.

    ``keys``: the public parts that are believed, by key id. Raises ``StatementError``, and
    ``ModuleNotFoundError`` where ``cryptography`` is not installed.
    """
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    parts = token.split(".") if isinstance(token, str) else []
    if len(parts) != 3:
        raise StatementError("it is not a compact JWS")
    try:
        header = strict_json(from_base64url(parts[0], "its header"))
        payload = from_base64url(parts[1], "its payload")
        said = strict_json(payload)
    except StatementError:
        raise
    except ValueError as fault:
        raise StatementError(f"it is not a compact JWS over JSON: {fault}") from None
    if not isinstance(header, dict) or header.get("alg") != "Ed25519" or set(header) != {"alg", "kid"}:
        raise StatementError("its header is not that of an Ed25519 signature with a key id")
    kid = header["kid"]
    if not isinstance(kid, str) or kid not in keys:
        raise StatementError(f"it is signed with the key {kid}, which is not a trusted one")
    public = from_base64url(keys[kid], f"the key {kid}")
    if thumbprint(keys[kid]) != kid or len(public) != 32:
        raise StatementError(f"the key {kid} is not the key of that thumbprint")
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(
            from_base64url(parts[2], "its signature"), f"{parts[0]}.{parts[1]}".encode("ascii")
        )
    except InvalidSignature:
        raise StatementError(f"its signature is not one of the key {kid}: it was changed or forged") from None
    if wrong := _shape_fault(said, form):
        raise StatementError(wrong)
    if canonical(said) != payload:
        raise StatementError("what it says is not in canonical form")
    return kid, said


def _shape_fault(said: Any, form: str) -> str:
    if not isinstance(said, dict) or said.get("format") != form:
        found = said.get("format") if isinstance(said, dict) else None
        return f"it is of the format {found!r}, not {form!r}"
    if set(said) != FIELDS[form]:
        return f"it has the fields {', '.join(sorted(said))}, not those of {form}"
    if not isinstance(said["tree"], str) or type(said["size"]) is not int or said["size"] < 0:
        return "its tree or size is not one"
    if not is_hash(said["root"]):
        return "its root is not a hash"
    try:
        instant_of(said["at"])
    except (TypeError, ValueError):
        return "its instant is not one"
    if form == "ledger-contents/1":
        return _contents_fault(said)
    if form == "hand-over/1":
        return _hand_over_fault(said)
    return ""


def _contents_fault(said: dict[str, Any]) -> str:
    for name in ("indices", "erased"):
        listed = said[name]
        if not isinstance(listed, list) or any(type(one) is not int or one < 0 for one in listed):
            return f"its {name} are not a list of whole numbers"
        if any(one >= other for one, other in itertools.pairwise(listed)):
            return f"its {name} are not in order"
    subjects = said["subjects"]
    if subjects is None or (isinstance(subjects, list) and all(isinstance(one, str) for one in subjects)):
        return ""
    return "its subjects are not a list of texts"


def _hand_over_fault(said: dict[str, Any]) -> str:
    if not isinstance(said["subject"], str) or not isinstance(said["about"], dict):
        return "its subject is not a text, or what it is about not an object"
    files = said["files"]
    if not isinstance(files, list) or not all(
        isinstance(one, dict)
        and set(one) == {"name", "size", "sha256"}
        and isinstance(one["name"], str)
        and type(one["size"]) is int
        and is_hash(one["sha256"])
        for one in files
    ):
        return "its files are not a list of names with size and hash"
    if any(one["name"] >= other["name"] for one, other in itertools.pairwise(files)):
        return "its files are not in order"
    return ""
