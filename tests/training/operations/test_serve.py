"""``manage.py serve`` as a person runs it: pages, and reminders from the same process, without any server."""

from __future__ import annotations

import os
import pathlib
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[3]
SECONDS = 120
pytestmark = pytest.mark.reliability


def environment(folder: pathlib.Path) -> dict[str, str]:
    unset = ("DATABASE_URL", "REDIS_URL", "EMAIL_URL")
    kept = {key: value for key, value in os.environ.items() if key not in unset}
    return {**kept, "DEMO_PASSWORD": "known-to-the-test", "DATA_DIR": str(folder)}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def status(url: str) -> int:
    """What a request is answered with; 0 where nobody answers yet."""
    try:
        with urllib.request.urlopen(url, timeout=10) as found:  # noqa: S310
            return int(found.status)
    except urllib.error.HTTPError as refused:
        return refused.code
    except (urllib.error.URLError, ConnectionError):
        return 0


@contextmanager
def serving(folder: pathlib.Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", str(port)],
        cwd=ROOT,
        env=environment(folder),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        yield process, f"http://localhost:{port}"
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()


def until(holds: Callable[[], object], process: subprocess.Popen[str], what: str) -> None:
    deadline = time.monotonic() + SECONDS
    while not holds():
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < deadline, what
        time.sleep(0.2)


def test_on_an_empty_folder_it_makes_the_tables_says_what_to_do_first_and_ends_with_ctrl_c(
    tmp_path: pathlib.Path,
) -> None:
    with serving(tmp_path) as (process, here):
        until(lambda: status(f"{here}/healthz") == 200, process, "it does not answer")
        until(lambda: status(f"{here}/readyz") == 200, process, "it does not sweep")
        assert status(f"{here}/login/") == 200
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=20)
        assert process.returncode == 0
        assert "No school yet." in out
        assert f"Serving on {here}/ until Ctrl-C." in out
        assert "Traceback" not in err


#: The demo, with people who may be written to at whichever hour this runs.
NEVER_QUIET = """
from django.core.management import call_command
from training.models import ReminderPreferences, User
call_command("demo", "--no-serve")
for user in User.objects.all():
    ReminderPreferences.objects.create(user=user, quiet_from="00:00", quiet_until="00:00")
"""


def test_reminders_that_are_due_go_out_from_the_same_process(tmp_path: pathlib.Path) -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "shell", "--command", NEVER_QUIET],
        cwd=ROOT,
        env=environment(tmp_path),
        capture_output=True,
        text=True,
        timeout=SECONDS,
    )
    assert done.returncode == 0, done.stderr

    def to_bo() -> list[str]:
        sent = [each.read_text(encoding="utf-8") for each in (tmp_path / "mail").glob("*.log")]
        return [each for each in sent if "To: bo@flying.example" in each]

    # Bo's own recent experience ends in 25 days. Other mails to Bo may go out before that one.
    with serving(tmp_path) as (process, _):
        until(lambda: any("14 CFR 61.197" in each for each in to_bo()), process, "no mail was sent")


def test_a_port_that_is_taken_is_told_with_the_way_out(tmp_path: pathlib.Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "manage.py", "serve", "--port", str(port)],
            cwd=ROOT,
            env=environment(tmp_path),
            capture_output=True,
            text=True,
            timeout=SECONDS,
        )
    assert done.returncode == 2
    assert f"Cannot use port {port} of 127.0.0.1" in done.stderr
    assert "Traceback" not in done.stderr
