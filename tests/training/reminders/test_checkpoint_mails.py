"""Once a day the ledger that grew is signed, and its administrators keep the statement."""

from __future__ import annotations

import pytest
from django.core import mail
from django.db import transaction

from tests.support import cast
from tests.support.cast import Cast
from tests.support.reminding import at, sweep
from training.ledger.models import Checkpoint
from training.ledger.store import entries
from training.services.signing.seals import tree_of


@pytest.fixture
def committed(transactional_db: None) -> Cast:
    return cast.cast()


def test_the_ledger_is_signed_once_a_day_and_mailed(committed: Cast) -> None:
    tree = tree_of(committed.school)

    def seal(when: str) -> None:
        with transaction.atomic():
            entries.append(tree=tree, kind="lesson.signed", subject="s", body={"a": 1}, at=at(when))

    sweep("2026-04-18 14:00")
    assert mail.outbox == []
    seal("2026-04-18 15:00")
    for when in ("2026-04-18 15:01", "2026-04-18 15:02"):
        sweep(when)
    [first] = Checkpoint.objects.all()
    [sent] = mail.outbox
    assert sent.to == ["ada@lakeside.example"]
    assert sent.subject == "Ledger of Lakeside Flying: checkpoint of 18 April 2026"
    assert first.token in sent.body
    seal("2026-04-18 16:00")
    sweep("2026-04-18 16:01")
    sweep("2026-04-19 04:59")  # not midnight yet in Chicago
    assert Checkpoint.objects.count() == len(mail.outbox) == 1
    sweep("2026-04-19 05:00")
    sweep("2026-04-19 14:00")
    sweep("2026-04-20 14:00")  # it has not grown since
    assert list(Checkpoint.objects.values_list("size", flat=True)) == [1, 2]
    assert len(mail.outbox) == 2
