"""The tablet in another language than English, with the network and without: its words come along."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect
from pytest_django.live_server_helper import LiveServer

from tests.support import courses
from tests.support.browsing import add_session
from tests.support.cast import Cast
from tests.support.catalogues import compiled
from tests.training.web.instructor.test_instructor_offline import away, take_along
from training import models

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: Of pages and of scripts; what has no line here stays English.
PAGES = {"Today, %(today)s": "Heute, %(today)s", "No network.": "Kein Netz."}
SCRIPTS = {
    "Start %(lesson)s": "%(lesson)s beginnen",
    "On this tablet": "Auf diesem Tablet",
    "calculated when the network is back": "wird ausgerechnet, sobald das Netz wieder da ist",
}


@pytest.fixture
def german(settings: Any, tmp_path: Path) -> None:
    scripts = compiled(tmp_path / "scripts", "de", SCRIPTS) / "de" / "LC_MESSAGES" / "django.mo"
    pages = compiled(tmp_path / "pages", "de", PAGES)
    scripts.rename(pages / "de" / "LC_MESSAGES" / "djangojs.mo")
    settings.LANGUAGES = [("en", "English"), ("de", "Deutsch")]
    settings.LOCALE_PATHS = [str(pages)]


@pytest.mark.usefixtures("german")
def test_the_tablet_speaks_the_language_of_the_profile_without_a_network_too(
    browser: Browser, school: Cast, live_server: LiveServer
) -> None:
    courses.enrolled(school)
    models.ReminderPreferences.objects.create(user=school.ida, language="de")
    # The policy stands: the words come as a file of this host.
    context = browser.new_context(locale="fr-FR")
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    add_session(page, live_server.url, school.ida)
    take_along(page, live_server.url)
    expect(page.get_by_role("heading", name="Heute")).to_be_visible()
    assert complaints == []
    away(page, live_server.url)
    expect(page.locator("html[lang=de]")).to_have_count(1)
    expect(page.get_by_text("Kein Netz.")).to_be_visible()
    expect(page.get_by_role("heading", name="Auf diesem Tablet", exact=True)).to_be_visible()
    page.get_by_role("button", name="beginnen").first.click()
    page.get_by_role("radio", name="With me aboard").check()
    out = page.get_by_text("wird ausgerechnet, sobald das Netz wieder da ist")
    expect(out.first).to_be_visible()
    context.close()
