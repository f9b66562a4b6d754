"""The lesson sheet without a mouse: everything on it is reached in turn, and where one is can be seen."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser
from pytest_django.live_server_helper import LiveServer

from tests.support import courses
from tests.support.browsing import add_session
from tests.support.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: What can be reached on the page; of the choices with one name the browser gives one turn to all.
THERE = """() => [...document.querySelectorAll(
    "main a[href], main button, main input:not([type=hidden]), main select, main textarea, main summary")]
  .filter((each) => each.checkVisibility() && !each.disabled)
  .map((each) => `${each.tagName} ${each.name || each.textContent.trim()}`)"""
#: Where one is, and whether an outline shows it: its own, or its label's where it is drawn by that.
HERE = """() => {
  const it = document.activeElement;
  const drawn = [it, it.nextElementSibling, it.closest("label")].filter(Boolean);
  const seen = drawn.some((each) => getComputedStyle(each).outlineStyle === "solid");
  return [it.tagName, `${it.tagName} ${it.name || it.textContent.trim()}`, seen, it.type === "date"];
}"""


def test_the_lesson_sheet_is_walked_through(browser: Browser, school: Cast, live_server: LiveServer) -> None:
    courses.enrolled(school)
    context = browser.new_context()
    page = context.new_page()
    add_session(page, live_server.url, school.ida)
    page.goto(f"{live_server.url}/teach/{school.sam.ref}/")
    page.get_by_role("button", name="Start").first.click()
    page.wait_for_url("**/lessons/**")
    page.get_by_label("Off", exact=True).wait_for()
    for fold in page.locator("main summary").all():
        fold.click()
    page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
    there, reached, unseen = set(page.evaluate(THERE)), set(), []
    assert len(there) > 40
    page.locator("a.skip").focus()
    for _ in range(600):
        page.keyboard.press("Tab")
        tag, name, seen, a_day = page.evaluate(HERE)
        if tag == "BODY":
            break
        reached.add(name)
        # A day has a button of the browser's own inside, which has the browser's own outline.
        if not seen and not a_day:
            unseen.append(name)
    else:
        pytest.fail("the keyboard never left the page")
    assert there - reached == set()
    assert unseen == []
    context.close()
