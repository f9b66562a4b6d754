"""The pages of reminders in a real browser: the accessibility rules, both colours, and putting one off."""

from __future__ import annotations

import datetime as dt

import pytest
from pytest_django.live_server_helper import LiveServer

from tests.support.browsing import Watched, add_session
from tests.support.cast import Cast
from tests.support.reminding import told_of
from training import models

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_pages_of_reminders_break_no_rule(
    watched: Watched, school: Cast, live_server: LiveServer
) -> None:
    reminder = told_of(school, school.sam.ref)
    now = dt.datetime.now(dt.UTC)
    models.Lapse.objects.create(
        school=school.school,
        student=school.sam,
        what="medical",
        kind="medical",
        last_day=school.school.day(now) + dt.timedelta(days=40),
        says="Medical certificate of third class or better, 60 calendar months under 40, else 24",
        citations=["14 CFR 61.23(a)(3), 61.113(i)"],
        due_at=now + dt.timedelta(days=10),
        due_lead=30,
        changed_at=now,
    )
    models.Role.objects.create(school=school.school, user=school.ida, role="administrator")
    page = watched.page
    add_session(page, live_server.url, school.ida)
    page.goto(live_server.url + "/reminders/")
    page.get_by_role("heading", name="Expires soon").wait_for()
    watched.is_well()
    page.get_by_label("Remind me again on").fill((reminder.last_day - dt.timedelta(days=1)).isoformat())
    page.get_by_role("button", name="Postpone").click()
    page.get_by_role("status").wait_for()
    watched.is_well()
    page.get_by_role("button", name="Create calendar link").click()
    page.get_by_role("heading", name="Your calendar link").wait_for()
    watched.is_well()
    page.goto(live_server.url + "/reminders/ahead/")
    page.get_by_role("cell", name="Medical certificate").wait_for()
    page.get_by_text("Days of notice").click()
    page.get_by_label("Endorsements").fill("20, 3")
    watched.is_well()
    page.get_by_role("button", name="Save settings").click()
    page.get_by_role("status").wait_for()
    models.StandingChange.objects.create(
        school=school.school,
        student=school.sam,
        milestone="faa.first-solo",
        on=school.school.day(now),
        at=now,
        before={"met": False, "eligible_until": None, "gaps": 1},
        after={"met": True, "eligible_until": "2027-01-31", "gaps": 0},
    )
    page.goto(live_server.url + "/since-yesterday/")
    page.get_by_text("met through 31 Jan 2027; before, 1 requirement was not met").wait_for()
    watched.is_well()
    assert models.ReminderOf.objects.get(user=school.ida).snoozed_until is not None
