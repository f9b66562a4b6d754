"""What must hold is held by the database, whoever writes."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from tests.support import factories
from training import models

HOUR = dt.timedelta(hours=1)
DAY = dt.date(2026, 3, 2)
NOON = factories.NOON


@pytest.fixture
def student(db: None) -> models.Student:
    return factories.student()


def common(student: models.Student, **given):
    return {
        "school": student.school,
        "student": student,
        "entry_id": "x1",
        "recorded_at": NOON,
        **given,
    }


def flight(student: models.Student, **given) -> models.Flight:
    return models.Flight.objects.create(**common(student, date=DAY, **given))


FLIGHTS = [
    pytest.param({"total": -HOUR}, id="a time below zero"),
    pytest.param({"night": -dt.timedelta(microseconds=1)}, id="a microsecond below zero"),
    pytest.param({"dual": HOUR, "solo": HOUR}, id="dual and solo in one entry"),
    pytest.param({"aircraft_device": "PC"}, id="a device that is none"),
    pytest.param({"off_at": NOON}, id="an instant without the offset of its clock"),
    pytest.param({"on_offset": HOUR}, id="an offset without an instant"),
    pytest.param(
        {"off_at": NOON, "off_offset": HOUR, "on_at": NOON - HOUR, "on_offset": HOUR}, id="on before off"
    ),
    pytest.param({"instructor_certificate": "1CFI"}, id="a certificate of nobody"),
    pytest.param({"said_recorded_at": NOON}, id="written down without the offset"),
    pytest.param({"retired_at": NOON - HOUR}, id="retired before it was put on record"),
]


@pytest.mark.parametrize("wrong", FLIGHTS)
def test_a_flight_that_cannot_be_is_refused(student, wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        flight(student, **wrong)


RIGHT = [
    pytest.param({"dual": HOUR, "solo": dt.timedelta()}, id="dual with solo written as zero"),
    pytest.param({"dual": None, "solo": HOUR}, id="solo where no dual is logged"),
    pytest.param(
        {"off_at": NOON, "off_offset": HOUR, "on_at": NOON, "on_offset": HOUR}, id="on as it went off"
    ),
    pytest.param({"retired_at": NOON}, id="retired in the same instant"),
]


@pytest.mark.parametrize("right", RIGHT)
def test_a_flight_on_the_edge_is_kept(student, right):
    flight(student, **right)


def test_an_id_stands_once_on_a_students_record(student):
    flight(student, retired_at=NOON)
    flight(student)
    with pytest.raises(IntegrityError), transaction.atomic():
        flight(student)


OTHERS = [
    pytest.param(
        models.ItemGrade, {"item": "presolo.d-01", "date": DAY, "grade": "good"}, id="an unknown grade"
    ),
    pytest.param(models.GroundLesson, {"date": DAY, "time": -HOUR}, id="ground training below zero"),
]


@pytest.mark.parametrize(("model", "wrong"), OTHERS)
def test_another_entry_that_cannot_be_is_refused(student, model, wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.create(**common(student, **wrong))


def test_every_grade_of_the_scale_is_kept(student):
    for grade in ("describe", "explain", "practice", "perform", "not-observed"):
        models.ItemGrade.objects.create(
            **common(student, entry_id=grade, item="presolo.d-01", date=DAY, grade=grade)
        )


@pytest.mark.parametrize(
    "wrong",
    [
        pytest.param({"period": "dusk"}, id="neither day nor night"),
        pytest.param({"landings": -1}, id="landings below zero"),
        pytest.param({"takeoffs": -1}, id="takeoffs below zero"),
    ],
)
def test_a_landing_that_cannot_be_is_refused(student, wrong):
    made = flight(student)
    with pytest.raises(IntegrityError), transaction.atomic():
        models.Landing.objects.create(
            **{"school": student.school, "student": student, "flight": made, "position": 0, **wrong}
        )


def test_an_assignment_does_not_end_before_it_starts(student):
    ida = factories.instructor(student.school)
    factories.assign(ida, student, starts=DAY, ends=DAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        factories.assign(ida, student, starts=DAY, ends=DAY - dt.timedelta(days=1))


def test_a_role_is_held_once_at_a_school_and_again_at_another(student):
    ida = factories.instructor(student.school)
    factories.role("administrator", at=student.school, whose=ida)
    factories.role("instructor", at=factories.school(), whose=ida)
    with pytest.raises(IntegrityError), transaction.atomic():
        factories.role("instructor", at=student.school, whose=ida)


def test_a_role_is_one_of_three(student):
    with pytest.raises(IntegrityError), transaction.atomic():
        factories.role("owner", at=student.school)


@pytest.mark.parametrize("given", ["Ida@School.Example", " ida@school.example "])
def test_an_email_address_is_one_persons_whatever_its_letters(db, given):
    ida = factories.user(email=given)

    assert ida.email == "ida@school.example"
    assert models.User.objects.get_by_natural_key("IDA@school.example") == ida
    with pytest.raises(IntegrityError), transaction.atomic():
        factories.user(email="ida@school.example")


def test_the_database_refuses_capitals_in_an_email_address(db):
    ida = factories.user()
    with pytest.raises(IntegrityError), transaction.atomic():
        models.User.objects.filter(pk=ida.pk).update(email="Ida@school.example")


def test_a_user_needs_an_email_address(db):
    with pytest.raises(ValueError, match="there must be one"):
        models.User.objects.create_user("  ")


def test_a_student_with_a_record_cannot_be_deleted(student):
    flight(student)
    with pytest.raises(ProtectedError):
        student.delete()
