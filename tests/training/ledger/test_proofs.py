"""Merkle trees and proofs: the published vectors, the RFC's own definition, and forgeries."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from training.ledger.core import proofs
from training.ledger.core.proofs import ProofError, check_consistency, check_inclusion, leaf_hash

# Test vectors of the Certificate Transparency reference implementation (merkle tree tests, SHA-256), as they
# are published with RFC 6962 and repeated in the test data of its successors. RFC 9162 kept the hashes.
LEAVES = [
    bytes.fromhex(text)
    for text in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
N_96 = "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7"
N_5F = "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e"
N_6B = "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"
N_BC = "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"
N_CA = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0"
N_0E = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a"
N_B0 = "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f"
#: Index from 0, size, proof.
INCLUSIONS = [
    (0, 1, []),
    (0, 8, [N_96, N_5F, N_6B]),
    (5, 8, [N_BC, N_CA, ROOTS[4]]),
    (2, 3, [ROOTS[2]]),
    (1, 5, [ROOTS[1], N_5F, N_BC]),
]
CONSISTENCIES = [
    (1, 1, []),
    (1, 8, [N_96, N_5F, N_6B]),
    (6, 8, [N_0E, N_CA, ROOTS[4]]),
    (2, 5, [N_5F, N_BC]),
    (6, 7, [N_0E, N_B0, ROOTS[4]]),
]


def mth(leaves: list[bytes]) -> bytes:
    """MTH(D[n]) word for word as RFC 9162, 2.1.1 defines it."""
    n = len(leaves)
    if n == 0:
        return proofs.EMPTY_ROOT
    if n == 1:
        return leaf_hash(leaves[0])
    k = largest_power_below(n)
    return proofs.node_hash(mth(leaves[:k]), mth(leaves[k:]))


def path(m: int, leaves: list[bytes]) -> list[bytes]:
    """PATH(m, D[n]) of 2.1.3.1."""
    n = len(leaves)
    if n == 1:
        return []
    k = largest_power_below(n)
    if m < k:
        return [*path(m, leaves[:k]), mth(leaves[k:])]
    return [*path(m - k, leaves[k:]), mth(leaves[:k])]


def subproof(m: int, leaves: list[bytes], whole: bool) -> list[bytes]:
    """SUBPROOF(m, D[n], b) of 2.1.4.1; PROOF(m, D[n]) is SUBPROOF(m, D[n], true)."""
    n = len(leaves)
    if m == n:
        return [] if whole else [mth(leaves)]
    k = largest_power_below(n)
    if m <= k:
        return [*subproof(m, leaves[:k], whole), mth(leaves[k:])]
    return [*subproof(m - k, leaves[k:], False), mth(leaves[:k])]


def largest_power_below(n: int) -> int:
    k = 1
    while k * 2 < n:
        k *= 2
    return k


class Tree:
    """A tree grown leaf by leaf, with every complete subtree kept, as the database keeps them."""

    def __init__(self, leaves: list[bytes]) -> None:
        self.leaves = leaves
        self.kept: dict[proofs.Position, bytes] = {}
        self.roots = [proofs.EMPTY_ROOT]
        peaks: list[bytes] = []
        for size, data in enumerate(leaves):
            self.kept[0, size] = leaf_hash(data)
            self.kept |= dict(proofs.grow(peaks, size, leaf_hash(data)))
            self.roots.append(proofs.fold(peaks))

    def folded(self, parts: list[tuple[proofs.Position, ...]]) -> list[bytes]:
        return [proofs.fold([self.kept[position] for position in part]) for part in parts]

    def inclusion(self, index: int, size: int) -> list[bytes]:
        return self.folded(proofs.inclusion_parts(index, size))

    def consistency(self, first: int, second: int) -> list[bytes]:
        return self.folded(proofs.consistency_parts(first, second))


PUBLISHED = Tree(LEAVES)


@pytest.mark.parametrize("size", range(9))
def test_the_published_root_of_so_many_leaves(size: int) -> None:
    assert PUBLISHED.roots[size].hex() == ROOTS[size]


@pytest.mark.parametrize(("index", "size", "proof"), INCLUSIONS)
def test_the_published_inclusion_proofs(index: int, size: int, proof: list[str]) -> None:
    assert [step.hex() for step in PUBLISHED.inclusion(index, size)] == proof
    steps = [bytes.fromhex(step) for step in proof]
    check_inclusion(index, size, leaf_hash(LEAVES[index]), steps, bytes.fromhex(ROOTS[size]))


@pytest.mark.parametrize(("first", "second", "proof"), CONSISTENCIES)
def test_the_published_consistency_proofs(first: int, second: int, proof: list[str]) -> None:
    assert [step.hex() for step in PUBLISHED.consistency(first, second)] == proof
    steps = [bytes.fromhex(step) for step in proof]
    check_consistency(first, second, bytes.fromhex(ROOTS[first]), bytes.fromhex(ROOTS[second]), steps)


GROWN = Tree([b"leaf %d" % number for number in range(66)])


@pytest.mark.parametrize("size", range(1, 67))
def test_every_proof_is_that_of_the_definition_and_holds(size: int) -> None:
    leaves = GROWN.leaves[:size]
    root = mth(leaves)
    assert GROWN.roots[size] == root
    for index in range(size):
        proof = GROWN.inclusion(index, size)
        assert proof == path(index, leaves)
        check_inclusion(index, size, leaf_hash(leaves[index]), proof, root)
    for first in range(1, size + 1):
        proof = GROWN.consistency(first, size)
        assert proof == subproof(first, leaves, True)
        check_consistency(first, size, GROWN.roots[first], root, proof)
    assert GROWN.consistency(0, size) == []
    check_consistency(0, size, proofs.EMPTY_ROOT, root, [])


@given(st.lists(st.binary(max_size=8), min_size=1, max_size=150), st.data())
def test_any_tree_proves_any_leaf_and_any_earlier_tree(leaves: list[bytes], data: st.DataObject) -> None:
    tree = Tree(leaves)
    size = len(leaves)
    index = data.draw(st.integers(0, size - 1))
    first = data.draw(st.integers(0, size))
    assert tree.roots[size] == mth(leaves)
    assert tree.inclusion(index, size) == path(index, leaves)
    check_inclusion(index, size, leaf_hash(leaves[index]), tree.inclusion(index, size), tree.roots[size])
    check_consistency(first, size, tree.roots[first], tree.roots[size], tree.consistency(first, size))


def test_a_proof_is_as_short_as_the_tree_is_high() -> None:
    size = 10**12
    assert max(len(proofs.inclusion_parts(index, size)) for index in (0, 1, size // 3, size - 1)) <= 40
    assert len(proofs.consistency_parts(size // 3, size)) <= 41


def flipped(hashes: list[bytes]) -> list[list[bytes]]:
    """Every list that differs in one byte of one hash, by each of its eight bits in turn."""
    found = []
    for place, one in enumerate(hashes):
        for at in range(len(one)):
            changed = bytearray(one)
            changed[at] ^= 1 << (at % 8)
            found.append([*hashes[:place], bytes(changed), *hashes[place + 1 :]])
    return found


def reshaped(hashes: list[bytes]) -> list[list[bytes]]:
    """Lists with a hash left out, doubled, put before or behind, or two in the other order."""
    other = b"\xab" * 32
    found = [[other, *hashes], [*hashes, other]]
    for place in range(len(hashes)):
        found.append([*hashes[:place], *hashes[place + 1 :]])
        found.append([*hashes[: place + 1], *hashes[place:]])
    for place in range(len(hashes) - 1):
        if hashes[place] != hashes[place + 1]:
            swapped = list(hashes)
            swapped[place : place + 2] = swapped[place : place + 2][::-1]
            found.append(swapped)
    return found


def refused(check: Callable[[], None]) -> bool:
    try:
        check()
    except ProofError:
        return True
    return False


@pytest.mark.parametrize("size", [1, 2, 3, 5, 8, 13, 21, 64, 66])
def test_a_forged_inclusion_proof_is_refused(size: int) -> None:
    """Each byte of each hash; a hash more, less or elsewhere; another index, leaf or root.

    (A larger or smaller *size* can leave the same path, as the RFC has it: the size is not hashed. It is part
    of the signed checkpoint for that reason, and is changed there in the tests of the statements.)
    """
    root = GROWN.roots[size]
    for index in range(size):
        leaf, proof = leaf_hash(GROWN.leaves[index]), GROWN.inclusion(index, size)
        check_inclusion(index, size, leaf, proof, root)
        for forged in flipped(proof) + reshaped(proof):
            assert refused(lambda: check_inclusion(index, size, leaf, forged, root))  # noqa: B023
        for other in range(size + 2):
            if other != index:
                assert refused(lambda: check_inclusion(other, size, leaf, proof, root))  # noqa: B023
        for [wrong] in flipped([leaf]):
            assert refused(lambda: check_inclusion(index, size, wrong, proof, root))  # noqa: B023
        for [wrong] in flipped([root]):
            assert refused(lambda: check_inclusion(index, size, leaf, proof, wrong))  # noqa: B023


@pytest.mark.parametrize("second", [2, 3, 5, 8, 13, 32, 66])
def test_a_forged_consistency_proof_is_refused(second: int) -> None:
    """Each byte of each hash and root; a hash more, less or elsewhere; another first size."""
    last = GROWN.roots[second]
    for first in range(1, second):
        root, proof = GROWN.roots[first], GROWN.consistency(first, second)
        check_consistency(first, second, root, last, proof)
        for forged in flipped(proof) + reshaped(proof):
            assert refused(lambda: check_consistency(first, second, root, last, forged))  # noqa: B023
        for [wrong] in flipped([root]):
            assert refused(lambda: check_consistency(first, second, wrong, last, proof))  # noqa: B023
        for [wrong] in flipped([last]):
            assert refused(lambda: check_consistency(first, second, root, wrong, proof))  # noqa: B023
        for other in range(second + 2):
            if other != first:
                assert refused(lambda: check_consistency(other, second, root, last, proof))  # noqa: B023
        assert refused(lambda: check_consistency(second, first, last, root, proof))  # noqa: B023
        assert refused(lambda: check_consistency(first, second, root, last, []))  # noqa: B023


A, B = leaf_hash(b"a"), leaf_hash(b"b")


@pytest.mark.parametrize(
    ("check", "says"),
    [
        pytest.param(lambda: check_inclusion(0, 0, A, [], A), "has no leaf 0", id="nothing is in no tree"),
        pytest.param(lambda: check_inclusion(2, 2, A, [B], A), "has no leaf 2", id="one past the end"),
        pytest.param(lambda: check_inclusion(-1, 2, A, [B], A), "-1 is not an index", id="before the start"),
        pytest.param(
            lambda: check_inclusion(True, 2, A, [B], A), "True is not an index", id="no number at all"
        ),
        pytest.param(lambda: check_inclusion(0, 2, A[:31], [B], A), "32 bytes", id="a leaf cut short"),
        pytest.param(lambda: check_inclusion(0, 2, A, [b""], A), "32 bytes", id="an empty step"),
        pytest.param(lambda: check_inclusion(0, 1, A, [B], A), "too long", id="a step too many"),
        pytest.param(lambda: check_inclusion(0, 2, A, [], A), "too short", id="a step too few"),
        pytest.param(lambda: check_consistency(3, 2, A, B, []), "cannot continue", id="back in time"),
        pytest.param(lambda: check_consistency(0, 2, A, B, []), "empty", id="a root of nothing"),
        pytest.param(
            lambda: check_consistency(0, 2, proofs.EMPTY_ROOT, B, [A]), "too long", id="steps from nothing"
        ),
        pytest.param(lambda: check_consistency(2, 2, A, B, []), "different roots", id="two roots of a size"),
        pytest.param(lambda: check_consistency(2, 2, A, A, [B]), "too long", id="steps to itself"),
        pytest.param(lambda: check_consistency(3, 5, A, B, []), "too short", id="no steps"),
        pytest.param(lambda: proofs.inclusion_parts(3, 3), "has no leaf 3", id="no proof of what is not in"),
        pytest.param(lambda: proofs.consistency_parts(4, 3), "cannot continue", id="no proof backwards"),
    ],
)
def test_why_a_proof_is_refused(check: Callable[[], None], says: str) -> None:
    with pytest.raises(ProofError, match=says):
        check()
