"""Pages as they are printed: what is said, nothing that is pressed, dark on light whatever the screen is."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser
from pytest_django.live_server_helper import LiveServer

from tests.support import audits, courses, lessons
from tests.support.browsing import SCHEMES, add_session
from tests.support.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: What a reader cannot press on paper, as far as it would be seen there.
PRESSED = """() => [...document.querySelectorAll("form, button, .button, nav:not(.strip), input, select")]
  .filter((each) => each.checkVisibility()).map((each) => each.outerHTML.slice(0, 80))"""
#: Colours of words and of what is behind them.
COLOURS = """() => ["body", ".top", "h1", "footer"].map((each) => {
  const of = getComputedStyle(document.querySelector(each));
  return [of.color, of.backgroundColor];
})"""


@pytest.fixture
def taken_out(transactional_db: None):  # type: ignore[no-untyped-def]
    yield
    lessons.take_out()


@pytest.mark.usefixtures("taken_out")
@pytest.mark.parametrize("who", ["sams_account", "ada", "ida"])
def test_what_is_printed_is_read_and_not_pressed(
    browser: Browser, school: Cast, live_server: LiveServer, who: str
) -> None:
    courses.enrolled(school)
    lesson = lessons.signed(school, lesson="1-01")
    found = audits.stands(school)
    sam = f"/students/{school.sam.ref}/"
    paths = {
        "sams_account": [f"{sam}standing/", f"{sam}hours/", f"{sam}lessons/{lesson.pk}/"],
        "ada": ["/school/lakeside/", "/audit/", f"/audit/findings/{found.ref}/"],
        "ida": [f"/teach/{school.sam.ref}/", f"{sam}lessons/{lesson.pk}/"],
    }[who]
    context = browser.new_context()
    page = context.new_page()
    add_session(page, live_server.url, getattr(school, who))
    for path in paths:
        page.goto(f"{live_server.url}{path}")
        for scheme in SCHEMES:
            page.emulate_media(media="print", color_scheme=scheme)
            assert page.evaluate(PRESSED) == [], path
            (body, top, title, foot) = page.evaluate(COLOURS)
            assert body == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"], (path, scheme)
            assert top == ["rgb(0, 0, 0)", "rgba(0, 0, 0, 0)"], (path, scheme)
            assert (title[0], foot[0]) == ("rgb(0, 0, 0)", "rgb(68, 68, 68)"), (path, scheme)
            assert page.pdf(format="Letter").startswith(b"%PDF"), (path, scheme)
            page.emulate_media(media="screen")
    context.close()
