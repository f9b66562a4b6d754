"""The search in a real browser: by the key, by the link, and with the key turned off."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect
from pytest_django.live_server_helper import LiveServer

from tests.support.browsing import Watched, add_session, fits_narrow_and_with_large_text
from tests.support.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_search_breaks_no_rule(watched: Watched, school: Cast, live_server: LiveServer) -> None:
    page = watched.page
    add_session(page, live_server.url, school.ida)
    page.goto(f"{live_server.url}/milestones/")
    page.get_by_role("link", name="Search").click()
    expect(page.get_by_role("searchbox")).to_be_focused()
    watched.is_well()
    for words in ("sam", "nobody of that name"):
        page.get_by_role("searchbox").fill(words)
        page.keyboard.press("Enter")
        page.wait_for_url(f"**/search/?q={words.replace(' ', '+')}")
        watched.is_well()


def test_a_key_leads_to_the_search_until_it_is_turned_off(
    browser: Browser, school: Cast, live_server: LiveServer
) -> None:
    context = browser.new_context()
    page = context.new_page()
    watched = Watched(page)
    add_session(page, live_server.url, school.ida)
    page.goto(f"{live_server.url}/milestones/")
    page.keyboard.press("/")
    page.wait_for_url("**/search/")
    field = page.get_by_role("searchbox")
    expect(field).to_be_focused()
    page.keyboard.type("sam/")  # where one types, it is a stroke
    expect(field).to_have_value("sam/")
    field.fill("sam")
    page.keyboard.press("Enter")
    page.wait_for_url("**/search/?q=sam")  # loaded whole: the key's script runs after the links are there
    page.get_by_role("link", name="Sam Example", exact=True).first.wait_for()
    page.keyboard.press("/")
    expect(field).to_be_focused()
    page.get_by_label("Press / to search, on this device").uncheck()
    page.goto(f"{live_server.url}/milestones/")
    page.keyboard.press("/")
    expect(page.get_by_role("heading", name="Search")).to_have_count(0)
    assert page.url.endswith("/milestones/")
    assert watched.complaints == []
    context.close()


def test_nothing_scrolls_sideways(watched: Watched, school: Cast, live_server: LiveServer) -> None:
    add_session(watched.page, live_server.url, school.ida)
    for path in ("", "?q=sam", f"?q={'W' * 90}"):
        watched.page.goto(f"{live_server.url}/search/{path}")
        fits_narrow_and_with_large_text(watched.page)
