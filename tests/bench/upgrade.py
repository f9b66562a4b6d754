"""A release's database with 240 sign-offs, migrated by this version while that release serves it and signs.

``git archive COMMIT | tar -x -C FOLDER``, then ``python -m tests.bench.upgrade FOLDER``: what the release's
own calls and sign-offs met before, during and after ``migrate``, and whether the ledger is whole. It says
whether an upgrade from there can do without a stop.
"""

from __future__ import annotations

import collections
import contextlib
import http.client
import json
import os
import pathlib
import signal
import subprocess
import sys
import tempfile
import threading
import time
from typing import Any

from tests.bench.__main__ import own_database
from tests.support import services

SIGN_OFFS, AROUND = 240, 10.0  # seconds before and after
FILL = f"""
import datetime as dt, json
import django; django.setup()
from tests.support import backup_worker, lessons, signing_worker
from tests.support.cast import cast
from knox.models import AuthToken
people = cast()
days = [dt.date(2024, 1, 1) + dt.timedelta(n) for n in range({SIGN_OFFS})]
def sign(day):
    at = day.isoformat()
    said = lessons.flown(date=at, off=at + "T13:00:00-06:00", on=at + "T14:24:00-06:00")
    return lessons.signed(people, said)
for day in days:
    sign(day)
"""
READY = "print(json.dumps([AuthToken.objects.create(people.ida)[1], str(people.sam.ref)]), flush=True)\n"
SIGN = """
import time
for n in range(400):
    began = time.time()
    try:
        sign(days[-1] + dt.timedelta(1 + n)); said = "signed"
    except Exception as fault:
        said = "not signed: " + type(fault).__name__
    print(json.dumps([began, time.time() - began, said]), flush=True)
    time.sleep(0.1)
"""
Noted = list[tuple[float, float, str]]


def ask(port: int, token: str, path: str, noted: Noted, stop: threading.Event) -> None:
    while not stop.wait(0.1):
        began = time.time()
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as client:
            try:
                client.request("GET", path, headers={"Authorization": f"Token {token}"})
                said = str(client.getresponse().status)
            except OSError as fault:
                said = type(fault).__name__
        noted.append((began, time.time() - began, said))


def told(name: str, noted: Noted, marks: list[float]) -> None:
    for when, first, last in zip(("before", "during", "after"), marks[:-1], marks[1:], strict=True):
        here = [each for each in noted if first <= each[0] < last]
        counted = ", ".join(
            f"{number} x {said}" for said, number in collections.Counter(each[2] for each in here).items()
        )
        longest = max((each[1] for each in here), default=0)
        print(f"  {name:10} {when:7} {counted or 'none'}; longest {longest:.2f} s")


def main(release: pathlib.Path) -> None:
    here = pathlib.Path(__file__).resolve().parents[2]
    with services.running(redis=False, settings="") as addresses, tempfile.TemporaryDirectory() as folder:
        base = os.environ | {
            "DATABASE_URL": own_database(addresses.database_url),
            "DATA_DIR": folder,
            "HTTPS": "off",
            "SECRET_KEY": "x" * 30 + "known to everybody",
            "DJANGO_SETTINGS_MODULE": "training.config.settings",
            "LEDGER_SIGNING_KEY": "YSBrZXkgb2YgdGhpcyB0ZXN0IGFsb25lIDAxMjM0NTY=",
        }

        def start(code: pathlib.Path, *arguments: str, **more: Any) -> subprocess.Popen[str]:
            command = [sys.executable, *arguments]
            return subprocess.Popen(
                command, cwd=code, env={**base, "PYTHONPATH": str(code)}, text=True,
                preexec_fn=services.die_with_parent(signal.SIGKILL), **more,
            )  # fmt: skip

        def done(code: pathlib.Path, *arguments: str) -> str:
            process = start(code, "-m", "django", *arguments, stdout=subprocess.PIPE)
            said, _ = process.communicate()
            assert process.returncode == 0, said
            return str(said)

        done(release, "migrate", "--verbosity", "0")
        signer = start(release, "-c", FILL + READY + SIGN, stdout=subprocess.PIPE)
        assert signer.stdout
        token, ref = json.loads(signer.stdout.readline())
        print(f"{SIGN_OFFS} lessons are signed by the release", flush=True)
        port = services.free_port()
        gunicorn = ["gunicorn", "--bind", f"127.0.0.1:{port}", "--workers", "2", "--log-level", "critical"]
        server = start(release, "-m", *gunicorn, "training.config.wsgi", stderr=subprocess.DEVNULL)
        time.sleep(5)
        paths = {"record": f"/api/v1/students/{ref}/record", "ready": "/readyz",
                 "report": f"/api/v1/students/{ref}/eligibility/faa.first-solo?on=2026-11-20"}  # fmt: skip
        noted: dict[str, Noted] = {name: [] for name in paths}
        stop = threading.Event()
        threads = [
            threading.Thread(target=ask, args=(port, token, path, noted[name], stop), daemon=True)
            for name, path in paths.items()
        ]
        for each in threads:
            each.start()
        marks = [time.time()]
        time.sleep(AROUND)
        marks.append(time.time())
        done(here, "migrate", "--verbosity", "0")
        marks.append(time.time())
        time.sleep(AROUND)
        marks.append(time.time())
        stop.set()
        for each in threads:
            each.join()
        server.terminate()
        signer.terminate()
        noted["sign-off"] = [tuple(json.loads(line)) for line in signer.stdout if line.endswith("\n")]
        print(f"migrate took {marks[2] - marks[1]:.1f} s")
        for name, each in noted.items():
            told(name, each, marks)
        signed = sum(1 for each in noted["sign-off"] if each[2] == "signed")
        whole = done(here, "verify_ledger").splitlines()
        print(f"{SIGN_OFFS} + {signed} sign-offs acknowledged; {'; '.join(whole)}")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]).resolve())
