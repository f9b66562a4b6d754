"""Whoever sets a new password, and however: what the old one opened is closed."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any
from unittest import mock

import pytest
from allauth.usersessions.models import UserSession
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from knox.models import AuthToken
from rest_framework.test import APIClient

from tests.support.browsing import PASSWORD
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from training import models
from training.services.operations import demo

pytestmark = pytest.mark.ignore_template_errors  # the admin site's own templates
ANOTHER = "four words that are new"
NEW = {"password1": ANOTHER, "password2": ANOTHER}


@pytest.fixture
def ida(people: Cast) -> models.User:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    return people.ida


def signed_in(user: models.User) -> Client:
    client = Client()
    client.post("/login/", {"login": user.email, "password": PASSWORD})
    return client


def by_oneself(user: models.User) -> None:
    client = signed_in(user)
    assert client.post("/account/password/", {"oldpassword": PASSWORD, **NEW}).status_code == 302
    assert client.get("/account/").status_code == 200  # the session that changed it goes on


def by_mail(user: models.User) -> None:
    """In a browser that is signed in, which is signed out by it too."""
    client = signed_in(user)
    client.post("/password/", {"email": user.email})
    [address] = re.findall(r"https?://[^/\s]+(/password/\S+)", str(mails_sent()[-1].body))
    done = client.post(client.get(address)["Location"], NEW, follow=True)
    assert done.status_code == 200
    assert client.get("/account/").status_code == 302


def on_the_admin_site(user: models.User, **sent: str) -> None:
    root = models.User.objects.create_superuser("root@lakeside.example", PASSWORD)
    client = Client()
    client.force_login(root)
    sent = sent or {"usable_password": "true", **NEW}
    address = reverse("admin:auth_user_password_change", args=[user.pk])
    assert client.post(address, sent).status_code == 302


def taken_away_on_the_admin_site(user: models.User) -> None:
    on_the_admin_site(user, **{"usable_password": "false", "unset-password": ""})


def by_the_command_line(user: models.User) -> None:
    with mock.patch("getpass.getpass", return_value=ANOTHER):
        call_command("changepassword", user.email)


def by_a_hash_put_in_its_place(user: models.User) -> None:
    user.password = PBKDF2PasswordHasher().encode(ANOTHER, "salt", 1)
    user.save()


@pytest.mark.parametrize(
    "way",
    [
        by_oneself,
        by_mail,
        on_the_admin_site,
        taken_away_on_the_admin_site,
        by_the_command_line,
        by_a_hash_put_in_its_place,
    ],
)
def test_a_new_password_ends_every_session_and_token(
    ida: models.User, people: Cast, way: Callable[[models.User], None]
) -> None:
    there, others = signed_in(ida), Client()
    others.force_login(people.ada)
    _, token = AuthToken.objects.create(user=ida)
    AuthToken.objects.create(user=people.ada)
    program = APIClient(headers={"authorization": f"Token {token}"})
    assert (there.get("/account/").status_code, program.get("/api/v1/notices").status_code) == (200, 200)
    key = there.session.session_key

    way(models.User.objects.get(pk=ida.pk))

    assert (there.get("/account/").status_code, program.get("/api/v1/notices").status_code) == (302, 401)
    assert not Session.objects.filter(session_key=key).exists()
    assert not UserSession.objects.filter(session_key=key).exists()
    assert [each.user for each in AuthToken.objects.all()] == [people.ada]
    assert others.get("/account/").status_code == 200


def test_a_demo_that_is_loaded_again_ends_what_its_last_password_opened(db: None) -> None:
    at = dt.datetime.now(dt.UTC)
    demo.load(demo.today(at), at=at, password="the first time")
    AuthToken.objects.create(user=models.User.objects.get(email=f"ada@{demo.DOMAIN}"))
    demo.load(demo.today(at), at=at, password="the second time")
    assert not AuthToken.objects.exists()


def test_the_same_password_hashed_anew_ends_nothing(ida: models.User, settings: Any) -> None:
    """As Django does at a sign-in, once another hasher, or another cost of it, is the first."""
    older = "django.contrib.auth.hashers.PBKDF2PasswordHasher"
    settings.PASSWORD_HASHERS = [*settings.PASSWORD_HASHERS, older]
    models.User.objects.filter(pk=ida.pk).update(password=PBKDF2PasswordHasher().encode(PASSWORD, "salt", 1))
    AuthToken.objects.create(user=ida)
    signed_in(ida)
    ida.refresh_from_db()
    assert ida.password.startswith("md5$")
    assert AuthToken.objects.filter(user=ida).exists()


def test_other_changes_of_an_account_end_nothing(ida: models.User) -> None:
    AuthToken.objects.create(user=ida)
    there = signed_in(ida)
    ida.name = "Ida Anew"
    ida.save()
    assert there.get("/account/").status_code == 200
    assert AuthToken.objects.filter(user=ida).exists()


def test_a_token_asked_for_by_a_password_replaced_meanwhile_is_not_made(ida: models.User) -> None:
    def replaced(*args: object) -> None:
        user = models.User.objects.get(pk=ida.pk)
        user.set_password(ANOTHER)
        user.save()

    with mock.patch("api.v1.everyone.auth.second_factor.check", replaced):
        told = APIClient().post("/api/v1/auth/login", {"email": ida.email, "password": PASSWORD})
    assert told.status_code == 401
    assert not AuthToken.objects.exists()
