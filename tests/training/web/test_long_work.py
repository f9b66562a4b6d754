"""Work that shows how far it is: to its end, left before it, broken off; and in a real browser."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from playwright.sync_api import Browser, expect
from pytest_django.live_server_helper import LiveServer

from tests.support import factories
from tests.support.browsing import PASSWORD, Watched
from tests.support.cast import Cast
from tests.training.web.school.test_school import form_of
from training import models
from training.reports import audit
from training.services.audit import findings

RUN = "/audit/run/"


@pytest.fixture
def ada(client: Client, people: Cast) -> Client:
    people.ada.set_password(PASSWORD)
    people.ada.save()
    client.force_login(people.ada)
    return client


def test_how_far_it_is_comes_before_the_end(ada: Client, people: Cast, monkeypatch: Any) -> None:
    for _ in range(4):
        factories.student(people.school)
    monkeypatch.setattr("training.web.shared.long_work.PAUSE", 0)
    answer = ada.post(RUN, {"school": "lakeside"})
    assert answer.streaming
    assert answer["X-Accel-Buffering"] == "no"
    assert answer["Cache-Control"].startswith("max-age=0, no-cache, no-store")
    told = [each.decode() for each in answer]
    steps = [each for each in told if "<progress" in each]
    assert [f'value="{number}"' in each for number, each in enumerate(steps)] == [True] * 6
    assert all('max="5"' in each for each in steps)
    assert "Students’ records read: 5 of 5" in steps[-1]
    assert "Audit complete. Students: 5" in told[-2]
    assert models.AuditRun.objects.get().students == 5


def test_whoever_leaves_keeps_nothing_of_it(ada: Client, people: Cast, monkeypatch: Any) -> None:
    factories.student(people.school)
    monkeypatch.setattr("training.web.shared.long_work.PAUSE", 0)
    answer = ada.post(RUN, {"school": "lakeside"})
    told = iter(answer)
    for _ in range(3):
        next(told)
    for close in answer._resource_closers:  # as the server does when the connection is gone
        close()
    assert not models.AuditRun.objects.exists()
    assert not models.AccessLog.objects.filter(what="audit of the school").exists()
    assert "Audit complete. Students: 2" in ada.post(RUN, {"school": "lakeside"}).getvalue().decode()


def test_a_fault_is_said_without_its_insides(ada: Client, people: Cast, monkeypatch: Any) -> None:
    def breaks(*args: Any, **more: Any) -> Iterator[models.Student]:
        yield people.sam
        raise ArithmeticError("the insides")

    monkeypatch.setattr(findings, "recomputing", breaks)
    told = ada.post(RUN, {"school": "lakeside"}).getvalue().decode()
    assert "Not completed, and nothing was saved." in told
    assert "the insides" not in told
    assert told.rstrip().endswith("</html>")


@pytest.mark.any_database  # others here, test_school and test_sign_offs make these queries on SQLite
def test_many_flights_are_put_on_record_while_a_page_says_so(ada: Client, people: Cast) -> None:
    rows = [f"{dt.date(2024, 1, 1) + dt.timedelta(days=each)},N00AB,KOSH,KFLD,1.2" for each in range(401)]
    text = "\n".join(["date,registration,from,to,total", *rows])
    path = f"/school/lakeside/students/{people.sam.ref}/import/"
    read = ada.post(path, {"file": SimpleUploadedFile("flights.csv", text.encode())})
    tried = ada.post(f"{path}columns/", form_of(read))
    sent = {
        **form_of(tried),
        "plan": tried.context["digest"],
        "reason": "from the paper logbook",
        "confirm_password": PASSWORD,
    }
    other = ada.post(f"{path}columns/", {**sent, "plan": "0" * 64})
    assert "changed after the preview" in other.getvalue().decode()
    assert not models.Flight.objects.exists()
    told = ada.post(f"{path}columns/", sent).getvalue().decode()
    assert '<progress aria-label="Either all flights are imported or none."></progress>' in told
    assert "Flights added: 401. Flights updated: 0." in told
    assert f'href="/school/lakeside/students/{people.sam.ref}/record/"' in told
    assert "Cancel without saving" not in told  # it cannot be stopped halfway, so nobody is offered to
    assert models.Flight.objects.filter(student=people.sam).count() == 401
    again = ada.post(f"{path}columns/", sent).getvalue().decode()
    assert "changed after the preview" in again
    assert models.Flight.objects.filter(student=people.sam).count() == 401


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_a_browser_shows_it_and_stops_it(
    browser: Browser, school: Cast, live_server: LiveServer, monkeypatch: Any
) -> None:
    """Each record takes half a second here, as those of a large school take together."""
    quick = audit.by_student

    def slowly(*args: Any, **more: Any) -> Iterator[Any]:
        for each in quick(*args, **more):
            time.sleep(0.5)
            yield each

    monkeypatch.setattr(findings.reports, "by_student", slowly)
    school.ada.set_password(PASSWORD)
    school.ada.save()
    for _ in range(5):
        factories.student(school.school)
    context = browser.new_context(bypass_csp=True)
    page = context.new_page()
    watched = Watched(page)
    page.goto(f"{live_server.url}/login/?next=/audit/")
    page.get_by_label("E-mail address").fill("ada@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Audit all records").click(no_wait_after=True)
    bar = page.get_by_role("progressbar")
    expect(bar).to_have_count(1)
    expect(bar).to_have_attribute("max", "6")
    page.get_by_text("Students’ records read: 2 of 6").wait_for()
    expect(bar).to_have_count(1)  # the steps before are not shown any more
    page.get_by_role("link", name="Cancel without saving").click()
    page.get_by_text("Not audited yet.").wait_for()
    time.sleep(1.5)  # the server finds at its next step that nobody reads any more
    assert not models.AuditRun.objects.exists()
    page.get_by_role("button", name="Audit all records").click(no_wait_after=True)
    page.get_by_role("link", name="Show findings").wait_for(timeout=15_000)
    expect(bar).to_have_count(0)
    expect(page.get_by_role("link", name="Cancel without saving")).to_have_count(0)
    watched.is_well()
    page.get_by_role("link", name="Show findings").click()
    page.get_by_text("Last audited as of").wait_for()
    assert models.AuditRun.objects.get().students == 6
    context.close()
