"""A session and a token end when nobody uses them, and after a day's work in any case."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.test import Client
from rest_framework.test import APIClient

from tests.repository.test_settings import read
from tests.support.browsing import PASSWORD
from tests.support.cast import Cast
from training import models

BEGAN = dt.datetime(2026, 3, 2, 14, tzinfo=dt.UTC)


@pytest.fixture
def ida(people: Cast) -> models.User:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    return people.ida


def signed_in(user: models.User) -> Client:
    client = Client()
    assert client.post("/login/", {"login": user.email, "password": PASSWORD}).status_code == 302
    return client


def token_of(user: models.User) -> tuple[APIClient, dict[str, Any]]:
    client = APIClient()
    made = client.post("/api/v1/auth/login", {"email": user.email, "password": PASSWORD}).json()
    client.credentials(HTTP_AUTHORIZATION=f"Token {made['token']}")
    return client, made


def opens(client: Client) -> bool:
    return bool(client.get("/account/").status_code == 200)


def answers(client: APIClient) -> bool:
    return bool(client.get("/api/v1/notices").status_code == 200)


@pytest.mark.parametrize(("minutes", "stays"), [(119, True), (121, False)])
def test_a_session_ends_two_hours_after_it_was_used_last(ida: models.User, minutes: int, stays: bool) -> None:
    with time_machine.travel(BEGAN, tick=False) as clock:
        client = signed_in(ida)
        clock.shift(dt.timedelta(minutes=90))
        assert opens(client)
        clock.shift(dt.timedelta(minutes=minutes))
        assert opens(client) is stays
        assert (client.get("/api/v1/notices").status_code == 200) is stays  # the API's session is the same


def test_a_session_that_is_used_all_day_ends_after_twelve_hours(ida: models.User) -> None:
    with time_machine.travel(BEGAN, tick=False) as clock:
        client = signed_in(ida)
        for _ in range(11):
            clock.shift(dt.timedelta(minutes=65))
            assert opens(client)
        clock.shift(dt.timedelta(minutes=6))  # 12 h 1 min
        assert not opens(client)


def test_a_browser_forgets_the_cookie_when_the_session_ends(ida: models.User) -> None:
    with time_machine.travel(BEGAN, tick=False) as clock:
        client = signed_in(ida)
        assert client.cookies["sessionid"]["max-age"] == 2 * 60 * 60
        clock.shift(dt.timedelta(minutes=61))
        client.get("/account/")
        assert client.cookies["sessionid"]["max-age"] == 2 * 60 * 60
        for _ in range(7):
            clock.shift(dt.timedelta(minutes=85))
            client.get("/account/")
        assert client.cookies["sessionid"]["max-age"] == (12 * 60 - 61 - 7 * 85) * 60


def test_what_says_nothing_of_somebody_keeps_no_session_open(ida: models.User) -> None:
    """What a browser fetches by itself."""
    with time_machine.travel(BEGAN, tick=False) as clock:
        client = signed_in(ida)
        for _ in range(2):
            clock.shift(dt.timedelta(minutes=61))
            for path in ("/healthz", "/words/en.js", "/worker.js", "/manifest.webmanifest"):
                client.get(path)
        assert not opens(client)


@pytest.mark.parametrize(("minutes", "stays"), [(119, True), (121, False)])
def test_a_token_ends_two_hours_after_it_was_used_last(ida: models.User, minutes: int, stays: bool) -> None:
    with time_machine.travel(BEGAN, tick=False) as clock:
        client, made = token_of(ida)
        assert made["expires"] == "2026-03-02T16:00:00+00:00"
        clock.shift(dt.timedelta(minutes=90))
        assert answers(client)
        clock.shift(dt.timedelta(minutes=minutes))
        assert answers(client) is stays


def test_a_token_that_is_used_all_day_ends_after_twelve_hours(ida: models.User) -> None:
    with time_machine.travel(BEGAN, tick=False) as clock:
        client, _ = token_of(ida)
        for _ in range(11):
            clock.shift(dt.timedelta(minutes=65))
            assert answers(client)
        clock.shift(dt.timedelta(minutes=6))
        assert not answers(client)


def test_the_limits_are_the_operators(tmp_path: Path) -> None:
    found = read(tmp_path, SESSION_IDLE_MINUTES="30", SESSION_HOURS="8")
    assert (found["SESSION_COOKIE_AGE"], found["SESSION_LASTS"]) == (30 * 60, 8 * 60 * 60)
    assert found["REST_KNOX"]["TOKEN_TTL"] == dt.timedelta(minutes=30)
    with pytest.raises(Exception, match="SESSION_IDLE_MINUTES is '0'; write a whole number of at least 5"):
        read(tmp_path, SESSION_IDLE_MINUTES="0")


@pytest.mark.parametrize("https", [True, False])
def test_behind_https_the_cookies_belong_to_this_host_alone(
    ida: models.User, settings: Any, tmp_path: Path, https: bool
) -> None:
    """``__Host-``: a browser takes it with Secure, the path / and no domain, and over https alone."""
    found = read(tmp_path, HTTPS="on" if https else "off")
    for name in ("SESSION_COOKIE_NAME", "CSRF_COOKIE_NAME", "SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE"):
        setattr(settings, name, found[name])
    client = Client()
    client.get("/login/", secure=https)
    client.post("/login/", {"login": ida.email, "password": PASSWORD}, secure=https)
    wanted = {"__Host-sessionid", "__Host-csrftoken"} if https else {"sessionid", "csrftoken"}
    assert wanted <= set(client.cookies)
    for name in wanted:
        cookie = client.cookies[name]
        assert (bool(cookie["secure"]), cookie["path"], cookie["domain"]) == (https, "/", "")
