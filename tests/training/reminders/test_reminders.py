"""What ends is told once to each person concerned, in time, and never when it is not so any more."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.core import mail

from syllabus.engine.record import record as engine
from syllabus.law import rulebook
from tests.support import factories
from tests.support.cast import Cast
from tests.support.reminding import IDA, MEDICAL, at, enrolled, on_record, sam, solo, sweep, taught, told
from training import models
from training.services.reminders import leads, standings

SOLO = "endorsement:solo-90-day@c172"
#: Given on 1 February 2026, it holds through 2 May: the 90th day still counts.
LAST = dt.date(2026, 5, 2)
#: 14 days before, at midnight in Chicago: the first reminder is due. E-mails wait for 7 o'clock.
DUE, MORNING = "2026-04-18 05:00", "2026-04-18 12:00"

pytestmark = pytest.mark.django_db


def outbox() -> dict[str, list[str]]:
    """Who was sent what, by the subjects."""
    found: dict[str, list[str]] = {}
    for each in mail.outbox:
        found.setdefault(each.to[0], []).append(each.subject)
    return found


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("when", "made"),
    [
        pytest.param("2026-04-18 04:59:59", [], id="nothing a second before the 14th day begins in Chicago"),
        pytest.param(DUE, [(SOLO, LAST, 14, "due")], id="the first as the 14th day before begins there"),
        pytest.param("2026-04-29 04:59:59", [(SOLO, LAST, 14, "due")], id="still the first, made late"),
        pytest.param(
            "2026-04-29 05:00", [(SOLO, LAST, 3, "due")], id="only the second once its own day has begun"
        ),
        pytest.param("2026-05-03 04:59:59", [(SOLO, LAST, 3, "due")], id="the last second of the last day"),
        pytest.param("2026-05-03 05:00", [], id="nothing once it is over"),
    ],
)
def test_a_reminder_is_made_on_its_day(people: Cast, when: str, made: list[object]) -> None:
    sam(people, solo("2026-02-01"))
    sweep(when)
    assert told(last_day=LAST) == made


def test_each_person_concerned_is_told_once_however_often_it_is_swept(people: Cast) -> None:
    sam(people, solo("2026-02-01"))
    for when in ("2026-04-01 00:00", DUE, DUE, "2026-04-18 11:59:59"):
        sweep(when)
        assert mail.outbox == []
    for when in (MORNING, MORNING, "2026-04-18 12:01", "2026-04-18 12:59:59"):
        sweep(when)
    subject = "Training record: something expires soon"
    assert outbox() == {"sam@lakeside.example": [subject], "ida@lakeside.example": [subject]}
    for when in ("2026-04-18 13:00", "2026-04-19 13:00"):
        sweep(when)
    assert outbox()["ada@lakeside.example"] == ["Training records at Lakeside Flying: what expires soon"]
    assert len(mail.outbox) == 3
    notices = models.Notice.objects.filter(kind="reminder")
    assert {each.user for each in notices} == {people.sams_account, people.ida}
    assert len(notices) == 2
    sweep("2026-04-29 12:00")
    assert told(last_day=LAST) == [(SOLO, LAST, 14, "due"), (SOLO, LAST, 3, "due")]
    assert len(outbox()["sam@lakeside.example"]) == 2


@pytest.mark.any_database  # others here make these queries on SQLite
def test_what_is_said_names_the_thing_its_last_day_and_what_ends_with_it(people: Cast) -> None:
    sam(people, solo("2026-02-01"))
    sweep(DUE)
    sweep(MORNING)
    to_sam = next(each for each in mail.outbox if each.to == ["sam@lakeside.example"])
    html, _ = to_sam.alternatives[0]
    for text in (to_sam.body, html):
        assert "14 CFR 61.87(n)" in text
        assert "valid through 2 May 2026" in text
        assert "not a permission to fly" in text
    assert "solo" not in to_sam.subject.lower()
    assert to_sam.extra_headers["Auto-Submitted"] == "auto-generated"
    delivery = models.Delivery.objects.get(user=people.sams_account)
    assert to_sam.extra_headers["Message-ID"] == f"<{delivery.pk}@localhost>"


@pytest.mark.any_database  # others here and test_recipients make these queries on SQLite
def test_a_name_cannot_write_html_or_headers(people: Cast) -> None:
    people.school.name = "Lakeside\nBcc: all@example.org <b>"
    people.school.save()
    people.sam.name = "<script>alert(1)</script>"
    people.sam.save()
    sam(people, solo("2026-02-01"))
    sweep(DUE)
    sweep("2026-04-18 14:00")
    assert len(mail.outbox) == 3
    for each in mail.outbox:
        assert "\n" not in each.subject
        html, _ = each.alternatives[0]
        assert "<script>" not in html
        assert each.message()["Bcc"] is None


RENEWED = [
    pytest.param(lambda: (solo("2026-02-01"), solo("2026-04-20", "e2")), id="a new endorsement was given"),
    pytest.param(lambda: (solo("2026-02-01", expires=dt.date(2026, 4, 19)),), id="it was ended"),
    pytest.param(lambda: (solo("2026-02-03"),), id="the training was of another day"),
    pytest.param(lambda: (), id="it was taken off the record"),
]


@pytest.mark.parametrize("now", RENEWED)
def test_a_lapse_that_is_not_so_any_more_withdraws_its_reminder(people: Cast, now) -> None:
    sam(people, solo("2026-02-01"))
    sweep(DUE)
    assert told(last_day=LAST) == [(SOLO, LAST, 14, "due")]
    sam(people, *now())
    sweep("2026-04-20 12:00")
    assert told(last_day=LAST) == [(SOLO, LAST, 14, "withdrawn")]
    told_of_it = [each for each in mail.outbox if "2 May" in each.body]
    assert told_of_it == []
    assert models.Lapse.objects.get(last_day=LAST).gone_at == at("2026-04-20 12:00")


def test_one_withdrawn_and_back_again_is_sent_if_it_was_not_and_never_twice(people: Cast) -> None:
    sam(people, solo("2026-02-01"))
    sweep(DUE)
    sam(people)
    sweep(MORNING)
    assert models.Delivery.objects.filter(user=people.ida).get().state == "withdrawn"
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 12:30")
    sweep("2026-04-18 12:31")
    assert len(outbox()["ida@lakeside.example"]) == 1
    sam(people)
    sweep("2026-04-18 12:40")
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 12:50")
    assert len(outbox()["ida@lakeside.example"]) == 1
    assert told(last_day=LAST) == [(SOLO, LAST, 14, "due")]


def test_the_first_to_go_ends_the_milestone_and_says_so(people: Cast) -> None:
    """A medical of 40 years and more ends with the month, before the endorsement does."""
    older = factories.student(
        people.school, taught_by=people.ida, training_model="C172", birth_date=dt.date(1970, 1, 1)
    )
    endorsed = (solo("2027-01-15"), solo("2027-01-15", "e2", kind="pre-solo-training"))
    everything = engine.Record(
        student=engine.Student(older.name, older.birth_date),
        documents=(
            engine.Document("m1", "medical", dt.date(2025, 3, 5), "third"),
            engine.Document("d1", "english-proficiency", dt.date(2025, 1, 1)),
            engine.Document("d2", "student-pilot-certificate", dt.date(2025, 1, 1)),
        ),
        tests=(engine.Test("t1", "pre-solo-knowledge", dt.date(2026, 1, 1), "pass", aircraft_model="C172"),),
        items=tuple(
            engine.ItemGrade(
                f"i{number}", f"presolo.d-{number:02d}", dt.date(2027, 1, 15), "perform", None, IDA
            )
            for number in range(1, 16)
        ),
        flights=taught(endorsed),
        endorsements=endorsed,
    )
    enrolled(older)
    factories.attested(older, everything, at=factories.NOON)
    sweep("2027-03-24 14:00")
    medical = models.Reminder.objects.get(what="medical")
    assert (medical.last_day, medical.lead_days) == (dt.date(2027, 3, 31), 7)
    assert [each["title"] for each in medical.ends] == ["Solo flight in the C172"]
    body = next(each for each in mail.outbox if each.to == ["ida@lakeside.example"]).body
    assert '"Solo flight in the C172" expires with it on 31 March 2027.' in body


def test_two_models_are_two_endorsements(people: Cast) -> None:
    sam(people, solo("2026-02-01"), solo("2026-02-02", "e2", aircraft_model="PA-28"))
    sweep("2026-04-20 14:00")
    assert {(what, last.isoformat()) for what, last, _, _ in told(kind="endorsement")} == {
        (SOLO, "2026-05-02"),
        ("endorsement:solo-90-day@pa28", "2026-05-03"),
    }
    # Both fell due before this sweep: one mail tells both.
    assert len(outbox()["sam@lakeside.example"]) == 1


@pytest.mark.any_database  # others here, test_erasure and test_aircraft make these queries on SQLite
def test_who_left_is_not_reminded_and_is_again_when_back(people: Cast) -> None:
    student = sam(people, solo("2026-02-01"))
    student.enrolments.update(ends=dt.date(2026, 4, 1))
    sweep("2026-04-20 14:00")
    assert told() == []
    models.Enrolment.objects.create(school=student.school, student=student, starts=dt.date(2026, 4, 21))
    sweep("2026-04-21 14:00")
    assert told(last_day=LAST) == [(SOLO, LAST, 14, "due")]


def test_a_school_sets_its_own_lead_times(people: Cast) -> None:
    sam(people, solo("2026-02-01"))
    sweep("2026-03-01 12:00")
    leads.set_for(people.school, "endorsement", [45, 1], at=at("2026-03-01 12:00"))
    sweep("2026-03-18 14:00")
    assert told(last_day=LAST) == [(SOLO, LAST, 45, "due")]
    leads.set_for(people.school, "endorsement", None, at=at("2026-03-19 12:00"))
    sweep("2026-04-19 14:00")
    assert told(last_day=LAST) == [(SOLO, LAST, 45, "due"), (SOLO, LAST, 14, "due")]
    leads.set_for(people.school, "endorsement", [], at=at("2026-04-19 14:00"))
    sweep("2026-05-01 14:00")
    assert len(told(last_day=LAST)) == 2


@pytest.mark.any_database  # others here and test_aircraft make these queries on SQLite
def test_a_span_shorter_than_every_lead_time_is_not_reminded_of(people: Cast) -> None:
    sam(people, solo("2026-02-01", expires=dt.date(2026, 2, 3)))
    sweep("2026-02-01 18:00")
    sweep("2026-02-03 18:00")
    assert told() == []


def test_an_instructors_recent_experience(people: Cast) -> None:
    role = people.ida.roles.get()
    role.recent_experience_until = dt.date(2026, 6, 30)
    role.save()
    for when in ("2026-05-01 04:59", "2026-05-01 05:00", "2026-05-01 12:00", "2026-05-01 13:30"):
        sweep(when)
    assert [(each.role, each.lead_days) for each in models.Reminder.objects.all()] == [(role, 60)]
    assert {to: len(subjects) for to, subjects in outbox().items()} == {
        "ida@lakeside.example": 1,
        "ada@lakeside.example": 1,
    }
    role.recent_experience_until = dt.date(2028, 6, 30)
    role.save()
    sweep("2026-06-01 13:00")
    assert [each.state for each in models.Reminder.objects.all()] == ["withdrawn"]


def test_a_fault_in_one_record_keeps_no_other_waiting(people: Cast, monkeypatch) -> None:

    bad = on_record(factories.student(people.school, taught_by=people.ida), documents=(MEDICAL,))
    sam(people, solo("2026-02-01"))
    work_out = standings.work_out

    def failing(student: int, when: dt.datetime) -> bool:
        if student == bad.pk:
            raise ArithmeticError("no answer")
        return work_out(student, when)

    monkeypatch.setattr(standings, "work_out", failing)
    for minute in range(8):
        sweep(at(DUE) + dt.timedelta(minutes=minute))
    assert told(last_day=LAST) == [(SOLO, LAST, 14, "due")]
    [parked] = standings.parked()
    assert (parked.student_id, parked.attempts, parked.fault) == (
        bad.pk,
        standings.MOST_ATTEMPTS,
        "ArithmeticError: no answer",
    )
    monkeypatch.undo()
    on_record(bad, documents=(MEDICAL,), endorsements=(solo("2026-02-01"),))  # the record changed
    sweep(MORNING)
    assert standings.parked() == []
    assert told(student=bad) == [(SOLO, LAST, 14, "due")]


def test_the_summary_is_kept_and_says_what_changed(people: Cast) -> None:
    student = sam(people, solo("2026-02-01"))
    sweep("2026-04-18 14:00")
    before = models.Standing.objects.get(student=student)
    assert before.on == dt.date(2026, 4, 18)
    assert not models.StandingChange.objects.exists()
    sam(people)
    sweep("2026-04-18 15:00")
    changes = models.StandingChange.objects.filter(student=student, on=dt.date(2026, 4, 18))
    solo_flight = changes.get(milestone="faa.first-solo")
    assert solo_flight.after["gaps"] == solo_flight.before["gaps"] + 1
    sweep("2026-04-19 05:01")
    assert models.Standing.objects.get(student=student).on == dt.date(2026, 4, 19)


def test_other_rules_of_a_school_are_worked_out_for_all_of_its_students(people: Cast) -> None:
    sweep("2026-04-01 12:00")
    assert not models.Stale.objects.exists()
    models.School.objects.filter(pk=people.school.pk).update(rules_version=uuid.uuid4())
    assert [each.student_id for each in models.Stale.objects.all()] == [people.sam.pk]
    sweep("2026-04-01 12:01")
    assert not models.Stale.objects.exists()


def test_other_rules_in_the_regulations_are_worked_out_for_everybody(people: Cast) -> None:
    sweep("2026-04-01 12:00")
    models.Standing.objects.filter(student=people.sam).update(rulebook="sha256:another")
    assert standings.note_new_rules() == 1
    assert standings.note_new_rules() == 0
    sweep("2026-04-01 12:01")
    assert set(models.Standing.objects.values_list("rulebook", flat=True)) == {rulebook.current().id}
