"""Nothing sealed is changed, deleted or emptied: by the ORM, by raw SQL, by a plain role."""

import os
import secrets
from collections.abc import Iterator
from io import StringIO

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, IntegrityError, connection, transaction
from psycopg import sql

from tests.support.ledgers import NOON, TREE, sealed_in_database
from tests.support.lifting import lifted
from tests.training.ledger.test_entries import whole
from training.ledger import models
from training.ledger.store import checkpoints
from training.triggers import installer
from training.triggers import ledger as guards

TOUCHES = [
    *[
        pytest.param(f"UPDATE {table} SET {column} = {column}", id=f"{table}: an update, even to the same")
        for table, column in [
            ("ledger_entry", "kind"),
            ("ledger_entrybody", "body"),
            ("ledger_node", "hash"),
            ("ledger_checkpoint", "token"),
            ("ledger_ledgerkey", "public"),
            ("ledger_head", "root"),
        ]
    ],
    *[pytest.param(f"DELETE FROM {table}", id=f"{table}: a deletion") for table in guards.TABLES],
    pytest.param("UPDATE ledger_head SET size = size - 1", id="ledger_head: a step back"),
    pytest.param("UPDATE ledger_head SET tree = 'other', size = size + 1", id="ledger_head: another tree"),
    pytest.param(
        "INSERT INTO ledger_head (tree, size, root, peaks) VALUES ('new', 5, '', '')",
        id="ledger_head: a beginning in the middle",
    ),
    pytest.param(
        'INSERT INTO ledger_entry (tree, "index", kind, subject, at, commitment, leaf)'
        " SELECT tree, \"index\", 'other', subject, at, commitment, leaf FROM ledger_entry",
        id="ledger_entry: a second entry in a place",
    ),
]


def attempt(statement: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.fixture
def five_entries(db: None) -> None:
    sealed_in_database(5)
    checkpoints.issue(TREE, at=NOON)


@pytest.mark.usefixtures("five_entries")
@pytest.mark.parametrize("statement", TOUCHES)
def test_raw_sql_is_refused(statement: str) -> None:
    with pytest.raises(IntegrityError):
        attempt(statement)
    assert whole().entries == 5


@pytest.mark.sqlite
@pytest.mark.usefixtures("five_entries")
@pytest.mark.parametrize(
    "statement",
    [
        pytest.param(
            f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}", id=f"{table}: the same row once more"
        )
        for table in guards.TABLES
    ]
    + [
        pytest.param(
            'INSERT OR REPLACE INTO ledger_entry (tree, "index", kind, subject, at, commitment, leaf)'
            " SELECT tree, \"index\", 'other', subject, at, commitment, leaf FROM ledger_entry",
            id="ledger_entry: another row in the same place",
        ),
        pytest.param('UPDATE OR REPLACE ledger_entry SET "index" = 0', id="ledger_entry: onto another"),
    ],
)
def test_sqlite_replaces_no_row(statement: str) -> None:
    with pytest.raises(IntegrityError):
        attempt(statement)
    assert whole().entries == 5


@pytest.mark.usefixtures("five_entries")
def test_the_orm_is_refused() -> None:
    entry = models.Entry.objects.get(index=2)
    entry.kind = "other"
    for touch in (
        lambda: entry.save(),
        lambda: entry.delete(),
        lambda: models.EntryBody.objects.all().delete(),
        lambda: models.Entry.objects.update(subject="other"),
        lambda: models.Node.objects.bulk_update(
            [models.Node(pk=models.Node.objects.earliest("pk").pk, hash="0")], ["hash"]
        ),
    ):
        with pytest.raises((IntegrityError, models.models.ProtectedError)), transaction.atomic():
            touch()
    assert whole().entries == 5


@pytest.mark.postgresql
@pytest.mark.usefixtures("five_entries")
@pytest.mark.parametrize("table", guards.TABLES)
def test_postgresql_empties_no_table(table: str) -> None:
    connection.check_constraints()  # else PostgreSQL refuses for what is still to be checked
    with pytest.raises(IntegrityError, match="never changed or deleted"):
        attempt(f"TRUNCATE {table} CASCADE")
    assert whole().entries == 5


@pytest.mark.postgresql
@pytest.mark.django_db
def test_postgresql_lets_an_empty_ledger_be_emptied() -> None:
    """As the runner does between tests: nothing is lost by it."""
    attempt(f"TRUNCATE {', '.join(guards.TABLES)}")


@pytest.mark.django_db
def test_the_triggers_are_in_place_and_a_missing_one_is_noticed() -> None:
    assert installer.missing(connection, [guards.TRIGGERS]) == []
    with lifted():
        assert installer.missing(connection, [guards.TRIGGERS]) == sorted(guards.TRIGGERS.on(connection))
    assert installer.missing(connection, [guards.TRIGGERS]) == []


@pytest.mark.postgresql
@pytest.mark.django_db
@pytest.mark.parametrize(
    ("statement", "named"),
    [
        pytest.param(
            "ALTER TABLE ledger_entry DISABLE TRIGGER ledger_entry_stays", "ledger_entry_stays", id="disabled"
        ),
        pytest.param(
            "ALTER TABLE ledger_node ENABLE TRIGGER ledger_node_stays",
            "ledger_node_stays",
            id="no longer always",
        ),
        pytest.param(
            "CREATE OR REPLACE FUNCTION ledger_refuse_truncate() RETURNS trigger LANGUAGE plpgsql"
            " AS $$ BEGIN RETURN NULL; END $$",
            "ledger_entry_kept",
            id="its function made harmless",
        ),
    ],
)
def test_a_trigger_that_was_tampered_with_is_noticed(statement: str, named: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)
    assert named in installer.missing(connection, [guards.TRIGGERS])
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("verify_ledger", stdout=out)
    assert f"ERROR trigger {named}: is missing" in out.getvalue()
    out = StringIO()
    call_command("ledger_guards", stdout=out)
    assert named in out.getvalue()
    assert installer.missing(connection, [guards.TRIGGERS]) == []


def test_no_role_name_carries_sql() -> None:
    with pytest.raises(CommandError, match="is not a role name"):
        call_command("ledger_guards", grants='x"; DROP TABLE ledger_entry; --')


class PlainRole:
    """A role that owns nothing and was given what ``ledger_guards --grants`` prints."""

    def __init__(self, name: str, secret: str) -> None:
        self.name, self.secret = name, secret

    def connect(self) -> psycopg.Connection:
        there = connection.settings_dict
        return psycopg.connect(
            host=there["HOST"],
            port=there["PORT"],
            dbname=there["NAME"],
            user=self.name,
            password=self.secret,
            autocommit=True,
        )


@pytest.fixture
def plain_role(transactional_db: None) -> Iterator[PlainRole]:
    if "TEST_SUPERUSER_URL" not in os.environ:
        pytest.fail("Set TEST_SUPERUSER_URL too: this test makes a role, which the tests' own may not.")
    role = PlainRole(f"ledger_plain_{secrets.token_hex(4)}", secrets.token_hex(16))
    name = sql.Identifier(role.name)
    printed = StringIO()
    call_command("ledger_guards", grants=role.name, stdout=printed)
    with psycopg.connect(os.environ["TEST_SUPERUSER_URL"], autocommit=True) as superuser:
        superuser.execute(
            sql.SQL("CREATE ROLE {} LOGIN NOSUPERUSER PASSWORD {}").format(name, sql.Literal(role.secret))
        )
        try:
            with connection.cursor() as cursor:
                cursor.execute(printed.getvalue())
                # Which school a tree is of, for the policies on rows; ``manage.py rights`` gives it too.
                cursor.execute(sql.SQL("GRANT SELECT ON training_school TO {}").format(name))
            yield role
        finally:
            with connection.cursor() as cursor:
                cursor.execute(sql.SQL("REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {}").format(name))
            superuser.execute(sql.SQL("DROP ROLE {}").format(name))


@pytest.mark.postgresql
def test_a_plain_role_appends_signs_and_checks_and_can_do_no_more(
    plain_role: PlainRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    connection.close()
    with monkeypatch.context() as patched:
        patched.setitem(connection.settings_dict, "USER", plain_role.name)
        patched.setitem(connection.settings_dict, "PASSWORD", plain_role.secret)
        with connection.cursor() as cursor:
            cursor.execute("SELECT current_user")
            assert cursor.fetchone() == (plain_role.name,)
        for number in range(3):
            sealed_in_database(1, first=number)
        checkpoints.issue(TREE, at=NOON)
        call_command("verify_ledger", stdout=StringIO())
        connection.close()
    assert whole().entries == 3

    denied = psycopg.errors.InsufficientPrivilege
    with plain_role.connect() as connected:
        for table in guards.TABLES:
            for statement in (
                f"DELETE FROM {table}",
                f"TRUNCATE {table} CASCADE",
                f"ALTER TABLE {table} DISABLE TRIGGER ALL",
                f"DROP TABLE {table} CASCADE",
                f"CREATE TRIGGER z BEFORE INSERT ON {table} EXECUTE FUNCTION ledger_refuse()",
            ):
                with pytest.raises(denied):
                    connected.execute(statement)
        for statement in (
            "UPDATE ledger_entry SET kind = 'other'",
            "UPDATE ledger_entrybody SET body = '{}'",
            "UPDATE ledger_node SET hash = ''",
            "UPDATE ledger_checkpoint SET token = ''",
            "UPDATE ledger_ledgerkey SET public = ''",
            "UPDATE ledger_head SET tree = 'other'",
            "DROP TRIGGER ledger_entry_stays ON ledger_entry",
            "CREATE OR REPLACE FUNCTION ledger_refuse() RETURNS trigger LANGUAGE plpgsql AS ''",
            "SET session_replication_role = replica",
        ):
            with pytest.raises(denied):
                connected.execute(statement)
        with pytest.raises(psycopg.errors.RestrictViolation):
            connected.execute("UPDATE ledger_head SET size = 1")
    assert whole().entries == 3


@pytest.mark.postgresql
def test_a_superuser_in_replica_mode_is_still_refused(transactional_db: None) -> None:
    if "TEST_SUPERUSER_URL" not in os.environ:
        pytest.fail("Set TEST_SUPERUSER_URL too: this test is about a superuser.")
    sealed_in_database(2)
    with psycopg.connect(
        os.environ["TEST_SUPERUSER_URL"], dbname=connection.settings_dict["NAME"], autocommit=True
    ) as superuser:
        superuser.execute("SET session_replication_role = replica")
        with pytest.raises(psycopg.errors.RestrictViolation):
            superuser.execute("DELETE FROM ledger_entrybody")


@pytest.mark.django_db(transaction=True)
def test_a_ledger_that_a_test_committed_is_taken_out_again() -> None:
    """What ``lifting`` does after each test that commits; the runner then empties the rest."""
    from tests.support.lifting import take_out

    sealed_in_database(3)
    checkpoints.issue(TREE, at=NOON)
    with pytest.raises((CommandError, DatabaseError)):
        call_command("flush", interactive=False, verbosity=0)
    take_out()
    call_command("flush", interactive=False, verbosity=0, allow_cascade=False, inhibit_post_migrate=True)
    assert not models.Head.objects.exists()
    assert installer.missing(connection, [guards.TRIGGERS]) == []
