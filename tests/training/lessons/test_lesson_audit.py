"""Rows of signed lessons that somebody changed past the triggers are found beside the ledger."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import transaction

from tests.support import factories, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.lessons import AT, content, flown, sign, signed
from training import models
from training.ledger.store import entries
from training.services.lessons import lesson_audit, sign_offs
from training.services.signing import seals

STRIP = {"name": "grass strip", "lat": 44.1, "lon": -87.9}


@kept
def two(people: Cast) -> tuple[models.LessonRecord, models.LessonRecord]:
    """A signed lesson that was corrected and its correction, acknowledged; and a third that stands alone."""
    first = signed(people, flown(route=["KGRB", STRIP, "KGRB"]))
    second = sign_offs.correct(
        first,
        id=uuid.uuid4(),
        reason="wrong time",
        content=flown(times={"total": "1.3 h"}),
        by=people.ida,
        at=AT,
        via="api",
    )
    sign(second, people.ida)
    sign_offs.acknowledge(second.pk, by=people.sams_account, at=AT, via="api")
    signed(people, content(flight=None))
    return first, second


def found(people: Cast) -> list[str]:
    return list(lesson_audit.faults(people.school))


def test_what_was_signed_here_fits(people: Cast, two: Any) -> None:
    assert found(people) == []
    assert list(lesson_audit.faults(people.elsewhere)) == []


def extra_landing(people: Cast) -> None:
    flight = models.Flight.objects.first()
    assert flight
    models.Landing.objects.create(school=people.school, student=people.sam, flight=flight, position=7)


def forged_flight(people: Cast) -> None:
    models.Flight.objects.create(
        school=people.school,
        student=people.sam,
        entry_id=f"{uuid.uuid4()}/flight",
        recorded_at=AT,
        date=AT.date(),
        sealed=True,
        provenance="signed",
    )


def forged_leaf(people: Cast) -> None:
    with transaction.atomic():
        entries.append(
            tree=seals.tree_of(people.school), kind="lesson.signed", subject="x", body={"a": 1}, at=AT
        )


@pytest.mark.any_database  # the audit asks the same where all fits
@pytest.mark.parametrize(
    ("change", "says"),
    [
        pytest.param(
            lambda people: models.Flight.objects.update(remarks="calm"),
            "/flight differs from what was signed",
            id="a flight's remarks",
        ),
        pytest.param(
            lambda people: models.Landing.objects.update(landings=9),
            "the landings of",
            id="the number of landings",
        ),
        pytest.param(extra_landing, "the landings of", id="landings more"),
        pytest.param(
            lambda people: models.ItemGrade.objects.filter(grade="practice").update(grade="perform"),
            "/item-2 differs from what was signed",
            id="a grade",
        ),
        pytest.param(
            lambda people: models.ItemGrade.objects.all().delete(), "/item-1 is missing", id="the grades gone"
        ),
        pytest.param(
            lambda people: models.GroundLesson.objects.update(retired_at=None),
            "is on the record",
            id="an entry back that was corrected",
        ),
        pytest.param(
            lambda people: models.GroundLesson.objects.filter(retired_at=None).update(retired_at=AT),
            "is off the record",
            id="an entry off without a correction",
        ),
        pytest.param(
            lambda people: models.GroundLesson.objects.update(sealed=False, provenance="claimed"),
            "/ground differs from what was signed",
            id="an entry unsealed",
        ),
        pytest.param(
            lambda people: models.LessonRecord.objects.update(lesson="S9"),
            "its content differs from what was signed",
            id="the lesson's code",
        ),
        pytest.param(
            lambda people: models.LessonRecord.objects.update(state="draft"),
            "marked as a draft",
            id="a state",
        ),
        pytest.param(
            lambda people: models.SignOff.objects.update(by=people.olaf),
            "its sign-off differs from ledger entry",
            id="who signed",
        ),
        pytest.param(
            lambda people: models.Acknowledgement.objects.all().delete(),
            "entry 3 (lesson.acknowledged) has no row",
            id="an acknowledgement gone",
        ),
        pytest.param(
            lambda people: models.Correction.objects.update(ledger_index=99),
            "names entry 99, which is not a lesson.corrected",
            id="a correction's place",
        ),
        pytest.param(forged_flight, "belongs to no signed lesson", id="a flight that nobody signed"),
        pytest.param(forged_leaf, "(lesson.signed) has no row", id="an entry of the ledger without its row"),
    ],
)
def test_a_change_past_the_triggers_is_named(people: Cast, two: Any, change: Any, says: str) -> None:
    with lessons.unguarded():
        change(people)
    assert any(says in fault for fault in found(people)), found(people)


@pytest.mark.any_database  # others here and test_sign_offs make these queries on SQLite
def test_a_lesson_of_another_school_is_not_mixed_in(people: Cast, two: Any) -> None:
    factories.role("instructor", at=people.elsewhere, whose=people.ida, certificate="0000001CFI")
    factories.assign(people.ida, people.otto)
    signed(people, student=people.otto)
    assert found(people) == []
    assert list(lesson_audit.faults(people.elsewhere)) == []
