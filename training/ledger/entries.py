"""Sealing: one entry more at the end of a tree, inside the caller's transaction."""

import datetime
import re
import secrets
from typing import Any

import rfc8785
from django.db import DEFAULT_DB_ALIAS, connections, transaction

from training.ledger import models, proofs, sealed

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
    using: str = DEFAULT_DB_ALIAS,
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
    connection = connections[using]
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

    head = _locked_head(tree, using)
    if kind == sealed.ERASURE and body["erases"] >= head.size:
        raise LedgerError(
            f"body.erases: {tree} has {head.size} entries, the last is {head.size - 1}; "
            f"there is no entry {body['erases']} to erase"
        )
    salt = secrets.token_hex(sealed.SALT_BYTES)
    commitment = sealed.commitment(salt, text)
    index = head.size
    leaf = proofs.leaf_hash(
        sealed.leaf_data(
            tree=tree, index=index, kind=kind, subject=subject, at=instant, commitment=commitment
        )
    )
    peaks = [bytes.fromhex(peak) for peak in head.peaks.split()]
    completed = proofs.grow(peaks, index, leaf)

    entry = models.Entry(
        tree=tree,
        index=index,
        kind=kind,
        subject=subject,
        at=instant,
        commitment=commitment,
        leaf=leaf.hex(),
    )
    # From here on the rows belong together: a caller who catches a fault cannot commit half of them.
    with transaction.mark_for_rollback_on_error(using=using):
        entry.save(using=using, force_insert=True)
        models.EntryBody(entry=entry, body=text, salt=salt).save(using=using, force_insert=True)
        if completed:
            models.Node.objects.using(using).bulk_create(
                models.Node(tree=tree, level=level, index=position, hash=one.hex())
                for (level, position), one in completed
            )
        models.Head.objects.using(using).filter(tree=tree).update(
            size=index + 1, root=proofs.fold(peaks).hex(), peaks=" ".join(peak.hex() for peak in peaks)
        )
    return entry


def _locked_head(tree: str, using: str) -> models.Head:
    """The tree's head, locked until the transaction ends (SQLite locks the whole database at its start)."""
    heads = models.Head.objects.using(using)
    head = heads.select_for_update().filter(tree=tree).first()
    if head is None:
        # Two first entries at once: one makes the row, the other waits for it.
        heads.bulk_create([models.Head(tree=tree)], ignore_conflicts=True)
        head = heads.select_for_update().get(tree=tree)
    return head


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
        raise LedgerError(f"body.erases: {body['erases']!r} is no index of an entry")


def canonical_body(body: dict[str, Any]) -> str:
    """The body's canonical JSON (RFC 8785). Raises ``LedgerError`` naming the place of what cannot go in."""
    if not isinstance(body, dict):
        raise LedgerError(f"body: is a {type(body).__name__}; an object (dict) is needed")
    _check_value(body, "body", 0)
    return rfc8785.dumps(body).decode()


def _check_value(value: Any, place: str, depth: int) -> None:
    if depth > NESTED_AT_MOST:
        raise LedgerError(f"{place}: is nested more than {NESTED_AT_MOST} deep")
    if value is None or isinstance(value, bool):
        return
    if isinstance(value, str):
        try:
            value.encode()
        except UnicodeEncodeError:
            raise LedgerError(f"{place}: holds half of a character (a lone surrogate)") from None
    elif isinstance(value, int):
        if abs(value) > sealed.MOST_INTEGER:
            raise LedgerError(f"{place}: {value} is beyond ±{sealed.MOST_INTEGER}; write it as a text")
    elif isinstance(value, float):
        raise LedgerError(
            f"{place}: {value!r} is a floating-point number; seal whole numbers of a smaller unit, or a text"
        )
    elif isinstance(value, (list, tuple)):
        for number, item in enumerate(value):
            _check_value(item, f"{place}[{number}]", depth + 1)
    elif isinstance(value, dict):
        for key, item in value.items():
            if not isinstance(key, str):
                raise LedgerError(f"{place}: the key {key!r} is not a text")
            _check_value(key, f"{place}: the key {key!r}", depth)
            _check_value(item, f"{place}.{key}", depth + 1)
    else:
        raise LedgerError(
            f"{place}: a {type(value).__name__} has no one spelling in JSON; write it as a text"
        )
