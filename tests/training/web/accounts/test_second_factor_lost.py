"""Somebody lost every passkey, app and code: who may help, what it takes, who hears of it."""

from __future__ import annotations

import datetime as dt
import io
import smtplib
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP
from allauth.usersessions.models import UserSession
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import CommandError, call_command
from django.test import Client
from knox.models import AuthToken

from tests.support import factories
from tests.support.browsing import PASSWORD, totp
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from tests.support.passkeys import Passkey
from tests.training.web.test_pages import text_of
from training import models
from training.models import PeopleChange, Role
from training.services.people import account_mails, second_factor

SECRET = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
AT = dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC)


def enter(client: Client, who: str = "ida") -> Any:
    return client.post("/login/", {"login": f"{who}@lakeside.example", "password": PASSWORD})


def locked_out(user: models.User) -> models.User:
    """The person has a password, a passkey, an app and recovery codes."""
    user.set_password(PASSWORD)
    user.save()
    TOTP.activate(user, SECRET)
    Passkey().added_to(user)
    RecoveryCodes.activate(user)
    return user


@pytest.fixture
def ida(people: Cast) -> models.User:
    return locked_out(people.ida)


@pytest.fixture
def ada(client: Client, people: Cast) -> Client:
    """Ada, who signed in and confirmed just now that it is her."""
    people.ada.set_password(PASSWORD)
    people.ada.save()
    enter(client, "ada")
    client.post("/account/confirm/", {"password": PASSWORD})
    return client


def page_of(user: models.User) -> str:
    return f"/school/lakeside/people/{Role.objects.get(user=user).pk}/second-factor/"


def test_an_administrator_lets_the_password_alone_open_an_account(
    ada: Client, ida: models.User, people: Cast
) -> None:
    hers = Client()
    hers.force_login(ida)
    hers.get("/account/")
    AuthToken.objects.create(user=ida)
    told = text_of(ada.get(page_of(ida)))
    assert "Second factors of this account: 1 passkey, an authenticator app, recovery codes." in told
    refused = ada.post(page_of(ida), {"reason": " "})
    assert (refused.status_code, "is blank; enter the reason" in text_of(refused)) == (422, True)
    assert Authenticator.objects.filter(user=ida).count() == 3
    said = text_of(ada.post(page_of(ida), {"reason": "Tablet sank; we met at the hangar."}, follow=True))
    assert (
        "Second factor of Ida Example reset. The password alone now opens the account. 1 session has ended."
        in said
    )
    assert "The person gets an e-mail about it." in said
    assert not Authenticator.objects.filter(user=ida).exists()
    assert not AuthToken.objects.filter(user=ida).exists()
    assert not UserSession.objects.filter(user=ida).exists()
    assert hers.get("/account/").status_code == 302
    [message] = mails_sent()
    assert message.to == [ida.email]
    assert "Ada Example removed every passkey" in str(message.body)
    assert "Tablet sank; we met at the hangar." in str(message.body)
    kept = PeopleChange.objects.get()
    assert (kept.by, kept.user, kept.what) == (people.ada, ida, "second factor removed")
    listed = text_of(ada.get("/school/lakeside/people/"))
    assert "passkeys 1" in listed
    assert "now: reason Tablet sank; we met at the hangar." in listed
    assert enter(Client()).headers["Location"] == "/"
    assert "has no second factor" in text_of(ada.get(page_of(ida)))
    again = ada.post(page_of(ida), {"reason": "Once more."})
    assert "has no passkey, authenticator app or recovery code" in text_of(again)


def test_it_asks_again_who_the_administrator_is(client: Client, ida: models.User, people: Cast) -> None:
    people.ada.set_password(PASSWORD)
    people.ada.save()
    client.force_login(people.ada)  # as a session that has been open for hours
    for answer in (client.get(page_of(ida)), client.post(page_of(ida), {"reason": "Because."})):
        assert answer.status_code == 302
        assert answer["Location"].startswith("/account/confirm/")
    assert Authenticator.objects.filter(user=ida).count() == 3
    # What was asked for before is done once it is shown who asks.
    sent = {"password": PASSWORD, "next": page_of(ida)}
    assert client.post("/account/confirm/", sent)["Location"] == page_of(ida).removesuffix("second-factor/")
    assert not Authenticator.objects.filter(user=ida).exists()


@pytest.mark.parametrize("who", ["sams_account", "olaf", "ida"])
def test_for_anybody_else_there_is_no_such_page(
    client: Client, people: Cast, ida: models.User, who: str
) -> None:
    client.force_login(getattr(people, who))
    assert client.get(page_of(ida)).status_code == 404
    assert client.post(page_of(ida), {"reason": "Because."}).status_code == 404
    assert Authenticator.objects.filter(user=ida).count() == 3


def test_no_school_opens_the_door_of_another(ada: Client, ida: models.User, people: Cast) -> None:
    """An account that also opens records elsewhere is made no easier to open by one of the schools."""
    elsewhere = Role.objects.create(school=people.elsewhere, user=ida, role="student")
    answer = ada.post(f"{page_of_first(ida)}", {"reason": "Because."})
    assert (answer.status_code, "access to another school" in text_of(answer)) == (422, True)
    elsewhere.delete()
    guarded = factories.guardian(people.otto, user=ida)
    assert "access to another school" in second_factor.whoever_may_not(ida, people.ada)
    guarded.delete()
    assert second_factor.whoever_may_not(ida, people.ada) == ""
    models.User.objects.filter(pk=ida.pk).update(is_staff=True)
    ida.refresh_from_db()
    assert "administers the server" in second_factor.whoever_may_not(ida, people.ada)
    assert "on the page Security" in second_factor.whoever_may_not(people.ada, people.ada)
    assert "Only an administrator" in second_factor.whoever_may_not(people.sams_account, people.ida)
    assert Authenticator.objects.filter(user=ida).count() == 3


def page_of_first(user: models.User) -> str:
    role = Role.objects.get(user=user, school__slug="lakeside")
    return f"/school/lakeside/people/{role.pk}/second-factor/"


class Silent(EmailBackend):
    def send_messages(self, *args: Any) -> int:
        raise smtplib.SMTPServerDisconnected("gone")


def test_what_was_done_stands_where_no_mail_goes_out_yet(
    ada: Client, ida: models.User, settings: Any
) -> None:
    settings.MAIL_BACKEND = f"{__name__}.Silent"
    ada.post(page_of(ida), {"reason": "Lost."})
    assert mails_sent() == []
    assert not Authenticator.objects.filter(user=ida).exists()
    waiting = models.Delivery.objects.get()
    assert (waiting.state, waiting.attempts, "Lost." in waiting.text) == ("pending", 1, True)


# The command line


def test_whoever_runs_the_server_does_it_by_a_command(ida: models.User, people: Cast) -> None:
    Role.objects.create(school=people.elsewhere, user=ida, role="student")
    out = io.StringIO()
    call_command("remove_second_factor", "IDA@lakeside.example", reason="Called back.", stdout=out)
    assert "1 recovery_codes, 1 totp, 1 webauthn" in out.getvalue()
    assert Authenticator.objects.filter(user=ida).count() == 3
    call_command("remove_second_factor", ida.email, reason="Called back.", really=True, stdout=out)
    assert "Removed from ida@lakeside.example: 1 passkeys, 1 authenticator apps" in out.getvalue()
    assert "The person gets an e-mail about it." in out.getvalue()
    assert not Authenticator.objects.filter(user=ida).exists()
    kept = PeopleChange.objects.order_by("school_id")
    assert [(each.school, each.by) for each in kept] == [(people.school, None), (people.elsewhere, None)]
    assert "Whoever runs the server removed" in str(mails_sent()[0].body)
    with pytest.raises(CommandError, match="has no passkey"):
        call_command("remove_second_factor", ida.email, reason="Again.", really=True)


def test_the_command_line_stands_among_the_changes(ada: Client, ida: models.User) -> None:
    second_factor.remove(ida, "Called back.", by=None, at=AT)
    assert "by the server's command line" in text_of(ada.get("/school/lakeside/people/"))


@pytest.mark.parametrize(
    ("email", "reason", "told"),
    [
        ("nobody@lakeside.example", "Lost.", "No user with the e-mail nobody@lakeside.example"),
        ("ida@lakeside.example", " ", "is blank"),
        ("ida@lakeside.example", "x" * 301, "301 characters; at most 300"),
    ],
)
def test_what_the_command_refuses(ida: models.User, email: str, reason: str, told: str) -> None:
    with pytest.raises(CommandError, match=told):
        call_command("remove_second_factor", email, reason=reason, really=True)
    assert Authenticator.objects.filter(user=ida).count() == 3


# Mails about what opens an account


def test_the_owner_hears_of_every_change_of_what_opens_the_account(
    client: Client, people: Cast, django_capture_on_commit_callbacks: Any
) -> None:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    enter(client)
    client.post("/account/confirm/", {"password": PASSWORD})
    secret = client.get("/account/app/").context["form"].secret
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/app/", {"code": totp(secret)}, HTTP_USER_AGENT="A browser")
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/recovery-codes/new/")
    client.post("/account/app/remove/")
    passkey = Passkey().added_to(people.ida)
    client.post(f"/account/passkeys/{passkey.pk}/remove/")
    client.post(
        "/account/password/",
        {"oldpassword": PASSWORD, "password1": "four new words", "password2": "four new words"},
    )
    assert mail.outbox == []
    said = [str(each.body).partition("\n")[0] for each in mails_sent()]
    assert said == [
        "An authenticator app was set up for your account.",
        "New recovery codes were created for your account.",
        "The authenticator app was removed from your account.",
        "A passkey was removed from your account.",
        "The password of your account was changed.",
    ]
    assert {tuple(each.to) for each in mail.outbox} == {("ida@lakeside.example",)}
    assert "CST, from 127.0.0.1, A browser." in str(mail.outbox[0].body)
    assert "If you did not do this" in str(mail.outbox[0].body)


def test_every_mail_has_its_words(people: Cast) -> None:
    for what in account_mails.SAID:
        account_mails.tell(people.ida, what, at=AT, by="Ada", reason="Lost.")
    assert len(mails_sent()) == len(account_mails.SAID)
    assert not any("%(" in f"{each.subject}{each.body}" for each in mail.outbox)
