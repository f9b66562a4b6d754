"""The suite runs on the servers it says it runs on: one that quietly ran elsewhere proves nothing."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.parse

import pytest
import redis
from django.db import connection

from tests.support import services_plugin


@pytest.mark.django_db
def test_the_database_is_the_legs_own() -> None:
    named = os.environ["DATABASE_URL"].partition(":")[0]
    assert connection.vendor == {"postgres": "postgresql"}.get(named, named)
    if "TEST_SUPERUSER_URL" in os.environ:
        assert connection.vendor == "postgresql"


@pytest.mark.django_db
@pytest.mark.postgresql
def test_the_tests_role_is_bound_by_row_security() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT rolsuper, rolbypassrls, rolcreaterole, rolcreatedb"
            " FROM pg_roles WHERE rolname = current_user"
        )
        assert cursor.fetchone() == (False, False, False, True)


@pytest.mark.django_db
@pytest.mark.sqlite
def test_sqlite_keeps_references_and_commits_and_waits_for_a_lock() -> None:
    with connection.cursor() as cursor:
        pragmas = {
            name: cursor.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("foreign_keys", "journal_mode", "busy_timeout", "synchronous")
        }
    assert pragmas == {"foreign_keys": 1, "journal_mode": "wal", "busy_timeout": 20000, "synchronous": 2}


def test_each_worker_has_a_redis_database_of_its_own(redis_url: str) -> None:
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    expected = int(worker.removeprefix("gw")) + 1 if worker else 0
    if "TEST_SUPERUSER_URL" in os.environ:
        assert redis_url.endswith(f"/{expected}")
    with redis.Redis.from_url(redis_url) as client:
        assert client.dbsize() == 0
        client.set("worker", worker or "none")
        assert client.get("worker") == (worker or "none").encode()


@pytest.mark.parametrize(
    ("worker", "address"),
    [
        pytest.param(
            "gw0",
            "redis://:s@127.0.0.1:6400/1",
            id="the first worker leaves 0 to a run without workers",
        ),
        pytest.param("gw7", "redis://:s@127.0.0.1:6400/8", id="the eighth has the eighth"),
    ],
)
def test_a_workers_redis_address(worker: str, address: str) -> None:
    assert services_plugin.own_redis_database("redis://:s@127.0.0.1:6400/0", worker) == address


HOLD = """
import time
from tests.support import services
with services.running() as addresses:
    print(addresses.folder, addresses.superuser_url, addresses.redis_url, flush=True)
    time.sleep(60)
"""


def answers(address: str) -> bool:
    parts = urllib.parse.urlsplit(address)
    try:
        socket.create_connection((str(parts.hostname), int(parts.port or 0)), timeout=1).close()
    except OSError:
        return False
    return True


def test_the_servers_die_with_a_run_that_is_killed(request: pytest.FixtureRequest) -> None:
    holder = subprocess.Popen([sys.executable, "-c", HOLD], stdout=subprocess.PIPE, text=True)
    assert holder.stdout is not None
    with holder.stdout:
        folder, *addresses = holder.stdout.readline().split()
    request.addfinalizer(lambda: shutil.rmtree(folder))  # nobody else is left to do it
    assert [answers(address) for address in addresses] == [True, True]
    holder.kill()
    holder.wait()
    deadline = time.monotonic() + 10
    while any(map(answers, addresses)) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert [answers(address) for address in addresses] == [False, False]
