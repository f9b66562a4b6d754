"""Web workers and PostgreSQL are killed while lessons are signed over HTTP: ``tests.fault_injection``, in
small."""

from __future__ import annotations

import os
import pathlib
import re
import subprocess
import sys

import pytest

from tests.support.extent import count

ROOT = pathlib.Path(__file__).resolve().parents[3]


@pytest.mark.reliability
@pytest.mark.parametrize(
    ("database", "number", "kills"),
    [
        pytest.param(
            "postgresql",
            count(20, 80),
            {"web": count(1, 2), "database": count(1, 2)},
            id="on PostgreSQL, which is killed as well",
        ),
        pytest.param("sqlite", count(20, 30), {"web": count(1, 2)}, id="on an SQLite file"),
    ],
)
def test_every_acknowledged_sign_off_outlives_the_kills_once(
    database: str, number: int, kills: dict[str, int]
) -> None:
    ended = subprocess.run(
        [
            *(sys.executable, "-m", "tests.fault_injection", "sign-offs"),
            *("--database", database, "--number", str(number), "--seed", "20261125"),
        ],
        cwd=ROOT,
        env={**os.environ, "DATABASE_URL": "", "REDIS_URL": ""},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    for who, killed in kills.items():
        line = re.search(rf"^{who}: (\d+) acknowledged in .*; killed (.*); requests", ended.stdout, re.M)
        assert line, ended.stdout
        assert int(line[1]) == number // len(kills)
        assert sum(int(each.split()[0]) for each in line[2].split(", ")) == killed
    assert "WHOLE: every acknowledged sign-off is there, and none twice" in ended.stdout
