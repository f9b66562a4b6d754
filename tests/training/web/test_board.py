"""The list of students: each one's row as it was prepared, in as many queries for many as for few."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.support import courses, factories
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.page_cache import cached, say
from tests.support.reminding import MEDICAL, on_record, solo
from training import models
from training.services import sweep as sweeping
from training.services.records.page_cache import CACHE

THE_DAY = dt.datetime(2026, 4, 18, 18, tzinfo=dt.UTC)
MARK = "<td>as it was kept</td>"

pytestmark = pytest.mark.django_db


@kept
def many(people: Cast) -> Cast:
    """Nine more students of Ida's."""
    on_record(people.sam, documents=(MEDICAL,), endorsements=(solo("2026-02-01"),))
    for number in range(9):
        on_record(
            factories.student(people.school, taught_by=people.ida, name=f"Pupil {number:02d}"),
            documents=(MEDICAL,),
        )
    return people


def shown(client: Client) -> str:
    with time_machine.travel(THE_DAY, tick=False):
        page = client.get("/students/").content.decode()
    return page[page.index("<table") : page.index("</table>")]


def test_the_sweep_makes_the_rows_so_that_the_list_is_read_in_a_dozen_queries(client, many: Cast) -> None:
    client.force_login(many.ida)
    first = shown(client)
    CACHE.clear()
    sweeping.sweep(now=lambda: THE_DAY)
    assert sum(key.endswith(":row:en:") for key in cached()) == 11
    with CaptureQueriesContext(connection) as seen:
        assert shown(client) == first
    assert len(seen) <= 12
    assert first.count("Pupil") == 9
    assert models.AccessLog.objects.filter(user=many.ida, what="eligibility").count() == 2 * 10


# test_status_changes, test_own_minimums and test_erasure_traces make these queries on SQLite
@pytest.mark.any_database
def test_a_row_that_is_out_of_date_is_made_anew_and_no_other(client: Client, many: Cast) -> None:
    client.force_login(many.ida)
    shown(client)
    assert say(MARK, "row") == 10
    assert shown(client).count(MARK) == 10
    on_record(many.sam, documents=(MEDICAL,))
    changed = shown(client)
    assert changed.count(MARK) == 9
    assert "Sam Example" in changed


@pytest.mark.any_database  # test_own_minimums makes these queries on SQLite
def test_the_column_of_the_courses_is_there_where_somebody_is_in_one(client: Client, many: Cast) -> None:
    client.force_login(many.ida)
    assert 'data-label="Course"' not in shown(client)
    courses.enrolled(many)
    page = shown(client)
    assert page.count('data-label="Course"') == 10
    assert page.count("no requirement beyond the regulations") == 9
