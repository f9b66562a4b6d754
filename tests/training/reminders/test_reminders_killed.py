"""Workers, beat and broker are killed while reminders fall due: ``tests.fault_injection``, in small.

At its end there is no broker for a while, in three ways; lessons are signed over HTTP meanwhile.
"""

from __future__ import annotations

import os
import pathlib
import re
import subprocess
import sys

import pytest

from tests.fault_injection import reminders
from tests.support.extent import count

ROOT = pathlib.Path(__file__).resolve().parents[3]
pytestmark = pytest.mark.reliability
REMINDERS, KILLS = count(20, 24), count(1, 6)


@pytest.fixture(scope="module")
def said() -> str:
    """What the storm says, which ends with a fault where anything below does not hold."""
    ended = subprocess.run(
        [
            *(sys.executable, "-m", "tests.fault_injection", "reminders"),
            *("--number", str(REMINDERS), "--kills", str(KILLS), "--seed", "20261125"),
        ],
        cwd=ROOT,
        env={**os.environ, "DATABASE_URL": "", "REDIS_URL": "", "LOG_LEVEL": "ERROR"},
        capture_output=True,
        text=True,
        timeout=1800,  # each wait inside has its own end
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    return ended.stdout


def test_every_reminder_outlives_the_kills_and_goes_out_once(said: str) -> None:
    found = re.search(r"^(\d+) kills, (\d+) reminders, (\d+) mails", said, re.MULTILINE)
    assert found, said
    kills, reminders, mails = map(int, found.groups())
    # Five fall due while there is no broker, which is the last that is killed; five while it is silent.
    assert (kills, reminders) == (KILLS + 1, REMINDERS + 10)
    assert reminders <= mails <= reminders + kills


def test_reminders_go_out_within_ninety_seconds_of_the_brokers_return(said: str) -> None:
    found = re.search(r"([\d.]+) s after a dead broker's return and ([\d.]+) s after a silent one's", said)
    assert found, said
    assert max(map(float, found.groups())) <= 90


@pytest.mark.parametrize("broker", ["refuses", "cannot be reached", "says nothing"])
def test_without_a_broker_a_sign_off_is_answered_within_a_second(said: str, broker: str) -> None:
    told = rf"^broker {broker}: (\d+) sign-offs, ([\d.]+) s in the middle; beside ([\d.]+) s$"
    found = re.search(told, said, re.MULTILINE)
    assert found, said
    assert int(found[1]) == 3
    took, beside = float(found[2]), float(found[3])
    assert took <= reminders.sign_off_may_take(beside)
    assert reminders.sign_off_may_take(0.2) == 1
