"""Takes the ledger's triggers away for a moment, as only the owner of its tables can (the tests' role is it).

The runner empties every table after a test that commits. The ledger's triggers refuse that, as they should:
so its rows are taken out before, with the triggers lifted, and only where there are any. (The triggers fire
always, so ``session_replication_role`` would not lift them, and needs a superuser besides.)
"""

import contextlib
from collections.abc import Iterator

import pytest
from django.core.cache import caches

from tests.support.kept import commits


@contextlib.contextmanager
def lifted() -> Iterator[None]:
    """No trigger of the ledger, for the time of the block."""
    from django.db import connection

    from training.triggers import ledger as guards

    def settled() -> None:
        # PostgreSQL alters no table on which a foreign key is still to be checked at the transaction's end.
        if connection.vendor == "postgresql" and connection.in_atomic_block:
            with connection.cursor() as cursor:
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("SET CONSTRAINTS ALL DEFERRED")

    settled()
    guards.TRIGGERS.remove(connection)
    try:
        yield
    finally:
        settled()
        guards.TRIGGERS.install(connection)


def take_out() -> None:
    """Every row of the ledger, where there is one."""
    from django.db import connection

    from training.triggers import ledger as guards

    tables = ["ledger_entrybody", *(table for table in guards.TABLES if table != "ledger_entrybody")]
    with connection.cursor() as cursor:
        filled = []
        for table in tables:
            cursor.execute(f"SELECT 1 FROM {table} LIMIT 1")
            if cursor.fetchone():
                filled.append(table)
        if filled:
            with lifted():
                for table in filled:
                    cursor.execute(f"DELETE FROM {table}")


@pytest.fixture(autouse=True)
def ledger_emptied(request: pytest.FixtureRequest) -> Iterator[None]:
    """Takes the ledger's rows out after a test that commits, before the runner empties the tables."""
    if commits(request):
        request.getfixturevalue("transactional_db")  # set up before this one, so torn down after it
        yield
        take_out()
        caches["pages"].clear()  # whose table is no model's
    else:
        yield
