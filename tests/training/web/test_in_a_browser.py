"""The pages in a real browser: nothing is blocked, nothing overflows, no accessibility rule is broken."""

from __future__ import annotations

import pytest
from django.conf import settings
from playwright.sync_api import Browser
from pytest_django.live_server_helper import LiveServer

from tests.support.browsing import Watched, add_session, hard_to_read, load_axe, sign_in
from tests.support.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_pages_break_no_rule(watched: Watched, school: Cast, live_server: LiveServer) -> None:
    page = watched.page
    for path in ("/", "/login/", "/milestones/"):
        page.goto(live_server.url + path)
        watched.is_well()
    sign_in(page, live_server.url)
    watched.is_well()
    page.goto(f"{live_server.url}/students/")
    watched.is_well()
    page.get_by_role("link", name="Sam Example").click()
    page.get_by_role("heading", name="Sam Example").wait_for()
    watched.is_well(unfolded=True)


def test_what_is_hard_to_read_is_found_whatever_passed_before(watched: Watched) -> None:
    page = watched.page
    page.set_content("<body><p>first</p><p>second</p><label><input disabled> off</label></body>")
    load_axe(page)
    assert hard_to_read(page) == []
    page.evaluate("document.querySelectorAll('p')[1].style.color = '#aaa'")
    for _ in range(2):
        [found] = hard_to_read(page)
        assert "second" in found
    page.evaluate("document.body.style.background = '#333'")
    assert [part for part in ("first", "second") if part in "".join(hard_to_read(page))] == ["first"]
    page.evaluate("document.body.style.background = ''; document.querySelector('input').disabled = false")
    page.evaluate("document.querySelector('label').style.color = '#aaa'")
    assert len(hard_to_read(page)) == 2


@pytest.mark.parametrize("path", ["/", "/login/", "/milestones/", "/api/v1/docs/", "student"])
def test_the_policy_blocks_nothing(
    browser: Browser, school: Cast, live_server: LiveServer, path: str
) -> None:
    assert settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]["script-src"]
    page = browser.new_context().new_page()
    watched = Watched(page)
    if path == "student":
        add_session(page, live_server.url, school.ida)
        path = f"/students/{school.sam.ref}/"
    page.goto(live_server.url + path)
    if path == "/api/v1/docs/":
        page.get_by_text("Check a record that you send").click()
        page.get_by_text("training-record/1").first.wait_for()
    assert watched.complaints == []
    page.context.close()


def test_the_keyboard_reaches_the_student(browser: Browser, school: Cast, live_server: LiveServer) -> None:
    page = browser.new_context().new_page()
    sign_in(page, live_server.url)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Sam Example").wait_for()
    page.context.close()
