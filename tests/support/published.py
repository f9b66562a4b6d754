"""Takes the triggers that keep published courses away for a moment, as only the owner of the tables can.

The runner empties every table after a test that commits, which those triggers refuse, as they should: so
published courses are taken out before, and only where there are any.
"""

import contextlib
from collections.abc import Iterator

import pytest

from tests.support.kept import commits


@contextlib.contextmanager
def lifted() -> Iterator[None]:
    """No trigger of the courses, for the time of the block."""
    from django.db import connection

    from training.triggers.courses import TRIGGERS

    def settled() -> None:
        # PostgreSQL alters no table on which a foreign key is still to be checked at the transaction's end.
        if connection.vendor == "postgresql" and connection.in_atomic_block:
            with connection.cursor() as cursor:
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("SET CONSTRAINTS ALL DEFERRED")

    settled()
    TRIGGERS.remove(connection)
    try:
        yield
    finally:
        settled()
        TRIGGERS.install(connection)


def take_out() -> None:
    """Every course, where one is published; what holds on to a version is taken out by the runner."""
    from django.apps import apps
    from django.db import connection

    from syllabus import models

    if not models.CourseVersion.objects.filter(state="published").exists():
        return
    own = list(apps.get_app_config("syllabus").get_models())
    with lifted(), connection.cursor() as cursor, connection.constraint_checks_disabled():
        if connection.vendor == "postgresql":
            tables = ", ".join(model._meta.db_table for model in own)
            cursor.execute(f"TRUNCATE {tables} CASCADE")
        else:
            for model in own:
                cursor.execute(f"DELETE FROM {model._meta.db_table}")


@pytest.fixture(autouse=True)
def courses_taken_out(request: pytest.FixtureRequest) -> Iterator[None]:
    """Takes published courses out after a test that commits, before the runner empties all tables."""
    if commits(request):
        request.getfixturevalue("transactional_db")  # set up before this one, so torn down after it
        yield
        take_out()
    else:
        yield
