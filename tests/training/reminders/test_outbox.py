"""What is to be sent is sent once; what cannot be sent is tried again, given up, and seen."""

from __future__ import annotations

import datetime as dt
import itertools
import math
import smtplib

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from tests.support.cast import Cast
from tests.support.reminding import at, sam, solo, sweep
from training import models
from training.services.reminders import failures, outbox

pytestmark = pytest.mark.django_db
MORNING = at("2026-04-18 12:00")


class Server(EmailBackend):
    """A mail server that says what the test tells it to."""

    closed = False
    refusing: dict[str, Exception] = {}

    def open(self) -> bool:
        if Server.closed:
            raise ConnectionRefusedError(111, "refused")
        return True

    def send_messages(self, messages):
        for each in messages:
            if fault := Server.refusing.get(each.to[0]):
                raise fault
        return super().send_messages(messages)


@pytest.fixture
def server(settings, monkeypatch):
    settings.MAIL_BACKEND = f"{__name__}.Server"
    monkeypatch.setattr(Server, "closed", False)
    monkeypatch.setattr(Server, "refusing", {})
    return Server


def send(now: dt.datetime) -> None:
    """What a sweep does with the deliveries that there are."""
    outbox.send(until=math.inf, now=lambda: now)


def state(people: Cast) -> tuple[str, int]:
    return models.Delivery.objects.values_list("state", "attempts").get(user=people.ida)


@pytest.mark.any_database  # others here and test_search make these queries on SQLite
def test_a_server_that_is_away_costs_nothing_and_all_goes_out_when_it_is_back(people: Cast, server) -> None:
    sam(people, solo("2026-02-01"))
    server.closed = True
    sweep(MORNING)
    for minute in range(1, 20):
        send(MORNING + dt.timedelta(minutes=minute))
    assert state(people) == ("pending", 0)
    server.closed = False
    sweep(MORNING + dt.timedelta(minutes=21))
    assert sorted(each.to[0] for each in mail.outbox) == ["ida@lakeside.example", "sam@lakeside.example"]


def test_a_refusal_for_good_is_given_up_at_once_and_holds_up_nobody(people: Cast, server) -> None:
    sam(people, solo("2026-02-01"))
    server.refusing["ida@lakeside.example"] = smtplib.SMTPRecipientsRefused(
        {"ida@lakeside.example": (550, b"no such user")}
    )
    sweep(MORNING)
    assert state(people) == ("failed", 1)
    assert [each.to for each in mail.outbox] == [["sam@lakeside.example"]]
    [failure] = failures.deliveries(people.school)
    assert (failure["to"], failure["attempts"]) == ("ida@lakeside.example", 1)
    assert "no such user" in failure["fault"]


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
def test_any_other_fault_is_tried_again_with_longer_pauses_and_then_given_up(people: Cast, server) -> None:
    sam(people, solo("2026-02-01"))
    server.refusing["ida@lakeside.example"] = smtplib.SMTPDataError(451, b"try again")
    sweep(MORNING)
    now, seen = MORNING, [state(people)]
    while seen[-1][0] != "failed" and now < MORNING + dt.timedelta(days=3):
        now += dt.timedelta(minutes=5)
        send(now)
        seen.append(state(people))
    sweep(MORNING + dt.timedelta(days=3))
    assert seen[-1] == state(people) == ("failed", outbox.MOST_ATTEMPTS)
    first_tries = [seen.index(("pending", attempt)) * 5 for attempt in range(1, outbox.MOST_ATTEMPTS)]
    pauses = [later - earlier for earlier, later in itertools.pairwise(first_tries)]
    assert pauses == [5, 5, 30, 120, 360]
    assert sum(each.to == ["sam@lakeside.example"] for each in mail.outbox) >= 1


def test_a_mail_that_ends_its_worker_each_time_is_stopped(people: Cast, server) -> None:
    """A claim is counted before the mail is tried; nothing comes after it here, as after a kill."""
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 05:00")
    models.Delivery.objects.exclude(user=people.ida).update(state="withdrawn")
    for _ in range(outbox.MOST_ATTEMPTS):
        assert outbox._claim(MORNING) is not None
    assert state(people) == ("pending", outbox.MOST_ATTEMPTS)
    sweep(MORNING)
    assert models.Delivery.objects.get(user=people.ida).state == "failed"
    assert mail.outbox == []
    assert failures.deliveries(people.school)[0]["fault"].startswith("every try ended its process")


def test_a_try_that_another_worker_has_overtaken_sends_nothing(people: Cast, server) -> None:
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 05:00")
    models.Delivery.objects.exclude(user=people.ida).update(state="withdrawn")
    pk, first = outbox._claim(MORNING) or ("", 0)
    again, second = outbox._claim(MORNING) or ("", 0)
    assert (pk, first, second) == (again, 1, 2)
    with outbox._held(pk, first) as delivery:
        assert delivery is None
    with outbox._held(pk, second) as delivery:
        assert delivery is not None
