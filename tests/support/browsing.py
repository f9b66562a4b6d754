"""What the tests in a browser share: a page that is watched, and how one signs in."""

from __future__ import annotations

import itertools
import time
from collections.abc import Mapping
from typing import Literal

from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value
from axe_playwright_python.base import AxeResults
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

SIZES = {"a desk": (1440, 900), "a tablet": (820, 1180), "a telephone": (390, 844)}
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
PASSWORD = "a fine day for it"
# Only what is broken is brought over from the browser: the list of all that is well is long.
RULES = {
    "resultTypes": ["violations"],
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
}
#: What depends on the colors: a page in the other scheme has the same elements, names and order.
OF_COLORS = {**RULES, "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}


def unfold(page: Page) -> None:
    """Open every fold of the page that is shut and can be seen."""
    for fold in page.locator("main details:not([open]) > summary").all():
        if fold.is_visible():
            fold.click()


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

    def is_well(self, *, sizes: Mapping[str, tuple[int, int]] = SIZES, unfolded: bool = False) -> None:
        """The page as it is, at every size and in both schemes: loaded once, for loading takes longest.

        Its own size stays; the scheme is light afterwards. ``unfolded``: with every fold open.
        """
        own = self.page.viewport_size
        for (size, (width, height)), scheme in itertools.product(sizes.items(), SCHEMES):
            self.page.set_viewport_size({"width": width, "height": height})
            self.page.emulate_media(color_scheme=scheme)
            if unfolded:
                unfold(self.page)
            rules = RULES if scheme == SCHEMES[0] else OF_COLORS
            self._is_well_as_shown(f"{self.page.url} on {size}, {scheme}", rules)
        if own:
            self.page.set_viewport_size(own)
        self.page.emulate_media(color_scheme=SCHEMES[0])
        assert self.complaints == []

    def _is_well_as_shown(self, where: str, rules: Mapping[str, object]) -> None:
        wide = self.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, f"{where}: {wide} px too wide"
        if not self.page.evaluate("'axe' in window"):
            self.page.evaluate(Axe().axe_script)  # once a page: reading it costs as much as running it
        found = AxeResults(self.page.evaluate("rules => axe.run(rules)", rules))
        assert found.violations_count == 0, f"{where}\n{found.generate_report()}"


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
