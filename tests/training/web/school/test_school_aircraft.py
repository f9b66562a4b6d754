"""The administrator's page of aircraft: listed, recorded, renewed, and pointed out at a glance."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
import time_machine
from django.test import Client

from tests.support import factories
from tests.support.cast import Cast
from tests.training.web.test_pages import text_of
from training import models
from training.services.fleet import aircraft as fleets

THE_DAY = dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)
HERE = "/school/lakeside/aircraft/"


@pytest.fixture(autouse=True)
def the_day() -> Any:
    with time_machine.travel(THE_DAY, tick=False):
        yield


@pytest.fixture
def desk(client: Client, people: Cast) -> Client:
    """Ada at her desk."""
    client.force_login(people.ada)
    return client


@pytest.fixture
def craft(people: Cast) -> models.Aircraft:
    return factories.aircraft(people.school, registration="N00XY", model="C172")


def test_an_empty_page_says_what_to_do_first_and_takes_the_first_aircraft(desk: Client, people: Cast) -> None:
    assert "No aircraft yet" in text_of(desk.get(HERE))
    sent = {"registration": "N00ZZ", "model": "PA28", "category": "airplane", "klass": "single-engine land"}
    answer = desk.post(HERE, sent, follow=True)
    assert "N00ZZ (PA28) added." in text_of(answer)
    [made] = models.Aircraft.objects.filter(school=people.school)
    assert (made.registration, made.category, made.device) == ("N00ZZ", "airplane", "")
    assert "Nothing on record: Annual inspection, Altimeter and static system test" in text_of(answer)
    desk.post(HERE, sent)
    assert models.Aircraft.objects.count() == 1


@pytest.mark.any_database  # others here, test_signing_authority and test_admin make these queries on SQLite
@pytest.mark.parametrize(
    ("sent", "said"),
    [
        pytest.param({"registration": "", "model": "C172"}, "This field cannot be blank", id="no name"),
        pytest.param({"registration": "N00ZZ", "model": " "}, "This field cannot be blank", id="no model"),
        pytest.param(
            {"registration": "N00ZZ", "model": "C172", "device": "kite"},
            "'kite' is not a valid",
            id="kite",
        ),
        pytest.param(
            {"registration": "N00XY", "model": "PA28"},
            "is already listed, with other details",
            id="twice",
        ),
        pytest.param({"registration": "N" * 41, "model": "C172"}, "at most 40 characters", id="a long one"),
    ],
)
def test_what_is_no_aircraft_is_told_at_its_field(desk: Client, craft, sent, said: str) -> None:
    answer = desk.post(HERE, {"category": "airplane", "klass": "single-engine land", **sent})
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert models.Aircraft.objects.count() == 1
    assert f'value="{sent["model"].strip()}"' in answer.content.decode()


def test_an_inspection_is_recorded_and_renewed(desk: Client, craft: models.Aircraft) -> None:
    path = f"{HERE}{craft.pk}/checks/"
    desk.post(path, {"kind": "annual-inspection", "done": "2025-06-10", "expires": ""})
    shown = text_of(desk.get(HERE))
    assert "30 Jun 2026 ✗ expired" in shown
    answer = desk.post(path, {"kind": "annual-inspection", "done": "2026-07-05"}, follow=True)
    assert "N00XY: Annual inspection valid through 31 Jul 2027." in text_of(answer)
    shown = text_of(answer)
    assert "31 Jul 2027 ✓ valid" in shown
    assert "30 Jun 2026" not in shown
    assert "14 CFR 91.409(a), second-hand" in shown
    assert "not tracked here: 100-hour inspection 14 CFR 91.409(b)." in shown
    assert "recorded by Ada Example" in shown
    assert models.AircraftCheck.objects.count() == 2


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("sent", "said"),
    [
        pytest.param({"done": ""}, "is blank; enter a date", id="no day"),
        pytest.param({"done": "2026-02-30"}, "2026-02-30", id="a day that there is not"),
        pytest.param({"done": "2026-07-06"}, "after today at the school", id="tomorrow"),
        pytest.param({"kind": "paint"}, "'paint' is not one of ", id="no such kind"),
        pytest.param(
            {"kind": "elt-battery"}, "is missing; enter the last day", id="a battery without its day"
        ),
        pytest.param({"expires": "2026-01-01"}, "is before 2026-07-01", id="over before it was done"),
    ],
)
def test_what_cannot_be_is_told_at_its_field_and_nothing_is_lost(
    desk: Client, craft: models.Aircraft, sent: dict[str, str], said: str
) -> None:
    whole = {"kind": "transponder", "done": "2026-07-01", "expires": "", **sent}
    answer = desk.post(f"{HERE}{craft.pk}/checks/", whole)
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert "<details open>" in answer.content.decode()
    [kept] = re.findall(r'name="done"(?: value="([^"]*)")?', answer.content.decode())
    assert kept == whole["done"]
    assert not models.AircraftCheck.objects.exists()


def test_a_device_has_nothing_to_record_and_anothers_aircraft_is_none(desk: Client, people: Cast) -> None:
    device = factories.aircraft(people.school, registration="DEVICE 1", model="C172", device="BATD")
    other = factories.aircraft(people.elsewhere, registration="N00OT", model="C172")
    shown = text_of(desk.get(HERE))
    assert "DEVICE 1 (C172, BATD)" in shown
    assert "N00OT" not in shown
    sent = {"kind": "transponder", "done": "2026-07-01"}
    refused = desk.post(f"{HERE}{device.pk}/checks/", sent)
    assert refused.status_code == 422
    for pk in (other.pk, 2**62):
        assert desk.post(f"{HERE}{pk}/checks/", sent).status_code == 404
    assert not models.AircraftCheck.objects.exists()


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
@pytest.mark.parametrize(
    ("last", "said"),
    [
        pytest.param(dt.date(2026, 7, 4), "✗ expired", id="it ended yesterday"),
        pytest.param(dt.date(2026, 7, 5), "◷ expires today", id="today for the last time"),
        pytest.param(dt.date(2026, 7, 6), "◷ 1 day to go", id="tomorrow"),
        pytest.param(dt.date(2026, 8, 4), "◷ 30 days to go", id="in thirty days"),
        pytest.param(dt.date(2026, 8, 5), "", id="later, which is not said yet"),
    ],
)
def test_at_a_glance_stands_what_is_over_and_what_ends_within_thirty_days(
    desk: Client, people: Cast, craft: models.Aircraft, last: dt.date, said: str
) -> None:
    fleets.record(craft.pk, "elt-battery", dt.date(2026, 1, 5), last, by=people.ada, at=THE_DAY)
    shown = text_of(desk.get("/school/lakeside/"))
    assert ("N00XY" in shown) is bool(said)
    assert said in shown
