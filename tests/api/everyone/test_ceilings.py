"""What anybody may ask the stateless call to do: the worst bodies that it can be sent, and what they cost."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.api.conftest import Clients
from tests.bench.flights import document
from tests.support.cast import Cast
from tests.support.problems import problem

URL = "/api/v1/eligibility"
#: Seconds of processor time, on a machine that others use too; each of these took up to a minute before.
#: Where the lines are counted, each costs more the first time.
MOST = 2.5 if os.environ.get("TEST_COVERAGE") else 1.5
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"


def asked(record: Any) -> str:
    question = {"milestone": "faa.private-practical-test", "on": "2026-11-01", "record": record}
    return json.dumps(question)


def record(**parts: list[Any]) -> dict[str, Any]:
    return {"format": "training-record/1", **parts}


def flight(number: int, **said: Any) -> dict[str, Any]:
    return {"id": f"f{number}", "date": f"20{10 + number % 16}-0{1 + number % 9}-1{number % 10}", **said}


def identifier(number: int) -> str:
    """One of 46,656 identifiers; hardly any is an airport's."""
    return f"Q{LETTERS[number // 1296 % 36]}{LETTERS[number // 36 % 36]}{LETTERS[number % 36]}"


def position(number: int) -> dict[str, float]:
    return {"lat": 30 + number * 7919 % 20_000 / 1000, "lon": -120 + number * 104_729 % 40_000 / 1000}


def away(number: int, places: int) -> dict[str, Any]:
    """A night flight over positions that no other flight has."""
    entry = flight(number, times={"total": 3, "solo": 3, "cross_country": 3, "night": 3})
    day = entry["date"]
    return {
        **entry,
        "off": f"{day}T16:30:00-06:00",
        "on": f"{day}T19:30:00-06:00",
        "route": [position(number * places + each) for each in range(places)],
    }


BODIES: dict[str, tuple[Callable[[], str], str]] = {
    "600 flights with 90 unknown airports each": (
        lambda: asked(
            record(flights=[flight(n, route=[identifier(n * 90 + k) for k in range(90)]) for n in range(600)])
        ),
        "1,000 errors",
    ),
    "the same as text": (
        lambda: asked(
            record(
                flights=[
                    flight(n, route=" ".join(identifier(n * 90 + k) for k in range(90))) for n in range(600)
                ]
            )
        ),
        "1,000 errors",
    ),
    "identifiers like many airports": (
        lambda: asked(
            record(flights=[flight(n, route=f"Q{a}{b}") for n, a in enumerate(LETTERS) for b in LETTERS])
        ),
        "1,000 errors",
    ),
    "thousands of errors": (
        lambda: asked(record(flights=[{"id": n, "date": "x", "nonsense": n} for n in range(9_999)])),
        "1,000 errors",
    ),
    "unknown keys": (
        lambda: asked(record(flights=[{f"rout{n}x{k}": 1 for k in range(40)} for n in range(9_999)])),
        "1,000 errors",
    ),
    "too many entries": (
        lambda: asked(record(flights=[flight(n) for n in range(9_000)], items=[{}] * 1_001)),
        "10,001 entries in the record; at most 10,000",
    ),
    "objects in objects": (
        lambda: asked([{}] * 2_000_000),
        "2,000,002 JSON objects and lists; at most 400,000",
    ),
    "lists in lists": (lambda: "[" * 4_000_000, "4,000,000 JSON objects and lists; at most 400,000"),
    "purposes that are nearly one": (
        lambda: asked(
            record(
                flights=[
                    flight(n, purposes=[f"practical-tst-prepar{n}-{k}" for k in range(20)])
                    for n in range(6_000)
                ]
            )
        ),
        "1,000 different words",
    ),
    "kinds that are nearly one": (
        lambda: asked(
            record(
                endorsements=[
                    {"id": f"e{n}", "kind": f"solo-{identifier(n).lower()}-country", "given": "2026-01-01"}
                    for n in range(9_999)
                ]
            )
        ),
        "1,000 different words",
    ),
    "many positions": (
        lambda: asked(
            record(flights=[flight(n, route=[position(n * 100 + k) for k in range(100)]) for n in range(300)])
        ),
        "5,000 places given by position",
    ),
    "night flights over long legs": (
        lambda: asked(record(flights=[away(n, 2) for n in range(2_400)])),
        "0.7 s of processor time",
    ),
    "night flights over a hundred legs": (
        lambda: asked(record(flights=[away(n, 100) for n in range(49)])),
        "0.7 s of processor time",
    ),
    "9,999 entries of one flight": (
        lambda: asked(
            record(
                flights=[
                    {**away(n, 1), "route": "KGRB KMTW", "trip": "one", "date": "2020-01-01"}
                    | {"off": None, "on": None}
                    for n in range(9_999)
                ]
            )
        ),
        "",
    ),
    "huge numbers of landings": (
        lambda: asked(
            record(
                flights=[
                    flight(
                        n,
                        times={"total": 5, "solo": 5, "night": 5},
                        route="KGRB KMTW " * 50,
                        landings=[
                            {
                                "at": "KGRB",
                                "landings": n + k,
                                "full_stop": True,
                                "period": "night",
                                "towered": True,
                            }
                            for k in range(40)
                        ],
                    )
                    for n in range(1_400)
                ]
            )
        ),
        "",
    ),
    "9,999 endorsements": (
        lambda: asked(
            record(
                endorsements=[
                    {
                        "id": f"e{n}",
                        "kind": "solo-cross-country-flight",
                        "given": flight(n)["date"],
                        "instructor": {"name": f"Bo {n}", "certificate": "1"},
                        "route": "KGRB KMTW",
                        "aircraft_model": "C172",
                    }
                    for n in range(9_999)
                ]
            )
        ),
        "",
    ),
    "digits": (
        lambda: asked(record(flights=[flight(n, times={"total": "9" * 4_000}) for n in range(1_900)])),
        "1,000 errors",
    ),
}


def cost(client: APIClient, body: str) -> tuple[Any, float]:
    assert len(body) < 8 * 1024 * 1024
    begun = time.process_time()
    answer = client.generic("POST", URL, body.encode(), content_type="application/json")
    return answer, time.process_time() - begun


@pytest.mark.parametrize(("body", "said"), BODIES.values(), ids=BODIES)
def test_the_worst_body_takes_about_a_second(anyone: APIClient, body: Callable[[], str], said: str) -> None:
    cost(anyone, asked(record(flights=[flight(1, route="KGRB QQQQ")])))  # reads airports and rules
    answer, seconds = cost(anyone, body())
    assert seconds < MOST
    if said or answer.status_code != 200:
        told = problem(answer, 422)["detail"]
        assert (said or "processor time") in told
        assert told.rstrip(".").count(". ") >= 1, "the way out"


@pytest.mark.django_db
def test_whoever_is_signed_in_has_the_same_ceilings(people: Cast, signed_in: Clients) -> None:
    cost(signed_in(people.ida), asked(record(flights=[flight(1, route="KGRB QQQQ")])))  # as above
    answer, seconds = cost(signed_in(people.ida), BODIES["600 flights with 90 unknown airports each"][0]())
    assert "1,000 errors" in problem(answer, 422)["detail"]
    assert seconds < MOST


def test_a_long_logbook_is_answered(anyone: APIClient) -> None:
    cost(anyone, asked(document(1)))
    answer, seconds = cost(anyone, asked(document(1_000)))
    assert answer.status_code == 200
    assert seconds < MOST


def test_an_error_counts_at_its_place_within_the_record(anyone: APIClient) -> None:
    answer, _ = cost(anyone, asked(record(flights=[{"id": f"f{n}", "date": "x"} for n in range(2_000)])))
    told = problem(answer, 422)
    assert told["errors"][99]["place"] == "record.flights[99].date"
    assert told["errors_not_listed"] == 901
