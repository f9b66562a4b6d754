"""Clients that send half a request and wait, against the servers as they are started in use."""

from __future__ import annotations

import http.client
import pathlib
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress

import pytest

from tests.training.operations.test_serve import ROOT, environment, free_port, serving, status, until

pytestmark = pytest.mark.reliability
HEAD = b"POST /api/v1/eligibility HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
#: What is sent, and nothing after it.
UNFINISHED = (
    b"",
    b"GET / HT",
    b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ",
    HEAD + b'Content-Length: 1000\r\n\r\n{"half": ',
    b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\nGET /healthz HTTP/1.1\r\n",
    *(
        HEAD + length + b"\r\n\r\nffff\r\n\r\n\r\n"
        for length in (b"Transfer-Encoding: chunked", b"Content-Length: 0000000000000065535")
    ),
)


@contextmanager
def gunicorn(folder: pathlib.Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """As the image starts it, with one worker."""
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", "--config", "docker/gunicorn.conf.py", "training.config.wsgi"],
        cwd=ROOT,
        env=environment(folder) | {"PORT": str(port), "WEB_WORKERS": "1"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process, f"http://127.0.0.1:{port}"
    finally:
        process.kill()
        process.communicate()


@pytest.fixture(scope="module", params=[serving, gunicorn], ids=["serve", "image"])
def port(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    with request.param(tmp_path_factory.mktemp("served")) as (process, here):
        until(lambda: up(f"{here}/healthz"), process, "it does not answer")
        yield int(here.rpartition(":")[2])


def up(url: str) -> bool:
    try:
        return status(url) == 200
    except OSError:  # the first request may take long on a busy machine
        return False


def answered(port: int, path: str = "/healthz") -> tuple[int, float]:
    begun = time.monotonic()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request("GET", path)
    found = connection.getresponse().status
    connection.close()
    return found, time.monotonic() - begun


def test_two_hundred_unfinished_requests_hold_nobody_up(port: int) -> None:
    with ExitStack() as stack:
        for number in range(200):
            slow = stack.enter_context(socket.create_connection(("127.0.0.1", port)))
            slow.sendall(UNFINISHED[number % len(UNFINISHED)])
        for _ in range(5):
            found, seconds = answered(port)
            assert (found, seconds < 3) == (200, True), seconds


@pytest.mark.parametrize(
    "length",
    [
        pytest.param(b"Transfer-Encoding: chunked", id="in chunks"),
        pytest.param(b"transfer-encoding:\tgzip, Chunked", id="in chunks, otherwise spelled"),
        pytest.param(b"Content-Length: 0000000000000000065535", id="a length that is too long"),
        pytest.param(b"Content-Length: +5", id="no length"),
        pytest.param(b"Content-Length: 5\r\nTransfer-Encoding: chunked", id="two ends"),
    ],
)
def test_a_body_of_no_length_is_refused_and_what_follows_is_no_request(port: int, length: bytes) -> None:
    follows = b"5\r\nhello\r\n0\r\n\r\nGET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=30) as client:
        begun = time.monotonic()
        client.sendall(HEAD + length + b"\r\n\r\n" + follows)
        came = b""
        with suppress(ConnectionResetError):
            while some := client.recv(4096):
                came += some
        assert time.monotonic() - begun < 5
    assert (
        came.startswith(b"HTTP/1.1 411 ") or not came
    )  # the rest that nobody reads may reset the connection
    assert came.count(b"HTTP/1.1") <= 1


def test_six_hundred_connections_make_room_for_another(port: int) -> None:
    with ExitStack() as stack:
        for _ in range(600):
            stack.enter_context(socket.create_connection(("127.0.0.1", port)))
        found, seconds = answered(port)
        assert (found, seconds < 5) == (200, True), seconds


def test_who_sends_nothing_more_is_cut_off(port: int) -> None:
    with socket.create_connection(("127.0.0.1", port), timeout=30) as slow:
        slow.sendall(b"GET /healthz HTTP/1.1\r\nHost: ")
        begun = time.monotonic()
        assert slow.recv(100) == b""
        assert time.monotonic() - begun < 25


def test_a_request_that_comes_in_pieces_is_answered(port: int) -> None:
    body = b'{"milestone": "faa.first-solo", "record": {"format": "training-record/1"}}'
    whole = HEAD + b"Content-Length: %d\r\nConnection: close\r\n\r\n" % len(body) + body
    with socket.create_connection(("127.0.0.1", port), timeout=30) as slow:
        for at in range(0, len(whole), 40):
            slow.sendall(whole[at : at + 40])
            time.sleep(0.01)
        assert slow.recv(100).startswith(b"HTTP/1.1 200 OK")


def test_requests_in_one_piece_are_answered_one_after_the_other(port: int) -> None:
    one = b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=30) as client:
        client.sendall((one + b"\r\n") * 2 + one + b"Connection: close\r\n\r\n")
        answers = b"".join(iter(lambda: client.recv(65536), b""))
    assert answers.count(b"HTTP/1.1 200 OK") == 3


def test_a_large_body_is_read_and_too_large_a_one_refused(port: int) -> None:
    for size, wanted in ((7_000_000, 400), (30_000_000, 413)):
        with socket.create_connection(("127.0.0.1", port), timeout=60) as client:
            client.sendall(HEAD + b"Expect: 100-continue\r\nContent-Length: %d\r\n\r\n" % size)
            if wanted == 400:
                assert client.recv(100).startswith(b"HTTP/1.1 100 Continue")
                client.sendall(b"x" * size)
            told = b""
            while b" %d " % wanted not in told:
                came = client.recv(65536)
                assert came, told[-500:]
                told += came


def test_it_stops_while_requests_are_unfinished(tmp_path: pathlib.Path) -> None:
    with serving(tmp_path) as (process, here):
        until(lambda: up(f"{here}/healthz"), process, "it does not answer")
        with socket.create_connection(("127.0.0.1", int(here.rpartition(":")[2]))) as slow:
            slow.sendall(b"GET / HT")
            process.terminate()
            assert process.wait(timeout=30) == 0
