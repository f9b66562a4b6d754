"""Sign-in by the school's own OpenID Connect provider: a real one, in a process of its own."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import environ
import pytest
import requests
from allauth.socialaccount.models import SocialAccount
from django.core.cache import cache
from django.core.exceptions import ImproperlyConfigured
from django.test import Client

from tests.support import factories
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from tests.support.passkeys import Passkey
from tests.support.services import die_with_parent
from training.config.environment import openid_provider
from training.models import User

pytestmark = pytest.mark.django_db
SUB = "c7f1-ida"
START, LINK = "/login/school/start/", "/login/school/start/?process=connect"


@pytest.fixture(scope="module")
def provider() -> Iterator[str]:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "oidc_provider_mock", "--port", str(port)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        preexec_fn=die_with_parent(15),
    )
    address, deadline = f"http://127.0.0.1:{port}", time.monotonic() + 60
    try:
        while True:
            try:
                requests.get(f"{address}/.well-known/openid-configuration", timeout=5).raise_for_status()
                break
            except requests.RequestException:
                assert time.monotonic() < deadline, "the provider does not answer"
                time.sleep(0.1)
        yield address
    finally:
        process.terminate()
        process.wait(10)


def named(monkeypatch: pytest.MonkeyPatch, settings: Any, address: str) -> None:
    for name, value in {"ISSUER": address, "CLIENT_ID": "training", "CLIENT_SECRET": "s" * 20}.items():
        monkeypatch.setenv(f"OIDC_{name}", value)
    monkeypatch.setenv("OIDC_NAME", "Lakeside ID")
    for name, value in openid_provider(environ.Env()).items():
        setattr(settings, name, value)


@pytest.fixture
def on(provider: str, monkeypatch: pytest.MonkeyPatch, settings: Any) -> str:
    cache.clear()  # tries to sign in are counted
    named(monkeypatch, settings, provider)
    return provider


@pytest.fixture
def ida(people: Cast) -> User:
    people.ida.set_password(factories.PASSWORD)
    people.ida.save()
    return people.ida


def by_password(user: User) -> Client:
    """Signed in, and re-authenticated."""
    made = Client()
    answer = made.post("/login/", {"login": user.email, "password": factories.PASSWORD})
    assert (answer.status_code, "_auth_user_id" in made.session) == (302, True)
    assert made.post("/account/confirm/", {"password": factories.PASSWORD}).status_code == 302
    return made


def through(client: Client, path: str = START, **said: str) -> Any:
    """By way of the provider, where the person signs in as ``SUB``, and back."""
    leads_on = client.post(path)
    assert leads_on.status_code == 302, leads_on.content
    assert "code_challenge=" in leads_on.url
    back = requests.post(leads_on.url, data=said or {"sub": SUB}, allow_redirects=False, timeout=10)
    assert back.status_code in (302, 303), back.text
    where = back.headers["Location"]
    assert where.startswith("http://testserver/login/school/done/?")
    return client.get(where.removeprefix("http://testserver"), follow=True)


def who(client: Client) -> str:
    return str(client.session.get("_auth_user_id", ""))


def text(answer: Any) -> str:
    return str(answer.content.decode())


def claims(provider: str, **said: Any) -> None:
    requests.put(f"{provider}/users/{SUB}", json=said, timeout=10).raise_for_status()


def test_without_settings_there_is_no_button_and_no_address(ida: User) -> None:
    assert "Sign in with" not in text(Client().get("/login/"))
    assert Client().post(START).status_code == 404
    assert Client().get("/login/school/done/").status_code == 404
    assert 'id="provider"' not in text(by_password(ida).get("/account/"))


def test_nobody_gets_an_account_nor_is_one_linked_by_its_address(ida: User, on: str) -> None:
    claims(on, email=ida.email, email_verified=True, name="Ida Example")
    client, before = Client(), User.objects.count()
    assert "Sign in with Lakeside ID" in text(client.get("/login/"))
    answer = through(client)
    assert "This account of Lakeside ID is not linked to an account here." in text(answer)
    assert who(client) == ""
    assert (User.objects.count(), SocialAccount.objects.count()) == (before, 0)


def test_who_linked_the_account_while_signed_in_signs_in_by_it(ida: User, on: str) -> None:
    claims(on, email="another@provider.example", name="Ida of the provider", amr=["pwd"])
    client = by_password(ida)
    assert "Not linked." in text(client.get("/account/"))
    answer = through(client, LINK)
    assert "Account linked." in text(answer)
    assert "Linked. You can sign in with it." in text(answer)
    row = SocialAccount.objects.get()
    assert (row.user, row.uid, row.extra_data) == (ida, SUB, {})
    assert "was linked to an account of your school" in str(mails_sent()[-1].body)

    other = Client()
    through(other)
    assert who(other) == str(ida.pk)
    row.refresh_from_db()
    assert row.extra_data == {}, "nothing of what the provider says is kept"
    assert "another@provider.example" not in str(list(User.objects.values("email")))

    assert "Link removed." in text(client.post("/account/unlink/", follow=True))
    assert not SocialAccount.objects.exists()
    assert "is not linked" in text(through(Client()))


def test_linking_needs_a_fresh_sign_in(ida: User, on: str) -> None:
    client = Client()
    client.force_login(ida)
    answer = through(client, LINK)
    assert answer.redirect_chain[-1][0].startswith("/account/confirm/")
    assert not SocialAccount.objects.exists()
    client.post(answer.redirect_chain[-1][0], {"password": factories.PASSWORD}, follow=True)
    assert SocialAccount.objects.get().user == ida


def test_one_account_of_the_provider_opens_one_account_here(people: Cast, ida: User, on: str) -> None:
    through(by_password(ida), LINK)
    people.ada.set_password(factories.PASSWORD)
    people.ada.save()
    answer = through(by_password(people.ada), LINK)
    assert "linked to another person" in text(answer)
    assert SocialAccount.objects.get().user == ida


@pytest.mark.parametrize(
    ("trusted", "amr", "inside"),
    [
        pytest.param([], ["mfa"], False, id="the settings trust nothing"),
        pytest.param(["mfa", "hwk"], ["pwd"], False, id="the provider asked for a password alone"),
        pytest.param(["mfa", "hwk"], ["pwd", "mfa"], True, id="the provider asked for a second factor"),
    ],
)
def test_a_second_factor_holds(
    ida: User, on: str, settings: Any, trusted: list[str], amr: list[str], inside: bool
) -> None:
    settings.OIDC_SECOND_FACTOR = trusted
    through(by_password(ida), LINK)
    Passkey().added_to(ida)
    claims(on, amr=amr)
    client = Client()
    answer = through(client)
    assert (who(client) == str(ida.pk)) is inside
    assert answer.redirect_chain[-1][0].startswith("/login/second/") is not inside


def test_a_closed_account_stays_closed(ida: User, on: str) -> None:
    through(by_password(ida), LINK)
    User.objects.filter(pk=ida.pk).update(is_active=False)
    client = Client()
    assert "This account is closed." in text(through(client))
    assert who(client) == ""


def test_what_was_denied_or_forged_signs_nobody_in(ida: User, on: str) -> None:
    through(by_password(ida), LINK)
    client = Client()
    assert "Lakeside ID did not sign you in." in text(through(client, action="deny"))
    for forged in ("?code=made-up&state=made-up", "?code=made-up", ""):
        assert "did not sign you in" in text(client.get(f"/login/school/done/{forged}", follow=True))
    state = client.post(START).url.partition("state=")[2].partition("&")[0]
    told = client.get(f"/login/school/done/?code=made-up&state={state}", follow=True)
    assert "did not sign you in" in text(told)
    assert who(client) == ""


def test_a_provider_that_is_away_is_said_so(
    ida: User, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    with socket.socket() as taken:  # bound, and nobody listens
        taken.bind(("127.0.0.1", 0))
        named(monkeypatch, settings, f"http://127.0.0.1:{taken.getsockname()[1]}")
        answer = Client().post(START, follow=True)
    assert "Lakeside ID did not sign you in." in text(answer)


@pytest.mark.parametrize(
    ("said", "why"),
    [
        pytest.param({"ISSUER": "https://id.example"}, "or none of them", id="no client"),
        pytest.param({"CLIENT_SECRET": "x"}, "or none of them", id="a secret alone"),
        pytest.param(
            {"ISSUER": "http://id.example", "CLIENT_ID": "x", "CLIENT_SECRET": "x"},
            "write an address such as https://id.example",
            id="no https",
        ),
        pytest.param(
            {"ISSUER": "id.example", "CLIENT_ID": "x", "CLIENT_SECRET": "x"}, "OIDC_ISSUER", id="no address"
        ),
    ],
)
def test_settings_that_cannot_work_are_refused(
    monkeypatch: pytest.MonkeyPatch, said: dict[str, str], why: str
) -> None:
    for name, value in said.items():
        monkeypatch.setenv(f"OIDC_{name}", value)
    with pytest.raises(ImproperlyConfigured, match=why):
        openid_provider(environ.Env())
