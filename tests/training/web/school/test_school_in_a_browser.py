"""The administrator's job in a real browser: from the login to a published course and an imported file."""

from __future__ import annotations

import datetime as dt
import pathlib
import uuid
from collections.abc import Iterator
from typing import Any

import openpyxl
import pytest
from allauth.mfa.models import Authenticator
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from syllabus.models import CourseVersion
from tests.support import courses, mailing
from tests.support.browsing import (
    PASSWORD,
    SIZES,
    Watched,
    add_session,
    fits,
    fits_narrow_and_with_large_text,
)
from tests.support.cast import Cast
from tests.support.extent import FULL
from tests.support.passkeys import Passkey
from tests.syllabus.courses.test_course_versions import SMALL
from tests.training.school.test_enrolments import second
from training import models
from training.models import Enrolment, Role
from training.services.reminders import standings

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ROWS: list[list[Any]] = [
    ["Date", "Ident", "From", "To", "Total", "Dual", "Instructor", "Landings by day", "Moon"],
    [dt.date(2026, 6, 1), "N00AB", "KOSH", "KFLD", 1.2, 1.2, "Ida Example", 3, "full"],
    [dt.date(2026, 6, 2), "N00AB", "KFLD", "KOSH", dt.timedelta(minutes=48), None, None, 1, None],
]


@pytest.fixture
def office(school: Cast) -> Cast:
    """Ada has a password, and what lapses and stands is worked out."""
    school.ada.set_password(PASSWORD)
    school.ada.save()
    courses.enrolled(school)
    standings.work_out(school.sam.pk, dt.datetime.now(dt.UTC))
    return school


@pytest.fixture(params=SIZES)
def desk(request: pytest.FixtureRequest, browser: Browser) -> Iterator[Page]:
    width, height = SIZES[request.param]
    context = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=request.param != "a desk"
    )
    yield context.new_page()
    context.close()


def sign_in(page: Page, at: str) -> None:
    page.goto(f"{at}/login/")
    page.get_by_label("E-mail address").fill("ada@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="The school at a glance").wait_for()


def book(folder: pathlib.Path, *, broken: bool) -> pathlib.Path:
    made, path = openpyxl.Workbook(), folder / f"flights-{broken}.xlsx"
    for row in ROWS:
        made.active.append(["=1.2" if broken and cell == 1.2 else cell for cell in row])
    made.save(path)
    return path


def test_the_administrators_job_from_the_login_to_a_course_and_an_import(
    desk: Page, office: Cast, live_server: LiveServer, tmp_path: pathlib.Path
) -> None:
    page, watched = desk, Watched(desk)
    asked: set[str] = set()
    page.on("request", lambda request: asked.add(request.url))
    shots = 0

    def look(name: str) -> None:
        nonlocal shots
        shots += 1
        if FULL:
            page.screenshot(path=tmp_path / f"{shots:02d}-{name}.png", full_page=True)
        fits(page)

    sign_in(page, live_server.url)
    look("glance")
    page.get_by_role("link", name="Courses").click()
    file = tmp_path / "small.yaml"
    file.write_text("course: small\ntitel: A slip\n", encoding="utf-8")
    page.get_by_label("Course file", exact=True).set_input_files(file)
    page.get_by_role("button", name="Save draft").click()
    expect(page.get_by_role("alert")).to_contain_text("small.yaml:2")
    look("course-faults")
    file.write_text(SMALL, encoding="utf-8")
    page.get_by_label("Course file", exact=True).set_input_files(file)
    page.get_by_role("button", name="Save draft").click()
    page.get_by_text("Draft of version 1 saved").wait_for()
    look("course-draft")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Publish version 1").click()
    page.get_by_text("Version 1 published").wait_for()
    assert CourseVersion.objects.get(course__school_ref="lakeside").is_published

    page.get_by_role("navigation", name="Lakeside Flying").get_by_role("link", name="Students").click()
    look("students")
    page.get_by_role("link", name="Sam Example", exact=True).click()
    page.get_by_role("combobox", name="Course").select_option(value="small@lakeside")
    page.get_by_role("button", name="Enroll student", exact=True).click()
    page.get_by_text("Enrolled in").wait_for()
    look("student")
    page.get_by_role("link", name="Import flights").click()
    page.get_by_label("CSV or XLSX").set_input_files(book(tmp_path, broken=True))
    page.get_by_role("button", name="Read file").click()
    page.get_by_label("Airplane's registration").select_option(label="B (Ident): N00AB")
    page.get_by_role("button", name="Preview import").click()
    expect(page.get_by_role("alert")).to_contain_text("Row 2, column E (Total): holds a formula")
    look("import-faults")
    page.get_by_role("link", name="Import flights").click()
    page.get_by_label("CSV or XLSX").set_input_files(book(tmp_path, broken=False))
    page.get_by_role("button", name="Read file").click()
    expect(page.get_by_text("Not imported: I (Moon)")).to_be_visible()
    look("import-columns")
    page.get_by_role("button", name="Preview import").click()
    expect(page.get_by_text("2.0 h of flight")).to_be_visible()
    look("import-dry-run")
    put = page.get_by_role("button", name="Import 2 flights")
    put.click()
    expect(page.get_by_role("alert")).to_have_text(
        "Reason for the import: is empty; write why the record is changed."
    )
    page.get_by_label("Reason for the import").fill("From the paper logbook.")
    page.get_by_label("Your password").fill(PASSWORD)
    put.click()
    page.get_by_text("Flights added: 2.").wait_for()
    look("record")
    assert models.Flight.objects.filter(student=office.sam, entry_id__startswith="import-").count() == 2
    page.get_by_label("I compared it with the document: 1 Jun 2026").check()
    page.get_by_label("Document that you saw").fill("The paper logbook, page 3.")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Attest entries").click()
    page.get_by_text("You attested 1 entry.").wait_for()
    look("attested")
    expect(page.get_by_role("checkbox", name="I compared it with the document")).to_have_count(1)
    page.get_by_label("As known at the end of").fill("2026-03-02")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_text("1 on record")).to_be_visible()
    # Two files with faults and an import without a reason were refused, which the browser notes.
    assert [said for said in watched.complaints if "422" not in said] == []
    assert {url for url in asked if not url.startswith(live_server.url)} == set()


def paths(people: Cast) -> list[str]:
    student, role = f"students/{people.sam.ref}/", Role.objects.get(user=people.ida).pk
    version = CourseVersion.objects.select_related("course").get(course__school_ref__isnull=True)
    leaves = ("flights", "papers", "endorsements", "milestones")
    return [
        "",
        "students/",
        student,
        *(f"{student}record/?leaf={leaf}" for leaf in leaves),
        f"{student}import/",
        "courses/",
        f"courses/{version.course.code}/{version.number}/",
        "people/",
        "people/add/?role=instructor",
        f"people/{role}/",
        "minimums/",
        "aircraft/",
        "aircraft-models/",
        "settings/",
        "mail/",
    ]


def test_the_desk_breaks_no_rule_and_nothing_scrolls_sideways(
    watched: Watched, office: Cast, live_server: LiveServer, tmp_path: pathlib.Path
) -> None:
    page = watched.page
    mailing.failed(office, uuid.uuid4())
    add_session(page, live_server.url, office.ada)
    for path in paths(office):
        page.goto(f"{live_server.url}/school/lakeside/{path}")
        watched.is_well()
        fits_narrow_and_with_large_text(page)
    page.goto(f"{live_server.url}/school/lakeside/students/{office.sam.ref}/import/")
    page.get_by_label("CSV or XLSX").set_input_files(book(tmp_path, broken=False))
    page.get_by_role("button", name="Read file").click()
    page.get_by_role("button", name="Preview import").click()
    page.get_by_role("button", name="Import 2 flights").wait_for()
    watched.is_well()
    page.get_by_label("Reason for the import").fill("From the paper logbook.")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Import 2 flights").click()
    page.get_by_role("heading", name="Attest entries").wait_for()
    watched.is_well()


def test_a_move_and_a_lost_passkey_break_no_rule(
    watched: Watched, office: Cast, live_server: LiveServer
) -> None:
    held = Enrolment.objects.get(student=office.sam, course_version__isnull=False)
    second()
    Passkey().added_to(office.ida)
    page, at = watched.page, f"{live_server.url}/school/lakeside"
    add_session(page, live_server.url, office.ada)
    page.goto(f"{at}/students/{office.sam.ref}/enrolments/{held.ref}/move/")
    watched.is_well()
    page.get_by_role("button", name="Move Sam Example to version 2").click()
    page.get_by_text("Moved from version 1 to version 2").wait_for()
    watched.is_well()
    page.goto(f"{at}/people/{Role.objects.get(user=office.ida).pk}/")
    page.get_by_role("link", name="Reset the second factor").click()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Confirm").click()
    page.get_by_text("Second factors of this account: 1 passkey.").wait_for()
    watched.is_well()
    page.get_by_label("Reason, and how you verified the person").fill("Tablet sank; we met at the hangar.")
    page.get_by_role("button", name="Reset second factor of Ida Example").click()
    page.get_by_text("Second factor of Ida Example reset.").wait_for()
    assert not Authenticator.objects.exists()
