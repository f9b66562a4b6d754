"""A ``migrate`` that changes no trigger waits for nobody who reads, and nobody waits for it."""

import psycopg
import pytest
from django.core.management import call_command
from django.db import connection

from training.triggers import every


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_triggers_that_are_in_place_are_left_alone() -> None:
    reading = {
        name: connection.get_connection_params()[name]
        for name in ("dbname", "user", "password", "host", "port")
    }
    with psycopg.connect(**reading) as reader, connection.cursor() as cursor:
        # As a request that is under way: it holds its tables until it ends.
        reader.execute("SELECT count(*) FROM training_flight, training_student, syllabus_course, ledger_head")
        cursor.execute("SET lock_timeout = '2s'")
        try:
            call_command("migrate", verbosity=0, interactive=False)
        finally:
            cursor.execute("SET lock_timeout = 0")
    assert every.missing(connection) == []


@pytest.mark.django_db
def test_a_trigger_that_was_taken_away_is_put_back() -> None:
    from training.triggers import sealing

    sealing.TRIGGERS.remove(connection)
    assert every.missing(connection)
    every.after_migrate(using="default")
    assert every.missing(connection) == []
