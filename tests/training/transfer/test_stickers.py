"""A signed lesson or endorsement for the paper logbook: what 61.51(h) asks for, of what is signed alone."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from typing import Any

import pytest
from django.test import Client

from tests.support import lessons
from tests.support.cast import IDAS_CERTIFICATE, Cast
from training import models, pdf
from training.services.endorsements import endorsements
from training.services.lessons import sign_offs

WISHED = {"aircraft_model": "C172", "training_date": "2026-03-03"}


@pytest.fixture
def printed(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """The data of every sticker that is made."""
    made: list[dict[str, Any]] = []
    make = pdf.make

    def noted(template: str, data: Any, *, at: dt.datetime) -> bytes:
        made.append(data)
        return make(template, data, at=at)

    monkeypatch.setattr(pdf, "make", noted)
    return made


def entry(people: Cast, lesson: models.LessonRecord) -> str:
    return f"/students/{people.sam.ref}/entries/{lesson.pk}.pdf"


def given(people: Cast) -> models.Endorsement:
    sealed = endorsements.give(
        people.sam, uuid.uuid4(), "solo-90-day", WISHED, by=people.ida, at=lessons.AT, via="web"
    )
    return models.Endorsement.objects.get(entry_id=sealed.seal.endorsement.entry_id)


def test_an_entry_says_what_was_taught_how_long_and_who_signed(
    client: Client, people: Cast, printed: list[dict[str, Any]]
) -> None:
    people.ida.roles.update(recent_experience_until=dt.date(2027, 5, 31))
    client.force_login(people.sams_account)
    answer = client.get(entry(people, lessons.signed(people)))
    assert answer.content.startswith(b"%PDF-")
    # 12 cm wide, in points, and about as high as what it says: no whole sheet of paper
    width, height = map(float, re.findall(rb"/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)", answer.content)[0])
    assert round(width) == 340
    assert height < 500
    facts, signature = dict(printed[0]["facts"]), dict(printed[0]["signature"])
    assert (facts["Total"], facts["Dual"], facts["Ground: time"]) == ("1.4 h", "1.4 h", "0.5 h")
    assert "Well prepared." in facts["Lesson"]
    assert signature["Instructor"] == "Ida Example"
    assert signature["Certificate"] == IDAS_CERTIFICATE
    assert signature["Recent experience through"] == "2027-05-31 (as recorded now)"


@pytest.mark.parametrize("last", [None, dt.date(2026, 3, 2)], ids=["none on record", "ended before"])
def test_a_date_that_does_not_cover_the_signature_is_left_to_the_hand(
    client: Client, people: Cast, printed: list[dict[str, Any]], last: dt.date | None
) -> None:
    lesson = lessons.signed(people)
    people.ida.roles.update(recent_experience_until=last)
    client.force_login(people.ida)
    assert client.get(entry(people, lesson)).status_code == 200
    assert "write it by hand" in dict(printed[0]["signature"])["Recent experience through"]


def test_only_what_is_signed_and_stands_is_printed(client: Client, people: Cast) -> None:
    client.force_login(people.ida)
    first = lessons.signed(people)
    draft = sign_offs.correct(
        first, id=uuid.uuid4(), reason="misread", content=lessons.flown(remarks="calm"), by=people.ida,
        at=lessons.AT, via="web",
    )  # fmt: skip
    assert client.get(entry(people, draft)).status_code == 404
    lessons.sign(draft, people.ida)
    assert [client.get(entry(people, each)).status_code for each in (first, draft)] == [404, 200]
    client.force_login(people.ottos_account)
    assert client.get(entry(people, draft)).status_code == 404


def test_an_endorsement_is_printed_until_it_is_revoked(
    client: Client, people: Cast, printed: list[dict[str, Any]]
) -> None:
    client.force_login(people.ida)
    row = given(people)
    path = f"/students/{people.sam.ref}/endorsements/{row.entry_id}.pdf"
    assert client.get(path).status_code == 200
    assert "I trained Sam Example in the C172" in printed[0]["words"]
    assert dict(printed[0]["facts"])["Rule"] == "14 CFR 61.87(n)"
    assert path in client.get(f"/teach/{people.sam.ref}/endorse/").content.decode()
    endorsements.revoke(row, by=people.ida, reason="put off", at=lessons.AT, via="web")
    assert client.get(path).status_code == 404
