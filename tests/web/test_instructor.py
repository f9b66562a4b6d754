"""The instructor's pages without scripts: today, the sheet, the sign-off, the correction, the endorsement."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from tests import factories
from tests.cast import Cast
from tests.training import courses
from tests.web.browsing import PASSWORD
from tests.web.test_pages import text_of
from training import models

#: Noon at the school.
NOW = dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC)


@pytest.fixture
def ida(client: Client, people: Cast) -> Any:
    """Ida at her desk, with Sam enrolled in the shipped course, on the day after the lesson."""
    people.ida.set_password(PASSWORD)
    people.ida.save()
    courses.enrolled(people)
    factories.aircraft(people.school, registration="N00XY", model="C172")
    with time_machine.travel(NOW, tick=False):
        client.force_login(people.ida)
        yield client


def begun(client: Client, people: Cast) -> models.LessonRecord:
    """The draft of the next lesson, begun from Today."""
    page = client.get("/today/").content.decode()
    found = re.search(r'name="id" value="([^"]+)"><input type="hidden" name="lesson" value="([^"]+)"', page)
    assert found, page
    sent = {"id": found[1], "lesson": found[2]}
    answer = client.post(reverse("lesson-begin", args=[people.sam.ref]), sent)
    record = models.LessonRecord.objects.get()
    assert answer["Location"] == reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    return record


def fields_of(page: str) -> dict[str, str]:
    """The fields of the sheet as a browser would send them."""
    form = page[page.index('<form class="sheet"') :]
    form = form[: form.index("</form>")]
    found: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        attributes = dict(re.findall(r'([a-z-]+)="([^"]*)"', tag))
        kind = attributes.get("type", "text")
        if kind in ("radio", "checkbox") and " checked" not in tag:
            continue
        if "name" in attributes:
            found[attributes["name"]] = attributes.get("value", "")
    for name, inside in re.findall(
        r'<select[^>]* name="([^"]+)"(?![^>]*multiple)[^>]*>(.*?)</select>', form, re.S
    ):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        found[name] = chosen[1] if chosen else ""
    for name, inside in re.findall(r'<textarea[^>]* name="([^"]+)"[^>]*>(.*?)</textarea>', form, re.S):
        found[name] = inside
    return found


FLIGHT = {
    "flown": "dual",
    "date": "2026-03-02",
    "registration": "n00xy",
    "route": "kgrb kmtw kgrb",
    "off": "13:00",
    "on": "14:24",
    "landing-0-at": "KMTW",
    "landing-0-takeoffs": "3",
    "landing-0-landings": "3",
    "landing-0-period": "day",
    "landing-0-full_stop": "yes",
}


def test_the_job_from_today_to_the_sealed_result_by_plain_forms(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    sheet = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    fields = fields_of(ida.get(sheet).content.decode())
    assert fields["item-0-grade"] == "not-observed"
    answer = ida.post(
        sheet, {**fields, **FLIGHT, "item-0-grade": "practice", "comments": "Well prepared.", "then": "sign"}
    )
    assert answer.status_code == 302, text_of(answer)
    record.refresh_from_db()
    flight = record.content["flight"]
    assert flight["times"] == {"total": "1.4 h", "dual": "1.4 h"}
    assert flight["aircraft"]["registration"] == "n00xy"
    assert flight["aircraft"]["model"] == "C172"
    assert flight["route"] == ["KGRB", "KMTW", "KGRB"]
    assert flight["off"] == "2026-03-02T13:00:00-06:00"

    sign = answer["Location"]
    page = ida.get(sign)
    said = text_of(page)
    for words in (
        "This will be sealed",
        "3 takeoffs, 3 landings at KMTW by day, full stop",
        "Well prepared.",
        "0000001CFI",
    ):
        assert words in said
    wrong = ida.post(sign, {"content_hash": record.content_hash, "confirm_password": "x"})
    assert wrong.status_code == 422
    assert "does not confirm the signature" in text_of(wrong)
    assert not models.SignOff.objects.exists()
    done = ida.post(sign, {"content_hash": record.content_hash, "confirm_password": PASSWORD})
    sealed = reverse("lesson-sealed", args=[people.sam.ref, record.pk])
    assert done["Location"] == sealed
    signed = models.SignOff.objects.get()
    assert signed.confirmed == {"by": "password"}
    assert f"Entry {signed.ledger_index} of the ledger" in text_of(ida.get(sealed))
    assert ida.get(sheet)["Location"] == sealed
    assert ida.get(sign)["Location"] == sealed
    # Sent again, as by somebody who did not see the answer: the same.
    assert (
        ida.post(sign, {"content_hash": record.content_hash, "confirm_password": PASSWORD})["Location"]
        == sealed
    )
    assert models.SignOff.objects.count() == 1
