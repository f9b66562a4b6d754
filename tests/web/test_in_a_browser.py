"""The pages in a real browser: nothing is blocked, nothing overflows, no accessibility rule is broken."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from syllabus.engine import document
from tests import factories
from tests.cast import Cast, cast
from tests.web.conftest import SAMS
from training import record

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SIZES = {"a desk": (1440, 900), "a tablet": (820, 1180), "a telephone": (390, 844)}
PASSWORD = "a fine day for it"
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}


@pytest.fixture
def school(transactional_db: None) -> Cast:
    people = cast()
    people.ida.set_password(PASSWORD)
    people.ida.save()
    record.store(people.sam, document.parse(SAMS), by=None, at=factories.NOON)
    return people


class Watched:
    """A page, and what its console complained of."""

    def __init__(self, page: Page):
        self.page = page
        self.complaints: list[str] = []
        page.on("console", lambda said: self._note(said.type, said.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _note(self, kind: str, text: str) -> None:
        if kind in ("error", "warning"):
            self.complaints.append(text)

    def is_well(self) -> None:
        wide = self.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, f"{self.page.url} is {wide} px too wide"
        found = Axe().run(self.page, options=RULES)
        assert found.violations_count == 0, f"{self.page.url}\n{found.generate_report()}"
        assert self.complaints == []


@pytest.fixture(params=["light", "dark"])
def scheme(request: pytest.FixtureRequest) -> Any:
    return request.param


@pytest.fixture(params=SIZES)
def watched(request: pytest.FixtureRequest, scheme: Any, browser: Browser) -> Iterator[Watched]:
    width, height = SIZES[request.param]
    # The rules are read by a script put into the page, which its policy would rightly refuse.
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, bypass_csp=True
    )
    yield Watched(context.new_page())
    context.close()


def sign_in(page: Page, at: str) -> None:
    page.goto(f"{at}/login/")
    page.get_by_label("E-mail address").fill("ida@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()


def test_the_pages_break_no_rule(watched: Watched, school: Cast, live_server: LiveServer) -> None:
    page = watched.page
    for path in ("/", "/login/", "/milestones/"):
        page.goto(live_server.url + path)
        watched.is_well()
    sign_in(page, live_server.url)
    watched.is_well()
    page.get_by_role("link", name="Sam Example").click()
    page.get_by_role("heading", name="Sam Example").wait_for()
    for fold in page.locator("main details:not([open]) > summary").all():
        if fold.is_visible():
            fold.click()
    watched.is_well()


@pytest.mark.parametrize("path", ["/", "/login/", "/milestones/", "/api/v1/docs/", "student"])
def test_the_policy_blocks_nothing(
    browser: Browser, school: Cast, live_server: LiveServer, path: str
) -> None:
    assert settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]["script-src"]
    page = browser.new_context().new_page()
    watched = Watched(page)
    if path == "student":
        sign_in(page, live_server.url)
        path = f"/students/{school.sam.ref}/"
    page.goto(live_server.url + path)
    if path == "/api/v1/docs/":
        page.get_by_text("Ask about a record that you send along").click()
        page.get_by_text("EligibilityQuestion").first.wait_for()
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
