"""A pytest plugin, named in ``addopts``: gives the tests their servers before Django's settings are read.

A ``conftest.py`` would be too late: the settings are read first, and the suite would quietly run on SQLite.
So the servers start when this module is imported. Addresses that are set already (``DATABASE_URL``,
``REDIS_URL``) are used as they are. ``TEST_LEG=sqlite`` runs the tests that touch the database once more, on
an SQLite file.
"""

import contextlib
import functools
import json
import os
import pathlib
import shutil
import sys
import tempfile
from collections.abc import Iterable

import pytest

from tests.support import coverage, services
from tests.support.extent import FULL

LEG = os.environ.get("TEST_LEG", "postgresql")
# Tests that another leg runs already, or that are about PostgreSQL alone. A full run takes on SQLite also
# those whose queries another test makes there.
NOT_ON_SQLITE = ("browser", "reliability", "postgresql", *(() if FULL else ("any_database",)))
#: Where the first leg of ``manage.py test`` lists the files that have a test for the SQLite leg, one a line.
LIST = os.environ.get("TEST_SQLITE_FILES")

held = contextlib.ExitStack()
measured = coverage.asked()  # before anything of the program is imported


def prepare() -> None:
    """Set the environment of this run; its xdist workers inherit it."""
    # The tests start the program hundreds of times: each process reads what an earlier one compiled, even
    # where the environment says to keep nothing of it.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False
    folder = pathlib.Path(tempfile.mkdtemp(prefix="training-tests-data-"))
    held.callback(shutil.rmtree, folder, ignore_errors=True)
    os.environ.update(
        {
            "DATA_DIR": str(folder),
            "SECRET_KEY": "known to everybody, and therefore good for nothing but the tests",
            "LEDGER_SIGNING_KEY": "a25vd24gdG8gZXZlcnlib2R5LCBmb3IgdGVzdHMgMDA=",
            "DEBUG": "off",
            "HTTPS": "off",
            "ALLOWED_HOSTS": "testserver,localhost,127.0.0.1",
            "EMAIL_URL": "memorymail://",
            "PYTHONWARNINGS": os.environ.get("PYTHONWARNINGS", ""),
        }
    )
    if LEG == "sqlite":
        os.environ["DATABASE_URL"] = f"sqlite:///{folder / 'training.sqlite3'}"
    wanted = {"postgresql": not os.environ.get("DATABASE_URL"), "redis": not os.environ.get("REDIS_URL")}
    if any(wanted.values()):
        addresses = held.enter_context(services.running(**wanted))
        if wanted["postgresql"]:
            os.environ["DATABASE_URL"] = addresses.database_url
            os.environ["TEST_SUPERUSER_URL"] = addresses.superuser_url
        if wanted["redis"]:
            os.environ["REDIS_URL"] = addresses.redis_url


def own_redis_database(url: str, worker: str) -> str:
    """The same server, and the database that is this xdist worker's alone: ``gw0`` has 1, ``gw1`` has 2."""
    return f"{url.rpartition('/')[0]}/{int(worker.removeprefix('gw')) + 1}"


if worker := os.environ.get("PYTEST_XDIST_WORKER"):
    os.environ["REDIS_URL"] = own_redis_database(os.environ["REDIS_URL"], worker)
else:
    try:
        prepare()
    except services.ServiceError as fault:
        held.close()
        print(fault, file=sys.stderr)
        raise SystemExit(pytest.ExitCode.USAGE_ERROR) from None


def touches_database(item: pytest.Item) -> bool:
    """True for a test that asks for the database by mark, by fixture or by its Django test case."""
    from django.test import TransactionTestCase

    if item.get_closest_marker("django_db") or issubclass(
        getattr(item, "cls", None) or object, TransactionTestCase
    ):
        return True
    return not {"db", "transactional_db", "live_server"}.isdisjoint(getattr(item, "fixturenames", ()))


def belongs_to_leg(item: pytest.Item, leg: str = LEG) -> bool:
    if leg != "sqlite":
        return item.get_closest_marker("sqlite") is None
    if any(item.get_closest_marker(name) for name in NOT_ON_SQLITE):
        return False
    return item.get_closest_marker("sqlite") is not None or touches_database(item)


@functools.cache
def listed() -> frozenset[str] | None:
    """The files that the SQLite leg reads; None where nothing lists them, and it reads them all."""
    if LEG != "sqlite" or not LIST or not os.path.exists(LIST):
        return None
    return frozenset(pathlib.Path(LIST).read_text().splitlines())


def pytest_ignore_collect(collection_path: pathlib.Path) -> bool | None:
    """Most files have no test for SQLite, and reading a file costs as much as running its tests."""
    files = listed()
    unread = files is not None and collection_path.suffix == ".py" and str(collection_path) not in files
    return True if unread else None


@pytest.hookimpl(trylast=True)  # after -k and -m
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if LEG != "sqlite" and LIST and os.environ.get("PYTEST_XDIST_WORKER", "gw0") == "gw0":
        files = {str(item.path) for item in items if belongs_to_leg(item, "sqlite")}
        pathlib.Path(LIST).write_text("\n".join(sorted(files)))
    keep: list[pytest.Item] = []
    drop: list[pytest.Item] = []
    for item in items:
        (keep if belongs_to_leg(item) else drop).append(item)
    if drop:
        config.hook.pytest_deselected(items=drop)
        items[:] = keep


def pytest_report_header() -> str:
    scheme = os.environ["DATABASE_URL"].partition(":")[0]
    return f"leg: {LEG} (DATABASE_URL {scheme}, REDIS_URL {os.environ['REDIS_URL'].partition(':')[0]})"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Leave the figures for ``manage.py test``, which adds up its legs."""
    target = os.environ.get("TEST_COUNTS_FILE")
    if not target:
        return

    def count(names: Iterable[str]) -> int:
        return sum(len(terminalreporter.stats.get(name, ())) for name in names)

    figures = {
        "passed": count(["passed"]),
        "failed": count(["failed", "error"]),
        "skipped": count(["skipped"]),
    }
    pathlib.Path(target).write_text(json.dumps(figures))


@pytest.hookimpl(trylast=True)
def pytest_unconfigure() -> None:
    if measured:
        measured.save()
    held.close()
