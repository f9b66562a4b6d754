"""The search: what is found, by whom, in how many queries, and that each look is noted."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.api.conftest import Clients, signed_in  # noqa: F401  (a fixture)
from tests.api.test_description import fits
from tests.support import courses, factories, lessons
from tests.support.cast import Cast, cast
from tests.support.kept import kept
from tests.support.problems import places
from tests.training.web.test_pages import text_of
from training import models
from training.models import AccessLog
from training.services import access
from training.services.lessons import lesson_records
from training.services.school import search

AT = dt.datetime(2026, 3, 4, 18, tzinfo=dt.UTC)


@kept
def people(db: None) -> Cast:
    """Sam has one signed lesson and one draft, the school an aircraft."""
    made = cast()
    courses.enrolled(made)
    lessons.signed(made, lesson="1-01")
    lessons.draft(
        made, lessons.flown(date="2026-03-03"), lesson="1-02", at=lessons.AT + dt.timedelta(hours=1)
    )
    factories.aircraft(made.school, registration="N00XY")
    return made


def found(user: models.User, text: str) -> dict[str, list[str]]:
    """What is found of each, by its name; what was not found of is left out."""
    it = search.find(user, text, via="web", at=AT)
    said = {
        "students": [each.name for each in it.students],
        "lessons": [each.lesson for each in it.lessons],
        "people": [str(each.user) for each in it.people],
        "aircraft": [each.registration for each in it.aircraft],
    }
    return {key: names for key, names in said.items() if names}


@pytest.mark.any_database  # others here and test_courses_at_once make these queries on SQLite
def test_each_finds_what_each_may_see(people: Cast) -> None:
    everything = {"students": ["Sam Example"], "lessons": ["1-02", "1-01"]}
    assert found(people.ida, "sam") == everything
    assert found(people.ada, "SAM exa") == {**everything, "people": ["Sam Example"]}
    assert found(people.sams_account, "sam") == {"students": ["Sam Example"], "lessons": ["1-01"]}
    assert found(people.olaf, "sam") == {}
    assert found(people.ottos_account, "example") == {"students": ["Otto Example"]}
    assert found(factories.instructor(people.school), "sam") == {}
    assert found(models.User.objects.create_superuser("root@example.org"), "sam") == {}


def test_aircraft_are_found_by_who_flies_or_administers(people: Cast) -> None:
    assert found(people.ida, "n00xy")["aircraft"] == ["N00XY"]
    assert found(people.ada, "00x c172")["aircraft"] == ["N00XY"]
    assert "aircraft" not in found(people.sams_account, "n00xy")
    assert found(people.olaf, "n00xy") == {}


def test_people_are_found_by_administrators_alone(people: Cast) -> None:
    assert found(people.ada, "ida@lakeside")["people"] == ["Ida Example"]
    assert "people" not in found(people.ida, "ida@lakeside")
    assert "people" not in found(people.ada, "olaf@hilltop")


def test_a_guardian_finds_the_child_and_no_draft(people: Cast) -> None:
    guards = factories.user()
    models.School.objects.filter(pk=people.school.pk).update(of_age_at=99)
    factories.guardian(people.sam, user=guards)
    assert found(guards, "sam") == {"students": ["Sam Example"], "lessons": ["1-01"]}
    assert found(guards, "n00xy") == {"lessons": ["1-01"]}


@pytest.mark.parametrize(
    ("text", "which"),
    [
        ("1-01", ["1-01"]),
        ("2026-03-02", ["1-02", "1-01"]),  # the draft's ground lesson was on that day
        ("2026-03-03", ["1-02"]),
        ("n00xy 1-02", ["1-02"]),
        ("ida sam 1-0", ["1-02", "1-01"]),
        ("sam olaf", []),
        ("%", []),
        ("_-_", []),
        ("1-01' OR 1=1", []),
        ("\x00", []),
        ("0001-01-01", []),
    ],
)
def test_a_lesson_is_found_by_what_tells_it(people: Cast, text: str, which: list[str]) -> None:
    assert found(people.ida, text).get("lessons", []) == which


def test_a_lesson_is_found_by_its_title_in_its_course(people: Cast) -> None:
    outline = courses.private_airplane()
    title = next(
        lesson.title for stage in outline.stages for lesson in stage.lessons if lesson.code == "1-01"
    )
    assert found(people.ida, title)["lessons"] == ["1-01"]
    [hit] = search.find(people.ida, title, via="web", at=AT).lessons
    assert hit.title == title  # type: ignore[attr-defined]


@pytest.mark.parametrize("typed", ["jørgen", "JØRGEN", "Jørgen", "ørg", "ØRG"])
def test_letters_beyond_ascii_are_found_in_capitals_or_not(people: Cast, typed: str) -> None:
    factories.student(people.school, taught_by=people.ida, name="Jørgen Example")
    factories.student(people.school, taught_by=people.ida, name="ØRGENSEN EXAMPLE")
    assert "Jørgen Example" in found(people.ida, typed).get("students", [])


@pytest.mark.parametrize("who", ["ida", "ada", "sams_account", "olaf", "ottos_account"])
def test_the_lessons_seen_are_those_of_each_student_who_is_seen(people: Cast, who: str) -> None:
    """One rule, asked of all students at once or of one."""
    user = getattr(people, who)
    factories.student(people.school, user=people.ida, name="Ida Example", taught_by=people.ida)
    one_by_one = {
        each.pk
        for student in access.visible_students(user, on=AT.date())
        for each in lesson_records.visible(student, user, on=AT.date())
    }
    assert {each.pk for each in search.lessons_seen(user, on=AT.date())} == one_by_one


def test_every_student_who_is_named_is_noted(people: Cast) -> None:
    AccessLog.objects.all().delete()
    search.find(people.ida, "1-01", via="web", at=AT)
    [noted] = AccessLog.objects.all()
    assert (noted.student, noted.user, noted.action, noted.what) == (people.sam, people.ida, "read", "search")
    search.find(people.olaf, "1-01", via="web", at=AT)
    assert AccessLog.objects.count() == 1


@pytest.mark.any_database  # others here make these queries on SQLite
def test_as_many_queries_for_many_as_for_few_and_no_more_than_fit(people: Cast) -> None:
    search.find(people.ada, "example", via="web", at=AT)
    with CaptureQueriesContext(connection) as few:
        search.find(people.ada, "example", via="web", at=AT)
    for number in range(30):
        factories.student(people.school, name=f"Nora Example {number:02d}")
    with CaptureQueriesContext(connection) as many:
        it = search.find(people.ada, "example", via="web", at=AT)
    assert (len(few), len(many)) == (8, 8)
    assert len(it.students) == search.MOST
    assert it.more == {"students"}


# The page


def test_the_page_leads_on_to_what_was_found(client: Client, people: Cast) -> None:
    teach, desk = f"/teach/{people.sam.ref}/", f"/school/lakeside/students/{people.sam.ref}/"
    standing = f"/students/{people.sam.ref}/standing/"
    for user, address in ((people.ida, teach), (people.ada, desk), (people.sams_account, standing)):
        client.force_login(user)
        page = client.get("/search/?q=sam")
        assert f'href="{address}"' in page.content.decode()
        assert client.get(address).status_code == 200
        for line in page.context["lessons"]:
            assert client.get(line["address"]).status_code == 200
    client.force_login(people.ada)
    for line in client.get("/search/?q=lakeside.example").context["people"]:
        assert client.get(line["address"]).status_code == 200
    for line in client.get("/search/?q=n00xy").context["aircraft"]:
        assert client.get(line["address"]).status_code == 200


def test_the_page_says_what_to_do(client: Client, people: Cast) -> None:
    assert client.get("/search/?q=sam")["Location"].startswith("/login/")
    client.force_login(people.olaf)
    assert "Searches what you have access to" in text_of(client.get("/search/"))
    nothing = client.get("/search/", {"q": "<b>sam</b> "})
    assert "No results for “<b>sam</b>”. Try fewer or shorter words" in text_of(nothing)
    assert "<b>sam</b>" not in nothing.content.decode()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_at_most_twelve_queries_the_page(client: Client, people: Cast) -> None:
    client.force_login(people.ada)
    client.get("/search/?q=example")
    with CaptureQueriesContext(connection) as asked:
        client.get("/search/?q=example")
    assert len(asked) <= 12


# The API


def test_the_same_over_http(people: Cast, signed_in: Clients) -> None:  # noqa: F811
    answer = signed_in(people.ada).get("/api/v1/search?q=example")
    fits(answer.json(), "Found")
    said: dict[str, Any] = answer.json()
    assert [each["name"] for each in said["people"]] == ["Ada Example", "Ida Example", "Sam Example"]
    assert [each["ref"] for each in said["students"]] == [str(people.sam.ref)]
    assert [(each["lesson"], each["state"]) for each in said["lessons"]] == [
        ("1-02", "draft"),
        ("1-01", "signed"),
    ]
    assert said["more"] == []
    assert places(signed_in(people.ada).get("/api/v1/search")) == ["q"]
    assert places(signed_in(people.ada).get("/api/v1/search?q=%20")) == ["q"]
