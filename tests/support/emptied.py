"""Empties the database after a test that commits: the tables that have rows, in one statement.

Django's way empties every table and then makes content types, permissions and our triggers anew, which takes
longer than most of these tests. It still does where a test left other triggers than it found.
"""

from functools import cache
from typing import Any

from django.core.management.color import no_style
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.test import TransactionTestCase

#: What migrating writes, and no test changes.
KEPT = {"django_migrations", "django_content_type", "auth_permission"}
TRIGGERS = {
    "postgresql": "SELECT tgrelid::regclass::text, tgname, tgenabled FROM pg_trigger WHERE NOT tgisinternal",
    "sqlite": "SELECT tbl_name, name, sql FROM sqlite_master WHERE type = 'trigger'",
}


def rows(connection: BaseDatabaseWrapper, query: str) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        return cursor.fetchall()


def triggers(alias: str) -> list[Any]:
    return sorted(rows(connections[alias], TRIGGERS[connections[alias].vendor]))


triggers_at_first = cache(triggers)


@cache
def which_are_filled(alias: str) -> str:
    """The query for the names of the tables that have rows."""
    tables = connections[alias].introspection.django_table_names(only_existing=True, include_views=False)
    return " UNION ALL ".join(
        f"SELECT '{each}' WHERE EXISTS (SELECT 1 FROM {each})" for each in tables if each not in KEPT
    )


def install() -> None:
    """Have every test that commits emptied this way; once the tables are made."""
    as_django_does = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]

    def empty(self: Any) -> None:
        for alias in self._databases_names(include_mirrors=False):
            if triggers(alias) != triggers_at_first(alias):
                return as_django_does(self)
            connection = connections[alias]
            cascade = connection.vendor == "postgresql"  # to tables that are empty
            while filled := rows(connection, which_are_filled(alias)):  # on SQLite a trigger may write
                tables = [table for (table,) in filled]
                ops = connection.ops
                ops.execute_sql_flush(ops.sql_flush(no_style(), tables, allow_cascade=cascade))
        return None

    for alias in connections:
        triggers_at_first(alias)
    TransactionTestCase._fixture_teardown = empty  # type: ignore[attr-defined]
