"""The student's pages in a real browser: in both schemes, with large text, without scripts, printed."""

from __future__ import annotations

import pathlib
import uuid
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from syllabus.engine.record import document
from tests.support import courses, factories, lessons
from tests.support.browsing import PASSWORD, SIZES, Watched, add_session, fits, unfold
from tests.support.cast import Cast, cast
from tests.support.extent import FULL
from tests.training.web.accounts.test_passkeys_in_a_browser import Device
from tests.training.web.conftest import SAMS
from tests.training.web.student.test_student_pages import COURSE_LESSON
from training import models
from training.services.lessons import sign_offs

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
LEAVES = ("standing/", "lessons/", "hours/")


@pytest.fixture
def school(transactional_db: None) -> Iterator[Cast]:
    """Sam has a record from elsewhere, is in the course, and one of the two lessons was put right."""
    people = cast()
    people.sams_account.set_password(PASSWORD)
    people.sams_account.save()
    factories.attested(people.sam, document.parse(SAMS), at=factories.NOON)
    courses.enrolled(people)
    lessons.signed(people, lesson="1-06")
    wrong = lessons.signed(people, COURSE_LESSON, lesson="2-02")
    right = sign_offs.correct(
        wrong,
        id=uuid.uuid4(),
        reason="A word was missing",
        content={**COURSE_LESSON, "comments": "Well prepared, and on time."},
        by=people.ida,
        at=lessons.AT,
        via="api",
    )
    lessons.sign(right, people.ida)
    yield people
    lessons.take_out()


def sign_in(page: Page, at: str) -> None:
    page.goto(f"{at}/login/")
    page.get_by_label("E-mail address").fill("sam@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()


def addresses(people: Cast, at: str) -> list[str]:
    here = f"{at}/students/{people.sam.ref}/"
    found = models.LessonRecord.objects.filter(student=people.sam)
    return [here + leaf for leaf in LEAVES] + [f"{here}lessons/{each.pk}/" for each in found]


def test_the_students_pages_break_no_rule_and_fit_with_large_text(
    watched: Watched, school: Cast, live_server: LiveServer
) -> None:
    page = watched.page
    add_session(page, live_server.url, school.sams_account)
    for address in addresses(school, live_server.url):
        page.goto(address)
        watched.is_well(sizes={**SIZES, "a small telephone": (320, 640)}, unfolded=True)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        unfold(page)
        fits(page, f"{address}, 200 % text")


def test_the_policy_blocks_nothing_of_them(browser: Browser, school: Cast, live_server: LiveServer) -> None:
    context = browser.new_context()
    watched = Watched(context.new_page())
    add_session(watched.page, live_server.url, school.sams_account)
    for address in addresses(school, live_server.url):
        watched.page.goto(address)
    assert watched.complaints == []
    context.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without"])
@pytest.mark.parametrize("size", SIZES)
def test_a_student_reads_signs_and_takes_the_record_away(
    browser: Browser,
    school: Cast,
    live_server: LiveServer,
    tmp_path: pathlib.Path,
    size: str,
    scripts: bool,
) -> None:
    width, height = SIZES[size]
    context = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=size != "a desk", java_script_enabled=scripts
    )
    page = context.new_page()

    def look(name: str) -> None:
        if FULL:
            page.screenshot(path=tmp_path / f"{name}.png", full_page=True)

    sign_in(page, live_server.url)
    page.get_by_role("heading", name="My progress").wait_for()
    look("1-standing")
    page.get_by_role("link", name="2 lessons to acknowledge").click()
    page.get_by_role("listitem").filter(has_text="correction").get_by_role("link").first.click()
    page.get_by_text("A word was missing").wait_for()
    look("2-lesson")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Acknowledge lesson").click()
    page.get_by_text("You acknowledged this lesson").wait_for()
    look("3-signed")
    page.get_by_role("navigation", name="Pages of this student").get_by_role(
        "link", name="My progress"
    ).click()
    page.get_by_role("link", name="1 lesson to acknowledge").wait_for()
    with page.expect_download() as taken:
        page.get_by_role("link", name="Download record (JSON)").click()
    assert taken.value.suggested_filename.startswith("training-record-")
    context.close()


def test_a_student_signs_with_a_passkey(browser: Browser, school: Cast, live_server: LiveServer) -> None:
    phone = Device(browser)
    page = phone.page
    phone.given_a_passkey(school.sams_account, live_server.url)
    lesson = models.LessonRecord.objects.get(lesson="1-06")
    page.goto(f"{live_server.url}/students/{school.sam.ref}/lessons/{lesson.pk}/")
    phone.verifies(False)
    page.get_by_role("button", name="Acknowledge with a passkey").click()
    page.get_by_role("alert").get_by_text("passkey").wait_for()
    assert not models.Acknowledgement.objects.exists()
    phone.verifies(True)
    page.get_by_role("button", name="Acknowledge with a passkey").click()
    page.get_by_text("You acknowledged this lesson").wait_for()
    made = models.Acknowledgement.objects.get()
    assert made.confirmed["by"] == "passkey"
    assert made.confirmed["statement"]["content_hash"] == lesson.content_hash
    phone.context.close()


def test_what_is_folded_is_printed_too(browser: Browser, school: Cast, live_server: LiveServer) -> None:
    context = browser.new_context(viewport={"width": 820, "height": 1180})
    page = context.new_page()
    add_session(page, live_server.url, school.sams_account)
    page.goto(f"{live_server.url}/students/{school.sam.ref}/standing/")
    told = page.locator(".gap details p").first
    assert not told.is_visible()
    page.emulate_media(media="print")
    assert told.is_visible()
    assert not page.get_by_role("navigation", name="Pages of this student").is_visible()
    context.close()
