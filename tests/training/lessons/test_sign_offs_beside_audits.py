"""Lessons are signed over HTTP while audits of their school run: the fault injection ``audits``, in small."""

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
def test_nothing_waits_for_ever_and_nothing_is_refused() -> None:
    number = count(20, 80)
    ended = subprocess.run(
        [sys.executable, "-m", "tests.fault_injection", "audits", "--number", str(number)],
        cwd=ROOT,
        env={**os.environ, "DATABASE_URL": "", "REDIS_URL": ""},
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    told = re.search(r"^(\d+) sign-offs acknowledged in \d+ s, beside (\d+) audits$", ended.stdout, re.M)
    assert told, ended.stdout
    assert int(told[1]) == number
    assert int(told[2]) >= 3
    bound = "0 deadlocks, 0 dead audits, 0 refused requests, 0 sign-offs lost or doubled"
    assert bound in ended.stdout
