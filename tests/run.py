"""``manage.py test``: the whole suite on real servers, then the database tests again on SQLite."""

import dataclasses
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[1]
MOST_WORKERS = 8
CPU_AIM = 12  # minutes
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser")


@dataclasses.dataclass
class Leg:
    """One run of pytest: its exit code and how many tests passed, failed and were skipped.

    ``on_sqlite`` is false where none of them is for the SQLite leg.
    """

    name: str
    code: int
    on_sqlite: bool
    passed: int = 0
    failed: int = 0
    skipped: int = 0


HELP = """\
usage: manage.py test [PYTEST ARGUMENT ...]

Runs the tests on a PostgreSQL and Valkey of their own, then those that touch the database on SQLite.
Everything after 'test' goes to pytest: paths, -k, -m, -x, -n. DATABASE_URL and REDIS_URL, where set, name
the servers to use instead; SERVICES_FROM=system prefers the system's servers to the wheels'."""


def main(arguments: list[str]) -> int:
    """Run pytest as a new process for each leg: each reads the settings anew, with its own database."""
    if arguments in (["--help"], ["-h"]):
        print(HELP)
        return 0
    return run(arguments)


def run(arguments: list[str]) -> int:
    """Run the legs and add them up. The last lines printed are the CPU time and ``N passed, N failed``."""
    # Of this process and of all that it waited for. Installing the packages is no part of the suite.
    before = sum(os.times()[:4])
    asked = list(arguments)
    left_out = ""
    if wants_browser(arguments) and not chromium() and not install_chromium():
        if os.environ.get("CI"):
            say("The browser tests need Chromium (on Debian and Ubuntu: apt-get install chromium).")
            return 1
        left_out = (
            "The browser tests were LEFT OUT, for want of Chromium. "
            "To run them: sudo apt-get install chromium, then this command again."
        )
        asked += ["-m", "not browser"]
    own_choice = any(word.startswith(("-n", "--numprocesses", "--dist", "--pdb")) for word in arguments)
    if not own_choice and not paths(arguments):
        asked += ["-n", str(min(os.cpu_count() or 1, MOST_WORKERS))]

    given = os.environ.get("DATABASE_URL", "")
    own_database = not given.startswith("sqlite")
    with tempfile.TemporaryDirectory() as folder:
        name = "PostgreSQL" if own_database else "SQLite, as DATABASE_URL says"
        legs = [run_leg(name, asked, pathlib.Path(folder))]
        if own_database and legs[0].on_sqlite:
            legs.append(run_leg("SQLite", asked, pathlib.Path(folder), TEST_LEG="sqlite", DATABASE_URL=""))

    print(flush=True)
    for leg in legs:
        outcome = "passed" if leg.code == 0 else f"FAILED (pytest's exit code {leg.code})"
        say(f"{leg.name}: {outcome}: {leg.passed} passed, {leg.failed} failed, {leg.skipped} skipped")
    if left_out:
        say(left_out)
    cpu = (sum(os.times()[:4]) - before) / 60
    say(f"{cpu:.1f} minutes of CPU, user and system; the whole suite should take at most {CPU_AIM}")
    print(f"{sum(leg.passed for leg in legs)} passed, {sum(leg.failed for leg in legs)} failed", flush=True)
    return next((leg.code for leg in legs if leg.code != 0), 0)


def run_leg(name: str, arguments: list[str], folder: pathlib.Path, **environment: str) -> Leg:
    """Run pytest once, with its output as it comes."""
    say(f"{name} leg: python -m pytest {' '.join(arguments)}".rstrip())
    counts, files = folder / f"{name}.json", folder / "sqlite-files"
    given = {"TEST_COUNTS_FILE": str(counts), "TEST_SQLITE_FILES": str(files)}
    process = subprocess.Popen(
        [sys.executable, "-m", "pytest", *arguments], cwd=ROOT, env={**os.environ, **given, **environment}
    )
    try:
        code = process.wait()
    except KeyboardInterrupt:
        code = process.wait()  # it was interrupted with us, and takes its servers down
    figures = json.loads(counts.read_text()) if counts.exists() else {}
    return Leg(name, code, on_sqlite=not files.exists() or bool(files.read_text()), **figures)


def paths(arguments: list[str]) -> list[str]:
    """The test files and folders among pytest's arguments."""
    named = (word.partition("::")[0] for word in arguments if not word.startswith("-"))
    return [name for name in named if (ROOT / name).exists()]


def wants_browser(arguments: list[str]) -> bool:
    """Whether one of the selected tests has the mark ``browser``."""
    if "not browser" in " ".join(arguments):
        return False
    for start in paths(arguments) or ["tests"]:
        root = ROOT / start
        for file in [root] if root.is_file() else root.rglob("test_*.py"):
            if "mark.browser" in file.read_text(encoding="utf-8"):
                return True
    return False


def chromium() -> str | None:
    """The system's Chromium. Its headless shell, which has no windows, takes a fifth of the CPU."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def install_chromium() -> bool:
    """As root on Debian or its kin, install the system's Chromium. True where it is there afterwards."""
    apt = shutil.which("apt-get")
    if os.geteuid() != 0 or apt is None:
        return False
    say("Installing Chromium for the browser tests (once) …")
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    install = ["install", "-qq", "-y", "--no-install-recommends"]
    for step in (["update", "-qq"], [*install, BROWSERS[0]], [*install, BROWSERS[1]]):
        done = subprocess.run(
            [apt, *step], env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        if chromium():
            return True
        if done.returncode != 0:
            say(f"apt-get {' '.join(step)} failed:\n{done.stdout[-1000:]}")
    return False


def say(line: str) -> None:
    print(f"== {line}", flush=True)
