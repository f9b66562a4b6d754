"""What the sheet fills in, what it leaves alone, and what it points out; without scripts."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from tests.support import courses, lessons
from tests.support.cast import Cast
from tests.training.web.instructor.test_instructor import FLIGHT, begun, fields_of, ida, teaching
from training import models

__all__ = ["ida", "teaching"]  # fixtures


def saved(ida: Client, people: Cast, record: models.LessonRecord, **given: str) -> dict[str, Any]:
    """The content after the sheet, as a browser shows it, was sent with other fields."""
    sheet = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    answer = ida.post(sheet, {**fields_of(ida.get(sheet).content.decode()), **given, "then": "keep"})
    assert answer.status_code == 302, answer.content.decode()
    record.refresh_from_db()
    return record.content


def test_a_proposed_time_follows_the_clock_until_it_is_changed(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    assert saved(ida, people, record, **FLIGHT)["flight"]["times"] == {"total": "1.4 h", "dual": "1.4 h"}
    assert saved(ida, people, record, on="14:30")["flight"]["times"] == {"total": "1.5 h", "dual": "1.5 h"}
    typed = saved(ida, people, record, **{"t-total": "1.8", "t-dual": "1.8"})
    assert typed["flight"]["times"] == {"total": "1.8 h", "dual": "1.8 h"}
    later = saved(ida, people, record, on="14:36")
    assert later["flight"]["times"] == {"total": "1.8 h", "dual": "1.8 h"}
    cleared = saved(ida, people, record, **{"t-total": "1.8", "t-dual": ""})
    assert cleared["flight"]["times"] == {"total": "1.8 h"}
    assert saved(ida, people, record, on="14:42")["flight"]["times"] == {"total": "1.8 h"}


def test_a_proposed_time_follows_the_clock_in_a_correction(ida: Client, people: Cast) -> None:
    signed = lessons.signed(people, lesson="1-01")
    key = str(uuid.uuid4())
    ida.post(reverse("lesson-correct", args=[people.sam.ref, signed.pk]), {"id": key, "reason": "Later."})
    record = models.LessonRecord.objects.get(pk=key)
    content = saved(ida, people, record, on="14:30")
    assert content["flight"]["times"] == {"total": "1.5 h", "dual": "1.5 h"}


@pytest.mark.parametrize(
    ("clock", "period"),
    [
        ({"off": "13:00", "on": "14:24"}, "day"),
        ({"off": "21:00", "on": "22:00"}, "night"),
        ({"off": "17:00", "on": "19:00"}, None),
    ],
    ids=["by day", "at night", "the Sun set in between: nobody says when the landings were"],
)
def test_day_or_night_of_landings_is_by_the_sun(
    ida: Client, people: Cast, clock: dict[str, str], period: str | None
) -> None:
    record = begun(ida, people)
    content = saved(ida, people, record, **{**FLIGHT, **clock, "landing-0-period": ""})
    assert content["flight"]["landings"][0].get("period") == period


def test_solo_time_is_proposed_as_pilot_in_command(ida: Client, people: Cast) -> None:
    times = saved(ida, people, begun(ida, people), **{**FLIGHT, "flown": "solo"})["flight"]["times"]
    assert times == {"total": "1.4 h", "solo": "1.4 h", "pic": "1.4 h"}


def test_an_identifier_without_its_k_and_a_bare_number_are_read(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    fields = fields_of(ida.get(reverse("lesson-sheet", args=[people.sam.ref, record.pk])).content.decode())
    unit = next(name for name, text in fields.items() if name.endswith("-unit") and text)
    value = unit.replace("-unit", "-value")
    content = saved(
        ida,
        people,
        record,
        **{
            **FLIGHT,
            "route": "fld mtw fld",
            "landing-0-at": "mtw",
            value: "5",
            "ground-time": "0.5",
            "ground-topic": "Slips",
        },
    )
    assert content["flight"]["route"] == ["KFLD", "KMTW", "KFLD"]
    assert content["flight"]["landings"][0]["at"] == "KMTW"
    assert content["ground"]["time"] == "0.5 h"
    [measured] = [each["measured"] for each in content["items"] if "measured" in each]
    assert list(measured.values()) == [f"5 {fields[unit]}"]


def test_the_model_follows_the_aircraft_and_an_unknown_one_is_pointed_out(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    unknown = {**FLIGHT, "registration": "n00zz", "model": "PA-28"}
    assert saved(ida, people, record, **unknown)["flight"]["aircraft"]["model"] == "PA-28"
    check = reverse("lesson-check", args=[people.sam.ref])
    says = ida.post(check, unknown).json()["warnings"]["registration"]
    assert any("N00ZZ is not one of the school's aircraft" in each for each in says)
    known = saved(ida, people, record, registration="n00xy")["flight"]["aircraft"]
    assert (known["registration"], known["model"]) == ("N00XY", "C172")


def test_a_new_sheet_starts_from_the_last_flight(ida: Client, people: Cast) -> None:
    first = courses.private_airplane().lessons[0]
    graded = [{"item": each, "grade": "perform"} for each in first.items]
    lessons.signed(people, lessons.content(items=graded), lesson=first.code)
    key = uuid.uuid4()
    ida.post(reverse("lesson-begin", args=[people.sam.ref]), {"id": key, "lesson": "1-02"})
    record = models.LessonRecord.objects.get(pk=key)
    shown = fields_of(ida.get(reverse("lesson-sheet", args=[people.sam.ref, record.pk])).content.decode())
    assert (shown["registration"], shown["route"]) == ("N00XY", "KGRB KMTW KGRB")
    assert [shown[f"landing-{number}-at"] for number in range(3)] == ["KMTW", "KGRB", ""]
    assert shown["date"] == "2026-03-03"
