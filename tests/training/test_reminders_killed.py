"""Workers, beat and broker are killed while reminders fall due: ``tests.storms``, in small."""

from __future__ import annotations

import os
import pathlib
import re
import subprocess
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]


@pytest.mark.reliability
def test_every_reminder_outlives_the_kills_and_goes_out_once() -> None:
    ended = subprocess.run(
        [
            *(sys.executable, "-m", "tests.storms", "reminders"),
            *("--number", "24", "--kills", "6", "--seed", "20261125"),
        ],
        cwd=ROOT,
        env={**os.environ, "DATABASE_URL": "", "REDIS_URL": "", "LOG_LEVEL": "ERROR"},
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    found = re.search(r"^(\d+) kills, (\d+) reminders, (\d+) mails", ended.stdout, re.MULTILINE)
    assert found, ended.stdout
    kills, reminders, mails = map(int, found.groups())
    # Five fall due while there is no broker, which is the last that is killed; five while it is silent.
    assert (kills, reminders) == (7, 34)
    assert reminders <= mails <= reminders + kills
