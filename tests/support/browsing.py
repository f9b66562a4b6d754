"""What the tests in a browser share: a page that is watched, and how one signs in."""

from __future__ import annotations

import itertools
import time
from collections.abc import Mapping
from typing import Literal

from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value
from axe_playwright_python.base import AxeResults
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Page

from tests.support.extent import FULL
from training.models import User

SIZES = {"a desk": (1440, 900), "a tablet": (820, 1180), "a telephone": (390, 844)}
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
PASSWORD = "a fine day for it"
# Only what is broken is brought over from the browser: the list of all that is well is long.
RULES = {
    "resultTypes": ["violations"],
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "rules": {"color-contrast": {"enabled": False}},  # see CONTRAST
}
#: What else depends on the colors: a page in the other scheme has the same elements, names and order.
OF_COLORS = {"resultTypes": ["violations"], "runOnly": ["link-in-text-block"]}
#: What depends on where the elements are, and not only on which of them can be seen.
OF_PLACES = {"resultTypes": ["violations"], "runOnly": ["target-size", "scrollable-region-focusable"]}
#: Which elements can be seen, and as what.
LAYOUT = """() => [...document.querySelectorAll("*")].map((each) => {
  const style = getComputedStyle(each);
  return [style.display, style.visibility, style.position, style.clipPath];
}).join()"""
#: Checks the contrast of the texts that can be seen: axe's slowest rule. It depends on the styles of an
#: element and of those around it (where another covers it, axe gives no answer), so elements that agree in
#: them are checked until one of them passes. Takes hashes of the styles that passed before, on whatever page;
#: answers with what is broken and with those that passed now.
CONTRAST = """async (passed) => {
  const known = new Set(passed), hashes = new Map([[null, 0]]);
  const STYLES = ["color", "backgroundColor", "backgroundImage", "fontSize", "fontWeight", "opacity",
    "filter", "mixBlendMode", "textShadow", "webkitTextStroke", "position", "zIndex", "transform",
    "clipPath"];
  const hash = (text, from) => {
    let low = from | 0, high = Math.floor(from / 2 ** 21) | 0;
    for (const unit of text) {
      low = Math.imul(low ^ unit.codePointAt(0), 2654435761);
      high = Math.imul(high ^ unit.codePointAt(0), 1597334677);
    }
    return (low >>> 0) + (high >>> 11) * 2 ** 32;
  };
  const hashed = (each) => {
    if (!hashes.has(each)) {
      const style = getComputedStyle(each);
      const off = each.matches(":disabled, [aria-disabled=true]") || each.control?.disabled;
      hashes.set(each, hash([...STYLES.map((name) => style[name]), off].join(), hashed(each.parentElement)));
    }
    return hashes.get(each);
  };
  const written = (each) => each.matches("input, select, textarea")
    || [...each.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
  const seen = [...document.body.querySelectorAll("*")].filter(
    (each) => written(each) && each.checkVisibility({ visibilityProperty: true }));
  const fresh = seen.filter((each) => !known.has(hashed(each)));
  if (!fresh.length) return { broken: [], passed: [] };
  const runOnly = { type: "rule", values: ["color-contrast"] };
  const found = await axe.run(fresh, { runOnly, resultTypes: ["violations", "passes"], elementRef: true });
  const nodes = (rules) => rules.flatMap((rule) => rule.nodes);
  return {
    broken: nodes(found.violations).map((node) => `${node.html}: ${node.failureSummary}`),
    passed: [...new Set(nodes(found.passes).map((node) => hashed(node.element)))],
  };
}"""


def unfold(page: Page) -> None:
    """Open every fold of the page that is shut and can be seen."""
    for fold in page.locator("main details:not([open]) > summary").all():
        if fold.is_visible():
            fold.click()


#: Hashes of the styles whose contrast passed on some page, for the life of the process.
PASSED: set[int] = set()


def fits(page: Page, where: str = "") -> None:
    """See that nothing scrolls sideways; a busy browser lays a page out some frames after a resizing."""
    until = time.monotonic() + 2
    while (wide := page.evaluate("document.documentElement.scrollWidth - window.innerWidth")) > 0:
        assert time.monotonic() < until, f"{where or page.url}: {wide} px too wide"
        page.wait_for_timeout(50)


def fits_narrow_and_with_large_text(page: Page) -> None:
    """See that nothing scrolls sideways on 320 px, nor with text twice as large on a tablet."""
    own = page.viewport_size
    page.set_viewport_size({"width": 320, "height": 800})
    fits(page, f"{page.url}, 320 px wide")
    page.set_viewport_size({"width": 820, "height": 800})
    # Chromium's own setting for larger text is a larger font at the root.
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    fits(page, f"{page.url}, 200 % text")
    page.evaluate("document.documentElement.style.fontSize = ''")
    if own:
        page.set_viewport_size(own)


def load_axe(page: Page) -> None:
    """Once a page: reading axe costs as much as running it."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(Axe().axe_script)


def hard_to_read(page: Page) -> list[str]:
    """The texts of too little contrast, of those whose styles did not pass before; in a full run, of all."""
    found = page.evaluate(CONTRAST, [] if FULL else sorted(PASSED))
    PASSED.update(found["passed"])
    broken: list[str] = found["broken"]
    return broken


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

        Where a size shows the same elements as one before, no rule is repeated that depends on them alone.
        Its own size stays; the scheme is light afterwards. ``unfolded``: with every fold open.
        """
        own = self.page.viewport_size
        seen: set[tuple[str, str]] = set()
        for (size, (width, height)), scheme in itertools.product(sizes.items(), SCHEMES):
            self.page.set_viewport_size({"width": width, "height": height})
            self.page.emulate_media(color_scheme=scheme)
            if unfolded:
                unfold(self.page)
            rules = (RULES, OF_PLACES) if scheme == SCHEMES[0] else (OF_COLORS, None)
            layout = self.page.evaluate(LAYOUT)
            again = (scheme, layout) in seen
            seen.add((scheme, layout))
            self._is_well_as_shown(f"{self.page.url} on {size}, {scheme}", rules[again])
        if own:
            self.page.set_viewport_size(own)
        self.page.emulate_media(color_scheme=SCHEMES[0])
        assert self.complaints == []

    def _is_well_as_shown(self, where: str, rules: Mapping[str, object] | None) -> None:
        fits(self.page, where)
        load_axe(self.page)
        if rules is not None:
            found = AxeResults(self.page.evaluate("rules => axe.run(rules)", rules))
            assert found.violations_count == 0, f"{where}\n{found.generate_report()}"
        assert hard_to_read(self.page) == [], where


def sign_in(page: Page, at: str) -> None:
    page.goto(f"{at}/login/")
    page.get_by_label("E-mail address").fill("ida@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()


def sign_out(page: Page) -> None:
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("link", name="Sign in").first.wait_for()


def add_session(page: Page, at: str, user: User) -> None:
    """Give the page's browser a session of the user's; ``sign_in`` goes through the form."""
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    [cookie] = client.cookies.values()
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": at, "httpOnly": True}])


def totp(secret: str) -> str:
    """The present code of an authenticator app (RFC 6238)."""
    return format_hotp_value(hotp_value(secret, int(time.time()) // 30))
