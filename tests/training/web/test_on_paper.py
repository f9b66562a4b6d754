"""Pages as they are printed: what is said, nothing that is pressed, dark on light whatever the screen is."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from tests.support import audits, courses, lessons
from tests.support.browsing import PASSWORD
from tests.support.cast import Cast
from training.models import User

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


def sign_in(page: Page, at: str, user: User) -> None:
    user.set_password(PASSWORD)
    user.save()
    page.goto(f"{at}/login/")
    page.get_by_label("E-mail address").fill(user.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()


@pytest.mark.usefixtures("taken_out")
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("who", ["sams_account", "ada", "ida"])
def test_what_is_printed_is_read_and_not_pressed(
    browser: Browser, school: Cast, live_server: LiveServer, who: str, scheme: str
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
    context = browser.new_context(color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    sign_in(page, live_server.url, getattr(school, who))
    for path in paths:
        page.goto(f"{live_server.url}{path}")
        page.emulate_media(media="print")
        assert page.evaluate(PRESSED) == [], path
        (body, top, title, foot) = page.evaluate(COLOURS)
        assert body == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"], path
        assert top == ["rgb(0, 0, 0)", "rgba(0, 0, 0, 0)"], path
        assert (title[0], foot[0]) == ("rgb(0, 0, 0)", "rgb(68, 68, 68)"), path
        assert page.pdf(format="Letter").startswith(b"%PDF"), path
        page.emulate_media(media="screen")
    context.close()
