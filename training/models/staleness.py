"""Triggers by which the database itself notes whose lapses are to be worked out anew.

A record's change draws a new ``version`` of its student (``models.versions``); that, a new student, and
another name, birth date or model put the student into ``Stale``, as other rules of a school do with all of
its students. So the sweep looks at what changed and never through all students, and no writer can forget to
tell it.

They are put in place after every ``migrate``; on SQLite they are taken away before it, because a table that
is rebuilt there loses its own, and cannot be renamed while another's mentions it.
"""

from __future__ import annotations

from typing import Any

from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from training.models.schools import School
from training.models.standings import Stale
from training.models.students import Student

STUDENTS, STALE = Student._meta.db_table, Stale._meta.db_table
SCHOOLS = School._meta.db_table
_NOTE, _FORGET, _NOTE_ALL = "training_student_stale", "training_student_gone", "training_school_stale"
#: What lapses depends on, besides the entries that the version stands for.
COLUMNS = ("version", "name", "birth_date", "training_model", "school_id")
_ANEW = " ON CONFLICT (student_id) DO UPDATE SET attempts = 0, parked_at = NULL, fault = ''"
_PUT = (
    f"INSERT INTO {STALE} (student_id, school_id, attempts, fault)"  # noqa: S608
    f" VALUES (NEW.id, NEW.school_id, 0, ''){_ANEW}"
)
_PUT_ALL = (
    f"INSERT INTO {STALE} (student_id, school_id, attempts, fault)"  # noqa: S608
    f" SELECT id, school_id, 0, '' FROM {STUDENTS} WHERE school_id = NEW.id{_ANEW}"
)
_TAKE = f"DELETE FROM {STALE} WHERE student_id = OLD.id"  # noqa: S608


def functions() -> dict[str, str]:
    """The functions of PostgreSQL's triggers, each with its body."""
    return {
        _NOTE: f" BEGIN {_PUT}; RETURN NULL; END ",
        _FORGET: f" BEGIN {_TAKE}; RETURN NULL; END ",
        _NOTE_ALL: f" BEGIN {_PUT_ALL}; RETURN NULL; END ",
    }


def triggers(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """The triggers of this database: name to table and definition."""
    postgresql = connection.vendor == "postgresql"
    differs = "IS DISTINCT FROM" if postgresql else "IS NOT"
    changed = " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in COLUMNS)
    other_rules = f"NEW.rules_version {differs} OLD.rules_version"
    found: dict[str, tuple[str, str]] = {}
    for table, event, when, function, statement in (
        (STUDENTS, "INSERT", "", _NOTE, _PUT),
        (STUDENTS, "UPDATE", f" WHEN ({changed})", _NOTE, _PUT),
        (STUDENTS, "DELETE", "", _FORGET, _TAKE),
        (SCHOOLS, "UPDATE", f" WHEN ({other_rules})", _NOTE_ALL, _PUT_ALL),
    ):
        name = f"{table}_stale_{event.lower()}"
        does = f"EXECUTE FUNCTION {function}()" if postgresql else f"BEGIN {statement}; END"
        found[name] = (
            table,
            f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW{when} {does}",
        )
    return found


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


def _ready(connection: BaseDatabaseWrapper) -> bool:
    """Whether the tables are there with the columns that the triggers look at."""
    with connection.cursor() as cursor:
        if not {STUDENTS, STALE, SCHOOLS} <= set(connection.introspection.table_names(cursor)):
            return False
        described = connection.introspection.get_table_description(cursor, SCHOOLS)
        return "rules_version" in {column.name for column in described}


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
