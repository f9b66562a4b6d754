"""A school's settings and aircraft models over the API: seen by everybody there, set by administrators."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import passkeys
from tests.support.cast import Cast
from tests.support.factories import CONFIRMED
from tests.support.problems import places, problem
from training import models
from training.services.school import school_settings
from training.services.signing.reauthentication import Act

SETTINGS = "/api/v1/schools/lakeside/settings"
MODELS = "/api/v1/schools/lakeside/aircraft-models"


@pytest.fixture
def ada(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.ada)


def test_the_settings_are_shown_and_what_is_sent_is_set(ada: Any) -> None:
    shown = ada.get(SETTINGS)
    fits(shown.json(), "SchoolSettings")
    assert shown.json() == {
        "school": "lakeside",
        "claims_asked": ["endorsements", "tests", "documents", "certificates"],
        "taxi_allowance_minutes": 30,
        "release_hours": 2,
        "release_limits": {},
        "second_factor_for": [],
    }
    set_now = ada.put(SETTINGS, {"taxi_allowance_minutes": 0})
    assert set_now.json() == {**shown.json(), "taxi_allowance_minutes": 0}
    set_now = ada.put(SETTINGS, {"claims_asked": [], **CONFIRMED})
    assert set_now.json() == {**shown.json(), "claims_asked": [], "taxi_allowance_minutes": 0}
    assert ada.get(SETTINGS).json() == set_now.json()
    change, _ = models.SchoolChange.objects.all()
    assert (change.after, change.reason) == ({"claims_asked": []}, CONFIRMED["reason"])
    assert change.confirmed == {"by": "password"}
    assert models.SchoolChange.objects.count() == 2


@pytest.mark.parametrize(
    ("more", "status", "place"),
    [
        pytest.param({"confirm_password": None}, 422, "confirm_password", id="not confirmed"),
        pytest.param({"confirm_password": "wrong"}, 403, None, id="another password"),
        pytest.param({"reason": " "}, 422, "reason", id="no reason"),
    ],
)
def test_which_claims_are_asked_changes_with_a_reason_and_a_confirmation_alone(
    ada: Any, more: dict[str, Any], status: int, place: str | None
) -> None:
    answer = ada.put(SETTINGS, {"claims_asked": [], **CONFIRMED, **more})
    assert problem(answer, status)
    if place:
        assert places(answer) == [place]
    assert not models.SchoolChange.objects.exists()
    shown = ada.get(SETTINGS).json()
    assert ada.put(SETTINGS, {"claims_asked": shown["claims_asked"]}).json() == shown


def test_a_passkey_confirms_which_claims_are_asked(ada: Any, people: Cast) -> None:
    key = passkeys.Passkey()
    key.added_to(people.ada)
    act = school_settings.act(people.school, ["tests"], "fewer questions")
    sent = {"claims_asked": ["tests"], "reason": "fewer questions"}
    other = school_settings.act(people.school, [], "fewer questions")

    def signed(what: Act) -> dict[str, Any]:
        return key.signs(what.kind, what.subject, what.about, what.content_hash)

    problem(ada.put(SETTINGS, {**sent, "passkey": signed(other)}), 403)
    assert ada.put(SETTINGS, {**sent, "passkey": signed(act)}).status_code == 200
    said = models.SchoolChange.objects.get().confirmed["statement"]
    assert said == act.statement(said["nonce"])


@pytest.mark.parametrize(
    ("sent", "place"),
    [
        pytest.param({"claims_asked": ["ground"]}, "claims_asked", id="a list that is not asked about"),
        pytest.param({"claims_asked": "tests"}, "claims_asked", id="no list"),
        pytest.param({"claims_asked": [7]}, "claims_asked[0]", id="a number in it"),
        pytest.param({"taxi_allowance_minutes": 241}, "taxi_allowance_minutes", id="more than four hours"),
        pytest.param({"taxi_allowance_minutes": "30"}, "taxi_allowance_minutes", id="a text"),
        pytest.param({"taxi": 30}, "taxi", id="an unknown key"),
        pytest.param({"release_limits": {"wind": "fast"}}, "release_limits", id="a limit that is no speed"),
        pytest.param({"release_limits": {"winds": 3}}, "release_limits", id="a limit of no name"),
    ],
)
def test_what_cannot_be_set_is_told_with_its_place(ada: Any, sent: Any, place: str) -> None:
    assert places(ada.put(SETTINGS, sent), 422) == [place]
    assert not models.SchoolChange.objects.exists()


def test_a_spelling_is_linked_and_what_is_shown_can_be_sent_again(ada: Any) -> None:
    shown = ada.get(MODELS)
    fits(shown.json(), "AircraftModels")
    assert shown.json()["spellings"] == []
    sent = [
        {"spelling": "Cessna Trainer", "model": "C172", "category": None, "class": None},
        {"spelling": "X1", "model": "X1", "category": "airplane", "class": "single-engine land"},
    ]
    made = ada.put(MODELS, {"spellings": sent})
    fits(made.json(), "AircraftModels")
    assert made.json()["spellings"] == sent
    by_name = {each["model"]: each for each in made.json()["models"]}
    assert by_name["C172"]["spellings"][0] == "Cessna Trainer"
    assert by_name["C172"]["shipped"] is True
    assert by_name["X1"] == {
        "model": "X1",
        "category": "airplane",
        "class": "single-engine land",
        "shipped": False,
        "spellings": [],
    }
    again = ada.put(MODELS, {"spellings": made.json()["spellings"]})
    assert again.json() == made.json()
    assert models.SchoolChange.objects.count() == 1
    assert ada.put(MODELS, {"spellings": []}).json() == shown.json()


@pytest.mark.parametrize(
    ("sent", "place"),
    [
        pytest.param({}, "spellings", id="nothing"),
        pytest.param({"spellings": [{"spelling": "X"}]}, "spellings[0].model", id="no model"),
        pytest.param({"spellings": [{"spelling": "X", "model": "Moth"}]}, "spellings[0].model", id="unknown"),
        pytest.param(
            {"spellings": [{"spelling": "X", "model": "X", "class": "kite"}]},
            "spellings[0].class",
            id="class",
        ),
        pytest.param(
            {"spellings": [{"spelling": "X", "model": "C172", "modell": "X"}]},
            "spellings[0].modell",
            id="key",
        ),
    ],
)
def test_what_is_no_link_is_told_with_its_place(ada: Any, sent: Any, place: str) -> None:
    assert places(ada.put(MODELS, sent), 422) == [place]


@pytest.mark.parametrize("who", ["ida", "sams_account"])
@pytest.mark.parametrize(("url", "sent"), [(SETTINGS, {}), (MODELS, {"spellings": []})])
def test_everybody_of_the_school_reads_and_only_administrators_write(
    people: Cast, signed_in: Clients, who: str, url: str, sent: Any
) -> None:
    client = signed_in(getattr(people, who))
    assert client.get(url).status_code == 200
    assert "do not administer a school" in problem(client.put(url, sent), 403)["detail"]


@pytest.mark.parametrize(("url", "sent"), [(SETTINGS, {}), (MODELS, {"spellings": []})])
def test_of_another_school_nothing_is_known(people: Cast, signed_in: Clients, url: str, sent: Any) -> None:
    client = signed_in(people.olaf)
    problem(client.get(url), 404)
    problem(client.put(url, sent), 404)
    problem(client.get(url.replace("lakeside", "nowhere")), 404)


def test_nobody_reads_it_without_signing_in(people: Cast) -> None:
    problem(APIClient().get(SETTINGS), 401)
    problem(APIClient().put(MODELS, {"spellings": []}, format="json"), 401)
