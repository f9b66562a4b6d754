"""Whose rows PostgreSQL shows: in a request those of the person's schools, elsewhere all of them.

``triggers.policies`` has the policies. A request begins with no school (``nothing``), until it is known who
asks (``of``). What must look across schools says so (``every_school``). A connection takes the scope over
before its next statement, since it may have served somebody else before, or be a new one.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.db import connection
from django.db.backends.signals import connection_created
from django.dispatch import receiver
from psycopg.pq import TransactionStatus

from training.triggers.policies import EVERY, SETTING

#: ``EVERY``, empty for no school, or the key of a user, whose schools are those with any tie to the person.
_wanted: ContextVar[str | int] = ContextVar("row_scope", default=EVERY)
_OF_USER = " UNION ".join(
    f"SELECT school_id FROM {table} WHERE user_id = {{0:d}}"  # noqa: S608
    for table in ("training_role", "training_student", "training_guardian")
)
_SET = f"SELECT set_config('{SETTING}', {{0}}, false)"
_SCHOOLS = _SET.format(
    f"COALESCE((SELECT string_agg(school_id::text, ',') FROM ({_OF_USER}) mine), '')"  # noqa: S608
)


def nothing() -> None:
    """Show no school's rows from the next statement on."""
    _wanted.set("")


def of(user: int | None) -> None:
    """Show the rows of a user's schools from now on, as they are now; without a user those of none."""
    _wanted.set(user or "")
    if user and connection.vendor == "postgresql":
        connection.ensure_connection()
        take_over(connection)


def at_least(user: int | None) -> None:
    """The same, unless the rows of these schools are shown already."""
    if _wanted.get() != (user or ""):
        of(user)


def everything() -> None:
    """Show every school's rows from the next statement on."""
    _wanted.set(EVERY)


@contextmanager
def every_school() -> Iterator[None]:
    """Show every school's rows for as long as it holds: for what looks across schools and tells nobody."""
    before = _wanted.set(EVERY)
    try:
        yield
    finally:
        _wanted.reset(before)


def take_over(to: Any) -> None:
    """Set the scope on the connection, directly by the driver: it is no query of the program."""
    scope = _wanted.get()
    said = _SET.format(f"'{EVERY}'") if isinstance(scope, int) or scope else _SET.format("''")
    if isinstance(scope, int):  # roles have a policy themselves
        said = f"{said}; {_SCHOOLS.format(scope)}"
    with to.wrap_database_errors:
        to.connection.execute(said)
    # A rollback takes it back; so inside a transaction the scope is set again before the next statement.
    to.row_scope = None if to.in_atomic_block else scope


def _before_each(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
    to = context["connection"]
    # A failed transaction accepts nothing but its end.
    if to.row_scope != _wanted.get() and to.connection.info.transaction_status != TransactionStatus.INERROR:
        take_over(to)
    return execute(sql, params, many, context)


@receiver(connection_created)
def _on_each_connection(connection: Any, **_: Any) -> None:
    if connection.vendor == "postgresql":
        connection.row_scope = None
        if _before_each not in connection.execute_wrappers:
            # First, because temporary ones are removed from the end.
            connection.execute_wrappers.insert(0, _before_each)
        # Now, because a first statement may have to be first in its transaction, as an isolation level must.
        take_over(connection)
