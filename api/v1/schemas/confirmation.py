"""What confirms a signature at the moment of signing: a password, or a passkey over what is signed."""

from __future__ import annotations

from api.v1.schemas.shapes import STRING, TEXT, Schema, obj, or_null, ref

_BYTES: Schema = {"type": "string", "pattern": "^[A-Za-z0-9_-]+={0,2}$", "maxLength": 10_000}
_IGNORED: Schema = {"description": "As the browser gives it; not looked at."}
PASSWORD: Schema = {
    **TEXT,
    "description": "The caller's own, typed at the moment of signing. Either this or passkey.",
}
_ANSWER: Schema = obj(
    {
        "id": _BYTES,
        "response": obj(
            {
                "clientDataJSON": _BYTES,
                "authenticatorData": _BYTES,
                "signature": _BYTES,
                "userHandle": _IGNORED,
            },
            ["clientDataJSON", "authenticatorData", "signature"],
        ),
        "rawId": _IGNORED,
        "type": _IGNORED,
        "authenticatorAttachment": _IGNORED,
        "clientExtensionResults": _IGNORED,
    },
    ["id", "response"],
    description=(
        "The answer of one of the caller's passkeys (AuthenticationResponseJSON of WebAuthn), with user "
        "verification. Its challenge is the SHA-256 of the canonical JSON (RFC 8785) of "
        '`{"format": "signing-statement/1", "kind", "subject", "about", "content_hash"}`: `kind` is '
        "`lesson.signed`, `lesson.acknowledged`, `endorsement.given` or `endorsement.revoked`; `subject` the "
        "student's reference; `about` the id in question; `content_hash` that of the lesson record, or "
        "`sha256:…` over the canonical JSON of `kind`, `endorsement` and `judgement` as they are sent "
        "(`{}` and an empty text where they are left out), or of `reason`. It is sealed in the ledger."
    ),
)
CONFIRMATION: dict[str, Schema] = {
    "confirm_password": or_null(PASSWORD),
    "passkey": or_null(ref("PasskeyAnswer")),
}
#: One of the two is there, as a value.
EITHER: list[Schema] = [
    {"required": ["confirm_password"], "properties": {"confirm_password": STRING}},
    {"required": ["passkey"], "properties": {"passkey": {"type": "object"}}},
]


def components() -> dict[str, Schema]:
    return {"PasskeyAnswer": _ANSWER}
