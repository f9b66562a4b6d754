"""A record to take away: entries with what proves them, in one JSON document that needs this server no more.

The form ``ledger-export/1``::

    {"format": "ledger-export/1", "tree": …,
     "keys": [JWK …],                        public parts of the keys below
     "checkpoint": JWS,                      ledger-checkpoint/1: so many entries, this root
     "contents": JWS,                        ledger-contents/1: which entries, and which lost their body
     "entries": [{"index", "kind", "subject", "at", "commitment",
                  "body": text | null, "salt": hex | null, "proof": [hex …]} …],
     "earlier": [{"checkpoint": JWS, "consistency": [hex …]} …]}

``python -m training.ledger.verify FILE`` checks it.
"""

import datetime
from collections.abc import Iterable, Sequence
from typing import Any

from training.ledger import models
from training.ledger.core import sealed, statements
from training.ledger.store import checkpoints, keys, proving


def export(
    tree: str,
    *,
    at: datetime.datetime,
    subjects: Sequence[str] | None = None,
    indices: Iterable[int] | None = None,
    earlier: Iterable[models.Checkpoint] = (),
) -> dict[str, Any]:
    """The entries of these subjects, or those of these indices, or (with neither) all, with their proofs.

    They are proved against a checkpoint that is issued for it, so this is not to be called inside a
    transaction. ``earlier``: checkpoints of the same tree that someone already holds; the document then shows
    that nothing before them was changed. Raises ``ValueError`` for an index that the tree does not have.
    """
    if subjects is not None and indices is not None:
        raise ValueError("export by subjects or by indices, not by both")
    checkpoint = checkpoints.issue(tree, at=at)
    chosen = _chosen(tree, checkpoint.size, subjects, indices)
    return document(checkpoint, chosen, at=at, subjects=subjects, earlier=earlier)


def document(
    checkpoint: models.Checkpoint,
    chosen: Sequence[Sequence[Any]] = (),
    *,
    at: datetime.datetime,
    subjects: Sequence[str] | None = None,
    earlier: Iterable[models.Checkpoint] = (),
) -> dict[str, Any]:
    """The document of chosen entries, proved against a checkpoint, which goes on from ``earlier`` ones.

    Raises: ProofError for an earlier one that is larger.
    """
    tree, size = checkpoint.tree, checkpoint.size
    found = [row[0] for row in chosen]
    paths = proving.inclusions(tree, found, size)
    signer = keys.signer()
    contents = sealed.contents_statement(
        tree=tree,
        size=size,
        root=checkpoint.root,
        at=sealed.instant_text(at),
        subjects=None if subjects is None else sorted(set(subjects)),
        indices=found,
        erased=[row[0] for row in chosen if row[5] is None],
    )
    held = sorted(earlier, key=lambda one: one.size)
    signed_by = {signer.kid, checkpoint.kid, *(one.kid for one in held)}
    known = {**keys.known(), signer.kid: signer.public}
    return {
        "format": sealed.EXPORT,
        "tree": tree,
        "keys": [statements.as_jwk(kid, key) for kid, key in sorted(known.items()) if kid in signed_by],
        "checkpoint": checkpoint.token,
        "contents": signer.sign(contents),
        "entries": [_entry(row, path) for row, path in zip(chosen, paths, strict=True)],
        "earlier": [
            {"checkpoint": one.token, "consistency": _hex(proving.consistency(tree, one.size, size))}
            for one in held
        ],
    }


def _chosen(
    tree: str, size: int, subjects: Sequence[str] | None, indices: Iterable[int] | None
) -> list[Sequence[Any]]:
    """The columns of the entries below ``size`` that are asked for. Raises: ValueError."""
    rows = models.Entry.objects.filter(tree=tree, index__lt=size)
    if subjects is not None:
        rows = rows.filter(subject__in=subjects)
    asked = None if indices is None else set(indices)
    if asked is not None:
        rows = rows.filter(index__in=asked)
    columns = ("index", "kind", "subject", "at", "commitment", "kept__body", "kept__salt")
    chosen: list[Sequence[Any]] = list(rows.order_by("index").values_list(*columns))
    if asked and (lost := asked - {row[0] for row in chosen}):
        raise ValueError(f"{tree} has no entry {min(lost)}: it has {size}, counted from 0")
    return chosen


def _entry(row: Sequence[Any], proof: Iterable[bytes]) -> dict[str, Any]:
    keys_of_a_row = ("index", "kind", "subject", "at", "commitment", "body", "salt")
    return {**dict(zip(keys_of_a_row, row, strict=True)), "proof": _hex(proof)}


def _hex(steps: Iterable[bytes]) -> list[str]:
    return [step.hex() for step in steps]
