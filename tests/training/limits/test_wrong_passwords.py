"""Wrong passwords lock an account for a while wherever they are entered, and its owner learns of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client

from tests.support import factories
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from training import models
from training.services.signing import reauthentication, wrong_passwords
from training.services.signing.reauthentication import Act, Given, Site

PASSWORD = factories.PASSWORD
ACT, SITE = Act("lesson.signed", "", "", ""), Site("localhost", ("http://localhost",))


@pytest.fixture
def clock() -> Iterator[Any]:
    cache.clear()
    with time_machine.travel(dt.datetime.now(dt.UTC), tick=False) as found:
        yield found


@pytest.fixture
def ida(people: Cast) -> models.User:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    return people.ida


def by_signing(user: models.User, password: str) -> str:
    try:
        reauthentication.confirm(user, Given(password), ACT, site=SITE)
    except reauthentication.Locked:
        return "locked"
    except reauthentication.NotConfirmed:
        return "wrong"
    return "right"


def by_the_api(user: models.User, password: str) -> str:
    answer = Client().post(
        "/api/v1/auth/login",
        {"email": user.email, "password": password},
        content_type="application/json",
        REMOTE_ADDR=f"203.0.113.{next(ADDRESSES)}",
    )
    return {200: "right", 401: "wrong", 429: "locked"}[answer.status_code]


def by_the_page(user: models.User, password: str) -> str:
    answer = Client().post(
        "/login/", {"login": user.email, "password": password}, REMOTE_ADDR=f"203.0.113.{next(ADDRESSES)}"
    )
    if answer.status_code == 302:
        return "right"
    return "locked" if "Too many attempts" in answer.content.decode() else "wrong"


ADDRESSES = iter(range(1, 250))
WAYS: list[Callable[[models.User, str], str]] = [by_signing, by_the_api, by_the_page]


@pytest.mark.parametrize("way", WAYS)
def test_five_wrong_passwords_lock_from_any_address_and_at_every_door(
    ida: models.User, clock: Any, way: Callable[[models.User, str], str]
) -> None:
    assert [way(ida, "guess") for _ in range(5)] == ["wrong"] * 5
    assert [each(ida, PASSWORD) for each in WAYS] == ["locked"] * 3
    clock.shift(wrong_passwords.SECONDS + 1)
    assert [each(ida, PASSWORD) for each in WAYS] == ["right"] * 3


def test_wrong_passwords_at_different_doors_add_up(ida: models.User, clock: Any) -> None:
    for way in (by_signing, by_the_api, by_the_page, by_signing, by_the_api):
        assert way(ida, "guess") == "wrong"
    assert by_signing(ida, PASSWORD) == "locked"


def test_the_right_password_counts_for_nothing(ida: models.User, clock: Any) -> None:
    assert {by_signing(ida, PASSWORD) for _ in range(20)} == {"right"}


def test_its_owner_learns_of_it_once(ida: models.User, clock: Any) -> None:
    for _ in range(8):
        by_signing(ida, "guess")
    (told,) = mails_sent()
    assert told.to == [ida.email]
    assert "A wrong password was entered for your account five times" in str(told.body)
    assert "guess" not in str(told.body)
