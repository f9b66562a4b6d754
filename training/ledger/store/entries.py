"""Sealing: one entry more at the end of a tree, inside the caller's transaction."""

import datetime
import json
import re
import secrets
from typing import Any

import rfc8785
from django.db import connection, transaction
from django.db.models import BigIntegerField, CharField, QuerySet, TextField

from training.ledger import models
from training.ledger.core import proofs, sealed
from training.sql import Change, Place, Statement, insert

NESTED_AT_MOST = 32
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f\ud800-\udfff]")


class LedgerError(ValueError):
    """What was to be sealed cannot be; the message names the place and the way out."""


def append(
    *,
    tree: str,
    kind: str,
    subject: str,
    body: dict[str, Any],
    at: datetime.datetime,
) -> models.Entry:
    """Seal one entry at the end of ``tree`` and return it.

    ``kind``: what sort of entry, such as ``lesson.signed`` (the ledger's own begin with ``ledger.``).
    ``subject``: a reference to whose record it belongs to; it stays readable when a body is erased, so it is
    no name. ``body``: an object of texts, whole numbers, true, false, null, lists and objects of these.
    ``at``: the instant of sealing, with its zone.

    Runs inside the caller's transaction, so that the entry stands or falls with the rows it is about; from
    here to the end of it, other appends to the same tree wait. Five statements at any size of the tree.
    Raises ``LedgerError`` before anything is written.
    """
    if not connection.in_atomic_block:
        raise LedgerError(
            "entries.append was called outside a transaction: an entry must be committed together with the "
            "rows it seals. Call it inside transaction.atomic()."
        )
    _check_words(tree=tree, kind=kind, subject=subject)
    text = canonical_body(body)
    if kind.startswith("ledger."):
        _check_own(kind, body)
    try:
        instant = sealed.instant_text(at)
    except (ValueError, AttributeError) as fault:
        raise LedgerError(f"at: {fault}") from None

    head = _locked_head(tree)
    if kind == sealed.ERASURE and body["erases"] >= head.size:
        raise LedgerError(
            f"body.erases: {tree} has {head.size} entries, the last is {head.size - 1}; "
            f"there is no entry {body['erases']} to erase"
        )
    entry = models.Entry(tree=tree, index=head.size, kind=kind, subject=subject, at=instant)
    _grow(head, entry, text)
    return entry


def _grow(head: models.Head, entry: models.Entry, text: str) -> None:
    """Write an entry with its body, and the nodes of the tree that it completes."""
    salt = secrets.token_hex(sealed.SALT_BYTES)
    entry.commitment = sealed.commitment(salt, text)
    said = {name: getattr(entry, name) for name in ("tree", "index", "kind", "subject", "at", "commitment")}
    leaf = proofs.leaf_hash(sealed.leaf_data(**said))
    entry.leaf = leaf.hex()
    peaks = [bytes.fromhex(peak) for peak in head.peaks.split()]
    nodes = [
        models.Node(tree=entry.tree, level=level, index=position, hash=one.hex())
        for (level, position), one in proofs.grow(peaks, entry.index, leaf)
    ]
    # The rows belong together: a caller who catches a fault cannot commit half of them.
    with transaction.mark_for_rollback_on_error():
        insert([entry, *nodes])
        insert([models.EntryBody(entry=entry, body=text, salt=salt)])
        _GROW(
            tree=entry.tree,
            size=entry.index + 1,
            root=proofs.fold(peaks).hex(),
            peaks=" ".join(peak.hex() for peak in peaks),
        )


def _locked_head(tree: str) -> models.Head:
    """The tree's head, locked until the transaction ends (SQLite locks the whole database at its start)."""
    found = _HEAD.instances(tree=tree)
    if not found:
        # Two first entries at once: one makes the row, the other waits for it.
        models.Head.objects.bulk_create([models.Head(tree=tree)], ignore_conflicts=True)
        found = _HEAD.instances(tree=tree)
    return found[0]


def _head() -> QuerySet[models.Head]:
    return (
        models.Head.objects.select_for_update(no_key=True).filter(tree=Place("tree", CharField())).order_by()
    )


def _grown() -> tuple[QuerySet[models.Head], dict[str, Any]]:
    return models.Head.objects.filter(tree=Place("tree", CharField())), {
        "size": Place("size", BigIntegerField()),
        "root": Place("root", CharField()),
        "peaks": Place("peaks", TextField()),
    }


_HEAD, _GROW = Statement(_head), Change(_grown)


def _check_words(**words: str) -> None:
    longest = {"tree": models.TREE_LENGTH, "kind": models.KIND_LENGTH, "subject": models.SUBJECT_LENGTH}
    for name, word in words.items():
        if not isinstance(word, str) or not word:
            raise LedgerError(f"{name}: {word!r} is given; a text that is not empty is needed")
        if len(word) > longest[name]:
            raise LedgerError(f"{name}: has {len(word)} characters, at most {longest[name]} fit")
        if _UNPRINTABLE.search(word):
            raise LedgerError(f"{name}: {word!r} holds a character that cannot be printed")


def _check_own(kind: str, body: dict[str, Any]) -> None:
    if kind != sealed.ERASURE:
        raise LedgerError(
            f"kind: {kind!r} begins with 'ledger.', which is kept for the ledger's own kinds; choose another"
        )
    reason = body.get("reason")
    if set(body) != {"erases", "reason"} or not isinstance(reason, str) or not reason.strip():
        raise LedgerError("body: an erasure says which index it erases and the reason, nothing else")
    if type(body["erases"]) is not int or body["erases"] < 0:
        raise LedgerError(f"body.erases: {body['erases']!r} is not an index of an entry")


def canonical_body(body: dict[str, Any]) -> str:
    """The body's canonical JSON (RFC 8785). Raises ``LedgerError`` naming the place of what cannot go in."""
    if not isinstance(body, dict):
        raise LedgerError(f"body: is a {type(body).__name__}; an object (dict) is needed")
    _check_value(body, ("body", None), 0)
    text = json.dumps(body, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    # Keys are in order of UTF-16, which is that of the characters as long as none is beyond its surrogates.
    return text if text.isascii() or max(text) < "\ud800" else rfc8785.dumps(body).decode()


#: What leads to a value in a body: its key or number, and what leads to what holds it. The words are made for
#: a fault alone.
_Place = tuple[int | str, "_Place | None"]


def _check_value(value: Any, place: _Place, depth: int) -> None:
    if depth > NESTED_AT_MOST:
        raise LedgerError(f"{_words(place)}: is nested more than {NESTED_AT_MOST} deep")
    if value is None or isinstance(value, bool):
        return
    if isinstance(value, str):
        if not value.isascii():
            _check_text(value, _words(place))
    elif isinstance(value, int):
        if abs(value) > sealed.MOST_INTEGER:
            raise LedgerError(
                f"{_words(place)}: {value} is beyond ±{sealed.MOST_INTEGER}; write it as a text"
            )
    elif isinstance(value, float):
        raise LedgerError(
            f"{_words(place)}: {value!r} is a floating-point number; seal whole numbers of a smaller unit, or"
            " a text"
        )
    elif isinstance(value, (list, tuple)):
        for number, item in enumerate(value):
            _check_value(item, (number, place), depth + 1)
    elif isinstance(value, dict):
        for key, item in value.items():
            if not isinstance(key, str):
                raise LedgerError(f"{_words(place)}: the key {key!r} is not a text")
            if not key.isascii():
                _check_text(key, f"{_words(place)}: the key {key!r}")
            _check_value(item, (key, place), depth + 1)
    else:
        raise LedgerError(
            f"{_words(place)}: a {type(value).__name__} has no one spelling in JSON; write it as a text"
        )


def _check_text(text: str, words: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise LedgerError(f"{words}: holds half of a character (a lone surrogate)") from None


def _words(place: _Place) -> str:
    key, parent = place
    if parent is None:
        return str(key)
    return _words(parent) + (f"[{key}]" if isinstance(key, int) else f".{key}")
