"""Signing in and what keeps others from it: limits, second factors, sessions, passwords by mail."""

from __future__ import annotations

import datetime as dt
import json
import re
from typing import Any

import pytest
import time_machine
from allauth.account.models import EmailAddress
from allauth.account.utils import user_pk_to_url_str
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP
from allauth.usersessions.models import UserSession
from django.core import mail
from django.test import Client
from fido2.utils import websafe_decode
from knox.models import AuthToken
from rest_framework.test import APIClient

from tests.support.browsing import PASSWORD, totp
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from tests.support.passkeys import Passkey
from tests.training.web.test_pages import text_of
from training import models

SECRET = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
ANOTHER = "four words that are new"


@pytest.fixture
def ida(people: Cast) -> models.User:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    return people.ida


@pytest.fixture
def app(ida: models.User) -> models.User:
    """Ida has an authenticator app."""
    TOTP.activate(ida, SECRET)
    return ida


def enter(client: Client, password: str = PASSWORD, email: str = "ida@lakeside.example", **more: str) -> Any:
    return client.post("/login/", {"login": email, "password": password, **more})


def inside(client: Client) -> bool:
    return bool(client.get("/account/").status_code == 200)


# The limits


@pytest.mark.any_database  # others here make these queries on SQLite
def test_an_account_is_not_guessed_at_and_its_owner_gets_in_later(client: Client, ida: models.User) -> None:
    now = dt.datetime.now(dt.UTC)
    with time_machine.travel(now, tick=False) as clock:
        for _ in range(5):
            assert "Wrong e-mail or password" in text_of(enter(client, "guess"))
        for address in ("10.0.0.1", "10.0.0.2"):
            told = client.post(
                "/login/", {"login": ida.email.upper(), "password": PASSWORD}, REMOTE_ADDR=address
            )
            assert "Too many attempts" in text_of(told)
        assert not inside(client)
        clock.shift(301)
        assert enter(client).status_code == 302
    assert inside(client)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_an_address_does_not_try_one_account_after_the_other(client: Client, people: Cast) -> None:
    with time_machine.travel(dt.datetime.now(dt.UTC), tick=False):
        for number in range(10):
            assert "Wrong e-mail or password" in text_of(enter(client, "guess", f"{number}@lakeside.example"))
        assert "Too many attempts" in text_of(enter(client, "guess", "ten@lakeside.example"))


@pytest.mark.any_database  # makes no query but its fixtures'
def test_asking_too_often_is_said_on_a_page_of_its_own(client: Client, people: Cast) -> None:
    with time_machine.travel(dt.datetime.now(dt.UTC), tick=False):
        for _ in range(30):
            client.post("/login/", {})
        told = client.post("/login/", {})
    assert told.status_code == 429
    assert "Wait one minute, then try again" in text_of(told)


@pytest.mark.parametrize(
    ("email", "active"),
    [("nobody@lakeside.example", True), ("ida@lakeside.example", False), ("ida@lakeside.example", True)],
    ids=["nobody's address", "someone who left", "another password"],
)
def test_what_does_not_go_together_is_told_alike(
    client: Client, ida: models.User, email: str, active: bool
) -> None:
    models.User.objects.filter(pk=ida.pk).update(is_active=active)
    told = text_of(enter(client, PASSWORD if not active else "guess", email))
    assert "Wrong e-mail or password." in told


@pytest.mark.parametrize("path", ["/signup/", "/accounts/signup/", "/account/email/", "/login/signup/"])
def test_nobody_makes_an_account_here(client: Client, people: Cast, path: str) -> None:
    assert client.get(path).status_code == 404


def test_the_admin_site_has_the_same_door(client: Client, people: Cast) -> None:
    root = models.User.objects.create_superuser("root@lakeside.example", PASSWORD)
    told = client.post("/admin/login/", {"username": root.email, "password": PASSWORD})
    assert told["Location"].startswith("/login/?next=")
    assert not inside(client)
    client.force_login(people.ida)
    assert client.get("/admin/login/").status_code == 403


# Second factors


def test_with_an_app_the_password_alone_opens_nothing(client: Client, app: models.User) -> None:
    assert enter(client, next="/milestones/")["Location"] == "/login/second/"
    assert not inside(client)
    wrong = client.post("/login/second/", {"code": "000000"})
    assert "not accepted" in text_of(wrong)
    assert not inside(client)
    assert client.post("/login/second/", {"code": totp(SECRET)})["Location"] == "/milestones/"
    assert inside(client)


def test_a_code_is_good_once(client: Client, app: models.User) -> None:
    with time_machine.travel(dt.datetime.now(dt.UTC), tick=False):
        enter(client)
        client.post("/login/second/", {"code": totp(SECRET)})
        client.post("/logout/")
        enter(client)
        assert "not accepted" in text_of(client.post("/login/second/", {"code": totp(SECRET)}))
    assert not inside(client)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_codes_are_not_guessed_at(client: Client, app: models.User) -> None:
    with time_machine.travel(dt.datetime.now(dt.UTC), tick=False):
        enter(client)
        for _ in range(5):
            assert "not accepted" in text_of(client.post("/login/second/", {"code": "000000"}))
        assert "Too many" in text_of(client.post("/login/second/", {"code": totp(SECRET)}))
        api = APIClient().post(
            "/api/v1/auth/login", {"email": app.email, "password": PASSWORD, "code": totp(SECRET)}
        )
        assert api.status_code == 429
    assert not inside(client)


def test_an_app_is_set_up_with_recovery_codes_and_removed(client: Client, ida: models.User) -> None:
    enter(client)
    assert client.get("/account/app/")["Location"] == "/account/confirm/?next=%2Faccount%2Fapp%2F"
    assert client.post("/account/confirm/?next=/account/app/", {"password": PASSWORD}).status_code == 302
    page = client.get("/account/app/").content.decode()
    assert "<svg" in page
    secret = re.search(r'class="key">([A-Z2-7]+)<', page)
    assert secret
    told = client.post("/account/app/", {"code": totp(secret[1])}, follow=True)
    codes = re.findall(r"<code>([0-9]{8})</code>", told.content.decode())
    assert len(set(codes)) == 10

    client.post("/logout/")
    enter(client)
    client.post("/login/second/", {"code": codes[0]})
    assert inside(client)
    client.post("/logout/")
    enter(client)
    assert "not accepted" in text_of(client.post("/login/second/", {"code": codes[0]}))
    client.post("/login/second/", {"code": codes[1]})

    client.post("/account/confirm/?next=/account/", {"password": PASSWORD})
    client.post("/account/app/remove/", {})
    assert not Authenticator.objects.exists()
    client.post("/logout/")
    assert enter(client)["Location"] == "/"


@pytest.mark.parametrize(
    "path",
    [
        "/account/passkeys/add/",
        "/account/passkeys/1/",
        "/account/passkeys/1/remove/",
        "/account/app/",
        "/account/app/remove/",
        "/account/recovery-codes/",
        "/account/recovery-codes/new/",
    ],
)
def test_what_opens_the_account_is_not_shown_or_changed_without_the_password_once_more(
    client: Client, app: models.User, path: str
) -> None:
    row = Passkey().added_to(app)
    path = path.replace("/1/", f"/{row.pk}/")
    client.force_login(app)
    for answer in (client.get(path), client.post(path, {"name": "x", "code": totp(SECRET)})):
        # there are no recovery codes yet to be looked at, and looking takes no POST
        assert answer.status_code in (404, 405) or answer["Location"].startswith("/account/confirm/")
    assert Authenticator.objects.count() == 2


def test_another_persons_passkey_is_not_there(client: Client, ida: models.User, people: Cast) -> None:
    row = Passkey().added_to(people.ada)
    enter(client)
    client.post("/account/confirm/?next=/account/", {"password": PASSWORD})
    for path in (f"/account/passkeys/{row.pk}/", f"/account/passkeys/{row.pk}/remove/"):
        assert client.get(path).status_code == 404
        assert client.post(path, {"name": "mine"}).status_code == 404
    assert Authenticator.objects.get().data["name"] == "Tablet"


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    "credential",
    [
        "",
        "{",
        "[]",
        "null",
        "{}",
        '{"response": {}}',
        '{"response": {"userHandle": "AA"}}',
        '{"response": 1}',
    ],
)
def test_nonsense_for_a_passkey_signs_nobody_in(client: Client, ida: models.User, credential: str) -> None:
    Passkey().added_to(ida)
    client.get("/login/passkey/", headers={"Accept": "application/json"})
    told = client.post("/login/passkey/", {"credential": credential})
    assert told.status_code == 302
    assert told["Location"] == "/login/"
    assert not inside(client)


def by_passkey(passkey: Passkey, owner: models.User) -> tuple[Client, Any]:
    """A browser that tries to sign in with it, and what it is shown then."""
    client = Client(headers={"host": "localhost"})
    asked = client.get("/login/passkey/", headers={"Accept": "application/json"}).json()
    challenge = websafe_decode(asked["request_options"]["publicKey"]["challenge"])
    whose = user_pk_to_url_str(owner).encode()
    answer = passkey.answer(challenge, origin="http://localhost", rp="localhost", handle=whose)
    told = client.post(
        "/login/passkey/", {"credential": json.dumps(answer), "next": "/milestones/"}, follow=True
    )
    return client, told


def test_a_passkey_signs_in_and_leads_where_one_was_going(ida: models.User) -> None:
    passkey = Passkey()
    passkey.added_to(ida)
    client, told = by_passkey(passkey, ida)
    assert told.redirect_chain == [("/milestones/", 302)]
    assert inside(client)


def test_a_passkey_does_not_open_anothers_account(ida: models.User, people: Cast) -> None:
    passkey = Passkey()
    passkey.added_to(people.ada)
    client, _ = by_passkey(passkey, ida)
    assert not inside(client)


def test_an_account_that_is_closed_is_not_opened_by_its_passkey(ida: models.User) -> None:
    passkey = Passkey()
    passkey.added_to(ida)
    models.User.objects.filter(pk=ida.pk).update(is_active=False)
    client, told = by_passkey(passkey, ida)
    assert "This account is closed" in text_of(told)
    assert not inside(client)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_copy_of_a_passkey_does_not_sign_in(ida: models.User) -> None:
    passkey = Passkey(count=7)
    passkey.added_to(ida)
    outcomes = []
    for count in (7, 7, 8):  # each is used once more before it answers
        passkey.count = count
        outcomes.append(inside(by_passkey(passkey, ida)[0]))
    assert outcomes == [True, False, True]


# Sessions and tokens


def test_a_session_is_seen_and_ended_from_another(ida: models.User) -> None:
    here, there = Client(headers={"user-agent": "Tablet"}), Client(headers={"user-agent": "Desk"})
    enter(here)
    enter(there)
    page = text_of(here.get("/account/"))
    assert "This session since" in page
    assert "Desk" in page
    row = UserSession.objects.get(user_agent="Desk")
    assert here.get(f"/account/sessions/{row.pk}/end/").status_code == 405
    told = here.post(f"/account/sessions/{row.pk}/end/", follow=True)
    assert "Session ended" in text_of(told)
    assert inside(here)
    assert not inside(there)
    assert "Desk" not in text_of(here.get("/account/"))


def test_ending_the_present_session_signs_out(client: Client, ida: models.User) -> None:
    client.force_login(ida)  # began before sessions were listed
    client.get("/account/")
    row = UserSession.objects.get()
    assert client.post(f"/account/sessions/{row.pk}/end/")["Location"] == "/"
    assert not inside(client)


def test_anothers_session_is_not_ended(client: Client, ida: models.User, people: Cast) -> None:
    other = Client()
    other.force_login(people.ada)
    other.get("/account/")
    enter(client)
    row = UserSession.objects.get(user=people.ada)
    assert client.post(f"/account/sessions/{row.pk}/end/").status_code == 404
    assert inside(other)


def test_tokens_of_programs_are_seen_and_ended(client: Client, ida: models.User, people: Cast) -> None:
    for user in (ida, ida, people.ada):
        AuthToken.objects.create(user=user)
    enter(client)
    assert "2 API tokens are active" in text_of(client.get("/account/"))
    client.post("/account/tokens/end/")
    assert [each.user for each in AuthToken.objects.all()] == [people.ada]


# Passwords


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_changed_password_ends_the_other_sessions_and_the_tokens(ida: models.User) -> None:
    here, there = Client(), Client()
    enter(here)
    enter(there)
    AuthToken.objects.create(user=ida)
    new = {"oldpassword": PASSWORD, "password1": ANOTHER, "password2": ANOTHER}
    wrong = here.post("/account/password/", {**new, "oldpassword": "guess"})
    assert "Wrong current password" in text_of(wrong)
    weak = here.post("/account/password/", {**new, "password1": "short", "password2": "short"})
    assert "too short" in text_of(weak)
    told = here.post("/account/password/", new, follow=True)
    assert "Password changed" in text_of(told)
    assert inside(here)
    assert not inside(there)
    assert not AuthToken.objects.exists()
    assert "Wrong e-mail or password" in text_of(enter(there))
    assert enter(there, ANOTHER).status_code == 302


def link() -> str:
    """The address in the newest mail that has one."""
    said = "\n".join(str(each.body) for each in mails_sent())
    return re.findall(r"http://localhost:8000(/password/\w+-\S+)", said)[-1]


def test_a_forgotten_password_is_set_anew_by_mail(client: Client, ida: models.User) -> None:
    there = Client()
    enter(there)
    asked = client.post("/password/", {"email": " IDA@lakeside.example "}, follow=True)
    assert "Check your e-mail" in text_of(asked)
    assert mail.outbox == []
    [message] = mails_sent()
    assert (message.to, message.subject) == ([ida.email], "Reset your training record password")
    assert "example.com" not in message.body
    form = client.get(link())["Location"]
    assert form.endswith("set-password/")  # the key does not stay in the address
    new = {"password1": ANOTHER, "password2": ANOTHER}
    assert "Repeat new password" in text_of(client.get(form))
    done = client.post(form, new, follow=True)
    assert "Sign in with the new password" in text_of(done)
    assert not inside(client)
    assert not inside(there)
    assert "no longer works" in text_of(client.get(link()))
    assert enter(client, ANOTHER).status_code == 302
    assert not EmailAddress.objects.exists()


def test_nobody_learns_whose_address_has_an_account(client: Client, ida: models.User) -> None:
    models.User.objects.create_user("gone@lakeside.example", is_active=False)
    answers = {
        email: client.post("/password/", {"email": email})
        for email in (ida.email, "nobody@lakeside.example", "gone@lakeside.example")
    }
    assert len({(each.status_code, each["Location"]) for each in answers.values()}) == 1
    assert [each.to for each in mails_sent()] == [[ida.email]]


def test_an_address_that_is_the_accounts_no_longer_gets_no_mail(client: Client, ida: models.User) -> None:
    client.post("/password/", {"email": "ida@lakeside.example"})
    old = link()
    ida.email = "ida@hilltop.example"
    ida.save()
    client.post("/password/", {"email": "ida@lakeside.example"})
    assert len(mails_sent()) == 1
    assert "no longer works" in text_of(client.get(old))


def test_a_second_factor_is_asked_for_after_a_new_password_too(client: Client, app: models.User) -> None:
    client.post("/password/", {"email": app.email})
    form = client.get(link())["Location"]
    client.post(form, {"password1": ANOTHER, "password2": ANOTHER})
    assert enter(client, ANOTHER)["Location"] == "/login/second/"


# By token


def test_a_token_asks_for_the_code_as_well(app: models.User) -> None:
    given = {"email": app.email, "password": PASSWORD}
    url, api = "/api/v1/auth/login", APIClient()
    told = api.post(url, given)
    assert told.status_code == 401
    assert told["WWW-Authenticate"] == "Token"
    assert "Send code as well" in told.json()["detail"]
    assert api.post(url, {**given, "code": "000000"}).status_code == 401
    assert not AuthToken.objects.exists()
    with time_machine.travel(dt.datetime.now(dt.UTC), tick=False):
        assert api.post(url, {**given, "code": totp(SECRET)}).status_code == 200
        again = api.post(url, {**given, "code": totp(SECRET)})
    assert again.status_code == 401
    assert "used already" in again.json()["detail"]
    wrong = api.post(url, {**given, "password": "guess"})
    assert "code" not in wrong.json()["detail"]  # nothing is told before the password is right


def test_without_a_second_factor_a_code_is_not_looked_at(ida: models.User) -> None:
    given = {"email": ida.email, "password": PASSWORD, "code": "000000"}
    assert APIClient().post("/api/v1/auth/login", given).status_code == 200
