"""``manage.py test``: the whole suite on real servers, then what touches the database once more on SQLite."""

import dataclasses
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
from typing import Any

from django.core.management.base import BaseCommand

ROOT = pathlib.Path(__file__).resolve().parents[3]
NO_TESTS = 5  # pytest's exit code where nothing was collected
MOST_WORKERS = 8


@dataclasses.dataclass
class Leg:
    """One run of pytest: its exit code and how many tests passed, failed and were skipped."""

    name: str
    code: int
    passed: int = 0
    failed: int = 0
    skipped: int = 0


class Command(BaseCommand):
    """Runs pytest as a new process for each leg: each reads the settings anew, with its own database."""

    help = (
        "Runs the tests on a PostgreSQL and Valkey of their own, then those that touch the database on "
        "SQLite. Everything after 'test' goes to pytest: paths, -k, -m, -x, -n. "
        "DATABASE_URL and REDIS_URL, where set, name the servers to use instead; "
        "SERVICES_FROM=system prefers the system's servers to the wheels'."
    )

    def run_from_argv(self, argv: list[str]) -> None:
        arguments = argv[2:]
        if arguments in (["--help"], ["-h"]):
            super().run_from_argv(argv)  # prints the help above and ends
        sys.exit(run(arguments))

    def handle(self, *args: Any, **options: Any) -> None:
        sys.exit(run([str(argument) for argument in args]))


def run(arguments: list[str]) -> int:
    """Run the legs and add them up. The last line printed is ``N passed, N failed``."""
    asked = list(arguments)
    left_out = ""
    if wants_browser(arguments) and not has_chromium() and not install_chromium():
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
    legs = [
        run_leg("PostgreSQL" if not given.startswith("sqlite") else "SQLite, as DATABASE_URL says", asked, {})
    ]
    if not given.startswith("sqlite"):
        legs.append(run_leg("SQLite", asked, {"TEST_LEG": "sqlite", "DATABASE_URL": ""}))
        if legs[1].code == NO_TESTS and legs[0].code != NO_TESTS:
            legs[1].code = 0  # the tests asked for do not touch the database

    print(flush=True)
    for leg in legs:
        outcome = "passed" if leg.code == 0 else f"FAILED (pytest's exit code {leg.code})"
        say(f"{leg.name}: {outcome}: {leg.passed} passed, {leg.failed} failed, {leg.skipped} skipped")
    if left_out:
        say(left_out)
    print(f"{sum(leg.passed for leg in legs)} passed, {sum(leg.failed for leg in legs)} failed", flush=True)
    return next((leg.code for leg in legs if leg.code != 0), 0)


def run_leg(name: str, arguments: list[str], environment: dict[str, str]) -> Leg:
    """Run pytest once, with its output as it comes."""
    say(f"{name} leg: python -m pytest {' '.join(arguments)}".rstrip())
    with tempfile.TemporaryDirectory() as folder:
        counts = pathlib.Path(folder) / "counts.json"
        process = subprocess.Popen(
            [sys.executable, "-m", "pytest", *arguments],
            cwd=ROOT,
            env={**os.environ, **environment, "TEST_COUNTS_FILE": str(counts)},
        )
        try:
            code = process.wait()
        except KeyboardInterrupt:
            code = process.wait()  # it was interrupted with us, and takes its servers down
        figures = json.loads(counts.read_text()) if counts.exists() else {}
    return Leg(name, code, **figures)


def paths(arguments: list[str]) -> list[str]:
    """The test files and folders among pytest's arguments."""
    named = (word.partition("::")[0] for word in arguments if not word.startswith("-"))
    return [name for name in named if (ROOT / name).exists()]


def wants_browser(arguments: list[str]) -> bool:
    """True where a test among those asked for carries the mark ``browser``."""
    if "not browser" in " ".join(arguments):
        return False
    for start in paths(arguments) or ["tests"]:
        root = ROOT / start
        for file in [root] if root.is_file() else root.rglob("test_*.py"):
            if "mark.browser" in file.read_text(encoding="utf-8"):
                return True
    return False


def has_chromium() -> bool:
    return any(shutil.which(name) for name in ("chromium", "chromium-browser"))


def install_chromium() -> bool:
    """As root on Debian or its kin, install the system's Chromium. True where it is there afterwards."""
    apt = shutil.which("apt-get")
    if os.geteuid() != 0 or apt is None:
        return False
    say("Installing Chromium for the browser tests (once) …")
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for step in (["update", "-qq"], ["install", "-qq", "-y", "--no-install-recommends", "chromium"]):
        done = subprocess.run(
            [apt, *step], env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        if done.returncode != 0:
            say(f"apt-get {' '.join(step)} failed:\n{done.stdout[-1000:]}")
            return False
    return has_chromium()


def say(line: str) -> None:
    print(f"== {line}", flush=True)
