"""The exact bytes that are sealed: an entry's leaf, its commitment, and the statements that are signed.

Plain Python with the standard library alone, so that the offline verifier reads what the server wrote by the
same code. Every text is RFC 8785 canonical JSON. In the leaf and the statements all keys are ASCII and no
number has a fraction: there ``json.dumps`` with sorted keys is that canonical form (held against the library
in the tests).

A body is sealed through a salted commitment: the leaf holds ``SHA-256(salt || body)`` only. Where a law
demands that a body be erased, body and salt go, nobody can guess the body back from the leaf, and every
proof over it still holds.
"""

import datetime
import hashlib
import itertools
import json
import re
from collections.abc import Mapping
from typing import Any

ENTRY = "ledger-entry/1"
CHECKPOINT = "ledger-checkpoint/1"
CONTENTS = "ledger-contents/1"
EXPORT = "ledger-export/1"
HAND_OVER = "hand-over/1"

#: The ledger's own kind of entry: it says that an earlier entry's body was erased, and why.
ERASURE = "ledger.erasure"

SALT_BYTES = 32
MOST_INTEGER = 2**53 - 1  # RFC 8785 (I-JSON): larger ones do not survive every reader
INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z")
HEX = re.compile(r"[0-9a-f]{64}")


def instant_text(instant: datetime.datetime) -> str:
    """An instant as it is sealed: UTC, six digits of a second, ``Z``. Without a zone: ``ValueError``."""
    if instant.tzinfo is None:
        raise ValueError(f"the instant {instant.isoformat()} has no time zone; give it one")
    in_utc = instant.astimezone(datetime.UTC).replace(tzinfo=None)
    return in_utc.isoformat(timespec="microseconds") + "Z"


def instant_of(text: str) -> datetime.datetime:
    """The instant that ``instant_text`` wrote; anything else is a ``ValueError``."""
    if not INSTANT.fullmatch(text):
        raise ValueError(f"{text!r} is not an instant such as 2026-11-25T09:30:00.000000Z")
    return datetime.datetime.fromisoformat(text)


def is_hash(value: object) -> bool:
    """True for a SHA-256 hash (or a salt) as it is stored: 64 lower-case hexadecimal digits."""
    return isinstance(value, str) and HEX.fullmatch(value) is not None


def canonical(statement: Mapping[str, Any]) -> bytes:
    """Canonical JSON of a flat statement with ASCII keys: texts, whole numbers, lists of these."""
    return json.dumps(statement, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()


def commitment(salt: str, body: str) -> str:
    """SHA-256 over the salt's bytes (given as hexadecimal) and the body's UTF-8; as hexadecimal."""
    return hashlib.sha256(bytes.fromhex(salt) + body.encode()).hexdigest()


def leaf_data(*, tree: str, index: int, kind: str, subject: str, at: str, commitment: str) -> bytes:
    """What is hashed into the tree for one entry."""
    return canonical(
        {
            "format": ENTRY,
            "tree": tree,
            "index": index,
            "kind": kind,
            "subject": subject,
            "at": at,
            "commitment": commitment,
        }
    )


def checkpoint_statement(*, tree: str, size: int, root: str, at: str) -> bytes:
    """What is signed at a checkpoint: that the ledger had so many entries and this root at that instant."""
    return canonical({"format": CHECKPOINT, "tree": tree, "size": size, "root": root, "at": at})


def contents_statement(
    *,
    tree: str,
    size: int,
    root: str,
    at: str,
    subjects: list[str] | None,
    indices: list[int],
    erased: list[int],
) -> bytes:
    """What is signed about an export: which entries it holds, and which of them have no body any more.

    ``subjects`` is null where the entries were chosen by index; else the list holds every entry of these.
    """
    return canonical(
        {
            "format": CONTENTS,
            "tree": tree,
            "size": size,
            "root": root,
            "at": at,
            "subjects": subjects,
            "indices": indices,
            "erased": erased,
        }
    )


def strict_json(text: str | bytes) -> Any:
    """Read JSON in which no key stands twice and no number has a fraction; else ``ValueError``."""

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            keys = [key for key, _ in pairs]
            twice = next(key for key in keys if keys.count(key) > 1)
            raise ValueError(f"the key {twice!r} occurs twice")
        return found

    try:
        return json.loads(text, object_pairs_hook=once, parse_float=_refused, parse_constant=_refused)
    except RecursionError:
        raise ValueError("it is nested too deeply") from None


def body_fault(text: str) -> str:
    """Why a body is not canonical JSON of our kind (an object, no fractions); empty where it is."""

    def in_order(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len(pairs) > 1:
            order = [key.encode("utf-16-be") for key, _ in pairs]
            if any(one >= other for one, other in itertools.pairwise(order)):
                raise ValueError("its keys are not in order")
        return dict(pairs)

    try:
        value = json.loads(text, object_pairs_hook=in_order, parse_float=_refused, parse_constant=_refused)
        if not isinstance(value, dict):
            return "it is not a JSON object"
        if json.dumps(value, ensure_ascii=False, separators=(",", ":")) != text:
            return "it is not in canonical form"
    except RecursionError:
        return "it is nested too deeply"
    except ValueError as fault:
        return str(fault)
    return ""


def _refused(number: str) -> Any:
    raise ValueError(f"the number {number} is not a whole one")


def erased_index(kind: object, body: object) -> int | None:
    """The index whose body this entry says is erased; None where it says no such thing."""
    if kind != ERASURE or not isinstance(body, str):
        return None
    try:
        said = strict_json(body)
    except ValueError:
        return None
    index = said.get("erases") if isinstance(said, dict) else None
    return index if type(index) is int else None
