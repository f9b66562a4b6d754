"""A database of an earlier release comes to the present schema with every row that it held."""

import pathlib
import sqlite3
import subprocess
import sys
from collections.abc import Callable

import pytest

HERE = pathlib.Path(__file__).parent
MANAGE = HERE.parents[2] / "manage.py"
#: A database as the first release made it on SQLite, with the tests' small cast and one student's record.
FIRST_RELEASE = HERE / "first_release.sql"

Made = Callable[[str], pathlib.Path]


@pytest.fixture
def made(tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch) -> Made:
    """Builds a database from statements, or an empty one, and brings it to the present schema."""

    def migrated(statements: str) -> pathlib.Path:
        file = tmp_path / f"{'old' if statements else 'new'}.sqlite3"
        with sqlite3.connect(file) as connection:
            connection.executescript(statements)
        monkeypatch.setenv("DATABASE_URL", f"sqlite:///{file}")
        for command in (["migrate", "--verbosity", "0"], ["ready"]):
            done = subprocess.run(
                [sys.executable, str(MANAGE), *command], capture_output=True, text=True, check=False
            )
            said = done.stdout + done.stderr
            if command == ["ready"]:
                assert "migrations: ok\ntriggers: ok\n" in said, said
            else:
                assert done.returncode == 0, said
        return file

    return migrated


def schema(file: pathlib.Path) -> dict[tuple[str, str], list[str]]:
    """What every table, index and trigger is made of; the order of a table's columns tells nothing."""
    with sqlite3.connect(file) as connection:
        made = connection.execute(
            "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"
        ).fetchall()
    return {
        (kind, name): sorted(sql.partition("(")[2].removesuffix(")").split(", "))
        if kind == "table"
        else [sql]
        for kind, name, sql in made
    }


def rows(file: pathlib.Path) -> dict[str, int]:
    with sqlite3.connect(file) as connection:
        tables = connection.execute(
            "SELECT name FROM sqlite_master WHERE name LIKE 'training_%' AND type = 'table'"
        )
        return {
            name: connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
            for (name,) in tables.fetchall()
        }


@pytest.mark.sqlite
def test_a_database_of_the_first_release_becomes_a_present_one(made: Made, tmp_path: pathlib.Path) -> None:
    before = tmp_path / "before.sqlite3"
    statements = FIRST_RELEASE.read_text(encoding="utf-8")
    with sqlite3.connect(before) as connection:
        connection.executescript(statements)

    old, new = made(statements), made("")

    assert schema(old) == schema(new)
    held = rows(before)
    held.pop("training_preparedpage")  # pages are rendered again, into Django's cache
    assert held["training_student"] >= 2
    assert held["training_flight"] >= 1
    after = rows(old)
    assert {name: after[name] for name in held} == held
