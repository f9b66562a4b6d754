"""A student's way through a course on the desk: begun, looked at before a move, moved, ended."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.support import courses, factories
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.school.test_enrolments import graded, second
from tests.training.web.test_pages import text_of
from training import models
from training.ledger.models import Entry

THE_DAY = dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def the_day() -> Any:
    with time_machine.travel(THE_DAY, tick=False):
        yield


@kept
def held(taught: Cast) -> models.Enrolment:
    """Sam in version 1 with two items graded, and version 2 asks for more in one of them."""
    made = courses.enrolled(taught)
    graded(taught, steep_turns="perform", climbs="perform")
    second()
    return made


@pytest.fixture
def desk(client: Client, taught: Cast) -> Client:
    client.force_login(taught.ada)
    return client


def page_of(people: Cast) -> str:
    return f"/school/lakeside/students/{people.sam.ref}/"


def move_of(people: Cast, held: models.Enrolment) -> str:
    return f"{page_of(people)}enrolments/{held.ref}/move/"


def test_what_carries_over_and_what_differs_is_seen_before_the_move(
    desk: Client, taught: Cast, held: models.Enrolment
) -> None:
    assert "Preview move to version 2" in text_of(desk.get(page_of(taught)))
    answer = desk.get(move_of(taught, held))
    told = text_of(answer)
    asked_again, _, rest = told.partition("Carries over")
    stands, _, differs = rest.partition("From version 1 to version 2")
    assert "perform bank is tighter now: 45° ±2.5°, was 45° ±5°" in asked_again
    assert "steep-turns" in asked_again
    assert "climbs perform" in stands
    assert "steep-turns" not in stands
    assert "item steep-turns" in differs
    assert not models.CourseMove.objects.exists()
    assert models.AccessLog.objects.filter(user=taught.ada, what=f"enrolment {held.ref} move").exists()


def test_the_move_is_sealed_and_stands_on_the_page(
    desk: Client, taught: Cast, held: models.Enrolment
) -> None:
    told = text_of(desk.post(move_of(taught, held), {"version": "2"}, follow=True))
    made = models.CourseMove.objects.get()
    assert Entry.objects.get(tree=made.ledger_tree, index=made.ledger_index).kind == "enrolment.moved"
    assert (
        "Moved from version 1 to version 2. 1 of 2 graded items carried over. Ledger entry"
        f" {made.ledger_index}" in told
    )
    assert "from version 1 to 2 by Ada Example" in told
    assert "Preview move" not in told
    # The form sent once more, as by a second click, moves nothing.
    assert desk.post(move_of(taught, held), {"version": "2"}).status_code == 302
    assert models.CourseMove.objects.count() == 1
    assert "No newer published version" in text_of(desk.get(move_of(taught, held)))


@pytest.mark.any_database  # others here make these queries on SQLite
def test_no_move_but_to_a_newer_published_version(desk: Client, taught: Cast, held: models.Enrolment) -> None:
    for number, words in (("1", "1 is not newer than version 1"), ("7", "no published version 7")):
        answer = desk.post(move_of(taught, held), {"version": number})
        assert answer.status_code == 422
        assert words in text_of(answer)
    for odd in ("two", "²", "-1", "99999999"):
        assert desk.post(move_of(taught, held), {"version": odd}).status_code == 404
    assert not models.CourseMove.objects.exists()


@pytest.mark.any_database  # others here and test_enrolments make these queries on SQLite
def test_an_enrolment_ends_on_the_page(desk: Client, taught: Cast, held: models.Enrolment) -> None:
    where = f"{page_of(taught)}enrolments/{held.ref}/end/"
    for sent, words in (
        ({"ends": ""}, "is blank; enter a date"),
        ({"ends": "5 July"}, "5 July"),
        ({"ends": "2025-12-31"}, "2025-12-31 is before the first day, 2026-01-01"),
    ):
        answer = desk.post(where, sent)
        assert answer.status_code == 422
        assert words in text_of(answer)
    told = text_of(desk.post(where, {"ends": "2026-07-04"}, follow=True))
    assert "The enrollment ends on 4 Jul 2026." in told
    assert "1 Jan 2026 through 4 Jul 2026" in told
    assert "End enrollment" not in told
    held.refresh_from_db()
    assert held.ends == dt.date(2026, 7, 4)


def test_an_enrolment_without_a_course_has_nothing_to_move(desk: Client, taught: Cast) -> None:
    bare = models.Enrolment.objects.create(
        school=taught.school, student=taught.sam, starts=dt.date(2026, 1, 1)
    )
    assert desk.get(move_of(taught, bare)).status_code == 404
    assert "In training, not enrolled in a course" in text_of(desk.get(page_of(taught)))


@pytest.mark.any_database  # others here and test_enrolments make these queries on SQLite
@pytest.mark.parametrize("who", ["ida", "sams_account", "olaf"])
def test_nobody_else_moves_or_ends_one(
    client: Client, taught: Cast, held: models.Enrolment, who: str
) -> None:
    client.force_login(getattr(taught, who))
    assert client.get(move_of(taught, held)).status_code == 404
    assert client.post(move_of(taught, held), {"version": "2"}).status_code == 404
    assert (
        client.post(f"{page_of(taught)}enrolments/{held.ref}/end/", {"ends": "2026-07-04"}).status_code == 404
    )
    held.refresh_from_db()
    assert (held.ends, models.CourseMove.objects.count()) == (None, 0)


def test_an_enrolment_is_of_the_student_in_the_address(
    desk: Client, taught: Cast, held: models.Enrolment
) -> None:
    other = factories.student(taught.school)
    where = f"/school/lakeside/students/{other.ref}/enrolments/{held.ref}/"
    assert desk.get(f"{where}move/").status_code == 404
    assert desk.post(f"{where}end/", {"ends": "2026-07-04"}).status_code == 404


@pytest.mark.any_database  # others here and test_people make these queries on SQLite
def test_the_page_asks_the_same_however_many_enrolments(
    desk: Client, taught: Cast, held: models.Enrolment
) -> None:
    desk.get(page_of(taught))
    with CaptureQueriesContext(
        connection,
    ) as few:
        desk.get(page_of(taught))
    for year in range(2010, 2020):
        courses.enrolled(taught, held.course_version, ends=dt.date(2026, 1, year - 2000))
    with CaptureQueriesContext(connection) as many:
        desk.get(page_of(taught))
    assert len(many) == len(few)
