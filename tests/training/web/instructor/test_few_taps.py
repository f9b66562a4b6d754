"""How much an instructor taps and types for a lesson, counted in a real browser."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.support import courses, factories, lessons
from tests.support.browsing import SIZES, fits
from tests.support.cast import Cast
from tests.training.web.accounts.test_passkeys_in_a_browser import Device
from training import models
from training.services.lessons import lesson_audit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: Counts what a person does, over all pages: taps, and keys pressed outside the comment.
COUNTING = """() => {
  const add = (what) => sessionStorage.setItem(what, Number(sessionStorage.getItem(what) || 0) + 1);
  addEventListener("pointerdown", () => add("taps"), true);
  addEventListener("keydown", (event) => { if (event.target.name !== "comments") add("keys"); }, true);
}"""


@pytest.fixture
def teaching(school: Cast) -> Cast:
    """It is noon at the school, and Sam flew the first lesson there with Ida, in the school's airplane."""
    ahead = dt.datetime.now(dt.UTC).hour - 12
    school.school.time_zone = f"Etc/GMT{ahead:+}"
    school.school.save()
    courses.enrolled(school)
    factories.aircraft(school.school, registration="N00XY", model="C172")
    first = courses.private_airplane().lessons[0]
    graded = [{"item": each, "grade": "perform", "remarks": "Calm."} for each in first.items]
    lessons.signed(school, lessons.content(items=graded), lesson=first.code)
    return school


@pytest.fixture
def tablet(browser: Browser) -> Iterator[Device]:
    made = Device(browser)
    width, height = SIZES["a tablet"]
    made.page.set_viewport_size({"width": width, "height": height})
    made.page.add_init_script(f"({COUNTING})()")
    yield made
    made.context.close()


def counted(page: Page) -> tuple[int, int]:
    """Taps and keystrokes so far."""
    taps, keys = (int(page.evaluate(f"sessionStorage.getItem('{each}') || 0")) for each in ("taps", "keys"))
    return taps, keys


def write(page: Page, label: str, text: str) -> None:
    """Tap a field and type, as a person does."""
    page.get_by_label(label, exact=True).first.click()
    page.keyboard.type(text)


def sign(page: Page) -> models.SignOff:
    page.get_by_role("button", name="Review and sign").click()
    page.get_by_role("button", name="Sign lesson with a passkey").click()
    page.get_by_role("heading", name="Signed and locked").wait_for()
    return models.SignOff.objects.order_by("-at")[0]


def test_a_usual_lesson_takes_20_taps_and_40_keystrokes(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    """A route, 6 landings, 8 grades, 3 values, a comment, and the signature with a passkey."""
    page = tablet.page
    tablet.given_a_passkey(teaching.ida, live_server.url)
    page.goto(f"{live_server.url}/today/")
    page.get_by_role("button", name="Start 1-02 with").click()
    page.get_by_role("heading", name="Climbs, descents and turns").wait_for()
    expect(page.get_by_label("Aircraft", exact=True)).to_have_value("N00XY")
    expect(page.get_by_label("Route")).to_have_value("KGRB KMTW KGRB")
    write(page, "Off", "0900")
    write(page, "On", "1024")
    write(page, "Route", "FLD MTW FLD")
    line = page.locator(".landing").filter(has=page.locator("[name=landing-0-at]"))
    expect(line.get_by_label("Airport")).to_have_value("KMTW")
    line.get_by_label("Landings", exact=True).click()
    page.keyboard.type("5")
    items = page.locator("fieldset.item")
    assert items.count() >= 8
    assert page.locator("fieldset.item input[type=radio]:checked").count() == 0
    for number in range(8):
        items.nth(number).get_by_role("radio", name="Practice").check()
    values = page.locator("[name$=-value]:visible")
    for number, text in enumerate(("90", "5", "10")):
        values.nth(number).click()
        page.keyboard.type(text)
    page.get_by_label("Comments", exact=True).click()
    page.keyboard.type("Well prepared.")
    signed = sign(page)
    taps, keys = counted(page)
    assert taps <= 20, taps
    assert keys <= 40, keys
    content = signed.lesson.content
    assert content["flight"]["route"] == ["KFLD", "KMTW", "KFLD"]
    assert content["flight"]["aircraft"]["model"] == "C172"
    assert {key: content["flight"]["times"][key] for key in ("total", "dual")} == {
        "total": "1.4 h",
        "dual": "1.4 h",
    }
    assert [(each["at"], each["takeoffs"], each["landings"]) for each in content["flight"]["landings"]] == [
        ("KMTW", 5, 5),
        ("KFLD", 1, 1),
    ]
    assert [each["grade"] for each in content["items"]].count("practice") == 8
    assert sum(len(each.get("measured", {})) for each in content["items"]) == 3
    assert content["comments"] == "Well prepared."
    assert list(lesson_audit.faults(teaching.school)) == []


def test_a_lesson_flown_as_planned_takes_8_taps_and_one_per_graded_item(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page = tablet.page
    tablet.given_a_passkey(teaching.ida, live_server.url)
    page.goto(f"{live_server.url}/today/")
    page.get_by_role("button", name="Start 1-02 with").click()
    page.get_by_role("heading", name="Climbs, descents and turns").wait_for()
    items = page.locator("fieldset.item")
    for number in range(items.count()):
        items.nth(number).get_by_role("radio", name="Practice").check()
    graded = items.count()
    write(page, "Off", "0900")
    write(page, "On", "1024")
    signed = sign(page)
    taps, _ = counted(page)
    assert taps <= 8 + graded, taps
    flight = signed.lesson.content["flight"]
    assert flight["route"] == ["KGRB", "KMTW", "KGRB"]
    assert (flight["aircraft"]["registration"], flight["times"]["dual"]) == ("N00XY", "1.4 h")
    assert flight["landings"][0]["landings"] == 1


def test_the_previous_grade_and_its_remark_are_beside_each_item(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    first = courses.private_airplane().lessons[0]
    draft = lessons.draft(
        teaching, {"items": [{"item": each, "grade": "not-observed"} for each in first.items]}, lesson="1-01"
    )
    page = tablet.page
    tablet.given_a_passkey(teaching.ida, live_server.url)
    page.goto(f"{live_server.url}/teach/{teaching.sam.ref}/lessons/{draft.pk}/")
    row = page.locator("fieldset.item").first
    expect(row).to_contain_text("Last: Perform")
    expect(row).to_contain_text("“Calm.”")
    expect(row).to_contain_text("Required: ")


def test_a_stage_check_of_24_items_takes_at_most_three_screens_of_a_tablet(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page = tablet.page
    check = next(each for each in courses.private_airplane().lessons if len(each.items) == 24)
    items = [{"item": each, "grade": "not-observed"} for each in check.items]
    draft = lessons.draft(teaching, {"items": items}, lesson=check.code)
    tablet.given_a_passkey(teaching.ida, live_server.url)
    page.goto(f"{live_server.url}/teach/{teaching.sam.ref}/lessons/{draft.pk}/")
    expect(page.locator("fieldset.item")).to_have_count(24)
    expect(page.get_by_role("button", name="Review and sign")).to_be_in_viewport(ratio=1)
    fits(page)
    tall = page.evaluate("document.documentElement.scrollHeight")
    assert tall <= 3 * SIZES["a tablet"][1], tall
