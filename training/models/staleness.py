"""Triggers by which the database itself notes whose lapses are to be worked out anew.

A record's change draws a new ``version`` of its student (``models.versions``); that, a new student, and
another name, birth date or model put the student into ``Stale``. So the sweep looks at what changed and never
through all students, and no writer can forget to tell it.

They are put in place after every ``migrate``; on SQLite they are taken away before it, because a table that
is rebuilt there loses its own, and cannot be renamed while another's mentions it.
"""

from __future__ import annotations

from typing import Any

from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from training.models.standings import Stale
from training.models.students import Student

STUDENTS, STALE = Student._meta.db_table, Stale._meta.db_table
_NOTE, _FORGET = "training_student_stale", "training_student_gone"
#: What lapses depends on, besides the entries that the version stands for.
COLUMNS = ("version", "name", "birth_date", "training_model", "school_id")
_PUT = (
    f"INSERT INTO {STALE} (student_id, school_id, attempts, fault) VALUES (NEW.id, NEW.school_id, 0, '')"  # noqa: S608
    " ON CONFLICT (student_id) DO UPDATE SET attempts = 0, parked_at = NULL, fault = ''"
)
_TAKE = f"DELETE FROM {STALE} WHERE student_id = OLD.id"  # noqa: S608


def functions() -> dict[str, str]:
    """The functions of PostgreSQL's triggers, each with its body."""
    return {
        _NOTE: f" BEGIN {_PUT}; RETURN NULL; END ",
        _FORGET: f" BEGIN {_TAKE}; RETURN NULL; END ",
    }


def triggers(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """The triggers of this database: name to table and definition."""
    postgresql = connection.vendor == "postgresql"
    differs = "IS DISTINCT FROM" if postgresql else "IS NOT"
    changed = " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in COLUMNS)
    found: dict[str, tuple[str, str]] = {}
    for event, when, function, statement in (
        ("INSERT", "", _NOTE, _PUT),
        ("UPDATE", f" WHEN ({changed})", _NOTE, _PUT),
        ("DELETE", "", _FORGET, _TAKE),
    ):
        name = f"{STUDENTS}_stale_{event.lower()}"
        does = f"EXECUTE FUNCTION {function}()" if postgresql else f"BEGIN {statement}; END"
        found[name] = (
            STUDENTS,
            f"CREATE TRIGGER {name} AFTER {event} ON {STUDENTS} FOR EACH ROW{when} {does}",
        )
    return found


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the triggers in place, replacing those that stand; nothing before the tables are there."""
    if not {STUDENTS, STALE} <= set(connection.introspection.table_names()):
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
    if STUDENTS not in connection.introspection.table_names():
        return
    with connection.cursor() as cursor:
        for name, (table, _) in triggers(connection).items():
            on = f" ON {table}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def before_migrate(*, using: str, **_: Any) -> None:
    """Signal handler: on SQLite, out of the way of tables that are rebuilt."""
    if connections[using].vendor == "sqlite":
        remove(connections[using])


def after_migrate(*, using: str, **_: Any) -> None:
    """Signal handler: in place again."""
    with transaction.atomic(using=using):
        install(connections[using])
