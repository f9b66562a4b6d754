"""E-mail about accounts: queued with the request, sent by the background jobs over a real connection."""

from __future__ import annotations

import datetime as dt
import io
import math
import re
import socket
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core import mail
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.support.browsing import PASSWORD
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from tests.support.reminding import sweep
from tests.support.smtp import Sink
from training.config import settings as as_set
from training.models import Delivery, Invitation, User
from training.services.people import account_mails
from training.services.people import people as accounts
from training.services.reminders import mail_server, outbox, outgoing

pytestmark = pytest.mark.django_db
IDA = "ida@lakeside.example"
SMTP = "django.core.mail.backends.smtp.EmailBackend"


def through(settings: Any, port: int) -> None:
    """Send by SMTP to this port of this machine, with little patience."""
    settings.MAIL_BACKEND, settings.EMAIL_HOST, settings.EMAIL_PORT = SMTP, "127.0.0.1", port
    settings.EMAIL_TIMEOUT = 1
    settings.DEFAULT_FROM_EMAIL = "record@lakeside.example"


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


@pytest.fixture
def closed_port() -> Iterator[int]:
    """A port of this machine that refuses every connection."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        yield held.getsockname()[1]


@pytest.fixture
def desk(client: Client, people: Cast) -> Client:
    people.ada.set_password(PASSWORD)
    people.ada.save()
    client.force_login(people.ada)
    return client


class Killed(BaseException):
    """The process ended here."""


def killed_after(done: Callable[..., object]) -> Callable[..., None]:
    """Do it, and end the process."""

    def killed(*args: Any) -> None:
        done(*args)
        raise Killed

    return killed


def send(now: dt.datetime | None = None) -> outbox.Sent:
    return outbox.send(until=math.inf, now=lambda: now or dt.datetime.now(dt.UTC))


def rows() -> list[tuple[str, int, str]]:
    return list(Delivery.objects.values_list("state", "attempts", "to"))


# In the request


def test_an_unreachable_mail_server_is_no_error_and_loses_no_invitation(
    desk: Client, settings: Any, closed_port: int
) -> None:
    through(settings, closed_port)
    nora = {"role": "instructor", "name": "Nora Example", "email": "nora@lakeside.example"}
    answer = desk.post("/school/lakeside/people/add/", nora, follow=True)
    assert "Invitation sent to nora@lakeside.example." in answer.content.decode()
    done = send()
    assert "refused the connection" in done.unreachable
    assert rows() == [("pending", 0, "nora@lakeside.example")]
    with Sink() as server:
        through(settings, server.port)
        # Weeks later: an invitation waits for as long as it takes.
        assert send(dt.datetime.now(dt.UTC) + dt.timedelta(days=40)).sent == 1
    [text] = server.texts
    assert "To: nora@lakeside.example" in text
    assert "/invitations/" in text


def test_an_invitation_that_is_not_saved_sends_nothing(desk: Client, people: Cast) -> None:
    @transaction.atomic
    def invite(at: dt.datetime) -> None:
        given = {"kind": "instructor", "name": "Nora Example", "email": "nora@lakeside.example"}
        assert accounts.add(people.school, **given, by=people.ada, at=at).invitation is not None
        outgoing.invitation(given["email"], "Invitation", "A link", at=at)
        raise Killed

    with pytest.raises(Killed):
        invite(dt.datetime.now(dt.UTC))
    assert rows() == []
    assert not Invitation.objects.exists()


def test_a_request_does_the_same_for_every_address(client: Client, people: Cast, settings: Any) -> None:
    """No time tells who has an account: the same statements, and no mail server."""
    settings.MAIL_BACKEND = "no.such.Backend"
    User.objects.create_user("gone@lakeside.example", None, name="Gone", is_active=False)
    asked = []
    for email in (IDA, "nobody@lakeside.example", "gone@lakeside.example"):
        with CaptureQueriesContext(connection) as made:
            assert client.post("/password/", {"email": email}).status_code == 302
        asked.append([re.sub(r"'[^']*'", "?", each["sql"]) for each in made])
    assert asked[0] == asked[1] == asked[2]
    assert sum("training_delivery" in each for each in asked[0]) == 1
    assert not any("training_user" in each for each in asked[0])


def test_what_calls_djangos_own_mail_is_queued_too(people: Cast, settings: Any) -> None:
    settings.EMAIL_BACKEND = as_set.EMAIL_BACKEND
    settings.MAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    assert mail.send_mail("A subject", "A secret text", None, [IDA.upper()]) == 1
    assert mail.outbox == []
    assert Delivery.objects.get().user == people.ida
    [message] = mails_sent()
    assert (message.to, message.subject, message.body) == ([IDA.upper()], "A subject", "A secret text")


# Secrets, and what is left behind


def test_no_link_is_ever_stored_and_no_text_after_it_was_sent(client: Client, people: Cast) -> None:
    client.post("/password/", {"email": IDA})
    account_mails.tell(people.ida, "password_changed", at=dt.datetime.now(dt.UTC), where="10.0.0.7")
    before = list(Delivery.objects.order_by("kind").values_list("kind", "text"))
    assert before[1] == ("link", "")
    assert "10.0.0.7" in before[0][1]
    assert len(mails_sent()) == 2
    after = list(Delivery.objects.values_list("state", "subject", "text", "user"))
    assert {(state, text, user) for state, _, text, user in after} == {("sent", "", people.ida.pk)}


def test_an_address_without_an_account_is_forgotten(client: Client, people: Cast) -> None:
    client.post("/password/", {"email": "nobody@lakeside.example"})
    assert rows() == [("pending", 0, "nobody@lakeside.example")]
    assert mails_sent() == []
    assert rows() == []


def test_a_reset_that_waited_too_long_is_not_sent(client: Client, people: Cast, settings: Any) -> None:
    client.post("/password/", {"email": IDA})
    late = dt.datetime.now(dt.UTC) + dt.timedelta(seconds=settings.PASSWORD_RESET_TIMEOUT + 60)
    assert (send(late).withdrawn, rows(), mail.outbox) == (1, [], [])


# A mail server that is not as it should be


def test_a_refused_recipient_is_given_up_and_told_in_words(
    client: Client, people: Cast, settings: Any
) -> None:
    client.post("/password/", {"email": IDA})
    with Sink(answers={"RCPT": "550 no such user"}) as server:
        through(settings, server.port)
        assert send().failed == 1
    row = Delivery.objects.get()
    assert (row.state, row.attempts, row.user) == ("failed", 1, people.ida)
    assert row.fault == ("The mail server did not accept the recipient. (550 no such user)")


@pytest.mark.parametrize("answers", [{".": None}, {".": ""}, {"DATA": "451 later"}])
def test_a_server_that_hangs_drops_or_puts_off_is_tried_again(
    client: Client, people: Cast, settings: Any, answers: dict[str, str | None]
) -> None:
    client.post("/password/", {"email": IDA})
    now = dt.datetime.now(dt.UTC)
    with Sink(answers=answers) as server:
        through(settings, server.port)
        assert send(now).sent == 0
        assert rows() == [("pending", 1, IDA)]
        server.answers.clear()
        assert send(now).sent == 0, "there is a pause between two tries"
        assert send(now + dt.timedelta(seconds=61)).sent == 1
        assert send(now + dt.timedelta(days=2)).sent == 0
    assert set(server.taken.values()) <= {1, 2}
    assert len(server.taken) == 1


def test_a_refused_sender_costs_no_mail_its_tries(client: Client, people: Cast, settings: Any) -> None:
    """EMAIL_FROM is wrong, not the mail: everything waits until somebody corrects it."""
    client.post("/password/", {"email": IDA})
    with Sink(answers={"MAIL": "553 not yours"}) as server:
        through(settings, server.port)
        assert "EMAIL_FROM" in send().unreachable
    assert rows() == [("pending", 0, IDA)]


def test_a_kill_after_the_server_took_it_sends_it_once_more_under_the_same_id(
    client: Client, people: Cast, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    client.post("/password/", {"email": IDA})
    with Sink() as server:
        through(settings, server.port)
        with monkeypatch.context() as patch:
            patch.setattr(outbox._Post, "hand_over", killed_after(outbox._Post.hand_over))
            with pytest.raises(Killed):
                send()
        for _ in range(3):
            send()
    assert list(server.taken.values()) == [2]


# No mail server at all


def test_without_a_mail_server_nothing_is_called_sent(client: Client, people: Cast, settings: Any) -> None:
    settings.MAIL_REFUSED = "EMAIL_URL is not set, so there is no mail server."
    client.post("/password/", {"email": IDA})
    done = sweep(dt.datetime.now(dt.UTC))
    assert (done.sent, done.failed) == (0, 0)
    assert rows() == [("pending", 0, IDA)]
    assert "EMAIL_URL is not set" in Delivery.objects.get().fault


# The test e-mail


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({}, "The mail server accepted the test e-mail to ada@lakeside.example."),
        ({"CONNECT": None}, "Not sent. The mail server did not answer in time."),
        ({"CONNECT": ""}, "Not sent. The mail server closed the connection."),
        ({"MAIL": "553 not yours"}, "Not sent. The mail server did not accept the sender"),
        ({"RCPT": "550 no such user"}, "Not sent. The mail server did not accept the recipient."),
        ({".": "554 looks like spam"}, "Not sent. The mail server did not accept the message."),
    ],
)
def test_a_test_says_what_the_mail_server_answered(
    settings: Any, monkeypatch: pytest.MonkeyPatch, answers: dict[str, str | None], said: str
) -> None:
    monkeypatch.setattr(mail_server, "TEST_STEP", 1)
    with Sink(answers=answers) as server:
        through(settings, server.port)
        found = mail_server.try_out("ada@lakeside.example")
    assert found.words.startswith(said), found.words
    assert found.accepted is (not answers)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"EMAIL_USE_TLS": True}, "does not offer what EMAIL_URL needs (TLS or login)"),
        ({"EMAIL_USE_SSL": True}, "No encrypted connection (TLS)"),
        ({"EMAIL_HOST_USER": "a", "EMAIL_HOST_PASSWORD": "b"}, "does not offer what EMAIL_URL needs"),
        ({"EMAIL_HOST": "mail.invalid"}, "The mail server's name was not found (DNS)."),
        ({"MAIL_REFUSED": "EMAIL_URL is not set."}, "Not sent. EMAIL_URL is not set."),
        (
            {"MAIL_BACKEND": "django.core.mail.backends.dummy.EmailBackend"},
            "There is no mail server",
        ),
    ],
)
def test_a_test_says_which_setting_is_wrong(settings: Any, changed: dict[str, Any], said: str) -> None:
    with Sink() as server:
        through(settings, server.port)
        for name, value in changed.items():
            setattr(settings, name, value)
        found = mail_server.try_out("ada@lakeside.example")
    assert said in found.words, found.words
    assert not found.accepted


def test_a_wrong_password_is_told(settings: Any) -> None:
    with Sink(answers={"EHLO": "250-sink\r\n250 AUTH PLAIN", "AUTH": "535 no"}) as server:
        through(settings, server.port)
        settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "record", "wrong"
        found = mail_server.try_out("ada@lakeside.example")
    assert "did not accept user name and password (login)" in found.words
    assert "wrong" not in found.words


def test_a_server_that_answers_by_drops_is_given_up_in_time(
    settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mail_server, "TEST_SECONDS", 0.5)
    with Sink(answers={"CONNECT": None}) as server:
        through(settings, server.port)
        found = mail_server.try_out("ada@lakeside.example")
    assert found.words == "Not sent. The mail server was not done within 0.5 seconds."


def test_the_command_says_what_the_mail_server_answered(settings: Any) -> None:
    out = io.StringIO()
    with Sink(answers={}) as server:
        through(settings, server.port)
        call_command("test_mail", "ada@lakeside.example", stdout=out)
        assert "accepted the test e-mail to ada@lakeside.example" in out.getvalue()
        server.answers["RCPT"] = "550 no such user"
        with pytest.raises(CommandError, match=r"did not accept the recipient\. \(550 no such user"):
            call_command("test_mail", "ada@lakeside.example")


def test_the_jobs_by_hand_send_again_what_failed_where_asked(people: Cast) -> None:
    outgoing.link(IDA, at=dt.datetime.now(dt.UTC))
    Delivery.objects.update(state="failed", attempts=7)
    call_command("send_reminders", stdout=io.StringIO())
    assert mail.outbox == []
    call_command("send_reminders", retry=True, stdout=io.StringIO())
    assert [each.to for each in mail.outbox] == [[IDA]]


def test_the_jobs_by_hand_refuse_by_name_without_a_mail_server(people: Cast, settings: Any) -> None:
    settings.MAIL_REFUSED = "EMAIL_URL is not set, so there is no mail server."
    outgoing.link(IDA, at=dt.datetime.now(dt.UTC))
    out = io.StringIO()
    with pytest.raises(CommandError, match=r"No e-mail was sent; all wait\. EMAIL_URL is not set"):
        call_command("send_reminders", stdout=out)
    assert "0 e-mails sent" in out.getvalue()
    assert rows() == [("pending", 0, IDA)]
