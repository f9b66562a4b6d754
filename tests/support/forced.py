"""Row-level security holds in the tests too, whose role owns the tables and would pass every policy.

A request of a test sees the rows of its user's schools, as the plain role of web server and worker does. The
test itself sees every row again once the answer is there, or somebody is signed in without a request.
"""

from typing import Any

from django.core.signals import request_finished
from django.db import connection
from django.test import Client
from psycopg.pq import TransactionStatus

from training.services import row_scope
from training.triggers import policies


def install() -> None:
    """Bind the owner as well; once the tables are made."""
    set_forced("FORCE")
    request_finished.connect(seen_again, dispatch_uid="tests.row_scope")
    sign_in: Any = Client._login  # type: ignore[attr-defined]

    def signed_in(*given: Any, **named: Any) -> None:
        sign_in(*given, **named)
        seen_again()

    Client._login = signed_in  # type: ignore[attr-defined]


def set_forced(how: str) -> None:
    """``FORCE`` or ``NO FORCE``, on every table with a policy."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            if (
                connection.in_atomic_block
            ):  # no table is altered on which a foreign key is still to be checked
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            for table in policies.wanted(connection):
                cursor.execute(f"ALTER TABLE {table} {how} ROW LEVEL SECURITY")


def seen_again(**_: Any) -> None:
    """Every row again, at once: a layer of kept rows may end with this."""
    row_scope.everything()
    to: Any = connection
    if (
        to.vendor == "postgresql"
        and to.connection is not None
        and not to.connection.closed
        and to.connection.info.transaction_status != TransactionStatus.INERROR
        and to.row_scope != policies.EVERY
    ):
        row_scope.take_over(to)


def release() -> None:
    """What the next test begins with: a transaction that ends with this test takes back what it told."""
    if connection.in_atomic_block:
        row_scope.everything()
        connection.row_scope = policies.EVERY  # type: ignore[attr-defined]
    else:
        seen_again()
