"""Solo releases over HTTP: checked, asked for, decided, ended; every refusal says why."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
import time_machine

from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import factories
from tests.support.cast import Cast
from tests.support.problems import problem
from tests.support.releasing import AT, FLIGHT, TO_CONFIRM, Engine, engine
from training import models
from training.ledger.core import assertions
from training.ledger.models import Entry

__all__ = ["engine"]


@pytest.fixture(autouse=True)
def noon_of_the_day() -> Any:
    with time_machine.travel(AT, tick=False):
        yield


@pytest.fixture
def place(people: Cast, engine: Engine) -> str:
    return f"/api/v1/students/{people.sam.ref}/solo-releases"


def to_ask(**other: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "flight": FLIGHT, **other}


def to_decide(checked: str, **other: Any) -> dict[str, Any]:
    return {
        "decision": "released",
        "checked": checked,
        "lines_confirmed": list(TO_CONFIRM),
        "confirm_password": factories.PASSWORD,
        **other,
    }


def test_a_student_asks_and_the_instructor_releases(signed_in: Clients, people: Cast, place: str) -> None:
    sam, ida = signed_in(people.sams_account), signed_in(people.ida)
    sent = to_ask()
    asked = sam.post(place, sent, format="json")
    assert asked.status_code == 201
    fits(asked.json(), "SoloRelease")
    assert sam.post(place, sent, format="json").status_code == 200
    check = ida.post(f"{place}/check", {"flight": FLIGHT}, format="json").json()
    fits(check, "ReleaseCheck")
    assert check["met"] is False
    assert [each["met"] for each in check["lines"]] == [None, None, True]
    here = f"{place}/{sent['id']}"
    done = ida.post(f"{here}/decide", to_decide(check["checked"]), format="json")
    assert done.status_code == 200, done.json()
    fits(done.json(), "SoloRelease")
    assert done.json()["state"] == "released"
    assert done.json()["decision"]["ends_at"] == "2026-03-03T20:00:00Z"
    assert ida.post(f"{here}/decide", to_decide(check["checked"]), format="json").json() == done.json()
    assert sam.get(here).json() == done.json()
    listed = sam.get(place).json()
    fits(listed, "SoloReleaseList")
    assert listed["releases"] == [done.json()]
    ended = sam.post(f"{here}/end", {"reason": "Flown"}, format="json").json()
    assert (ended["state"], ended["end"]["reason"]) == ("ended", "Flown")
    assert all(each["caution"] for each in (check, done.json(), listed, ended))


def test_a_changed_answer_refuses_with_a_fresh_check(
    signed_in: Clients, people: Cast, place: str, engine: Engine
) -> None:
    ida, sent = signed_in(people.ida), to_ask()
    ida.post(place, sent, format="json")
    before = ida.post(f"{place}/check", {"flight": FLIGHT}, format="json").json()["checked"]
    engine.answers["law.medical"] = None
    refused = ida.post(f"{place}/{sent['id']}/decide", to_decide(before), format="json")
    told = problem(refused, 409)
    fits(told["check"], "ReleaseCheck")
    assert told["check"]["lines"][0]["id"] == "law.medical"
    assert told["check"]["checked"] != before
    again = to_decide(told["check"]["checked"])
    assert problem(ida.post(f"{place}/{sent['id']}/decide", again, format="json"), 422)["errors"] == [
        {
            "place": "reason",
            "message": "is empty; write why you release it although a line is not met or unknown",
        }
    ]
    done = ida.post(f"{place}/{sent['id']}/decide", {**again, "reason": "Seen."}, format="json").json()
    assert done["decision"]["against"] is True


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        pytest.param({"confirm_password": "wrong"}, 403, id="a wrong password"),
        pytest.param({"confirm_password": None}, 422, id="no re-authentication"),
        pytest.param({"decision": "maybe"}, 422, id="no such decision"),
        pytest.param({"checked": "sha256:" + "0" * 64}, 409, id="another check"),
        pytest.param({"lines_confirmed": ["law.medical"]}, 422, id="a line of the law"),
        pytest.param({"decision": "declined"}, 422, id="declined without a reason"),
    ],
)
def test_what_is_not_signed_is_refused(
    signed_in: Clients, people: Cast, place: str, changed: dict[str, Any], status: int
) -> None:
    ida, sent = signed_in(people.ida), to_ask()
    ida.post(place, sent, format="json")
    check = ida.post(f"{place}/check", {"flight": FLIGHT}, format="json").json()["checked"]
    answer = ida.post(f"{place}/{sent['id']}/decide", {**to_decide(check), **changed}, format="json")
    problem(answer, status)
    assert not models.ReleaseDecision.objects.exists()


def test_a_flight_that_cannot_be_read_is_told_at_its_place(
    signed_in: Clients, people: Cast, place: str
) -> None:
    sam = signed_in(people.sams_account)
    for path, sent in (("/check", {"flight": {}}), ("", to_ask(flight={}))):
        told = problem(sam.post(f"{place}{path}", sent, format="json"), 422)
        assert {"flight.route", "flight.off"} & {each["place"] for each in told["errors"]}
    assert not models.SoloRelease.objects.exists()


def test_what_the_ledger_has_is_over_the_check(signed_in: Clients, people: Cast, place: str) -> None:
    ida, sent = signed_in(people.ida), to_ask()
    ida.post(place, sent, format="json")
    check = ida.post(f"{place}/check", {"flight": FLIGHT}, format="json").json()["checked"]
    ida.post(f"{place}/{sent['id']}/decide", to_decide(check), format="json")
    body = Entry.objects.get(kind="solo-release.decided").kept.value
    assert assertions.hash_of(body["check"]) == body["checked"] == check
    assert dt.datetime.fromisoformat(body["ends_at"]) == AT + dt.timedelta(hours=2)
