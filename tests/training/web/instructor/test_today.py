"""Today: who needs the instructor first, what the next milestone still needs, and never an old answer."""

from __future__ import annotations

import datetime as dt
import json
import pathlib
import re
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from syllabus.engine.record import document
from tests.support import courses, factories, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.web.test_pages import text_of
from training import models

ROOT = pathlib.Path(__file__).resolve().parents[4]
#: Noon at the school, after the record of the README is all met but for the endorsements.
NOW = dt.datetime(2026, 12, 5, 18, tzinfo=dt.UTC)
WITHOUT = {"endorsements": []}


def record(of: models.Student, **changed: Any) -> Any:
    """The README's record before the first solo for a student, with other parts in their place."""
    said = json.loads((ROOT / "fixtures/records/before-first-solo.json").read_text())
    whose = {"name": of.name, "birth_date": f"{of.birth_date}"}
    return document.parse({**said, "student": whose, **changed})


@kept
def flying(people: Cast) -> Cast:
    """Sam is in the shipped course; four others are in none."""
    courses.enrolled(people)
    for name, changed in (
        ("Ann Calm", {}),
        ("Ben Lapse", {"documents": [{"kind": "medical", "class": "third", "issued": "2024-12-30"}]}),
        ("Cid Ready", WITHOUT),
        ("Dot Sign", {}),
    ):
        born = dt.date(1980, 1, 1) if name == "Ben Lapse" else dt.date(2010, 12, 3)
        student = factories.student(
            people.school, taught_by=people.ida, name=name, birth_date=born, training_model="C172"
        )
        if name != "Dot Sign":
            factories.attested(student, record(student, **changed))
    return people


@pytest.fixture
def ida(client: Client, flying: Cast) -> Any:
    with time_machine.travel(NOW, tick=False):
        client.force_login(flying.ida)
        yield client


def part_of(client: Client, name: str) -> str:
    """What Today says of one student, as HTML."""
    page = client.get("/today/").content.decode()
    [found] = [each for each in page.split('<li class="pupil">') if f">{name}</a>" in each]
    return found


def student(name: str) -> models.Student:
    return models.Student.objects.get(name=name)


def test_the_most_urgent_come_first(ida: Client, flying: Cast) -> None:
    lessons.draft(flying, student=student("Dot Sign"), at=NOW)
    said = text_of(ida.get("/today/"))
    order = [said.index(name) for name in ("Dot Sign", "Ben Lapse", "Cid Ready", "Ann Calm")]
    assert order == sorted(order)
    assert "1 lesson to sign" in said
    assert "Expires 31 Dec 2026, in 26 days: Medical certificate" in said
    assert "Only your endorsement is missing: Solo flight" in said
    assert "Not enrolled in a course." in said
    assert "Otto" not in said


def test_what_the_next_milestone_needs_is_beside_what_closes_it(ida: Client, flying: Cast) -> None:
    """In no course, an endorsement is one link away; in the course, so is the lesson that is next."""
    ready = part_of(ida, "Cid Ready")
    for kind in ("pre-solo-training", "solo-90-day"):
        assert f'href="{reverse("endorse-kind", args=[student("Cid Ready").ref, kind])}"' in ready
    sam = part_of(ida, "Sam Example")
    steps = sam[sam.index('class="steps"') :].partition("</ul>")[0]
    start = r'name="id" value="([^"]+)">\s*<input type="hidden" name="lesson" value="([^"]+)">'
    asked = re.search(start, steps)
    assert asked is not None
    assert "14 CFR 61.87(d)" in steps
    answer = ida.post(reverse("lesson-begin", args=[flying.sam.ref]), {"id": asked[1], "lesson": asked[2]})
    draft = models.LessonRecord.objects.get(pk=asked[1])
    sheet = reverse("lesson-sheet", args=[flying.sam.ref, draft.pk])
    assert answer["Location"] == sheet
    assert sheet in part_of(ida, "Sam Example").partition('class="steps"')[2], "the draft goes on from there"


def test_what_was_just_signed_counts_at_once(ida: Client, flying: Cast) -> None:
    """Without any background job between, and after the page was already shown and cached."""
    before = part_of(ida, "Sam Example")
    maneuvers = re.search(r"<strong>(\d+) of (\d+) ", before)
    assert maneuvers is not None
    graded = [{"item": "presolo.d-01", "grade": "perform"}]
    lessons.signed(flying, lessons.content(items=graded), lesson="1-01", at=NOW - dt.timedelta(minutes=1))
    after = re.search(r"<strong>(\d+) of (\d+) ", part_of(ida, "Sam Example"))
    assert after is not None
    assert (int(after[1]), after[2]) == (int(maneuvers[1]) + 1, maneuvers[2])
