"""Many at once: each gets its own place, none is left out, and the tree is whole."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import close_old_connections, connection, transaction

from tests.support.ledgers import NOON, TREE
from tests.training.ledger.test_entries import whole
from training.ledger import models
from training.ledger.store import checkpoints, entries

THREADS = 20


@pytest.mark.django_db(transaction=True)
def test_twenty_threads_seal_into_a_new_tree_without_gap_or_double() -> None:
    each = 10 if connection.vendor == "postgresql" else 3  # SQLite waits for each commit on the disk
    together = threading.Barrier(THREADS)

    def work(thread: int) -> list[int]:
        try:
            together.wait(30)
            places = []
            for number in range(each):
                try:
                    with transaction.atomic():
                        entry = entries.append(
                            tree=TREE,
                            kind="lesson.signed",
                            subject=f"student-{thread}",
                            body={"thread": thread, "number": number},
                            at=NOON,
                        )
                        if number % 5 == 2:
                            raise RuntimeError("given up after sealing")
                    places.append(entry.index)
                except RuntimeError:
                    pass
            return places
        finally:
            close_old_connections()
            connection.close()

    with ThreadPoolExecutor(THREADS) as pool:
        found = list(pool.map(work, range(THREADS)))

    kept = sum(1 for number in range(each) if number % 5 != 2) * THREADS
    assert sorted(index for places in found for index in places) == list(range(kept))
    for places in found:
        assert places == sorted(places)
    assert whole().entries == kept
    assert models.Node.objects.count() == whole().nodes
    for thread, places in enumerate(found):
        mine = models.Entry.objects.filter(subject=f"student-{thread}").order_by("index")
        assert [entry.index for entry in mine] == places


@pytest.mark.django_db(transaction=True)
def test_checkpoints_asked_for_at_once_are_one() -> None:
    with transaction.atomic():
        entries.append(tree=TREE, kind="k", subject="s", body={}, at=NOON)
    together = threading.Barrier(8)

    def work(_: int) -> int:
        try:
            together.wait(30)
            return checkpoints.issue(TREE, at=NOON).pk
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        assert len(set(pool.map(work, range(8)))) == 1
    assert models.Checkpoint.objects.count() == 1
    assert models.LedgerKey.objects.count() == 1
