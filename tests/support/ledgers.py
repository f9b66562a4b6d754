"""Ledgers for the tests: in the database through the front door, and in memory for the exhaustive ones."""

import dataclasses
import datetime
import hashlib
import json
from typing import Any

from training.ledger.core import proofs, sealed
from training.ledger.core.checking import CheckpointRow, EntryRow, HeadRow, NodeRow
from training.ledger.store import keys

TREE = "2f8f6a52-5d4e-4f0c-9a55-0d7c2f3f7a10"
NOON = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
INSTRUCTORS = ("J. Ortiz", "Maëlle Ngô", "Ø. Þórsson", 'A. "Ace" Lindqvist', "李 小龙")


def body_of(number: int) -> dict[str, Any]:
    return {
        "lesson": f"L{number % 40:02d}",
        "instructor": INSTRUCTORS[number % len(INSTRUCTORS)],
        "minutes": {"dual": 30 + number % 90, "solo": 0},
        "items": [{"code": "steep-turns", "grade": number % 4}],
        "remark": None if number % 3 else "held altitude ±100 ft",
    }


def subject_of(number: int) -> str:
    return f"student-{number % 7}"


def sealed_in_database(count: int, tree: str = TREE, first: int = 0) -> None:
    """Seal ``count`` entries in one transaction."""
    from django.db import transaction

    from training.ledger.store import entries

    with transaction.atomic():
        for number in range(first, first + count):
            entries.append(
                tree=tree,
                kind="lesson.signed",
                subject=subject_of(number),
                body=body_of(number),
                at=NOON + datetime.timedelta(minutes=number),
            )


@dataclasses.dataclass
class Rows:
    """A whole ledger as its rows, in the order in which the checker reads them."""

    entries: list[EntryRow]
    nodes: list[NodeRow]
    head: HeadRow
    checkpoints: list[CheckpointRow]
    keys: dict[str, str]


def ledger(count: int, *, signed_at: tuple[int, ...] = (), tree: str = TREE) -> Rows:
    """A ledger of ``count`` entries made in memory, with a checkpoint at each of the given sizes."""
    signer = keys.signer()
    entries: list[EntryRow] = []
    for number in range(count):
        body = json.dumps(
            body_of(number), sort_keys=True, ensure_ascii=False, separators=(",", ":")
        )  # ASCII keys: the canonical form
        salt = hashlib.sha256(b"salt %d" % number).hexdigest()
        entries.append(
            EntryRow(
                index=number,
                kind="lesson.signed",
                subject=subject_of(number),
                at=sealed.instant_text(NOON + datetime.timedelta(minutes=number)),
                commitment=sealed.commitment(salt, body),
                leaf="",
                body=body,
                salt=salt,
            )
        )
    entries = [rehashed(entry, tree) for entry in entries]
    nodes, heads = grown(entries)
    rows = []
    for size in signed_at:
        at = sealed.instant_text(NOON)
        root = heads[size].root
        token = signer.sign(sealed.checkpoint_statement(tree=tree, size=size, root=root, at=at))
        rows.append(CheckpointRow(size, root, at, signer.kid, token, f"checkpoint at {size} entries"))
    return Rows(entries, nodes, heads[count], rows, {signer.kid: signer.public})


def rehashed(entry: EntryRow, tree: str = TREE) -> EntryRow:
    """The entry with commitment and leaf hash computed anew, as a forger who can write every table would."""
    commitment = entry.commitment
    if entry.body is not None and entry.salt is not None:
        commitment = sealed.commitment(entry.salt, entry.body)
    data = sealed.leaf_data(
        tree=tree,
        index=entry.index,
        kind=entry.kind,
        subject=entry.subject,
        at=entry.at,
        commitment=commitment,
    )
    return dataclasses.replace(entry, commitment=commitment, leaf=proofs.leaf_hash(data).hex())


def grown(entries: list[EntryRow]) -> tuple[list[NodeRow], list[HeadRow]]:
    """The inner nodes over these entries, and the head at every size from 0."""
    peaks: list[bytes] = []
    nodes: list[NodeRow] = []
    heads = [HeadRow(0, proofs.EMPTY_ROOT.hex(), "")]
    for size, entry in enumerate(entries):
        for (level, index), one in proofs.grow(peaks, size, bytes.fromhex(entry.leaf)):
            nodes.append(NodeRow(level, index, one.hex()))
        heads.append(HeadRow(size + 1, proofs.fold(peaks).hex(), " ".join(peak.hex() for peak in peaks)))
    return nodes, heads
