"""An entry that nobody signed never passes for a signed lesson's own by its id."""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid
from typing import Any

import pytest

from syllabus.engine.course import proving
from syllabus.engine.errors import DocumentError
from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from tests.support import courses, handing, lessons
from tests.support.cast import Cast
from tests.support.lessons import AT
from tests.training.reports.test_progress import proving as proving_lesson
from tests.training.transfer.test_flight_import import asked, table
from training import models, record
from training.services.errors import Conflict
from training.services.imports import flight_import
from training.services.lessons import sign_offs
from training.services.records import record_entries, records
from training.services.transfer import handover

LESSON = "0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a01"
GRADE = {"item": "presolo.d-03", "date": "2026-03-02", "grade": "perform"}
WAY_OUT = "give the entry another"


def brought(people: Cast, said: dict[str, Any]) -> records.Imported:
    return records.import_document(
        said, student=people.sam, by=people.ida, at=AT, via="api", reason="from the logbook"
    )


def out(people: Cast) -> dict[str, Any]:
    return records.export_document(people.sam, by=people.ida, at=AT, via="api")


def plant(people: Cast, name: str, day: str = "2026-03-02") -> None:
    """A claimed flight under an id, as it could come on record before."""
    form = {"format": "training-record/1", "flights": [{"id": name, "date": day}]}
    record.add(people.sam, "flights", document.parse(form).flights[0], at=AT)


@pytest.mark.parametrize("name", [f"{LESSON}/flight", f"{LESSON.upper()}/x", "a/proof/presolo.d-03"])
@pytest.mark.parametrize("new", [True, False])
def test_a_document_brings_no_lessons_own_id(people: Cast, name: str, new: bool) -> None:
    said = {"format": "training-record/1", "items": [{**GRADE, "id": "mine"}, {**GRADE, "id": name}]}
    whose: dict[str, Any] = {"school": people.school} if new else {"student": people.sam}
    with pytest.raises(DocumentError) as refused:
        records.import_document(said, **whose, by=people.ida, at=AT, via="api", reason="from the logbook")
    [fault] = refused.value.errors
    assert fault.place == "items[1].id"
    assert repr(name) in fault.message
    assert WAY_OUT in fault.message
    assert not models.RecordChange.objects.exists()


def test_what_a_lesson_here_gave_may_come_back_unchanged_and_nothing_beside_it(people: Cast) -> None:
    courses.enrolled(people)
    lessons.sign(proving_lesson(people), people.ida)
    whole = out(people)
    assert any(proving.MARK in each["id"] for each in whole["items"])
    assert brought(people, whole).change is None
    lesson = models.LessonRecord.objects.get()
    planted = {**GRADE, "id": f"{lesson.prefix}proof/presolo.d-99"}
    with pytest.raises(DocumentError, match=WAY_OUT):
        brought(people, {**whole, "items": [*whole["items"], planted]})
    touched = [{**each, "remarks": "better"} for each in whole["flights"]]
    with pytest.raises(record.SealedEntry):
        brought(people, {**whole, "flights": touched})


def test_a_claim_that_stands_under_such_an_id_stays_as_it_is_or_goes(people: Cast) -> None:
    plant(people, f"{LESSON}/flight")
    whole = out(people)
    assert brought(people, whole).change is None
    with pytest.raises(DocumentError, match=WAY_OUT):
        brought(people, {**whole, "flights": [{**whole["flights"][0], "remarks": "longer"}]})
    assert brought(people, {**whole, "flights": []}).change is not None


def test_a_file_of_flights_brings_none_either(people: Cast) -> None:
    found = table(f"{LESSON}/flight,2026-01-05,2.0", header="id,date,total")
    [fault] = flight_import.dry_run(found, asked(found), people.sam, at=AT).errors
    assert fault.place == "row 2"
    assert WAY_OUT in fault.message


@pytest.mark.any_database  # others here and test_handover make these queries on SQLite
def test_a_hand_over_brings_those_of_its_sealed_lessons_alone(people: Cast) -> None:
    handing.trained(people)
    plant(people, f"{LESSON}/flight")
    raw, kid = handing.made(people)
    with pytest.raises(handover.HandOverError) as refused:
        handover.take(
            raw,
            school=people.elsewhere,
            trust=[kid],
            by=None,
            at=handing.AT,
            via="command",
            reason="moved here",
        )
    [fault] = refused.value.errors
    assert f"{LESSON}/flight" in fault.message
    assert WAY_OUT in fault.message


def test_only_what_is_sealed_is_shown_as_signed_with_a_lesson(people: Cast) -> None:
    lesson = lessons.signed(people)
    plant(people, f"{lesson.prefix}more")
    later = AT + dt.timedelta(days=1)
    shown = {
        each.entry.id: each for each in record_entries.of(people.sam, "flights", later.date(), known_at=later)
    }
    assert "signed by Ida Example" in shown[f"{lesson.prefix}flight"].origin
    planted = shown[f"{lesson.prefix}more"]
    assert (planted.origin, planted.index) == ("added here", None)


def test_a_correction_takes_off_what_was_signed_and_nothing_else(people: Cast) -> None:
    lesson = lessons.signed(people)
    plant(people, f"{lesson.prefix}more")
    right = sign_offs.correct(
        lesson, id=uuid.uuid4(), reason="wrong", content=lessons.CONTENT, by=people.ida, at=AT, via="api"
    )
    lessons.sign(right, people.ida)
    assert [each.id for each in record.of(people.sam).flights if each.provenance == engine.CLAIMED] == [
        f"{lesson.prefix}more"
    ]


def test_a_sign_off_names_the_entry_that_stands_in_its_way(people: Cast) -> None:
    lesson = lessons.draft(people)
    plant(people, f"{lesson.prefix}flight")
    with pytest.raises(Conflict, match=f"flights {lesson.prefix}flight"):
        lessons.sign(lesson, people.ida)
    assert not models.SignOff.objects.exists()


def test_a_grade_called_like_a_lesson_is_none_of_the_lessons(people: Cast) -> None:
    courses.enrolled(people)
    lesson = proving_lesson(people)
    lessons.sign(lesson, people.ida)
    before = [each for each in record.of(people.sam).items if proving.MARK in each.id]
    of_lesson = next(each for each in record.of(people.sam).items if each.id.startswith(lesson.prefix))
    early = dataclasses.replace(of_lesson, id=str(lesson.pk), flight=None, date=dt.date(2020, 1, 1))
    record.add(people.sam, "items", early, at=AT)
    assert [each for each in record.of(people.sam).items if proving.MARK in each.id] == before
