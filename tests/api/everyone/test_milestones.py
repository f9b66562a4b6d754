"""What is required, as the API tells it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from syllabus.law import rulebook
from tests.support.problems import places, problem

URL = "/api/v1/milestones"


def test_the_list_has_every_milestone_in_order(anyone: APIClient) -> None:
    told = anyone.get(URL).json()
    rules = rulebook.current()
    assert told["rulebook"] == rules.id
    assert [each["id"] for each in told["milestones"]] == list(rules.milestones)
    assert "faa.first-solo.medical" in told["milestones"][0]["requirements"]
    assert "decide" in told["caution"]


@pytest.mark.parametrize("milestone", list(rulebook.current().milestones))
def test_each_milestone_tells_all_its_versions(anyone: APIClient, milestone: str) -> None:
    told = anyone.get(f"{URL}/{milestone}?on=2026-11-20").json()
    rules = rulebook.current().milestone(milestone)
    assert [each["id"] for each in told["requirements"]] == [each.id for each in rules.requirements]
    for requirement, rule in zip(told["requirements"], rules.requirements, strict=True):
        assert [each["from"] for each in requirement["versions"]] == [
            version.first.isoformat() for version in rule.versions
        ]
        assert requirement["in_force"]["citation"] == rule.on(dt.date(2026, 11, 20)).cite.section
        for version in requirement["versions"]:
            assert version["citation"]
            assert version["source"]
            assert version["verified"] == "read" or version["note"]


def requirement(anyone: APIClient, name: str, on: str) -> dict[str, Any]:
    milestone, _, _ = name.rpartition(".")
    told = anyone.get(f"{URL}/{milestone}?on={on}").json()
    return next(each for each in told["requirements"] if each["id"] == name)


@pytest.mark.parametrize(
    ("on", "life"),
    [
        pytest.param("2008-07-23", "36 calendar month", id="the last day of the old rule"),
        pytest.param("2008-07-24", "60 calendar month", id="the first day of the new one"),
    ],
)
def test_the_version_in_force_is_that_of_the_day_with_its_numbers(
    anyone: APIClient, on: str, life: str
) -> None:
    """73 FR 43059: third-class medicals of the young last 60 calendar months from 24 July 2008."""
    medical = requirement(anyone, "faa.first-solo.medical", on)
    assert medical["in_force"]["parameters"]["young_life"] == life
    assert medical["in_force"] in medical["versions"]


def test_before_the_first_version_none_is_in_force(anyone: APIClient) -> None:
    age = requirement(anyone, "faa.first-solo.age", "1997-08-03")
    assert (age["in_force"], age["versions"][0]["from"]) == (None, "1997-08-04")
    assert age["versions"][0]["parameters"]["need"] == "16 year"


def test_without_a_day_it_is_today(anyone: APIClient) -> None:
    with time_machine.travel(dt.datetime(2026, 7, 5, 12, tzinfo=dt.UTC)):
        assert anyone.get(f"{URL}/faa.first-solo").json()["on"] == "2026-07-05"


@pytest.mark.parametrize("name", ["faa.moon", "faa.first-solo.age", "%00", "%ED%A0%80", "..", "x" * 2000])
def test_a_milestone_there_is_none_of_is_not_there(anyone: APIClient, name: str) -> None:
    problem(anyone.get(f"{URL}/{name}"), 404)


@pytest.mark.parametrize(
    ("query", "named"),
    [
        pytest.param("on=2026-13-01", ["on"], id="a month too many"),
        pytest.param("on=", ["on"], id="an empty day"),
        pytest.param("on=2026-01-01&on=2026-01-01", ["on"], id="a day twice"),
        pytest.param("at=2026-01-01", ["at"], id="a parameter nobody knows"),
        pytest.param("format=json", ["format"], id="a format"),
        pytest.param("on=%00", ["on"], id="NUL"),
    ],
)
def test_a_query_that_cannot_be_read_is_named(anyone: APIClient, query: str, named: list[str]) -> None:
    assert places(anyone.get(f"{URL}/faa.first-solo?{query}")) == named


def test_a_query_of_too_many_parameters_cannot_be_read(anyone: APIClient) -> None:
    problem(anyone.get(URL + "?" + "&".join(f"a{n}=1" for n in range(2000))), 400)


def test_a_token_that_is_none_is_refused_where_none_is_needed(anyone: APIClient) -> None:
    """A program whose token has run out must hear of it, not get a stranger's answer."""
    problem(anyone.get(URL, headers={"Authorization": "Token nonsense"}), 401)
