"""What a school asks for beyond the law: added and ended by its administrators, told to all of the school."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

import pytest
import time_machine

from syllabus.engine.rules.minimums import ALLOWED, KINDS, read_params
from syllabus.models import SchoolMinimum
from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support.cast import Cast
from tests.support.own import SENT, minimum
from tests.support.problems import places, problem
from tests.support.rows import over_rows
from training import models

URL = "/api/v1/school-minimums"
TODAY = dt.date(2026, 4, 11)


@pytest.fixture
def ada(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.ada)


@pytest.fixture(autouse=True)
def today() -> Any:
    with time_machine.travel(dt.datetime(2026, 4, 11, 18, tzinfo=dt.UTC), tick=False):
        yield


def ours(client: Any, people: Cast) -> list[str]:
    told = client.get(f"/api/v1/students/{people.sam.ref}/eligibility/faa.first-solo").json()
    return [each["id"] for each in told["requirements"] if ".school." in each["id"]]


def test_it_is_added_stands_in_the_report_and_ends(people: Cast, ada: Any) -> None:
    made = ada.post(URL, SENT)
    assert made.status_code == 201
    fits(made.json(), "SchoolMinimum")
    assert made.json() == {
        **SENT, "id": made.json()["id"], "note": "", "ends": None,
        "requirement": "faa.first-solo.school.dual",
    }  # fmt: skip
    assert ours(ada, people) == [made.json()["requirement"]]
    again = ada.post(URL, SENT)
    assert (again.status_code, again.json()) == (200, made.json())

    ended = ada.post(f"{URL}/{made.json()['id']}/end", {"ends": "2026-04-10"})
    fits(ended.json(), "SchoolMinimum")
    assert ended.json() == {**made.json(), "ends": "2026-04-10"}
    assert ours(ada, people) == []
    listed = ada.get(URL)
    fits(listed.json(), "SchoolMinimumList")
    assert listed.json()["minimums"] == [ended.json()]


@pytest.mark.parametrize("who", ["ada", "ida", "sams_account"])
def test_everybody_of_the_school_sees_it_and_nobody_else(people: Cast, signed_in: Clients, who: str) -> None:
    minimum(people)
    told = signed_in(getattr(people, who)).get(URL).json()["minimums"]
    assert [each["code"] for each in told] == ["dual"]
    assert signed_in(people.olaf).get(URL).json()["minimums"] == []


def test_of_a_school_there_is_none_of_it_is_told_the_same_as_of_one_of_others(ada: Any) -> None:
    told = [
        problem(ada.post(URL, {**SENT, "school": name}), 403)["detail"] for name in ("hilltop", "nowhere")
    ]
    assert told[0].replace("hilltop", "") == told[1].replace("nowhere", "")


@pytest.mark.any_database  # test_people, test_school and test_course_versions make these queries on SQLite
@over_rows(
    ("changed", "named"),
    [
        pytest.param({"milestone": "faa.moon"}, ["milestone"], id="a milestone there is none of"),
        pytest.param({"code": "Dual Time"}, ["code"], id="a code with capitals and a space"),
        pytest.param({"code": "d" * 81}, ["code"], id="a code too long"),
        pytest.param({"kind": "hours"}, ["kind"], id="a kind there is none of"),
        pytest.param(
            {"kind": "milestone", "params": {"milestone": "faa.first-solo"}}, ["kind"], id="a milestone"
        ),
        pytest.param(
            {"params": {"counts": ["dual"], "need": 15}}, ["params.need"], id="hours without a unit"
        ),
        pytest.param(
            {"params": {"counts": ["fun"], "need": "1 h"}}, ["params.counts"], id="a time there is not"
        ),
        pytest.param({"params": {"counts": ["dual"]}}, ["kind"], id="a parameter that is missing"),
        pytest.param(
            {"params": {"counts": ["dual"], "need": "1 h", "x": 1}}, ["params.x"], id="one too many"
        ),
        pytest.param({"params": []}, ["params"], id="a list of parameters"),
        pytest.param({"params": {"counts": ["\x00"], "need": "1 h"}}, None, id="NUL deep inside"),
        pytest.param({"says": " "}, ["says"], id="no words"),
        pytest.param({"starts": "2026-02-30"}, ["starts"], id="a day of no calendar"),
        pytest.param({"ends": "2026-02-28"}, ["ends"], id="an end before the beginning"),
        pytest.param({"till": "2026-02-28"}, ["till"], id="a key nobody knows"),
        pytest.param({"kind": 7, "starts": None, "says": []}, ["kind", "says", "starts"], id="three at once"),
    ],
    undo=True,
)
def test_what_cannot_be_asked_for_is_named(
    ada: Any, changed: dict[str, Any], named: list[str] | None
) -> None:
    found = places(ada.post(URL, {**SENT, **changed}))
    assert found
    if named is not None:
        assert sorted(found) == named
    assert not SchoolMinimum.objects.exists()


def test_something_else_from_the_same_day_is_a_conflict_and_days_do_not_overlap(ada: Any) -> None:
    assert ada.post(URL, SENT).status_code == 201
    other = {**SENT, "params": {"counts": ["dual"], "need": "20 h"}}
    problem(ada.post(URL, other), 409)
    assert places(ada.post(URL, {**other, "starts": "2026-05-01"})) == ["starts"]
    key = SchoolMinimum.objects.get().pk
    assert ada.post(f"{URL}/{key}/end", {"ends": "2026-04-30"}).status_code == 200
    assert ada.post(URL, {**other, "starts": "2026-05-01"}).status_code == 201


@pytest.mark.any_database  # test_school and test_ledger make these queries on SQLite
@pytest.mark.parametrize(
    ("ends", "status"),
    [
        pytest.param(None, 200, id="today where none is given"),
        pytest.param("2026-04-10", 200, id="yesterday"),
        pytest.param("2026-04-09", 422, id="the day before yesterday"),
        pytest.param("2027-01-01", 200, id="a later day"),
        pytest.param("nonsense", 422, id="no day"),
    ],
)
def test_what_was_asked_for_on_days_that_are_over_stays(
    people: Cast, ada: Any, ends: str | None, status: int
) -> None:
    made = minimum(people)
    answer = ada.post(f"{URL}/{made.pk}/end", {"ends": ends} if ends else {})
    assert answer.status_code == status
    made.refresh_from_db()
    assert made.ends == (dt.date.fromisoformat(ends or "2026-04-11") if status == 200 else None)


def test_one_that_ended_is_not_made_longer_and_one_to_come_ends_on_its_first_day(
    people: Cast, ada: Any
) -> None:
    made = minimum(people, ends=dt.date(2026, 4, 1))
    problem(ada.post(f"{URL}/{made.pk}/end", {}), 409)
    assert ada.post(f"{URL}/{made.pk}/end", {"ends": "2026-04-01"}).status_code == 200
    coming = minimum(people, code="solo", starts=dt.date(2026, 6, 1))
    assert places(ada.post(f"{URL}/{coming.pk}/end", {"ends": "2026-05-31"})) == ["ends"]
    assert ada.post(f"{URL}/{coming.pk}/end", {}).json()["ends"] == "2026-06-01"


def test_who_instructs_and_administers_may(people: Cast, signed_in: Clients) -> None:
    models.Role.objects.create(school=people.school, user=people.ida, role="administrator")
    assert signed_in(people.ida).post(URL, SENT).status_code == 201


NONSENSE = [
    None, True, 0, -1, 1.5, 10**30, float("inf"), "", "x", "1 h", "15 year", "2026-03-01", "9" * 200, "\x00",
    "\ud800",    [], [[]], [None], [{}], ["dual"], [1], {}, {"a": 1}, {"least": "x"}, {"a": {"b": [1]}},
    {"presolo.d-01": None},    [["dual"], "solo"], {"dual": "1 h"},
]  # fmt: skip


@over_rows("kind", ALLOWED)
def test_whatever_is_sent_for_a_parameter_is_read_or_named(kind: str) -> None:
    for key, value in itertools.product(KINDS[kind].params, NONSENSE):
        for fault in read_params(kind, {key: value})[1]:
            assert fault.place in (key, "kind")
