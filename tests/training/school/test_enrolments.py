"""Enrolments hold on to a version; a move to a newer one carries over what still stands, and is sealed."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import replace
from fractions import Fraction

import pytest
from django.db import IntegrityError, connection, transaction
from django.db import models as django_models

from syllabus.courses import files as course_files
from syllabus.courses import outlines
from syllabus.engine.course.course import Outline
from syllabus.models import CourseVersion
from tests.support import courses, factories, lessons
from tests.support.cast import Cast
from tests.support.lessons import AT
from training import models, record
from training.ledger.models import Entry
from training.reports import progress
from training.services.errors import Conflict, NotAllowed
from training.services.people import enrolments
from training.services.people.enrolments import EnrolmentError

pytestmark = pytest.mark.django_db
DAY = AT.date()


def enrol(people: Cast, **given: object) -> models.Enrolment:
    return enrolments.enrol(
        people.sam,
        **{
            "ref": uuid.uuid4(),
            "course": "private-airplane",
            "version": None,
            "starts": DAY,
            "by": people.ida,
            "at": AT,
            "via": "api",
            **given,
        },
    )


def stricter(outline: Outline, code: str = "steep-turns") -> Outline:
    """The course with half the room in every tolerance of one item."""

    def half(limit: Fraction | None) -> Fraction | None:
        return limit / 2 if limit is not None else None

    return replace(
        outline,
        items=tuple(
            replace(
                each,
                standard=tuple(replace(one, low=half(one.low), high=half(one.high)) for one in each.standard),
            )
            if each.code == code
            else each
            for each in outline.items
        ),
    )


def second(outline: Outline | None = None) -> CourseVersion:
    return courses.published(outline or stricter(courses.private_airplane()))


def test_an_enrolment_takes_the_newest_published_version(people: Cast) -> None:
    version = courses.published()
    made = enrol(people)
    assert made.course_version == version
    assert enrol(people, ref=made.ref).pk == made.pk


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_later_version_leaves_the_enrolment_where_it_is(people: Cast) -> None:
    version = courses.published()
    made = enrol(people)
    second()
    made.refresh_from_db()
    assert made.course_version == version
    stands = progress.standing(people.sam, DAY)
    assert stands is not None
    assert (stands.version, stands.newer and stands.newer.number) == (version, 2)


def test_an_enrolment_from_before_takes_up_the_course(people: Cast) -> None:
    courses.published()
    bare = models.Enrolment.objects.create(
        school=people.school, student=people.sam, starts=dt.date(2026, 1, 1)
    )
    assert enrol(people).pk == bare.pk
    assert models.Enrolment.objects.filter(student=people.sam).count() == 1


@pytest.mark.any_database  # others here and test_sweeping make these queries on SQLite
def test_a_course_of_the_school_is_asked_for_by_its_address(people: Cast) -> None:
    courses.published()
    own = replace(courses.private_airplane(), says="The school's own words.")
    mine = outlines.publish(outlines.save(own, school_ref=people.school.course_ref).version, AT)
    theirs = outlines.publish(outlines.save(own, school_ref=people.elsewhere.course_ref).version, AT)
    assert enrol(people, course="private-airplane@lakeside").course_version == mine
    with pytest.raises(EnrolmentError, match="use one of private-airplane, private-airplane@lakeside"):
        enrol(people, course="private-airplane@hilltop")
    assert theirs.course.school_ref == "hilltop"


@pytest.mark.parametrize(
    ("given", "place", "told"),
    [
        (
            {"course": "helicopter"},
            "course",
            "'helicopter' is not a published course of this school; use one of private-airplane",
        ),
        ({"version": 7}, "version", "course private-airplane has no published version 7; the newest is 1"),
    ],
)
def test_what_cannot_be_enrolled_in_is_named(people: Cast, given: dict, place: str, told: str) -> None:
    courses.published()
    with pytest.raises(EnrolmentError) as refused:
        enrol(people, **given)
    (fault,) = refused.value.errors
    assert (fault.place, fault.message) == (place, told)


def test_a_draft_is_nothing_to_enrol_in(people: Cast) -> None:
    outlines.save(courses.private_airplane())
    with pytest.raises(EnrolmentError):
        enrol(people)


def test_nobody_is_in_the_same_course_twice(people: Cast) -> None:
    courses.published()
    enrol(people)
    with pytest.raises(Conflict, match="is enrolled in private-airplane"):
        enrol(people)


def test_only_who_may_write_the_record_enrols(people: Cast) -> None:
    courses.published()
    for who in (people.sams_account, people.olaf, factories.instructor(people.school)):
        with pytest.raises(NotAllowed):
            enrol(people, by=who)
    assert enrol(people, by=people.ada)


def test_a_version_that_somebody_is_enrolled_in_is_not_deleted(people: Cast) -> None:
    enrolled = courses.enrolled(people)
    with pytest.raises(django_models.ProtectedError):
        CourseVersion.objects.filter(pk=enrolled.course_version_id).delete()


# The move


def graded(people: Cast, **grades: str) -> models.LessonRecord:
    items = [{"item": code.replace("_", "-"), "grade": grade} for code, grade in grades.items()]
    return lessons.signed(people, lessons.content(items=items), lesson="")


def test_a_move_says_what_differs_and_what_stands(people: Cast) -> None:
    held = courses.enrolled(people)
    graded(people, steep_turns="perform", climbs="perform")
    new = second()
    shown = enrolments.preview(held, new.number, DAY)
    assert {each.code for each in shown.changes} == {"steep-turns"}
    told = {each.item: (each.carries, each.why) for each in shown.carried}
    assert told["climbs"] == (True, "")
    carries, why = told["steep-turns"]
    assert not carries
    assert "altitude is tighter now" in why


def test_a_move_is_sealed_and_what_was_not_carried_is_asked_again(people: Cast) -> None:
    held = courses.enrolled(people)
    graded(people, steep_turns="perform", climbs="perform")
    before = progress.standing(people.sam, DAY)
    made = enrolments.move(held, second().number, by=people.ida, at=AT, via="api")
    assert enrolments.move(held, made.to_version.number, by=people.ida, at=AT, via="api") == made
    people.sam.refresh_from_db()  # with the version that the move drew
    after = progress.standing(people.sam, DAY)
    assert before is not None
    assert after is not None
    assert before.progress.items["steep-turns"].grade == "perform"
    assert after.progress.items["steep-turns"].grade is None
    assert after.progress.items["climbs"].grade == "perform"
    leaf = Entry.objects.get(tree=made.ledger_tree, index=made.ledger_index)
    assert leaf.kind == "enrolment.moved"
    assert leaf.kept.value["carried"] == made.carried
    # graded again in the new version, it stands
    lesson = lessons.draft(
        people,
        lessons.content(items=[{"item": "steep-turns", "grade": "practice"}], flight=None),
        lesson="",
        at=AT + dt.timedelta(hours=1),
    )
    lessons.sign(lesson, people.ida, at=AT + dt.timedelta(hours=2))
    again = progress.standing(people.sam, DAY)
    assert again is not None
    assert again.progress.items["steep-turns"].grade == "practice"


def test_as_it_was_known_before_the_move(people: Cast) -> None:
    held = courses.enrolled(people)
    graded(people, steep_turns="perform")
    later = AT + dt.timedelta(days=1)
    enrolments.move(held, second().number, by=people.ida, at=later, via="api")
    then = progress.standing(people.sam, DAY, known_at=AT + dt.timedelta(hours=1))
    now = progress.standing(people.sam, DAY, known_at=later)
    assert then is not None
    assert now is not None
    assert (then.version.number, then.progress.items["steep-turns"].grade) == (1, "perform")
    assert (now.version.number, now.progress.items["steep-turns"].grade) == (2, None)


@pytest.mark.parametrize(("number", "told"), [(1, "is not newer"), (9, "no published version 9")])
def test_a_move_goes_to_a_newer_version_alone(people: Cast, number: int, told: str) -> None:
    held = courses.enrolled(people)
    with pytest.raises(EnrolmentError, match=told):
        enrolments.move(held, number, by=people.ida, at=AT, via="api")


def test_a_move_is_written_once(people: Cast) -> None:
    made = enrolments.move(courses.enrolled(people), second().number, by=people.ida, at=AT, via="api")
    table = models.CourseMove._meta.db_table
    for statement in (f"UPDATE {table} SET carried = '[]'", f"DELETE FROM {table}"):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"{statement} WHERE id = {made.pk}")


@pytest.mark.any_database  # others here and test_lesson_hints make these queries on SQLite
def test_what_a_grade_proved_stays_proven_after_a_move(people: Cast) -> None:
    """The course asks for an item again; the law's item was shown to standard on its day."""
    held = courses.enrolled(people)
    everything = {
        each.code.replace("-", "_"): "perform"
        for each in courses.private_airplane().items
        if "presolo.d-03" in each.proves
    }
    graded(people, **everything)
    code = next(iter(everything)).replace("_", "-")
    enrolments.move(
        held, second(stricter(courses.private_airplane(), code)).number, by=people.ida, at=AT, via="api"
    )
    assert course_files.content_hash(courses.private_airplane()) == held.course_version.content_hash
    proven = {each.item: each.grade for each in lessons_record(people)}
    assert proven["presolo.d-03"] == "perform"


def lessons_record(people: Cast) -> tuple:
    return record.of(models.Student.objects.get(pk=people.sam.pk)).items


def test_an_enrolment_ends_and_stays_on_file(people: Cast) -> None:
    held = courses.enrolled(people)
    enrolments.end(held, on=DAY, by=people.ida, at=AT, via="api")
    assert progress.standing(people.sam, DAY) is not None
    assert progress.standing(people.sam, DAY + dt.timedelta(1)) is None
    with pytest.raises(EnrolmentError, match="before the first day"):
        enrolments.end(held, on=dt.date(2025, 12, 31), by=people.ida, at=AT, via="api")
