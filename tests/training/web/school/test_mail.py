"""The page E-mail: what waits, what failed and why, another try, a test; for administrators alone."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.core import mail
from django.test import Client

from tests.support import mailing
from tests.support.cast import Cast
from tests.training.web.test_pages import text_of
from training.models import Delivery
from training.services.people import account_mails
from training.services.reminders import failures, outgoing

pytestmark = pytest.mark.django_db
HERE = "/school/lakeside/mail/"
PK = uuid.UUID("0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a01")


@pytest.fixture
def desk(client: Client, people: Cast) -> Client:
    client.force_login(people.ada)
    return client


def test_what_failed_is_listed_and_sent_again(desk: Client, people: Cast) -> None:
    mailing.failed(people, PK)
    said = text_of(desk.get(HERE))
    assert "No e-mail is due." in said
    assert "ida@lakeside.example Link to set the password 7" in said
    assert "did not accept the recipient. 550 no such user" in said
    again = text_of(desk.post(f"{HERE}{PK}/retry/", follow=True))
    assert "1 e-mail will be sent again. " in again
    assert "1 e-mail is due." in again
    assert [each.to for each in mailing.mails_sent()] == [["ida@lakeside.example"]]
    assert desk.post(f"{HERE}{PK}/retry/").status_code == 404, "it has not failed any more"
    mailing.failed(people, uuid.uuid4())
    mailing.failed(people, uuid.uuid4())
    assert "2 e-mails will be sent again." in text_of(desk.post(f"{HERE}retry/", follow=True))


def test_what_waits_says_for_how_long_and_why(desk: Client, people: Cast) -> None:
    """Each try puts an e-mail off; it has waited since it was made all the same."""
    now = dt.datetime.now(dt.UTC)
    mailing.failed(people, PK)
    Delivery.objects.update(state="pending", attempts=3, send_after=now + dt.timedelta(hours=6))
    said = text_of(desk.get(HERE))
    assert "1 e-mail is due. The oldest has waited for 2 hours." in said
    assert "Waiting after an error" in said
    assert failures.queue(now).oldest_seconds in range(7190, 7210)


def test_an_unreachable_server_is_told_beside_what_waits(desk: Client, people: Cast, settings: Any) -> None:
    settings.MAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    outgoing.link(people.ida.email, at=dt.datetime.now(dt.UTC), school=people.school)
    assert mailing.mails_sent() == []
    said = text_of(desk.get(HERE))
    assert "The oldest has waited for 0 minutes." in said
    assert "The mail server refused the connection. Check host and port. (Connection refused)" in said


def test_no_page_shows_the_text_of_an_e_mail(desk: Client, people: Cast) -> None:
    account_mails.tell(people.ida, "password_changed", at=dt.datetime.now(dt.UTC), where="10.0.0.7")
    Delivery.objects.update(state="failed", attempts=7, fault="gone")
    page = desk.get(HERE).content.decode()
    assert "Account changed" in page
    assert "10.0.0.7" not in page


def test_a_school_sees_only_its_own_peoples_e_mails(desk: Client, people: Cast) -> None:
    account_mails.tell(people.olaf, "password_changed", at=dt.datetime.now(dt.UTC))
    Delivery.objects.update(state="failed", attempts=7)
    theirs = Delivery.objects.get()
    assert "olaf@" not in text_of(desk.get(HERE))
    assert desk.post(f"{HERE}{theirs.pk}/retry/").status_code == 404
    assert desk.post(f"{HERE}retry/").status_code == 302
    theirs.refresh_from_db()
    assert theirs.state == "failed"


@pytest.mark.parametrize("who", ["sams_account", "ida", "olaf"])
def test_for_anybody_else_there_is_no_such_page(client: Client, people: Cast, who: str) -> None:
    client.force_login(getattr(people, who))
    for answer in (client.get(HERE), client.post(f"{HERE}test/"), client.post(f"{HERE}retry/")):
        assert answer.status_code == 404


def test_a_test_goes_to_whoever_asks_and_not_too_often(desk: Client, settings: Any) -> None:
    for _ in range(3):
        said = text_of(desk.post(f"{HERE}test/", follow=True))
        assert "The mail server accepted the test e-mail to ada@lakeside.example." in said
    assert "Not sent. Wait a minute" in text_of(desk.post(f"{HERE}test/", follow=True))
    assert {tuple(each.to) for each in mail.outbox} == {("ada@lakeside.example",)}
    assert len(mail.outbox) == 3


def test_a_test_says_why_it_was_not_sent(
    desk: Client, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.MAIL_REFUSED = "EMAIL_URL is not set, so there is no mail server."
    said = text_of(desk.post(f"{HERE}test/", follow=True))
    assert "Not sent. EMAIL_URL is not set" in said
    assert "No e-mail is sent. EMAIL_URL is not set" in said


def test_a_program_gets_the_same(desk: Client, people: Cast) -> None:
    mailing.failed(people, PK)
    found = desk.get("/api/v1/mail").json()
    assert (found["waiting"], found["failed"], found["refused"], found["retrying"]) == (0, 1, "", [])
    assert found["not_sent"][0]["to"] == "ida@lakeside.example"
    post = {"content_type": "application/json", "data": {}}
    assert desk.post("/api/v1/mail/test", **post).json() == {
        "accepted": True,
        "said": "The mail server accepted the test e-mail to ada@lakeside.example.",
    }
    assert desk.post(f"/api/v1/mail/{PK}/retry", **post).status_code == 204
    assert desk.post(f"/api/v1/mail/{PK}/retry", **post).status_code == 404
    assert desk.get("/api/v1/mail").json()["waiting"] == 1
