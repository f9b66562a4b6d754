"""Mails and calendars are written in the language of each recipient's profile."""

from __future__ import annotations

import datetime as dt
import pathlib

import icalendar
import pytest
import time_machine
from django.core import mail
from django.test import Client

from tests.support import factories
from tests.support.cast import Cast
from tests.support.catalogues import compiled
from tests.support.reminding import at, sam, solo, sweep
from training import models
from training.services.fleet import aircraft as fleets
from training.services.reminders import calendars, preferences

pytestmark = pytest.mark.django_db
DUE = "2026-04-18 15:00"
#: A small second language; month names are Django's own.
GERMAN = {
    "Training record: something expires soon": "Ausbildungsnachweis: etwas endet bald",
    "Training records at %(school)s: what expires soon": "Nachweise bei %(school)s: was bald endet",
    "Hello %(name)s,": "Guten Tag %(name)s,",
    "These expire soon in the training record of %(student)s at %(school)s.": (
        "Das endet bald im Nachweis von %(student)s bei %(school)s."
    ),
    "These expire soon in the training record of %(student)s. You get this e-mail because %(school)s has your"
    " consent on record.": "Das endet bald im Nachweis von %(student)s, mit Ihrer Zustimmung bei %(school)s.",
    "valid through %(day)s": "gilt bis einschließlich %(day)s",
    "a day in a mail\x04j F Y": "j. F Y",
    "An endorsement (%(model)s) expires": "Ein Eintrag (%(model)s) endet",
    "Valid through %(day)s.": "Gilt bis %(day)s.",
    "Training record: expirations": "Nachweis: was endet",
    "Recent experience expires (%(school)s)": "Übung endet (%(school)s)",
    "%(document)s expires": "%(document)s endet",
    "The instructor's recent experience, as the school recorded it": "Die Übung als Lehrer",
}


@pytest.fixture(autouse=True)
def german(settings, tmp_path: pathlib.Path) -> None:
    settings.LANGUAGES = [("en", "English"), ("de", "Deutsch")]
    settings.LOCALE_PATHS = [str(compiled(tmp_path, "de", GERMAN))]


def mails() -> dict[str, mail.EmailMultiAlternatives]:
    found = {each.to[0]: each for each in mail.outbox}
    assert all(isinstance(each, mail.EmailMultiAlternatives) for each in found.values())
    return found


def test_each_is_written_to_in_the_language_of_the_profile(people: Cast) -> None:
    preferences.set_for(people.ida, language="de")
    people.sam.birth_date = dt.date(2010, 5, 17)
    people.sam.save()
    guardian = factories.guardian(people.sam)
    models.Guardian.objects.filter(pk=guardian.pk).update(email="pat@example.org", language="de")
    sam(people, solo("2026-02-01"))
    sweep(DUE)
    told = mails()
    german, english = told["ida@lakeside.example"], told["sam@lakeside.example"]
    assert german.subject == "Ausbildungsnachweis: etwas endet bald"
    assert "Guten Tag Ida Example," in german.body
    assert "Das endet bald im Nachweis von Sam Example bei Lakeside Flying." in german.body
    assert "gilt bis einschließlich 2. Mai 2026" in german.body
    [(page, _)] = german.alternatives
    assert '<html lang="de">' in page
    assert "Guten Tag Ida Example," in page
    assert english.subject == "Training record: something expires soon"
    assert "valid through 2 May 2026" in english.body
    assert '<html lang="en">' in english.alternatives[0][0]
    assert "mit Ihrer Zustimmung bei Lakeside Flying" in told["pat@example.org"].body
    # What the rules say is data, and stands as it was written in whatever language.
    assert "14 CFR 61.87(n)" in german.body


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
def test_what_has_no_translation_is_in_english_and_the_digest_is_translated_too(people: Cast) -> None:
    preferences.set_for(people.ada, language="de")
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 12:00")
    sweep("2026-04-19 13:30")
    digest = mails()["ada@lakeside.example"]
    assert digest.subject == "Nachweise bei Lakeside Flying: was bald endet"
    assert "The people concerned get their own reminders." in digest.body


@pytest.mark.any_database  # others here make these queries on SQLite
def test_an_instructors_own_date_is_named_in_the_language(people: Cast) -> None:
    preferences.set_for(people.ida, language="de")
    models.Role.objects.filter(user=people.ida).update(recent_experience_until=dt.date(2026, 5, 18))
    sweep(DUE)
    assert "Die Übung als Lehrer" in mails()["ida@lakeside.example"].body


def test_the_calendar_is_written_in_the_language(people: Cast) -> None:
    preferences.set_for(people.ida, language="de")
    sam(people, solo("2026-02-01"))
    models.Role.objects.filter(user=people.ida).update(recent_experience_until=dt.date(2026, 5, 31))
    craft = factories.aircraft(people.school, registration="N00XY", model="C172")
    when = at(DUE)
    fleets.record(craft.pk, "transponder", dt.date(2025, 4, 1), None, by=people.ada, at=when)
    sweep(DUE)
    secret = calendars.create(people.ida, when)
    with time_machine.travel(when, tick=False):
        read = icalendar.Calendar.from_ical(Client().get(f"/calendars/{secret}.ics").content)
    assert str(read["x-wr-calname"]) == "Nachweis: was endet"
    titles = [str(each["summary"]) for each in read.walk("VEVENT")]
    assert "S.E.: Ein Eintrag (C172) endet" in titles
    assert "Übung endet (Lakeside Flying)" in titles
    assert "N00XY: Transponder test endet" in titles
    assert "Gilt bis 2. Mai 2026." in str(read.walk("VEVENT")[0]["description"])


def test_a_language_that_there_is_not_is_refused(people: Cast) -> None:
    with pytest.raises(preferences.PreferenceError, match="'fr' is not a valid choice"):
        preferences.set_for(people.ida, language="fr")
