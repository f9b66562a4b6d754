"""What the school refuses of a tablet stays readable until somebody decides, and nothing is a dead end."""

from __future__ import annotations

import datetime as dt

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.support import lessons
from tests.support.browsing import add_session
from tests.support.cast import Cast
from tests.training.web.accounts.test_passkeys_in_a_browser import Device
from tests.training.web.instructor.test_instructor_offline import away, take_along, write_a_lesson
from training import models
from training.services.lessons import lesson_audit
from training.services.signing import nonces

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


#: Takes the students out of what the tablet downloaded.
NOBODY = """async () => {
  const store = await import("/static/training/tablet/store.js");
  await store.bring({ ...(await store.pack()), students: [] });
}"""


def sign_here(page: Page) -> None:
    page.get_by_role("button", name="Sign lesson with a passkey").click()
    expect(page.get_by_role("status").filter(has_text="Signed on this tablet, not yet sent.")).to_be_visible()


def back(page: Page, at: str) -> None:
    page.context.set_offline(False)
    page.goto(f"{at}/today/")


def decide(page: Page) -> None:
    page.locator(".queue-list").get_by_role("link", name="Read and decide").last.click()
    page.get_by_role("button", name="Correct and sign again").wait_for()


def test_a_signature_that_came_too_late_is_read_corrected_and_signed_again(
    tablet: Device, teaching: Cast, live_server: LiveServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(teaching.ida, at)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    sign_here(page)
    monkeypatch.setattr(nonces, "VALID", dt.timedelta(seconds=-1))
    back(page, at)
    box = page.locator("#queue")
    expect(box).to_contain_text("The school refused one entry. Decide what happens to it.")
    expect(box).to_contain_text("Last contact with the school:")
    decide(page)
    view = page.locator("#view")
    expect(view).to_contain_text("the passkey signature is valid for", ignore_case=True)
    expect(view).to_contain_text("Signed with a passkey on this tablet,")
    expect(view).to_contain_text("Gusty.")
    page.reload()
    expect(view).to_contain_text("Gusty.")

    monkeypatch.setattr(nonces, "VALID", dt.timedelta(days=14))
    page.get_by_role("button", name="Correct and sign again").click()
    expect(page.get_by_label("Comments")).to_have_value("Gusty.\nWell flown.")
    expect(page.get_by_label("Route")).to_have_value("KGRB KMTW KGRB")
    page.get_by_label("Comments").fill("Gusty. Signed again.")
    page.get_by_role("button", name="Review and sign").click()
    page.get_by_role("button", name="Sign lesson with a passkey").click()
    page.get_by_role("heading", name="Signed and locked").wait_for()
    signed = models.SignOff.objects.get()
    assert signed.lesson.content["comments"] == "Gusty. Signed again."
    assert models.LessonRecord.objects.count() == 1
    expect(page.locator("#queue")).to_be_hidden()
    assert models.AccessLog.objects.filter(what__startswith="tablet entry corrected").count() == 1
    assert list(lesson_audit.faults(teaching.school)) == []


def test_what_the_rules_find_in_a_signed_lesson_is_answered_with_a_reason(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    craft = models.Aircraft.objects.get()
    begun = dt.datetime(2026, 3, 1, 18, tzinfo=dt.UTC)
    said = {"kind": "grounded", "reason": "Oil leak", "by": teaching.ida, "at": begun}
    models.Grounding.objects.create(school=teaching.school, aircraft=craft, **said)
    tablet.given_a_passkey(teaching.ida, at)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    sign_here(page)
    back(page, at)
    expect(page.locator("#queue")).to_contain_text("The school refused one entry.")
    assert not models.SignOff.objects.exists()
    decide(page)
    expect(page.locator("#view")).to_contain_text("N00XY was grounded on 2026-03-02: Oil leak")
    page.get_by_label("Why you sign despite these findings").fill("Repaired and released in the morning.")
    page.get_by_role("button", name="Send with this reason").click()
    expect(page.locator("#queue")).to_be_hidden()
    signed = models.SignOff.objects.get()
    assert signed.findings_reason == "Repaired and released in the morning."
    assert [each["kind"] for each in signed.findings if each["severity"] == "serious"] == [
        "aircraft-grounded"
    ]
    assert signed.performed_at < signed.at
    assert list(lesson_audit.faults(teaching.school)) == []


def test_a_lesson_signed_meanwhile_becomes_a_correction_with_its_reason(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    draft = lessons.draft(teaching, lesson="1-01")
    tablet.given_a_passkey(teaching.ida, at)
    take_along(page, at)
    away(page, at)
    page.get_by_role("button", name="Continue").click()
    page.get_by_label("Comments").fill("From the tablet.")
    page.get_by_role("button", name="Review and sign").click()
    sign_here(page)
    lessons.sign(draft, teaching.ida)
    back(page, at)
    decide(page)
    page.get_by_role("button", name="Correct and sign again").click()
    page.get_by_label("Reason for the correction").fill("The tablet has the fuller remarks.")
    page.get_by_role("button", name="Correct lesson").click()
    expect(page.get_by_label("Comments")).to_have_value("From the tablet.")
    page.get_by_role("button", name="Review and sign").click()
    page.get_by_role("button", name="Sign lesson with a passkey").click()
    page.get_by_role("heading", name="Signed and locked").wait_for()
    fixed = models.Correction.objects.get()
    assert fixed.lesson_id == draft.pk
    assert fixed.successor.content["comments"] == "From the tablet."
    assert fixed.successor.reason == "The tablet has the fuller remarks."
    assert list(lesson_audit.faults(teaching.school)) == []


def test_what_the_school_refuses_is_shown_beside_its_field(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    page.get_by_role("button", name="Leave as draft").click()
    error = {"place": "content.flight.landings[0].at", "message": "the airport has closed"}
    refusing = [True]

    def refuse(route: object) -> None:
        if not refusing:
            route.continue_()  # type: ignore[attr-defined]
        else:
            body = {"detail": "1 validation error", "errors": [error]}
            route.fulfill(status=422, json=body)  # type: ignore[attr-defined]

    page.context.route("**/lesson-records", refuse)
    back(page, at)
    expect(page.locator("html[data-along]")).to_have_count(1)
    page.evaluate(NOBODY)  # more students than a tablet downloads
    decide(page)
    page.get_by_role("button", name="Correct and sign again").click()
    expect(page.locator("[data-for=landing-0-at]")).to_contain_text(
        "The school refused: the airport has closed"
    )
    refusing.clear()
    page.get_by_role("button", name="Save draft").click()
    expect(page.get_by_text("Draft saved.")).to_be_visible()
    assert models.LessonRecord.objects.get().content["comments"] == "Gusty.\nWell flown."


def test_a_student_who_is_gone_and_an_entry_of_another_release_can_be_discarded(
    tablet: Device, teaching: Cast, live_server: LiveServer, caplog: pytest.LogCaptureFixture
) -> None:
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(teaching.ida, at)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    sign_here(page)
    page.evaluate(
        """async (user) => {
          const queue = await import("/static/training/tablet/queue.js");
          queue.setUp({ token: "/tablet/token/", user });
          await queue.add({ act: "stamp", student: "x", record: crypto.randomUUID(), words: "An old entry" });
        }""",
        str(teaching.ida.pk),
    )
    models.Assignment.objects.all().delete()
    back(page, at)
    box = page.locator("#queue")
    expect(box).to_contain_text("of another release of the program")
    expect(box.locator(".parked")).to_have_count(2)
    for reason in ("Old.", "Sam has moved to another school."):
        box.get_by_role("link", name="Read and decide").last.click()
        page.get_by_label("Reason to discard this entry").fill(reason)
        page.get_by_role("button", name="Discard entry").click()
        expect(page.locator("#view")).to_contain_text("Entry discarded.")
    expect(box).to_be_hidden()
    assert models.SignOff.objects.count() == 0
    assert "Sam has moved to another school." in caplog.text


def test_another_account_neither_reads_nor_sends_what_the_first_one_wrote(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    take_along(page, at)
    away(page, at)
    write_a_lesson(page)
    page.get_by_role("button", name="Leave as draft").click()
    page.context.clear_cookies()
    page.context.set_offline(False)
    add_session(page, at, teaching.olaf)
    page.goto(f"{at}/students/")
    page.goto(f"{at}/tablet/")
    expect(page.locator("#queue")).to_contain_text("One entry is from another person who used this tablet.")
    page.get_by_role("link", name="Read and decide").click()
    expect(page.locator("#view")).to_contain_text("Sign in as that person")
    assert "Gusty" not in page.locator("#view").inner_text()
    assert not models.LessonRecord.objects.exists()
    page.context.clear_cookies()
    add_session(page, at, teaching.ida)
    page.goto(f"{at}/today/")
    expect(page.locator("#queue")).to_be_hidden()
    assert models.LessonRecord.objects.get().instructor == teaching.ida


def test_any_lesson_and_a_correction_begin_offline_and_what_was_signed_counts(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    before = lessons.signed(teaching, lesson="1-01")
    tablet.given_a_passkey(teaching.ida, at)
    take_along(page, at)
    away(page, at)
    page.get_by_text("Another lesson").click()
    page.get_by_label("Lesson with Sam Example", exact=True).select_option("1-03")
    page.get_by_role("button", name="Start lesson with").click()
    page.get_by_label("Off", exact=True).fill("1300")
    page.get_by_label("On", exact=True).fill("1400")
    page.get_by_role("radio", name="With me aboard").check()
    page.get_by_label("Day", exact=True).fill("2026-03-05")
    item = page.locator("fieldset.item").first
    code = item.locator("input[type=hidden]").first.input_value()
    item.get_by_role("radio", name="Explain").check()
    page.get_by_role("button", name="Review and sign").click()
    sign_here(page)
    expect(page.locator("#view")).to_contain_text("Signed on this tablet and counted here: 1-03, 2026-03-05")
    page.get_by_text("Another lesson").click()
    page.get_by_label("Lesson with Sam Example", exact=True).select_option("1-03")
    page.get_by_role("button", name="Start lesson with").click()
    expect(page.locator("fieldset.item").first).to_contain_text("Last time: Explain, 2026-03-05")

    page.get_by_role("button", name="Back to the students").click()
    page.get_by_text("Signed lessons").click()
    page.locator("#view").get_by_text("1-01, ").click()
    page.get_by_role("button", name="Correct lesson").click()
    page.get_by_label("Reason for the correction").fill("The wrong comment.")
    page.get_by_role("button", name="Correct lesson").click()
    page.get_by_label("Comments").fill("Corrected without a network.")
    page.get_by_role("button", name="Review and sign").click()
    sign_here(page)
    back(page, at)
    expect(page.locator("#queue")).to_be_hidden()
    fixed = models.Correction.objects.get()
    assert (fixed.lesson_id, fixed.reason) == (before.pk, "The wrong comment.")
    assert fixed.successor.content["comments"] == "Corrected without a network."
    newest = models.SignOff.objects.get(lesson__lesson="1-03").lesson
    assert newest.content["items"][0] == {"item": code, "grade": "explain"}
    assert list(lesson_audit.faults(teaching.school)) == []


def test_the_tablets_page_says_whether_the_school_can_be_reached(
    tablet: Device, teaching: Cast, live_server: LiveServer
) -> None:
    page, at = tablet.page, live_server.url
    add_session(page, at, teaching.ida)
    take_along(page, at)
    away(page, at)
    expect(page.locator("#away")).to_be_visible()
    page.context.set_offline(False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.locator("#connected")).to_be_visible()
    expect(page.locator("#away")).to_be_hidden()
    page.context.clear_cookies()
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.locator("#signed-out")).to_be_visible()


def test_a_decision_that_cannot_be_read_is_refused(client: object, people: Cast) -> None:
    client.force_login(people.ida)  # type: ignore[attr-defined]
    for body in ("", "[]", "7"):
        answer = client.post("/tablet/decisions/", body, content_type="application/json")  # type: ignore[attr-defined]
        assert answer.status_code == 422, body
