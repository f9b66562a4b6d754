"""Everything the compose file starts runs from a clean copy of what the image holds.

No container is run here: what the image would do is done in a plain folder, as another user than root, with
the very commands of the compose file, on a PostgreSQL with the two roles and a Valkey with its file.
"""

from __future__ import annotations

import compileall
import contextlib
import dataclasses
import http.client
import json
import os
import pathlib
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import django
import psycopg
import pytest

from tests.repository.composed import ROOT, SECRETS, SERVICES, environment_of, filled_in, instructions
from tests.support import services

HOST = SECRETS["ALLOWED_HOSTS"]
WITHIN = 240.0  # seconds, on a machine that does other things too


ACCOUNT = services.unprivileged_account()


def python_for(account: dict[str, Any], folder: pathlib.Path) -> pathlib.Path:
    """This Python where the account can run it; else a copy of it, for it may lie under a closed home."""
    with contextlib.suppress(PermissionError):
        if services.can_run(pathlib.Path(sys.executable), account):
            return pathlib.Path(sys.executable)
    own, home = f"python3.{sys.version_info.minor}", pathlib.Path(sys.base_prefix)
    copy = folder / "python"
    (copy / "bin").mkdir(parents=True)
    shutil.copy2(home / "bin" / own, copy / "bin" / own)
    left_out = shutil.ignore_patterns("site-packages", "dist-packages", "test", "__pycache__", "config-*")
    shutil.copytree(home / "lib" / own, copy / "lib" / own, ignore=left_out)
    for library in (home / "lib").glob("libpython*.so*"):
        shutil.copy2(library, copy / "lib" / library.name)
    return copy / "bin" / own


@pytest.fixture(scope="module")
def image() -> Iterator[pathlib.Path]:
    """The folder /app as the image has it, with the static files collected, belonging to nobody's account."""
    folder = pathlib.Path(
        tempfile.mkdtemp(prefix="training-image-")
    )  # pytest's own folders are closed to others
    folder.chmod(0o755)
    app, data = folder / "app", folder / "data"
    for line in instructions():
        words = line.split()
        if words[0] == "COPY" and "--from" not in line and "/requirements.lock" not in words:
            for source in words[1:-1]:
                to = app / words[-1] / (pathlib.Path(source).name if words[-1].endswith("/") else "")
                if (ROOT / source).is_dir():
                    shutil.copytree(ROOT / source, to)
                else:
                    to.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copy2(ROOT / source, to)
    # The account of the image cannot write here: each of the processes below would compile what is not yet.
    compileall.compile_dir(app, quiet=2)
    data.mkdir()
    if ACCOUNT:
        os.chown(data, ACCOUNT["user"], ACCOUNT["group"])
    programs = folder / "programs"
    programs.mkdir()
    (programs / "python").symlink_to(python_for(ACCOUNT, folder))
    for name in ("celery", "gunicorn"):
        (programs / name).write_text(f'#!/bin/sh\nexec python -m {name} "$@"\n')
        (programs / name).chmod(0o755)
    (collect,) = [line for line in instructions() if "collectstatic" in line]
    done = subprocess.run(
        ["/bin/sh", "-c", collect.removeprefix("RUN ")],
        cwd=app,
        env=base(folder),
        capture_output=True,
        text=True,
        check=False,
        **ACCOUNT,
    )
    assert done.returncode == 0, done.stderr
    yield folder
    shutil.rmtree(folder)


def base(folder: pathlib.Path) -> dict[str, str]:
    """The image's own environment, with this machine's Python and packages in the place of its own."""
    (line,) = [line for line in instructions() if line.startswith("ENV")]
    own = dict(part.split("=", 1) for part in line.split()[1:])
    return own | {
        "PATH": f"{folder / 'programs'}:/usr/local/bin:/usr/bin:/bin",
        "PYTHONPATH": f"{folder / 'app'}:{pathlib.Path(django.__file__).parents[1]}",
        "DATA_DIR": str(folder / "data"),
        "HOME": str(folder / "data"),
        "LD_LIBRARY_PATH": str(folder / "python" / "lib"),
    }


def test_the_image_holds_its_static_files_and_no_key(image: pathlib.Path) -> None:
    data = sorted(path.name for path in (image / "data").iterdir())
    assert data == ["static"]
    assert (image / "data" / "static" / "staticfiles.json").is_file()
    assert not (image / "app" / "tests").exists()


@dataclasses.dataclass
class Running:
    """Processes started as compose would start them, each with the file of what it wrote."""

    image: pathlib.Path
    addresses: dict[str, str]
    port: int
    started: dict[str, tuple[subprocess.Popen[bytes], pathlib.Path]] = dataclasses.field(default_factory=dict)

    def environment(self, service: str) -> dict[str, str]:
        found = base(self.image) | environment_of(service)
        for name, value in found.items():
            for there, here in self.addresses.items():
                value = value.replace(there, here)
            found[name] = value
        return (
            found
            | {"PORT": str(self.port)}
            | ({"PROMETHEUS_MULTIPROC_DIR": str(self.image / "data" / "figures")} if service == "web" else {})
        )

    def run(self, service: str, command: list[str]) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            command,
            cwd=self.image / "app",
            env=self.environment(service),
            capture_output=True,
            text=True,
            check=False,
            timeout=WITHIN,
            **ACCOUNT,
        )

    def entry(self, service: str, *command: str) -> subprocess.CompletedProcess[str]:
        return self.run(service, ["docker/entrypoint.sh", *(command or SERVICES[service]["command"])])

    def start(self, service: str) -> None:
        log = self.image / f"{service}.log"
        with open(log, "wb") as out:
            process = subprocess.Popen(
                [self.image / "app" / "docker" / "entrypoint.sh", *SERVICES[service]["command"]],
                cwd=self.image / "app",
                env=self.environment(service),
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                preexec_fn=services.die_with_parent(signal.SIGKILL),
                **ACCOUNT,
            )
        self.started[service] = process, log

    def health(self, service: str) -> subprocess.CompletedProcess[str]:
        kind, *command = SERVICES[service]["healthcheck"]["test"]
        given = [filled_in(word) for word in command]
        return self.run(service, given if kind == "CMD" else ["/bin/sh", "-c", *given])

    def wait_for(self, path: str) -> None:
        """Until the web server answers that all is well: a health check is a process each time."""
        until = time.monotonic() + WITHIN
        while True:
            for process, log in self.started.values():
                assert process.poll() is None, log.read_text()
            with contextlib.suppress(OSError):
                if self.ask(path)[0] == 200:
                    return
            assert time.monotonic() < until, f"{path} is not answered well"
            time.sleep(0.5)

    def ask(self, path: str, **headers: str) -> tuple[int, Any, str]:
        """Status, headers and body; a redirect is not followed."""
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)) as client:
            client.request("GET", path, headers={"Host": HOST, **headers})
            answer = client.getresponse()
            return answer.status, answer.headers, answer.read().decode()

    def stop(self, service: str) -> tuple[int, list[str]]:
        """End it as ``docker stop`` does; its exit code, and the lines it wrote."""
        process, log = self.started.pop(service)
        process.send_signal(signal.SIGTERM)
        try:
            code = process.wait(WITHIN)
        finally:
            process.kill()
        return code, log.read_text().splitlines()


@pytest.fixture(scope="module")
def running(image: pathlib.Path) -> Iterator[Running]:
    """The database with the two roles that the compose file's script makes, and the broker by its command."""
    with contextlib.ExitStack() as stack:
        there = stack.enter_context(services.running(redis=False))
        database = urlsplit(there.superuser_url)
        made = subprocess.run(
            ["/bin/bash", str(ROOT / "docker" / "database.sh")],
            env=environment_of("database")
            | {
                "PATH": f"{services.postgresql_folder()}:/usr/bin:/bin",
                "PGHOST": "127.0.0.1",
                "PGPORT": str(database.port),
                "PGPASSWORD": str(database.password),
            },
            capture_output=True,
            text=True,
            check=False,
        )
        assert made.returncode == 0, made.stderr
        folder = image / "broker"
        folder.mkdir()
        (folder / "valkey-server").symlink_to(services.redis_binary())
        port = services.free_port()
        *shell, command = [filled_in(word) for word in SERVICES["broker"]["command"]]
        broker = subprocess.Popen(
            [f"/bin/{shell[0]}", *shell[1:], f"{command.replace('/data', str(folder))} --port {port}"],
            env=environment_of("broker") | {"PATH": f"{folder}:/usr/bin:/bin"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            preexec_fn=services.die_with_parent(signal.SIGKILL),
        )
        stack.callback(broker.wait)
        stack.callback(broker.terminate)
        made_running = Running(
            image,
            {"@database:5432/": f"@127.0.0.1:{database.port}/", "@broker:6379/": f"@127.0.0.1:{port}/"},
            services.free_port(),
        )
        yield made_running
        for process, _ in made_running.started.values():
            process.kill()
            process.wait()
        assert (folder / "appendonlydir").is_dir()


def count(text: str, series: str) -> float:
    found = re.search(rf"^{re.escape(series)} (\S+)$", text, re.MULTILINE)
    return float(found.group(1)) if found else 0


@pytest.mark.reliability
def test_what_compose_starts_migrates_serves_sweeps_and_ends(running: Running) -> None:
    migrated = running.entry("migrate")
    assert migrated.returncode == 0, migrated.stderr
    assert "System check identified no issues" in migrated.stdout
    assert "training_app has its rights" in migrated.stdout
    for service in ("migrate", "web"):
        with psycopg.connect(running.environment(service)["DATABASE_URL"]) as connection:
            mighty = "rolsuper OR rolcreaterole OR rolcreatedb OR rolreplication OR rolbypassrls"
            asked = f"SELECT {mighty} FROM pg_roles WHERE rolname = current_user"
            assert connection.execute(asked).fetchone() == (False,)  # type: ignore[arg-type]

    running.start("web")
    running.wait_for("/healthz")
    probe = running.run("web", ["python", "docker/probe.py", "/readyz"])
    assert probe.returncode == 1
    assert '503: {"ready": false}' in probe.stderr
    running.start("worker")
    running.start("beat")
    running.wait_for("/readyz")
    for service in ("web", "worker", "beat"):
        checked = running.health(service)
        assert checked.returncode == 0, (service, checked.stdout, checked.stderr)
    bearer = {"Authorization": f"Bearer {SECRETS['METRICS_TOKEN']}"}
    status, _, body = running.ask("/readyz", **bearer)
    assert (status, set(json.loads(body)["checks"].values())) == (200, {"ok"})
    assert running.ask("/readyz")[2] == '{"ready": true}'
    assert running.ask("/metrics")[0] == 403

    series = 'training_requests_total{method="GET",route="healthz",status="200"}'
    before = count(running.ask("/metrics", **bearer)[2], series)
    for _ in range(40):
        assert running.ask("/healthz")[0] == 200
    for _ in range(5):  # whichever of the workers answers
        assert count(running.ask("/metrics", **bearer)[2], series) == before + 40
    pids = {path.stem.rpartition("_")[2] for path in (running.image / "data" / "figures").glob("*.db")}
    assert len(pids) == 2

    status, headers, _ = running.ask("/login/")
    assert (status, headers["Location"]) == (301, f"https://{HOST}/login/")
    status, headers, _ = running.ask("/login/", **{"X-Forwarded-Proto": "https"})
    assert status == 200
    assert headers["Strict-Transport-Security"] == "max-age=31536000; includeSubDomains; preload"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert "Secure" in headers["Set-Cookie"]

    backup = running.image / "data" / "today.backup"
    kept = running.entry("keeper", "backup", str(backup))
    assert (kept.returncode, backup.stat().st_size > 50_000) == (0, True), kept.stderr
    verified = running.entry("keeper")
    assert verified.returncode == 0, verified.stdout

    for service, said in (("beat", "celery.beat"), ("worker", "celery.worker"), ("web", "training.requests")):
        code, lines = running.stop(service)
        assert code == 0, lines
        # Every line is JSON, but for what Celery says past every log when it is told to end.
        logged = [json.loads(line) for line in lines if line and not line.startswith("worker: ")]
        assert [line for line in logged if line["logger"].startswith(said)], lines
        assert not [line for line in logged if line["level"] in ("ERROR", "CRITICAL")], lines
