"""Errors of the database: each has its name, and a transaction that another one ended runs again."""

from __future__ import annotations

import sqlite3
import threading
import types

import psycopg
import pytest
from django.db import InterfaceError, OperationalError, close_old_connections, connection, transaction

from tests.support import factories
from tests.support.rows import over_rows
from training import database
from training.models import School


def wrapped(cause: Exception) -> OperationalError:
    """As Django passes on what the driver raised."""
    fault = OperationalError(*cause.args)
    fault.__cause__ = cause
    return fault


def of_sqlite(name: str) -> sqlite3.OperationalError:
    fault = sqlite3.OperationalError("of no interest")
    fault.sqlite_errorname = name
    return fault


@over_rows(
    ("cause", "name"),
    [
        (psycopg.errors.DiskFull("could not extend file"), "disk full"),
        (psycopg.errors.DeadlockDetected("deadlock detected"), "deadlock"),
        (psycopg.errors.SerializationFailure("could not serialize"), "serialization failure"),
        (psycopg.errors.TooManyConnections("sorry"), "too many connections"),
        (psycopg.errors.ReadOnlySqlTransaction("cannot execute INSERT"), "read-only"),
        (psycopg.errors.AdminShutdown("terminating"), "shut down by an administrator"),
        (psycopg.errors.CrashShutdown("terminating"), "restarted after a crash"),
        (psycopg.errors.LockNotAvailable("canceling"), "lock timeout"),
        (psycopg.errors.QueryCanceled("canceling"), "statement timeout"),
        (psycopg.errors.ConfigurationLimitExceeded("more"), "out of resources"),
        (psycopg.OperationalError('FATAL: too many connections for role "app"'), "too many connections"),
        (psycopg.OperationalError("FATAL: sorry, too many clients already"), "too many connections"),
        (psycopg.OperationalError('password authentication failed for user "x"'), "the login was refused"),
        (psycopg.OperationalError('database "training" does not exist'), "no such database"),
        (psycopg.OperationalError("the database system is starting up"), "starting up or shutting down"),
        (psycopg.OperationalError("connection refused"), "the connection failed"),
        (of_sqlite("SQLITE_FULL"), "disk full"),
        (of_sqlite("SQLITE_READONLY_DBMOVED"), "read-only"),
        (of_sqlite("SQLITE_BUSY"), "lock timeout"),
        (psycopg.errors.UndefinedTable("no such table"), "unknown"),
    ],
    ids=str,
)
def test_each_error_has_its_name(cause: Exception, name: str) -> None:
    assert database.name_of(wrapped(cause)) == name


def test_a_connection_that_was_closed_has_a_name_too() -> None:
    assert database.name_of(InterfaceError("connection already closed")) == "the connection failed"


def failing(cause: Exception, times: int, tries: list[int]) -> int:
    tries.append(len(tries))
    if len(tries) <= times:
        raise wrapped(cause)
    return len(tries)


@over_rows(
    ("cause", "times", "tried", "raises"),
    [
        (psycopg.errors.DeadlockDetected("a"), 2, 3, False),
        (psycopg.errors.SerializationFailure("a"), 1, 2, False),
        (psycopg.errors.DeadlockDetected("a"), 99, len(database.PAUSES) + 1, True),
        (psycopg.errors.DiskFull("a"), 1, 1, True),
        (psycopg.errors.AdminShutdown("a"), 1, 1, True),
    ],
    ids=str,
)
def test_what_is_run_again_and_how_often(
    monkeypatch: pytest.MonkeyPatch, cause: Exception, times: int, tried: int, raises: bool
) -> None:
    paused: list[float] = []
    monkeypatch.setattr(database.time, "sleep", paused.append)
    # The rows that are kept for other tests are in a transaction.
    monkeypatch.setattr(database, "connection", types.SimpleNamespace(in_atomic_block=False))
    tries: list[int] = []
    work = database.run_again(failing)
    if raises:
        with pytest.raises(OperationalError):
            work(cause, times, tries)
    else:
        assert work(cause, times, tries) == tried
    assert len(tries) == tried
    assert len(paused) == tried - 1
    assert all(
        0.5 * most <= pause <= 1.5 * most for pause, most in zip(paused, database.PAUSES, strict=False)
    )


@pytest.mark.django_db
def test_nothing_is_run_again_inside_a_transaction_that_ended_too() -> None:
    tries: list[int] = []
    with pytest.raises(OperationalError):
        database.run_again(failing)(psycopg.errors.DeadlockDetected("a"), 1, tries)
    assert tries == [0]


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_that_wait_for_each_other_both_come_through() -> None:
    """Against the order of locks, so that the server has to end one of them."""
    schools = [factories.school(name=f"School {number}", slug=f"s{number}").pk for number in range(2)]
    together, done = threading.Barrier(2), []

    def work(first: int, second: int, meet: bool) -> None:
        with transaction.atomic():
            School.objects.select_for_update(no_key=True).get(pk=first)
            if meet:
                together.wait(30)
            School.objects.select_for_update(no_key=True).get(pk=second)

    def worker(first: int, second: int) -> None:
        met: list[bool] = []

        @database.run_again
        def whole() -> None:
            met.append(True)
            work(first, second, meet=len(met) == 1)

        try:
            whole()
            done.append(len(met))
        finally:
            close_old_connections()
            connection.close()

    threads = [threading.Thread(target=worker, args=each) for each in (schools, schools[::-1])]
    for each in threads:
        each.start()
    for each in threads:
        each.join(60)
    assert sorted(done) == [1, 2]
