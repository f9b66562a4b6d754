"""The pages: who sees what on them, and that they say what the reports say."""

from __future__ import annotations

import datetime as dt
import html
import re
from typing import Any

import pytest
import time_machine
from django.test import Client

from syllabus.engine.rules.report import CAUTION
from syllabus.law import rulebook
from tests.support import factories
from tests.support.cast import Cast
from training import models, record, reports
from training.presenters.entry import Names
from training.presenters.reasons import PAGE

THE_DAY = dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)


def text_of(answer: Any) -> str:
    """What a person reads: without tags, spaces squeezed."""
    plain = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return re.sub(r"\s+([,.;:)])", r"\1", re.sub(r"\s+", " ", html.unescape(plain)))


def student_page(people: Cast) -> str:
    return f"/students/{people.sam.ref}/"


def test_before_signing_in_there_are_the_ways_in_and_nobodys_name(client: Client, people: Cast) -> None:
    page = client.get("/")
    for way in ("/login/", "/milestones/", "/api/v1/docs/"):
        assert f'href="{way}"' in page.content.decode()
    assert "Sam" not in text_of(page)
    assert CAUTION in text_of(page)


def test_signing_in_and_out(client: Client, people: Cast) -> None:
    people.ida.set_password("a fine day for it")
    people.ida.save()
    page = client.get(student_page(people), follow=True)
    assert page.redirect_chain == [(f"/login/?next={student_page(people)}", 302)]
    wrong = client.post("/login/", {"login": people.ida.email, "password": "x"})
    assert "Wrong e-mail or password" in text_of(wrong)
    right = {"login": " IDA@lakeside.example ", "password": "a fine day for it"}
    right["next"] = student_page(people)
    assert client.post("/login/", right)["Location"] == student_page(people)
    assert "Sam Example" in text_of(client.get("/", follow=True))
    assert client.get("/logout/").status_code == 405
    assert client.post("/logout/")["Location"] == "/"
    assert "Sam Example" not in text_of(client.get("/"))


@pytest.mark.parametrize("to", ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"])
def test_signing_in_leads_nowhere_else(client: Client, people: Cast, to: str) -> None:
    people.ida.set_password("a fine day for it")
    people.ida.save()
    sent = {"login": people.ida.email, "password": "a fine day for it", "next": to}
    assert client.post("/login/", sent)["Location"] == "/"


@pytest.mark.parametrize("given", ["\x00", "x" * 10_000, "", "🛩"])
def test_nonsense_does_not_sign_in(client: Client, people: Cast, given: str) -> None:
    assert client.post("/login/", {"login": given, "password": given}).status_code == 200


def test_the_first_page_says_for_each_student_what_the_reports_say(client: Client, taught: Cast) -> None:
    client.force_login(taught.ida)
    with time_machine.travel(THE_DAY):
        page = text_of(client.get("/students/"))
    overview = reports.overview(taught.sam, dt.date(2026, 7, 5))
    assert overview.next_lapse
    assert "As of today, 5 Jul 2026" in page
    for each in overview.milestones:
        assert each.report.milestone.title in page
    assert f"{len(overview.milestones[0].gaps)} missing" in page
    assert "0 of 1 document" in page  # the next gap: nobody has seen that Sam speaks English
    assert overview.next_lapse.finding.rule.says in page
    assert "Otto" not in page


@pytest.mark.any_database  # others here make these queries on SQLite
def test_the_first_page_pages_by_name(client: Client, people: Cast) -> None:
    for number in range(30):
        factories.student(people.school, name=f"Pupil {number:02d}")
    client.force_login(people.ada)
    pages = ("1", "2", "nonsense")
    first, second, beyond = (text_of(client.get(f"/students/?page={page}")) for page in pages)
    assert "Pupil 00" in first
    assert "Pupil 00" not in second
    assert "Sam Example" in second
    assert "Page 2 of 2" in second
    assert "Pupil 00" in beyond


def test_nobody_to_see_is_said_in_words(client: Client, people: Cast) -> None:
    client.force_login(factories.instructor(people.school))
    assert "You have access to no student's record" in text_of(client.get("/students/"))


def test_the_student_page_explains_every_requirement(client: Client, taught: Cast) -> None:
    client.force_login(taught.ida)
    with time_machine.travel(THE_DAY):
        page = text_of(client.get(student_page(taught)))
    names = Names(record.of(taught.sam))
    for each in reports.overview(taught.sam, dt.date(2026, 7, 5)).milestones:
        for finding in each.report.findings:
            assert finding.rule.says in page
            assert finding.rule.cite.section in page
            for entry, why in finding.not_counted:
                assert f"{names(entry)} {names.reader.words(why)}" in page
            for note in finding.notes:
                assert PAGE.words(note) in page
    assert CAUTION in page
    assert rulebook.current().id in page


def test_another_day_airplane_and_flight_can_be_asked_about(client: Client, taught: Cast) -> None:
    client.force_login(taught.ida)
    query = "?on=2026-06-30&aircraft_model=PA28&route=KGRB+KMTW&airport=&area=Chicago&application_date="
    page = text_of(client.get(student_page(taught) + query))
    assert "as of 30 Jun 2026, in a PA28" in page
    assert "Enter the airport above" in page
    assert "Enter the route above" not in page


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("query", "told"),
    [
        pytest.param("on=2026-02-30", "is not a calendar date", id="a day that is none"),
        pytest.param("on=1990-01-01", "no version in force on 1990-01-01", id="a day before the first rule"),
        pytest.param("route=KGRB+KZZZZ", "no airport has the identifier 'KZZZZ'", id="an unknown airport"),
        pytest.param("aircraft_model=%00", "contains a character that is not text", id="NUL"),
        pytest.param("category=zeppelin", "is not a category of aircraft", id="a key the form does not have"),
        pytest.param("nonsense=1", "unknown key", id="a key there is none of"),
        pytest.param("area=" + "x" * 5000, "at most 200 are allowed", id="a very long area"),
    ],
)
def test_a_question_that_cannot_be_read_is_answered_for_today_and_says_so(
    client: Client, taught: Cast, query: str, told: str
) -> None:
    client.force_login(taught.ida)
    page = client.get(f"{student_page(taught)}?{query}")
    assert page.status_code == 422
    assert told in text_of(page)
    assert "The answer below is for today" in text_of(page)


def test_what_is_typed_is_shown_as_text(client: Client, taught: Cast) -> None:
    client.force_login(taught.ida)
    page = client.get(student_page(taught), {"aircraft_model": '"><script>alert(1)</script>'})
    assert "<script>" not in page.content.decode()


@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("anonymous", 302),
        ("student", 200),
        ("instructor", 200),
        ("administrator", 200),
        ("other student", 404),
        ("other instructor", 404),
        ("superuser", 404),
    ],
)
def test_a_student_page_is_open_to_who_may_read_the_record(
    client: Client, people: Cast, who: str, status: int
) -> None:
    users = {
        "student": people.sams_account,
        "instructor": people.ida,
        "administrator": people.ada,
        "other student": people.ottos_account,
        "other instructor": people.olaf,
        "superuser": models.User.objects.create_superuser("root@example.org"),
    }
    if who in users:
        client.force_login(users[who])
    page = client.get(student_page(people))
    assert page.status_code == status
    assert ("Sam Example" in text_of(page)) is (status == 200)
    assert models.AccessLog.objects.filter(student=people.sam, via="web").count() == (status == 200)


def test_the_first_page_logs_each_record_it_reads(client: Client, people: Cast) -> None:
    factories.student(people.school)
    client.force_login(people.ada)
    client.get("/students/")
    assert models.AccessLog.objects.filter(user=people.ada, action="read", via="web").count() == 2


def test_the_milestones_page_has_every_requirement_with_its_citation(client: Client) -> None:
    page = text_of(client.get("/milestones/"))
    today = dt.datetime.now(dt.UTC).date()
    for milestone in rulebook.current().milestones.values():
        assert milestone.title in page
        for requirement in milestone.requirements:
            rule = requirement.on(today)
            assert rule.says in page
            assert rule.cite.section in page


@pytest.mark.parametrize("path", ["/", "/login/", "/milestones/", "/nothing", "student"])
def test_a_page_has_nothing_inline_and_is_kept_by_nobody(client: Client, people: Cast, path: str) -> None:
    if path == "student":
        client.force_login(people.ida)
        path = student_page(people)
    page = client.get(path)
    body = page.content.decode()
    assert not re.search(r"<script(?![^>]* src=)|<style|\sstyle=|\son[a-z]+=|javascript:", body)
    policy = page["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    loaded = re.findall(r'(?:src|href)="([^"#?]+)"', body)
    assert [address for address in loaded if not address.startswith("/")] == []
    if path not in ("/milestones/", "/nothing"):
        assert "no-store" in page["Cache-Control"]


def test_what_is_not_there_says_so(client: Client, db: None) -> None:
    page = client.get("/nothing")
    assert page.status_code == 404
    assert "Page not found" in text_of(page)
