"""Sealing an entry: inside a transaction, in order, at the same cost at any size, or not at all."""

import datetime
import decimal
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from tests.support.ledgers import NOON, TREE, sealed_in_database
from training.ledger import models
from training.ledger.core import checking, sealed
from training.ledger.store import audit, entries
from training.ledger.store.entries import LedgerError, append


def whole(tree: str = TREE) -> checking.Tally:
    """The ledger's figures, having checked that it is whole."""
    tally = checking.Tally()
    assert list(audit.tree_faults(tree, tally)) == []
    return tally


def one_more(**changed: Any) -> models.Entry:
    given: dict[str, Any] = {
        "tree": TREE,
        "kind": "lesson.signed",
        "subject": "student-1",
        "body": {"grade": 3},
        "at": NOON,
    }
    return append(**{**given, **changed})


@pytest.mark.django_db
def test_entries_are_numbered_from_0_and_read_back_as_they_were_given() -> None:
    body = {"b": [1, "två", None, True, {"x": -5}], "a": "é\u2028\x00"}
    first, second = one_more(body=body), one_more(body={})
    assert (first.index, second.index) == (0, 1)
    assert models.Entry.objects.get(pk=first.pk).kept.value == body
    assert models.Entry.objects.get(pk=first.pk).instant == NOON
    assert whole().entries == 2


@pytest.mark.django_db
def test_each_tree_counts_for_itself() -> None:
    indices = [one_more(tree=tree).index for tree in ("a", "b", "a", "a", "b")]
    assert indices == [0, 0, 1, 2, 1]
    assert (whole("a").entries, whole("b").entries) == (3, 2)


@pytest.mark.django_db
def test_the_same_body_twice_cannot_be_told_from_its_commitment() -> None:
    assert one_more().commitment != one_more().commitment


@pytest.mark.django_db(transaction=True)
def test_outside_a_transaction_nothing_is_sealed() -> None:
    with pytest.raises(LedgerError, match="outside a transaction"):
        one_more()
    assert not models.Head.objects.exists()


class Cancelled(Exception):
    pass


def cancelled() -> None:
    with transaction.atomic():
        one_more(body={"gone": 1})
        raise Cancelled


@pytest.mark.django_db(transaction=True)
def test_what_is_rolled_back_leaves_no_trace() -> None:
    with pytest.raises(Cancelled):
        cancelled()
    assert [model.objects.count() for model in (models.Head, models.Entry, models.EntryBody)] == [0, 0, 0]
    with transaction.atomic():
        one_more(body={"kept": 1})
        with pytest.raises(Cancelled):
            cancelled()
        one_more(body={"kept": 2})
    kept = models.EntryBody.objects.order_by("entry__index")
    assert [row.value for row in kept] == [{"kept": 1}, {"kept": 2}]
    assert whole().entries == 2


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changed", "says"),
    [
        pytest.param(
            {"body": {"items": [{"altitude": 1.5}]}},
            r"^body\.items\[0\]\.altitude: 1\.5 is a floating-point number; seal whole numbers",
            id="a fraction, named by its place",
        ),
        pytest.param({"body": {"a": float("nan")}}, r"^body\.a: nan is a floating", id="not a number"),
        pytest.param({"body": {"a": 2.0}}, r"^body\.a: 2\.0 is a floating", id="a float that is whole"),
        pytest.param(
            {"body": {"a": decimal.Decimal(1)}}, r"^body\.a: a Decimal has no one spelling", id="a decimal"
        ),
        pytest.param({"body": {"a": NOON}}, r"^body\.a: a datetime has no one spelling", id="an instant"),
        pytest.param({"body": {"a": b"x"}}, r"^body\.a: a bytes has no one spelling", id="bytes"),
        pytest.param(
            {"body": {"a": {1: 2}}}, r"^body\.a: the key 1 is not a text", id="a key that is no text"
        ),
        pytest.param({"body": {"a": 2**53}}, r"^body\.a: 9007199254740992 is beyond", id="too large"),
        pytest.param({"body": {"a": -(2**53)}}, r"^body\.a: -9007199254740992 is beyond", id="too small"),
        pytest.param(
            {"body": {"a": "\ud800"}}, r"^body\.a: holds half of a character", id="half a character"
        ),
        pytest.param({"body": {"\udfff": 1}}, "half of a character", id="half a character in a key"),
        pytest.param({"body": [1]}, r"^body: is a list; an object", id="a list"),
        pytest.param({"tree": ""}, r"^tree: '' is given", id="no tree"),
        pytest.param({"kind": None}, r"^kind: None is given", id="no kind"),
        pytest.param({"subject": 7}, r"^subject: 7 is given", id="a number for a subject"),
        pytest.param({"subject": "s" * 201}, r"^subject: has 201 characters, at most 200", id="too long"),
        pytest.param({"subject": "a\x00b"}, r"^subject: .* cannot be printed", id="a zero byte"),
        pytest.param({"tree": "\ud800"}, r"^tree: .* cannot be printed", id="half a character in a word"),
        pytest.param({"at": datetime.datetime(2026, 1, 1)}, r"^at: .* has no time zone", id="no zone"),  # noqa: DTZ001
        pytest.param({"at": "2026-01-01"}, r"^at: ", id="a text for an instant"),
        pytest.param({"kind": "ledger.other"}, r"^kind: 'ledger.other' begins with", id="the ledger's own"),
        pytest.param(
            {"kind": sealed.ERASURE, "body": {"erases": 0, "reason": " "}}, "the reason", id="no reason"
        ),
        pytest.param(
            {"kind": sealed.ERASURE, "body": {"erases": "0", "reason": "r"}},
            "'0' is not an index",
            id="no index",
        ),
        pytest.param(
            {"kind": sealed.ERASURE, "body": {"erases": 1, "reason": "r"}},
            r"^body.erases: .* has 1 entries, the last is 0; there is no entry 1",
            id="an erasure of what is not there",
        ),
    ],
)
def test_what_cannot_be_sealed_is_refused_by_its_place_and_leaves_no_trace(
    changed: dict[str, Any], says: str
) -> None:
    one_more()
    with pytest.raises(LedgerError, match=says):
        one_more(**changed)
    assert whole().entries == 1


def nested(depth: int) -> Any:
    return {"in": nested(depth - 1)} if depth else 1


@pytest.mark.django_db
def test_a_body_is_nested_so_deep_and_no_deeper() -> None:
    one_more(body=nested(entries.NESTED_AT_MOST))
    with pytest.raises(LedgerError, match="nested more than 32 deep"):
        one_more(body=nested(entries.NESTED_AT_MOST + 1))
    assert whole().entries == 1


@pytest.mark.django_db
def test_an_append_costs_the_same_at_any_size() -> None:
    """Statements, and rows read and written: five at most, one inner node to each entry on average."""
    sealed_in_database(1)
    for size in (1, 2, 3, 7, 100, 255, 256, 511):
        sealed_in_database(size - models.Head.objects.get(tree=TREE).size, first=1)
        with CaptureQueriesContext(
            connection,
        ) as captured:
            one_more()
        statements = [query["sql"].split()[0] for query in captured if "SAVEPOINT" not in query["sql"]]
        # An entry at an even place completes no subtree, so it writes no node; PostgreSQL gets the nodes by
        # the message that holds the entry.
        apart = size % 2 if connection.vendor == "sqlite" else 0
        assert statements == ["SELECT", *["INSERT"] * (2 + apart), "UPDATE"], size
    tally = whole()
    assert (tally.entries, tally.nodes) == (512, 511)
    assert models.Node.objects.count() == 511
