"""Each event of a sign-in is kept: who, what and from where, never a secret; and read by whom it is about."""

from __future__ import annotations

import datetime as dt
import json
import logging
import re
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from knox.models import AuthToken
from rest_framework.test import APIClient

from tests.support import factories
from tests.support.browsing import PASSWORD, totp
from tests.support.cast import Cast
from tests.training.web.test_pages import text_of
from training.config.logs import JsonLines
from training.models import Delivery, SignInEvent, User
from training.services import sweep as sweeping
from training.services.people import people, sign_ins
from training.services.records import traces
from training.services.reminders import outgoing

SECRET = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
ANOTHER = "four words that are new"
NOW = dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)
FROM = {"REMOTE_ADDR": "192.0.2.7", "HTTP_USER_AGENT": "Tablet"}


@pytest.fixture
def ida(people: Cast) -> User:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    SignInEvent.objects.all().delete()
    return people.ida


def enter(client: Client, password: str = PASSWORD, email: str = "ida@lakeside.example") -> Any:
    return client.post("/login/", {"login": email, "password": password})


def program(user: User) -> APIClient:
    _, token = AuthToken.objects.create(user=user)
    return APIClient(headers={"authorization": f"Token {token}"})


def kept() -> list[tuple[str, str, str]]:
    return list(SignInEvent.objects.order_by("pk").values_list("what", "about", "via"))


def test_on_the_pages(ida: User) -> None:
    client = Client(**FROM)  # type: ignore[arg-type]
    enter(client, "a wrong one")
    enter(client)
    client.post("/account/confirm/?next=/account/app/", {"password": PASSWORD})
    TOTP.activate(ida, SECRET)
    client.post("/logout/")
    enter(client)
    client.post("/login/second/", {"code": "000000"})
    client.post("/login/second/", {"code": totp(SECRET)})
    new = {"oldpassword": PASSWORD, "password1": ANOTHER, "password2": ANOTHER}
    client.post("/account/password/", new)
    client.post("/account/confirm/?next=/account/", {"password": ANOTHER})
    client.post("/account/app/remove/", {})
    assert [what for what, _, _ in kept()] == [
        "sign-in-failed",
        "signed-in",
        "signed-out",
        "factor-failed",
        "factor-used",
        "signed-in",
        "password-set",
        "factor-removed",
    ]
    said = SignInEvent.objects.values_list("user", "by", "ip", "program", "via").distinct().order_by()
    assert list(said) == [(ida.pk, None, "192.0.2.7", "Tablet", "web")]
    everything = str(list(SignInEvent.objects.values()))
    assert not [each for each in (PASSWORD, ANOTHER, SECRET, "000000", "a wrong one") if each in everything]


def test_a_factor_that_is_set_up_on_its_page(ida: User, django_capture_on_commit_callbacks: Any) -> None:
    client = Client()
    enter(client)
    client.post("/account/confirm/?next=/account/app/", {"password": PASSWORD})
    secret = re.search(r'class="key">([A-Z2-7]+)<', client.get("/account/app/").content.decode())
    assert secret
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/app/", {"code": totp(secret[1])})
    assert {("factor-added", "totp"), ("factor-added", "recovery_codes")} <= {each[:2] for each in kept()}


def test_of_a_program(ida: User) -> None:
    api = APIClient()
    given = {"email": ida.email, "password": PASSWORD}
    api.post("/api/v1/auth/login", {**given, "password": "a wrong one"})
    token = api.post("/api/v1/auth/login", given).json()["token"]
    TOTP.activate(ida, SECRET)
    api.post("/api/v1/auth/login", {**given, "code": "000000"})
    api.post("/api/v1/auth/login", {**given, "code": totp(SECRET)})
    api.post("/api/v1/auth/logout", headers={"authorization": f"Token {token}"})
    assert kept() == [
        ("sign-in-failed", "", "api"),
        ("token-made", "", "api"),
        ("factor-failed", "", "api"),
        ("factor-used", "totp", "api"),
        ("token-made", "", "api"),
        ("token-ended", "", "api"),
    ]
    assert token not in str(list(SignInEvent.objects.values()))


@pytest.mark.parametrize("connected", ["unix:", "", "fe80::1%eth0"])
def test_a_connection_without_an_address_leaves_an_event_too(ida: User, connected: str) -> None:
    assert enter(Client(REMOTE_ADDR=connected), "a wrong one").status_code == 200
    assert SignInEvent.objects.get().ip in (None, "fe80::1")


def test_too_many_tries_say_so_once_a_minute(ida: User) -> None:
    for _ in range(8):
        enter(Client(), "a wrong one")
    assert [what for what, _, _ in kept()] == ["sign-in-failed"] * 5 + ["locked"]
    assert set(SignInEvent.objects.values_list("user", flat=True)) == {ida.pk}


def test_what_others_do_to_an_account_names_them(ida: User, people: Cast) -> None:
    root = User.objects.create_superuser("root@lakeside.example", PASSWORD)
    client = Client()
    client.force_login(root)
    Authenticator.objects.create(user=ida, type="totp", data={"secret": "x"})
    SignInEvent.objects.all().delete()
    call_command("remove_second_factor", ida.email, reason="lost, called back", really=True)
    address = f"/admin/training/user/{ida.pk}/password/"
    client.post(address, {"usable_password": "true", "password1": ANOTHER, "password2": ANOTHER})
    said = SignInEvent.objects.order_by("pk").values_list("what", "user", "by", "via")
    assert list(said) == [
        ("factor-removed", ida.pk, None, "command"),
        ("password-set", ida.pk, root.pk, "web"),
    ]


def test_invitations_and_roles(people: Cast, client: Client) -> None:
    client.force_login(people.ada)
    SignInEvent.objects.all().delete()
    sent = {"role": "instructor", "name": "Nora Example", "email": "otto@hilltop.example"}
    client.post("/school/lakeside/people/add/", sent)
    factories.accepted("otto@hilltop.example")
    role = people.ottos_account.roles.get(role="instructor")
    client.post(f"/school/lakeside/people/{role.pk}/end/", {"sure": "on"})
    said = SignInEvent.objects.order_by("pk").values_list("about", "user", "by", "school")
    otto, ada, here = people.ottos_account.pk, people.ada.pk, people.school.pk
    assert list(said) == [
        ("instructor invited", ada, None, here),
        ("instructor accepted", otto, None, here),
        ("instructor ended", otto, ada, here),
    ]


def test_the_log_has_a_line_without_a_name(ida: User, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO, "training.sign_ins"):
        enter(Client(**FROM), "a wrong one")  # type: ignore[arg-type]
        enter(Client(**FROM), "a wrong one", "nobody@lakeside.example")  # type: ignore[arg-type]
    lines = [json.loads(JsonLines().format(each)) for each in caplog.records if "sign_ins" in each.name]
    assert [each["message"] for each in lines] == [
        f"sign-in-failed: user {ida.pk}, from web 192.0.2.7",
        "sign-in-failed: no account, from web 192.0.2.7",
    ]
    assert not [each for each in ("ida@", "Ida", "nobody@", "wrong one") if each in json.dumps(lines)]


@pytest.mark.parametrize("path", ["/login/", "/api/v1/auth/login"])
def test_a_failed_sign_in_makes_the_same_statements_whether_or_not_there_is_an_account(
    ida: User, path: str
) -> None:
    seen = []
    User.objects.create_user("closed@lakeside.example", PASSWORD, is_active=False)
    User.objects.create_user("new@lakeside.example")
    for name in ("ida", "nobody", "closed", "new"):
        email = f"{name}@lakeside.example"
        key = "login" if path == "/login/" else "email"
        client = APIClient() if path.startswith("/api") else Client()
        with CaptureQueriesContext(connection) as asked:
            client.post(path, {key: email, "password": "a wrong one"})
        seen.append([each["sql"].split(" WHERE")[0].split(" VALUES")[0] for each in asked.captured_queries])
    assert all(each == seen[0] for each in seen)
    assert len(seen[0]) == 3  # the account for the password, the account for the event, the event


def test_everybody_reads_their_own_and_an_administrator_those_of_the_school(ida: User, people: Cast) -> None:
    enter(Client())
    factories.role("student", at=people.elsewhere, whose=ida)
    sign_ins.record(sign_ins.What.ROLE, ida, about="student added", school=people.elsewhere)
    sign_ins.record(sign_ins.What.SIGNED_IN, people.olaf)
    mine, desk = Client(), Client()
    mine.force_login(ida)
    desk.force_login(people.ada)
    own = text_of(mine.get("/account/events/"))
    assert "signed in" in own
    assert "student added" in own
    listed = text_of(desk.get("/school/lakeside/people/events/"))
    assert "Ida Example , signed in" in listed or "Ida Example, signed in" in listed
    assert "student added" not in listed  # another school's
    assert "Olaf" not in listed
    for path in ("/school/lakeside/people/events/", "/school/hilltop/people/events/"):
        assert mine.get(path).status_code == 404
    api = program(people.ada)
    events = api.get("/api/v1/auth/events?school=lakeside").json()["events"]
    assert {each["person"] for each in events} == {"ida@lakeside.example", "ada@lakeside.example"}
    assert api.get("/api/v1/auth/events?school=hilltop").status_code == 403
    assert {each["person"] for each in api.get("/api/v1/auth/events").json()["events"]} == {people.ada.email}
    assert program(ida).get("/api/v1/auth/events?school=lakeside").status_code == 403


def test_the_sweep_takes_away_what_is_over(ida: User, people: Cast) -> None:
    sign_ins.record(sign_ins.What.SIGNED_IN, ida)
    sign_ins.record(sign_ins.What.SIGNED_OUT, ida)
    SignInEvent.objects.filter(what="signed-in").update(at=NOW - sign_ins.KEPT - dt.timedelta(minutes=1))
    SignInEvent.objects.filter(what="signed-out").update(at=NOW - sign_ins.KEPT + dt.timedelta(minutes=1))
    Session.objects.create(session_key="a" * 32, session_data="x", expire_date=NOW - dt.timedelta(minutes=1))
    Session.objects.create(session_key="b" * 32, session_data="x", expire_date=NOW + dt.timedelta(minutes=1))
    AuthToken.objects.create(user=ida)
    AuthToken.objects.update(expiry=NOW - dt.timedelta(minutes=1))
    old = people_invited(people)
    Delivery.objects.all().delete()
    for minutes, state in ((-1, "sent"), (-1, "pending"), (1, "sent")):
        at = NOW - sign_ins.KEPT + dt.timedelta(minutes=minutes)
        outgoing.notice(ida, f"{state} {minutes}", "x", at=at)
        if state == "sent":
            Delivery.objects.filter(subject=f"sent {minutes}").update(state=state, sent_at=at)
    done = sweeping.sweep(now=lambda: NOW)
    assert done.faults == []
    assert not SignInEvent.objects.filter(what="signed-in").exists()
    assert SignInEvent.objects.filter(what="signed-out").exists()
    assert [each.session_key[0] for each in Session.objects.all()] == ["b"]
    assert not AuthToken.objects.exists()
    assert not type(old).objects.exists()
    assert {each.subject for each in Delivery.objects.exclude(subject="")} == {"pending -1", "sent 1"}


def people_invited(cast: Cast) -> Any:
    long_ago = NOW - sign_ins.KEPT - people.INVITED_FOR - dt.timedelta(minutes=1)
    said = {"kind": "instructor", "name": "N", "email": "n@x.example", "by": cast.ada, "at": long_ago}
    return people.add(cast.school, **said).invitation


def test_an_account_that_is_closed_for_good_leaves_no_events(ida: User) -> None:
    enter(Client(**FROM))  # type: ignore[arg-type]
    AuthToken.objects.create(user=ida)
    traces.close(ida)
    assert not SignInEvent.objects.filter(user=ida).exists()
