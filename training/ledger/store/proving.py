"""Proofs from the stored subtrees: a few rows for each, at any size of the tree."""

from collections.abc import Iterable

from training.ledger import models
from training.ledger.core import proofs
from training.ledger.core.proofs import Position

_AT_ONCE = 500  # values in one query


class MissingHash(LookupError):
    """A stored hash that a proof needs is not there: the ledger was tampered with. Run verify_ledger."""


def inclusion(tree: str, index: int, size: int) -> list[bytes]:
    """The proof that entry ``index`` is in the tree of the first ``size`` entries."""
    return inclusions(tree, [index], size)[0]


def inclusions(tree: str, indices: Iterable[int], size: int) -> list[list[bytes]]:
    """The same for many entries, with their hashes read together."""
    wanted = [proofs.inclusion_parts(index, size) for index in indices]
    return _folded(tree, wanted)


def consistency(tree: str, first: int, second: int) -> list[bytes]:
    """The proof that the tree of ``second`` entries is that of ``first`` with entries added at its end."""
    return _folded(tree, [proofs.consistency_parts(first, second)])[0]


def _folded(tree: str, wanted: list[list[tuple[Position, ...]]]) -> list[list[bytes]]:
    hashes = _read(tree, {position for parts in wanted for part in parts for position in part})
    return [[proofs.fold([hashes[position] for position in part]) for part in parts] for parts in wanted]


def _read(tree: str, positions: set[Position]) -> dict[Position, bytes]:
    by_level: dict[int, list[int]] = {}
    for level, index in sorted(positions):
        by_level.setdefault(level, []).append(index)
    found: dict[Position, bytes] = {}
    entries = models.Entry.objects.filter(tree=tree)
    nodes = models.Node.objects.filter(tree=tree)
    for level, indices in by_level.items():
        rows = nodes.filter(level=level) if level else entries
        column = "hash" if level else "leaf"
        for start in range(0, len(indices), _AT_ONCE):
            some = rows.filter(index__in=indices[start : start + _AT_ONCE]).order_by()
            found |= {(level, index): bytes.fromhex(one) for index, one in some.values_list("index", column)}
    if lost := positions - found.keys():
        level, index = min(lost)
        raise MissingHash(
            f"The ledger {tree} lacks the hash of level {level}, index {index}: it was tampered with. "
            f"See what else: manage.py verify_ledger --tree {tree}"
        )
    return found
