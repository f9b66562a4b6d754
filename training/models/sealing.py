"""Triggers by which the database itself refuses to change or delete a sealed entry, whoever asks.

A sealed endorsement may be retired once, and only when its revocation stands beside it. Rows that are written
once (seals, revocations) refuse every change. Rows of a demo school may be deleted, so that the demo can be
loaded anew; what stands in the ledger about them stays.

Whoever owns the tables can lift a trigger: the ledger then shows that a row is not what was sealed. The
triggers are put in place after every ``migrate``; on SQLite they are taken away before it, because a table
that is rebuilt there loses its own, and cannot be renamed while another's mentions it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper

from training import models

#: Tables whose rows are refused every change once written.
WRITTEN_ONCE = (models.EndorsementSeal, models.Revocation)
FUNCTION = "training_sealed_stays"
ONCE = "training_written_once"
_SAYS = "is sealed: it is never changed or deleted; what ends it is an entry of its own"
_DEMO = "EXISTS (SELECT 1 FROM training_school WHERE id = OLD.school_id AND is_demo)"
_REVOKED = "EXISTS (SELECT 1 FROM training_revocation WHERE endorsement_id = OLD.id)"

_POSTGRESQL_FUNCTIONS = {
    FUNCTION: f"""
BEGIN
  IF TG_OP = 'DELETE' THEN
    IF {_DEMO} THEN RETURN OLD; END IF;
  ELSIF OLD.retired_at IS NULL AND NEW.retired_at IS NOT NULL
    AND to_jsonb(NEW) - 'retired_at' = to_jsonb(OLD) - 'retired_at'
    AND TG_TABLE_NAME = 'training_endorsement' AND {_REVOKED}
  THEN RETURN NEW;
  END IF;
  RAISE EXCEPTION '% row % {_SAYS}', TG_TABLE_NAME, OLD.id USING ERRCODE = 'restrict_violation';
END""",
    ONCE: f"""
BEGIN
  IF TG_OP = 'DELETE' AND {_DEMO} THEN RETURN OLD; END IF;
  RAISE EXCEPTION '% row % {_SAYS}', TG_TABLE_NAME, OLD.id USING ERRCODE = 'restrict_violation';
END""",
}


def _tables() -> Iterator[tuple[Any, bool]]:
    """Each guarded model, and whether only its sealed rows are guarded."""
    for model in models.ENTRIES:
        yield model, True
    for model in WRITTEN_ONCE:
        yield model, False


def triggers(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """The triggers of this database: name to table and definition."""
    found: dict[str, tuple[str, str]] = {}
    for model, entry in _tables():
        table = model._meta.db_table
        if connection.vendor == "postgresql":
            when, function = (" WHEN (OLD.sealed)", FUNCTION) if entry else ("", ONCE)
            found[f"{table}_stays"] = (
                table,
                f"CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE ON {table}"
                f" FOR EACH ROW{when} EXECUTE FUNCTION {function}()",
            )
        elif connection.vendor == "sqlite":
            for name, when, condition in _sqlite(model, entry):
                found[name] = (
                    table,
                    f"CREATE TRIGGER {name} BEFORE {when} ON {table} FOR EACH ROW WHEN {condition}"
                    f" BEGIN SELECT RAISE(ABORT, 'a row of {table} {_SAYS}'); END",
                )
        else:
            raise NotImplementedError(
                f"Sealed entries are not guarded on {connection.vendor}; use PostgreSQL or SQLite."
            )
    return found


def _sqlite(model: Any, entry: bool) -> Iterator[tuple[str, str, str]]:
    """Name, event and condition of each trigger of a table on SQLite.

    The one on INSERT is against ``INSERT OR REPLACE``, which deletes without firing the others.
    """
    table = model._meta.db_table
    sealed = "OLD.sealed" if entry else "1"
    retires = "0"
    if model is models.Endorsement:
        kept = " AND ".join(
            f'NEW."{field.column}" IS OLD."{field.column}"'
            for field in model._meta.concrete_fields
            if field.column != "retired_at"
        )
        retires = f"(OLD.retired_at IS NULL AND NEW.retired_at IS NOT NULL AND {kept} AND {_REVOKED})"
    there = f"SELECT 1 FROM {table} WHERE id = NEW.id" + (" AND sealed" if entry else "")  # noqa: S608
    yield f"{table}_no_update", "UPDATE", f"{sealed} AND NOT {retires}"
    yield f"{table}_no_delete", "DELETE", f"{sealed} AND NOT {_DEMO}"
    yield f"{table}_no_replace", "INSERT", f"EXISTS ({there})"


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the triggers in place, in the place of those there are; nothing before the tables are there.

    Raises: NotImplementedError on a database that is neither PostgreSQL nor SQLite.
    """
    if not _ready(connection):
        return
    remove(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for name, source in _POSTGRESQL_FUNCTIONS.items():
                cursor.execute(
                    f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql"
                    f" AS $body${source}$body$"
                )
        for name, (table, definition) in triggers(connection).items():
            cursor.execute(definition)
            if connection.vendor == "postgresql":
                cursor.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}")


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take the triggers away, as only the owner of the tables can."""
    with connection.cursor() as cursor:
        for name, (table, _) in triggers(connection).items():
            on = f" ON {table}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def _ready(connection: BaseDatabaseWrapper) -> bool:
    """Whether every guarded table is there with every column that a trigger mentions."""
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        for model, _ in _tables():
            if model._meta.db_table not in tables:
                return False
            described = connection.introspection.get_table_description(cursor, model._meta.db_table)
            there = {column.name for column in described}
            if not {field.column for field in model._meta.concrete_fields} <= there:
                return False
    return True


def before_migrate(*, using: str, **_: Any) -> None:
    """Signal handler: on SQLite, out of the way of tables that are rebuilt."""
    from django.db import connections

    if connections[using].vendor == "sqlite":
        remove(connections[using])


def after_migrate(*, using: str, **_: Any) -> None:
    """Signal handler: in place again."""
    from django.db import connections, transaction

    with transaction.atomic(using=using):
        install(connections[using])
