"""The administrator's pages of how long a record is kept: the law's days, holds, and the erasure."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.test import Client
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer

from tests.support import handing
from tests.support.browsing import PASSWORD, Watched, add_session
from tests.support.cast import Cast
from tests.training.web.test_pages import text_of
from training import models

#: The endorsement was given on 2026-03-03: 14 CFR 61.189(c), at least 3 years.
LAST = dt.datetime(2029, 3, 3, 18, tzinfo=dt.UTC)
AFTER = LAST + dt.timedelta(days=1)


@pytest.fixture
def kept(people: Cast) -> Cast:
    handing.trained(people)
    return people


def address(people: Cast, more: str = "retention/") -> str:
    return f"/school/lakeside/students/{people.sam.ref}/{more}"


def desk(people: Cast) -> Client:
    people.ada.set_password(PASSWORD)
    people.ada.save()
    client = Client()
    client.force_login(people.ada, backend="django.contrib.auth.backends.ModelBackend")
    return client


def sure(client: Client) -> None:
    """As after the password, once more."""
    client.post("/account/confirm/", {"password": PASSWORD})


def test_it_says_until_when_and_why(kept: Cast) -> None:
    with time_machine.travel(LAST, tick=False):
        page = text_of(desk(kept).get(address(kept)))
    assert "the law allows erasure from 4 Mar 2029" in page
    assert "14 CFR 61.189(c)" in page
    assert "Cannot be erased yet:" in page
    assert models.AccessLog.objects.filter(student=kept.sam, user=kept.ada, what="retention").exists()


def test_a_hold_is_set_and_ended_with_reasons(kept: Cast) -> None:
    with time_machine.travel(AFTER, tick=False):
        client = desk(kept)
        assert client.post(address(kept), {"reason": " "}).status_code == 422
        page = text_of(client.post(address(kept), {"reason": "a dispute about fees"}, follow=True))
        assert "a dispute about fees Since 4 Mar 2029, by Ada Example" in page
        held = models.RetentionHold.objects.get()
        end = address(kept, f"retention/{held.pk}/release/")
        assert client.post(end, {"reason": ""}).status_code == 422
        page = text_of(client.post(end, {"reason": "paid"}, follow=True))
        assert "Ended 4 Mar 2029: paid" in page
        assert client.post(address(kept, "retention/999/release/"), {"reason": "x"}).status_code == 404


def test_an_erasure_is_shown_confirmed_and_done(kept: Cast) -> None:
    erase = address(kept, "erase/")
    with time_machine.travel(LAST, tick=False):
        client = desk(kept)
        assert "/account/confirm/" in client.get(erase)["Location"]
        sure(client)
        early = client.post(erase, {"reason": "asked for", "sure": "on"})
        assert early.status_code == 409
        assert "until 2029-03-03" in text_of(early)
    with time_machine.travel(AFTER, tick=False):
        client = desk(kept)
        sure(client)
        assert "the contents of 7 ledger entries; their proofs stay" in text_of(client.get(erase))
        unsure = client.post(erase, {"reason": "asked for"})
        assert (unsure.status_code, "Not erased. Check the box to confirm" in text_of(unsure)) == (422, True)
        named = client.post(erase, {"reason": "Sam Example asked", "sure": "on"})
        assert (named.status_code, "write it without names" in text_of(named)) == (422, True)
        assert models.Flight.objects.filter(student=kept.sam).exists()
        page = text_of(client.post(erase, {"reason": "asked for", "sure": "on"}, follow=True))
        assert "Record erased, with the contents of 7 ledger entries." in page
        assert not models.Flight.objects.filter(student=kept.sam).exists()
        assert "The record was erased." in text_of(client.get(address(kept)))


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_pages_break_no_rule(watched: Watched, school: Cast, live_server: LiveServer) -> None:
    school.ada.set_password(PASSWORD)
    school.ada.save()
    models.RetentionHold.objects.create(
        school=school.school, student=school.sam, reason="a dispute", by=school.ada, at=timezone.now()
    )
    page = watched.page
    add_session(page, live_server.url, school.ada)
    for path in ("retention/", "erase/"):
        page.goto(f"{live_server.url}{address(school, path)}")
        if "/account/confirm/" in page.url:
            page.get_by_label("Password").fill(PASSWORD)
            page.get_by_role("button", name="Confirm").click()
            page.get_by_role("heading", name="Erase the record of").wait_for()
        watched.is_well()
