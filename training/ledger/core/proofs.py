"""The Merkle tree of RFC 9162 section 2.1 over SHA-256: roots, and proofs built and checked. Plain Python.

A *position* ``(level, index)`` names a complete subtree: it stands over the leaves
``index << level`` to ``((index + 1) << level) - 1``, and level 0 is a leaf. Every tree is a short row of
complete subtrees, its *peaks*, from the largest on the left to the smallest on the right; their number is at
most the number of binary digits of the tree's size. So a tree grows by a handful of hashes at any size, and
every hash of a proof is either one stored subtree or the fold of a short row of them.
"""

import hashlib
from collections.abc import Iterable, Sequence

Position = tuple[int, int]

HASH_BYTES = 32
#: The root of a tree without leaves (RFC 9162, 2.1.1).
EMPTY_ROOT = hashlib.sha256(b"").digest()


class ProofError(ValueError):
    """A proof does not show what it is said to show; the message says why."""


def leaf_hash(data: bytes) -> bytes:
    """The hash of a leaf: its prefix keeps a leaf from being passed off as an inner node."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash of an inner node over its two children."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def fold(hashes: Sequence[bytes]) -> bytes:
    """The root over a row of complete subtrees, given from the left; of an empty row, the empty tree's."""
    if not hashes:
        return EMPTY_ROOT
    root = hashes[-1]
    for left in reversed(hashes[:-1]):
        root = node_hash(left, root)
    return root


def grow(peaks: list[bytes], size: int, leaf: bytes) -> list[tuple[Position, bytes]]:
    """Put one more leaf hash on a tree of ``size`` leaves. ``peaks`` becomes that of the larger tree.

    Returns the inner nodes that are complete from now on, the lowest first.
    """
    completed = []
    node, level = leaf, 0
    while size >> level & 1:
        node, level = node_hash(peaks.pop(), node), level + 1
        completed.append(((level, size >> level), node))
    peaks.append(node)
    return completed


def covering(start: int, end: int) -> tuple[Position, ...]:
    """The complete subtrees over the leaves ``start`` to ``end - 1``, from the left.

    ``start`` is a multiple of the largest power of two in ``end - start``, as in every tree of the RFC.
    """
    found = []
    for level in range((end - start).bit_length() - 1, -1, -1):
        if (end - start) >> level & 1:
            found.append((level, start >> level))
            start += 1 << level
    return tuple(found)


def split(size: int) -> int:
    """The largest power of two smaller than ``size`` (at least 2): where the RFC divides a tree."""
    return 1 << (size - 1).bit_length() - 1


def inclusion_parts(index: int, size: int) -> list[tuple[Position, ...]]:
    """What an inclusion proof (2.1.3.1) consists of: for each of its hashes, the subtrees to fold."""
    if not 0 <= index < size:
        raise ProofError(f"a tree of {size} leaves has no leaf {index}")
    start, end, parts = 0, size, []
    while end - start > 1:
        middle = start + split(end - start)
        if index < middle:
            parts.append(covering(middle, end))
            end = middle
        else:
            parts.append(covering(start, middle))
            start = middle
    return parts[::-1]


def consistency_parts(first: int, second: int) -> list[tuple[Position, ...]]:
    """What a consistency proof (2.1.4.1) consists of, as ``inclusion_parts``; from nothing it is empty."""
    if not 0 <= first <= second:
        raise ProofError(f"a tree of {second} leaves cannot continue one of {first}")
    start, end, parts = 0, second, []
    while 0 < first < end:
        middle = start + split(end - start)
        if first <= middle:
            parts.append(covering(middle, end))
            end = middle
        else:
            parts.append(covering(start, middle))
            start = middle
    if first and start:
        parts.append(covering(start, end))
    return parts[::-1]


def check_inclusion(index: int, size: int, leaf: bytes, proof: Sequence[bytes], root: bytes) -> None:
    """Raise ``ProofError`` unless the proof leads from the leaf hash to the root (2.1.3.2)."""
    _whole_numbers(index, size)
    _hashes([leaf, root, *proof])
    if index >= size:
        raise ProofError(f"a tree of {size} leaves has no leaf {index}")
    here, last, reached = index, size - 1, leaf
    for step in proof:
        if last == 0:
            raise ProofError("the proof is too long for a tree of this size")
        if here & 1 or here == last:
            reached = node_hash(step, reached)
            while not here & 1 and here:
                here, last = here >> 1, last >> 1
        else:
            reached = node_hash(reached, step)
        here, last = here >> 1, last >> 1
    if last:
        raise ProofError("the proof is too short for a tree of this size")
    if reached != root:
        raise ProofError(f"the proof leads to the root {reached.hex()}, not to {root.hex()}")


def check_consistency(
    first: int, second: int, first_root: bytes, second_root: bytes, proof: Sequence[bytes]
) -> None:
    """Raise ``ProofError`` unless the second tree is the first with leaves added at its end (2.1.4.2)."""
    _whole_numbers(first, second)
    _hashes([first_root, second_root, *proof])
    if first > second:
        raise ProofError(f"a tree of {second} leaves cannot continue one of {first}")
    if first in (0, second):
        _nothing_added(first, second, first_root, second_root, proof)
        return
    path = list(proof)
    if first & (first - 1) == 0:
        path.insert(0, first_root)
    if not path:
        raise ProofError("the proof is too short for trees of these sizes")
    here, last = first - 1, second - 1
    while here & 1:
        here, last = here >> 1, last >> 1
    first_reached = second_reached = path[0]
    for step in path[1:]:
        if last == 0:
            raise ProofError("the proof is too long for trees of these sizes")
        if here & 1 or here == last:
            first_reached, second_reached = node_hash(step, first_reached), node_hash(step, second_reached)
            while not here & 1 and here:
                here, last = here >> 1, last >> 1
        else:
            second_reached = node_hash(second_reached, step)
        here, last = here >> 1, last >> 1
    if last:
        raise ProofError("the proof is too short for trees of these sizes")
    if first_reached != first_root:
        raise ProofError(f"the proof leads to the first root {first_reached.hex()}, not {first_root.hex()}")
    if second_reached != second_root:
        raise ProofError(
            f"the proof leads to the second root {second_reached.hex()}, not {second_root.hex()}"
        )


def _nothing_added(
    first: int, second: int, first_root: bytes, second_root: bytes, proof: Sequence[bytes]
) -> None:
    """Raise ``ProofError`` unless the first tree is empty or the second one."""
    if proof:
        raise ProofError("the proof is too long: between these trees nothing is to be shown")
    if first == 0 and first_root != EMPTY_ROOT:
        raise ProofError("the first tree is empty and its root is not that of an empty tree")
    if first == second and first_root != second_root:
        raise ProofError("two trees of the same size have different roots")


def _whole_numbers(*numbers: int) -> None:
    for number in numbers:
        if type(number) is not int or number < 0:
            raise ProofError(f"{number!r} is not an index or size: these are whole numbers from 0")


def _hashes(hashes: Iterable[bytes]) -> None:
    for one in hashes:
        if not isinstance(one, bytes) or len(one) != HASH_BYTES:
            raise ProofError(f"a hash has {HASH_BYTES} bytes; here is {one!r}")
