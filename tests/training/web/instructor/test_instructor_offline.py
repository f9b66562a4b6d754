"""The tablet without a network, in a real browser: the day's students, a lesson, a signature, and back."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import pathlib
import random
import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, TimeoutError, expect
from pytest_django.live_server_helper import LiveServer

from tests.fault_injection import tablet as storm
from tests.support import lessons
from tests.support.browsing import PASSWORD, add_session
from tests.support.cast import Cast
from tests.support.extent import count
from tests.training.web.accounts.test_passkeys_in_a_browser import Device
from training import models
from training.ledger.store.export import export
from training.ledger.verify import command
from training.services.lessons import lesson_audit
from training.services.signing import seals

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def take_along(page: Page, at: str) -> None:
    """Open Today once, until the day's students and the page for the ramp are on the tablet."""
    page.goto(f"{at}/today/")
    expect(page.locator("html[data-along]")).to_have_count(1)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    expect(page.locator("html[data-along]")).to_have_count(1)


def away(page: Page, at: str) -> None:
    """The network goes, and the page is opened again."""
    page.context.set_offline(True)
    page.goto(f"{at}/today/")
    expect(page.locator("html[data-ready]")).to_have_count(1)


def write_a_lesson(page: Page) -> None:
    """A lesson with Sam, from the tablet's own list to what will be sealed."""
    page.get_by_role("button", name="Start").first.click()
    page.get_by_role("radio", name="With me aboard").check()
    page.get_by_label("Day", exact=True).fill("2026-03-02")
    page.get_by_label("Aircraft", exact=True).fill("N00XY")
    page.get_by_label("Off", exact=True).fill("1300")
    page.get_by_label("On", exact=True).fill("1424")
    page.get_by_label("Route").fill("KGRB KMTW KGRB")
    page.locator("fieldset.item").first.get_by_role("radio", name="Practice").check()
    page.get_by_label("Comments").fill("Gusty.\nWell flown.")
    expect(page.get_by_label("Total")).to_have_value("1.4 h")
    page.get_by_role("button", name="Review and sign").click()
    page.get_by_role("heading", name="You are about to sign this").wait_for()


def test_a_lesson_flown_and_signed_without_a_network_is_sealed_once_it_is_back(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(teaching.ida, at)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    shown = page.locator("dl.facts").first
    for row in ("Day2 Mar 2026", "AircraftN00XY, C172", "RouteKGRB – KMTW – KGRB", "Off13:00", "Total1.4 h"):
        expect(shown).to_contain_text(row)
    page.get_by_role("button", name="Sign lesson with a passkey").click()
    expect(page.get_by_role("status").filter(has_text="Signed on this tablet, not yet sent.")).to_be_visible()
    expect(page.get_by_role("heading", name="On this tablet, not yet sent")).to_be_visible()
    page.reload()
    expect(page.locator(".queue-list li")).to_have_count(2)
    assert not models.LessonRecord.objects.exists()

    page.context.set_offline(False)
    page.goto(f"{at}/today/")
    expect(page.locator("#queue")).to_be_hidden()
    signed = models.SignOff.objects.get()
    assert signed.confirmed["by"] == "passkey"
    assert signed.performed_at <= signed.at
    assert signed.lesson.content["comments"] == "Gusty.\nWell flown."
    assert signed.content_hash == signed.confirmed["statement"]["content_hash"]
    found = command.check(export(seals.tree_of(teaching.school), at=signed.at))
    assert (found.faults, found.passkeys) == ([], 1)
    assert list(lesson_audit.faults(teaching.school)) == []


def test_out_and_in_are_signed_as_the_server_writes_them(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    """The tablet makes the content and its hash without a network; another hash would be refused."""
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(teaching.ida, at)
    take_along(page, at)
    away(page, at)
    page.get_by_role("button", name="Start").first.click()
    page.get_by_role("radio", name="With me aboard").check()
    page.get_by_label("Day", exact=True).fill("2026-03-02")
    page.get_by_label("Aircraft", exact=True).fill("N00XY")
    page.get_by_label("Off", exact=True).fill("2358")
    page.get_by_label("On", exact=True).fill("0120")
    page.get_by_text("Out and in, more about the aircraft").click()
    page.get_by_label("Out (first movement)").fill("2350")
    page.get_by_label("In (at rest after landing)").fill("0126")
    expect(page.get_by_label("Total")).to_have_value("1.6 h")
    page.get_by_role("button", name="Review and sign").click()
    page.get_by_role("heading", name="You are about to sign this").wait_for()
    page.get_by_role("button", name="Sign lesson with a passkey").click()
    expect(page.get_by_role("heading", name="On this tablet, not yet sent")).to_be_visible()
    page.context.set_offline(False)
    page.goto(f"{at}/today/")
    expect(page.locator("#queue")).to_be_hidden()
    flight = models.SignOff.objects.get().lesson.content["flight"]
    assert {key: flight[key] for key in ("out", "off", "on", "in")} == {
        "out": "2026-03-02T23:50:00-06:00",
        "off": "2026-03-02T23:58:00-06:00",
        "on": "2026-03-03T01:20:00-06:00",
        "in": "2026-03-03T01:26:00-06:00",
    }


def test_a_password_is_asked_for_when_the_network_is_back_and_kept_nowhere(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    page.get_by_role("button", name="Sign by password when the network is back").click()
    page.context.set_offline(False)
    page.goto(f"{at}/today/")
    box = page.locator("#queue")
    expect(box.locator(".queue-list li")).to_have_count(1)
    assert models.LessonRecord.objects.get().state == "draft"
    box.get_by_label("Password").fill("wrong")
    box.get_by_role("button", name="Sign lessons").click()
    expect(box).to_contain_text("Wrong password; nothing was signed")
    box.get_by_label("Password").fill(PASSWORD)
    box.get_by_role("button", name="Sign lessons").click()
    expect(box).to_be_hidden()
    assert models.SignOff.objects.get().confirmed == {"by": "password"}


def test_a_login_that_ended_loses_nothing(tablet: Device, teaching: Cast, live_server: LiveServer) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    page.get_by_role("button", name="Leave as draft").click()
    expect(page.locator(".queue-list li")).to_have_count(1)
    page.context.clear_cookies()
    page.context.set_offline(False)
    page.get_by_role("button", name="Send entries").click()
    expect(page.locator("#queue")).to_contain_text("You are signed out. Sign in to send what waits here.")
    page.get_by_role("link", name="Sign in to send").click()
    page.get_by_label("E-mail address").fill("ida@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Today").wait_for()
    expect(page.locator("#queue")).to_be_hidden()
    assert models.LessonRecord.objects.get().state == "draft"


def test_an_answer_that_is_lost_doubles_nothing(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    page.get_by_role("button", name="Leave as draft").click()
    lost: list[int] = []

    def lose(route: Route) -> None:
        if len(lost) < 2:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.context.route("**/api/v1/**", lose)
    page.context.set_offline(False)
    for _ in range(3):  # it is tried by itself too, so it may be sent before the button is pressed again
        with contextlib.suppress(TimeoutError):
            page.get_by_role("button", name="Send entries").click(timeout=2_000)
        page.wait_for_timeout(300)
    expect(page.locator("#queue")).to_be_hidden()
    assert lost == [201, 201]
    assert models.LessonRecord.objects.count() == 1


def test_a_conflict_is_parked_where_it_is_seen_and_can_be_saved_to_a_file(
    tablet: Device, teaching: Cast, live_server: LiveServer, tmp_path: pathlib.Path
) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    page.goto(f"{at}/today/")
    page.get_by_role("button", name="Start").last.click()
    page.get_by_role("heading", level=1, name="First flight").wait_for()
    take_along(page, at)
    away(page, at)
    page.get_by_role("button", name="Continue").click()
    page.get_by_label("Comments").fill("From the tablet.")
    page.get_by_role("button", name="Save draft").click()
    expect(page.locator(".queue-list li")).to_have_count(1)
    draft = models.LessonRecord.objects.get()
    models.LessonRecord.objects.filter(pk=draft.pk).update(version=7, content_hash="sha256:" + "0" * 64)

    page.context.set_offline(False)
    page.goto(f"{at}/today/")
    box = page.locator("#queue")
    expect(box.locator(".parked")).to_contain_text("Not sent: The draft has changed since you read it.")
    with page.expect_download() as saved:
        box.get_by_role("button", name="Save entries to a file").click()
    kept = json.loads(pathlib.Path(saved.value.path()).read_text())
    assert kept["items"][0]["content"]["comments"] == "From the tablet."
    box.get_by_role("link", name="Read and decide").click()
    expect(page.locator("#view")).to_contain_text("From the tablet.")
    page.get_by_label("Reason to discard this entry").fill("Written twice.")
    page.get_by_role("button", name="Discard entry").click()
    expect(page.locator("#view")).to_contain_text("Entry discarded.")
    expect(page.locator("#queue")).to_be_hidden()
    logged = models.AccessLog.objects.filter(what__startswith="tablet entry")
    [decided] = [each.what for each in logged]
    assert re.fullmatch(r"tablet entry discarded \([0-9a-f]{8}\): Written twice\.", decided)


def test_signing_out_takes_the_students_off_the_tablet_and_leaves_what_is_not_sent(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    page.get_by_role("button", name="Sign by password when the network is back").click()
    page.context.set_offline(False)
    page.goto(f"{at}/today/")
    expect(page.locator(".queue-list li")).to_have_count(1)
    told: list[str] = []
    page.on("dialog", lambda dialog: (told.append(dialog.message), dialog.accept()))
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("link", name="Sign in").first.wait_for()
    assert told == [
        "One entry on this tablet is not yet sent. It stays here until you sign in again. Sign out?"
    ]
    away(page, at)
    expect(page.locator("#view")).to_contain_text("No students are on this tablet.")
    assert "Sam" not in page.locator("#view").inner_text()
    expect(page.locator(".queue-list li")).to_have_count(1)


def test_whatever_goes_wrong_nothing_is_lost_doubled_or_out_of_order(
    browser: Browser, school: Cast, live_server: LiveServer
) -> None:
    """Cycles of offline, online, reload, kill; ``python -m tests.fault_injection tablet`` runs a hundred."""
    cycles = count(6, 100)
    tablet = storm.begin(browser, live_server.url, school)
    storm.Storm(tablet, random.Random(20_261_125)).run(cycles)
    assert len(tablet.written) == cycles
    assert storm.faults(tablet) == []
    tablet.context.close()


def test_what_stands_on_a_sheet_outlives_the_page(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    page.goto(f"{at}/today/")
    page.get_by_role("button", name="Start").last.click()
    page.get_by_role("heading", level=1, name="First flight").wait_for()
    address = page.url
    page.get_by_label("Comments").fill("Half a sentence")
    page.locator("fieldset.item").first.get_by_role("radio", name="Explain").check()
    page.wait_for_timeout(900)
    page.goto(f"{at}/today/")
    page.goto(address)
    expect(page.get_by_label("Comments")).to_have_value("Half a sentence")
    expect(page.locator("fieldset.item").first.get_by_role("radio", name="Explain")).to_be_checked()
    expect(page.get_by_text("have not saved it yet")).to_be_visible()
    page.get_by_role("button", name="Save draft").click()
    expect(page.get_by_text("Draft saved.")).to_be_visible()
    page.reload()
    expect(page.get_by_text("have not saved it yet")).to_have_count(0)
    assert models.LessonRecord.objects.get().content["comments"] == "Half a sentence"


#: A content with everything that the sheet has a field for, and what it has none for.
WHOLE: dict[str, Any] = {
    "flight": {
        "date": "2026-03-07",
        "trip": "t7",
        "aircraft": {
            "registration": "N00XY",
            "model": "C172",
            "category": "airplane",
            "class": "single-engine land",
        },
        "route": ["KGRB", {"name": "grass strip", "lat": 44.1, "lon": -87.9}, "KMTW"],
        "off": "2026-03-07T23:10:00-06:00",
        "on": "2026-03-08T00:35:00-06:00",
        "times": {"total": "85 min", "dual": "1:25", "night": "1.25 h", "simulated_instrument": 0.3},
        "landings": [
            {"at": {"name": "grass strip", "lat": 44.1, "lon": -87.9}, "landings": 1, "takeoffs": 1},
            {"at": "KMTW", "landings": 2, "period": "night", "full_stop": True, "towered": False},
        ],
        "purposes": ["practical-test-preparation:private"],
        "remarks": "gusts\nfrom the “left”",
    },
    "ground": {"date": "2026-03-06", "time": "30 min", "topic": "crosswind"},
    "items": [
        {"item": "before-takeoff-check", "grade": "perform", "measured": {"magneto drop": "100 rpm"}},
        {"item": "presolo.d-02", "grade": "practice", "remarks": "slow", "measured": {"odd": "180 ft"}},
    ],
    "comments": "Tapfer! 🛩",
    "next": "Steep turns.",
}


@pytest.mark.parametrize("said", [WHOLE, {"items": []}], ids=["everything", "nothing"])
def test_the_content_that_the_tablet_makes_has_the_hash_that_the_server_makes(
    tablet: Device, teaching: Cast, live_server: LiveServer, said: dict[str, Any]
) -> None:
    code = "1-01" if said["items"] else ""
    draft = lessons.draft(teaching, said, lesson=code, at=dt.datetime(2026, 3, 9, 18, tzinfo=dt.UTC))
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    page.goto(f"{at}/teach/{teaching.sam.ref}/lessons/{draft.pk}/")
    made = page.evaluate(
        """async () => {
          const { contentOf, hashOf } = await import("/static/training/tablet/content.js");
          const form = document.querySelector("form.sheet");
          const data = JSON.parse(form.dataset.sheet);
          const content = contentOf(form, data);
          return { content, hash: await hashOf(form.elements.lesson.value, content, data) };
        }"""
    )
    assert made["content"] == draft.content
    assert made["hash"] == draft.content_hash


def test_a_passkey_signs_and_endorses_and_ends_from_the_pages(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    draft = lessons.draft(teaching, lesson="1-01")
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(teaching.ida, at)
    teach = f"{at}/teach/{teaching.sam.ref}/"
    page.goto(f"{teach}lessons/{draft.pk}/sign/")
    page.get_by_role("button", name="Sign lesson with a passkey").click()
    page.get_by_role("heading", name="Signed and locked").wait_for()
    page.goto(f"{teach}endorse/pre-solo-knowledge/")
    page.get_by_label("Conditions").fill("Wind at most 8 kt — “calm”.")
    page.get_by_role("button", name="Check again").click()
    page.get_by_label("Your judgment").fill("Ready.\nSure.")
    page.get_by_role("button", name="Give endorsement with a passkey").click()
    page.get_by_text("Ledger entry").wait_for()
    page.get_by_role("link", name="Revoke endorsement").click()
    page.get_by_label("Reason").fill("Put off.")
    page.get_by_role("button", name="Revoke endorsement with a passkey").click()
    page.get_by_text("Endorsement revoked.").wait_for()
    signed, seal, revoked = (
        each.objects.get() for each in (models.SignOff, models.EndorsementSeal, models.Revocation)
    )
    assert {each.confirmed["by"] for each in (signed, seal, revoked)} == {"passkey"}
    found = command.check(export(seals.tree_of(teaching.school), at=revoked.at))
    assert (found.faults, found.passkeys) == ([], 3)
    assert tablet.watched.complaints == []
