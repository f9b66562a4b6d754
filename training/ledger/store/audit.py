"""Checks the ledger of this database: reads its rows as a stream and hands them to ``checking``."""

import contextlib
import datetime
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import connection, transaction
from django.db.models import Exists, F, OuterRef, QuerySet
from django.db.models.expressions import CombinedExpression
from psycopg import IsolationLevel

from training.ledger import models
from training.ledger.core import checking, sealed
from training.ledger.core.faults import Error
from training.ledger.store import keys
from training.triggers import installer
from training.triggers.ledger import TRIGGERS

_AT_ONCE = 2000  # rows


@contextlib.contextmanager
def snapshot() -> Iterator[None]:
    """One unchanging view of the database, while others go on writing.

    Inside a caller's transaction, its view is used as it is.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "sqlite":
        # Not atomic(): that takes the write lock at its start and holds everyone up.
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")
    else:
        # Asked of the driver, for its BEGIN: a SET TRANSACTION would have to be the first statement, and the
        # scope of rows is set before it.
        connection.ensure_connection()
        driver = connection.connection
        driver.set_isolation_level(IsolationLevel.REPEATABLE_READ)
        driver.set_read_only(True)
        try:
            with transaction.atomic():
                yield
        finally:
            if not driver.closed:
                driver.set_isolation_level(None)
                driver.set_read_only(None)


def trees() -> list[str]:
    """Every tree of which any row is there."""
    found: set[str] = set()
    for model in (models.Head, models.Entry, models.Node, models.Checkpoint):
        found.update(model._default_manager.order_by().values_list("tree", flat=True).distinct())
    return sorted(found, key=str)


def database_faults() -> Iterator[Error]:
    """What belongs to no tree: triggers that are not in place, bodies without entry."""
    for name in installer.missing(connection, [TRIGGERS]):
        yield Error(
            f"trigger {name}", "is missing: rows could be changed. Restore it: manage.py ledger_guards"
        )
    orphans = models.EntryBody.objects.filter(~Exists(models.Entry.objects.filter(pk=OuterRef("pk"))))
    for key in orphans.order_by("pk").values_list("pk", flat=True):
        yield Error(f"body {key}", "belongs to no entry")


def tree_faults(
    tree: str,
    tally: checking.Tally,
    *,
    against: Iterable[checking.CheckpointRow] = (),
) -> Iterator[Error]:
    """Check one tree; yields its faults and counts in ``tally``.

    ``against``: checkpoints that someone held outside this database. They are checked like its own.
    """
    head = models.Head.objects.filter(tree=tree).values_list("size", "root", "peaks").first()
    own = models.Checkpoint.objects.filter(tree=tree).order_by("size", "pk")
    signed = [
        checking.CheckpointRow(size, root, at, kid, token, place=f"checkpoint {key} at {size} entries")
        for key, size, root, at, kid, token in own.values_list("pk", "size", "root", "at", "kid", "token")
    ]
    known = keys.known()
    return checking.check(
        tree,
        (checking.examine(tree, row) for row in entry_rows(tree)),
        node_rows(tree),
        checking.HeadRow(*head) if head else None,
        [*signed, *against],
        known,
        tally,
    )


def backwards(tree: str, drift: datetime.timedelta) -> Iterator[str]:
    """A sentence for each entry dated before the one ahead of it, by more than clocks may differ: one of the
    two was dated by a wrong clock. What is signed is whole all the same."""
    rows = models.Entry.objects.filter(tree=tree).order_by("index").values_list("index", "at")
    last = ""
    for index, at in _streamed(rows):
        with contextlib.suppress(ValueError):  # an instant that cannot be read is an error of its own
            if last and sealed.instant_of(at) < sealed.instant_of(last) - drift:
                yield f"entry {index} is dated {at}, before the last one ({last}): check the servers' clocks"
        last = at


def entry_rows(tree: str) -> Iterator[checking.EntryRow]:
    """The entries of a tree with their bodies, by index."""
    rows = models.Entry.objects.filter(tree=tree).order_by("index")
    columns = ("index", "kind", "subject", "at", "commitment", "leaf", "kept__body", "kept__salt")
    return (checking.EntryRow(*row) for row in _streamed(rows.values_list(*columns)))


def node_rows(tree: str) -> Iterator[checking.NodeRow]:
    """The inner nodes of a tree in the order in which they were completed."""
    rows = models.Node.objects.filter(tree=tree)
    rows = rows.order_by(CombinedExpression(F("index") + 1, "<<", F("level")), "level")
    return (checking.NodeRow(*row) for row in _streamed(rows.values_list("level", "index", "hash")))


def _streamed(rows: QuerySet[Any, Any]) -> Iterator[Any]:
    return rows.iterator(chunk_size=_AT_ONCE)
