"""A database server and a web server that are killed by ``kill -9`` and started again on the same data.

Whatever starts a server here must be the main thread: the servers die with the thread that started them.
"""

from __future__ import annotations

import contextlib
import os
import pathlib
import random
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
from typing import Any

from tests.support import services

ROOT = pathlib.Path(__file__).resolve().parents[2]
WORKERS, THREADS = 2, 4
#: What PostgreSQL must not have switched off, or an answered commit may be none after a crash.
DURABLE = ("fsync", "synchronous_commit", "full_page_writes")


def children(pid: int) -> list[int]:
    """The processes that a process started and that have not ended, in the order of their ids."""
    found = []
    for path in pathlib.Path("/proc").glob("[0-9]*/stat"):
        # A process that ends meanwhile has no such file any more.
        with contextlib.suppress(OSError):
            state, parent, *_ = path.read_text().rpartition(")")[2].split()
            if int(parent) == pid and state != "Z":
                found.append(int(path.parent.name))
    return sorted(found)


def alive(pid: int) -> bool:
    try:
        return pathlib.Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


def kill_all(process: subprocess.Popen[bytes]) -> None:
    """``kill -9`` a server with every process it started, so that none of them can tidy up after it."""
    process.send_signal(signal.SIGSTOP)  # from here on it starts no other
    started = children(process.pid)
    for pid in [process.pid, *started]:
        kill(pid)
    process.wait()
    deadline = time.monotonic() + 10
    while any(alive(pid) for pid in started):
        if time.monotonic() > deadline:
            raise services.ServiceError(f"Some of the processes {started} outlive kill -9.")
        time.sleep(0.002)


def kill(pid: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)


class Servers:
    """PostgreSQL on a data folder of its own, or an SQLite file, and gunicorn with the real settings."""

    def __init__(self, folder: pathlib.Path, *, on: str):
        self.folder, self.on = folder, on
        self.recoveries = 0
        self.stack = contextlib.ExitStack()

    def __enter__(self) -> Servers:
        signal.signal(signal.SIGTERM, lambda *_: sys.exit("ended from outside"))  # tidies up all the same
        self.stack.callback(shutil.rmtree, self.folder, ignore_errors=True)
        try:
            url = self._postgresql() if self.on == "postgresql" else f"sqlite:///{self.folder}/storm.sqlite3"
        except BaseException:
            self.stack.close()
            raise
        self.port = services.free_port()
        self.environment = {
            "DATABASE_URL": url,
            "DATA_DIR": str(self.folder / "data"),
            "DJANGO_SETTINGS_MODULE": "training.config.settings",
            "SECRET_KEY": secrets.token_urlsafe(64),
            "LEDGER_SIGNING_KEY": "",
            "ALLOWED_HOSTS": "127.0.0.1",
            "HTTPS": "off",
            "DEBUG": "off",
            "REDIS_URL": "",
            "LOG_LEVEL": "CRITICAL",  # each request that a kill breaks would be logged with its trace
        }
        return self

    def __exit__(self, *_: Any) -> None:
        self.stack.close()

    # The database

    def _postgresql(self) -> str:
        import psycopg

        account = services.unprivileged_account()
        work = services.own_folder(self.stack, account)
        self.cluster = services.new_cluster(work, account)
        self.database = self.cluster.serve()
        self.stack.callback(lambda: kill_all(self.database))
        address = self.cluster.new_role()
        with psycopg.connect(address, autocommit=True) as connection:
            for name in DURABLE:
                value = connection.execute(f"SHOW {name}").fetchone()
                assert value == ("on",), f"{name} is {value}"
            connection.execute("CREATE DATABASE storm")
        return f"{address.rpartition('/')[0]}/storm"

    def kill_database(self, drawn: random.Random) -> str:
        """Kill the whole server and start it again, or one of its processes (it then recovers by itself)."""
        if drawn.random() < 0.3 and (started := children(self.database.pid)):
            kill(drawn.choice(started))
            self.recoveries += 1
            return "one process of PostgreSQL"
        kill_all(self.database)
        self.database = self.cluster.serve()
        assert b"not properly shut down" in self.cluster.log.read_bytes()
        self.recoveries += 1
        return "PostgreSQL"

    # The web server

    def serve(self) -> None:
        """Start gunicorn; returns once it takes connections."""
        log = self.folder / "gunicorn.log"
        with open(log, "ab") as out:
            self.web = subprocess.Popen(
                [
                    *(sys.executable, "-m", "gunicorn", "training.config.wsgi", "--preload"),
                    *("--bind", f"127.0.0.1:{self.port}", "--no-control-socket", "--log-level", "error"),
                    *("--worker-class", "gthread", "--workers", str(WORKERS), "--threads", str(THREADS)),
                ],
                cwd=ROOT,
                env={**os.environ, **self.environment},
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                preexec_fn=services.die_with_parent(signal.SIGTERM),
            )
        # It reads all of the program first, which takes long where much else runs.
        services.wait_for("gunicorn", self.web, log, self._answers, within=120)

    def _answers(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0 and bool(children(self.web.pid))

    def stop_web(self) -> None:
        kill_all(self.web)

    def kill_web(self, drawn: random.Random) -> str:
        """Kill one web worker (gunicorn starts another), or all of gunicorn, and start it again."""
        if drawn.random() < 0.2:
            kill_all(self.web)
            self.serve()
            return "gunicorn"
        deadline = time.monotonic() + 10
        while not (workers := children(self.web.pid)):
            assert time.monotonic() < deadline, "gunicorn has no workers"
            time.sleep(0.005)
        kill(drawn.choice(workers))
        return "a web worker"
