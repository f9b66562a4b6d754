"""What somebody is told: their own notices, as long as they may see the student."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import factories, lessons, own
from tests.support.cast import Cast
from tests.support.problems import places, problem
from training import models

URL = "/api/v1/notices"


@pytest.fixture
def sam(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.sams_account)


@pytest.mark.any_database  # test_ledger and test_reminders make these queries on SQLite
def test_a_signed_lesson_is_told_and_read(people: Cast, sam: Any) -> None:
    lesson = lessons.signed(people)
    told = sam.get(URL)
    fits(told.json(), "NoticePage")
    (notice,) = told.json()["notices"]
    assert (notice["kind"], notice["about"], notice["student"], notice["read_at"]) == (
        "lesson-signed", str(lesson.pk), str(people.sam.ref), None,
    )  # fmt: skip
    read = sam.post(f"{URL}/{notice['id']}/read")
    fits(read.json(), "Notice")
    assert read.json()["read_at"] is not None
    assert sam.post(f"{URL}/{notice['id']}/read").json() == read.json()
    assert sam.get(URL).json()["notices"] == [read.json()]


def test_nobody_else_is_told_or_reads_it(people: Cast, signed_in: Clients) -> None:
    own.notice(people, pk=own.KEY)
    for other in (people.ida, people.ada, people.ottos_account):
        client = signed_in(other)
        assert client.get(URL).json()["notices"] == []
        problem(client.post(f"{URL}/{own.KEY}/read"), 404)
    assert models.Notice.objects.get().read_at is None


def test_one_for_an_instructor_is_there_while_they_may_see_the_student(
    people: Cast, signed_in: Clients
) -> None:
    own.notice(people, user=people.ida, kind="reminder", pk=own.KEY)
    ida = signed_in(people.ida)
    assert [each["kind"] for each in ida.get(URL).json()["notices"]] == ["reminder"]
    models.Assignment.objects.update(ends=dt.date(2026, 1, 1))
    assert ida.get(URL).json()["notices"] == []
    problem(ida.post(f"{URL}/{own.KEY}/read"), 404)


def test_one_from_before_there_was_an_account_is_the_students(people: Cast, signed_in: Clients) -> None:
    pupil = factories.student(people.school, taught_by=people.ida)
    own.notice(people, student=pupil, user=None)
    pupil.user = factories.user()
    pupil.save()
    assert len(signed_in(pupil.user).get(URL).json()["notices"]) == 1
    assert signed_in(people.ida).get(URL).json()["notices"] == []


def test_pages_follow_one_another_the_newest_first(people: Cast, sam: Any) -> None:
    for number in range(60):
        at = own.AT + dt.timedelta(minutes=number // 2)  # two at each instant
        own.notice(people, about=f"lesson {number}", at=at)
    first = sam.get(URL).json()
    second = sam.get(first["next"]).json()
    assert (len(first["notices"]), len(second["notices"]), second["next"]) == (50, 10, None)
    told = [each["id"] for each in first["notices"] + second["notices"]]
    assert told == sorted(told, reverse=True)
    assert places(sam.get(f"{URL}?cursor=cD1ub25zZW5zZQ==")) == ["cursor"]


@pytest.mark.parametrize("key", ["0", "9" * 18, "9" * 40], ids=["none", "a large one", "one of forty digits"])
def test_one_there_is_none_of_is_not_there(people: Cast, sam: Any, key: str) -> None:
    problem(sam.post(f"{URL}/{key}/read"), 404)
