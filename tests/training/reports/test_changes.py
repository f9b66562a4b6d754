"""What changed between two instants: entries in words, and the status that changed with them or with time."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from syllabus.engine.record import record as engine
from syllabus.engine.rules.reasons import Named, reason
from tests.support import factories, handing, lessons, pseudo
from tests.support.cast import Cast
from training import models, record
from training.presenters.days import day
from training.presenters.entry import PLAIN
from training.reports.changes import PersonChange, changes
from training.services.endorsements import endorsements
from training.services.lessons import sign_offs
from training.services.records import attesting

pytestmark = pytest.mark.django_db
MARCH_1 = dt.datetime(2026, 3, 1, 12, tzinfo=dt.UTC)
BORN = dt.date(2006, 5, 17)
MARCH_15 = dt.datetime(2026, 3, 15, 12, tzinfo=dt.UTC)


def words(found) -> list[str]:
    return [each.words(PLAIN) for each in found.entries if each.part == "flights"]


@pytest.mark.any_database  # others here and test_enrolments make these queries on SQLite
def test_a_signed_lesson_came(people: Cast) -> None:
    lessons.signed(people)
    found = changes(people.sam, MARCH_1, MARCH_15)
    assert words(found) == ["Flight of 2026-03-02, 1.4 h in N00XY was added."]
    assert [each.entry.item for each in found.entries if each.part == "items"] == [
        "presolo.d-01",
        "presolo.d-02",
    ]
    assert found.words(PLAIN).startswith(
        "2026-03-01 to 2026-03-15. Entries: 4 added, 0 corrected, 0 removed. Status changes: "
    )


@pytest.mark.any_database  # others here and test_handover make these queries on SQLite
@pytest.mark.parametrize(
    ("first", "says"),
    [
        pytest.param(MARCH_1, "was added", id="seen from before both, the corrected one came"),
        pytest.param(
            lessons.AT,
            "was corrected: the day was written wrong",
            id="seen from between, the other was put right",
        ),
    ],
)
def test_a_corrected_lesson_is_told_once(people: Cast, first, says) -> None:
    wrong = lessons.signed(people)
    later = lessons.AT + dt.timedelta(days=2)
    right = sign_offs.correct(
        wrong,
        id=uuid.uuid4(),
        reason="the day was written wrong",
        content=lessons.flown(
            date="2026-03-01", off="2026-03-01T13:00:00-06:00", on="2026-03-01T14:24:00-06:00"
        ),
        by=people.ida,
        at=later,
        via="api",
    )
    lessons.sign(right, people.ida, at=later)
    found = changes(people.sam, first, MARCH_15)
    (told,) = words(found)
    assert told.startswith("Flight of 2026-03-01")
    assert says in told


def test_a_revoked_endorsement_says_why(people: Cast) -> None:
    given = endorsements.give(
        people.sam, uuid.uuid4(), "knowledge-test", {}, by=people.ida, at=lessons.AT, via="api"
    )
    later = lessons.AT + dt.timedelta(days=3)
    endorsements.revoke(given.endorsement, by=people.ida, reason="given in error", at=later, via="api")
    found = changes(people.sam, lessons.AT, MARCH_15)
    assert [each.words(PLAIN) for each in found.entries] == [
        "Endorsement of 2026-03-03, knowledge test was corrected: revoked, given in error."
    ]


def test_an_entry_that_was_attested_says_who_vouched_before(people: Cast) -> None:
    before, after = (MARCH_1 + dt.timedelta(days=days) for days in (-1, 1))
    record.add(people.sam, "documents", certificate(MARCH_1), at=before, provenance=engine.CLAIMED)
    attesting.attest(
        people.sam, [("documents", "student")], saw="the original", by=people.ida, at=after, via="api",
        confirmed={"by": "password"},
    )  # fmt: skip
    (found,) = changes(people.sam, MARCH_1, MARCH_15).entries
    assert found.reason == reason(
        "change.corrected-because",
        entry=Named("student"),
        why=reason("change.provenance", was=Named("claimed"), now=Named("attested")),
    )
    assert found.words(PLAIN) == (
        "Student pilot certificate of 2026-03-01 was corrected: claimed before, attested now."
    )


def test_a_page_has_the_words_in_its_language(people: Cast) -> None:
    lessons.signed(people)
    at = MARCH_1 + dt.timedelta(days=3)
    record.add(people.sam, "documents", certificate(at), at=at, provenance=engine.ATTESTED)
    found = changes(people.sam, MARCH_1, MARCH_15)
    (flight,) = [each for each in found.entries if each.part == "flights"]
    with pseudo.spoken():
        said = [each.words() for each in (found, flight, *found.requirements)]
        born = PersonChange("birth_date", None, BORN).words()
        assert born == f"«The birth date changed from «none» to {day(BORN)}.»"
        assert said[1] == f"««Flight of {day(dt.date(2026, 3, 2))}, 1.4 h in N00XY» was added.»"
    assert len(said) > 2
    assert all(each.startswith("«") and each.endswith("»") for each in said)


@pytest.mark.any_database  # others here and test_status_changes make these queries on SQLite
def test_what_was_taken_off_is_told(people: Cast) -> None:
    factories.recorded(people.sam, at=MARCH_1 - dt.timedelta(days=1), **handing.records())
    factories.recorded(people.sam, at=MARCH_1 + dt.timedelta(days=1), flights=handing.records()["flights"])
    found = changes(people.sam, MARCH_1, MARCH_15)
    assert [(each.change, each.entry.id) for each in found.entries] == [
        ("retired", "medical"),
        ("retired", "student"),
    ]


def changed(found, requirement: str) -> list[tuple[bool | None, bool | None, str]]:
    return [
        (each.was, each.now, each.because)
        for each in found.requirements
        if each.after.rule.id == requirement and each.milestone == "faa.first-solo"
    ]


def certificate(at: dt.datetime) -> engine.Document:
    return engine.Document("student", "student-pilot-certificate", at.date())


def test_a_requirement_changes_because_the_record_changed(people: Cast) -> None:
    record.add(
        people.sam,
        "documents",
        certificate(MARCH_1),
        at=MARCH_1 + dt.timedelta(days=3),
        provenance=engine.ATTESTED,
    )
    found = changes(people.sam, MARCH_1, MARCH_15)
    assert changed(found, "faa.first-solo.certificate") == [(False, True, "record")]
    (told,) = [
        each.words(PLAIN) for each in found.requirements if each.after.rule.id == "faa.first-solo.certificate"
    ]
    assert ": changed from not met (" in told
    assert told.endswith(") because the record changed.")


def test_a_requirement_changes_because_time_passed(people: Cast) -> None:
    models.Student.objects.filter(pk=people.sam.pk).update(birth_date=dt.date(2010, 3, 10))
    people.sam.refresh_from_db()
    found = changes(people.sam, MARCH_1, MARCH_15)
    assert changed(found, "faa.first-solo.age") == [(False, True, "time")]
    assert found.requirements[0].words(PLAIN).endswith(" because time passed.")


def test_nothing_changes_where_nothing_happened(people: Cast) -> None:
    found = changes(people.sam, MARCH_1, MARCH_1 + dt.timedelta(hours=1))
    assert (found.entries, found.milestones, found.requirements) == ((), (), ())


def test_the_later_instant_cannot_be_the_earlier(people: Cast) -> None:
    with pytest.raises(ValueError, match="lies before"):
        changes(people.sam, MARCH_15, MARCH_1)
