"""The student's own pages: who sees them, that they say what the reports say, and what they cost."""

from __future__ import annotations

import datetime as dt
import json
import re
import uuid
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from syllabus.engine.record import document
from syllabus.engine.record.record import GRADES
from syllabus.law import rulebook
from tests.support import courses, factories, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.uncovered import WHY, refuse
from tests.training.web.conftest import SAMS
from tests.training.web.test_pages import text_of
from training import models, record, reports
from training.presenters import amounts
from training.reports import progress
from training.services.lessons import sign_offs
from training.services.operations import demo
from training.web.shared import plain_words

#: The day after the lesson.
THE_DAY = lessons.AT + dt.timedelta(days=1)
PASSWORD = "a fine day for it"
MOST_QUERIES = 12
OF_THE_SCHOOL = 7
PAGES = ("standing/", "hours/", "logbook/", "lessons/", "lesson", "record.json")


@kept
def learning(taught: Cast) -> Cast:
    """Sam is in the shipped course, and Ida signed a lesson of it."""
    courses.enrolled(taught)
    return taught


@kept
def signed(learning: Cast) -> models.LessonRecord:
    return lessons.signed(learning, COURSE_LESSON, lesson="2-02")


COURSE_LESSON = lessons.content(
    items=[
        {
            "item": "steep-turns",
            "grade": "explain",
            "measured": {"altitude": "lost 180 ft", "bank": "38 deg"},
        },
        {"item": "short-field-landing", "grade": "practice"},
    ]
)


def address(people: Cast, page: str, lesson: models.LessonRecord | None = None) -> str:
    page = f"lessons/{lesson.pk}/" if page == "lesson" and lesson else page
    return f"/students/{people.sam.ref}/{page}"


@pytest.fixture
def sam(client: Client, people: Cast) -> Client:
    client.force_login(people.sams_account)
    return client


# Who sees them


@pytest.mark.any_database  # others here, test_translation and test_pages make these queries on SQLite
@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("anonymous", 302),
        ("student", 200),
        ("instructor", 200),
        ("administrator", 200),
        ("other student", 404),
        ("other instructor", 404),
    ],
)
def test_each_page_is_open_to_who_may_read_the_record_and_noted(
    client: Client, learning: Cast, signed: models.LessonRecord, who: str, status: int
) -> None:
    users = {
        "student": learning.sams_account,
        "instructor": learning.ida,
        "administrator": learning.ada,
        "other student": learning.ottos_account,
        "other instructor": learning.olaf,
    }
    if who in users:
        client.force_login(users[who])
    noted = models.AccessLog.objects.filter(student=learning.sam, via="web")
    for path in PAGES:
        before = noted.count()
        answer = client.get(address(learning, path, signed))
        assert answer.status_code == status, path
        assert noted.count() - before == (status == 200), path
        if status == 200:
            assert "no-store" in answer["Cache-Control"], path


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_nothing_is_inline_and_nothing_comes_from_elsewhere(
    sam: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    for path in PAGES[:-1]:
        body = sam.get(address(learning, path, signed)).content.decode()
        assert not re.search(r"<script(?![^>]* src=)|<style|\sstyle=|\son[a-z]+=|javascript:", body), path
        loaded = re.findall(r'(?:src|href|action)="([^"#?]+)"', body)
        assert [each for each in loaded if not each.startswith("/")] == [], path


def test_a_student_comes_to_where_they_stand(sam: Client, learning: Cast) -> None:
    assert sam.get("/")["Location"] == address(learning, "standing/")


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_an_instructors_draft_is_not_shown_to_the_student(sam: Client, learning: Cast) -> None:
    draft = lessons.draft(learning, COURSE_LESSON, lesson="2-02")
    assert sam.get(address(learning, "lesson", draft)).status_code == 404
    assert "Steep turns" not in text_of(sam.get(address(learning, "lessons/")))
    assert "not signed by the instructor" not in text_of(sam.get(address(learning, "standing/")))
    sam.force_login(learning.ida)
    assert "Draft. It may change" in text_of(sam.get(address(learning, "lesson", draft)))
    with time_machine.travel(THE_DAY):
        assert "1 lesson is not signed" in text_of(sam.get(address(learning, "standing/")))


def test_a_lesson_of_another_student_is_not_found(sam: Client, learning: Cast) -> None:
    for entry in (uuid.uuid4(), lessons.draft(learning, student=_another(learning), lesson="").pk):
        assert sam.get(f"/students/{learning.sam.ref}/lessons/{entry}/").status_code == 404


def _another(people: Cast) -> models.Student:
    return factories.student(people.school, taught_by=people.ida, name="Una Example")


# What they say


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_where_one_stands_says_what_the_reports_say(
    sam: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    with time_machine.travel(THE_DAY):
        page = text_of(sam.get(address(learning, "standing/")))
        learning.sam.refresh_from_db()
        stands = progress.standing(learning.sam, learning.school.day(THE_DAY))
    assert stands is not None
    assert stands.next.proposal is not None
    assert stands.next.proposal.lesson.title in page
    assert stands.next.proposal.lesson.objective in page
    for stage in stands.progress.stages:
        assert stage.stage.title in page
    for item in stands.progress.carried_over:
        assert item.item.title in page
    short = reports.overview(learning.sam, stands.on).milestones[0]
    assert f"{len(short.gaps)} requirements to go" in page
    for gap in short.gaps:
        assert plain_words.requirement(gap.finding.rule) in page
        assert gap.finding.rule.cite.section in page
        assert gap.finding.rule.says in page
    assert "1 lesson to acknowledge" in page


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_without_a_course_the_milestones_and_what_to_do_are_said(sam: Client, taught: Cast) -> None:
    page = text_of(sam.get(address(taught, "standing/")))
    assert "Not enrolled in a course" in page
    assert "Private pilot practical test" in page


def test_a_lesson_shows_comments_grades_and_what_was_measured(
    sam: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    page = text_of(sam.get(address(learning, "lesson", signed)))
    assert "Well prepared." in page
    assert "Steep turns again." in page
    assert "Steep turns: can explain it (explain)" in page
    assert "Required: does it with help. Carried over to the next lesson." in page
    for hint in signed.sign_off.hints:
        assert hint["words"] in page
    assert "Outside" in page
    assert "Ida Example (0000001CFI)" in page
    assert "Off 13:00 CST" in page
    assert "On 14:24 CST" in page
    assert "3 takeoffs, 3 landings at KMTW by day, full stop" in page


@pytest.mark.any_database  # others here, test_translation and test_planted_ids make these queries on SQLite
def test_of_a_correction_both_versions_are_there(
    sam: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    said = {**COURSE_LESSON, "comments": "Well prepared, and on time."}
    draft = sign_offs.correct(
        signed,
        id=uuid.uuid4(),
        reason="A word was missing",
        content=said,
        by=learning.ida,
        at=lessons.AT,
        via="api",
    )
    lessons.sign(draft, learning.ida)
    new = text_of(sam.get(address(learning, "lesson", draft)))
    assert "A word was missing" in new
    assert "Comments Well prepared. Well prepared, and on time." in new
    assert str(signed.pk) in sam.get(address(learning, "lesson", draft)).content.decode()
    old = text_of(sam.get(address(learning, "lesson", signed)))
    assert "This lesson was corrected" in old
    assert "Acknowledge lesson" in new
    assert "Acknowledge lesson" not in old
    # One waits for the signature, not both.
    assert "1 lesson to acknowledge" in text_of(sam.get(address(learning, "standing/")))


def test_the_hours_are_those_of_the_report_with_a_table_beside_each_picture(
    sam: Client, taught: Cast
) -> None:
    with time_machine.travel(dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)):
        answer = sam.get(address(taught, "hours/"))
    page, body = text_of(answer), answer.content.decode()
    test = progress.test_of(taught.sam, dt.date(2026, 7, 5))
    report = reports.eligibility(taught.sam, test.id, dt.date(2026, 7, 5))
    summed = [
        each for each in report.findings if each.rule.kind == "total_at_least" and not each.rule.get("window")
    ]
    assert body.count('<svg class="chart"') == len(summed)
    for finding in summed:
        assert f"{amounts.have(finding.have)} of {amounts.need(finding.need)}" in page
        assert finding.rule.cite.section in page
    assert body.count('<table class="numbers"') == sum(bool(each.counted) for each in summed)


@pytest.fixture
def by_the_minute(people: Cast) -> Cast:
    """Sam flew lessons of 85 minutes, 2737 minutes in all."""
    lasted = [*[85] * 32, 17]
    flights = [
        {
            "id": f"m{number}",
            "date": f"2026-{4 + number // 28:02d}-{1 + number % 28:02d}",
            "aircraft": {"model": "C172", "registration": "N12345"},
            "times": {"total": f"{minutes} min", "dual": f"{minutes} min"},
            "instructor": {"name": "Ida Example", "kind": "flight"},
        }
        for number, minutes in enumerate(lasted)
    ]
    flown = {**SAMS, "flights": flights, "ground": [], "items": []}
    factories.attested(people.sam, document.parse(flown), at=factories.NOON)
    return people


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_lessons_of_85_minutes_add_up_to_decimal_hours(sam: Client, by_the_minute: Cast) -> None:
    with time_machine.travel(dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)):
        body = sam.get(address(by_the_minute, "hours/")).content.decode()
        standing = sam.get(address(by_the_minute, "standing/"))
        whole = sam.get(f"/students/{by_the_minute.sam.ref}/")
    assert "<strong>45.6 h</strong> of 40.0 h" in body
    assert '<p class="amount" title="2737 min of 40.0 h">' in body
    assert '<tr><th scope="row">Apr 2026</th><td>39.6 h</td><td>39.6 h</td></tr>' in body
    assert "<td>5.95 h</td><td>45.6 h</td>" in body
    assert "45.6 h" in text_of(whole)
    assert 'title="2737 min">' in whole.content.decode()
    for page in (re.sub(r'title="[^"]*"', "", body), text_of(standing), text_of(whole)):
        assert not re.search(r"\d (?:min|s)\b", page)


def test_the_record_can_be_taken_away_as_the_document_it_is(
    sam: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    answer = sam.get(address(learning, "record.json"))
    assert re.fullmatch(
        r'attachment; filename="training-record-[0-9-]+\.json"', answer["Content-Disposition"]
    )
    learning.sam.refresh_from_db()
    assert json.loads(answer.content) == document.dump(record.of(learning.sam), provenance=True)


@pytest.mark.any_database  # others here, test_guardians and test_handover make these queries on SQLite
@pytest.mark.parametrize("paper", ["record.pdf", "endorsements.pdf", "lesson"])
def test_it_can_be_printed_by_whoever_may_read_it_and_by_nobody_else(
    sam: Client, learning: Cast, signed: models.LessonRecord, paper: str
) -> None:
    address_of = {
        "lesson": address(learning, "lesson", signed).rstrip("/") + ".pdf",
    }.get(paper) or address(learning, paper)
    before = models.AccessLog.objects.count()
    answer = sam.get(address_of)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert answer.content.startswith(b"%PDF-")
    assert "attachment; filename=" in answer["Content-Disposition"]
    assert models.AccessLog.objects.count() == before + 1
    stranger = Client()
    stranger.force_login(learning.ottos_account)
    assert stranger.get(address_of).status_code == 404
    assert Client().get(address_of).status_code == 302


def test_a_lesson_that_is_not_signed_is_no_paper(sam: Client, learning: Cast) -> None:
    assert sam.get(f"/students/{learning.sam.ref}/lessons/{uuid.uuid4()}.pdf").status_code == 404


# Acknowledging


def acknowledged(client: Client, people: Cast, lesson: models.LessonRecord, password: str) -> Any:
    return client.post(address(people, "lesson", lesson) + "acknowledge/", {"confirm_password": password})


def test_the_student_signs_with_the_password_once_more(
    sam: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    learning.sams_account.set_password(PASSWORD)
    learning.sams_account.save()
    sam.force_login(learning.sams_account)
    wrong = acknowledged(sam, learning, signed, "x")
    assert wrong.status_code == 403
    assert "Wrong password; nothing was signed" in text_of(wrong)
    assert not models.Acknowledgement.objects.exists()
    right = acknowledged(sam, learning, signed, PASSWORD)
    assert right["Location"] == address(learning, "lesson", signed)
    made = models.Acknowledgement.objects.get()
    assert (made.by, made.confirmed) == (learning.sams_account, {"by": "password"})
    page = text_of(sam.get(right["Location"]))
    assert "You acknowledged this lesson" in page
    assert "Signed by both" in page
    assert "Acknowledge lesson" not in page


@pytest.mark.any_database  # others here and test_people make these queries on SQLite
def test_nobody_else_signs_for_the_student(
    client: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    for user, status in ((learning.ida, 403), (learning.ada, 403), (learning.olaf, 404)):
        user.set_password(PASSWORD)
        user.save()
        client.force_login(user)
        assert acknowledged(client, learning, signed, PASSWORD).status_code == status
        page = text_of(client.get(address(learning, "lesson", signed)))
        assert "Acknowledge lesson" not in page
        assert ("Not acknowledged by the student" in page) is (status == 403)
    assert not models.Acknowledgement.objects.exists()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_passwords_are_not_tried_without_end(
    sam: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    told = [text_of(acknowledged(sam, learning, signed, "x")) for _ in range(11)]
    assert "Too many attempts" not in told[0]
    assert "Too many attempts" in told[-1]


def test_signing_is_no_matter_of_following_a_link(
    sam: Client, learning: Cast, signed: models.LessonRecord
) -> None:
    assert sam.get(address(learning, "lesson", signed) + "acknowledge/").status_code == 405


# What they cost


def grown(people: Cast, number: int) -> None:
    """That many lessons more, each signed."""
    for count in range(number):
        day = (dt.date(2026, 3, 2) - dt.timedelta(days=count + number)).isoformat()
        said = lessons.flown(date=day, off=f"{day}T13:00:00-06:00", on=f"{day}T14:24:00-06:00")
        said["ground"]["date"] = day
        said["items"] = [
            {"item": each.code, "grade": GRADES[count % 4]} for each in courses.private_airplane().items[:30]
        ]
        lessons.signed(people, said, lesson="1-06")


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
@pytest.mark.parametrize("path", PAGES[:-1])
def test_a_page_takes_few_queries_whatever_the_size_of_the_record(
    sam: Client, learning: Cast, signed: models.LessonRecord, path: str
) -> None:
    taken = []
    with time_machine.travel(THE_DAY):
        # The school's rules, its settings and its course are read too, once for each change of them.
        assert _queries(sam, address(learning, path, signed)) <= MOST_QUERIES + OF_THE_SCHOOL
        for more in (1, 12):
            grown(learning, more)
            cold = _queries(sam, address(learning, path, signed))
            taken.append((cold, _queries(sam, address(learning, path, signed))))
    (small, again), (large, once_more) = taken
    assert max(again, once_more) <= MOST_QUERIES - 5
    # After a change of the record that is read once more, and the page made and kept.
    assert large <= small <= MOST_QUERIES


def _queries(client: Client, path: str) -> int:
    with CaptureQueriesContext(connection) as taken:
        assert client.get(path).status_code == 200
    return len(
        [each for each in taken if not each["sql"].startswith(("SAVEPOINT", "RELEASE", "BEGIN", "COMMIT"))]
    )


# Words


def test_every_requirement_has_plain_words_without_numbers() -> None:
    for milestone in rulebook.current().milestones.values():
        for requirement in milestone.requirements:
            words = plain_words.requirement(requirement.versions[-1])
            assert words == requirement.plain != ""
            assert not re.search(r"\d", words)
    assert set(plain_words.GRADES) >= set(GRADES)


# The demo's students


EVENING = dt.datetime(2026, 11, 24, 18, tzinfo=dt.UTC)


@kept
def loaded(db: None) -> None:
    demo.load(EVENING.date(), at=EVENING, password="one")


@pytest.mark.django_db
@pytest.mark.usefixtures("loaded")
class TestTheDemo:
    @pytest.mark.any_database  # others here and test_translation make these queries on SQLite
    @pytest.mark.parametrize(
        ("key", "by", "told"),
        [
            pytest.param(
                "tove",
                "tove",
                ["First flight", "Be old enough for solo flight", "15 of 16 years"],
                id="one begins",
            ),
            pytest.param(
                "mina",
                "ida",
                [
                    "What this flight would cover",
                    "14 of 16 years",
                    "Airspeeds from cruise",
                    "Progress of Mina Example",
                ],
                id="one is too young",
            ),
            pytest.param(
                "omar",
                "omar",
                ["Have a medical certificate", "0 of 1 medical", "Not available yet"],
                id="one has no medical",
            ),
            pytest.param(
                "lena",
                "lena",
                ["Night in the pattern", "Solo cross-country", "Pilotage and dead reckoning", "5 days to go"],
                id="one navigates",
            ),
            pytest.param(
                "theo",
                "theo",
                ["Not enrolled in a course", "One long flight alone", "longest leg 49.9 NM", "Flight of"],
                id="one lacks a leg",
            ),
            pytest.param(
                "nils", "nils", ["The record shows nothing missing for any milestone"], id="one is ready"
            ),
        ],
    )
    def test_where_the_demos_students_stand(self, client: Client, key: str, by: str, told: list[str]) -> None:
        client.force_login(models.User.objects.get(email=f"{by}@flying.example"))
        with time_machine.travel(EVENING):
            page = text_of(client.get(f"/students/{demo.ref(key)}/standing/"))
            assert client.get(f"/students/{demo.ref(key)}/hours/").status_code == 200
            assert client.get(f"/students/{demo.ref(key)}/lessons/").status_code == 200
        for words in told:
            assert words in page


# Where the rules end


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_pages_name_a_milestone_that_is_not_covered(client: Client, learning: Cast, monkeypatch: Any) -> None:
    refuse(monkeypatch, "faa.first-solo", "faa.private-practical-test")
    client.force_login(learning.sams_account)
    at = f"/students/{learning.sam.ref}/"
    for page, told in (
        ("", f"Not covered: {WHY}"),
        ("standing/", f"Not covered by these rules Solo flight {WHY} Private pilot practical test {WHY}"),
        ("hours/", f"Private pilot practical test: not covered by these rules: {WHY}"),
    ):
        assert told in text_of(client.get(f"{at}{page}"))
    assert "The record shows nothing missing for any milestone" not in text_of(client.get(f"{at}standing/"))
    client.force_login(learning.ada)
    at = f"/school/lakeside/students/{learning.sam.ref}/record/?leaf=milestones"
    assert f"Not covered: {WHY}" in text_of(client.get(at))
    assert f"Not covered {WHY}" in text_of(client.get("/students/"))


@pytest.mark.any_database  # others here, test_translation and test_not_covered make these queries on SQLite
@pytest.mark.parametrize("page", ["", "standing/", "hours/"])
def test_a_refusal_names_the_milestone_by_its_title(client: Client, learning: Cast, page: str) -> None:
    models.Student.objects.filter(pk=learning.sam.pk).update(training_model="R22")
    client.force_login(learning.sams_account)
    said = text_of(client.get(f"/students/{learning.sam.ref}/{page}"))
    assert "faa.first-solo" not in said
    if page == "hours/":
        assert "faa.private-practical-test" not in said
        assert "Private pilot practical test covers airplane" in said
    else:
        assert "Solo flight does not cover R22: a Robinson R-22 is flown under SFAR No. 73" in said


def test_an_instructor_who_endorses_is_told_what_no_rule_covers(
    client: Client, learning: Cast, monkeypatch: Any
) -> None:
    refuse(monkeypatch)
    client.force_login(learning.ida)
    at = f"/teach/{learning.sam.ref}/endorse/solo-90-day/?aircraft_model=R22"
    assert f"Not covered by these rules: {WHY}" in text_of(client.get(at))
    assert client.get(f"/teach/{learning.sam.ref}/endorse/").status_code == 200


def test_what_a_problem_of_that_type_is_stands_at_its_address(client: Client) -> None:
    said = text_of(client.get("/problems/not-covered"))
    assert "so it cannot answer yes or no" in said
    for each in rulebook.current().milestones.values():
        assert each.title in said
