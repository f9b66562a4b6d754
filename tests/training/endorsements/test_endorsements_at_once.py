"""The same endorsement sent many times at once, and two different ones under one id."""

from __future__ import annotations

import datetime as dt
import threading
import uuid
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.db import connection, connections, transaction

from syllabus.engine.record import document
from tests.support import cast, factories
from tests.training.endorsements.test_endorsements import AT, SOLO, ready
from training import models
from training.ledger.models import Entry as Leaf
from training.services.endorsements import endorsements

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(calls: list[Callable[[], Any]]) -> list[Any]:
    """What each call gave or raised, all started at the same moment."""
    ready_to_go, found = threading.Barrier(len(calls)), [None] * len(calls)

    def run(number: int) -> None:
        try:
            ready_to_go.wait(timeout=30)
            found[number] = calls[number]()
        except Exception as failure:
            found[number] = failure
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=[number]) for number in range(len(calls))]
    for each in threads:
        each.start()
    for each in threads:
        each.join(timeout=60)
    return found


@pytest.fixture
def people(transactional_db: None) -> Iterator[cast.Cast]:
    made = cast.cast()
    factories.attested(made.sam, document.parse(ready()), at=factories.NOON)
    yield made
    # What is sealed may be deleted of a demo school alone, and on SQLite the runner deletes row by row.
    models.School.objects.update(is_demo=True)
    with transaction.atomic(), connection.cursor() as cursor:
        for model in (models.EndorsementSeal, models.Revocation, models.Endorsement):
            cursor.execute(f"DELETE FROM {model._meta.db_table}")


def giving(people: cast.Cast, entry: uuid.UUID, judgement: str = "") -> Callable[[], Any]:
    def call() -> Any:
        student = models.Student.objects.select_related("school").get(pk=people.sam.pk)
        return endorsements.give(
            student, entry, "solo-90-day", SOLO, by=people.ida, at=AT, via="test", judgement=judgement
        )

    return call


def test_twenty_at_once_are_one_row_one_seal_and_the_same_answer(people):
    entry = uuid.uuid4()
    answers = at_once([giving(people, entry)] * 20)

    assert [type(each) for each in answers] == [endorsements.Given] * 20
    assert {each.endorsement.pk for each in answers} == {answers[0].endorsement.pk}
    assert sum(each.created for each in answers) == 1
    assert models.Endorsement.objects.filter(entry_id=str(entry)).count() == 1
    assert models.EndorsementSeal.objects.count() == Leaf.objects.count() == 1


def test_two_different_ones_under_one_id_are_one_and_a_conflict(people):
    entry = uuid.uuid4()
    answers = at_once([giving(people, entry, "one"), giving(people, entry, "two")])

    assert sorted(type(each).__name__ for each in answers) == ["Conflict", "Given"]
    assert Leaf.objects.count() == 1


def test_one_revoked_by_many_at_once_is_revoked_once(people):
    done = giving(people, uuid.uuid4())()
    later = AT + dt.timedelta(days=3)

    def revoke() -> models.Revocation:
        row = models.Endorsement.objects.get(pk=done.endorsement.pk)
        return endorsements.revoke(row, by=people.ida, reason="Hard landings", at=later, via="test")

    answers = at_once([revoke] * 8)
    assert {each.pk for each in answers} == {models.Revocation.objects.get().pk}
    assert models.Endorsement.objects.filter(entry_id=done.endorsement.entry_id).count() == 2
    assert Leaf.objects.count() == 2
