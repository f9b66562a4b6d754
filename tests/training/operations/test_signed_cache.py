"""The cache in the database keeps to Django's contract, and unpickles nothing."""

import datetime as dt

import pytest
import time_machine
from django.db import connection

from tests.support.pickled import PICKLED, Planted
from training.services.records.page_cache import TABLE
from training.services.signed_cache import SignedCache

NOW = dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def cache() -> SignedCache:
    return SignedCache(TABLE, {})


def test_a_value_expires_and_its_time_can_be_extended(cache: SignedCache) -> None:
    with time_machine.travel(NOW, tick=False) as clock:
        cache.set("a", [1.5, "two", None], 60)
        cache.set("b", 1, None)
        clock.shift(59)
        assert cache.get("a") == [1.5, "two", None]
        assert cache.touch("a", 60)
        clock.shift(59)
        assert cache.get_many(["a", "b", "c"]) == {"a": [1.5, "two", None], "b": 1}
        clock.shift(1)
        assert cache.get("a") is None
        assert not cache.touch("a", 60)
        clock.shift(dt.timedelta(days=3_000))
        assert cache.get("b") == 1


def test_a_key_is_added_once_until_it_expires(cache: SignedCache) -> None:
    with time_machine.travel(NOW, tick=False) as clock:
        assert cache.add("a", "first", 60)
        assert not cache.add("a", "second", 60)
        assert cache.get("a") == "first"
        clock.shift(60)
        assert cache.add("a", "third", 60)
        assert cache.get("a") == "third"
        assert cache.add("n", 3)
        assert cache.incr("n", 2) == 5
        assert cache.delete("a")
        assert cache.get("a", "none") == "none"


@pytest.mark.parametrize("made", [PICKLED, "nonsense"], ids=["a pickle", "nonsense"])
def test_what_was_written_past_it_counts_as_absent(cache: SignedCache, made: str) -> None:
    cache.set("a", 1)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE {TABLE} SET value = %s", [made])
    assert cache.get("a") is None
    assert not Planted.ran
