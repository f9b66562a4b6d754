"""A guardian's view of the student's pages and papers: what is open, what is said, and that it is to read."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import time_machine
from django.test import Client

from tests.support import courses, factories, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.web.student.test_student_pages import COURSE_LESSON, PASSWORD
from tests.training.web.test_pages import text_of
from training import models

THE_DAY = lessons.AT + dt.timedelta(days=1)
PAGES = ("standing/", "hours/", "lessons/", "lessons/{}/", "")
PAPERS = ("record.json", "record.pdf", "endorsements.pdf", "lessons/{}.pdf")


@kept
def signed(taught: Cast) -> models.LessonRecord:
    """Sam is in the shipped course and, by a late coming of age, a minor; Ida signed a lesson."""
    models.School.objects.filter(pk=taught.school.pk).update(of_age_at=99)
    courses.enrolled(taught)
    return lessons.signed(taught, COURSE_LESSON, lesson="2-02")


def guarding(people: Cast, ends: dt.date | None = None) -> models.User:
    user = factories.user()
    factories.guardian(people.sam, ends=ends, user=user)
    return user


def address(people: Cast, page: str, lesson: models.LessonRecord) -> str:
    return f"/students/{people.sam.ref}/{page.format(lesson.pk)}"


@pytest.mark.parametrize(
    ("ends", "status"),
    [
        pytest.param(None, 200, id="with consent"),
        pytest.param(factories.LONG_AGO, 404, id="after the consent ended"),
    ],
)
def test_a_guardian_reads_while_the_consent_holds_and_it_is_noted(
    client: Client, taught: Cast, signed: models.LessonRecord, ends: dt.date | None, status: int
) -> None:
    gus = guarding(taught, ends)
    client.force_login(gus)
    noted = models.AccessLog.objects.filter(user=gus, student=taught.sam)
    for number, page in enumerate([*PAGES, *PAPERS], start=1):
        assert client.get(address(taught, page, signed)).status_code == status, page
        assert noted.count() == (number if status == 200 else 0), page


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_a_guardian_is_told_so_and_nobody_else(
    client: Client, taught: Cast, signed: models.LessonRecord
) -> None:
    gus = guarding(taught)
    for user, told in ((gus, True), (taught.sams_account, False), (taught.ida, False)):
        client.force_login(user)
        for page in PAGES:
            said = text_of(client.get(address(taught, page, signed)))
            assert ("You have read-only access as a guardian" in said) is told, page
            assert "Acknowledge lesson" not in said or user == taught.sams_account, page


def test_a_guardian_of_one_student_comes_to_where_that_student_stands(
    client: Client, taught: Cast, signed: models.LessonRecord
) -> None:
    client.force_login(guarding(taught))
    assert client.get("/")["Location"] == address(taught, "standing/", signed)


@pytest.mark.any_database  # others here, test_translation and test_sign_offs make these queries on SQLite
def test_a_guardian_signs_nothing_and_sees_no_draft(
    client: Client, taught: Cast, signed: models.LessonRecord
) -> None:
    gus = guarding(taught)
    gus.set_password(PASSWORD)
    gus.save()
    client.force_login(gus)
    asked = client.post(address(taught, "lessons/{}/acknowledge/", signed), {"confirm_password": PASSWORD})
    assert asked.status_code == 403
    assert "Only the student of this lesson can acknowledge it" in text_of(asked)
    assert not models.Acknowledgement.objects.exists()
    draft = lessons.draft(taught, COURSE_LESSON, lesson="2-03")
    for page in ("lessons/{}/", "lessons/{}.pdf"):
        assert client.get(address(taught, page, draft)).status_code == 404
    assert str(draft.pk) not in client.get(address(taught, "lessons/", draft)).content.decode()


def test_the_schools_own_pages_are_not_there_for_a_guardian(
    client: Client, taught: Cast, signed: models.LessonRecord
) -> None:
    client.force_login(guarding(taught))
    for page in ("/school/lakeside/", "/school/lakeside/people/"):
        assert client.get(page).status_code == 404


@pytest.mark.any_database  # others here make these queries on SQLite
def test_each_paper_is_a_tagged_pdf_and_the_same_at_the_same_instant(
    client: Client, taught: Cast, signed: models.LessonRecord
) -> None:
    client.force_login(taught.sams_account)
    for paper in PAPERS[1:]:
        with time_machine.travel(THE_DAY, tick=False):
            first, again = (client.get(address(taught, paper, signed)) for _ in range(2))
        named = first["Content-Disposition"]
        assert first["Content-Type"] == "application/pdf"
        assert re.fullmatch(r'attachment; filename="[a-z0-9-]+-2026-03-04\.pdf"', named)
        assert first.content.startswith(b"%PDF-")
        assert b"/StructTreeRoot" in first.content
        assert first.content == again.content


def test_a_draft_is_no_paper_even_for_its_instructor(
    client: Client, taught: Cast, signed: models.LessonRecord
) -> None:
    client.force_login(taught.ida)
    draft = lessons.draft(taught, COURSE_LESSON, lesson="2-03")
    assert client.get(address(taught, "lessons/{}.pdf", draft)).status_code == 404
    assert not models.AccessLog.objects.filter(via="web", what__contains=str(draft.pk)).exists()


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_the_pages_lead_to_the_papers(client: Client, taught: Cast, signed: models.LessonRecord) -> None:
    client.force_login(taught.sams_account)
    leads = {"standing/": PAPERS[:3], "lessons/": PAPERS[3:], "lessons/{}/": PAPERS[3:]}
    for page, papers in leads.items():
        body = client.get(address(taught, page, signed)).content.decode()
        for paper in papers:
            assert f'href="{address(taught, paper, signed)}"' in body
