"""What a school or a course asks for beyond the law: in every report, as theirs and never as law."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import transaction

from syllabus.engine.errors import UnknownMilestone
from syllabus.engine.record import record as engine
from syllabus.engine.time.units import HOUR
from syllabus.law import rulebook
from syllabus.models import SchoolMinimum
from tests.support import courses, factories
from tests.support.cast import Cast
from training import models, reports
from training.services.endorsements import endorsements

ON = dt.date(2026, 4, 11)
FIRST = dt.date(2026, 3, 1)
SOLO = "faa.first-solo"
OURS = f"{SOLO}.school.dual"
COURSE = "course.private-airplane"


def minimum(people: Cast, **changed: Any) -> SchoolMinimum:
    return SchoolMinimum.objects.create(
        **{
            "school_ref": people.school.slug,
            "milestone": SOLO,
            "code": "dual",
            "kind": "total_at_least",
            "params": {"counts": ["dual"], "need": "15 h"},
            "says": "15 hours of dual before the first solo",
            "starts": FIRST,
            **changed,
        }
    )


def asked(people: Cast, on: dt.date = ON) -> dict[str, Any] | None:
    """The school's own requirement as the report of a fresh look-up has it."""
    fresh = models.Student.objects.select_related("school").get(pk=people.sam.pk)
    told = reports.eligibility(fresh, SOLO, on).as_json()["requirements"]
    return next((each for each in told if each["id"] == OURS), None)


def test_it_stands_among_the_requirements_and_says_whose_it_is(people: Cast):
    minimum(people)
    told = asked(people)
    assert told is not None
    assert (told["met"], told["have"], told["need"]) == (False, "0.0 h", "15.0 h")
    assert told["citation"] == "the school's own minimum, not a regulation"
    assert told["says"] == "15 hours of dual before the first solo"


@pytest.mark.parametrize(
    ("hours", "expected"),
    [pytest.param(149, False, id="six minutes short"), pytest.param(150, True, id="met")],
)
def test_what_is_on_record_counts_toward_it(people: Cast, hours, expected):
    minimum(people)
    time = {"total": hours * HOUR // 10, "dual": hours * HOUR // 10}
    flight = engine.Flight("f1", dt.date(2026, 4, 1), times=time, instructor=engine.Instructor("Ida Example"))
    factories.recorded(people.sam, flights=(flight,))
    told = asked(people)
    assert told
    assert told["met"] is expected


@pytest.mark.parametrize(
    ("on", "there"),
    [
        pytest.param(FIRST - dt.timedelta(days=1), False, id="the day before it begins"),
        pytest.param(FIRST, True, id="its first day"),
        pytest.param(ON, True, id="its last day"),
        pytest.param(ON + dt.timedelta(days=1), False, id="the day after"),
    ],
)
def test_it_is_asked_for_on_its_days_alone(people: Cast, on, there):
    minimum(people, ends=ON)
    assert (asked(people, on) is not None) is there


def test_the_rulebook_is_another_and_that_of_another_school_is_the_laws(people: Cast):
    law = rulebook.current().id
    assert reports.overview(people.sam, ON).rulebook == law
    minimum(people)
    people.school.refresh_from_db()
    people.sam.refresh_from_db()
    ours = reports.overview(people.sam, ON)
    assert ours.rulebook not in (law, reports.overview(people.otto, ON).rulebook)
    assert reports.overview(people.otto, ON).rulebook == law
    assert reports.eligibility(people.sam, SOLO, ON).as_json()["rulebook"] == ours.rulebook
    assert OURS in {each.finding.rule.id for each in ours.milestones[0].gaps}
    told = reports.eligibility_json(people.sam, SOLO, ON)
    assert b"the school's own minimum, not a regulation" in told


def test_a_change_is_asked_for_at_once(people: Cast):
    assert asked(people) is None
    row = minimum(people)
    assert asked(people)
    SchoolMinimum.objects.filter(pk=row.pk).update(params={"counts": ["dual"], "need": "20 h"})
    assert (asked(people) or {})["need"] == "20.0 h"
    row.delete()
    assert asked(people) is None


@pytest.mark.parametrize("fresh", [True, False], ids=["read anew", "read before the change"])
def test_what_was_taken_back_is_not_asked_for_again(people: Cast, fresh):
    minimum(people, code="solo", params={"counts": ["solo"], "need": "1 h"})
    held = models.Student.objects.select_related("school").get(pk=people.sam.pk)
    with transaction.atomic():
        minimum(people)
        if fresh:
            assert asked(people)
        else:
            told = reports.eligibility(held, SOLO, ON).as_json()["requirements"]
            assert OURS in {each["id"] for each in told}
        transaction.set_rollback(True)
    assert asked(people) is None
    told = reports.eligibility(held, SOLO, ON).as_json()["requirements"]
    assert OURS not in {each["id"] for each in told}


def test_it_takes_two_queries_more_the_first_time_and_none_the_next(people: Cast, django_assert_num_queries):
    minimum(people)
    sam = models.Student.objects.select_related("school").get(pk=people.sam.pk)
    with django_assert_num_queries(1 + 2 + 2):  # the record, the minimums, the school's settings
        reports.eligibility(sam, SOLO, ON)
    with django_assert_num_queries(0):
        reports.eligibility(sam, SOLO, ON)
    with django_assert_num_queries(1):  # in which course, if any
        reports.overview(sam, ON)
    with django_assert_num_queries(0):
        reports.overview(sam, ON)


def test_an_endorsement_that_rests_on_the_milestone_shows_it_and_is_not_refused_for_it(people: Cast):
    minimum(people)
    people.school.refresh_from_db()
    sam = models.Student.objects.select_related("school").get(pk=people.sam.pk)
    fields = {"aircraft_model": "C172", "training_date": "2026-04-10"}
    at = dt.datetime(2026, 4, 11, 18, tzinfo=dt.UTC)
    told = endorsements.check(sam, "solo-90-day", fields, by=people.ida, at=at, via="api")
    ours = [each for each in told.warnings if "15 hours of dual before the first solo" in each]
    assert [each.partition("(")[2] for each in ours] == ["the school's own minimum, not a regulation)."]
    assert told.refusals == ()


class TestTheCourse:
    def test_an_enrolled_student_has_its_milestone_at_the_end_of_the_overview(self, people: Cast):
        courses.enrolled(people)
        sam = models.Student.objects.select_related("school").get(pk=people.sam.pk)
        found = reports.overview(sam, ON)
        assert [each.report.milestone.id for each in found.milestones] == [
            *rulebook.current().milestones,
            COURSE,
        ]
        told = reports.eligibility(sam, COURSE, ON).as_json()
        assert {each["citation"] for each in told["requirements"]} == {
            "the course's own minimum, not a regulation"
        }
        assert told["rulebook"] == found.rulebook != rulebook.current().id

    @pytest.mark.any_database  # others here make these queries on SQLite
    @pytest.mark.parametrize(
        ("on", "there"),
        [
            pytest.param(dt.date(2025, 12, 31), False, id="the day before the enrolment"),
            pytest.param(dt.date(2026, 1, 1), True, id="its first day"),
            pytest.param(ON, True, id="its last day"),
            pytest.param(ON + dt.timedelta(days=1), False, id="the day after"),
        ],
    )
    def test_it_is_asked_for_while_the_enrolment_lasts(self, people: Cast, on, there):
        courses.enrolled(people, ends=ON)
        sam = models.Student.objects.select_related("school").get(pk=people.sam.pk)
        found = {each.report.milestone.id for each in reports.overview(sam, on).milestones}
        assert (COURSE in found) is there
        if not there:
            with pytest.raises(UnknownMilestone):
                reports.eligibility(sam, COURSE, on)

    def test_an_enrolment_begun_or_ended_shows_at_once(self, people: Cast):
        def there() -> bool:
            sam = models.Student.objects.select_related("school").get(pk=people.sam.pk)
            return COURSE in {each.report.milestone.id for each in reports.overview(sam, ON).milestones}

        assert not there()
        enrolment = courses.enrolled(people)
        assert there()
        models.Enrolment.objects.filter(pk=enrolment.pk).update(ends=dt.date(2026, 2, 1))
        assert not there()

    def test_asked_again_nothing_is_read(self, people: Cast, django_assert_num_queries):
        courses.enrolled(people)
        minimum(people)
        sam = models.Student.objects.select_related("school").get(pk=people.sam.pk)
        first = reports.overview(sam, ON).as_json()
        with django_assert_num_queries(0):
            assert reports.overview(sam, ON).as_json() == first

    def test_the_api_answers_for_it_and_not_for_a_course_of_others(self, people: Cast, client):
        courses.enrolled(people)
        client.force_login(people.ida)
        url = f"/api/v1/students/{people.sam.ref}/eligibility"
        assert client.get(f"{url}/{COURSE}?on=2026-04-11").json()["milestone"] == COURSE
        assert client.get(f"{url}?on=2026-04-11").json()["milestones"][-1]["milestone"] == COURSE
        for other in ("course.helicopter", "course."):
            assert client.get(f"{url}/{other}?on=2026-04-11").status_code == 404

    def test_pages_show_it(self, people: Cast, client):
        minimum(people)
        courses.enrolled(people)
        client.force_login(people.ada)
        other = factories.student(people.school, name="Zoe Example")
        board = client.get("/students/").content.decode()
        assert board.count("<td") == 2 * (board.count('<th scope="col"') - 1)
        assert "no requirement beyond the regulations" in board
        page = client.get(f"/students/{people.sam.ref}/?on=2026-04-11").content.decode()
        assert "25 hours of dual instruction in this course" in page
        assert "the course&#x27;s own minimum, not a regulation" in page
        assert "the school&#x27;s own minimum, not a regulation" in page
        assert "own minimum" not in client.get(f"/students/{other.ref}/?on=2025-04-11").content.decode()
