"""Reading a training record document strictly, and writing it out; its faults have a file of their own."""

import json
from datetime import date
from typing import Any

import pytest

from syllabus.engine.errors import DocumentError
from syllabus.engine.record import reading, vocabulary
from syllabus.engine.record.document import dump, parse
from syllabus.engine.record.record import Record
from syllabus.engine.time.units import HOUR, MINUTE
from tests.support.rows import over_rows


def document(**parts: Any) -> dict[str, Any]:
    return {"format": "training-record/1", **parts}


def faults(given: object) -> list[str]:
    with pytest.raises(DocumentError) as refused:
        parse(given)
    return [str(fault) for fault in refused.value.errors]


def flight(**keys: Any) -> dict[str, Any]:
    return {"id": "f1", "date": "2026-05-01", **keys}


@pytest.mark.parametrize(
    ("given", "fault"),
    [
        pytest.param({}, "format: missing", id="an empty object"),
        pytest.param([], "expected an object, got a list", id="a list"),
        pytest.param(None, "expected an object, got null", id="null"),
        pytest.param("x", "expected an object, got a string", id="text"),
        pytest.param(
            {"format": "training-record/2"},
            "format: 'training-record/2' is not a known format; use one of training-record/1;"
            " did you mean 'training-record/1'?",
            id="another format",
        ),
    ],
)
def test_what_is_no_record_document_is_refused(given: object, fault: str) -> None:
    assert faults(given) == [fault]


def test_every_fault_is_listed_at_once() -> None:
    found = faults(
        {
            "student": {"birth_date": "2010-02-30"},
            "flights": [flight(times={"total": "1 NM", "dual": True}, route=["KGRB", 7]), 5],
            "items": [{"item": "presolo.d-01", "date": "2026-05-01", "grade": "A"}],
            "tests": [{"date": "2026-05-01"}],
            "endorsments": [],
        }
    )

    assert [fault.split(": ")[0] for fault in found] == [
        "format",
        "student.birth_date",
        "flights[0].route[1]",
        "flights[0].times.total",
        "flights[0].times.dual",
        "flights[1]",
        "items[0].grade",
        "tests[0].kind",
        "endorsments",
    ]


def test_the_place_starts_where_the_caller_says() -> None:
    with pytest.raises(DocumentError) as refused:
        parse(document(flights=[flight(timez=1)]), place="record")

    assert str(refused.value).startswith("record.flights[0].timez: ")


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        pytest.param('{"a": 1,}', "line 1, column 9: not JSON", id="a comma too many"),
        pytest.param('{"a": 1}\nx', "line 2, column 1: not JSON: Extra data", id="something after the end"),
        pytest.param(
            '{"a": 1, "a": 2}', "the key 'a' occurs twice in one object; keep one", id="a key twice"
        ),
        pytest.param('{"a": NaN}', "NaN is not a number in JSON", id="not a number"),
        pytest.param('{"a": -Infinity}', "-Infinity is not a number in JSON", id="infinity"),
        pytest.param(b"\xff", "byte 0: not UTF-8 text", id="bytes of another encoding"),
        pytest.param("[" * 100_000, "nested too deep", id="too deep"),
        pytest.param('{"a": ' + "9" * 5_000 + "}", "a number that is too long", id="a long number"),
    ],
)
def test_text_that_is_no_json_is_refused(text: str | bytes, fault: str) -> None:
    with pytest.raises(DocumentError) as refused:
        reading.loads(text, error=DocumentError)

    assert fault in str(refused.value)


def test_what_is_left_out_is_none_zero_or_unknown() -> None:
    record = parse(document(flights=[{"date": "2026-05-01", "landings": [{}]}]))
    (entry,) = record.flights
    (landed,) = entry.landings

    assert parse(document()) == Record()
    assert entry.id == "flights[0]"
    assert (entry.trip, entry.off, entry.instructor, entry.aircraft.klass) == (None, None, None, None)
    assert dict(entry.times) == {}
    assert (landed.takeoffs, landed.landings, landed.full_stop, landed.towered) == (0, 0, None, None)


def test_null_says_the_same_as_a_key_left_out() -> None:
    said = flight(trip=None, off=None, times={"night": None}, instructor=None, aircraft={"device": None})

    assert parse(document(flights=[said])) == parse(document(flights=[flight()]))


def test_zero_is_not_the_same_as_nothing_said() -> None:
    (entry,) = parse(document(flights=[flight(times={"night": 0})])).flights

    assert dict(entry.times) == {"night": 0}


@pytest.mark.parametrize(
    ("spelled", "microseconds"),
    [
        pytest.param("1.4 h", 84 * MINUTE, id="tenths of an hour"),
        pytest.param("84 min", 84 * MINUTE, id="minutes"),
        pytest.param("1:24", 84 * MINUTE, id="hours and minutes"),
        pytest.param(1.4, 84 * MINUTE, id="a bare number of hours"),
        pytest.param(0.33, 33 * HOUR // 100, id="hundredths of an hour"),
    ],
)
def test_a_time_may_be_written_in_several_ways(spelled: Any, microseconds: int) -> None:
    (entry,) = parse(document(flights=[flight(times={"total": spelled})])).flights

    assert entry.times["total"] == microseconds


@pytest.mark.parametrize(
    ("written", "read"),
    [
        pytest.param("solo-first90", "solo-90-day", id="another name of the same endorsement"),
        pytest.param("practical_test", "practical-test", id="underscores for hyphens"),
        pytest.param("tailwheel", "tailwheel", id="a kind that no rule reads is kept"),
    ],
)
def test_a_kind_of_endorsement_is_known_by_its_names(written: str, read: str) -> None:
    (entry,) = parse(document(endorsements=[{"kind": written, "given": "2026-05-01"}])).endorsements

    assert entry.kind == read


def test_an_airport_is_one_place_under_each_of_its_identifiers() -> None:
    record = parse(document(flights=[flight(route=["KM26", "M26", " m26 "])]))

    assert len({place.key for place in record.flights[0].route}) == 1


def test_entries_of_days_to_come_are_read() -> None:
    """The engine has no clock: an entry counts from its own day, whenever one asks."""
    (entry,) = parse(document(flights=[flight(date="2199-12-31")])).flights

    assert entry.date == date(2199, 12, 31)


def test_entries_stand_in_order_of_date_whatever_order_they_came_in() -> None:
    days = ["2026-05-03", "2026-05-01", "2026-05-02"]
    record = parse(document(flights=[{"id": day, "date": day} for day in days]))

    assert [entry.id for entry in record.flights] == sorted(days)


FULL = {
    "format": "training-record/1",
    "student": {"name": "Ada Example", "birth_date": "2012-05-17"},
    "certificates": [{"id": "c1", "kind": "sport", "category": "airplane", "issued": "2026-01-15"}],
    "flights": [
        {
            "id": "f1",
            "date": "2026-03-02",
            "trip": "t7",
            "aircraft": {
                "registration": "N00XY",
                "model": "C172",
                "category": "airplane",
                "class": "single-engine land",
            },
            "route": [
                "KGRB",
                "KMTW",
                {"name": "grass strip", "lat": 44.1, "lon": -87.9},
                {"name": "meadow"},
                "KGRB",
            ],
            "off": "2026-03-02T19:40:00-06:00",
            "on": "2026-03-02T21:04:00-06:00",
            "times": {
                "total": "1.4 h",
                "dual": "1.4 h",
                "solo": "0.0 h",
                "night": "0.6 h",
                "simulated_instrument": "17 min",
            },
            "landings": [
                {
                    "at": "KMTW",
                    "takeoffs": 3,
                    "landings": 3,
                    "period": "night",
                    "full_stop": True,
                    "pattern": True,
                    "towered": False,
                }
            ],
            "instructor": {"name": "Bo Example", "certificate": "0000001CFI"},
            "purposes": ["practical-test-preparation:private"],
            "remarks": "gusty",
            "recorded": "2026-03-03T08:00:00+00:00",
        }
    ],
    "ground": [{"id": "g1", "date": "2026-02-20", "time": "1.5 h", "topic": "pre-solo rules review"}],
    "items": [{"id": "i1", "item": "presolo.d-01", "date": "2026-03-02", "grade": "perform", "flight": "f1"}],
    "documents": [
        {"id": "d1", "kind": "medical", "class": "third", "issued": "2026-01-05", "expires": "2027-01-05"}
    ],
    "tests": [
        {
            "id": "t1",
            "kind": "knowledge:private-airplane",
            "date": "2026-05-01",
            "result": "pass",
            "score": 88,
            "deficient_codes": [],
        }
    ],
    "endorsements": [
        {
            "id": "e1",
            "kind": "solo-cross-country-flight",
            "given": "2026-04-10",
            "route": ["KGRB", "KMTW"],
            "flight_date": "2026-04-11",
            "training_date": "2026-04-09",
            "conditions": "wind below 10 kt",
        }
    ],
}


def test_a_document_written_out_says_what_it_said() -> None:
    """Through text and back, key for key: nothing is dropped and nothing is made up."""
    assert dump(parse(json.loads(json.dumps(FULL)))) == FULL


def endorsed(kind: str, **named: Any) -> dict[str, Any]:
    return document(endorsements=[{"kind": kind, "given": "2026-05-01", **named}])


@over_rows("kind", vocabulary.ENDORSEMENTS)
def test_every_kind_of_endorsement_is_read_as_itself(kind: str) -> None:
    assert parse(endorsed(kind)).endorsements[0].kind == kind


@over_rows(("name", "kind"), vocabulary.ALSO_CALLED.items())
def test_another_everyday_name_is_read_as_the_kind_it_means(name: str, kind: str) -> None:
    assert kind in vocabulary.ENDORSEMENTS
    assert parse(endorsed(name)).endorsements[0].kind == kind


@over_rows("test", [each for each in vocabulary.TESTS if ":" in each])
def test_an_endorsement_names_any_test_and_is_told_apart(test: str) -> None:
    (read,) = parse(endorsed("retest", test=test)).endorsements
    assert read.test == test
    assert dump(parse(endorsed("retest", test=test)))["endorsements"][0]["test"] == test


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        pytest.param("solo-class-b-airports", "solo-class-b-airport", id="the airport of a Class B area"),
        pytest.param("tail-wheel", "tailwheel", id="a tailwheel airplane"),
        pytest.param("high-performace", "high-performance", id="a high-performance airplane"),
        pytest.param("home-study-reviewd", "home-study-reviewed", id="home study"),
    ],
)
def test_a_slip_of_the_pen_is_no_other_kind(typed: str, meant: str) -> None:
    with pytest.raises(DocumentError, match=f"did you mean '{meant}'"):
        parse(endorsed(typed))
