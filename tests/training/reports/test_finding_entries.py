"""What a finding's entries are, in words, and what became of each."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest

from tests.support import audits, factories, lessons
from tests.support.cast import Cast
from tests.training.reports.test_audit import flown
from training import models
from training.reports import finding_entries
from training.services.endorsements import endorsements
from training.services.lessons import sign_offs

pytestmark = pytest.mark.django_db
LATER = lessons.AT + dt.timedelta(days=4)


def told(people: Cast, *entries: str) -> list[tuple[str, str, bool]]:
    body = {"entries": [{"student": str(people.sam.ref), "id": each} for each in entries]}
    found = models.Finding(school=people.school, student=people.sam, body=body)
    named = finding_entries.of(found)
    who = finding_entries.vouched([found])
    assert {(str(people.sam.ref), each.id): each.provenance for each in named if each.provenance} == who
    return [(each.words, each.became, each.lesson is not None) for each in named]


def corrected(people: Cast, lesson: models.LessonRecord, **changed: Any) -> models.LessonRecord:
    right = sign_offs.correct(
        lesson, id=uuid.uuid4(), reason="the wrong aircraft", content=lessons.flown(**changed), by=people.ida,
        at=LATER, via="api",
    )  # fmt: skip
    lessons.sign(right, people.ida, at=LATER)
    return right


@pytest.mark.any_database  # others here and test_sign_offs make these queries on SQLite
def test_an_entry_of_a_lesson_and_what_put_it_right(people: Cast) -> None:
    lesson = lessons.signed(people)
    flight = f"{lesson.pk}/flight"
    assert told(people, flight) == [("Flight of 2026-03-02, 1.4 h in N00XY", "", True)]
    right = corrected(people, lesson, remarks="calm")
    assert told(people, flight, f"{right.pk}/flight") == [
        ("Flight of 2026-03-02, 1.4 h in N00XY", "corrected on 2026-03-07: the wrong aircraft", True),
        ("Flight of 2026-03-02, 1.4 h in N00XY", "", True),
    ]


def test_an_entry_that_was_replaced_and_one_that_was_taken_off(people: Cast) -> None:
    factories.recorded(people.sam, flights=(flown(),))
    factories.recorded(people.sam, flights=(flown(remarks="again"),), at=LATER)
    assert told(people, "f-2026-03-02") == [("Flight of 2026-03-02, 1.0 h in N00XY", "", False)]
    factories.recorded(people.sam, flights=(), at=LATER + dt.timedelta(days=1))
    [(_, became, _)] = told(people, "f-2026-03-02")
    assert became == "removed on 2026-03-08"


def test_an_endorsement_that_was_revoked(people: Cast) -> None:
    lessons.signed(people)
    given = endorsements.give(
        people.sam, uuid.uuid4(), "knowledge-test", {}, by=people.ida, at=lessons.AT, via="api"
    ).endorsement
    endorsements.revoke(given, by=people.ida, reason="given too soon", at=LATER, via="api")
    assert told(people, given.entry_id) == [
        ("Endorsement of 2026-03-03, knowledge test", "revoked on 2026-03-07: given too soon", False)
    ]


def test_a_lesson_that_was_not_signed_and_then_was(people: Cast) -> None:
    draft = lessons.draft(people)
    assert told(people, str(draft.pk)) == [("Lesson S1-L3", "still a draft", False)]
    lessons.sign(draft, people.ida)
    assert told(people, str(draft.pk)) == [("Lesson S1-L3", "signed on 2026-03-03", True)]


def test_what_is_on_record_nowhere_is_named_by_its_id(people: Cast) -> None:
    assert told(people, "nowhere", f"{uuid.uuid4()}/flight") == [("", "", False)] * 2
    found = audits.stands(people, body={"entries": [{"student": None, "id": "x"}]})
    assert finding_entries.of(found) == [finding_entries.Named(None, "x")]
