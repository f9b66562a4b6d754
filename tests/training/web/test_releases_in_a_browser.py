"""A solo release on the ramp: asked for on the phone, decided on a tablet, read without a network."""

from __future__ import annotations

import datetime as dt
import pathlib
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Locator, expect
from pytest_django.live_server_helper import LiveServer

from tests.support import factories
from tests.support.browsing import SIZES, Watched, add_session, fits_narrow_and_with_large_text
from tests.support.cast import Cast
from tests.support.extent import FULL
from tests.support.releasing import FLIGHT, TO_CONFIRM, Engine, asked, decided, engine
from tests.training.web.accounts.test_passkeys_in_a_browser import Device
from training import models
from training.services.releases import release_audit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["engine"]
#: The most taps from the page of the request to the decision.
MOST_TAPS = 6


class Hand:
    """Taps, counted."""

    def __init__(self) -> None:
        self.taps = 0

    def tap(self, what: Locator) -> None:
        what.click()
        self.taps += 1


@pytest.fixture
def tablet(browser: Browser) -> Iterator[Device]:
    made = Device(browser)
    made.page.set_viewport_size(dict(zip(("width", "height"), SIZES["a tablet"], strict=True)))
    yield made
    made.context.close()


@pytest.fixture
def phone(browser: Browser) -> Iterator[Watched]:
    width, height = SIZES["a telephone"]
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=True)
    yield Watched(context.new_page())
    context.close()


@pytest.fixture
def flying(school: Cast, engine: Engine) -> Cast:
    factories.aircraft(school.school, registration="N00XY", model="C172")
    return school


def test_an_instructor_releases_with_a_passkey_in_at_most_six_taps(
    tablet: Device, flying: Cast, engine: Engine, live_server: LiveServer
) -> None:
    release = asked(flying)
    page, hand = tablet.page, Hand()
    tablet.given_a_passkey(flying.ida, live_server.url)
    page.goto(f"{live_server.url}/students/{flying.sam.ref}/releases/{release.pk}/")
    for box in page.get_by_role("group", name="Confirm one by one").get_by_role("checkbox").all():
        hand.tap(box)
    hand.tap(page.get_by_role("button", name="Release student with a passkey"))
    page.get_by_text("Signed and locked").wait_for()
    assert hand.taps == len(TO_CONFIRM) + 1 <= MOST_TAPS
    made = models.ReleaseDecision.objects.get()
    assert (made.decision, made.against, made.confirmed["by"]) == ("released", False, "passkey")
    assert list(release_audit.faults(flying.school)) == []
    assert tablet.watched.complaints == []


def test_an_instructor_declines_in_at_most_six_taps_and_never_without_a_reason(
    tablet: Device, flying: Cast, engine: Engine, live_server: LiveServer
) -> None:
    engine.answers["law.weather"] = False
    release = asked(flying)
    page, hand = tablet.page, Hand()
    tablet.given_a_passkey(flying.ida, live_server.url)
    page.goto(f"{live_server.url}/students/{flying.sam.ref}/releases/{release.pk}/")
    headings = page.locator("main h2").all_inner_texts()
    assert headings[0] == "Not met"
    page.get_by_role("button", name="Release student with a passkey").click()
    expect(page.get_by_text("Nothing was signed. Enter a reason")).to_be_visible()
    assert not models.ReleaseDecision.objects.exists()
    hand.tap(page.get_by_role("link", name="Decline"))
    hand.tap(page.get_by_label("Why you decline"))
    page.get_by_label("Why you decline").fill("Gusts.")
    hand.tap(page.get_by_role("button", name="Decline with a passkey"))
    page.get_by_text("Signed and locked").wait_for()
    assert hand.taps <= MOST_TAPS
    made = models.ReleaseDecision.objects.get()
    assert (made.decision, made.reason, made.confirmed["by"]) == ("declined", "Gusts.", "passkey")


def test_a_student_asks_on_the_phone_and_reads_the_release_without_a_network(
    phone: Watched, flying: Cast, engine: Engine, live_server: LiveServer, tmp_path: pathlib.Path
) -> None:
    page, here = phone.page, f"{live_server.url}/students/{flying.sam.ref}/releases/"
    add_session(page, live_server.url, flying.sams_account)
    page.goto(here)
    page.get_by_role("link", name="Ask for a release").click()
    page.get_by_label("Route").fill("KGRB KMTW KGRB")
    page.get_by_label("Takeoff").fill("1230")
    page.get_by_label("Return").fill("1400")
    page.get_by_role("button", name="Ask for release").click()
    expect(page.get_by_text("Requested")).to_be_visible()
    release = models.SoloRelease.objects.get()
    assert release.by == flying.sams_account
    now = dt.datetime.now(dt.UTC)
    decided(flying, release, at=now)
    page.reload()
    expect(page.get_by_text("Released", exact=False).first).to_be_visible()
    page.locator("html[data-kept=yes]").wait_for(state="attached")
    page.evaluate("navigator.serviceWorker.ready")
    page.wait_for_function("navigator.serviceWorker.controller")
    page.context.set_offline(True)
    page.reload()
    expect(page.get_by_text("It may have been ended since")).to_be_visible()
    expect(page.get_by_text("KGRB KMTW KGRB")).to_be_visible()
    expect(page.get_by_text("the authority decide")).to_be_visible()
    page.evaluate("document.querySelector('#release').dataset.ends = '2020-01-01T00:00:00Z'")
    page.context.set_offline(False)


@pytest.mark.parametrize("size", SIZES)
def test_the_pages_break_no_rule_and_nothing_overflows(
    watched: Watched, flying: Cast, engine: Engine, live_server: LiveServer, tmp_path: pathlib.Path, size: str
) -> None:
    engine.answers = {"law.identification": False, "law.weather": None, "law.medical": True}
    pending, done = asked(flying), asked(flying, flight={**FLIGHT, "route": ["KGRB", "KGRB"]})
    now = dt.datetime.now(dt.UTC)
    decided(flying, done, at=now, reason="Seen on paper.")
    page = watched.page
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    add_session(page, live_server.url, flying.ida)
    here = f"{live_server.url}/students/{flying.sam.ref}/releases/"
    for number, path in enumerate(("", "plan/", f"{pending.pk}/", f"{done.pk}/")):
        page.goto(f"{here}{path}")
        page.get_by_role("heading", level=1).wait_for()
        if FULL:
            page.screenshot(path=tmp_path / f"{number}-{width}.png", full_page=True)
        if size == "a telephone":
            fits_narrow_and_with_large_text(page)
            watched.is_well(unfolded=True)
