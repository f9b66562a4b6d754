"""A database of an earlier release comes to the present schema with every row that it held."""

import functools
import json
import os
import pathlib
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest

from syllabus.courses import files
from syllabus.engine.course.course import Outline

HERE = pathlib.Path(__file__).parent
MANAGE = HERE.parents[2] / "manage.py"
#: A database as the first release made it on SQLite: the tests' small cast, one student's record, a course
#: with a published version and a draft, the student in training in it, with a signed lesson and one to sign.
FIRST_RELEASE = HERE / "first_release.sql"

Made = Callable[[str], pathlib.Path]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Builds a database from statements, or an empty one, and brings it to the present schema; each once."""

    @functools.cache
    def migrated(statements: str) -> pathlib.Path:
        file = tmp_path_factory.mktemp("made") / "training.sqlite3"
        with sqlite3.connect(file) as connection:
            connection.executescript(statements)
        for command in (["migrate", "--verbosity", "0"], ["ready"]):
            done = subprocess.run(
                [sys.executable, str(MANAGE), *command],
                env={**os.environ, "DATABASE_URL": f"sqlite:///{file}"},
                capture_output=True,
                text=True,
                check=False,
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


def asked(file: pathlib.Path, query: str) -> list[tuple[Any, ...]]:
    with sqlite3.connect(file) as connection:
        return connection.execute(query).fetchall()


def courses(file: pathlib.Path) -> list[tuple[str, Outline]]:
    """Each version's hash, and the course that it says, the oldest first."""
    found = asked(
        file,
        "SELECT content_hash, code, title, says, document FROM syllabus_courseversion v"
        " JOIN syllabus_course c ON c.id = v.course_id"
        " JOIN syllabus_courseparts p ON p.version_id = v.id ORDER BY number",
    )
    return [
        (named, files.read_kept({"course": code, "title": title, "says": says, **json.loads(document)}))
        for named, code, title, says, document in found
    ]


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
    held["training_heartbeat"] = held.pop("training_tick")
    assert held["training_student"] >= 2
    assert held["training_flight"] >= 1
    after = rows(old)
    assert {name: after[name] for name in held} == held


@pytest.mark.sqlite
def test_a_published_course_of_the_first_release_keeps_its_hashes(made: Made, tmp_path: pathlib.Path) -> None:
    before = tmp_path / "before.sqlite3"
    statements = FIRST_RELEASE.read_text(encoding="utf-8")
    with sqlite3.connect(before) as connection:
        connection.executescript(statements)
    old = made(statements)

    kept = "SELECT number, state, published_at, content_hash FROM syllabus_courseversion ORDER BY number"
    assert asked(old, kept) == asked(before, kept)
    versions = courses(old)
    assert [outline.title for _, outline in versions] == ["A small course", "A better small course"]
    assert [files.content_hash(outline) for _, outline in versions] == [named for named, _ in versions]
    published = versions[0][1]
    assert list(published.lessons[1].items) == ["pattern", "climbs"]
    assert [str(each.high) for each in published.by_code["climbs"].standard] == [
        "10", "99999999/1000000", "None", "0",
    ]  # fmt: skip
    columns = ", ".join(f'"{each[1]}"' for each in asked(before, "PRAGMA table_info(training_signoff)"))
    for query in (
        "SELECT id, content_hash, lesson, course_version_id, state FROM training_lessonrecord ORDER BY id",
        f"SELECT {columns} FROM training_signoff",  # later releases add to them
        "SELECT * FROM training_enrolment",
        "SELECT * FROM ledger_entrybody",
        "SELECT * FROM ledger_head",
    ):
        assert asked(old, query) == asked(before, query) != []
    with pytest.raises(sqlite3.DatabaseError, match="belongs to a published course version"):
        asked(old, "UPDATE syllabus_courseparts SET document = '{}' WHERE version_id = 1")
