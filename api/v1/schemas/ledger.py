"""The ledger's checkpoints and proofs."""

from __future__ import annotations

from api.v1.schemas.shapes import STRING, Schema, full, listed, or_null, ref
from training.ledger import sealed, statements

_HASH: Schema = {"type": "string", "pattern": f"^{sealed.HEX.pattern}$"}
_WHOLE: Schema = {"type": "integer", "minimum": 0}
_INSTANT: Schema = {"type": "string", "pattern": f"^{sealed.INSTANT.pattern}$"}
_JWS: Schema = {
    "type": "string",
    "pattern": r"^[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+$",
    "description": "A compact JWS, algorithm Ed25519.",
}
_WORD: Schema = {"type": "string", "pattern": f"^{statements.PART.pattern}$"}


def components() -> dict[str, Schema]:
    return {
        "LedgerKey": full(
            {"kty": {"const": "OKP"}, "crv": {"const": "Ed25519"}, "x": _WORD, "kid": _WORD},
            description="A public key (RFC 8037); `kid` is its thumbprint (RFC 7638).",
        ),
        "LedgerKeys": full({"keys": listed(ref("LedgerKey"))}),
        "LedgerCheckpoint": full(
            {
                "school": STRING,
                "tree": STRING,
                "size": _WHOLE,
                "root": _HASH,
                "at": _INSTANT,
                "kid": _WORD,
                "checkpoint": _JWS,
            }
        ),
        "LedgerExport": full(
            {
                "format": {"const": sealed.EXPORT},
                "tree": STRING,
                "keys": listed(ref("LedgerKey")),
                "checkpoint": _JWS,
                "contents": {**_JWS, "description": "The signed list of the entries that are in it."},
                "entries": listed(ref("LedgerEntry")),
                "earlier": listed(full({"checkpoint": _JWS, "consistency": listed(_HASH)})),
            },
            description="What `python -m training.ledger.verify` checks, without this server.",
        ),
        "LedgerEntry": full(
            {
                "index": _WHOLE,
                "kind": STRING,
                "subject": {**STRING, "description": "The student's reference."},
                "at": _INSTANT,
                "commitment": {**_HASH, "description": "SHA-256 over the salt's bytes and the body's."},
                "body": or_null({**STRING, "description": "Canonical JSON (RFC 8785); null when erased."}),
                "salt": or_null(_HASH),
                "proof": {
                    **listed(_HASH),
                    "description": (
                        "From the leaf, SHA-256 over a zero byte and the canonical JSON of format"
                        f" (`{sealed.ENTRY}`), tree, index, kind, subject, at and commitment."
                    ),
                },
            }
        ),
    }
