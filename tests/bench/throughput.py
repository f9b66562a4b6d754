"""Requests a second that gunicorn answers, from 16 to 200 clients at once, beside a bare endpoint.

The server is the image's own configuration (``docker/gunicorn.conf.py``) with two workers. Clients are this
process: each keeps its connection and asks again as soon as it has the answer.
"""

from __future__ import annotations

import asyncio
import os
import pathlib
import signal
import subprocess
import sys
import tempfile
import time

CLIENTS, SECONDS, FLIGHTS = (16, 50, 100, 200), 8.0, 50
ROOT = pathlib.Path(__file__).resolve().parents[2]


def application() -> object:
    """What gunicorn serves: the program, and the bare endpoint of the other bench beside it."""
    from django.conf import settings
    from django.core.wsgi import get_wsgi_application

    settings.ROOT_URLCONF = "tests.bench.http"
    return get_wsgi_application()


async def client(port: int, request: bytes, until: float, spent: list[float], failed: list[str]) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    while (began := time.perf_counter()) < until:
        writer.write(request)
        try:
            head = await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), 60)
            (length,) = [
                line.partition(b":")[2]
                for line in head.split(b"\r\n")
                if line.lower().startswith(b"content-length")
            ]
            await reader.readexactly(int(length))
            if not head.startswith(b"HTTP/1.1 200"):
                failed.append(head.split(b"\r\n")[0].decode())
        except (OSError, EOFError, TimeoutError) as fault:
            failed.append(type(fault).__name__)
            break
        spent.append(time.perf_counter() - began)
        if b"connection: close" in head.lower():
            writer.close()
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.close()


async def load(port: int, token: str, path: str, clients: int) -> tuple[float, float, list[str]]:
    """Answers a second, the 95th percentile in milliseconds, and what failed."""
    request = f"GET {path} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Token {token}\r\n\r\n".encode()
    spent: list[float] = []
    failed: list[str] = []
    until = time.perf_counter() + SECONDS
    await asyncio.gather(*(client(port, request, until, spent, failed) for _ in range(clients)))
    return len(spent) / SECONDS, sorted(spent)[len(spent) * 95 // 100] * 1e3, failed


def run() -> None:
    from knox.models import AuthToken

    from syllabus.engine.record import document as documents
    from tests.bench.engine import MILESTONE, ON
    from tests.bench.flights import document
    from tests.support import factories, services

    at = factories.school()
    user = factories.instructor(at)
    _, token = AuthToken.objects.create(user)
    student = factories.student(at, taught_by=user)
    factories.attested(student, documents.parse(document(FLIGHTS)))
    port = services.free_port()
    paths = (f"/bare/{student.ref}", f"/api/v1/students/{student.ref}/eligibility/{MILESTONE}?on={ON}")
    with tempfile.TemporaryDirectory() as folder:
        own = {
            "PORT": str(port),
            "WEB_WORKERS": "2",
            "LOG_LEVEL": "ERROR",
            "DATA_DIR": folder,
            "HTTPS": "off",
        }
        server = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "gunicorn",
                "--config",
                "docker/gunicorn.conf.py",
                f"{__name__}:application()",
            ],
            cwd=ROOT,
            env={**os.environ, **own, "PYTHONPATH": str(ROOT)},
            stderr=subprocess.DEVNULL,
            preexec_fn=services.die_with_parent(signal.SIGKILL),
        )
        try:
            time.sleep(5)
            for path in paths:
                asyncio.run(load(port, token, path, 2))  # warm
            print(
                f"GET students/…/eligibility/{MILESTONE}, {FLIGHTS} flights, 2 workers; and a bare endpoint"
            )
            print("  clients   requests/s   95 %       bare         ratio   errors")
            for clients in CLIENTS:
                bare, mine = (asyncio.run(load(port, token, path, clients)) for path in paths)
                ratio, faults = bare[0] / mine[0], [*bare[2], *mine[2]]
                print(
                    f"  {clients:7}   {mine[0]:10.0f}   {mine[1]:6.0f} ms   {bare[0]:6.0f}/s   {ratio:7.2f}"
                    f"   {len(faults)} {' '.join(sorted(set(faults)))}"
                )
        finally:
            server.terminate()
            server.wait(30)
