"""What a stored record means, asked through the reports."""

import datetime as dt

import pytest
from django.db import transaction

from syllabus.engine.errors import UnknownMilestone
from syllabus.engine.record import record as engine
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import Context
from syllabus.engine.time import amounts, units
from syllabus.law import rulebook
from tests.support import factories
from tests.support.cast import Cast
from training import models, record, reports

ON = dt.date(2026, 4, 11)
IDA = engine.Instructor("Ida Example")
TESTED = engine.Test("t1", "pre-solo-knowledge", dt.date(2026, 4, 1), "pass", aircraft_model="C172")
ENDORSED = engine.Endorsement("e1", "solo-90-day", dt.date(2026, 4, 10), IDA, aircraft_model="C172")
#: The training that the endorsement rests on.
TAUGHT = engine.Flight(
    "f1",
    dt.date(2026, 4, 10),
    engine.Aircraft(model="C172", category="airplane", klass="single-engine land"),
    times={"total": units.HOUR, "dual": units.HOUR},
    instructor=IDA,
)


def met(report, name: str) -> bool | None:
    return next(each["met"] for each in report.as_json()["requirements"] if each["id"].endswith(name))


def test_the_model_normally_trained_in_answers_where_none_is_asked_about(people: Cast):
    factories.recorded(people.sam, tests=(TESTED,))

    report = reports.eligibility(people.sam, "faa.first-solo", ON)
    assert report.as_json()["context"] == {"aircraft_model": "C172"}
    assert met(report, "knowledge-test") is True


def test_the_model_asked_about_comes_first(people: Cast):
    factories.recorded(people.sam, tests=(TESTED,))

    report = reports.eligibility(people.sam, "faa.first-solo", ON, context=Context(aircraft_model="PA28"))
    assert report.as_json()["context"] == {"aircraft_model": "PA28"}
    assert met(report, "knowledge-test") is False


def test_the_rest_of_the_context_stays(people: Cast):
    asked = Context(area="Chicago")
    report = reports.eligibility(people.sam, "faa.solo-class-b", ON, context=asked)

    assert report.as_json()["context"] == {"aircraft_model": "C172", "area": "Chicago"}


def test_a_milestone_that_no_model_decides_is_not_told_one(people: Cast):
    assert reports.eligibility(people.sam, "faa.private-practical-test", ON).as_json()["context"] == {}


def test_the_answer_is_the_engines(people: Cast):
    factories.recorded(people.sam, flights=(TAUGHT,), tests=(TESTED,), endorsements=(ENDORSED,))

    ours = reports.eligibility(people.sam, "faa.first-solo", ON)
    engines = evaluate(
        rulebook.current(),
        record.of(people.sam),
        "faa.first-solo",
        ON,
        context=Context(aircraft_model="C172"),
    )
    assert ours.as_json() == engines.as_json()


def test_a_milestone_that_is_not_there_is_refused(people: Cast):
    with pytest.raises(UnknownMilestone):
        reports.eligibility(people.sam, "faa.first-flight", ON)


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [pytest.param(-1, False, id="before it was put on record"), pytest.param(0, True, id="from then on")],
)
def test_what_was_known_at_an_instant_answers(people: Cast, seconds, expected):
    at = dt.datetime(2026, 4, 12, 12, tzinfo=dt.UTC)
    factories.recorded(people.sam, tests=(TESTED,), at=at)
    known_at = at + dt.timedelta(seconds=seconds)

    report = reports.eligibility(people.sam, "faa.first-solo", dt.date(2026, 4, 12), known_at=known_at)
    assert met(report, "knowledge-test") is expected


def test_the_overview_has_every_milestone_and_says_what_lapses_and_what_is_missing(people: Cast):
    factories.recorded(people.sam, flights=(TAUGHT,), tests=(TESTED,), endorsements=(ENDORSED,))

    found = reports.overview(people.sam, ON)
    shown = found.as_json()

    assert [each["milestone"] for each in shown["milestones"]] == list(rulebook.current().milestones)
    first_solo = shown["milestones"][0]
    assert (first_solo["milestone"], first_solo["eligible"], first_solo["met"]) == (
        "faa.first-solo",
        False,
        False,
    )
    assert first_solo["next_lapse"] == {
        "requirement": "faa.first-solo.solo-endorsement",
        "citation": "14 CFR 61.87(n)",
        "says": first_solo["next_lapse"]["says"],
        "last_day": "2026-07-09",
    }
    assert shown["next_lapse"] == first_solo["next_lapse"]
    gap = first_solo["next_gap"]
    assert gap["requirement"] == "faa.first-solo.english"
    assert gap["words"].endswith("0 document of 1 document, 1 document to go (14 CFR 61.83(c))")


def test_a_gap_that_is_not_known_says_what_is_missing(people: Cast):
    people.sam.training_model = ""
    factories.recorded(people.sam, tests=(TESTED,))

    first_solo = reports.overview(people.sam, ON).as_json()["milestones"][0]
    unknown = [gap for gap in reports.overview(people.sam, ON).milestones[0].gaps if gap.met is None]

    assert first_solo["met"] is False
    assert [gap.finding.rule.id for gap in unknown] == ["faa.first-solo.knowledge-test"]
    assert unknown[0].reason.code == "gap.unknown"
    assert "unknown (context: the make and model asked about)" in str(unknown[0].reason)


#: The aircraft models that the school links, the instructors whose authority it knows to have ended, its
#: minimums, and that they are of the state asked about.
OF_THE_SCHOOL = 4
ASKS = [
    # and one for the course in which the student is enrolled
    pytest.param(reports.overview, OF_THE_SCHOOL + 1 + 1, id="every milestone"),
    pytest.param(
        lambda student, on: reports.eligibility(student, "faa.first-solo", on),
        OF_THE_SCHOOL + 1,
        id="one milestone",
    ),
]


@pytest.mark.any_database  # others here, test_reminders and test_enrolments make these queries on SQLite
@pytest.mark.parametrize(("ask", "queries"), ASKS)
def test_reports_take_the_queries_of_one_record_and_the_next_time_none(
    people: Cast, ask, queries, django_assert_num_queries
):
    factories.recorded(people.sam, tests=(TESTED,))
    # read again: the roles drew the school a state that no other test has asked about
    sam = models.Student.objects.select_related("school").get(pk=people.sam.pk)
    with django_assert_num_queries(queries):
        first = ask(sam, ON)
    with django_assert_num_queries(0):
        again = ask(sam, ON)

    assert again.as_json() == first.as_json()


def first_solo(student: models.Student) -> bool | None:
    fresh = models.Student.objects.get(pk=student.pk)
    return met(reports.eligibility(fresh, "faa.first-solo", ON), "knowledge-test")


def test_an_answer_is_never_older_than_the_record(people: Cast):
    assert first_solo(people.sam) is False
    factories.recorded(people.sam, tests=(TESTED,))
    assert first_solo(people.sam) is True
    factories.recorded(people.sam, at=factories.NOON + dt.timedelta(days=1))
    assert first_solo(people.sam) is False


def test_an_answer_to_a_change_that_was_taken_back_is_not_given_again(people: Cast):
    with transaction.atomic():
        factories.recorded(people.sam, tests=(TESTED,))
        assert first_solo(people.sam) is True
        transaction.set_rollback(True)

    assert first_solo(people.sam) is False


def test_each_student_is_answered_with_their_own_record(people: Cast):
    factories.recorded(people.sam, tests=(TESTED,))
    people.otto.training_model = "C172"
    people.otto.save()

    assert (first_solo(people.sam), first_solo(people.otto)) == (True, False)


def test_a_birth_date_set_elsewhere_counts_at_once(people: Cast):
    def age() -> str:
        report = reports.eligibility(models.Student.objects.get(pk=people.sam.pk), "faa.first-solo", ON)
        return next(amounts.text(each.have) for each in report.findings if each.rule.id.endswith(".age"))

    assert age() == "19 year"
    models.Student.objects.filter(pk=people.sam.pk).update(birth_date=dt.date(2012, 4, 11))
    assert age() == "14 year"


def test_the_instant_is_repeated_as_it_was_asked(people: Cast):
    utc = dt.datetime(2026, 4, 11, 12, tzinfo=dt.UTC)
    here = utc.astimezone(dt.timezone(dt.timedelta(hours=-5)))

    shown = [
        reports.eligibility(people.sam, "faa.first-solo", ON, known_at=each).as_json()["known_at"]
        for each in (utc, here)
    ]
    assert shown == ["2026-04-11T12:00:00+00:00", "2026-04-11T07:00:00-05:00"]
