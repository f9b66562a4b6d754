"""Where a stored student stands, the draft of the next lesson, and what signing it proves."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from syllabus.engine.course.progress import COMPLETE, NOT_FLOWN, OPEN
from syllabus.engine.record.record import Flight
from syllabus.engine.rules.reasons import Named, reason
from syllabus.engine.time.units import HOUR
from tests.support import courses, factories, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.lessons import AT
from training import models, record, reports
from training.ledger.models import Entry
from training.reports import progress
from training.services.lessons import lesson_records, sign_offs
from training.services.lessons.lesson_content import LessonError

pytestmark = pytest.mark.django_db
DAY = AT.date()
FIRST = courses.private_airplane().lessons[0]


@kept
def learning(people: Cast) -> None:
    """Sam is enrolled in the shipped course."""
    courses.enrolled(people)


def standing(people: Cast, on: dt.date = DAY, **given: Any) -> progress.Standing:
    found = progress.standing(people.sam, on, **given)
    assert found is not None
    return found


def flown(
    people: Cast, lesson: str, day: int, *, low: tuple[str, ...] = (), **given: Any
) -> models.LessonRecord:
    """A lesson of the course flown and signed, every item at what it asks but those that are low."""
    planned = next(each for each in courses.private_airplane().lessons if each.code == lesson)
    said = lessons.flown(
        date=f"2026-03-{day:02}",
        off=f"2026-03-{day:02}T13:00:00-06:00",
        on=f"2026-03-{day:02}T14:24:00-06:00",
    )
    said["ground"] = None
    said["items"] = [
        {"item": code, "grade": "describe" if code in low else grade} for code, grade in planned.items.items()
    ]
    at = dt.datetime(2026, 3, day, 23, tzinfo=dt.UTC)
    made = lessons.draft(people, said, lesson=lesson, at=at, **given)
    lessons.sign(made, people.ida, at=at)
    made.refresh_from_db()
    return made


def test_without_a_course_there_is_no_standing(people: Cast) -> None:
    assert progress.standing(people.sam, DAY) is None


def test_a_lesson_flown_to_standard_is_complete_and_the_next_is_proposed(
    people: Cast, learning: None
) -> None:
    flown(people, "1-01", 2)
    found = standing(people)
    assert found.progress.lessons["1-01"].state == COMPLETE
    assert found.progress.flown("dual") == 84 * HOUR // 60
    assert found.next.proposal
    assert found.next.proposal.lesson.code == "1-02"
    assert found.toward
    assert found.toward.milestone.id == "faa.first-solo"


def test_what_is_below_is_carried_over_onto_the_next_draft(people: Cast, learning: None) -> None:
    flown(people, "1-01", 2, low=("straight-level-and-turns",))
    assert standing(people).progress.lessons["1-01"].state == OPEN
    made = lesson_records.create(
        people.sam, id=uuid.uuid4(), lesson="1-04", content=None, by=people.ida, at=AT, via="api"
    )
    codes = [each["item"] for each in made.content["items"]]
    assert codes[0] == "straight-level-and-turns"
    assert set(courses.private_airplane().lessons[3].items) <= set(codes)
    assert {each["grade"] for each in made.content["items"]} == {"not-observed"}


def test_a_draft_without_a_lesson_is_of_the_next_one_and_may_be_sent_again(
    people: Cast, learning: None
) -> None:
    key = uuid.uuid4()

    def sent() -> models.LessonRecord:
        return lesson_records.create(
            people.sam, id=key, lesson="", content=None, by=people.ida, at=AT, via="api"
        )

    made = sent()
    assert made.lesson == "1-01"
    flown(people, "1-01", 2)
    assert sent() == made


def test_nothing_is_planned_for_who_is_in_no_course(people: Cast) -> None:
    with pytest.raises(LessonError, match="is in no course on 2026-03-03"):
        lesson_records.create(
            people.sam, id=uuid.uuid4(), lesson="", content=None, by=people.ida, at=AT, via="api"
        )


def test_a_lesson_that_the_course_does_not_have_is_refused(people: Cast, learning: None) -> None:
    with pytest.raises(LessonError, match=r"has no lesson '1-99'; it has 1-09 and others"):
        lessons.draft(people, lesson="1-99")
    assert lessons.draft(people, lesson="").course_version is not None


def test_the_signed_content_names_the_version_of_the_course(people: Cast) -> None:
    version = courses.published()
    courses.enrolled(people, version)
    made = flown(people, "1-01", 2)
    body = Entry.objects.get(kind="lesson.signed").kept.value
    assert body["course"] == f"private-airplane 1 {version.content_hash}"
    assert made.course_version == version


@pytest.mark.any_database  # others here and test_sweeping make these queries on SQLite
def test_a_correction_takes_the_place_of_what_it_corrects(people: Cast, learning: None) -> None:
    wrong = flown(people, "1-01", 2)
    said = {**wrong.content, "items": [{**each, "grade": "describe"} for each in wrong.content["items"]]}
    right = sign_offs.correct(
        wrong, id=uuid.uuid4(), reason="graded too high", content=said, by=people.ida, at=AT, via="api"
    )
    lessons.sign(right, people.ida)
    found = standing(people)
    assert [each.entry for each in found.progress.lessons["1-01"].flown] == [str(right.pk)]
    assert found.progress.lessons["1-01"].state == OPEN
    before = standing(people, known_at=AT - dt.timedelta(hours=1))
    assert before.progress.lessons["1-01"].state == COMPLETE


def test_of_a_past_day_only_what_was_flown_by_then(people: Cast, learning: None) -> None:
    flown(people, "1-01", 2)
    assert standing(people, dt.date(2026, 3, 1)).progress.lessons["1-01"].state == NOT_FLOWN


def test_flights_brought_from_elsewhere_stand_beside_those_of_lessons(people: Cast, learning: None) -> None:
    factories.recorded(
        people.sam, flights=(Flight("a", dt.date(2026, 1, 5), times={"total": HOUR, "dual": HOUR}),)
    )
    flown(people, "1-01", 2)
    told = standing(people).times["dual"]
    assert (told["flown"], told["elsewhere"]) == ("1.4 h", "1.0 h")


def test_another_schools_student_is_not_read(people: Cast, learning: None) -> None:
    flown(people, "1-01", 2)
    assert progress.standing(people.otto, DAY) is None


# What lessons prove to the rules


PROVING = {each.code: "perform" for each in courses.private_airplane().items if "presolo.d-03" in each.proves}


def proving(people: Cast, **changed: str) -> models.LessonRecord:
    grades = {**PROVING, **changed}
    said = lessons.content(items=[{"item": code, "grade": grade} for code, grade in grades.items()])
    return lessons.draft(people, said, lesson="")


def newest(people: Cast, item: str) -> list[str]:
    found = record.of(models.Student.objects.get(pk=people.sam.pk)).items_by_name.get(item, ())
    return [each.grade for each in found]


def test_a_draft_says_what_it_would_prove_and_the_sign_off_proves_it(people: Cast, learning: None) -> None:
    made = proving(people)
    would = {each.item: each.grade for each in lesson_records.proves(made)}
    assert would["presolo.d-03"] == "perform"
    assert newest(people, "presolo.d-03") == []
    lessons.sign(made, people.ida)
    made.refresh_from_db()
    assert newest(people, "presolo.d-03") == ["perform"]
    assert {each.item: each.grade for each in lesson_records.proves(made)} == would


def test_the_report_counts_what_the_lessons_prove_and_names_them(people: Cast, learning: None) -> None:
    made = proving(people)
    lessons.sign(made, people.ida)
    found = reports.eligibility(models.Student.objects.get(pk=people.sam.pk), "faa.first-solo", DAY)
    (items,) = [each for each in found.findings if each.rule.id == "faa.first-solo.maneuvers"]
    assert (
        f"{made.pk}/proof/presolo.d-03",
        reason("item.at-standard", item=Named("presolo.d-03"), grade="perform"),
    ) in items.counted


@pytest.mark.any_database  # others here, test_sign_offs and test_courses_at_once make these queries on SQLite
def test_a_correction_of_an_earlier_lesson_changes_what_a_later_one_proved(
    people: Cast, learning: None
) -> None:
    first, *rest = PROVING
    assert rest, "the shipped course proves it by several items"
    early = lessons.signed(people, lessons.content(items=[{"item": first, "grade": "perform"}]), lesson="")
    later = AT + dt.timedelta(days=2)
    said = lessons.content(
        flight=None,
        ground={"date": "2026-03-05", "time": "0.5 h", "topic": "talk"},
        items=[{"item": code, "grade": "perform"} for code in rest],
    )
    lesson = lessons.draft(people, said, lesson="", at=later)
    lessons.sign(lesson, people.ida, at=later)
    assert newest(people, "presolo.d-03") == ["perform"]
    right = sign_offs.correct(
        early,
        id=uuid.uuid4(),
        reason="graded too high",
        content=lessons.content(items=[{"item": first, "grade": "practice"}]),
        by=people.ida,
        at=later,
        via="api",
    )
    lessons.sign(right, people.ida, at=later)
    assert newest(people, "presolo.d-03") == ["practice"]


def test_a_record_taken_out_and_put_back_is_the_same(people: Cast, learning: None) -> None:
    lessons.sign(proving(people), people.ida)
    student = models.Student.objects.get(pk=people.sam.pk)
    whole = record.of(student)
    assert record.store(student, whole, by=people.ida, at=AT) is None
    forged = record.of(student)
    changed = tuple(
        type(each)(**{**_fields(each), "grade": "describe"}) if "/proof/" in each.id else each
        for each in forged.items
    )
    with pytest.raises(record.SealedEntry, match="/proof/presolo"):
        record.store(student, type(forged)(**{**_parts(forged), "items": changed}), by=people.ida, at=AT)


def _fields(entry: Any) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in type(entry).__dataclass_fields__}


def _parts(whole: Any) -> dict[str, Any]:
    return {name: getattr(whole, name) for name in ("student", *whole.PARTS)}


@pytest.mark.any_database  # others here and test_sweeping make these queries on SQLite
def test_the_queries_do_not_grow_with_the_lessons(people: Cast, learning: None) -> None:

    def count() -> int:
        student = models.Student.objects.get(pk=people.sam.pk)
        with CaptureQueriesContext(
            connection,
        ) as seen:
            progress.standing(student, dt.date(2026, 3, 30))
        return len(seen)

    flown(people, "1-01", 2)
    count()
    flown(people, "1-02", 4)
    few = count()
    for day in range(5, 12):
        flown(people, "1-02", day)
    assert count() == few <= 20
