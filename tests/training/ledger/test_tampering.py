"""A ledger of 1,000 entries, and every change of one character, deletion, swap and cut-off in it; a sample of
them in the suite, all of them in a full run.

The rows are those that the checker reads from the database; here they are changed in memory, so that all of
them can be tried. A sample of the same is done to real rows in ``test_audit``.
"""

import dataclasses
import itertools
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

import pytest

from tests.support.extent import FULL, sampled
from tests.support.ledgers import TREE, Rows, grown, ledger, rehashed
from training.ledger.core import checking, sealed
from training.ledger.core.checking import EntryRow, Examined, NodeRow, Tally, examine
from training.ledger.core.faults import Error

COUNT = 1000
T = TypeVar("T")


def places_of(rows: Sequence[T]) -> list[tuple[int, T]]:
    """Rows with their numbers: one in eight of them, all in a full run."""
    return sampled(list(enumerate(rows)), 8, lambda each: each[0])


@pytest.fixture(scope="module")
def whole() -> Rows:
    """Signed at 1, 500 and 1,000 entries."""
    return ledger(COUNT, signed_at=(1, 500, COUNT))


#: Entries that a test leaves as they are need not be hashed again for each of its thousand cases.
seen: dict[int, tuple[EntryRow, Examined]] = {}


def examined(row: EntryRow) -> Examined:
    known = seen.get(id(row))
    if known is None or known[0] is not row:
        known = seen[id(row)] = (row, examine(TREE, row))
    return known[1]


def faults(rows: Rows, **changed: object) -> list[Error]:
    """All faults of a ledger, of which some rows are exchanged."""
    now = dataclasses.replace(rows, **changed)  # type: ignore[arg-type]
    tally = Tally()
    found = list(
        checking.check(
            TREE, map(examined, now.entries), now.nodes, now.head, now.checkpoints, now.keys, tally
        )
    )
    assert tally.faults == len(found)
    return found


def places(found: Iterable[Error]) -> set[str]:
    return {fault.place for fault in found}


def replaced(row: EntryRow, field: str, value: object) -> EntryRow:
    return dataclasses.replace(row, **{field: value})  # type: ignore[arg-type]


def one_character_off(text: str) -> Iterator[str]:
    """The text with each of its characters in turn exchanged for another."""
    for at, character in enumerate(text):
        yield text[:at] + chr(ord(character) ^ 1) + text[at + 1 :]


def test_the_ledger_as_it_is_has_no_fault(whole: Rows) -> None:
    assert faults(whole) == []


FIELDS = ["kind", "subject", "at", "commitment", "leaf", "body", "salt"]


@pytest.mark.parametrize("field", FIELDS)
def test_every_changed_character_of_every_entry_is_found_at_that_entry(whole: Rows, field: str) -> None:
    tried, entries = 0, places_of(whole.entries)
    for _, row in entries:
        for text in one_character_off(getattr(row, field)):
            [fault] = examine(TREE, replaced(row, field, text)).faults
            assert fault.place == f"entry {row.index}"
            tried += 1
    assert tried >= len(entries) * 9 >= 100 * 9


@pytest.mark.parametrize("field", ["commitment", "leaf", "salt"])
def test_a_hash_in_capitals_is_another_hash(whole: Rows, field: str) -> None:
    for row in whole.entries:
        text = getattr(row, field)
        at = next(place for place, digit in enumerate(text) if digit.isalpha())
        capital = text[:at] + text[at].upper() + text[at + 1 :]
        assert examine(TREE, replaced(row, field, capital)).faults


@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize(
    "value",
    [
        pytest.param("", id="emptied"),
        pytest.param(7, id="a number in its place"),
        pytest.param(b"\xff", id="bytes in its place"),
        pytest.param(None, id="nothing in its place"),
        pytest.param("\ud800", id="half of a character in its place"),
        pytest.param("é" * 64, id="letters where digits belong"),
    ],
)
def test_what_a_loosely_typed_column_may_hold_is_found_too(whole: Rows, field: str, value: object) -> None:
    row = whole.entries[6]
    entries = [*whole.entries[:6], replaced(row, field, value), *whole.entries[7:]]
    assert "entry 6" in places(faults(whole, entries=entries))


SAYS = [
    ("kind", "kind, subject, instant, index or leaf hash was changed"),
    ("subject", "kind, subject, instant, index or leaf hash was changed"),
    ("at", "kind, subject, instant, index or leaf hash was changed"),
    ("leaf", "kind, subject, instant, index or leaf hash was changed"),
    ("commitment", "its commitment was changed"),
    ("body", "its body or salt was changed"),
    ("salt", "its body or salt was changed"),
]


@pytest.mark.parametrize(("field", "says"), SAYS)
def test_what_was_changed_is_told_apart(whole: Rows, field: str, says: str) -> None:
    row = whole.entries[500]
    [fault] = examine(TREE, replaced(row, field, next(one_character_off(getattr(row, field))))).faults
    assert says in fault.says


@pytest.mark.parametrize("field", FIELDS)
def test_one_change_is_named_once_and_not_again_all_the_way_up(whole: Rows, field: str) -> None:
    for number in range(0, COUNT, 37):
        row = whole.entries[number]
        changed = replaced(row, field, next(one_character_off(getattr(row, field))))
        found = faults(whole, entries=[*whole.entries[:number], changed, *whole.entries[number + 1 :]])
        assert f"entry {number}" in places(found)
        assert len(found) <= 2  # a changed leaf hash does not fit the node above it either


def test_every_changed_node_is_found_at_its_place(whole: Rows) -> None:
    """Each node in one character, going through all 64 places; and one node in each of its places."""
    cases = [
        (number, list(one_character_off(node.hash))[number % 64]) for number, node in places_of(whole.nodes)
    ]
    cases += [(500, text) for text in one_character_off(whole.nodes[500].hash)]
    for number, text in cases:
        node = whole.nodes[number]
        changed = NodeRow(node.level, node.index, text)
        found = faults(whole, nodes=[*whole.nodes[:number], changed, *whole.nodes[number + 1 :]])
        first = node.index << node.level
        assert f"node over entries {first} to {first + (1 << node.level) - 1}" in places(found)


@pytest.mark.parametrize("field", ["root", "peaks"])
def test_every_changed_character_of_the_head_is_found(whole: Rows, field: str) -> None:
    for text in one_character_off(getattr(whole.head, field)):
        found = faults(whole, head=dataclasses.replace(whole.head, **{field: text}))
        assert found
        assert all(place.startswith("head") for place in places(found))


@pytest.mark.parametrize(
    ("size", "place"),
    [
        pytest.param(COUNT + 1, "entry 1000", id="one more"),
        pytest.param(10**15, "entries 1000 to 999999999999999", id="out of all measure"),
        pytest.param(COUNT - 1, "entry 999", id="one less"),
        pytest.param(0, "entries 0 to 999", id="none"),
        pytest.param(-1, "entries 0 to 999", id="less than none"),
        pytest.param("1000", "entries 0 to 999", id="a text"),
    ],
)
def test_another_size_of_the_head_is_found(whole: Rows, size: object, place: str) -> None:
    assert place in places(faults(whole, head=dataclasses.replace(whole.head, size=size)))  # type: ignore[arg-type]


def test_a_head_that_is_gone_is_found(whole: Rows) -> None:
    assert "head" in places(faults(whole, head=None))


@pytest.mark.parametrize("which", [0, 1, 2])
def test_every_changed_character_of_a_checkpoint_is_found(whole: Rows, which: int) -> None:
    row = whole.checkpoints[which]
    tried = 0
    for field in ("root", "at", "kid", "token"):
        for text in one_character_off(getattr(row, field)):
            signed = list(whole.checkpoints)
            signed[which] = dataclasses.replace(row, **{field: text})
            assert row.place in places(quick(whole, signed))
            tried += 1
    assert tried > 300
    for size in (row.size + 1, row.size - 1, -1, None):
        signed = list(whole.checkpoints)
        signed[which] = dataclasses.replace(row, size=size)  # type: ignore[arg-type]
        assert row.place in places(faults(whole, checkpoints=signed))


def quick(whole: Rows, signed: list[checking.CheckpointRow]) -> list[Error]:
    """The faults of the checkpoints alone: over no entries at all (each says it was signed over more)."""
    empty = dataclasses.replace(whole, entries=[], nodes=[], head=None, checkpoints=[])
    untouched = [row for row in signed if row in whole.checkpoints]
    [row] = [row for row in signed if row not in untouched]
    found = faults(empty, checkpoints=[row])
    others = [fault for fault in found if "there are only 0" not in fault.says]
    return others


def test_a_checkpoint_by_an_unknown_key_is_found(whole: Rows) -> None:
    found = faults(whole, keys={})
    assert places(found) == {row.place for row in whole.checkpoints}
    assert all("not a trusted one" in fault.says for fault in found)


def test_every_deleted_entry_is_found_by_its_number(whole: Rows) -> None:
    for number, _ in places_of(whole.entries[:-1]):
        entries = whole.entries[:number] + whole.entries[number + 1 :]
        assert faults(whole, entries=entries) == [Error(f"entry {number}", "missing")]
    assert "entry 999" in places(faults(whole, entries=whole.entries[:-1]))


@pytest.mark.parametrize(
    ("first", "last"), [(0, 0), (0, 998), (1, 2), (3, 700), (255, 256), (511, 513), (512, 767), (998, 998)]
)
def test_a_deleted_stretch_is_one_fault(whole: Rows, first: int, last: int) -> None:
    entries = whole.entries[:first] + whole.entries[last + 1 :]
    assert faults(whole, entries=entries) == [Error(checking.span(first, last), "missing")]


def test_every_deleted_node_is_found(whole: Rows) -> None:
    for number, node in places_of(whole.nodes):
        [fault] = faults(whole, nodes=whole.nodes[:number] + whole.nodes[number + 1 :])
        first = node.index << node.level
        assert fault.place == f"node over entries {first} to {first + (1 << node.level) - 1}"


def test_a_node_too_many_is_found(whole: Rows) -> None:
    for level, index in [(1, 500), (9, 1), (10, 0), (62, 0), (63, 0), (0, 3), (3, -1), (1, 0), ("1", 0)]:
        extra = NodeRow(level, index, "00" * 32)  # type: ignore[arg-type]
        nodes = sorted([*whole.nodes, extra], key=lambda node: in_order(node))
        found = faults(whole, nodes=nodes)
        assert found, extra


def in_order(node: NodeRow) -> tuple[int, int]:
    level = int(node.level)
    return (node.index + 1) << level, level


def test_every_deleted_body_is_found_unless_an_erasure_says_why(whole: Rows) -> None:
    for number, row in places_of(whole.entries):
        bare = dataclasses.replace(row, body=None, salt=None)
        [fault] = faults(whole, entries=[*whole.entries[:number], bare, *whole.entries[number + 1 :]])
        assert (fault.place, "no later entry of an erasure says why" in fault.says) == (
            f"entry {number}",
            True,
        )


@pytest.mark.parametrize("field", ["body", "salt"])
def test_half_of_a_body_is_no_erasure(whole: Rows, field: str) -> None:
    row = replaced(whole.entries[3], field, None)
    [fault] = faults(whole, entries=[*whole.entries[:3], row, *whole.entries[4:]])
    assert (fault.place, fault.says) == (
        "entry 3",
        "its body or salt was changed: they do not fit the commitment",
    )


def exchanged(one: EntryRow, other: EntryRow) -> tuple[EntryRow, EntryRow]:
    return dataclasses.replace(other, index=one.index), dataclasses.replace(one, index=other.index)


@pytest.mark.parametrize("apart", [1, 2, 7, 512])
def test_every_swap_is_found_at_both_entries(whole: Rows, apart: int) -> None:
    every = range(0, COUNT - apart, 1 if apart == 1 else 11)
    for _, number in places_of(every):
        entries = list(whole.entries)
        entries[number], entries[number + apart] = exchanged(entries[number], entries[number + apart])
        found = places(faults(whole, entries=entries))
        assert {f"entry {number}", f"entry {number + apart}"} <= found


def test_swapped_bodies_are_found_at_both_entries(whole: Rows) -> None:
    for number in range(0, COUNT - 1, 7):
        one, other = whole.entries[number], whole.entries[number + 1]
        entries = list(whole.entries)
        entries[number] = dataclasses.replace(one, body=other.body, salt=other.salt)
        entries[number + 1] = dataclasses.replace(other, body=one.body, salt=one.salt)
        assert places(faults(whole, entries=entries)) == {f"entry {number}", f"entry {number + 1}"}


def test_swapped_nodes_are_found(whole: Rows) -> None:
    for one, other in itertools.pairwise(range(0, len(whole.nodes), 5)):
        nodes = list(whole.nodes)
        nodes[one] = dataclasses.replace(nodes[one], hash=whole.nodes[other].hash)
        nodes[other] = dataclasses.replace(nodes[other], hash=whole.nodes[one].hash)
        assert len(faults(whole, nodes=nodes)) >= 2


def test_rows_out_of_order_are_found(whole: Rows) -> None:
    entries = list(whole.entries)
    entries[10], entries[11] = entries[11], entries[10]
    assert {"entry 10"} <= places(faults(whole, entries=entries))
    assert "entry 10" in places(faults(whole, entries=[*whole.entries[:11], *whole.entries[10:]]))


def test_every_cut_off_end_is_found_with_or_without_its_nodes(whole: Rows) -> None:
    for size, _ in places_of(whole.entries):
        kept = whole.entries[:size]
        found = faults(whole, entries=kept)
        assert checking.span(size, COUNT - 1) in places(found)
        if size % 10 == 0 or not FULL:
            nodes = [node for node in whole.nodes if in_order(node)[0] <= size]
            assert checking.span(size, COUNT - 1) in places(faults(whole, entries=kept, nodes=nodes))


def test_an_end_cut_off_from_every_table_is_found_by_the_checkpoint(whole: Rows) -> None:
    """The forger writes the head anew too: everything in the tables fits, only what was signed does not."""
    nodes_of, heads = grown(whole.entries)
    assert (nodes_of, heads[COUNT]) == (whole.nodes, whole.head)
    for size, _ in places_of(whole.entries):
        nodes = whole.nodes[: size - size.bit_count()]  # so many nodes are complete at that size
        found = faults(whole, entries=whole.entries[:size], nodes=nodes, head=heads[size])
        assert places(found) == {row.place for row in whole.checkpoints if row.size > size}


def test_a_rewritten_entry_is_found_by_the_checkpoint_alone(whole: Rows) -> None:
    """The forger computes every hash anew, up to the head."""
    for number in (0, 1, 499, 500, 998, 999):
        forged = rehashed(dataclasses.replace(whole.entries[number], body='{"grade":4}'))
        entries = [*whole.entries[:number], forged, *whole.entries[number + 1 :]]
        nodes, heads = grown(entries)
        found = faults(whole, entries=entries, nodes=nodes, head=heads[-1])
        assert places(found) == {row.place for row in whole.checkpoints if row.size > number}
        assert all("are not those it was signed over" in fault.says for fault in found)


def test_an_entry_put_in_and_everything_computed_anew_is_found_by_the_checkpoint(whole: Rows) -> None:
    entries = [*whole.entries[:300], whole.entries[299], *whole.entries[300:]]
    entries = [
        rehashed(dataclasses.replace(row, index=index)) if row.index != index else row
        for index, row in enumerate(entries)
    ]
    nodes, heads = grown(entries)
    found = faults(whole, entries=entries, nodes=nodes, head=heads[-1])
    assert places(found) == {row.place for row in whole.checkpoints if row.size > 300}


def test_a_ledger_passed_off_as_another_is_found(whole: Rows) -> None:
    other = ledger(8, signed_at=(8,), tree="another school")
    found = [
        *checking.check(
            TREE,
            (examine(TREE, row) for row in other.entries),
            other.nodes,
            other.head,
            other.checkpoints,
            other.keys,
            Tally(),
        )
    ]
    assert {f"entry {index}" for index in range(8)} <= places(found)
    assert any("is about another ledger, another school" in fault.says for fault in found)


def erasure(index: int, erases: int) -> EntryRow:
    salt = "5a" * 32
    row = EntryRow(
        index,
        sealed.ERASURE,
        "s",
        "2026-11-25T12:00:00.000000Z",
        "",
        "",
        f'{{"erases":{erases},"reason":"r"}}',
        salt,
    )
    return rehashed(row)


@pytest.mark.parametrize(
    ("erased_by", "found"),
    [
        pytest.param([(COUNT, 5)], [], id="an erasure that is sealed later explains it"),
        pytest.param([(COUNT, 6)], ["entry 5"], id="one of another entry does not"),
        pytest.param([], ["entry 5"], id="none does not"),
    ],
)
def test_an_erased_body_is_counted_and_keeps_every_proof(
    whole: Rows, erased_by: list[tuple[int, int]], found: list[str]
) -> None:
    entries = [*whole.entries, *(erasure(*one) for one in erased_by)]
    nodes, heads = grown(entries)
    entries[5] = dataclasses.replace(entries[5], body=None, salt=None)
    tally = Tally()
    faults = checking.check(
        TREE, map(examined, entries), nodes, heads[-1], whole.checkpoints, whole.keys, tally
    )
    assert [fault.place for fault in faults] == found
    assert tally.erased == (0 if found else 1)


def test_an_erasure_explains_nothing_that_was_sealed_after_it() -> None:
    rows = ledger(4, signed_at=())
    entries = [*rows.entries[:2], erasure(2, 3), rows.entries[3]]
    nodes, heads = grown(entries)
    entries[3] = dataclasses.replace(entries[3], body=None, salt=None)
    [fault] = faults(rows, entries=entries, nodes=nodes, head=heads[-1])
    assert fault.place == "entry 3"


def test_a_body_sealed_in_another_form_is_found() -> None:
    rows = ledger(1)
    row = rehashed(dataclasses.replace(rows.entries[0], body='{"b": 1.5}'))
    [fault] = examine(TREE, row).faults
    assert "its body was sealed in a form that is not ours: the number 1.5" in fault.says
