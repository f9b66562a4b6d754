"""How an endorsement that was given here ends, and that nothing else changes what is sealed."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError, InternalError, connection, transaction

from syllabus.engine.record import document
from tests.support import factories
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.endorsements.test_endorsements import AT, given, ready
from training import models, record, reports
from training.ledger.models import Entry as Leaf
from training.services.endorsements import endorsements
from training.services.errors import Conflict
from training.services.records import records


@kept
def sam(people: Cast) -> models.Student:
    factories.attested(people.sam, document.parse(ready()), at=factories.NOON)
    return people.sam


def test_a_revoked_endorsement_holds_no_longer_and_stays_visible(people, sam):
    done = given(people)
    later = AT + dt.timedelta(days=8)  # 10 June
    ended = endorsements.revoke(
        done.endorsement, by=people.ida, reason="Two hard landings", at=later, via="test"
    )

    stands = models.Endorsement.objects.get(entry_id=done.endorsement.entry_id, retired_at__isnull=True)
    assert stands.expires == dt.date(2026, 6, 9)
    assert stands.conditions == "Revoked 2026-06-10: Two hard landings"
    assert stands.ended_by == ended
    done.endorsement.refresh_from_db()
    assert (done.endorsement.retired_at, done.endorsement.expires) == (later, None)
    rule = "faa.first-solo"
    assert reports.eligibility(people.sam, rule, dt.date(2026, 6, 9)).eligible is True
    assert reports.eligibility(people.sam, rule, dt.date(2026, 6, 10)).eligible is False
    before = later - dt.timedelta(minutes=1)
    assert reports.eligibility(people.sam, rule, dt.date(2026, 6, 10), known_at=before).eligible is True
    assert [leaf.kind for leaf in Leaf.objects.order_by("index")] == [
        "endorsement.given",
        "endorsement.revoked",
    ]
    [(row, seal, revocation)] = [
        each for each in endorsements.listed(people.sam) if each[0].entry_id == stands.entry_id
    ]
    assert (row, seal, revocation) == (stands, done.seal, ended)


def test_a_revocation_sent_again_is_the_same_and_another_is_a_conflict(people, sam):
    done = given(people)
    first = endorsements.revoke(done.endorsement, by=people.ida, reason="Hard landings", at=AT, via="test")
    again = endorsements.revoke(done.endorsement, by=people.ida, reason="Hard landings", at=AT, via="test")
    assert again == first
    with pytest.raises(Conflict):
        endorsements.revoke(done.endorsement, by=people.ida, reason="Another reason", at=AT, via="test")
    assert Leaf.objects.count() == 2


def test_a_revocation_says_why(people, sam):
    done = given(people)
    with pytest.raises(endorsements.EndorsementError):
        endorsements.revoke(done.endorsement, by=people.ida, reason="  ", at=AT, via="test")


# What is sealed stays


def replaced(people: Cast, at: dt.datetime = AT, **parts: Any) -> None:
    whole = records.export_document(people.sam, by=None, at=at, via="test")
    records.import_document(
        {**whole, **parts}, student=people.sam, by=people.ida, at=at, via="test", reason="from the logbook"
    )


def test_a_record_put_in_its_place_cannot_leave_out_or_change_a_sealed_endorsement(people, sam):
    done = given(people)
    whole = records.export_document(people.sam, by=None, at=AT, via="test")["endorsements"]
    changed = [{**each, "conditions": "none"} for each in whole]
    for other in ([], changed):
        with pytest.raises(record.SealedEntry, match=done.endorsement.entry_id):
            replaced(people, endorsements=other)
    replaced(people, tests=[])
    assert models.Endorsement.objects.filter(entry_id=done.endorsement.entry_id, retired_at=None).count() == 1


def refused(write: Any) -> None:
    with pytest.raises((IntegrityError, InternalError)) as wrong, transaction.atomic():
        write()
    assert "sealed" in str(wrong.value)


def test_the_database_refuses_to_change_or_delete_what_is_sealed(people, sam):
    done = given(people)
    row = models.Endorsement.objects.filter(pk=done.endorsement.pk)
    refused(lambda: row.update(conditions="none"))
    refused(lambda: row.update(expires=None, retired_at=AT))
    refused(lambda: row.update(retired_at=AT))
    refused(lambda: row.update(sealed=False))
    refused(lambda: row._raw_delete("default"))
    seal = models.EndorsementSeal.objects.filter(pk=done.seal.pk)
    refused(lambda: seal.update(judgement="none"))
    refused(lambda: seal._raw_delete("default"))

    ended = endorsements.revoke(done.endorsement, by=people.ida, reason="Hard landings", at=AT, via="test")
    refused(lambda: row.update(retired_at=None))
    refused(lambda: models.Revocation.objects.filter(pk=ended.pk).update(reason="none"))
    refused(lambda: models.Endorsement.objects.filter(ended_by=ended).update(expires=None))
    other = models.Endorsement.objects.get(student=people.sam, entry_id="e1")
    models.Endorsement.objects.filter(pk=other.pk).update(conditions="not sealed, and so not refused")


@pytest.mark.sqlite
def test_sqlite_does_not_let_a_sealed_row_be_replaced(people, sam):
    done = given(people)
    with connection.cursor() as cursor:
        refused(
            lambda: cursor.execute(
                "INSERT OR REPLACE INTO training_endorsement"
                " SELECT * FROM training_endorsement WHERE id = %s",
                [done.endorsement.pk],
            )
        )
