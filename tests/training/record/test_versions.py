"""Whoever writes a row of a record, and however, changes the version of the student's record."""

import datetime as dt
import uuid

import pytest
from django.db import connection

from syllabus.models import SchoolMinimum
from tests.support import factories, lessons
from training import models
from training.services.lessons import sign_offs
from training.triggers import sealing, versions

DAY = dt.date(2026, 3, 2)
OWN = {
    models.Certificate: {"kind": "student", "issued": DAY},
    models.Document: {"kind": "medical", "issued": DAY},
    models.Endorsement: {"kind": "solo-90-day", "given": DAY},
    models.Flight: {"date": DAY},
    models.GroundLesson: {"date": DAY},
    models.ItemGrade: {"item": "presolo.d-01", "date": DAY, "grade": "perform"},
    models.Test: {"kind": "pre-solo-knowledge", "date": DAY, "result": "pass"},
}


@pytest.fixture
def student(db: None) -> models.Student:
    return factories.student()


@pytest.fixture
def other(student: models.Student) -> models.Student:
    return factories.student(student.school)


def row(model, student: models.Student, entry_id: str = "x1"):
    return model(
        school=student.school,
        student=student,
        entry_id=entry_id,
        recorded_at=factories.NOON,
        **OWN[model],
    )


def version(student: models.Student):
    return models.Student.objects.values_list("version", flat=True).get(pk=student.pk)


def test_every_table_of_entries_is_among_them():
    assert set(OWN) == set(models.ENTRIES)
    beside = (models.Landing, models.RecordChange, models.Enrolment, models.CourseMove)
    others = {each._meta.db_table for each in beside}
    assert {model._meta.db_table for model in OWN} | others == set(versions.TABLES)
    assert {model._meta.db_table for model in models.ENTRIES} == set(sealing.ENTRIES)


@pytest.mark.parametrize("model", OWN)
def test_a_row_added_changed_or_deleted_changes_the_version(student, other, model):
    seen, others = [version(student)], version(other)

    model.objects.bulk_create([row(model, student, "x1"), row(model, student, "x2")])
    seen.append(version(student))
    model.objects.filter(student=student).update(retired_at=factories.NOON)
    seen.append(version(student))
    with connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {model._meta.db_table} WHERE student_id = %s", [student.pk])
    seen.append(version(student))

    assert len(set(seen)) == 4
    assert version(other) == others


def test_a_landing_changes_it_too(student):
    flight = row(models.Flight, student)
    flight.save()
    before = version(student)
    models.Landing.objects.create(school=student.school, student=student, flight=flight, position=0)

    assert version(student) != before


def test_an_enrolment_changes_it_for_a_course_has_minimums_of_its_own(student, other):
    seen, others = [version(student)], version(other)
    made = models.Enrolment.objects.create(school=student.school, student=student, starts=DAY)
    seen.append(version(student))
    models.Enrolment.objects.filter(pk=made.pk).update(ends=DAY)
    seen.append(version(student))
    made.delete()
    seen.append(version(student))

    assert len(set(seen)) == 4
    assert version(other) == others


def test_a_student_who_was_read_before_writes_no_version_back(student):
    read = models.Student.objects.get(pk=student.pk)
    row(models.Document, student).save()
    drawn = version(student)
    read.training_model = "C152"
    read.save()

    assert version(student) == drawn
    assert models.Student.objects.get(pk=student.pk).training_model == "C152"


def test_a_lesson_record_and_what_is_signed_of_it_changes_the_version_of_the_lessons(people):
    def seen():
        return models.Student.objects.values_list("lessons_version", flat=True).get(pk=people.sam.pk)

    versions_seen, record_seen = [seen()], [version(people.sam)]
    lesson = lessons.signed(people)
    versions_seen.append(seen())
    record_seen.append(version(people.sam))
    sign_offs.acknowledge(lesson.pk, by=people.sams_account, at=lessons.AT, via="api")
    versions_seen.append(seen())
    record_seen.append(version(people.sam))
    lessons.draft(people, id=uuid.uuid4())
    versions_seen.append(seen())
    record_seen.append(version(people.sam))

    assert len(set(versions_seen)) == 4
    assert record_seen[1:] == record_seen[1:2] * 3, "what is signed is on record, and nothing else"
    assert record_seen[0] != record_seen[1]


def rules_version(school: models.School):
    return models.School.objects.values_list("rules_version", flat=True).get(pk=school.pk)


def test_a_minimum_of_a_schools_own_changes_the_version_of_its_rules_and_of_no_others(student):
    here, there = student.school, factories.school()
    seen, others = [rules_version(here)], rules_version(there)
    made = minimum(here.slug)
    seen.append(rules_version(here))
    SchoolMinimum.objects.filter(pk=made.pk).update(ends=DAY)
    seen.append(rules_version(here))
    assert rules_version(there) == others
    SchoolMinimum.objects.filter(pk=made.pk).update(school_ref=there.slug)
    seen.append(rules_version(here))
    assert rules_version(there) != others
    others = rules_version(there)
    made.delete()

    assert len(set(seen)) == 4
    assert rules_version(there) != others


def minimum(school_ref: str, **changes) -> SchoolMinimum:
    return SchoolMinimum.objects.create(
        **{
            "school_ref": school_ref, "milestone": "faa.first-solo", "code": "dual", "kind": "total_at_least",
            "params": {"counts": ["dual"], "need": "15 h"}, "says": "15 hours of dual", "starts": DAY,
            **changes,
        }
    )  # fmt: skip


def test_a_school_that_never_had_a_minimum_has_no_version_of_its_rules(student):
    minimum(factories.school().slug)
    assert rules_version(student.school) is None


def test_a_school_that_comes_to_a_name_with_minimums_gets_one(student):
    minimum("northside")
    assert rules_version(factories.school(slug="northside-too")) is None
    assert rules_version(factories.school(slug="northside")) is not None
    models.School.objects.filter(slug="northside").update(slug="southside")
    models.School.objects.filter(pk=student.school_id).update(slug="northside")
    assert rules_version(student.school) is not None


def test_one_statement_about_two_students_changes_both(student, other):
    before = {version(student), version(other)}
    models.Document.objects.bulk_create([row(models.Document, student), row(models.Document, other)])
    after = {version(student), version(other)}

    assert len(before | after) == 4


def test_taken_away_and_put_back_they_work_again(student):
    versions.TRIGGERS.remove(connection)
    before = version(student)
    row(models.Document, student, "x1").save()
    assert version(student) == before

    versions.TRIGGERS.install(connection)
    versions.TRIGGERS.install(connection)
    row(models.Document, student, "x2").save()
    assert version(student) != before


# What a school sets


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"claims_asked": ["tests"]}, id="what is asked while it is only claimed"),
        pytest.param({"claims_asked": []}, id="nothing is asked"),
        pytest.param({"taxi_allowance_minutes": 12}, id="the taxi allowance"),
    ],
)
def test_a_changed_setting_changes_the_version_of_the_rules_and_of_no_other_schools(student, changes):
    here, there = student.school, factories.school()
    models.School.objects.filter(pk=here.pk).update(**changes)
    drawn = rules_version(here)
    assert drawn is not None
    models.School.objects.filter(pk=here.pk).update(**changes)
    assert rules_version(here) == drawn, "the same again is no change"
    assert rules_version(there) is None
    assert models.Stale.objects.filter(student_id=student.pk).exists()


def test_a_setting_saved_with_the_school_changes_it_and_a_name_does_not(student):
    read = models.School.objects.get(pk=student.school_id)
    read.name = "Lakeside Flying"
    read.save()
    assert rules_version(read) is None
    read.taxi_allowance_minutes = 12
    read.save()
    drawn = rules_version(read)
    assert drawn is not None
    read.name = "Lakeside"
    read.save()
    assert rules_version(read) == drawn, "one that was read before is not written back"


def test_a_linked_spelling_changes_it_when_it_comes_changes_and_goes(student):
    here, there = student.school, factories.school()
    seen = [rules_version(here)]
    made = models.ModelSpelling.objects.create(
        school=here, spelling="Skyhawk X", folded="skyhawkx", model="C172"
    )
    seen.append(rules_version(here))
    models.ModelSpelling.objects.filter(pk=made.pk).update(model="C182")
    seen.append(rules_version(here))
    assert rules_version(there) is None
    models.ModelSpelling.objects.filter(pk=made.pk).update(school=there)
    seen.append(rules_version(here))
    moved = rules_version(there)
    made.refresh_from_db()
    made.delete()
    assert None not in seen[1:]
    assert len(set(seen)) == 4
    assert None not in (moved, rules_version(there))
    assert rules_version(there) != moved
