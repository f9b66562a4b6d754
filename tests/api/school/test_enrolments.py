"""Enrolments and progress over HTTP: as described, sent twice, refused with the place."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from django.utils import timezone

from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import courses
from tests.support.cast import Cast
from tests.support.problems import places, problem
from tests.support.rows import over_rows

KEY = "0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9b01"
pytestmark = pytest.mark.django_db


@pytest.fixture
def ida(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.ida)


@pytest.fixture
def url(people: Cast) -> str:
    return f"/api/v1/students/{people.sam.ref}"


@pytest.fixture
def enrolled(people: Cast) -> None:
    courses.enrolled(people, ref=KEY)


@pytest.mark.any_database  # test_enrolments and test_search make these queries on SQLite
def test_enrol_look_and_move(people: Cast, ida: Any, url: str) -> None:
    courses.published()
    made = ida.post(f"{url}/enrolments", {"id": KEY, "course": "private-airplane", "starts": "2026-01-05"})
    assert made.status_code == 201, made.content
    fits(made.json(), "Enrolment")
    again = ida.post(f"{url}/enrolments", {"id": KEY, "course": "private-airplane", "starts": "2026-01-05"})
    assert again.json() == made.json()
    listed = ida.get(f"{url}/enrolments").json()
    fits(listed, "EnrolmentList")
    assert [(each["course"]["version"], each["starts"]) for each in listed["enrolments"]] == [
        (1, "2026-01-05")
    ]

    courses.published(replace(courses.private_airplane(), says="Said in other words."))
    shown = ida.get(f"{url}/enrolments/{KEY}/move?version=2")
    fits(shown.json(), "EnrolmentMovePreview")
    assert [each["what"] for each in shown.json()["changes"]] == ["course"]
    moved = ida.post(f"{url}/enrolments/{KEY}/move", {"version": 2})
    fits(moved.json(), "Enrolment")
    assert (moved.json()["course"]["version"], moved.json()["moves"][0]["to_version"]) == (2, 2)
    assert ida.post(f"{url}/enrolments/{KEY}/move", {"version": 2}).json() == moved.json()

    ended = ida.post(f"{url}/enrolments/{KEY}/end", {"ends": "2026-06-30"})
    fits(ended.json(), "Enrolment")
    assert ended.json()["ends"] == "2026-06-30"


@pytest.mark.any_database  # test_translation, test_contract and test_ledger make these queries on SQLite
def test_progress_and_the_planned_draft(people: Cast, ida: Any, url: str, signed_in: Clients) -> None:
    problem(ida.get(f"{url}/progress"), 404)
    courses.enrolled(people)
    stands = ida.get(f"{url}/progress")
    assert stands.status_code == 200
    fits(stands.json(), "Progress")
    assert stands.json()["on"] == people.school.day(timezone.now()).isoformat()
    assert stands.json()["next"]["proposal"]["lesson"] == "1-01"
    assert signed_in(people.sams_account).get(f"{url}/progress").json() == stands.json()

    made = ida.post(f"{url}/lesson-records", {"id": KEY})
    assert made.status_code == 201, made.content
    fits(made.json(), "LessonRecord")
    assert (made.json()["lesson"], made.json()["course"]["course"]) == ("1-01", "private-airplane")
    planned = [each["item"] for each in stands.json()["next"]["proposal"]["items"]]
    assert [each["item"] for each in made.json()["content"]["items"]] == planned
    assert ida.post(f"{url}/lesson-records", {"id": KEY}).json() == made.json()


@over_rows(
    ("path", "body", "where"),
    [
        pytest.param("enrolments", {}, {"id", "course"}, id="nothing said"),
        pytest.param(
            "enrolments", {"id": KEY, "course": "private-airplane", "version": "1"}, {"version"}, id="a text"
        ),
        pytest.param(
            "enrolments", {"id": KEY, "course": "private-airplane", "version": True}, {"version"}, id="a flag"
        ),
        pytest.param("enrolments", {"id": KEY, "course": "gliding"}, {"course"}, id="no such course"),
        pytest.param(
            "enrolments",
            {"id": KEY, "course": "private-airplane", "starts": "2026-02-30"},
            {"starts"},
            id="no such day",
        ),
        pytest.param(f"enrolments/{KEY}/move", {"version": 1}, {"version"}, id="no newer version"),
        pytest.param(f"enrolments/{KEY}/move", {"version": 10**9}, {"version"}, id="too large a number"),
        pytest.param(f"enrolments/{KEY}/end", {"ends": "1999-01-01"}, {"ends"}, id="before it began"),
        pytest.param("lesson-records", {"id": KEY, "lesson": "9-99"}, {"lesson"}, id="no such lesson"),
    ],
)
def test_what_is_wrong_is_named(
    enrolled: None, ida: Any, url: str, path: str, body: dict, where: set
) -> None:
    assert set(places(ida.post(f"{url}/{path}", body), 422)) == where


@over_rows("version", ["", "one", "-1", "9" * 40, "٣"])
def test_a_preview_wants_a_version(enrolled: None, ida: Any, url: str, version: str) -> None:
    answer = ida.get(f"{url}/enrolments/{KEY}/move", {"version": version})
    assert set(places(answer, 422)) == {"version"}


def test_an_enrolment_that_is_not_this_students_is_not_found(people: Cast, ida: Any, url: str) -> None:
    problem(ida.post(f"{url}/enrolments/{KEY}/end", {"ends": "2026-06-30"}), 404)


def test_the_same_course_twice_is_a_conflict(people: Cast, ida: Any, url: str) -> None:
    courses.enrolled(people)
    body = {"id": KEY, "course": "private-airplane", "starts": dt.date(2026, 3, 1).isoformat()}
    assert "move that enrollment" in problem(ida.post(f"{url}/enrolments", body), 409)["detail"]
