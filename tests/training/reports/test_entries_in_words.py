"""Entries and lessons in words: every key has a label, and every value is written for people."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import zoneinfo
from pathlib import Path
from typing import Any

import pytest

from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from training.presenters import entry, lesson

HOME = zoneinfo.ZoneInfo("America/Chicago")
EVERY_KEY = json.loads(Path("fixtures/records/every-key.json").read_text("utf-8"))
PARTS = {
    "certificates": engine.Certificate,
    "flights": engine.Flight,
    "ground": engine.GroundLesson,
    "items": engine.ItemGrade,
    "documents": engine.Document,
    "tests": engine.Test,
    "endorsements": engine.Endorsement,
}


@pytest.mark.parametrize("made", PARTS.values())
def test_every_column_of_a_shape_has_a_label_and_a_way_to_be_written(made: type) -> None:
    keys = {each.name.rstrip("_").replace("klass", "class") for each in dataclasses.fields(made)}
    told = entry.columns(made)
    assert {each.path.partition(".")[0] for each in told} == keys - {"id", "recorded"}
    assert all(each.label and each.how in entry._WRITE for each in told)


@pytest.mark.parametrize("part", PARTS)
def test_whatever_an_entry_says_is_in_its_rows(part: str) -> None:
    """The sample record uses every key; no value of it is left out or written as Python writes it."""
    for said in EVERY_KEY[part]:
        rows = entry.rows(PARTS[part], said, HOME)
        filled = {key for key, value in said.items() if value not in (None, "", [])}
        shown = {each.path.partition(".")[0] for each in entry.columns(PARTS[part])} - {"provenance"}
        times = [each for each in said.get("times", {}).values() if each is not None]
        assert len(rows) == len(shown & filled) + len(times) - ("times" in filled)
        assert not any(mark in words for _, words in rows for mark in "{}[]")


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            {"at": "KMTW", "takeoffs": 3, "landings": 3, "period": "day", "full_stop": True},
            "3 takeoffs, 3 landings at KMTW by day, full stop",
        ),
        (
            {"landings": 1, "period": "night", "full_stop": False, "pattern": True, "towered": False},
            "0 takeoffs, 1 landing at night, not full stop, in the pattern, tower not in operation",
        ),
        (
            {"at": {"lat": 44.1, "lon": -87.9}, "takeoffs": 1},
            "1 takeoff, 0 landings at 44.1, -87.9",
        ),
    ],
)
def test_landings_in_words(row: dict[str, Any], words: str) -> None:
    assert entry.landing(row) == words


def test_a_flight_in_rows() -> None:
    said = {
        "date": "2026-03-07",
        "aircraft": {"registration": "N00XY", "model": "C172"},
        "route": ["KGRB", {"name": "grass strip"}, "KMTW"],
        "off": "2026-03-07T23:10:00-06:00",
        "times": {"total": "85 min", "dual": "1.4 h"},
        "purposes": ["practical-test-preparation:private"],
    }
    assert entry.rows(engine.Flight, said, HOME) == [
        ("Day", "7 Mar 2026"),
        ("Aircraft", "N00XY, C172"),
        ("Route", "KGRB – grass strip – KMTW"),
        ("Off", "23:10 CST"),
        ("Total", "1.4 h"),
        ("Dual", "1.4 h"),
        ("Purpose", "practical-test-preparation:private"),
    ]


def test_what_others_call_an_entry() -> None:
    record = document.parse(EVERY_KEY)
    flight = dataclasses.replace(
        record.flights[0],
        date=dt.date(2026, 3, 2),
        times={"total": 84 * 60_000_000},
        aircraft=engine.Aircraft("N00XY"),
    )
    assert entry.name_of(flight) == "Flight of 2 Mar 2026, 1.4 h in N00XY"
    assert entry.name_of(flight, entry.PLAIN) == "Flight of 2026-03-02, 1.4 h in N00XY"
    for part in PARTS:
        for each in getattr(record, part):
            assert engine.entry_day(each).isoformat() in entry.name_of(each, entry.PLAIN)


def test_what_a_correction_changed() -> None:
    content = {
        "flight": {"date": "2026-03-07", "times": {"total": "1.4 h"}},
        "items": [{"item": "stalls", "grade": "practice"}],
        "comments": "Gusty.",
    }
    before = lesson.lesson(content, HOME)
    changed = {**content, "items": [{"item": "stalls", "grade": "perform"}], "comments": ""}
    assert lesson.changes(before, before) == []
    assert lesson.changes(before, lesson.lesson(changed, HOME)) == [
        ("Grade of stalls", "Practice", "Perform"),
        ("Comments", "Gusty.", "nothing"),
    ]


def test_the_tablet_gets_the_same_columns_and_words() -> None:
    told = lesson.for_tablet()
    assert [row[:2] for row in told["flight"]] == [
        (each.path, each.label) for each in entry.columns(engine.Flight) if each.path != "provenance"
    ]
    assert told["counts"]["takeoffs"][:3] == ["0 takeoffs", "1 takeoff", "2 takeoffs"]
    assert set(told["grades"]) == {*engine.GRADES, engine.NOT_OBSERVED}
    assert told["days"][2].replace("22", "7").replace("3333", "2026") == "7 Mar 2026"
    assert json.loads(json.dumps(told))["flags"]["pattern"] == ["not in the pattern", "in the pattern"]
