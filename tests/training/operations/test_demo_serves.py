"""``manage.py demo`` as a person runs it: it serves, and Ctrl-C ends it."""

import json
import os
import pathlib
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[3]
SECONDS = 180


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answer(url: str, body: dict | None = None, token: str = "") -> tuple[int, bytes]:
    request = urllib.request.Request(url, json.dumps(body).encode() if body else None)  # noqa: S310
    request.add_header("Content-Type", "application/json")
    if token:
        request.add_header("Authorization", f"Token {token}")
    with urllib.request.urlopen(request, timeout=10) as found:  # noqa: S310
        return found.status, found.read()


@pytest.fixture
def served(tmp_path):
    """A demo of its own on a free port: the process, and its address once it answers."""
    environment = {
        key: value for key, value in os.environ.items() if key not in ("DATABASE_URL", "REDIS_URL")
    }
    environment |= {"DATA_DIR": str(tmp_path), "DEMO_PASSWORD": "known-to-the-test"}
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--port", str(port)],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    here, until = f"http://127.0.0.1:{port}", time.monotonic() + SECONDS
    try:
        while True:
            assert process.poll() is None, process.communicate()
            assert time.monotonic() < until, "the demo does not answer"
            try:
                answer(f"{here}/api/v1/milestones")
                break
            except (urllib.error.URLError, ConnectionError):
                time.sleep(0.1)
        yield process, here
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()


@pytest.mark.reliability
def test_the_demo_serves_pages_and_records_until_ctrl_c(served):
    process, here = served
    for path in ("/", "/api/v1/docs/", "/static/drf_spectacular_sidecar/swagger-ui-dist/swagger-ui.css"):
        assert answer(here + path)[0] == 200

    login = {"email": "ida@flying.example", "password": "known-to-the-test"}
    token = json.loads(answer(f"{here}/api/v1/auth/login", login)[1])["token"]
    students = json.loads(answer(f"{here}/api/v1/students/", token=token)[1])["students"]
    assert sorted(each["name"] for each in students) == [
        "Mina Example",
        "Nils Example",
        "Omar Example",
        "Theo Example",
    ]

    os.killpg(process.pid, signal.SIGINT)  # as a terminal sends it, to the server and its worker
    out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "Serving on" in out
    assert "Traceback" not in err
