"""The rows of an SQLite backup in an empty PostgreSQL database: a school that outgrew one machine."""

from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, connections, transaction
from django.db.backends.sqlite3.base import DatabaseWrapper
from django.db.models import Model

from training.services.operations import readiness
from training.triggers import every

_OLD = "moved_from"
_AT_ONCE = 1000


class MoveError(Exception):
    """The file cannot be moved; the message says why and what to do."""


def move(path: Path) -> None:
    """Make this database's tables and store every row of the file there; all of it, or nothing.

    Keys, times and sealed rows stay as they are: no trigger and no default changes them on the way. The page
    cache is rendered again and stays out.

    Raises: MoveError where the file is of another version of the program, or lost triggers.
    """
    old = DatabaseWrapper({**connections.settings["default"], **_settings(path)}, alias=_OLD)
    connections[_OLD] = old
    try:
        _check(old, path)
        with transaction.atomic():
            call_command("migrate", verbosity=0, interactive=False)
            with every.lifted(connection), connection.cursor() as cursor:
                models = list(_models())
                tables = ", ".join(connection.ops.quote_name(model._meta.db_table) for model in models)
                cursor.execute(f"TRUNCATE {tables}")  # what migrations wrote themselves
                for model in models:
                    _copy(model)
                for statement in connection.ops.sequence_reset_sql(no_style(), models):
                    cursor.execute(statement)
    finally:
        old.close()
        del connections[_OLD]


def _settings(path: Path) -> dict[str, Any]:
    return {"NAME": f"{path.absolute().as_uri()}?mode=ro", "OPTIONS": {}, "CONN_HEALTH_CHECKS": False}


def _check(old: DatabaseWrapper, path: Path) -> None:
    if readiness.pending_migrations(old) or readiness.unknown_migrations(old):
        raise MoveError(
            f"{path} was written by another version of this program. Run manage.py migrate of this version "
            "where it comes from, and make the backup again."
        )
    if lost := every.missing(old):
        raise MoveError(
            f"{path} has lost triggers that protect signed rows ({', '.join(lost)}). Find out why, then run "
            "manage.py migrate and manage.py ledger_guards where it comes from, and make the backup again."
        )


def _models() -> Iterator[type[Model]]:
    for model in apps.get_models(include_auto_created=True):
        if model._meta.managed and not model._meta.proxy:
            yield model


def _copy(model: type[Model]) -> None:
    fields = [field for field in model._meta.local_concrete_fields if not field.generated]
    names = ", ".join(connection.ops.quote_name(field.column or "") for field in fields)
    insert = (
        f"INSERT INTO {connection.ops.quote_name(model._meta.db_table)} ({names})"  # noqa: S608
        f" VALUES ({', '.join(['%s'] * len(fields))})"
    )
    rows = model._base_manager.using(_OLD).values_list(*(field.attname for field in fields))
    read = rows.iterator(chunk_size=_AT_ONCE)
    with connection.cursor() as cursor:
        while some := list(islice(read, _AT_ONCE)):
            cursor.executemany(insert, [_stored(fields, row) for row in some])


def _stored(fields: list[Any], row: tuple[Any, ...]) -> list[Any]:
    """The row as this database takes it."""
    return [field.get_db_prep_save(value, connection) for field, value in zip(fields, row, strict=True)]
