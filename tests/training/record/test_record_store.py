"""A record is replaced: what is the same stays, what is not is kept aside, and the past can be read again."""

import dataclasses
import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from syllabus.engine.places import geography
from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from syllabus.engine.time import units
from tests.support import factories
from training import models, record

NOON = factories.NOON
LATER, LATER_STILL = NOON + dt.timedelta(days=1), NOON + dt.timedelta(days=2)
KGRB, KMTW = (geography.airports().find(name) for name in ("KGRB", "KMTW"))

LESSON = engine.Flight(
    "f1",
    dt.date(2026, 3, 1),
    aircraft=engine.Aircraft("N00XY", "C172", "airplane", "single-engine land"),
    route=(KGRB, KMTW, KGRB),
    off=dt.datetime.fromisoformat("2026-03-01T19:40:00-06:00"),
    times={"total": units.parse_time("1.4 h"), "dual": units.parse_time("84 min")},
    landings=(engine.Landings(KMTW, 3, 3, "night", full_stop=True),),
    instructor=engine.Instructor("Bo Example", "0000001CFI"),
)
SOLO = engine.Flight("f2", dt.date(2026, 3, 2), times={"total": units.HOUR, "solo": units.HOUR})
MEDICAL = engine.Document("d1", "medical", dt.date(2026, 1, 5), klass="third")


def record_of(*flights: engine.Flight, **parts: tuple) -> engine.Record:
    return engine.Record(student=engine.Student("Sam Example"), flights=flights, **parts)


@pytest.fixture
def student(db: None) -> models.Student:
    return factories.student(name="Sam Example", birth_date=None)


def store(student: models.Student, found: engine.Record, at: dt.datetime = NOON):
    return record.store(student, found, by=None, at=at)


def test_an_entry_that_stays_the_same_keeps_the_time_it_was_put_on_record(student):
    store(student, record_of(LESSON, SOLO))
    store(student, record_of(LESSON, dataclasses.replace(SOLO, remarks="windy")), at=LATER)

    assert list(
        models.Flight.objects.order_by("pk").values_list("entry_id", "recorded_at", "retired_at")
    ) == [
        ("f1", NOON, None),
        ("f2", NOON, LATER),
        ("f2", LATER, None),
    ]


def test_nothing_different_writes_nothing(student):
    store(student, record_of(LESSON, SOLO))

    assert store(student, record_of(SOLO, LESSON), at=LATER) is None
    assert models.RecordChange.objects.count() == 1


def test_an_entry_taken_out_is_off_the_record_and_still_there(student):
    store(student, record_of(LESSON, SOLO))
    store(student, record_of(LESSON), at=LATER)

    assert record.of(student) == record_of(LESSON)
    assert models.Flight.objects.get(entry_id="f2").retired_at == LATER


CHANGES = [
    pytest.param({"remarks": "windy"}, id="a remark"),
    pytest.param({"times": {**LESSON.times, "dual": 0}}, id="a time that is zero"),
    pytest.param({"times": {"total": LESSON.times["total"]}}, id="a time that is not logged any more"),
    pytest.param({"times": {**LESSON.times, "total": LESSON.times["total"] + 1}}, id="a microsecond"),
    pytest.param({"off": LESSON.off.astimezone(dt.UTC)}, id="the clock that an instant was read from"),
    pytest.param({"landings": (dataclasses.replace(LESSON.landings[0], towered=False),)}, id="a landing"),
    pytest.param({"landings": ()}, id="all landings"),
    pytest.param({"route": (KGRB, KMTW)}, id="the route"),
    pytest.param({"instructor": None}, id="the instructor"),
    pytest.param({"recorded": NOON}, id="when it was first written down"),
]


@pytest.mark.parametrize("change", CHANGES)
def test_any_difference_makes_a_new_entry_of_the_same_id(student, change):
    changed = dataclasses.replace(LESSON, **change)
    store(student, record_of(LESSON))
    made = store(student, record_of(changed), at=LATER)

    assert made.counts["flights"] == {"added": 0, "changed": 1, "removed": 0, "kept": 0}
    assert document.dump(record.of(student)) == document.dump(record_of(changed))


def test_the_change_says_who_when_what_and_from_what_to_what(student):
    ida = factories.instructor(student.school)
    before, after = record_of(LESSON, SOLO), record_of(LESSON, documents=(MEDICAL,))
    store(student, before)

    made = record.store(student, after, by=ida, at=LATER)

    stored = models.RecordChange.objects.get(pk=made.pk)
    assert (stored.by, stored.at, stored.school) == (ida, LATER, student.school)
    assert (stored.before, stored.after) == (record.fingerprint(before), record.fingerprint(after))
    assert stored.counts["flights"] == {"added": 0, "changed": 0, "removed": 1, "kept": 1}
    assert stored.counts["documents"] == {"added": 1, "changed": 0, "removed": 0, "kept": 0}
    assert stored.student_before is None


def test_a_new_name_or_birth_date_keeps_the_old_one_with_the_change(student):
    found = dataclasses.replace(record_of(), student=engine.Student("Samuel Example", dt.date(2006, 5, 17)))
    made = store(student, found)

    assert made.student_before == {"name": "Sam Example"}
    assert models.Student.objects.get(pk=student.pk).birth_date == dt.date(2006, 5, 17)
    assert student.name == "Samuel Example"


def test_a_failure_half_way_leaves_everything_as_it_was(student, monkeypatch):
    store(student, record_of(LESSON))

    def fails(*_args, **_kwargs):
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(models.RecordChange.objects, "create", fails)
    with pytest.raises(RuntimeError, match="disk"):
        store(student, record_of(SOLO), at=LATER)

    assert record.of(student) == record_of(LESSON)


def test_a_clock_that_runs_behind_keeps_the_order_of_changes(student):
    store(student, record_of(LESSON), at=LATER)
    made = store(student, record_of(SOLO), at=NOON)

    assert made.at == LATER
    assert record.of(student) == record_of(SOLO)


def test_two_students_may_have_entries_of_the_same_id(student):
    other = factories.student(student.school, name="Sam Example", birth_date=None)
    store(student, record_of(LESSON))
    store(other, record_of(dataclasses.replace(SOLO, id="f1")))

    assert [flight.times for flight in record.of(student).flights] == [LESSON.times]
    assert [flight.times for flight in record.of(other).flights] == [SOLO.times]


def test_an_entry_is_linked_to_the_schools_own_aircraft_and_instructor(student):
    bo = factories.instructor(student.school, certificate="0000001CFI")
    amber = factories.aircraft(student.school, registration="N00XY")
    elsewhere = factories.school()
    factories.instructor(elsewhere, certificate="0000009CFI")
    factories.aircraft(elsewhere, registration="N00ZZ")
    other = dataclasses.replace(
        LESSON,
        id="f9",
        aircraft=engine.Aircraft("N00ZZ"),
        instructor=engine.Instructor("Olaf Example", "0000009CFI"),
    )
    store(student, record_of(LESSON, other))

    ours, theirs = models.Flight.objects.order_by("entry_id")
    assert (ours.aircraft, ours.instructor_user) == (amber, bo)
    assert (theirs.aircraft, theirs.instructor_user) == (None, None)
    assert theirs.instructor_name == "Olaf Example"


# As known at an instant


def ids(student: models.Student, known_at: dt.datetime | None) -> list[str]:
    return [flight.id for flight in record.of(student, known_at=known_at).flights]


@pytest.mark.parametrize(
    ("known_at", "expected"),
    [
        pytest.param(NOON - dt.timedelta(microseconds=1), [], id="just before, nothing"),
        pytest.param(NOON, ["f1"], id="from the very instant it was put on record"),
        pytest.param(LATER - dt.timedelta(microseconds=1), ["f1"], id="until just before it was taken out"),
        pytest.param(LATER, ["f2"], id="at the instant of the change, the new state"),
        pytest.param(LATER_STILL, ["f2"], id="afterwards too"),
    ],
)
def test_what_was_on_record_can_be_read_again(student, known_at, expected):
    store(student, record_of(LESSON))
    store(student, record_of(SOLO), at=LATER)

    assert ids(student, known_at) == expected


def test_landings_are_those_of_their_time(student):
    store(student, record_of(LESSON))
    store(student, record_of(dataclasses.replace(LESSON, landings=())), at=LATER)

    (then,) = record.of(student, known_at=NOON).flights
    (now,) = record.of(student).flights
    assert (then.landings, now.landings) == (LESSON.landings, ())


LONG_BEFORE = dt.datetime(2026, 3, 1, 20, tzinfo=dt.timezone(dt.timedelta(hours=-6)))


def test_an_entry_that_says_when_it_was_written_down_was_known_when_it_came_here(student):
    store(student, record_of(dataclasses.replace(LESSON, recorded=LONG_BEFORE)))

    assert ids(student, LONG_BEFORE) == []
    assert ids(student, NOON - dt.timedelta(microseconds=1)) == []
    assert ids(student, NOON) == ["f1"]
    assert record.of(student).flights[0].recorded == LONG_BEFORE


def test_what_stood_then_is_what_was_known_whatever_its_successor_says(student):
    store(student, record_of(LESSON))
    store(student, record_of(dataclasses.replace(LESSON, remarks="new", recorded=LONG_BEFORE)), at=LATER)

    assert [flight.remarks for flight in record.of(student, known_at=NOON).flights] == [""]
    assert [flight.remarks for flight in record.of(student, known_at=LATER).flights] == ["new"]


def test_asked_about_an_instant_every_entry_says_since_when_it_is_on_record_here(student):
    store(student, record_of(LESSON, dataclasses.replace(SOLO, recorded=LONG_BEFORE)))

    known = record.of(student, known_at=NOON)

    assert {flight.id: flight.recorded for flight in known.flights} == {"f1": NOON, "f2": NOON}
    assert known.as_known_at(NOON) == known


# Places


def test_an_airport_that_the_table_lost_is_a_place_nobody_has_located(student):
    store(student, record_of(LESSON))
    models.Flight.objects.update(route=["KGRB", "KQQQQ"])

    (flight,) = record.of(student).flights
    assert flight.route == (KGRB, geography.position("KQQQQ", None, None))


# Queries


def many(number: int) -> engine.Record:
    return record_of(*(dataclasses.replace(LESSON, id=f"f{each}") for each in range(number)))


@pytest.mark.parametrize("known_at", [None, LATER], ids=["as it is", "as it was known"])
def test_a_record_is_read_in_one_query_whatever_its_size(student, known_at, django_assert_num_queries):
    store(student, many(1))
    with django_assert_num_queries(1):
        record.of(student, known_at=known_at)

    store(student, many(300))
    with django_assert_num_queries(1):
        assert len(record.of(student, known_at=known_at).flights) == 300


def test_a_thousand_flights_are_stored_in_few_statements(student):
    with CaptureQueriesContext(connection) as queries:
        store(student, many(1_000))

    # SQLite takes fewer values in one statement.
    most = 40 if connection.vendor == "postgresql" else 120
    assert len(queries) < most


def test_a_student_who_is_gone_has_no_record(student):
    gone = models.Student.objects.get(pk=student.pk)
    student.delete()
    with pytest.raises(models.Student.DoesNotExist):
        record.of(gone)


def test_a_student_read_long_ago_still_gives_todays_entries(student):
    long_ago = models.Student.objects.get(pk=student.pk)
    store(student, record_of(LESSON))

    assert record.of(long_ago).flights == (LESSON,)


def test_a_version_changes_with_the_record_and_not_without(student):
    first = student.version
    store(student, record_of(LESSON))
    second = student.version
    store(student, record_of(LESSON), at=LATER)

    assert first != second == student.version == models.Student.objects.get(pk=student.pk).version
