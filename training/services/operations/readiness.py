"""Whether this instance is ready: the database answers, is migrated and guarded, and the jobs run."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from django.db import DatabaseError, connection, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from training.database import note
from training.models import Heartbeat
from training.services.operations import clock, heartbeats
from training.triggers import every


@dataclass(frozen=True, slots=True)
class Check:
    """One check; ``fault`` is what is wrong, empty if nothing is."""

    name: str
    fault: str = ""


def look(at: dt.datetime) -> list[Check]:
    """Every check, in order; if the database does not answer, the others are left out.

    Redis is not checked: without it nothing is lost, and a sweep that stops misses its heartbeats. About
    eight queries.
    """
    found: list[Check] = []
    for name, check in _CHECKS.items():
        try:
            found.append(Check(name, check(at)))
        except DatabaseError as fault:
            connection.close()  # do not keep a broken connection for the next request
            found.append(Check(name, f"{note(fault)} ({type(fault).__name__})"))
            break
    return found


def _database(at: dt.datetime) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return ""


def _writing(at: dt.datetime) -> str:
    """A small write that is rolled back. A full disk and a read-only standby refuse it."""
    with transaction.atomic():
        Heartbeat.objects.bulk_create(
            [Heartbeat(name="probe", at=at)],
            update_conflicts=True,
            unique_fields=["name"],
            update_fields=["at"],
        )
        transaction.set_rollback(True)
    return ""


@cache
def _known_migrations() -> frozenset[tuple[str, str]]:
    """The migrations of this program, read from disk once.

    Squashed migrations and those that they replace are all included: Django marks both as applied.
    """
    return frozenset(MigrationLoader(None).disk_migrations)


def pending_migrations(on: BaseDatabaseWrapper | None = None) -> list[str]:
    """The migrations of this program that the database has not seen. Two queries."""
    return sorted(f"{app}.{name}" for app, name in _known_migrations() - _applied(on))


def unknown_migrations(on: BaseDatabaseWrapper | None = None) -> list[str]:
    """The migrations that the database has seen and this program does not know: a newer one was here."""
    apps = {app for app, _ in _known_migrations()}
    return sorted(f"{app}.{name}" for app, name in _applied(on) - _known_migrations() if app in apps)


def _applied(on: BaseDatabaseWrapper | None) -> set[tuple[str, str]]:
    return set(MigrationRecorder(on or connection).applied_migrations())


def _migrations(at: dt.datetime) -> str:
    if pending := pending_migrations():
        return f"{len(pending)} to apply, first {pending[0]}: run manage.py migrate"
    return ""


def _triggers(at: dt.datetime) -> str:
    if lost := every.missing(connection):
        return f"{len(lost)} missing: {', '.join(lost)}. {every.REPAIR}"
    return ""


def _heartbeats(at: dt.datetime) -> str:
    return "; ".join(
        f"{each.name} last ran {each.last:%Y-%m-%d %H:%M:%S} UTC" if each.last else f"{each.name} never ran"
        for each in heartbeats.late(at)
    )


def _clock(at: dt.datetime) -> str:
    return clock.differs(at)


_CHECKS: dict[str, Callable[[dt.datetime], str]] = {
    "database": _database,
    "migrations": _migrations,
    "triggers": _triggers,
    "clock": _clock,
    "heartbeats": _heartbeats,
    "writing": _writing,
}
