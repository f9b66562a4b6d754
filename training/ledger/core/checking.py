"""Recomputes a ledger from its rows and names every place where they do not fit together. Plain Python.

Each stored hash is held against what stands directly below it: an entry's commitment against its body, its
leaf hash against its fields, an inner node against its two children, the head against its peaks, a checkpoint
against the tree of its size and against its signature. Where one does not fit, the stored hash is used from
there on: so a single change is named once, at its place, and not again at every node above it. If everything
fits, every hash is the recomputed one.
"""

import dataclasses
from collections.abc import Generator, Iterable, Iterator, Mapping

from training.ledger.core import proofs, sealed, statements
from training.ledger.core.faults import Error
from training.ledger.core.proofs import Position

_MOST_LEVELS = 62


@dataclasses.dataclass(frozen=True, slots=True)
class EntryRow:
    """An entry as it is stored. Body and salt are None where they are not there."""

    index: int
    kind: str
    subject: str
    at: str
    commitment: str
    leaf: str
    body: str | None
    salt: str | None


@dataclasses.dataclass(frozen=True, slots=True)
class NodeRow:
    level: int
    index: int
    hash: str


@dataclasses.dataclass(frozen=True, slots=True)
class HeadRow:
    size: int
    root: str
    peaks: str


@dataclasses.dataclass(frozen=True, slots=True)
class CheckpointRow:
    """A checkpoint's columns, and where it comes from (for the message)."""

    size: int
    root: str
    at: str
    kid: str
    token: str
    place: str


@dataclasses.dataclass(frozen=True, slots=True)
class Examined:
    """What an entry gives to the tree. ``gone``: no body. ``erases``: the index whose erasure it states."""

    index: int
    leaf: bytes
    gone: bool
    erases: int | None
    faults: tuple[Error, ...]


@dataclasses.dataclass
class Tally:
    """What was counted."""

    entries: int = 0
    nodes: int = 0
    checkpoints: int = 0
    erased: int = 0
    faults: int = 0


def examine(tree: str, row: EntryRow) -> Examined:
    """Hold one entry's stored hashes against its fields and its body."""
    stored_leaf = _stored(row.leaf)
    computed = _leaf(tree, row, row.commitment)
    leaf_fits = computed is not None and computed == stored_leaf
    gone = row.body is None and row.salt is None
    opened = _opened(row)
    body_fits = opened is not None and opened == row.commitment
    if gone and leaf_fits:
        changed = ""
    elif gone:
        changed = "its kind, subject, instant, index, commitment or leaf hash was changed"
    elif leaf_fits and body_fits:
        changed = _not_our_form(row)
    else:
        other_fits = opened is not None and _leaf(tree, row, opened) == stored_leaf
        changed = _changed(leaf_fits, body_fits, other_fits)
    faults = (Error(f"entry {row.index}", changed),) if changed else ()
    erases = sealed.erased_index(row.kind, row.body) if leaf_fits and body_fits else None
    return Examined(row.index, stored_leaf or computed or proofs.EMPTY_ROOT, gone, erases, faults)


def _stored(text: object) -> bytes | None:
    """A hash as it is stored; None where that is no hash."""
    return bytes.fromhex(str(text)) if sealed.is_hash(text) else None


def _not_our_form(row: EntryRow) -> str:
    wrong = sealed.body_fault(row.body) if row.body is not None else ""
    return f"its body was sealed in a form that is not ours: {wrong}" if wrong else ""


def _changed(leaf_fits: bool, body_fits: bool, other_fits: bool) -> str:
    """What of an entry was changed, in words, where its body or its leaf hash does not fit its commitment.

    ``other_fits``: its leaf hash is that of the commitment that its body and salt would give.
    """
    if leaf_fits:
        return "its body or salt was changed: they do not fit the commitment"
    if body_fits:
        return "its kind, subject, instant, index or leaf hash was changed"
    if other_fits:
        return "its commitment was changed: its body and its leaf hash fit each other"
    return "both what it says (body, salt or commitment) and its other fields were changed"


def _leaf(tree: str, row: EntryRow, commitment: str) -> bytes | None:
    words = (row.kind, row.subject, row.at, commitment)
    if type(row.index) is not int or not all(isinstance(word, str) for word in words):
        return None  # SQLite holds anything in any column
    try:
        return proofs.leaf_hash(
            sealed.leaf_data(
                tree=tree,
                index=row.index,
                kind=row.kind,
                subject=row.subject,
                at=row.at,
                commitment=commitment,
            )
        )
    except UnicodeEncodeError:
        return None


def _opened(row: EntryRow) -> str | None:
    if not isinstance(row.body, str) or not sealed.is_hash(row.salt):
        return None
    try:
        return sealed.commitment(str(row.salt), row.body)
    except UnicodeEncodeError:
        return None


def check(
    tree: str,
    examined: Iterable[Examined],
    nodes: Iterable[NodeRow],
    head: HeadRow | None,
    checkpoints: Iterable[CheckpointRow],
    keys: Mapping[str, str],
    tally: Tally,
) -> Iterator[Error]:
    """Check one tree; yields each fault as it is found and counts in ``tally``.

    ``examined``: its entries by index. ``nodes``: its inner nodes in the order in which they are completed
    (by their last leaf, then by level). ``keys``: the public parts that are believed, by key id.
    """
    for fault in _Walk(tree, head, tally).check(examined, nodes, checkpoints, keys):
        tally.faults += 1
        yield fault


def span(first: int, last: int) -> str:
    return f"entry {first}" if first == last else f"entries {first} to {last}"


class _Walk:
    """One pass over a tree: its peaks so far, and the stored nodes not yet met."""

    def __init__(self, tree: str, head: HeadRow | None, tally: Tally) -> None:
        self.tree, self.head, self.tally = tree, head, tally
        self.peaks: list[tuple[int, bytes | None]] = []  # level and hash; None where entries are missing
        self.size = 0
        self.end = head.size if head and type(head.size) is int else 0
        self.beyond: tuple[int, int] | None = None  # the first and the last entry beyond the head
        self.gone: set[int] = set()
        self.erased: set[int] = set()

    def check(
        self,
        examined: Iterable[Examined],
        nodes: Iterable[NodeRow],
        checkpoints: Iterable[CheckpointRow],
        keys: Mapping[str, str],
    ) -> Iterator[Error]:
        self.nodes = iter(nodes)
        self.next_node = next(self.nodes, None)
        signed: dict[int, list[CheckpointRow]] = {}
        for row in checkpoints:
            self.tally.checkpoints += 1
            yield from self._signature(row, keys)
            signed.setdefault(row.size if type(row.size) is int else -1, []).append(row)
        yield from self._at_size(signed)
        for one in examined:
            self.tally.entries += 1
            yield from one.faults
            yield from self._entry(one, signed)
        yield from self._end()
        yield from self._rest(signed)
        self.tally.erased = len(self.gone & self.erased)
        for index in sorted(self.gone - self.erased):
            yield Error(f"entry {index}", "its body is gone, and no later entry of an erasure says why")

    def _entry(self, one: Examined, signed: Mapping[int, list[CheckpointRow]]) -> Iterator[Error]:
        """Put an entry at its place, and look at what was signed over the tree up to it."""
        if type(one.index) is not int or one.index < self.size:
            yield Error(f"entry {one.index}", "its index is out of order or occurs twice")
            return
        if one.index >= self.end:
            if self.beyond is None and self.size < one.index == self.end:
                yield from self._missing(one.index, signed)
            self.beyond = (self.beyond[0] if self.beyond else one.index, one.index)
            if one.index != self.size:
                return
        elif one.index > self.size:
            yield from self._missing(one.index, signed)
        if one.gone:
            self.gone.add(one.index)
        if one.erases is not None and one.erases < one.index:
            self.erased.add(one.erases)
        yield from self._push(0, one.leaf)
        if self.size in signed:
            yield from self._at_size(signed)

    def _end(self) -> Iterator[Error]:
        """Hold the entries that there are against the head."""
        if self.head is None and self.tally.entries:
            yield Error("head", "is missing, but there are entries")
        elif self.beyond:
            yield Error(span(*self.beyond), f"lies beyond the head, which counts {self.end} entries")
        if self.size < self.end:
            cut = span(self.size, self.end - 1)
            yield Error(cut, f"missing at the end (cut off): the head counts {self.end} entries")
        elif self.head is not None and not self.beyond:
            yield from self._head(self.head)

    def _missing(self, until: int, signed: Mapping[int, list[CheckpointRow]]) -> Iterator[Error]:
        yield Error(span(self.size, until - 1), "missing")
        while self.size < until:
            # The largest complete subtree from here that lies within the gap.
            level = (until - self.size).bit_length() - 1
            if self.size:
                level = min(level, (self.size & -self.size).bit_length() - 1)
            yield from self._push(level, None)
        yield from self._at_size(signed)

    def _push(self, level: int, hash_: bytes | None) -> Iterator[Error]:
        """Put a complete subtree at the end, and hold each node that it completes against the stored one."""
        index = self.size >> level
        self.size += 1 << level
        if level:
            hash_ = self._inside_gap((level, index))
        while self.peaks and self.peaks[-1][0] == level:
            left = self.peaks.pop()[1]
            level, index = level + 1, index >> 1
            hash_ = proofs.node_hash(left, hash_) if left is not None and hash_ is not None else None
            hash_ = yield from self._held((level, index), hash_)
        self.peaks.append((level, hash_))

    def _held(self, position: Position, hash_: bytes | None) -> Generator[Error, None, bytes | None]:
        """Hold a node against the stored one; returns the hash that is used for those above it."""
        node = self.next_node
        if node is None or (node.level, node.index) != position:
            yield from self._surplus(position)
            node = self.next_node
        if node is None or (node.level, node.index) != position:
            if hash_ is not None:
                yield Error(self._over(*position), "its stored hash is missing")
            return hash_
        self._advance()
        if hash_ is not None and node.hash == hash_.hex():
            return hash_
        stored = _stored(node.hash)
        if stored is None or hash_ is not None:
            yield Error(self._over(*position), "its stored hash is not that of what lies below it")
        return stored or hash_

    def _inside_gap(self, position: Position) -> bytes | None:
        """Pass over the stored nodes within a gap; returns the hash of the one over all of it."""
        found = None
        while (node := self.next_node) is not None:
            key = _key(node)
            if key is None or key > _order(position):
                break
            if key == _order(position) and sealed.is_hash(node.hash):
                found = bytes.fromhex(node.hash)
            self._advance()
        return found

    def _surplus(self, until: Position | None) -> Iterator[Error]:
        """Name the stored nodes that stand where none belongs, before the one that is expected next."""
        while (node := self.next_node) is not None:
            key = _key(node)
            if until is not None and key is not None and key >= _order(until):
                return
            yield Error(f"node of level {node.level}, index {node.index}", "belongs to no complete subtree")
            self._advance()

    def _advance(self) -> None:
        self.tally.nodes += 1
        self.next_node = next(self.nodes, None)

    def _root(self) -> bytes | None:
        hashes = [one for _, one in self.peaks if one is not None]
        return proofs.fold(hashes) if len(hashes) == len(self.peaks) else None

    def _over(self, level: int, index: int) -> str:
        return f"node over {span(index << level, ((index + 1) << level) - 1)}"

    def _head(self, head: HeadRow) -> Iterator[Error]:
        root = self._root()
        if root is None:
            return
        peaks = [one.hex() for _, one in self.peaks if one is not None]
        if not isinstance(head.peaks, str) or head.peaks != " ".join(head.peaks.split()):
            yield Error("head", "its peaks are not written as hashes with a space between them")
        elif len(stored := head.peaks.split()) != len(peaks):
            yield Error("head", f"has {len(stored)} peaks; {self.size} entries make {len(peaks)}")
        else:
            start = 0
            for (level, _), found, kept in zip(self.peaks, peaks, stored, strict=True):
                if found != kept:
                    place = f"head over {span(start, start + (1 << level) - 1)}"
                    yield Error(place, f"its peak is {kept}; that of the entries is {found}")
                start += 1 << level
        if head.root != root.hex():
            yield Error("head", f"its root is {head.root}; that of the entries is {root.hex()}")

    def _signature(self, row: CheckpointRow, keys: Mapping[str, str]) -> Iterator[Error]:
        try:
            kid, said = statements.read(row.token, keys, sealed.CHECKPOINT)
        except statements.StatementError as fault:
            yield Error(row.place, str(fault))
            return
        if said["tree"] != self.tree:
            yield Error(row.place, f"is about another ledger, {said['tree']}")
        stored = {"size": row.size, "root": row.root, "at": row.at, "key id": row.kid}
        signed = {"size": said["size"], "root": said["root"], "at": said["at"], "key id": kid}
        for name in stored:
            if stored[name] != signed[name]:
                yield Error(row.place, f"its {name} is stored as {stored[name]}, signed as {signed[name]}")

    def _at_size(self, signed: Mapping[int, list[CheckpointRow]]) -> Iterator[Error]:
        rows = signed.get(self.size, [])
        root = self._root() if rows else None
        if root is None:
            return
        for row in rows:
            if row.root != root.hex():
                yield Error(
                    row.place,
                    f"the first {row.size} entries are not those it was signed over: their root is "
                    f"{root.hex()}, signed is {row.root}",
                )

    def _rest(self, signed: Mapping[int, list[CheckpointRow]]) -> Iterator[Error]:
        """What is left over: nodes after the last entry, checkpoints over more entries than there are."""
        yield from self._surplus(None)
        for size, rows in sorted(signed.items()):
            for row in rows:
                if size > self.size:
                    yield Error(
                        row.place,
                        f"was signed over {size} entries, but there are only {self.size}: cut off",
                    )
                elif size < 0:
                    yield Error(row.place, f"its size is {row.size}")


def _order(position: Position) -> tuple[int, int]:
    """Where a position stands in the order of completion."""
    level, index = position
    return (index + 1) << level, level


def _key(node: NodeRow) -> tuple[int, int] | None:
    if type(node.level) is not int or type(node.index) is not int:
        return None
    if not (1 <= node.level <= _MOST_LEVELS and 0 <= node.index < 1 << _MOST_LEVELS):
        return None
    return _order((node.level, node.index))
