"""Whether every trigger stands by which the database itself keeps what is signed, published or versioned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from django.core.checks import CheckMessage, Tags, Warning, register
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from syllabus.models import freezing
from training.ledger import guards
from training.models import sealing, staleness, versions

REPAIR = "Put them back, as the owner of the tables: manage.py migrate, then manage.py ledger_guards."


class _Installer(Protocol):
    """A module that puts triggers in place."""

    def triggers(self, connection: BaseDatabaseWrapper, /) -> dict[str, tuple[str, str]]: ...

    def functions(self) -> dict[str, str]: ...


#: Each installer, with the states in which PostgreSQL's trigger counts as switched on: A fires always, O
#: unless ``session_replication_role`` says replica.
_INSTALLERS: Sequence[tuple[_Installer, str]] = (
    (sealing, "A"),
    (freezing, "A"),
    (versions, "AO"),
    (staleness, "AO"),
)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """The names of the triggers that are not there, stand elsewhere, are switched off or do something else.

    Two or three queries. Raises: ``DatabaseError`` where the tables cannot be asked about.
    """
    standing = _postgresql(connection) if connection.vendor == "postgresql" else _sqlite(connection)
    found = guards.missing(connection)
    for installer, enabled in _INSTALLERS:
        functions = installer.functions()
        for name, (table, definition) in installer.triggers(connection).items():
            there = standing.get(name)
            if connection.vendor == "postgresql":
                function = definition.rpartition(" FUNCTION ")[2].removesuffix("()")
                if (
                    there is None
                    or there[2] not in enabled
                    or (there[0], there[1], there[3]) != (table, function, functions[function])
                ):
                    found.append(name)
            elif there != (table, definition):
                found.append(name)
    return sorted(found)


def _postgresql(connection: BaseDatabaseWrapper) -> Mapping[str, tuple[str, ...]]:
    """Trigger to its table, its function, its state and the function's body."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT t.tgname, c.relname, p.proname, t.tgenabled, p.prosrc FROM pg_trigger t"
            " JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid"
            " WHERE NOT t.tgisinternal AND pg_table_is_visible(c.oid)"
        )
        return {name: tuple(rest) for name, *rest in cursor.fetchall()}


def _sqlite(connection: BaseDatabaseWrapper) -> Mapping[str, tuple[str, ...]]:
    """Trigger to its table and its definition."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
        return {name: tuple(rest) for name, *rest in cursor.fetchall()}


@register(Tags.database)
def every_trigger_stands(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """``manage.py check --database default``; a warning, for ``migrate`` checks first and mends it then."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        connection = connections[alias]
        # Before the first migration there is nothing to guard yet.
        if guards.HEAD in connection.introspection.table_names() and (lost := missing(connection)):
            found.append(
                Warning(
                    f"{len(lost)} trigger(s) that keep sealed rows are not in place: {', '.join(lost)}.",
                    hint=REPAIR,
                    id="training.W001",
                )
            )
    return found
