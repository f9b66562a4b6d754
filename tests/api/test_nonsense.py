"""Nonsense at every place of a question: always refused or read, never a fault of ours."""

from __future__ import annotations

import copy
import json
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.db import InterfaceError, OperationalError
from rest_framework.test import APIClient

from api.v1.base import examples
from syllabus.engine.record import document
from tests.support.cast import Cast
from tests.support.extent import sampled
from tests.support.problems import places, problem
from tests.support.rows import over_rows
from training.services import access

URL = "/api/v1/eligibility"
BO = {"name": "Bo Example", "certificate": "0000001CFI"}
STRIP = {"name": "grass strip", "lat": 44.1, "lon": -87.9}
WHEN = "2026-03-02T20:00:00Z"
#: Every key that a question can hold.
EVERYTHING: dict[str, Any] = {
    "record": {
        "format": "training-record/1",
        "student": {"name": "Ada Example", "birth_date": "2008-05-17"},
        "certificates": [
            {
                "id": "c1",
                "kind": "sport",
                "issued": "2026-01-01",
                "category": "airplane",
                "class": "single-engine land",
                "recorded": WHEN,
            }
        ],
        "flights": [
            {
                "id": "f1",
                "date": "2026-03-02",
                "trip": "t1",
                "aircraft": {
                    "registration": "N00XY",
                    "model": "C172",
                    "category": "airplane",
                    "class": "single-engine land",
                    "device": None,
                },
                "route": ["KGRB", STRIP, "KGRB"],
                "off": "2026-03-02T12:00:00-06:00",
                "on": "2026-03-02T13:24:00-06:00",
                "times": {
                    "total": "1.4 h",
                    "dual": "1.4 h",
                    "solo": 0,
                    "pic": 0,
                    "cross_country": "1.4 h",
                    "night": "0.2 h",
                    "actual_instrument": "0.1 h",
                    "simulated_instrument": "0.3 h",
                },
                "landings": [
                    {
                        "at": STRIP,
                        "takeoffs": 3,
                        "landings": 3,
                        "period": "day",
                        "full_stop": True,
                        "pattern": True,
                        "towered": False,
                    }
                ],
                "instructor": BO,
                "purposes": ["practical-test-preparation:private"],
                "remarks": "calm",
                "recorded": WHEN,
            }
        ],
        "ground": [
            {
                "id": "g1",
                "date": "2026-02-20",
                "time": "1.5 h",
                "topic": "rules",
                "instructor": BO,
                "recorded": WHEN,
            }
        ],
        "items": [
            {
                "id": "i1",
                "item": "presolo.d-01",
                "date": "2026-03-02",
                "grade": "perform",
                "flight": "f1",
                "instructor": BO,
                "remarks": "",
                "recorded": WHEN,
            }
        ],
        "documents": [
            {
                "id": "d1",
                "kind": "medical",
                "class": "third",
                "issued": "2026-01-05",
                "expires": "2030-01-31",
                "aircraft_model": "C172",
                "remarks": "",
                "recorded": WHEN,
            }
        ],
        "tests": [
            {
                "id": "t1",
                "kind": "knowledge:private-airplane",
                "date": "2026-05-01",
                "result": "pass",
                "score": 88,
                "aircraft_model": "C172",
                "deficient_codes": ["PA.I.C.K2"],
                "instructor": BO,
                "recorded": WHEN,
            }
        ],
        "endorsements": [
            {
                "id": "e1",
                "kind": "solo-cross-country-flight",
                "given": "2026-04-10",
                "instructor": BO,
                "aircraft_model": "C172",
                "category": "airplane",
                "airport": "KGRB",
                "area": "Chicago",
                "route": ["KGRB", STRIP],
                "flight_date": "2026-04-11",
                "training_date": "2026-04-09",
                "expires": "2026-06-01",
                "conditions": "day only",
                "recorded": WHEN,
            }
        ],
    },
    "milestone": "faa.private-practical-test",
    "on": "2026-07-05",
    "context": {
        "aircraft_model": "C172",
        "category": "airplane",
        "application_date": "2026-07-01",
        "route": ["KGRB", STRIP],
        "airport": STRIP,
        "area": "Chicago",
    },
    "known_at": "2026-07-05T12:00:00Z",
}
#: As JSON text, so that what only text can say is among it.
NONSENSE = {
    "nothing": "null",
    "a number": "7",
    "a number below zero": "-1",
    "a fraction": "0.5",
    "a huge number": "1" + "0" * 30,
    "a number past all floats": "1e400",
    "a number next to none": "1e-400",
    "true": "true",
    "empty text": '""',
    "blank text": '"  "',
    "a word": '"x"',
    "NUL": '"a\\u0000b"',
    "half a character": '"\\ud800"',
    "a character beyond the plane": '"\\ud83d\\udee9"',
    "the last day": '"9999-12-31"',
    "the first day": '"0001-01-01"',
    "an instant at the end of time": '"9999-12-31T23:59:59-23:59"',
    "digits of another script": '"\\u0662\\u0660\\u0662\\u0666-01-01"',
    "an expression": '"9**9**9"',
    "not a number": '"nan h"',
    "a list": "[]",
    "a list in a list": "[[[]]]",
    "a hundred thousand numbers": "[" + "1," * 99_999 + "1]",
    "an object": "{}",
    "an object in an object": '{"a": {"b": {"c": 1}}}',
    "text of a megabyte": '"' + "x" * 1_000_000 + '"',
}
MARK = "@@HERE@@"


def paths(value: Any, before: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a value, the whole of it first."""
    yield before
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, each in inner:
        yield from paths(each, (*before, key))


def changed(path: tuple[Any, ...], change: Callable[[Any], Any]) -> Any:
    """The question with one place changed."""
    made: Any = copy.deepcopy(EVERYTHING)
    if not path:
        return change(made)
    at = made
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = change(at[path[-1]])
    return made


def value_at(path: tuple[Any, ...]) -> Any:
    at: Any = EVERYTHING
    for key in path:
        at = at[key]
    return at


def named(path: tuple[Any, ...]) -> str:
    text = ""
    for key in path:
        text += f"[{key}]" if isinstance(key, int) else f".{key}" if text else key
    return text


def post(client: APIClient, body: str) -> Any:
    return client.generic("POST", URL, body.encode(), content_type="application/json")


PLACES = list(paths(EVERYTHING))


@pytest.fixture
def unhurried(monkeypatch: pytest.MonkeyPatch) -> APIClient:
    monkeypatch.setattr("api.v1.base.throttles.OpenThrottle.allow_request", lambda *args: True)
    return APIClient()


def test_the_question_itself_is_answered(anyone: APIClient) -> None:
    assert anyone.post(URL, EVERYTHING).status_code == 200
    assert len(PLACES) > 120


@over_rows("what", NONSENSE)
def test_nonsense_at_every_place(unhurried: APIClient, what: str) -> None:
    """At a sixth of the places, others for each nonsense; at all of them in a full run."""
    for path in sampled(PLACES, 6, lambda each: what + named(each)):
        text = json.dumps(changed(path, lambda _: MARK)).replace(f'"{MARK}"', NONSENSE[what])
        answer = post(unhurried, text)
        if answer.status_code == 200:
            assert answer.json()["requirements"], named(path)
        else:
            told = problem(answer, 422)
            assert len(answer.content) < 100_000, named(path)
            # A contradiction may be told at a neighbour: the total changed, and now the dual is more.
            beside = [each["place"].startswith(named(path[:-1])) for each in told["errors"]]
            assert any(beside) or path[-1:] == ("id",), (named(path), told)


@over_rows("path", [path for path in PLACES if isinstance(value_at(path), dict)], ids=named)
def test_an_unknown_key_is_named_wherever_it_stands(unhurried: APIClient, path: tuple[Any, ...]) -> None:
    answer = unhurried.post(URL, changed(path, lambda value: {**value, "nonsense": 1}))
    assert places(answer) == [f"{named(path)}.nonsense" if path else "nonsense"]


@pytest.mark.parametrize(
    ("body", "what"),
    [
        pytest.param(lambda: {f"k{n}": 1 for n in range(100_000)}, "record", id="100,000 unknown keys"),
        pytest.param(
            lambda: {"format": document.FORMAT, "flights": [{"nonsense": n} for n in range(9_999)]},
            "record.flights",
            id="9,999 flights of nothing but faults",
        ),
        pytest.param(
            lambda: {"format": document.FORMAT, "flights": [{"id": "x", "date": "2026-01-01"}] * 9_999},
            "record.flights",
            id="9,999 flights of one id",
        ),
        pytest.param(
            lambda: {"format": document.FORMAT, "tests": [{"kind": "q" * 90}] * 9_999},
            "record.tests",
            id="9,999 tests of a long kind",
        ),
        pytest.param(
            lambda: {
                "format": document.FORMAT,
                "flights": [
                    {"id": str(n), "date": "2026-01-01", "route": ["KZZ" + str(n)] * 20} for n in range(999)
                ],
            },
            "record.flights",
            id="20,000 airports that nobody knows",
        ),
    ],
)
def test_a_large_body_of_faults_is_refused_in_seconds(
    anyone: APIClient, body: Callable[[], Any], what: str
) -> None:
    text = json.dumps({**examples.question(), "record": body()})
    begun = time.process_time()
    answer = post(anyone, text)
    assert time.process_time() - begun < 2
    assert all(place.startswith(what) for place in places(answer))


def test_a_key_that_stands_twice_among_many_is_found_in_a_moment(anyone: APIClient) -> None:
    body = "{" + ",".join(f'"k{n}": 1' for n in range(200_000)) + ', "k7": 2}'
    begun = time.process_time()
    assert "'k7'" in problem(post(anyone, body), 400)["errors"][0]["message"]
    assert time.process_time() - begun < 5


@pytest.mark.any_database  # test_guardian_accounts makes these queries on SQLite
@pytest.mark.parametrize("fault", [OperationalError, InterfaceError])
@pytest.mark.parametrize("path", ["/api/v1/students/", "/students/0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a01/"])
def test_a_database_that_is_away_is_no_fault_of_ours_and_comes_back(
    people: Cast, monkeypatch: pytest.MonkeyPatch, path: str, fault: type[Exception]
) -> None:
    client = APIClient(raise_request_exception=False)
    client.force_login(people.ida)

    def away(*_: Any, **__: Any) -> None:
        raise fault("the connection is closed: host 10.0.0.1")

    monkeypatch.setattr(access, "visible_students", away)
    monkeypatch.setattr(access, "open_record", away)
    monkeypatch.setattr(access, "opened", away)
    answer = client.get(path)
    assert (answer.status_code, answer["Retry-After"]) == (503, "5")
    assert "10.0.0.1" not in answer.content.decode()
    if path.startswith("/api/"):
        problem(answer, 503)
