"""What the tests in a browser share: a page that is watched, and how one signs in."""

from __future__ import annotations

import time

from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

SIZES = {"a desk": (1440, 900), "a tablet": (820, 1180), "a telephone": (390, 844)}
PASSWORD = "a fine day for it"
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}


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


def sign_in(page: Page, at: str) -> None:
    page.goto(f"{at}/login/")
    page.get_by_label("E-mail address").fill("ida@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()


def sign_out(page: Page) -> None:
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("link", name="Sign in").first.wait_for()


def totp(secret: str) -> str:
    """The present code of an authenticator app (RFC 6238)."""
    return format_hotp_value(hotp_value(secret, int(time.time()) // 30))
