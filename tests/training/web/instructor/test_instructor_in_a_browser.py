"""The instructor's job in a real browser, from the login to the sealed result; and no rule broken."""

from __future__ import annotations

import pathlib
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.support import courses, factories, lessons
from tests.support.browsing import (
    PASSWORD,
    SIZES,
    Watched,
    add_session,
    fits,
    fits_narrow_and_with_large_text,
    sign_in,
)
from tests.support.cast import Cast
from tests.support.extent import FULL
from training import models
from training.services.lessons import lesson_audit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def teaching(school: Cast) -> Cast:
    """Sam is in the shipped course, and the school has an airplane."""
    courses.enrolled(school)
    factories.aircraft(school.school, registration="N00XY", model="C172")
    return school


class Ramp:
    """A browser of one size, with its console, the hosts it asked, and pictures of what it showed."""

    def __init__(self, browser: Browser, folder: pathlib.Path, size: str, **more: Any):
        width, height = SIZES[size]
        self.context = browser.new_context(
            viewport={"width": width, "height": height},
            has_touch=size != "a desk",
            bypass_csp=False,
            **more,
        )
        self.page = self.context.new_page()
        self.watched = Watched(self.page)
        self.asked: set[str] = set()
        self.context.on("request", lambda request: self.asked.add(request.url))
        self.folder = folder
        self.shots = 0

    def look(self, name: str) -> None:
        self.shots += 1
        if FULL:
            self.page.screenshot(path=self.folder / f"{self.shots:02d}-{name}.png", full_page=True)
        fits(self.page)


@pytest.fixture(params=SIZES)
def ramp(request: pytest.FixtureRequest, browser: Browser, tmp_path: pathlib.Path) -> Iterator[Ramp]:
    made = Ramp(browser, tmp_path, request.param)
    yield made
    made.context.close()


def fly(page: Page) -> None:
    """Fill in the flight of a sheet, as it was flown."""
    page.get_by_role("radio", name="With me aboard").check()
    page.get_by_label("Day", exact=True).fill("2026-03-02")
    page.get_by_label("Aircraft", exact=True).fill("N00XY")
    page.get_by_label("Off", exact=True).fill("13:00")
    page.get_by_label("On", exact=True).fill("14:24")
    page.get_by_label("Route").fill("KGRB KMTW KGRB")


def test_the_instructors_job_from_the_login_to_the_sealed_result(
    ramp: Ramp, teaching: Cast, live_server: LiveServer
) -> None:
    page = ramp.page
    sign_in(page, live_server.url)
    page.get_by_role("heading", name="Today").wait_for()
    ramp.look("today")
    page.get_by_role("button", name="Start").last.click()
    page.get_by_role("heading", level=1).wait_for()
    fly(page)
    expect(page.locator("[data-out=distance]")).to_contain_text("NM total")
    expect(page.locator("[data-out=night]")).to_have_text("0.0 h")
    expect(page.get_by_label("Total")).to_have_value("1.4 h")
    expect(page.get_by_label("Dual")).to_have_value("1.4 h")
    # A contradiction is said where it is typed.
    page.get_by_label("Night").fill("2.0")
    said = page.locator("[data-for=t-night]")
    expect(said).to_contain_text("is more than the total")
    ramp.look("contradiction")
    page.get_by_label("Night").fill("")
    expect(said).to_be_empty()
    items = page.locator("fieldset.item")
    assert items.count() > 3
    for number in range(items.count()):
        items.nth(number).get_by_role("radio", name="Practice").check()
    expect(page.get_by_label("Airport").first).to_have_value("KMTW")
    for _ in range(3):
        page.get_by_role("button", name="One more: Landings").first.click()
    expect(page.locator("[name=landing-0-landings]")).to_have_value("3")
    page.get_by_label("Comments").fill("Well prepared.")
    ramp.look("sheet")
    page.get_by_role("button", name="Review and sign").click()
    page.get_by_role("heading", name="You are about to sign this").wait_for()
    expect(page.get_by_text("Well prepared.")).to_be_visible()
    ramp.look("sign")
    page.get_by_label("Your password").fill("wrong")
    page.get_by_role("button", name="Sign lesson with the password").click()
    expect(page.locator(".confirming .wrong")).to_contain_text("Wrong password; nothing was signed")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign lesson with the password").click()
    page.get_by_role("heading", name="Signed and locked").wait_for()
    ramp.look("sealed")
    signed = models.SignOff.objects.get()
    expect(page.get_by_text(f"Ledger entry {signed.ledger_index}")).to_be_visible()
    assert signed.lesson.content["flight"]["times"]["total"] == "1.4 h"
    assert list(lesson_audit.faults(teaching.school)) == []
    assert ramp.watched.complaints in ([], [each for each in ramp.watched.complaints if "403" in each])
    assert {url for url in ramp.asked if not url.startswith(live_server.url)} == set()


def pages_of(people: Cast, live_server: LiveServer) -> list[str]:
    """Every page of the instructor's, with something on it."""
    draft = lessons.draft(people, lesson="1-01")
    signed = lessons.signed(people, lesson="1-02")
    teach = f"{live_server.url}/teach/{people.sam.ref}/"
    return [
        f"{live_server.url}/today/",
        f"{live_server.url}/students/",
        f"{live_server.url}/tablet/",
        teach,
        f"{teach}lessons/{draft.pk}/",
        f"{teach}lessons/{draft.pk}/sign/",
        f"{teach}lessons/{signed.pk}/sealed/",
        f"{teach}endorse/",
        f"{teach}endorse/solo-90-day/",
        f"{teach}endorse/pre-solo-knowledge/?expires=2026-01-01",
    ]


def test_the_instructors_pages_break_no_rule_and_nothing_overflows(
    watched: Watched, teaching: Cast, live_server: LiveServer
) -> None:
    page = watched.page
    addresses = pages_of(teaching, live_server)
    add_session(page, live_server.url, teaching.ida)
    for address in addresses:
        page.goto(address)
        page.get_by_role("heading", level=1).wait_for()
        fits_narrow_and_with_large_text(page)
        watched.is_well(unfolded=True)
