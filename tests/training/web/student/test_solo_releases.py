"""The pages of a solo release: asked for on the phone, not met first, decided, ended, and a sheet from it."""

from __future__ import annotations

import re
import uuid
from typing import Any

import pytest
import time_machine
from django.test import Client

from tests.support import factories
from tests.support.cast import Cast
from tests.support.releasing import AT, FLIGHT, TO_CONFIRM, Engine, asked, checked, decided, engine
from tests.training.web.test_pages import text_of
from training import models
from training.services.releases import releases

__all__ = ["engine"]
TYPED = {
    "registration": "N00XY",
    "route": "kgrb kmtw kgrb",
    "date": "2026-03-03",
    "off": "1230",
    "on": "14:00",
    "reports": "METAR KGRB 031753Z 20008KT 10SM CLR 05/M02 A3010\n"
    "TAF KGRB 031720Z 0318/0418 20010KT P6SM\n  FM032200 22012KT P6SM",
}


@pytest.fixture(autouse=True)
def noon_of_the_day() -> Any:
    with time_machine.travel(AT, tick=False):
        yield


@pytest.fixture
def here(people: Cast, engine: Engine) -> str:
    factories.aircraft(people.school, registration="N00XY", model="C172")
    for user in (people.ida, people.sams_account):
        user.set_password(factories.PASSWORD)
        user.save()
    return f"/students/{people.sam.ref}/releases/"


def signs(page: str, **more: Any) -> dict[str, Any]:
    [digest] = re.findall(r'name="checked" value="([^"]+)"', page)
    said = {"decision": "released", "line": list(TO_CONFIRM), "confirm_password": factories.PASSWORD}
    return {**said, "checked": digest, "reason": "", **more}


def test_a_student_asks_with_what_is_typed_and_pasted(client: Client, people: Cast, here: str) -> None:
    client.force_login(people.sams_account)
    page = client.get(f"{here}plan/").content.decode()
    [entry] = re.findall(r'name="id" value="([^"]+)"', page)
    shown = client.post(f"{here}plan/", {**TYPED, "id": entry}, follow=True)
    assert "◷ Requested" in text_of(shown)
    assert "KGRB KMTW KGRB" in text_of(shown)
    made = models.SoloRelease.objects.get(pk=entry)
    assert made.flight["off"] == "2026-03-03T12:30:00-06:00"
    assert made.flight["aircraft"]["model"] == "C172"
    assert made.flight["weather"]["tafs"] == ["TAF KGRB 031720Z 0318/0418 20010KT P6SM FM032200 22012KT P6SM"]
    assert 'id="decide"' not in shown.content.decode()
    assert "◷ Requested" in text_of(client.get(here))


def test_a_runway_and_weather_that_was_heard_are_typed(client: Client, people: Cast, here: str) -> None:
    client.force_login(people.sams_account)
    entry = uuid.uuid4()
    heard = {
        "runways": "kgrb 18, KMTW 35", "observed": "1155", "wind_from": "200", "wind_reference": "magnetic",
        "wind": "8", "visibility": "10", "ceiling": "none", "flight_visibility": "7",
    }  # fmt: skip
    client.post(f"{here}plan/", {**TYPED, "id": entry, **heard}, follow=True)
    flight = models.SoloRelease.objects.get(pk=entry).flight
    assert flight["runways"] == {"KGRB": {"name": "18"}, "KMTW": {"name": "35"}}
    assert flight["weather"]["typed"] == [
        {
            "at": "KGRB", "observed": "2026-03-03T11:55:00-06:00", "wind_from": "200 deg",
            "wind_reference": "magnetic", "wind": "8 kt", "visibility": "10 SM", "no_ceiling": True,
            "flight_visibility": "7 SM",
        }
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        pytest.param({"runways": "18"}, "is no airport with its runway", id="no airport"),
        pytest.param({"wind": "8"}, "is not a time of day", id="weather of no time"),
        pytest.param({"wind": "fast", "observed": "1155"}, "does not start with a number", id="no wind"),
        pytest.param({"off": "half past"}, "is not a time of day", id="no time"),
        pytest.param({"on": "2575"}, "is not a time of day", id="no such time"),
        pytest.param({"route": ""}, "is blank", id="no route"),
        pytest.param({"route": "QQQQ9"}, "QQQQ9", id="no such airport"),
        pytest.param({"date": "2026-02-30"}, "2026-02-30", id="no such day"),
    ],
)
def test_what_cannot_be_read_is_told_and_kept(
    client: Client, people: Cast, here: str, changed: dict[str, str], said: str
) -> None:
    client.force_login(people.sams_account)
    answer = client.post(f"{here}plan/", {**TYPED, "id": str(uuid.uuid4()), **changed})
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert "FM032200" in answer.content.decode()
    assert not models.SoloRelease.objects.exists()


def test_an_instructor_sees_what_is_not_met_first_and_releases(
    client: Client, people: Cast, here: str, engine: Engine
) -> None:
    engine.answers = {"law.medical": True, "law.weather": None, "law.identification": False}
    release = asked(people)
    client.force_login(people.ida)
    page = client.get(f"{here}{release.pk}/").content.decode()
    order = [page.index(f'id="{each}"') for each in ("not-met", "unknown", "decide")]
    assert order == sorted(order)
    refused = client.post(f"{here}{release.pk}/", signs(page))
    assert refused.status_code == 422
    assert "is empty; write why you release it" in text_of(refused)
    assert refused.content.decode().count(" checked>") == len(TO_CONFIRM)
    done = client.post(f"{here}{release.pk}/", signs(page, reason="Seen on paper."), follow=True)
    shown = text_of(done)
    assert "✓ Released until 2026-03-03 14:00 CST" in shown
    assert "Released although a line is not met or unknown" in shown
    assert "Seen on paper." in shown
    assert client.get(here).status_code == 200


def test_a_check_that_changed_is_shown_anew(client: Client, people: Cast, here: str, engine: Engine) -> None:
    release = asked(people)
    client.force_login(people.ida)
    page = client.get(f"{here}{release.pk}/").content.decode()
    engine.answers["law.medical"] = False
    answer = client.post(f"{here}{release.pk}/", signs(page, reason="Old check."))
    assert answer.status_code == 422
    assert "changed since the check" in text_of(answer)
    fresh = answer.content.decode()
    assert signs(fresh)["checked"] == checked(release) != signs(page)["checked"]
    assert " checked>" not in fresh
    assert not models.ReleaseDecision.objects.exists()


def test_declined_with_a_reason_from_its_own_page(client: Client, people: Cast, here: str) -> None:
    release = asked(people)
    client.force_login(people.ida)
    path = f"{here}{release.pk}/?decision=declined"
    page = client.get(path).content.decode()
    assert 'value="declined"' in page
    assert "Confirm one by one" not in page
    wrong = client.post(path, signs(page, decision="declined", line=[], confirm_password="wrong"))
    assert wrong.status_code == 422
    done = client.post(path, signs(page, decision="declined", line=[], reason="Gusts."), follow=True)
    assert "✗ Declined" in text_of(done)
    assert "Gusts." in text_of(done)


def test_a_student_neither_decides_nor_sees_the_form(client: Client, people: Cast, here: str) -> None:
    release = asked(people)
    client.force_login(people.sams_account)
    page = client.get(f"{here}{release.pk}/")
    assert 'id="decide"' not in page.content.decode()
    sent = {"decision": "released", "checked": checked(release), "confirm_password": factories.PASSWORD}
    assert client.post(f"{here}{release.pk}/", sent).status_code == 403
    for user in (people.olaf, people.ottos_account):
        client.force_login(user)
        for path in ("", "plan/", f"{release.pk}/"):
            assert client.get(f"{here}{path}").status_code == 404
        assert client.post(f"{here}{release.pk}/end/", {"reason": "Flown"}).status_code == 404
    assert not models.ReleaseDecision.objects.exists()


def test_another_flight_replaces_it_and_the_student_ends_it(client: Client, people: Cast, here: str) -> None:
    release = asked(people)
    decided(people, release)
    client.force_login(people.sams_account)
    page = client.get(f"{here}plan/?from={release.pk}").content.decode()
    assert 'value="KGRB KMTW KGRB"' in page
    assert f'name="replaces" value="{release.pk}"' in page
    assert "The earlier request or release ends" in page
    sent = {**TYPED, "id": str(uuid.uuid4()), "replaces": str(release.pk)}
    shown = text_of(client.post(f"{here}plan/", sent, follow=True))
    assert "◷ Requested" in shown
    assert "✗ Ended" in text_of(client.get(f"{here}{release.pk}/"))
    other = f"{here}{sent['id']}/"
    assert client.post(f"{other}end/", {"reason": " "}).status_code == 422
    assert "✗ Ended" in text_of(client.post(f"{other}end/", {"reason": "Rain"}, follow=True))


def test_the_lessons_sheet_starts_from_a_release(client: Client, people: Cast, here: str) -> None:
    release = asked(people)
    decided(people, release)
    client.force_login(people.ida)
    for _ in range(2):
        answer = client.post(f"{here}{release.pk}/sheet/", follow=True)
    page = answer.content.decode()
    assert 'value="KGRB KMTW KGRB"' in page
    assert 'value="N00XY"' in page
    assert 'value="12:30"' in page
    [draft] = models.LessonRecord.objects.all()
    assert draft.content["flight"]["times"] == {"total": "1.5 h", "solo": "1.5 h"}
    client.force_login(people.sams_account)
    assert client.post(f"{here}{release.pk}/sheet/").status_code == 404


def test_every_page_has_the_caution(client: Client, people: Cast, here: str) -> None:
    release = asked(people)
    client.force_login(people.sams_account)
    for path in ("", "plan/", f"{release.pk}/"):
        assert "the instructor, the examiner and the authority decide" in text_of(client.get(f"{here}{path}"))
    assert releases.find(people.sam, release.pk).flight == FLIGHT
