"""``manage.py verify_ledger`` on real rows: changed, deleted and put in with the triggers lifted."""

import re
import threading
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from tests.support.ledgers import NOON, TREE, grown, sealed_in_database
from tests.support.lifting import lifted
from training.ledger import models
from training.ledger.core import sealed
from training.ledger.store import audit, checkpoints, entries

COUNT = 70


def verified(**options: object) -> tuple[int, str]:
    """The exit code and what was printed."""
    out = StringIO()
    try:
        call_command("verify_ledger", stdout=out, **options)
    except SystemExit as ended:
        return int(str(ended.code)), out.getvalue()
    return 0, out.getvalue()


@pytest.fixture
def signed(db: None) -> None:
    """Seventy entries, signed at forty and at seventy."""
    sealed_in_database(40)
    checkpoints.issue(TREE, at=NOON)
    sealed_in_database(30, first=40)
    checkpoints.issue(TREE, at=NOON)


@pytest.mark.django_db
def test_nothing_sealed_is_no_fault() -> None:
    assert verified() == (0, "No signed entries yet.\nWHOLE\n")


@pytest.mark.usefixtures("signed")
def test_a_whole_ledger_is_said_to_be_whole_with_its_figures() -> None:
    sealed_in_database(3, tree="another")
    code, said = verified()
    assert code == 0
    assert re.search(
        rf"ledger {TREE}: 70 entries \(0 erased\), 67 nodes, 2 checkpoints in .* s .*: whole", said
    )
    assert "ledger another: 3 entries" in said
    assert said.endswith("WHOLE\n")
    assert "another" not in verified(tree=TREE)[1]


CHANGES = [
    ("UPDATE ledger_entry SET kind = 'lesson.signee' WHERE \"index\" = 3", "entry 3"),
    ("UPDATE ledger_entry SET subject = 'student-9' WHERE \"index\" = 69", "entry 69"),
    ("UPDATE ledger_entry SET at = '2026-11-25T12:00:00.000001Z' WHERE \"index\" = 0", "entry 0"),
    ('UPDATE ledger_entry SET commitment = leaf WHERE "index" = 4', "entry 4"),
    ('UPDATE ledger_entry SET leaf = commitment WHERE "index" = 5', "entry 5"),
    ("UPDATE ledger_entrybody SET body = replace(body, '0', '1')", "entry 10"),
    ("UPDATE ledger_entrybody SET salt = substr(salt, 2) || substr(salt, 1, 1)", "entry 12"),
    (
        "UPDATE ledger_node SET hash = substr(hash, 2) || substr(hash, 1, 1) WHERE level = 2",
        "node over entries 4 to 7",
    ),
    ('DELETE FROM ledger_node WHERE level = 5 AND "index" = 1', "node over entries 32 to 63"),
    ('UPDATE ledger_node SET "index" = 99 WHERE level = 5 AND "index" = 1', "node of level 5, index 99"),
    ("UPDATE ledger_head SET size = 69", "entry 69"),
    ("UPDATE ledger_head SET root = '00' ", "head"),
    ("UPDATE ledger_head SET peaks = ''", "head"),
    ("DELETE FROM ledger_head", "head"),
    ("DELETE FROM ledger_entrybody WHERE salt LIKE '%'", "entry 33"),
    ("UPDATE ledger_checkpoint SET size = 41 WHERE size = 40", "at 41 entries"),
    ("UPDATE ledger_checkpoint SET token = replace(token, 'A', 'B')", "at 70 entries"),
    ("DELETE FROM ledger_ledgerkey", "at 40 entries"),
    ("UPDATE ledger_entry SET tree = 'another' WHERE \"index\" = 8", "entry 8"),
    (
        "UPDATE ledger_entrybody SET body = '{\"grade\":4}' WHERE entry_id ="
        ' (SELECT id FROM ledger_entry WHERE "index" = 20)',
        "entry 20",
    ),
]


@pytest.mark.usefixtures("signed")
@pytest.mark.parametrize(("statement", "named"), CHANGES, ids=[statement for statement, _ in CHANGES])
def test_a_change_in_the_database_is_found_and_named(statement: str, named: str) -> None:
    with lifted(), connection.cursor() as cursor:
        cursor.execute(statement)
    code, said = verified()
    assert code == 1
    assert re.search(rf"^ERROR .*{named}[^0-9]", said, re.M), said


@pytest.mark.usefixtures("signed")
def test_every_deleted_entry_is_found_in_the_database() -> None:
    for index in range(0, COUNT, 9):
        point = transaction.savepoint()
        entry = models.Entry.objects.get(index=index)
        with lifted(), connection.cursor() as cursor:
            cursor.execute("DELETE FROM ledger_entrybody WHERE entry_id = %s", [entry.pk])
            cursor.execute("DELETE FROM ledger_entry WHERE id = %s", [entry.pk])
        code, said = verified()
        assert (code, f"ERROR ledger {TREE}: entry {index}: missing" in said) == (1, True)
        transaction.savepoint_rollback(point)
    assert verified()[0] == 0


@pytest.mark.usefixtures("signed")
def test_two_swapped_entries_are_found_in_the_database() -> None:
    with lifted(), connection.cursor() as cursor:
        for was, becomes in ((8, -1), (9, 8), (-1, 9)):
            cursor.execute('UPDATE ledger_entry SET "index" = %s WHERE "index" = %s', [becomes, was])
    code, said = verified()
    assert code == 1
    assert "entry 8:" in said
    assert "entry 9:" in said


@pytest.mark.usefixtures("signed")
def test_an_end_cut_off_from_every_table_is_found_by_the_checkpoint_that_was_left(tmp_path: Path) -> None:
    """And where the checkpoint was deleted as well, by the copy of it that someone kept."""
    kept = tmp_path / "checkpoint.jws"
    kept.write_text(checkpoints.newest(TREE).token)  # type: ignore[union-attr]
    with lifted(), connection.cursor() as cursor:
        cursor.execute(
            'DELETE FROM ledger_entrybody WHERE entry_id IN (SELECT id FROM ledger_entry WHERE "index" > 39)'
        )
        cursor.execute('DELETE FROM ledger_entry WHERE "index" > 39')
        cursor.execute('DELETE FROM ledger_node WHERE (("index" + 1) << level) > 40')
        head = grown(list(audit.entry_rows(TREE)))[1][40]
        cursor.execute(
            "UPDATE ledger_head SET size = 40, root = %s, peaks = %s WHERE tree = %s",
            [head.root, head.peaks, TREE],
        )
    code, said = verified(tree=TREE)
    assert code == 1
    assert "at 70 entries: was signed over 70 entries, but there are only 40" in said
    assert said.count("ERROR") == 1

    with lifted(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM ledger_checkpoint WHERE size = 70")
    assert verified(tree=TREE)[0] == 0
    code, said = verified(tree=TREE, against=[kept])
    assert code == 1
    assert f"checkpoint in {kept}: was signed over 70 entries, but there are only 40" in said


@pytest.mark.usefixtures("signed")
def test_a_whole_ledger_that_was_deleted_is_missed(tmp_path: Path) -> None:
    kept = tmp_path / "checkpoint.jws"
    kept.write_text(checkpoints.newest(TREE).token)  # type: ignore[union-attr]
    with lifted(), connection.cursor() as cursor:
        for table in ("entrybody", "entry", "node", "head"):
            cursor.execute(f"DELETE FROM ledger_{table}")
    assert verified()[0] == 1
    with lifted(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM ledger_checkpoint")
    assert verified()[0] == 0
    assert verified(against=[kept])[0] == 1


@pytest.mark.usefixtures("signed")
def test_an_erased_body_is_counted_and_no_fault() -> None:
    with transaction.atomic():
        entries.append(
            tree=TREE,
            kind=sealed.ERASURE,
            subject="student-5",
            body={"erases": 5, "reason": "asked for by the student under the law"},
            at=NOON,
        )
    with lifted():
        models.EntryBody.objects.filter(entry__index=5).delete()
    code, said = verified()
    assert code == 0
    assert "71 entries (1 erased)" in said


@pytest.mark.usefixtures("signed")
@pytest.mark.parametrize(
    ("text", "says"),
    [
        pytest.param("", "holds no checkpoint", id="an empty file"),
        pytest.param("a.b.c", "its header is not base64url", id="no signature at all"),
        pytest.param("{", "Expecting property name", id="JSON cut short"),
        pytest.param('{"checkpoint": 1}', "holds no checkpoint", id="another JSON"),
        pytest.param(None, "No such file", id="no file"),
    ],
)
def test_a_file_without_checkpoint_is_refused(tmp_path: Path, text: str | None, says: str) -> None:
    path = tmp_path / "kept"
    if text is not None:
        path.write_text(text)
    with pytest.raises(CommandError, match=says):
        verified(against=[path])


@pytest.mark.usefixtures("signed")
def test_a_ledger_that_is_not_there_is_named() -> None:
    with pytest.raises(CommandError, match=f"No ledger other. Known ledgers: {TREE}"):
        verified(tree="other")


@pytest.mark.usefixtures("signed")
def test_a_checkpoint_of_another_ledger_is_not_passed_over(tmp_path: Path) -> None:
    sealed_in_database(1, tree="other")
    kept = tmp_path / "checkpoint.jws"
    kept.write_text(checkpoints.issue("other", at=NOON).token)
    with pytest.raises(CommandError, match="belongs to the ledger other"):
        verified(tree=TREE, against=[kept])


@pytest.mark.django_db(transaction=True)
def test_a_check_sees_one_moment_and_holds_nobody_up() -> None:
    """While one connection checks, another goes on sealing (on SQLite too: the check takes no write lock)."""
    sealed_in_database(5)
    failed: list[BaseException] = []

    def seal() -> None:
        try:
            sealed_in_database(5, first=5)
        except BaseException as fault:
            failed.append(fault)
        finally:
            connection.close()

    with audit.snapshot():
        before = models.Head.objects.get(tree=TREE).size
        other = threading.Thread(target=seal)
        other.start()
        other.join(15)
        assert not other.is_alive()
        assert (before, sum(1 for _ in audit.entry_rows(TREE))) == (5, 5)
    assert failed == []
    assert models.Head.objects.get(tree=TREE).size == 10
    assert verified()[0] == 0


@pytest.mark.sqlite
@pytest.mark.usefixtures("signed")
def test_what_sqlite_lets_into_a_column_ends_in_a_fault_not_in_a_trace() -> None:
    with lifted(), connection.cursor() as cursor:
        cursor.execute('UPDATE ledger_entry SET "index" = \'x\' WHERE "index" = 3')
        cursor.execute("UPDATE ledger_entrybody SET body = CAST(x'ff00ff' AS TEXT) WHERE rowid = 9")
        cursor.execute("UPDATE ledger_node SET level = 'x' WHERE id = 5")
    code, said = verified()
    assert code == 1
    assert "ERROR" in said


@pytest.mark.sqlite
@pytest.mark.django_db(transaction=True)
def test_a_body_without_entry_is_found() -> None:
    sealed_in_database(2)
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA foreign_keys=OFF")
        with lifted():
            cursor.execute('DELETE FROM ledger_entry WHERE "index" = 1')
        cursor.execute("PRAGMA foreign_keys=ON")
    code, said = verified()
    assert code == 1
    assert re.search(r"ERROR body \d+: belongs to no entry", said)


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_a_snapshot_is_one_view_that_cannot_write_and_ends_with_it() -> None:
    def how() -> list[str]:
        found = []
        for name in ("transaction_isolation", "transaction_read_only"):
            with connection.cursor() as cursor:
                cursor.execute(f"SHOW {name}")
                found.append(cursor.fetchone()[0])
        return found

    connection.close()  # a new connection has no scope of rows yet, and sets it with the first statement
    with audit.snapshot():
        assert how() == ["repeatable read", "on"]
    assert how() == ["read committed", "off"]
