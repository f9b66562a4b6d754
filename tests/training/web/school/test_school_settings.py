"""The administrator's pages of settings and of aircraft models."""

from __future__ import annotations

import pytest
from django.test import Client

from tests.support.cast import Cast
from tests.support.factories import CONFIRMED, PASSWORD
from tests.training.web.test_pages import text_of
from training import models

SETTINGS = "/school/lakeside/settings/"
MODELS = "/school/lakeside/aircraft-models/"


@pytest.fixture
def desk(client: Client, people: Cast) -> Client:
    """Ada at her desk."""
    people.ada.set_password(PASSWORD)
    people.ada.save()
    client.force_login(people.ada)
    return client


def test_settings_are_shown_changed_and_told_who_changed_them(desk: Client, people: Cast) -> None:
    page = desk.get(SETTINGS).content.decode()
    assert page.count(" checked") == 4
    assert 'name="taxi_allowance_minutes" value="30"' in page
    sent = {"claims_asked": ["tests", "flights"], "taxi_allowance_minutes": "12", **CONFIRMED}
    answer = desk.post(SETTINGS, sent, follow=True)
    said = text_of(answer)
    assert "Settings saved." in said
    assert (
        "Ada Example: Claimed entries that make an answer unknown: Endorsements, Tests, Documents,"
        " Certificates held → Tests" in said
    )
    assert "Taxi allowance in minutes: 30 → 12" in said
    people.school.refresh_from_db()
    assert people.school.claims_asked == ["tests", "flights"]
    assert people.school.taxi_allowance_minutes == 12
    assert f"Reason: {CONFIRMED['reason']}" in said
    desk.post(SETTINGS, {"taxi_allowance_minutes": "12", **CONFIRMED})
    people.school.refresh_from_db()
    assert people.school.claims_asked == []


def test_limits_of_every_solo_flight_are_saved_and_told(desk: Client, people: Cast) -> None:
    kept = {"claims_asked": ["endorsements", "tests", "documents", "certificates"]}
    sent = {**kept, "taxi_allowance_minutes": "30", "limits.crosswind": "8", "limits.days_since_dual": "14"}
    said = text_of(desk.post(SETTINGS, sent, follow=True))
    assert (
        "Limits of every solo flight: none → crosswind at most 8 kt; at most 14 days since a flight with an"
        " instructor" in said
    )
    people.school.refresh_from_db()
    assert people.school.release_limits == {"crosswind": "8 kt", "days_since_dual": 14}
    assert 'name="limits.crosswind" value="8 kt"' in desk.get(SETTINGS).content.decode()
    wrong = desk.post(SETTINGS, {**sent, "limits.crosswind": "some"})
    assert wrong.status_code == 422
    assert "crosswind" in text_of(wrong)


# test_translation, test_school_settings and test_versions make these queries on SQLite
@pytest.mark.any_database
@pytest.mark.parametrize(
    ("more", "says"),
    [
        pytest.param({"confirm_password": ""}, "Wrong password; nothing was signed", id="no password"),
        pytest.param(
            {"confirm_password": "wrong"}, "Wrong password; nothing was signed", id="another password"
        ),
        pytest.param({"reason": " "}, "write why", id="no reason"),
    ],
)
def test_which_claims_are_asked_changes_with_a_reason_and_the_password_alone(
    desk: Client, people: Cast, more: dict[str, str], says: str
) -> None:
    sent = {"claims_asked": [], "taxi_allowance_minutes": "30", **CONFIRMED, **more}
    answer = desk.post(SETTINGS, sent)
    assert answer.status_code == 422
    assert says in text_of(answer)
    assert not models.SchoolChange.objects.exists()
    kept = {"claims_asked": people.school.claims_asked or ["endorsements", "tests", "documents"]}
    assert desk.post(SETTINGS, {**kept, "taxi_allowance_minutes": "12"}).status_code == 302


@pytest.mark.any_database  # test_translation and test_school_settings make these queries on SQLite
@pytest.mark.parametrize("minutes", ["", "a while", "-1", "12.5", "99999"])
def test_minutes_that_are_none_are_told_at_their_field(desk: Client, people: Cast, minutes: str) -> None:
    answer = desk.post(SETTINGS, {"claims_asked": ["tests"], "taxi_allowance_minutes": minutes, **CONFIRMED})
    assert answer.status_code == 422
    assert "Enter whole minutes" in text_of(answer)
    assert not models.SchoolChange.objects.exists()


def test_minutes_beyond_what_is_allowed_are_told_at_their_field(desk: Client) -> None:
    answer = desk.post(SETTINGS, {"taxi_allowance_minutes": "241", **CONFIRMED})
    assert answer.status_code == 422
    assert "240" in text_of(answer)


@pytest.mark.any_database  # test_translation and test_school_settings make these queries on SQLite
def test_a_spelling_is_linked_and_unlinked(desk: Client, people: Cast) -> None:
    assert "No linked spellings. The spellings below need no link." in text_of(desk.get(MODELS))
    answer = desk.post(MODELS, {"spelling": "Cessna Trainer", "model": "172"}, follow=True)
    said = text_of(answer)
    assert "Cessna Trainer now means" in said
    assert "linked: Cessna Trainer means C172" in said
    [row] = models.ModelSpelling.objects.all()
    assert (row.school, row.spelling, row.model) == (people.school, "Cessna Trainer", "C172")
    answer = desk.post(f"{MODELS}unlink/", {"spelling": "Cessna Trainer"}, follow=True)
    assert "Cessna Trainer is no longer linked by the school." in text_of(answer)
    assert not models.ModelSpelling.objects.exists()


def test_a_model_is_added_with_its_class(desk: Client) -> None:
    sent = {"model": "X1", "category": "rotorcraft", "class": "gyroplane"}
    answer = desk.post(f"{MODELS}add/", sent, follow=True)
    assert "Model X1 added." in text_of(answer)
    assert "the school's own model rotorcraft, gyroplane" in text_of(answer)
    desk.post(MODELS, {"spelling": "X1 Star", "model": "X1"})
    refused = desk.post(f"{MODELS}unlink/", {"spelling": "X1"})
    assert refused.status_code == 422
    assert "X1 Star means this model" in text_of(refused)


@pytest.mark.any_database  # test_translation makes these queries on SQLite
@pytest.mark.parametrize(
    ("where", "sent", "field", "said"),
    [
        ("", {"spelling": "Trainer", "model": "Moth"}, "model", "is not a known model"),
        ("", {"spelling": "", "model": "C172"}, "spelling", "is blank"),
        ("", {"spelling": "C152", "model": "C172"}, "spelling", "is itself a model"),
        ("add/", {"model": "C172"}, "new_model", "is a model already"),
        (
            "add/",
            {"model": "X1", "category": "glider", "class": "helicopter"},
            "new_class",
            "not a class of glider",
        ),
        ("add/", {"model": " "}, "new_model", "is blank"),
    ],
)
def test_what_is_no_link_is_told_at_its_field(
    desk: Client, where: str, sent: dict[str, str], field: str, said: str
) -> None:
    answer = desk.post(f"{MODELS}{where}", sent)
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert (
        f'id="{field}-wrong"' in answer.content.decode()
        or f'aria-describedby="{field}' in answer.content.decode()
    )


@pytest.mark.any_database  # test_guardian_accounts makes these queries on SQLite
@pytest.mark.parametrize("who", ["ida", "olaf", "sams_account"])
@pytest.mark.parametrize("url", [SETTINGS, MODELS])
def test_nobody_else_knows_of_these_pages(client: Client, people: Cast, who: str, url: str) -> None:
    client.force_login(getattr(people, who))
    assert client.get(url).status_code == 404
    assert client.post(url, {}).status_code == 404
