"""How often somebody tries something: counted for all workers together, by account and by address."""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from django.db import connection
from django.test import Client, RequestFactory
from rest_framework.test import APIClient

from api.v1.base import examples
from api.v1.base.throttles import OpenThrottle
from tests.support.pickled import PICKLED, Planted
from training.services import limits

URL = "/api/v1/eligibility"


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


@pytest.fixture
def shared(settings: Any, db: None) -> None:
    """As a server counts, not as one process does."""
    settings.CACHES = settings.CACHES | {
        "default": {"BACKEND": "training.services.limits.Backend", "LOCATION": limits.TABLE}
    }


def request(address: str, forwarded: str | None = None) -> Any:
    headers = {} if forwarded is None else {"X-Forwarded-For": forwarded}
    return RequestFactory().get("/", headers=headers, REMOTE_ADDR=address)


@pytest.mark.parametrize(
    ("proxies", "connected", "forwarded", "counted"),
    [
        pytest.param(0, "203.0.113.7", "198.51.100.1", "203.0.113.7", id="no proxy of ours: no header"),
        pytest.param(1, "10.0.0.1", "203.0.113.7", "203.0.113.7", id="one proxy"),
        pytest.param(1, "10.0.0.1", "9.9.9.9, 203.0.113.7", "203.0.113.7", id="what the client wrote before"),
        pytest.param(1, "10.0.0.1", "9.9.9.9,   203.0.113.7 ", "203.0.113.7", id="spaces"),
        pytest.param(1, "10.0.0.1", "\t203.0.113.7", "203.0.113.7", id="a leading tab"),
        pytest.param(1, "10.0.0.1", "203.0.113.7:4711", "203.0.113.7", id="a port"),
        pytest.param(1, "10.0.0.1", "::ffff:203.0.113.7", "203.0.113.7", id="IPv4 in IPv6"),
        pytest.param(1, "10.0.0.1", "::FFFF:cb00:7107", "203.0.113.7", id="the same in hexadecimal"),
        pytest.param(2, "10.0.0.1", "203.0.113.7, 10.0.0.2", "203.0.113.7", id="two proxies"),
        pytest.param(2, "10.0.0.1", "203.0.113.7", "10.0.0.1", id="fewer entries than proxies"),
        pytest.param(1, "10.0.0.1", "unknown", "10.0.0.1", id="no address"),
        pytest.param(1, "10.0.0.1", None, "10.0.0.1", id="no header"),
        pytest.param(1, "10.0.0.1", "2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64", id="IPv6 by its network"),
        pytest.param(1, "10.0.0.1", "[2001:DB8:1:2::9]:443", "2001:db8:1:2::/64", id="brackets and a port"),
        pytest.param(0, "fe80::1%eth0", None, "fe80::/64", id="a scope"),
    ],
)
def test_an_address_is_counted_in_one_spelling(
    settings: Any, proxies: int, connected: str, forwarded: str | None, counted: str
) -> None:
    settings.NUM_PROXIES = proxies
    assert limits.network(request(connected, forwarded)) == counted


def test_spellings_of_an_address_evade_no_limit(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.NUM_PROXIES = 1
    monkeypatch.setattr(OpenThrottle, "most", 3)
    spelled = ("203.0.113.7", " 203.0.113.7", "::ffff:203.0.113.7", "203.0.113.7:1", "1.1.1.1,  203.0.113.7")
    answers = [
        APIClient().post(URL, examples.question(), headers={"X-Forwarded-For": each}).status_code
        for each in spelled
    ]
    assert answers == [200, 200, 200, 429, 429]
    another = APIClient().post(URL, examples.question(), headers={"X-Forwarded-For": "203.0.113.8"})
    assert another.status_code == 200


def test_a_count_starts_anew_when_its_time_is_over(shared: None) -> None:
    with time_machine.travel(dt.datetime(2026, 11, 1, tzinfo=dt.UTC), tick=False) as clock:
        assert [limits.count("k", 60) for _ in range(3)] == [1, 2, 3]
        assert (limits.count("k", 60, by=0), limits.count("other", 60, by=5)) == (3, 5)
        clock.shift(59)
        assert limits.count("k", 60) == 4
        clock.shift(2)
        assert limits.count("k", 60) == 1
        clock.shift(62)
        limits.forget()
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {limits.TABLE}")
        assert cursor.fetchone() == (0,)


def test_a_call_that_anybody_may_make_reads_nothing_stored_but_its_count(
    shared: None, django_assert_num_queries: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("api.v1.everyone.eligibility.SECONDS_OF_A_CALL", 60)
    with django_assert_num_queries(1) as made:
        assert APIClient().post(URL, examples.question()).status_code == 200
    assert limits.TABLE in made.captured_queries[0]["sql"]


@pytest.mark.django_db(transaction=True)
def test_two_processes_count_together_and_lose_none(shared: None) -> None:
    name = str(connection.settings_dict["NAME"])
    environment = {**os.environ, "DATABASE_URL": os.environ.get("DATABASE_URL") or f"sqlite:///{name}"}
    workers = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.support.counting_worker", name, "together", "50"],
            stdout=subprocess.PIPE,
            text=True,
            env=environment,
        )
        for _ in range(2)
    ]
    counted = [int(each) for worker in workers for each in worker.communicate(timeout=120)[0].split()]
    assert sorted(counted) == list(range(1, 101))
    assert limits.count("together", 60) == 101


def test_an_expensive_call_counts_as_several(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(OpenThrottle, "most", 30)
    monkeypatch.setattr("api.v1.everyone.eligibility.SECONDS_OF_A_CALL", 0.00001)
    assert APIClient().post(URL, examples.question()).status_code == 200
    assert APIClient().post(URL, examples.question()).status_code == 429


def test_an_account_is_counted_from_all_its_addresses(people: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(OpenThrottle, "most", 3)
    client = APIClient()
    client.force_authenticate(people.ida)
    answers = [
        client.post(URL, examples.question(), REMOTE_ADDR=f"203.0.113.{number}").status_code
        for number in range(4)
    ]
    assert answers == [200, 200, 200, 429]


def test_attempts_are_counted_without_pickles(shared: None, client: Client) -> None:
    """What guards sign-in reads these rows in each request, and a web process has the ledger's key."""
    for _ in range(5):
        client.post("/login/", {"login": "ida@lakeside.example", "password": "guess"})
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT value FROM {limits.TABLE}")
        values = [value for (value,) in cursor.fetchall()]
        assert values
        assert [value for value in values if not (value.isdecimal() or value.count(":") == 2)] == []
        cursor.execute(f"UPDATE {limits.TABLE} SET value = %s WHERE value LIKE '%%:%%'", [PICKLED])
        assert cursor.rowcount
    answer = client.post("/login/", {"login": "ida@lakeside.example", "password": "guess"})
    assert answer.status_code == 200
    assert not Planted.ran
