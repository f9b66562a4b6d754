"""Every set of triggers: put in place after each ``migrate``, and looked at by a system check.

On SQLite they are taken away before a ``migrate``, because a table that is rebuilt there loses its own, and
cannot be renamed while another's mentions it. The ledger's are put in place by its migrations and by
``manage.py ledger_guards`` alone, so that no ``migrate`` hides that somebody lifted them.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from django.core.checks import CheckMessage, Tags, Warning, register
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from training.triggers import courses, erasing, installer, ledger, policies, sealing, staleness, versions

REPAIR = "Put them back, as the owner of the tables: manage.py migrate, then manage.py ledger_guards."
_EVERY = (sealing.TRIGGERS, courses.TRIGGERS, versions.TRIGGERS, staleness.TRIGGERS)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """The names of the triggers that are not in place as they were made. One query."""
    return installer.missing(connection, (ledger.TRIGGERS, *_EVERY))


def before_migrate(*, using: str, **_: Any) -> None:
    """Signal handler: on SQLite, out of the way of tables that are rebuilt."""
    if connections[using].vendor == "sqlite":
        for each in _EVERY:
            each.remove(connections[using])


def after_migrate(*, using: str, **_: Any) -> None:
    """Signal handler: in place again, as the tables now are.

    What is in place stays: to put a trigger on a table waits for everybody who reads it, and those for us, so
    that a school at work and a ``migrate`` would run into a deadlock.
    """
    with transaction.atomic(using=using):
        for each in _EVERY:
            if installer.missing(connections[using], (each,)):
                each.install(connections[using])
        erasing.install(connections[using])
        policies.install(connections[using])


@contextmanager
def lifted(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """None of them, the ledger's included, for the time of the block: in a transaction, as the owner."""
    sets = (ledger.TRIGGERS, *_EVERY)
    settle(connection)
    for each in sets:
        each.remove(connection)
    yield
    settle(connection)
    for each in sets:
        each.install(connection)


def settle(connection: BaseDatabaseWrapper) -> None:
    """Check now what is checked at the transaction's end: PostgreSQL alters no table where that is due."""
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")


@register(Tags.database)
def every_trigger_stands(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """``manage.py check --database default``; a warning, for ``migrate`` checks first and mends it then."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        connection = connections[alias]
        # Before the first migration there is nothing to guard yet.
        if ledger.HEAD in connection.introspection.table_names() and (lost := missing(connection)):
            found.append(
                Warning(
                    f"Triggers that protect signed rows are missing: {len(lost)} ({', '.join(lost)}).",
                    hint=REPAIR,
                    id="training.W001",
                )
            )
        if lost := policies.missing(connection):
            found.append(
                Warning(
                    f"Policies that show a school its own rows alone are missing on: {', '.join(lost)}.",
                    hint="Put them back, as the owner of the tables: manage.py migrate.",
                    id="training.W002",
                )
            )
    return found
