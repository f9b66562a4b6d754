"""Fixtures and settings that hold for every test."""

import gc
import os
import pathlib
from collections.abc import Iterator
from typing import Any
from unittest import mock

import hypothesis
import pytest
from django.core.cache import caches
from django.utils import translation
from pytest_django.plugin import DjangoDbBlocker

from tests.run import chromium
from tests.support import emptied, forced, kept, no_network
from tests.support.extent import FULL, count
from tests.support.kept import pytest_fixture_setup  # noqa: F401  (of every test with a database)
from tests.support.lifting import ledger_emptied  # noqa: F401  (a fixture of every test that commits)
from tests.support.published import courses_taken_out  # noqa: F401  (likewise)

# Modules, tests and models live to the end, and the garbage collector would walk through them again and
# again: a tenth of the CPU. It waits until the tests are collected, forgets these, and then comes seldom.
gc.disable()

# A busy machine makes examples slowly; that says nothing about the program.
hypothesis.settings.register_profile(
    "here",
    max_examples=count(15, 100),
    derandomize=not FULL,
    deadline=None,
    print_blob=True,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("here")


def pytest_configure() -> None:
    from django.conf import settings

    no_network.install()

    # Nor have they second factors, but where a test is about these.
    settings.OPERATOR_SECOND_FACTOR = False
    # The tests make many people and have no secrets: a hash that costs nothing.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # E-mail of the tests stays in memory; else only an embedded copy may do without a mail server.
    settings.MAIL_REFUSED = ""
    # A static file is looked for when somebody asks for it. Otherwise every client of a test lists them all
    # first, which takes longer than its request.
    settings.WHITENOISE_AUTOREFRESH = True
    # What is counted against limits is counted in each test process alone; the tests of limits say otherwise.
    settings.CACHES["default"] = {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}


def pytest_collection_finish() -> None:
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)
    gc.enable()


@pytest.fixture(autouse=True)
def language_of_one_test() -> Iterator[None]:
    """A request leaves its language to the thread; the next test on this worker may make none."""
    yield
    translation.deactivate()


@pytest.fixture(autouse=True)
def attempts_of_one_test() -> None:
    """Wrong passwords and calls of earlier tests, of the same addresses, count against none of this one."""
    caches["default"].clear()


@pytest.fixture(autouse=True)
def rows_of_one_test() -> Iterator[None]:
    """A request that raised leaves its user's schools to the thread."""
    yield
    forced.release()


@pytest.fixture(autouse=True)
def clock_in_order() -> Iterator[None]:
    """Tests sweep on days that they choose, and the database's clock does not go along (``test_clock``)."""
    from training.services.operations import clock

    with mock.patch.object(clock, "doubt", return_value=""):
        yield


@pytest.fixture(scope="session")
def sqlite_in_a_file() -> None:
    """On SQLite, test on a file, as in use: a database in memory has no write-ahead log and other locks."""
    from django.conf import settings

    database = settings.DATABASES["default"]
    if database["ENGINE"] == "django.db.backends.sqlite3":
        database.setdefault("TEST", {})["NAME"] = str(
            pathlib.Path(database["NAME"]).with_name("tests.sqlite3")
        )


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    sqlite_in_a_file: None, django_db_modify_db_settings_parallel_suffix: None
) -> None:
    """The file's name is chosen first, then each worker adds its own suffix."""


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """A live server's thread may still hold a session at the end; PostgreSQL drops no database with one."""
    from django.db import connection

    with django_db_blocker.unblock():
        emptied.install()
        forced.install()
    yield
    with django_db_blocker.unblock():
        kept.release()
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                    " WHERE datname = current_database() AND pid <> pg_backend_pid()"
                )


@pytest.fixture
def redis_url() -> Iterator[str]:
    """The address of an empty Redis database that is this worker's alone."""
    import redis

    with redis.Redis.from_url(os.environ["REDIS_URL"]) as client:
        client.flushdb()
        yield os.environ["REDIS_URL"]
        client.flushdb()


# The first two load a page for the address bar of every window, which costs half of the browser's CPU. The
# others are Playwright's own: Chromium obeys the last list on its command line alone.
NOT_IN_CHROMIUM = ["WebUIOmniboxPopup", "WebUIOmniboxAimPopup"]
NOT_IN_CHROMIUM += ["AvoidCorsURLLoaderRestartOnRedirect", "AvoidUnnecessaryBeforeUnloadCheckSync"]
NOT_IN_CHROMIUM += ["AimEnabled", "DestroyProfileOnBrowserClose"]
NOT_IN_CHROMIUM += ["HttpsFirstBalancedModeAutoEnable", "HttpsUpgrades"]
NOT_IN_CHROMIUM += ["LensOverlay", "MediaRouter", "NetworkTimeServiceQuerying", "OptimizationHints"]
NOT_IN_CHROMIUM += ["PaintHolding", "PreconnectToSearch", "ThirdPartyStoragePartitioning"]


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """The system's Chromium, without the calls home that a closed network refuses."""
    found = chromium()
    if found is None:
        pytest.fail("Chromium is missing (on Debian and Ubuntu: apt-get install chromium)")
    # The driver's synchronous interface runs an event loop in this thread, where Django would refuse its
    # queries.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    quiet = ["--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
    quiet += ["--disable-component-update", "--disable-sync"]
    quiet.append(f"--disable-features={','.join(NOT_IN_CHROMIUM)}")
    if os.geteuid() == 0:
        quiet.append("--no-sandbox")  # Chromium's sandbox refuses to run as root
    return {**browser_type_launch_args, "executable_path": found, "args": quiet}
