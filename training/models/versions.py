"""Triggers by which a student's ``version`` changes with any row of the record, whoever writes it.

What was worked out from one state of a record is kept under its version (``training.reports``), and a reading
in several queries knows by it that they saw one state (``training.record``). A writer who forgot to draw a
new version would leave old answers standing; so the database draws it.

They are put in place after every ``migrate``; on SQLite they are taken away before it, because a table that
is rebuilt there loses its own, and cannot be renamed while another's mentions it.
"""

from __future__ import annotations

from typing import Any

from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from training import models

TABLES = tuple(model._meta.db_table for model in (*models.ENTRIES, models.Landing))
_FUNCTION = "training_record_changed"
#: Event, and the name under which its trigger sees the rows: as they are, or as they were.
_EVENTS = {"INSERT": "NEW", "UPDATE": "NEW", "DELETE": "OLD"}


def triggers(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """The triggers of this database: name to table and definition."""
    found: dict[str, tuple[str, str]] = {}
    for table in TABLES:
        for event, rows in _EVENTS.items():
            name = f"{table}_version_{event.lower()}"
            if connection.vendor == "postgresql":  # once for all rows of a statement
                definition = (
                    f"CREATE TRIGGER {name} AFTER {event} ON {table} REFERENCING {rows} TABLE AS changed"
                    f" FOR EACH STATEMENT EXECUTE FUNCTION {_FUNCTION}()"
                )
            else:
                definition = (
                    f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW BEGIN"  # noqa: S608
                    " UPDATE training_student SET version = lower(hex(randomblob(16)))"
                    f" WHERE id = {rows}.student_id; END"
                )
            found[name] = (table, definition)
    return found


def functions() -> dict[str, str]:
    """The functions of PostgreSQL's triggers, each with its body."""
    return {
        _FUNCTION: " BEGIN UPDATE training_student SET version = gen_random_uuid()"
        " WHERE id IN (SELECT student_id FROM changed); RETURN NULL; END "
    }


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the triggers in place, replacing those that stand; nothing before the tables are there."""
    if not _ready(connection):
        return
    remove(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for name, source in functions().items():
                cursor.execute(
                    f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql"
                    f" AS $body${source}$body$"
                )
        for _, definition in triggers(connection).values():
            cursor.execute(definition)


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take the triggers away."""
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        for name, (table, _) in triggers(connection).items():
            if table in there:
                on = f" ON {table}" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def _ready(connection: BaseDatabaseWrapper) -> bool:
    with connection.cursor() as cursor:
        students = models.Student._meta.db_table
        there = set(connection.introspection.table_names(cursor))
        if not {students, *TABLES} <= there:
            return False
        described = connection.introspection.get_table_description(cursor, students)
        return "version" in {column.name for column in described}


def before_migrate(*, using: str, **_: Any) -> None:
    """Signal handler: on SQLite, out of the way of tables that are rebuilt."""
    if connections[using].vendor == "sqlite":
        remove(connections[using])


def after_migrate(*, using: str, **_: Any) -> None:
    """Signal handler: in place again."""
    with transaction.atomic(using=using):
        install(connections[using])
