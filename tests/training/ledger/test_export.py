"""A record that was taken away: whole as it is, and every change in it found without this server."""

import base64
import copy
import datetime
import json
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from tests.support.extent import sampled
from tests.support.ledgers import NOON, TREE, body_of, sealed_in_database, subject_of
from tests.support.lifting import lifted
from training.ledger import models
from training.ledger.core import sealed, statements
from training.ledger.store import checkpoints, entries, keys, proving
from training.ledger.store.export import export
from training.ledger.verify import command

COUNT = 40
LATER = NOON + datetime.timedelta(days=1)
ME = "student-3"
MINE = [number for number in range(COUNT) if subject_of(number) == ME]


@pytest.fixture
def earlier(db: None) -> models.Checkpoint:
    """Forty entries; the checkpoint is over the first twelve."""
    sealed_in_database(12)
    checkpoint = checkpoints.issue(TREE, at=NOON)
    sealed_in_database(COUNT - 12, first=12)
    return checkpoint


@pytest.fixture
def mine(earlier: models.Checkpoint) -> dict[str, Any]:
    """One student's entries, with proof that nothing before the earlier checkpoint was changed."""
    document: dict[str, Any] = json.loads(
        json.dumps(export(TREE, subjects=[ME], earlier=[earlier], at=LATER))
    )
    return document


def places(document: Any, **how: Any) -> list[str]:
    return [fault.place for fault in command.check(document, **how).faults]


def test_a_students_entries_are_proved(mine: dict[str, Any], earlier: models.Checkpoint) -> None:
    verdict = command.check(mine)
    assert verdict.faults == []
    assert [entry["index"] for entry in mine["entries"]] == MINE
    assert [json.loads(entry["body"]) for entry in mine["entries"]] == [body_of(number) for number in MINE]
    assert verdict.checkpoint is not None
    assert (verdict.entries, verdict.checkpoint["size"]) == (len(MINE), COUNT)
    assert [said["size"] for said in verdict.earlier] == [12]
    assert command.check(mine, trusted=[keys.signer().kid], against=earlier.token).faults == []


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.django_db
@pytest.mark.parametrize("count", [1, 2, 3, 7, 8, 9, 33])
def test_a_ledger_of_any_size_is_exported_whole(count: int) -> None:
    sealed_in_database(count)
    document = export(TREE, at=NOON)
    assert [entry["index"] for entry in document["entries"]] == list(range(count))
    assert command.check(document).faults == []
    chosen = export(TREE, indices=[count - 1, 0, 0], at=NOON)
    assert [entry["index"] for entry in chosen["entries"]] == sorted({0, count - 1})
    assert command.check(chosen).faults == []


@pytest.mark.django_db
def test_a_student_without_entries_gets_a_document_that_says_so() -> None:
    sealed_in_database(2)
    document = export(TREE, subjects=["nobody"], at=NOON)
    verdict = command.check(document)
    assert (verdict.faults, verdict.entries) == ([], 0)


@pytest.mark.django_db
def test_what_cannot_be_exported_is_named() -> None:
    sealed_in_database(3)
    with pytest.raises(ValueError, match=r"has no entry 3: it has 3, counted from 0"):
        export(TREE, indices=[1, 3], at=NOON)
    with pytest.raises(ValueError, match="not by both"):
        export(TREE, indices=[1], subjects=[ME], at=NOON)
    with pytest.raises(models.Head.DoesNotExist):
        export("other", at=NOON)


@pytest.mark.django_db
def test_what_is_sealed_while_an_export_is_made_waits_for_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    sealed_in_database(3)
    issue = checkpoints.issue

    def issue_and_seal(*args: Any, **how: Any) -> models.Checkpoint:
        checkpoint = issue(*args, **how)
        sealed_in_database(2, first=3)
        return checkpoint

    monkeypatch.setattr(checkpoints, "issue", issue_and_seal)
    document = export(TREE, at=NOON)
    assert [entry["index"] for entry in document["entries"]] == [0, 1, 2]
    assert command.check(document).faults == []


def test_an_export_needs_a_few_queries_however_many_entries(earlier: models.Checkpoint) -> None:
    with CaptureQueriesContext(connection) as few:
        export(TREE, subjects=[ME], at=LATER)
    with CaptureQueriesContext(connection) as many:
        export(TREE, at=LATER)
    assert len(many) <= len(few) + 2  # a level more of the tree may be needed


def test_a_missing_node_is_named_with_the_way_out(earlier: models.Checkpoint) -> None:
    with lifted(), connection.cursor() as cursor:
        cursor.execute('DELETE FROM ledger_node WHERE level = 3 AND "index" = 0')
    with pytest.raises(proving.MissingHash, match=r"level 3, index 0: .* manage.py verify_ledger --tree"):
        export(TREE, at=LATER)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_every_changed_byte_of_the_file_is_found(earlier: models.Checkpoint) -> None:
    """A byte of a whole export at a time: it is no JSON any more, or there is a fault."""
    document = export(TREE, indices=[0, 17, 39], earlier=[earlier], at=LATER)
    text = json.dumps(document, separators=(",", ":")).encode()
    assert command.check(sealed.strict_json(text)).faults == []
    for at in sampled(range(len(text)), 5):
        for flip in (1, 0x20):
            changed = bytearray(text)
            changed[at] ^= flip
            try:
                now = sealed.strict_json(bytes(changed))
            except ValueError:
                continue
            # A letter of an escape (\u00e9) in the other case is the same text, and no change of it.
            if now != document:
                assert command.check(now).faults, (at, flip, text[at - 20 : at + 20])


Change = Callable[[dict[str, Any]], object]


def other_key(document: dict[str, Any]) -> None:
    """Everything signed anew by a forger, with the forger's key in the list."""
    forger = keys._signer(base64.b64encode(b"f" * 32).decode(), "test")
    document["keys"] = [statements.as_jwk(forger.kid, forger.public)]
    for holder, name in (
        (document, "checkpoint"),
        (document, "contents"),
        (document["earlier"][0], "checkpoint"),
    ):
        payload = statements.from_base64url(holder[name].split(".")[1], "payload")
        holder[name] = forger.sign(payload)


def contents_by_another(document: dict[str, Any]) -> None:
    """The holder of another key in the list says what the ledger's holder has of the student."""
    other = keys._signer(base64.b64encode(b"f" * 32).decode(), "test")
    document["keys"] = sorted(
        [*document["keys"], statements.as_jwk(other.kid, other.public)], key=lambda each: each["kid"]
    )
    said = statements.from_base64url(document["contents"].split(".")[1], "payload")
    document["contents"] = other.sign(said)


def cut_body(document: dict[str, Any]) -> None:
    document["entries"][1]["body"] = document["entries"][1]["salt"] = None


CHANGES = [
    pytest.param(contents_by_another, ["contents"], id="a list of contents that another key signed"),
    pytest.param(lambda d: d["entries"].pop(0), ["entry 3"], id="an entry left out at the start"),
    pytest.param(lambda d: d["entries"].pop(2), ["entry 17"], id="an entry left out in the middle"),
    pytest.param(lambda d: d["entries"].pop(), ["entry 38"], id="an entry left out at the end"),
    pytest.param(
        lambda d: d["entries"].clear(), [f"entry {number}" for number in MINE], id="all entries left out"
    ),
    pytest.param(lambda d: d["entries"].reverse(), ["(entry 31)"], id="the order changed"),
    pytest.param(
        lambda d: d["entries"].insert(0, copy.deepcopy(d["entries"][4])),
        ["entries[5] (entry 31)"],
        id="twice",
    ),
    pytest.param(
        lambda d: d["entries"][0].update(proof=d["entries"][1]["proof"]),
        ["entries[0] (entry 3)"],
        id="another proof",
    ),
    pytest.param(lambda d: d["entries"][0]["proof"].pop(), ["entries[0] (entry 3)"], id="a proof cut short"),
    pytest.param(
        lambda d: d["entries"][0]["proof"].append("00" * 32), ["entries[0] (entry 3)"], id="a proof too long"
    ),
    pytest.param(
        lambda d: d["entries"][0].update(body=d["entries"][1]["body"], salt=d["entries"][1]["salt"]),
        ["entries[0] (entry 3)"],
        id="the body of another entry",
    ),
    pytest.param(
        lambda d: d["entries"][0].update(index=4),
        ["entries[0] (entry 4)", "entry 3"],
        id="another index",
    ),
    pytest.param(
        lambda d: d["entries"][0].update(index=10**20), ["(entry 100000000000000000000)"], id="far off"
    ),
    pytest.param(lambda d: d["entries"][0].update(index=-1), ["entries[0].index"], id="an index below 0"),
    pytest.param(lambda d: d["entries"][0].update(index=True), ["entries[0].index"], id="no index"),
    pytest.param(lambda d: d["entries"][0].update(kind=None), ["entries[0] (entry 3).kind"], id="no kind"),
    pytest.param(lambda d: d["entries"][0].update(kind="\ud800"), ["(entry 3)"], id="half a character"),
    pytest.param(
        lambda d: d["entries"][0].update(body="\ud800"), ["(entry 3)"], id="half a character in a body"
    ),
    pytest.param(lambda d: d["entries"][0].update(salt="00"), ["entries[0] (entry 3)"], id="a short salt"),
    pytest.param(lambda d: d["entries"][0].update(more=1), ["entries[0]"], id="a field more"),
    pytest.param(lambda d: d["entries"][0].pop("at"), ["entries[0]"], id="a field less"),
    pytest.param(lambda d: d["entries"].__setitem__(0, 1), ["entries[0]"], id="no entry at all"),
    pytest.param(cut_body, ["entries[1] (entry 10)"], id="a body taken out"),
    pytest.param(lambda d: d["entries"][1].update(salt=None), ["entries[1] (entry 10)"], id="half a body"),
    pytest.param(lambda d: d.update(tree="other"), ["checkpoint", "contents"], id="another ledger's name"),
    pytest.param(lambda d: d.update(keys=[]), ["checkpoint"], id="no keys"),
    pytest.param(lambda d: d.update(keys=7), ["keys"], id="keys that are none"),
    pytest.param(lambda d: d["keys"][0].update(x="AA"), ["keys[0].x"], id="a key cut short"),
    pytest.param(
        lambda d: d["keys"][0].update(x=statements.to_base64url(b"y" * 32)), ["keys[0].kid"], id="another key"
    ),
    pytest.param(lambda d: d["keys"][0].update(crv="X25519"), ["keys[0]"], id="another kind of key"),
    pytest.param(lambda d: d["keys"].append(1), ["keys[1]"], id="no key"),
    pytest.param(
        lambda d: d.update(checkpoint=d["contents"]), ["checkpoint"], id="contents for a checkpoint"
    ),
    pytest.param(lambda d: d.update(contents=d["checkpoint"]), ["contents"], id="a checkpoint for contents"),
    pytest.param(
        lambda d: d.update(checkpoint=d["earlier"][0]["checkpoint"]),
        ["contents", "(entry 3)", "(entry 38)", "earlier[0].consistency"],
        id="an older checkpoint",
    ),
    pytest.param(
        lambda d: d["earlier"][0]["consistency"].pop(), ["earlier[0].consistency"], id="one step less"
    ),
    pytest.param(
        lambda d: d["earlier"][0].update(checkpoint=d["checkpoint"]),
        ["earlier[0].consistency"],
        id="not earlier",
    ),
    pytest.param(lambda d: d["earlier"][0].pop("consistency"), ["earlier[0]"], id="no consistency"),
    pytest.param(lambda d: d.update(earlier={}), ["earlier"], id="no list of earlier ones"),
    pytest.param(lambda d: d.update(entries={}), ["entries"], id="no list of entries"),
    pytest.param(lambda d: d.update(format="ledger-export/2"), ["file"], id="another format"),
    pytest.param(lambda d: d.pop("earlier"), ["file"], id="a part less"),
    pytest.param(lambda d: d.update(note="trust me"), ["file"], id="a part more"),
]


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(("change", "found"), CHANGES)
def test_a_change_is_found_at_its_place(mine: dict[str, Any], change: Change, found: list[str]) -> None:
    change(mine)
    named = places(mine)
    for place in found:
        assert any(place in one for one in named), (place, named)


@pytest.mark.parametrize("document", [None, [], "x", 7, {}, {"format": "ledger-export/1"}])
def test_what_is_no_export_is_said_to_be_none(document: Any) -> None:
    assert places(document) == ["file"]


def test_a_forgery_that_fits_itself_is_whole_only_to_who_trusts_its_key(mine: dict[str, Any]) -> None:
    other_key(mine)
    verdict = command.check(mine)
    assert verdict.whole
    assert any(
        line.startswith("CAUTION: the key came with this file") for line in command.report(verdict, [])
    )
    assert places(mine, trusted=[keys.signer().kid]) == ["keys"]


def test_a_foreign_entry_put_in_is_found(mine: dict[str, Any]) -> None:
    """One of another student of the same school, with a proof that holds."""
    foreign = json.loads(json.dumps(export(TREE, indices=[4], at=LATER)))["entries"][0]
    mine["entries"].insert(1, foreign)
    assert places(mine) == ["entries[1] (entry 4)", "entries[1] (entry 4)"]
    assert "it was added" in command.check(mine).faults[0].says


def test_an_entry_of_another_school_in_the_same_place_is_found(mine: dict[str, Any]) -> None:
    sealed_in_database(COUNT, tree="other")
    foreign = json.loads(json.dumps(export("other", indices=[3], at=LATER)))["entries"][0]
    mine["entries"][0] = foreign
    assert places(mine) == ["entries[0] (entry 3)"]


def test_a_list_of_contents_from_another_export_is_found(mine: dict[str, Any]) -> None:
    other = export(TREE, subjects=["student-4"], at=LATER)
    mine["contents"] = other["contents"]
    assert len(places(mine)) == len(MINE) * 2 + len(other["entries"])


@pytest.mark.parametrize(
    ("size", "says"),
    [
        pytest.param(12, None, id="an older one that the file leads on from"),
        pytest.param(COUNT, None, id="the very same"),
        pytest.param(20, "nothing in the file leads from its 20 entries", id="an older one that it does not"),
        pytest.param(COUNT + 1, "it is older, or the end was cut off", id="a newer one"),
    ],
)
def test_a_checkpoint_that_the_reader_held(
    earlier: models.Checkpoint, mine: dict[str, Any], size: int, says: str | None
) -> None:
    signer = keys.signer()
    sealed_in_database(1, first=COUNT)
    root = checkpoints.issue(TREE, at=LATER).root if size > COUNT else models.Node.objects.earliest("pk").hash
    for known in (earlier, checkpoints.models.Checkpoint.objects.get(size=COUNT)):
        root = known.root if known.size == size else root
    held = signer.sign(
        sealed.checkpoint_statement(tree=TREE, size=size, root=root, at=sealed.instant_text(NOON))
    )
    found = command.check(mine, against=held).faults
    assert [says in fault.says for fault in found] == ([True] if says else [])


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize("size", [12, COUNT])
def test_a_held_checkpoint_with_another_root_shows_a_rewritten_ledger(
    mine: dict[str, Any], size: int
) -> None:
    held = keys.signer().sign(
        sealed.checkpoint_statement(tree=TREE, size=size, root="ab" * 32, at=sealed.instant_text(NOON))
    )
    [fault] = command.check(mine, against=held).faults
    assert fault.place == "the checkpoint you held"
    assert "the ledger was rewritten" in fault.says


def test_an_erased_body_keeps_its_proof_and_is_reported_as_erased(mine: dict[str, Any]) -> None:
    with transaction.atomic():
        entries.append(
            tree=TREE,
            kind=sealed.ERASURE,
            subject=ME,
            body={"erases": 10, "reason": "asked for by the student under the law"},
            at=LATER,
        )
    with lifted():
        models.EntryBody.objects.filter(entry__index=10).delete()
    document = json.loads(json.dumps(export(TREE, subjects=[ME], at=LATER)))
    verdict = command.check(document)
    assert (verdict.faults, verdict.erased) == ([], [10])
    assert "Erased (their proofs hold, what they said is gone): 10." in command.report(verdict, [])
    old = next(entry for entry in mine["entries"] if entry["index"] == 10)
    new = next(entry for entry in document["entries"] if entry["index"] == 10)
    new.update(body=old["body"], salt=old["salt"])
    assert "has it as erased" in command.check(document).faults[0].says
