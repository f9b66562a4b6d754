"""Times of day on pages, in PDFs and in e-mails are in the zone that they name: a school's or a person's."""

from __future__ import annotations

import pathlib
import re
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from django.urls import reverse

from tests.support import courses, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.mailing import mails_sent
from tests.training.web.test_pages import text_of
from training import models, pdf
from training.ledger.store import checkpoints
from training.services.people import account_mails
from training.services.signing import seals
from training.services.transfer import handover_pages

TEMPLATES = pathlib.Path(settings.BASE_DIR) / "training" / "web" / "templates"
#: The same instant at schools in four zones: 18:00 UTC, on another day where that is ahead.
ZONES = [
    pytest.param("America/Chicago", "3 Mar 2026, 12:00 CST", id="behind UTC"),
    pytest.param("Europe/Berlin", "3 Mar 2026, 19:00 CET", id="ahead of UTC"),
    pytest.param("Pacific/Auckland", "4 Mar 2026, 07:00 NZDT", id="on the next day"),
    pytest.param("UTC", "3 Mar 2026, 18:00 UTC", id="UTC itself"),
]


@kept
def signed(people: Cast) -> Cast:
    courses.enrolled(people)
    lessons.signed(people, lesson="1-01")
    return people


@pytest.fixture
def at_work(client: Client, signed: Cast) -> Any:
    with time_machine.travel(lessons.AT, tick=False):
        yield client


def moved(people: Cast, zone: str) -> None:
    models.School.objects.filter(pk=people.school.pk).update(time_zone=zone)


@pytest.mark.parametrize(("zone", "said"), ZONES)
def test_a_signature_is_dated_in_the_schools_zone(
    at_work: Client, signed: Cast, zone: str, said: str
) -> None:
    moved(signed, zone)
    lesson = models.LessonRecord.objects.get()
    whose, entry = signed.sam.ref, lesson.pk
    at_work.force_login(signed.ida)
    assert f"0000001CFI, {said}" in text_of(at_work.get(reverse("lesson-sealed", args=[whose, entry])))
    at_work.force_login(signed.sams_account)
    assert f"(0000001CFI), {said}." in text_of(at_work.get(reverse("lesson", args=[whose, entry])))


@pytest.mark.parametrize(("zone", "said"), ZONES)
def test_the_pdf_of_a_lesson_names_the_zone_of_each_time(signed: Cast, zone: str, said: str) -> None:
    moved(signed, zone)
    lesson = models.LessonRecord.objects.select_related("student__school", "sign_off").get()
    page = handover_pages.lesson(lesson.student, lesson, lesson.sign_off, None, None, lessons.AT)
    written = f"2026-03-0{said[0]} {said.partition(', ')[2]}"
    assert page["made"] == written
    assert ["Signed at", written] in page["lesson"]["signatures"]
    assert pdf.make("lesson", page, at=lessons.AT).startswith(b"%PDF")


@pytest.mark.parametrize(("zone", "said"), ZONES)
def test_events_sessions_and_mails_are_in_the_persons_zone(
    at_work: Client, signed: Cast, zone: str, said: str
) -> None:
    moved(signed, zone)
    at_work.force_login(signed.ada)
    assert said in text_of(at_work.get(reverse("school-sign-in-events", args=[signed.school.slug])))
    assert said in text_of(at_work.get(reverse("sign-in-events")))
    assert f"since {said}, from" in text_of(at_work.get(reverse("security")))
    account_mails.tell(signed.ada, "password_changed", at=lessons.AT)
    assert re.search(rf"at 2026-03-0\d {said.partition(', ')[2]}\.", str(mails_sent()[-1].body))
    models.ReminderPreferences.objects.create(user=signed.ada, time_zone="Asia/Tokyo")
    assert "4 Mar 2026, 03:00 JST" in text_of(at_work.get(reverse("sign-in-events")))


def test_the_newest_checkpoint_is_dated_in_the_schools_zone(at_work: Client, signed: Cast) -> None:
    checkpoints.issue(seals.tree_of(signed.school), at=lessons.AT)
    at_work.force_login(signed.ada)
    said = text_of(at_work.get(reverse("school", args=[signed.school.slug])))
    assert "Signed at 3 Mar 2026, 12:00 CST" in said


@pytest.mark.parametrize("path", sorted(TEMPLATES.rglob("*.html")), ids=lambda path: path.stem)
def test_no_template_writes_a_time_without_its_zone(path: pathlib.Path) -> None:
    """Django's filter writes an instant in UTC unless the template names a zone; a time of day comes from the
    presenter, which names its zone.
    """
    text = path.read_text()
    assert not re.search(r"DATETIME_FORMAT|TIME_FORMAT|\|time\b", text)
    if re.search(r"(_at|\.at|_seen)\|date", text):
        assert "{% timezone " in text
