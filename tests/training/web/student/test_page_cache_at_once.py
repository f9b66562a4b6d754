"""A page is rendered while its student is erased, in two sessions: whichever ends first, no part is left."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import OperationalError, connection, connections, transaction

from tests.support import cast, factories
from tests.support.page_cache import cached
from training import models
from training.services.records import erasure, page_cache
from training.web.student.page_cache import PAGES

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgresql]
AFTER = dt.datetime(2040, 1, 1, tzinfo=dt.UTC)
PAGE = "standing"
Elsewhere = Callable[..., Any]


@pytest.fixture
def people(transactional_db: None) -> cast.Cast:
    return cast.cast()


@pytest.fixture
def elsewhere() -> Iterator[Elsewhere]:
    """Starts a call in another session of the database; ``result()`` waits for it."""
    with ThreadPoolExecutor(1) as pool:
        yield pool.submit
        pool.submit(connections.close_all)


def read(people: cast.Cast) -> models.Student:
    return models.Student.objects.select_related("school").get(pk=people.sam.pk)


def part(student: models.Student) -> str:
    return page_cache.part(student, PAGE, factories.NOON.date())


def erase(people: cast.Cast) -> None:
    erasure.erase(read(people), "asked for", by=people.ada, at=AFTER, via="test")


def test_the_erasure_comes_first(people: cast.Cast, elsewhere: Elsewhere) -> None:
    with transaction.atomic():
        erase(people)
        # The other session still sees the student, and does not wait to cache.
        assert elsewhere(lambda: part(read(people))).result(timeout=30)
        assert elsewhere(cached).result(timeout=30) == {}
    assert cached() == {}


def test_the_erasure_ends_while_the_page_is_rendered(
    people: cast.Cast, elsewhere: Elsewhere, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = PAGES[PAGE].make

    def make(student: models.Student, on: dt.date, variant: str) -> Any:
        made = real(student, on, variant)
        elsewhere(erase, people).result(timeout=30)
        return made

    monkeypatch.setitem(PAGES, PAGE, page_cache.Page(make))
    assert part(read(people))
    assert models.Student.objects.get(pk=people.sam.pk).erased_at == AFTER
    assert cached() == {}


def test_the_page_comes_first(people: cast.Cast, elsewhere: Elsewhere) -> None:
    def impatient() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '300ms'")
            with pytest.raises(OperationalError, match="lock timeout"):
                erase(people)
            cursor.execute("SET lock_timeout = 0")

    with transaction.atomic():
        part(read(people))
        assert list(cached()) == [f"{people.sam.pk}:{PAGE}:en:"]
        elsewhere(impatient).result(timeout=30)
        waiting = elsewhere(erase, people)
    waiting.result(timeout=30)
    assert cached() == {}


def test_a_page_of_what_was_never_committed_is_not_cached(people: cast.Cast, elsewhere: Elsewhere) -> None:
    with transaction.atomic():
        models.Student.objects.filter(pk=people.sam.pk).update(name="Sam Other")
        part(read(people))
        assert len(cached()) == 1
        transaction.set_rollback(True)
    assert cached() == elsewhere(cached).result(timeout=30) == {}


def test_a_page_that_another_transaction_overtook_is_not_cached(
    people: cast.Cast, elsewhere: Elsewhere
) -> None:
    before = read(people)
    elsewhere(models.Student.objects.filter(pk=people.sam.pk).update, name="Sam Other").result(timeout=30)
    part(before)
    assert cached() == {}
