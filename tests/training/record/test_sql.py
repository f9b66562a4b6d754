"""Statements that are put together once answer as the querysets do, whatever is asked and whoever asks."""

from __future__ import annotations

import copy
import datetime as dt
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.db.models.functions import Upper
from django.db.transaction import TransactionManagementError
from django.test.utils import CaptureQueriesContext

from syllabus.engine.places import geography
from syllabus.engine.record import record as engine
from syllabus.engine.time import units
from tests.support import factories
from tests.support.lessons import AT, CONTENT
from tests.training.endorsements.test_endorsements_at_once import at_once
from training import sql
from training.models import AccessLog, Flight, LessonRecord, Role, School, Student
from training.record.codec import FLIGHTS
from training.sql import Change, Place, Statement

KGRB, KMTW = (geography.airports().find(name) for name in ("KGRB", "KMTW"))
WHOLE = engine.Flight(
    "f1",
    dt.date(2026, 3, 1),
    aircraft=engine.Aircraft("N00XY", "C172", "airplane", "single-engine land"),
    route=(KGRB, KMTW, KGRB),
    off=dt.datetime.fromisoformat("2026-03-01T13:40:00-06:00"),
    on=dt.datetime.fromisoformat("2026-03-01T15:04:00-06:00"),
    times={"total": units.parse_time("1.4 h"), "dual": units.parse_time("84 min"), "solo": 0},
    purposes=("practical-test-preparation:private",),
    instructor=engine.Instructor("Bo Example", "0000001CFI"),
    remarks="100 % of it; said 'well done'",
    recorded=dt.datetime.fromisoformat("2026-03-02T09:00:00+01:00"),
)

FLOWN = Statement(
    lambda: (
        Flight.objects.alias(craft=Upper("aircraft_registration"))
        .filter(
            student_id=Place("student", models.BigIntegerField()),
            craft=Upper(Place("craft", models.TextField())),
            date=Place("day", models.DateField()),
            off_at__lte=Place("at", models.DateTimeField()),
            dual=Place("dual", models.DurationField()),
        )
        .order_by("pk")
        .values_list("pk", "date", "off_at", "off_offset", "dual", "route", "sealed")
    )
)
LESSON = Statement(
    lambda: (
        LessonRecord.objects.select_for_update(of=("self",))
        .select_related("student__school", "course_version")
        .annotate(aloud=Upper("student__name"))
        .filter(pk=Place("lesson", models.UUIDField()))
    )
)
ROLES = Statement(
    lambda: Role.objects.filter(school_id=Place("school", models.BigIntegerField())).order_by("pk")
)
RENAME = Change(
    lambda: (
        Student.objects.filter(school_id=Place("school", models.BigIntegerField())),
        {"name": Place("name", models.CharField()), "training_model": "C172"},
    )
)


def flight(student: Student, **changed: Any) -> Flight:
    columns = dict(zip(FLIGHTS.columns, FLIGHTS.write(WHOLE), strict=True))
    whose = {"school_id": student.school_id, "student_id": student.pk, "recorded_at": AT}
    return Flight(**{**whose, **columns, **changed})


def lesson_of(student: Student) -> LessonRecord:
    return LessonRecord.objects.create(
        id=uuid.uuid4(),
        school_id=student.school_id,
        student=student,
        instructor=factories.user(),
        content=CONTENT,
        created_at=AT,
        updated_at=AT,
    )


@pytest.fixture
def student(db: None) -> Student:
    return factories.student()


@pytest.fixture
def captured(db: None) -> Iterator[CaptureQueriesContext]:
    with CaptureQueriesContext(connection) as found:
        yield found


def texts(captured: CaptureQueriesContext) -> list[str]:
    return [query["sql"] for query in captured if "SAVEPOINT" not in query["sql"]]


# What is asked


def test_rows_are_those_of_the_queryset(student: Student) -> None:
    there = [flight(student), flight(student, entry_id="f2", aircraft_registration="n00xy")]
    Flight.objects.bulk_create([*there, flight(factories.student(), entry_id="f3")])
    assert WHOLE.off is not None
    asked: dict[str, Any] = {
        "student": student.pk,
        "craft": "N00xy",
        "day": WHOLE.date,
        "at": WHOLE.off,
        "dual": dt.timedelta(minutes=84),
    }
    names = ("pk", "date", "off_at", "off_offset", "dual", "route", "sealed")
    wanted = list(Flight.objects.filter(student=student).order_by("pk").values_list(*names))
    assert len(wanted) == 2
    assert FLOWN.rows(**asked) == wanted
    for other in ({"craft": "N11XY"}, {"day": dt.date(2026, 3, 2)}, {"dual": dt.timedelta(minutes=83)}):
        assert FLOWN.rows(**{**asked, **other}) == []
    assert FLOWN.rows(**{**asked, "at": WHOLE.off - dt.timedelta(microseconds=1)}) == []


def test_instances_are_those_of_the_queryset_with_what_they_name(
    student: Student, captured: CaptureQueriesContext
) -> None:
    there, other = lesson_of(student), lesson_of(factories.student())
    with transaction.atomic():
        (found,) = LESSON.instances(lesson=there.pk)
        (after,) = LESSON.instances(lesson=other.pk)
        asked = len(captured)
        assert found.student.school.name == student.school.name
        assert found.course_version is None
        assert found.aloud == student.name.upper()
        assert len(captured) == asked
        assert LESSON.instances(lesson=uuid.uuid4()) == []
    assert (found.pk, after.pk) == (there.pk, other.pk)
    for field in LessonRecord._meta.concrete_fields:
        assert getattr(found, field.attname) == getattr(there, field.attname), field
    assert not found._state.adding


@pytest.mark.django_db(transaction=True)
def test_rows_are_not_locked_outside_a_transaction() -> None:
    # Said by Django where the statement is put together, and by us from then on.
    with pytest.raises(TransactionManagementError, match="transaction"):
        LESSON.instances(lesson=uuid.uuid4())
    with transaction.atomic():
        assert LESSON.instances(lesson=uuid.uuid4()) == []
    with pytest.raises(TransactionManagementError, match="inside a transaction"):
        LESSON.instances(lesson=uuid.uuid4())


@pytest.mark.django_db(transaction=True)
def test_threads_ask_at_once_each_by_its_own_connection() -> None:
    schools = [factories.school() for _ in range(6)]
    people = {school.pk: [factories.instructor(school) for _ in range(3)] for school in schools}

    def asks(school: School) -> Any:
        return lambda: [[each.user_id for each in ROLES.instances(school=school.pk)] for _ in range(20)]

    found = at_once([asks(school) for school in schools])
    assert found == [[[each.pk for each in people[school.pk]]] * 20 for school in schools]


# What is changed


def test_a_change_says_how_many_rows_there_were(student: Student) -> None:
    factories.student(student.school)
    other = factories.student()
    assert RENAME(school=student.school_id, name="Sam's") == 2
    assert RENAME(school=0, name="Nobody") == 0
    assert set(Student.objects.values_list("school_id", "name", "training_model")) == {
        (student.school_id, "Sam's", "C172"),
        (other.school_id, other.name, other.training_model),
    }


# What is new


def test_a_new_row_is_the_one_that_bulk_create_makes(student: Student) -> None:
    other = factories.student(student.school)
    new, usual = flight(student), flight(other)
    sql.insert([new])
    Flight.objects.bulk_create([usual])
    assert new.pk
    assert not new._state.adding
    left, right = (Flight.objects.filter(student=each).values().get() for each in (student, other))
    for row in (left, right):
        del row["id"], row["student_id"]
    assert left == right


def test_rows_of_several_models_get_their_keys(student: Student, captured: CaptureQueriesContext) -> None:
    def noted(what: str) -> AccessLog:
        return AccessLog(school_id=student.school_id, student=student, action="read", what=what, at=AT)

    lesson = copy.copy(lesson_of(student))
    lesson.pk, lesson.corrects_id, lesson.reason = uuid.uuid4(), lesson.pk, "wrong time"
    new = [noted("one"), noted("two"), flight(student), lesson, noted("three")]
    before = len(texts(captured))
    sql.insert(new)
    sent = texts(captured)[before:]
    assert len(sent) == (1 if connection.vendor == "postgresql" else 4)
    assert dict(AccessLog.objects.values_list("what", "pk")) == {
        each.what: each.pk for each in new if isinstance(each, AccessLog)
    }
    assert Flight.objects.get().pk == new[2].pk
    assert LessonRecord.objects.get(reason="wrong time").corrects_id == lesson.corrects_id


def test_more_rows_than_a_statement_holds(student: Student) -> None:
    new = [flight(student, entry_id=f"f{number}") for number in range(700)]
    sql.insert(new)
    assert dict(Flight.objects.values_list("entry_id", "pk")) == {each.entry_id: each.pk for each in new}


def test_no_rows_are_no_statement(captured: CaptureQueriesContext) -> None:
    sql.insert([])
    assert texts(captured) == []


def test_a_row_that_may_not_be_leaves_none(student: Student) -> None:
    sql.insert([flight(student)])
    note = AccessLog(school_id=student.school_id, student=student, action="read", what="x", at=AT)
    with pytest.raises(IntegrityError), transaction.atomic():
        sql.insert([note, flight(student)])
    assert not AccessLog.objects.exists()
    assert Flight.objects.count() == 1
