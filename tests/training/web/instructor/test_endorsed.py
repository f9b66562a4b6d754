"""The endorsements pages: what is needed next comes first, and ends are in plain words."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from playwright.sync_api import expect
from pytest_django.live_server_helper import LiveServer

from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from syllabus.law import endorsements as catalogue
from tests.support import courses, factories
from tests.support.browsing import Watched, add_session
from tests.support.cast import Cast
from tests.training.web.instructor.test_instructor import NOW
from tests.training.web.test_pages import text_of
from training import models, reports
from training.services.records import page_cache
from training.web.instructor.endorsed import ends

TODAY = dt.date(2026, 3, 3)
OLAF = engine.Instructor("Olaf Example", "0000003CFI")


@pytest.fixture
def ida(client: Client, people: Cast) -> Any:
    with time_machine.travel(NOW, tick=False):
        client.force_login(people.ida)
        yield client


def given(kind: str, on: str, **more: Any) -> engine.Endorsement:
    return engine.Endorsement(f"e-{kind}-{on}", kind, dt.date.fromisoformat(on), OLAF, "C172", **more)


def test_what_the_next_milestone_lacks_comes_first(ida: Client, people: Cast) -> None:
    page = text_of(ida.get(reverse("endorse", args=[people.sam.ref])))
    kinds = catalogue.current().kinds
    first, rest = page.split("All other kinds")
    assert "Needed next, for: Solo flight" in first
    lacks = {each.rule.id for each in reports.eligibility(people.sam, "faa.first-solo", TODAY).unmet()}
    needed = {each.title for each in kinds.values() if lacks & set(each.proves)}
    assert kinds["solo-90-day"].title in needed
    assert {each.title for each in kinds.values() if f" {each.title} " in first} == needed
    assert not [each for each in needed if f" {each} " in rest.split("On record")[0]]


def test_limits_are_fields_of_a_solo_endorsement_alone(ida: Client, people: Cast) -> None:
    page = reverse("endorse-kind", args=[people.sam.ref, "solo-90-day"])
    typed = {"aircraft_model": "C172", "training_date": "2026-03-02", "limits.wind": "12 kt"}
    said = text_of(ida.get(page, typed))
    assert "Limits: wind at most 12 kt." in said
    wrong = ida.get(page, {**typed, "limits.wind": "12 NM"})
    assert "is a distance, but a speed is expected" in text_of(wrong)
    other = reverse("endorse-kind", args=[people.sam.ref, "home-study-reviewed"])
    assert "limits.wind" not in ida.get(other).content.decode()


def test_what_was_given_is_not_needed_again(people: Cast) -> None:
    on, known = dt.date(2026, 11, 20), json.loads(Path("fixtures/records/before-first-solo.json").read_text())
    with_it = document.parse(known)
    for record, needed in ((replace(with_it, endorsements=()), True), (with_it, False)):
        factories.in_time(people.sam, record, at=factories.NOON)
        sam = models.Student.objects.get(pk=people.sam.pk)
        found = json.loads(page_cache.part(sam, "endorsements", on))
        assert ("solo-90-day" in found["needed"]) is needed


@pytest.mark.parametrize(
    ("last", "words"),
    [
        ("2026-03-02", "Ended 2 Mar 2026."),
        ("2026-03-03", "Ends today, 3 Mar 2026."),
        ("2026-03-04", "Ends 4 Mar 2026, in 1 day."),
        ("2026-03-15", "Ends 15 Mar 2026, in 12 days."),
    ],
)
def test_when_it_ends_in_plain_words(last: str, words: str) -> None:
    assert ends(dt.date.fromisoformat(last), TODAY) == words


def test_an_imported_endorsement_says_what_it_names_and_when_it_ends(ida: Client, people: Cast) -> None:
    training = dt.date(2025, 12, 20)
    endorsed = given("solo-90-day", "2025-12-20", training_date=training, conditions="Wind at most 8 kt.")
    factories.recorded(people.sam, endorsements=(endorsed,))
    page = text_of(ida.get(reverse("endorse", args=[people.sam.ref])))
    assert "Given 20 Dec 2025 by Olaf Example. Attested. Ends 20 Mar 2026, in 17 days." in page
    assert "Wind at most 8 kt." in page
    assert "Day of the training 20 Dec 2025" in page


def test_the_header_page_has_every_student_with_what_ends_first_on_top(ida: Client, people: Cast) -> None:
    tess = factories.student(people.school, taught_by=people.ida, name="Tess Example")
    factories.student(people.school, taught_by=people.ida, name="Amy Example")
    training = dt.date(2025, 12, 20)
    factories.recorded(tess, endorsements=(given("solo-90-day", "2025-12-20", training_date=training),))
    page = text_of(ida.get("/endorsements/"))
    assert page.index("Tess Example") < page.index("Amy Example") < page.index("Sam Example")
    assert "Ends 20 Mar 2026, in 17 days." in page
    assert "Needed next, for: Solo flight" in page
    assert "Otto" not in page
    assert models.AccessLog.objects.filter(user=people.ida, what="endorsements").count() == 3
    ida.force_login(people.sams_account)
    assert ida.get("/endorsements/")["Location"] == "/"


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_check_runs_again_as_fields_change(
    watched: Watched, school: Cast, live_server: LiveServer
) -> None:
    courses.enrolled(school)
    page = watched.page
    add_session(page, live_server.url, school.ida)
    page.goto(f"{live_server.url}{reverse('endorse-kind', args=[school.sam.ref, 'solo-90-day'])}")
    trained = dt.datetime.now(dt.UTC).date() - dt.timedelta(days=2)
    expect(page.locator(".wrong:visible")).to_have_count(0)
    page.get_by_label("Conditions and limitations").fill("Wind at most 8 kt.")
    expect(page.locator("#checked blockquote")).to_contain_text("Wind at most 8 kt.")
    expect(page.locator("#field-training_date .wrong")).to_contain_text("Is missing")
    page.get_by_label("Day of the training").fill(trained.isoformat())
    expect(page.locator("#field-training_date .wrong")).to_have_count(0)
    expect(page.get_by_label("Conditions and limitations")).to_have_value("Wind at most 8 kt.")
    expect(page.get_by_role("button", name="Give endorsement with the password")).to_be_visible()
