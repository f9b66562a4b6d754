"""A backup is made, taken back elsewhere, and answers as before; on a real PostgreSQL and on SQLite."""

from __future__ import annotations

import dataclasses
import json
import os
import pathlib
import re
import secrets
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import psycopg
import pytest

from tests.support.backup_worker import OPEN_SESSION
from training.services.operations import backup

ROOT = pathlib.Path(__file__).resolve().parents[3]
KINDS = pytest.mark.parametrize("kind", ["postgresql", "sqlite"])
#: From where to where a backup goes.
WAYS = {"postgresql": ("postgresql",) * 2, "sqlite": ("sqlite",) * 2, "grown": ("sqlite", "postgresql")}
SIGNING_KEY = "YSBrZXkgb2YgdGhpcyB0ZXN0IGFsb25lIDAxMjM0NTY="
#: What is sealed, and what the database says to whoever changes or deletes it.
SEALED = {
    "training_signoff": "sealed",
    "training_flight": "sealed",
    "ledger_entry": "never changed or deleted",
    "ledger_checkpoint": "never changed or deleted",
}
OTHER_KEY = "YW5vdGhlciBrZXkgb2YgdGhpcyB0ZXN0IDAxMjM0NTY="
REFUSED = (psycopg.errors.RestrictViolation, sqlite3.IntegrityError)


@dataclasses.dataclass(frozen=True)
class Place:
    """An installation: its database and its data folder."""

    url: str
    folder: pathlib.Path
    key: str = SIGNING_KEY

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        environment = {
            **os.environ,
            "DATABASE_URL": self.url,
            "DATA_DIR": str(self.folder),
            "LEDGER_SIGNING_KEY": self.key,
            "PYTHONPATH": str(ROOT),
        }
        command = [sys.executable, *arguments]
        return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)

    def manage(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return self.run("-m", "django", *arguments, "--settings=training.config.settings")

    def does(self, *steps: str) -> list[Any]:
        """What each of the worker's steps says, all in one process."""
        done = self.run("-m", "tests.support.backup_worker", *steps)
        assert done.returncode == 0, done.stderr
        return [json.loads(line) for line in done.stdout.splitlines()]

    def connect(self) -> Any:
        if self.url.startswith("sqlite"):
            return sqlite3.connect(self.url.removeprefix("sqlite:///"))
        return psycopg.connect(self.url)


@dataclasses.dataclass(frozen=True)
class Moved:
    """A filled installation, its backup, and another one into which that was taken back."""

    first: Place
    file: pathlib.Path
    answers: Any
    second: Place
    said: Any


class Places:
    """Makes installations with an empty database, and takes PostgreSQL's away again."""

    def __init__(self, folder: pathlib.Path) -> None:
        self.folder = folder
        self.server = os.environ["DATABASE_URL"].rpartition("/")[0]
        self.made: list[str] = []
        self.moved: dict[str, Moved] = {}

    def on_server(self, statement: str) -> None:
        with psycopg.connect(f"{self.server}/postgres", autocommit=True) as connection:
            connection.execute(statement)  # type: ignore[arg-type]

    def new(self, kind: str, key: str = SIGNING_KEY) -> Place:
        name = f"backup_{secrets.token_hex(4)}"
        folder = self.folder / name
        folder.mkdir()
        if kind == "sqlite":
            return Place(f"sqlite:///{folder / 'training.sqlite3'}", folder, key)
        self.on_server(f"CREATE DATABASE {name}")
        self.made.append(name)
        return Place(f"{self.server}/{name}", folder, key)

    def move(self, kind: str) -> Moved:
        """Fill one and take its backup into another; once for each way."""
        if kind not in self.moved:
            first, second = map(self.new, WAYS[kind])
            file = self.folder / f"{kind}.backup"
            migrated, _, answers, written = first.does(
                "manage migrate -v0", "fill", "ask", f"manage backup {file}"
            )
            assert (migrated["code"], written["code"], written["fault"]) == (0, 0, "")
            assert written["out"].startswith(f"Wrote {file}: a backup of ")
            done = second.manage("restore", str(file))
            assert (done.returncode, done.stderr) == (0, ""), done.stdout
            self.moved[kind] = Moved(first, file, answers, second, done.stdout.splitlines())
        return self.moved[kind]

    def take_down(self) -> None:
        for name in self.made:
            self.on_server(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Places]:
    made = Places(tmp_path_factory.mktemp("places"))
    yield made
    made.take_down()


@pytest.mark.parametrize("kind", WAYS)
def test_taken_back_elsewhere_it_gives_the_same_answers_and_stays_sealed(places: Places, kind: str) -> None:
    moved = places.move(kind)
    assert moved.said[-1] == "WHOLE"
    assert "  signed lessons: 2" in moved.said
    ledger = re.compile(r"  ledger school-\d+: 2 entries \(0 erased\), \d+ nodes, 1 checkpoints: whole")
    assert [line for line in moved.said if "ledger" in line and ledger.fullmatch(line)]
    assert not [line for line in moved.said if line.startswith(("ERROR", "CAUTION"))]
    for table, says in SEALED.items():
        sealed = " WHERE sealed" if table == "training_flight" else ""
        connection = moved.second.connect()
        (row,) = connection.execute(f"SELECT min(id) FROM {table}{sealed}").fetchone()
        assert row is not None, table
        connection.rollback()
        for change in (f"DELETE FROM {table}", f"UPDATE {table} SET id = id"):
            with pytest.raises(REFUSED, match=says):
                connection.execute(f"{change} WHERE id = {row}")
            connection.rollback()
        connection.close()
    for where, there in ((moved.first, True), (moved.second, False)):
        connection = where.connect()
        for table in backup.LEFT_OUT:
            filled = f"SELECT count(*) > 0 FROM {table}"
            assert bool(connection.execute(filled).fetchone()[0]) is there, f"{table}: no session, no page"
        connection.close()
    assert OPEN_SESSION.encode() not in moved.file.read_bytes()
    answers, whole, guarded, migrated, place, key = moved.second.does(
        "ask",
        "manage verify_ledger",
        "manage check --database default --fail-level WARNING",
        "manage migrate --check",
        "sign",
        "key",
    )
    assert json.dumps(answers) == json.dumps(moved.answers)  # to the byte
    assert whole["out"].splitlines()[-1] == "WHOLE"
    assert (guarded["code"], guarded["fault"], migrated["code"]) == (0, "", 0)
    assert place == 2  # the ledger goes on where it was

    # As an operator runs it: the first thing that its process and connection do.
    alone = moved.second.manage("verify_ledger")
    assert (alone.returncode, alone.stdout.splitlines()[-1:]) == (0, ["WHOLE"]), alone.stderr
    assert stat.S_IMODE(moved.file.stat().st_mode) == 0o600
    assert list(moved.file.parent.glob(f".{moved.file.name}*")) == []
    if kind == "postgresql":
        with moved.first.connect() as connection:
            tool = backup.tool("pg_restore", connection.info.server_version // 10_000)
        held = subprocess.run([tool, "--file=-", moved.file], capture_output=True, check=True).stdout
    else:
        held = moved.file.read_bytes()
    assert b"Sam Example" in held  # so that what is looked for could be found
    assert key.encode() in held  # the public part, by which checkpoints are checked
    assert SIGNING_KEY.encode() not in held
    assert os.environ["SECRET_KEY"].encode() not in held


def _not_here(places: Places, kind: str) -> dict[pathlib.Path, str]:
    """Files that a database of this kind does not take, and what it says."""
    if kind == "sqlite":
        return {places.move("postgresql").file: "and DATABASE_URL names SQLite"}
    sqlite = places.move("sqlite").file
    seventh = "django_migrations WHERE app = 'training' AND name LIKE '0007%'"
    lost = "PRAGMA foreign_keys = OFF; UPDATE training_assignment SET student_id = 99999"
    changed = {
        "older": (f"DELETE FROM {seventh}", "another version"),
        "newer": ("UPDATE django_migrations SET name = '9999' WHERE name LIKE '0007%'", "another version"),
        "unguarded": ("DROP TRIGGER training_flight_no_update", "has lost triggers"),
        "contradicting": (lost, "cannot be restored"),
    }
    made = {}
    for name, (change, says) in changed.items():
        file = places.folder / f"{name}.backup"
        file.write_bytes(sqlite.read_bytes())
        with sqlite3.connect(file) as connection:
            connection.executescript(change)
        made[file] = says
    return made


@KINDS
def test_nothing_is_written_over_and_nothing_half_taken_back(places: Places, kind: str) -> None:
    moved = places.move(kind)
    before = moved.file.read_bytes()
    cut, words = places.folder / f"{kind}.cut", places.folder / f"{kind}.words"
    cut.write_bytes(before[: len(before) * 2 // 3])
    words.write_text("These are words and no backup.")
    again, into = moved.second.does(f"manage backup {moved.file}", f"manage restore {moved.file}")
    assert again["fault"] == f"{moved.file} already exists. Name a new file."
    assert into["fault"].startswith("The database is not empty (it has ")
    assert moved.file.read_bytes() == before
    files = {
        cut: "pg_restore ended with code 1" if kind == "postgresql" else "malformed",
        words: f"{words} is not a backup: neither a PostgreSQL dump nor an SQLite database.",
        places.folder / "nothing": "cannot be read: No such file or directory.",
        **_not_here(places, kind),
    }
    empty = places.new(kind)
    *refused, whole = empty.does(
        *(f"manage restore {file}" for file in files), f"manage restore {moved.file}"
    )
    for said, expected in zip(refused, files.values(), strict=True):
        assert said["code"] == 1
        assert expected in said["fault"]
    assert whole["out"].splitlines()[-1] == "WHOLE"  # which an empty database alone takes


def test_the_demo_moves_to_postgresql_with_every_answer(places: Places) -> None:
    small, large, file = places.new("sqlite"), places.new("postgresql"), places.folder / "demo.backup"
    load = "manage demo --no-serve --in-this-database"
    loaded, answers, written = small.does(load, "ask 7", f"manage backup {file}")
    assert (loaded["code"], written["code"], written["fault"]) == (0, 0, "")
    restored, same, whole, again = large.does(
        f"manage restore {file}", "ask 7", "manage verify_ledger", f"manage backup {file}.again"
    )
    assert restored["out"].splitlines()[-1] == "WHOLE"
    assert json.dumps(same) == json.dumps(answers)
    assert (whole["out"].splitlines()[-1], again["fault"]) == ("WHOLE", "")
    counted = [
        {table: place.connect().execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}
        for tables in [_tables(small)]
        for place in (small, large)
    ]
    assert counted[0] == counted[1]
    assert counted[0]["training_signoff"] > 20


def _tables(place: Place) -> list[str]:
    """Those with rows to move: not the log of migrations, and not the page cache."""
    found = place.connect().execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
    left_out = ("django_migrations", "training_page_cache", "sqlite_sequence")
    return [name for (name,) in found if name not in left_out]


def test_on_the_command_line_a_fault_is_a_line_and_no_trace(places: Places) -> None:
    done = places.new("sqlite").manage("restore", str(places.folder / "nothing"))
    assert done.returncode == 1
    assert (
        done.stderr
        == f"CommandError: {places.folder / 'nothing'} cannot be read: No such file or directory.\n"
    )


def test_with_another_key_the_old_checkpoints_stay_good_and_that_is_said(places: Places) -> None:
    moved = places.move("sqlite")
    other = places.new("sqlite", key=OTHER_KEY)
    done, own = other.does(f"manage restore {moved.file}", "key")
    assert done["code"] == 0
    (caution,) = [line for line in done["out"].splitlines() if line.startswith("CAUTION")]
    assert f"and this installation has the key {own}: restore the key" in caution


def test_a_row_changed_in_the_backup_is_named_after_the_restore(places: Places) -> None:
    changed = places.folder / "changed.backup"
    changed.write_bytes(places.move("sqlite").file.read_bytes())
    with sqlite3.connect(changed) as connection:
        connection.execute("DROP TRIGGER training_flight_no_update")
        connection.execute("UPDATE training_flight SET remarks = 'calm' WHERE sealed")
    (done,) = places.new("sqlite").does(f"manage restore {changed}")
    assert done["code"] == 1
    faults = [line for line in done["out"].splitlines() if line.startswith("ERROR")]
    assert "ERROR trigger training_flight_no_update is missing" in faults
    assert len([line for line in faults if line.startswith("ERROR school ")]) == 2, faults
    assert done["out"].splitlines()[-1] == f"NOT WHOLE. Errors: {len(faults)}."


@pytest.mark.parametrize(
    ("change", "says"),
    [
        pytest.param(
            "DELETE FROM django_migrations WHERE app = 'training' AND name LIKE '0007%'",
            "the database is older than the program; migrations to apply: 1, first training.0007_ticks",
            id="of an older program",
        ),
        pytest.param(
            "INSERT INTO django_migrations (app, name, applied)"
            " VALUES ('training', '9999_new', '2030-01-01')",
            "this program is older than the database, which has the migrations training.9999_new",
            id="of a newer program",
        ),
    ],
)
def test_a_backup_of_another_version_is_not_called_whole(places: Places, change: str, says: str) -> None:
    other = places.folder / f"{secrets.token_hex(4)}.backup"
    other.write_bytes(places.move("sqlite").file.read_bytes())
    with sqlite3.connect(other) as connection:
        connection.execute(change)
    (done,) = places.new("sqlite").does(f"manage restore {other}")
    assert done["code"] == 1
    assert says in done["out"]


def test_the_tools_must_be_as_new_as_the_server() -> None:
    with pytest.raises(backup.BackupError, match="No pg_dump of PostgreSQL 97 or newer is on this") as no:
        backup.tool("pg_dump", 97)
    assert "(found: " in str(no.value)
    assert "apt-get install postgresql-client-97" in str(no.value)
    assert (backup._major_of(backup.tool("pg_dump", 10)) or 0) >= 10


@pytest.mark.postgresql
def test_the_applications_role_does_the_work_and_cannot_undo_it(places: Places) -> None:
    owner = places.move("postgresql").second
    role, secret = f"app_{secrets.token_hex(4)}", secrets.token_hex(8)
    superuser = os.environ["TEST_SUPERUSER_URL"]
    with psycopg.connect(superuser, autocommit=True) as server:
        server.execute(f"CREATE ROLE {role} LOGIN PASSWORD '{secret}'")
    try:
        me = owner.url.partition("//")[2].partition(":")[0]
        given, missing, oneself, odd = owner.does(
            f"manage rights {role}",
            "manage rights no_such_role",
            f"manage rights {me}",
            "manage rights 'a;b'",
        )
        assert re.fullmatch(rf"{role} has its rights now \(\d+ statements\)\.\n", given["out"])
        assert missing["fault"].startswith("No role no_such_role. Create it: CREATE ROLE")
        assert "is a superuser or the owner and has every right" in oneself["fault"]
        assert "is not a role name" in odd["fault"]
        app = dataclasses.replace(owner, url=f"postgres://{role}:{secret}@{owner.url.partition('@')[2]}")
        _, answers, guarded, ready, written = app.does(
            "sign",
            "ask",
            "manage check --database default --fail-level WARNING",
            "manage ready",
            f"manage backup {places.folder / 'by-the-app.backup'}",
        )
        assert answers.keys() == places.move("postgresql").answers.keys()
        assert (guarded["fault"], written["fault"]) == ("", "")
        assert ready["out"].splitlines() == [
            "database: ok", "migrations: ok", "triggers: ok", "clock: ok", "heartbeats: sweep never ran",
            "writing: ok",
        ]  # fmt: skip
        for statement in (
            "DELETE FROM training_flight",
            "DELETE FROM training_student",
            "DELETE FROM training_accesslog",
            "UPDATE training_accesslog SET what = ''",
            "UPDATE training_signoff SET at = at",
            "UPDATE ledger_entry SET kind = kind",
            "DELETE FROM django_migrations",
            "TRUNCATE django_session",
            "DROP TABLE training_heartbeat",
            "ALTER TABLE training_flight DISABLE TRIGGER ALL",
            "SET session_replication_role = replica",
            "CREATE TABLE mine (id int)",
        ):
            with app.connect() as connection:
                with pytest.raises(psycopg.errors.InsufficientPrivilege):
                    connection.execute(statement)
                connection.rollback()
    finally:
        there = f"{superuser.rpartition('/')[0]}/{owner.url.rpartition('/')[2]}"
        with psycopg.connect(there, autocommit=True) as server:
            server.execute(f"DROP OWNED BY {role}")
            server.execute(f"DROP ROLE {role}")
