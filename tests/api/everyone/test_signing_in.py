"""Tokens, and who gets one."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
import time_machine
from knox.models import AuthToken
from rest_framework.test import APIClient

from tests.support import factories
from tests.support.cast import Cast
from tests.support.problems import places, problem
from training import models

LOGIN, LOGOUT, ME = "/api/v1/auth/login", "/api/v1/auth/logout", "/api/v1/students/"
PASSWORD = "a fine day for it"


@pytest.fixture
def bo(db: None) -> models.User:
    return factories.user(email="bo@school.example", password=PASSWORD)


def token(client: APIClient, **given: Any) -> str:
    answer = client.post(LOGIN, {"email": "bo@school.example", "password": PASSWORD, **given})
    assert answer.status_code == 200, answer.content
    return str(answer.json()["token"])


def authorized(value: str) -> dict[str, str]:
    return {"Authorization": f"Token {value}"}


def test_a_token_is_good_until_it_is_ended(anyone: APIClient, bo: models.User) -> None:
    first, second = token(anyone), token(anyone, email=" BO@School.example ")
    assert first != second
    assert anyone.get(ME, headers=authorized(first)).status_code == 200
    assert anyone.post(LOGOUT, headers=authorized(first)).status_code == 204
    problem(anyone.get(ME, headers=authorized(first)), 401)
    assert anyone.get(ME, headers=authorized(second)).status_code == 200


def test_a_token_expires(anyone: APIClient, bo: models.User) -> None:
    answer = anyone.post(LOGIN, {"email": bo.email, "password": PASSWORD}).json()
    expires = dt.datetime.fromisoformat(answer["expires"])
    assert dt.timedelta() < expires - dt.datetime.now(dt.UTC) <= dt.timedelta(days=1)
    used = anyone.post(LOGIN, {"email": bo.email, "password": PASSWORD}).json()
    with time_machine.travel(expires - dt.timedelta(seconds=5)):
        assert anyone.get(ME, headers=authorized(used["token"])).status_code == 200
    with time_machine.travel(expires + dt.timedelta(seconds=1)):
        told = anyone.get(ME, headers=authorized(answer["token"]))
        problem(told, 401)
        assert told["WWW-Authenticate"] == "Token"


def test_the_oldest_token_makes_room_for_the_twenty_first(anyone: APIClient, bo: models.User) -> None:
    start = dt.datetime.now(dt.UTC)
    with time_machine.travel(start) as clock:
        made = []
        for _ in range(21):
            made.append(token(anyone))
            clock.shift(30)
        assert AuthToken.objects.filter(user=bo).count() == 20
        problem(anyone.get(ME, headers=authorized(made[0])), 401)
        assert anyone.get(ME, headers=authorized(made[1])).status_code == 200


@pytest.mark.parametrize(
    "given",
    [
        pytest.param({"email": "bo@school.example", "password": "another"}, id="another password"),
        pytest.param({"email": "nobody@school.example", "password": PASSWORD}, id="nobody's address"),
        pytest.param({"email": "x" * 200, "password": PASSWORD}, id="no address"),
        pytest.param({"email": "bo@school.example", "password": ""}, id="no password"),
    ],
)
def test_what_does_not_go_together_is_refused_alike(
    anyone: APIClient, bo: models.User, given: dict[str, str]
) -> None:
    told = problem(anyone.post(LOGIN, given), 401)
    assert told["detail"] == "Wrong e-mail or password."


def test_someone_who_left_gets_no_token_and_theirs_is_good_no_longer(
    anyone: APIClient, bo: models.User
) -> None:
    held = token(anyone)
    models.User.objects.filter(pk=bo.pk).update(is_active=False)
    problem(anyone.get(ME, headers=authorized(held)), 401)
    problem(anyone.post(LOGIN, {"email": bo.email, "password": PASSWORD}), 401)


@pytest.mark.parametrize(
    ("given", "named"),
    [
        pytest.param({}, ["email", "password"], id="nothing"),
        pytest.param([], [""], id="a list"),
        pytest.param({"email": "a", "password": "b", "remember": True}, ["remember"], id="one key too many"),
        pytest.param({"email": 1, "password": {}}, ["email", "password"], id="a number and an object"),
        pytest.param({"email": "a\x00", "password": "b\x00"}, ["email", "password"], id="NUL"),
        pytest.param({"email": "a", "password": "b" * 20_000}, ["password"], id="a very long password"),
    ],
)
@pytest.mark.django_db
def test_what_cannot_be_read_is_named(anyone: APIClient, given: Any, named: list[str]) -> None:
    assert places(anyone.post(LOGIN, given))[: len(named)] == named


def test_half_a_character_is_no_password(anyone: APIClient, bo: models.User) -> None:
    body = b'{"email": "\\ud800", "password": "\\ud800"}'
    answer = anyone.generic("POST", LOGIN, body, content_type="application/json")
    assert places(answer) == ["email", "password"]


def test_guessing_is_slowed_down(anyone: APIClient, bo: models.User) -> None:
    with time_machine.travel(dt.datetime.now(dt.UTC), tick=False):
        for _ in range(5):
            problem(anyone.post(LOGIN, {"email": bo.email, "password": "guess"}), 401)
        problem(anyone.post(LOGIN, {"email": bo.email.upper(), "password": "guess"}), 429)
        for number in range(4):
            problem(anyone.post(LOGIN, {"email": f"{number}@school.example", "password": "guess"}), 401)
        problem(anyone.post(LOGIN, {"email": "one.more@school.example", "password": "guess"}), 429)


@pytest.mark.parametrize(
    "header",
    [
        pytest.param("Token", id="no token"),
        pytest.param("Token a b", id="two tokens"),
        pytest.param("Token " + "0" * 64, id="a token that was never given"),
        pytest.param("Token " + "0" * 100_000, id="a very long token"),
        pytest.param("Token é", id="a letter with an accent"),
        pytest.param("Token \x00" + "0" * 63, id="NUL"),
        pytest.param("Bearer " + "0" * 64, id="a bearer of something"),
        pytest.param("Basic Ym86Ym8=", id="a password in every call"),
    ],
)
@pytest.mark.django_db
def test_a_header_that_holds_no_token_of_ours_lets_nobody_in(anyone: APIClient, header: str) -> None:
    told = anyone.get(ME, headers={"Authorization": header})
    problem(told, 401)
    assert told["WWW-Authenticate"] == "Token"


def test_the_pages_session_is_good_for_reading_and_a_change_needs_its_csrf_token(people: Cast) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(people.ida)
    assert client.get(ME).status_code == 200
    url = f"/api/v1/students/{people.sam.ref}/record"
    told = problem(client.put(url, {"format": "training-record/1"}, headers={"If-Match": "*"}), 403)
    assert "CSRF" in told["detail"]


def test_ending_a_token_takes_a_token(people: Cast) -> None:
    client = APIClient()
    client.force_login(people.ida)
    problem(client.post(LOGOUT), 401)


@pytest.mark.django_db
def test_no_answer_is_kept_on_the_way(anyone: APIClient) -> None:
    assert anyone.post(LOGIN, {})["Cache-Control"] == "no-store"
