"""Whoever must have a second factor and has none is led to set one up, and can do nothing else."""

from __future__ import annotations

import re
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.core.cache import caches
from django.test import Client
from django.urls import reverse
from knox.models import AuthToken
from rest_framework.test import APIClient

from tests.support.browsing import PASSWORD, totp
from tests.support.cast import Cast
from tests.support.passkeys import Passkey
from tests.training.web.test_pages import text_of
from training import models
from training.services.people import second_factor

LED = "/account/"
PAGES = ("/school/lakeside/", "/students/", "/reminders/", "/search/", "/audit/", "/tablet/token/", "/admin/")


@pytest.fixture(autouse=True)
def nothing_known() -> None:
    caches["process"].clear()


@pytest.fixture
def ada(people: Cast) -> models.User:
    people.ada.set_password(PASSWORD)
    people.ada.save()
    models.School.objects.filter(pk=people.school.pk).update(second_factor_for=["administrator"])
    return people.ada


def enter(user: models.User) -> Client:
    client = Client()
    client.post("/login/", {"login": user.email, "password": PASSWORD})
    return client


def test_a_school_that_never_chose_requires_it_of_its_administrators(db: None) -> None:
    made = models.School.objects.create(name="New", slug="new")
    assert made.second_factor_for == ["administrator"]


def test_pages_lead_to_where_it_is_set_up_and_open_after_that(ada: models.User) -> None:
    client = enter(ada)
    for path in ("/", *PAGES):
        assert client.get(path)["Location"] == LED, path
        assert client.post(path)["Location"] == LED, path
    page = text_of(client.get(LED))
    assert "Your role needs a second factor." in page
    client.post("/account/confirm/?next=/account/app/", {"password": PASSWORD})
    form = client.get("/account/app/").content.decode()
    secret = re.search(r'class="key">([A-Z2-7]+)<', form)
    assert secret
    codes = client.post("/account/app/", {"code": totp(secret[1])}, follow=True)
    assert re.search(r"<code>([0-9]{8})</code>", codes.content.decode())
    assert client.get("/school/lakeside/").status_code == 200
    assert "Your role needs" not in text_of(client.get(LED))


def test_the_api_refuses_by_session_and_by_token_and_says_why(ada: models.User, people: Cast) -> None:
    program = APIClient()
    models.School.objects.update(second_factor_for=[])
    made = program.post("/api/v1/auth/login", {"email": ada.email, "password": PASSWORD}).json()
    by_token = APIClient(headers={"authorization": f"Token {made['token']}"})
    models.School.objects.update(second_factor_for=["administrator"])
    caches["process"].clear()
    for client in (by_token, enter(ada)):
        for path in ("/api/v1/people", "/api/v1/students/", f"/api/v1/students/{people.sam.ref}/record"):
            told = client.get(path)
            assert told.status_code == 403, path
            assert told.json()["type"] == "/help/everyone/sign-in/"
            assert told.json()["title"] == "Second factor required"
    assert by_token.post("/api/v1/people", {}).status_code == 403
    caches["process"].clear()
    refused = program.post("/api/v1/auth/login", {"email": ada.email, "password": PASSWORD})
    assert (refused.status_code, refused.json()["title"]) == (403, "Second factor required")
    assert Client().get("/help/everyone/sign-in/").status_code == 200
    assert by_token.post("/api/v1/auth/logout").status_code == 204


@pytest.mark.parametrize("who", ["ida", "sams_account", "olaf"])
def test_whoever_holds_another_role_is_not_asked(ada: models.User, people: Cast, who: str) -> None:
    client = Client()
    client.force_login(getattr(people, who))
    assert client.get("/reminders/").status_code == 200


def test_a_role_that_the_school_adds_is_asked_too(ada: models.User, people: Cast) -> None:
    models.School.objects.filter(pk=people.school.pk).update(second_factor_for=["instructor"])
    client = Client()
    client.force_login(people.ida)
    assert client.get("/today/", follow=True).redirect_chain[-1][0] == LED
    client.force_login(ada)
    assert client.get("/school/lakeside/").status_code == 200


@pytest.mark.parametrize("kind", ["passkey", "app"])
def test_either_kind_is_enough(ada: models.User, kind: str) -> None:
    client = Client()
    client.force_login(ada)
    assert client.get("/school/lakeside/")["Location"] == LED
    if kind == "passkey":
        Passkey().added_to(ada)
    else:
        Authenticator.objects.create(user=ada, type="totp", data={"secret": "x"})
    assert client.get("/school/lakeside/").status_code == 200


def test_recovery_codes_alone_are_none(ada: models.User) -> None:
    Authenticator.objects.create(user=ada, type="recovery_codes", data={"seed": "x", "used_mask": 0})
    assert second_factor.missing(ada)


def test_operators_need_one_unless_the_server_says_otherwise(people: Cast, settings: Any) -> None:
    settings.OPERATOR_SECOND_FACTOR = True
    root = models.User.objects.create_superuser("root@lakeside.example", PASSWORD)
    client = Client()
    client.force_login(root)
    assert client.get(reverse("admin:index"))["Location"] == LED
    settings.OPERATOR_SECOND_FACTOR = False
    assert client.get(reverse("admin:index")).status_code == 200


def test_the_administrator_sets_it_on_the_settings_page(people: Cast) -> None:
    client = Client()
    client.force_login(people.ada)
    sent = {
        "claims_asked": people.school.claims_asked,
        "taxi_allowance_minutes": "30",
        "second_factor_for": ["administrator", "instructor"],
    }
    assert client.post("/school/lakeside/settings/", sent).status_code == 302
    people.school.refresh_from_db()
    assert people.school.second_factor_for == ["administrator", "instructor"]
    kept = models.SchoolChange.objects.get()
    assert kept.after == {"second_factor_for": ["administrator", "instructor"]}
    caches["process"].clear()
    assert client.get("/school/lakeside/settings/")["Location"] == LED
    Passkey().added_to(people.ada)
    page = text_of(client.get("/school/lakeside/settings/"))
    assert "Second factor required for: none → Administrators, Instructors" in page


@pytest.mark.parametrize("chosen", [["owner"], ["student", "student"], "student", [7]])
def test_what_is_no_role_is_refused(people: Cast, chosen: Any) -> None:
    _, token = AuthToken.objects.create(user=people.ada)
    api = APIClient(headers={"authorization": f"Token {token}"})
    told = api.put("/api/v1/schools/lakeside/settings", {"second_factor_for": chosen})
    assert told.status_code == 422
    assert told.json()["errors"][0]["place"].startswith("second_factor_for")


def test_the_last_administrator_comes_in_again_once_the_factor_is_lost(ada: models.User) -> None:
    """The command takes it away; the password opens, and leads to set up another."""
    from django.core.management import call_command

    Passkey().added_to(ada)
    assert not second_factor.missing(ada)
    call_command("remove_second_factor", ada.email, reason="lost, called back", really=True)
    client = enter(ada)
    assert client.get("/school/lakeside/")["Location"] == LED
    assert client.get("/account/app/")["Location"].startswith("/account/confirm/")
