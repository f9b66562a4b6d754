"""The lines of a solo release: rows checked by hand, and what never turns a no into a yes."""

from __future__ import annotations

import datetime as dt
import json
import pathlib
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from syllabus.engine.record import document
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.record import Record
from syllabus.engine.record.shapes import shape_of
from syllabus.engine.release.answers import Line, Release
from syllabus.engine.release.check import check
from syllabus.engine.release.facts import AircraftFacts
from syllabus.engine.release.flight import PlannedFlight
from syllabus.law import release, rulebook

HOME = pathlib.Path(__file__).parent
ROOT = HOME.parents[2]
ROWS: list[dict[str, Any]] = yaml.safe_load((HOME / "rows.yaml").read_text())["rows"]
READY = document.parse(json.loads((ROOT / "fixtures/records/before-first-solo.json").read_text()))
DAY = dt.date(2026, 11, 20)
SOUND = AircraftFacts(
    tuple(
        SimpleNamespace(kind=kind, done=dt.date(2026, 10, 1), expires=None)
        for kind in ("annual-inspection", "registration")
    ),
)
CRAFT = {"registration": "N00XY", "model": "C172", "category": "airplane", "class": "single-engine land"}
CLEAR = "KGRB 201753Z 18008KT 10SM CLR 02/M01 A2992"


def read(made: type, said: Any) -> Any:
    errors = Errors()
    found = shape_of(made).read(errors, said, "given")
    assert not list(errors), list(errors)
    return found


def planned(night: bool = False, **more: Any) -> PlannedFlight:
    off, on = ("16:00", "18:00") if night else ("12:00", "13:00")
    flight = {
        "aircraft": CRAFT,
        "route": ["KGRB"],
        "off": f"2026-11-20T{off}:00-06:00",
        "on": f"2026-11-20T{on}:00-06:00",
        "weather": {"metars": [CLEAR]},
        **more,
    }
    found: PlannedFlight = read(PlannedFlight, flight)
    return found


def asked(flight: PlannedFlight, record: Record = READY, **more: Any) -> Release:
    said = {"now": flight.off, "aircraft": SOUND, **more}
    return check(rulebook.current(), release.current(), record, flight, **said)


def lines(found: Release) -> dict[str, Line]:
    return {each.id: each for each in found.lines}


def test_there_are_thirty_rows_and_each_names_its_source() -> None:
    assert len({each["id"] for each in ROWS}) == len(ROWS) >= 30
    assert all(each["source"] for each in ROWS)


@pytest.mark.parametrize("row", ROWS, ids=[each["id"] for each in ROWS])
def test_a_row_checked_by_hand(row: dict[str, Any]) -> None:
    weather = {
        "metars": [row["metar"]] if "metar" in row else [],
        "tafs": [row["taf"]] if "taf" in row else [],
    }
    runway = {"name": "18", **({"bearing": row["bearing"]} if "bearing" in row else {})}
    flight = planned(row.get("night", False), weather=weather, runways={"KGRB": runway})
    school = read(Limits, row.get("school", {}))
    found = lines(asked(flight, school=school))[row["line"]]
    assert found.met is row["met"], [str(each) for each in found.ask]
    assert bool(found.ask) is (found.met is None)


@pytest.mark.parametrize(
    ("surface", "seen", "ceiling", "visibility"),
    [
        # 14 CFR 91.155(c) and (d), from memory as in the data: 1,000 feet and 3 statute miles
        ("D", "3SM BKN010", True, True),
        ("D", "2 3/4SM BKN009", False, False),
        ("E", "2 3/4SM VV002", False, False),
        (None, "2 3/4SM BKN009", None, None),
    ],
)
def test_a_controlled_surface_area_has_its_own_minimums(
    surface: str | None, seen: str, ceiling: bool | None, visibility: bool | None
) -> None:
    weather = {"metars": [f"KGRB 201753Z 18008KT {seen} 02/M01 A2992"]}
    found = lines(asked(planned(weather=weather, surface={"KGRB": surface} if surface else {})))
    assert found["surface-weather-ceiling:KGRB"].met is ceiling
    assert found["surface-weather-visibility:KGRB"].met is visibility
    outside = lines(asked(planned(weather=weather, surface={"KGRB": "G"})))
    assert not [each for each in outside if each.startswith("surface-weather")]


def test_at_night_a_controlled_surface_area_asks_three_miles_too() -> None:
    for miles, met in (("3", True), ("2 3/4", False)):
        weather = {"metars": [f"KGRB 202153Z 18008KT {miles}SM CLR 02/M01 A2992"]}
        found = lines(asked(planned(True, weather=weather, surface={"KGRB": "D"})))
        assert found["surface-weather-visibility:KGRB"].met is met


def without_age(found: Release) -> set[str]:
    """The lines that are not met, without the one that the fixture's student of 15 cannot meet."""
    return {each.id for each in found.lines if each.met is not True} - {"faa.first-solo.age"}


def to_confirm(found: Release) -> list[str]:
    return [each.id for each in found.lines if each.group == "confirm"]


def test_all_that_is_certain_is_met_and_the_rest_is_confirmed_line_by_line() -> None:
    found = asked(planned())
    names = to_confirm(found)
    assert without_age(found) == set(names)
    assert 3 <= len(names) <= 5  # one tap each, and one to sign
    assert without_age(asked(planned(confirmed=names))) == set()
    for left in names:
        rest = [each for each in names if each != left]
        assert without_age(asked(planned(confirmed=rest))) == {left}


def test_a_student_with_nothing_on_record_is_never_met() -> None:
    found = asked(planned(), Record())
    assert not found.met
    assert lines(found)["faa.first-solo.medical"].met is False


@pytest.mark.parametrize(
    ("changed", "line"),
    [
        ({"route": ["KGRB", "KMTW", "KGRB"]}, "faa.solo-cross-country"),
        ({"route": ["KMKE"]}, None),
        ({"route": ["KORD"]}, "faa.solo-class-b"),
        ({"via_class_b": ["Chicago"]}, "faa.solo-class-b"),
        ({"night": True}, "faa.solo-night"),
        ({"aircraft": {**CRAFT, "model": "PA28"}}, "aircraft.model"),
        ({"route": ["KGRB", "CYQG", "KGRB"]}, "no-other-country"),
        ({"weather": {}}, "visibility:KGRB"),
    ],
)
def test_what_is_planned_says_what_is_asked(changed: dict[str, Any], line: str | None) -> None:
    facts = AircraftFacts(SOUND.checks, (), "C172")
    found = asked(planned(**changed), aircraft=facts)
    unmet = [each.id for each in found.lines if each.met is not True]
    assert line is None or any(each.startswith(line) for each in unmet), unmet


def test_an_authority_without_rules_for_the_day_is_not_passed_over() -> None:
    found = check(rulebook.current(), {}, READY, planned(), now=planned().off, aircraft=SOUND)
    assert not found.met
    assert lines(found)["faa"].met is None


def test_a_course_is_no_authority_whose_rules_are_missing() -> None:
    first = rulebook.current().milestones["faa.first-solo"]
    course = replace(first, id="course.mine", role="", requirements=first.requirements[:1])
    rules = rulebook.current().with_milestone(course)
    found = check(rules, release.current(), READY, planned(), now=planned().off, aircraft=SOUND)
    assert without_age(found) == set(to_confirm(found))


@pytest.mark.parametrize(
    ("facts", "line", "met"),
    [
        (None, "groundings", None),
        (
            AircraftFacts(SOUND.checks, (SimpleNamespace(kind="grounded", reason="Oil"),)),
            "groundings.1",
            False,
        ),
        (
            AircraftFacts(SOUND.checks, (SimpleNamespace(kind="defect", reason="Lamp"),)),
            "groundings.1",
            False,
        ),
        (AircraftFacts(SOUND.checks[:1]), "paper.registration", None),
        (
            AircraftFacts(
                (SimpleNamespace(kind="annual-inspection", done=dt.date(2025, 10, 31), expires=None),)
            ),
            "paper.annual-inspection",
            False,
        ),
    ],
)
def test_the_aircraft(facts: AircraftFacts | None, line: str, met: bool | None) -> None:
    assert lines(asked(planned(), aircraft=facts))[line].met is met


@pytest.mark.parametrize(
    ("endorsement", "binds"),
    [
        ({}, True),
        ({"aircraft_model": "PA28"}, False),
        ({"expires": "2026-11-19"}, False),
        ({"expires": "2026-11-20"}, True),
        ({"airport": "KMTW"}, False),
        ({"flight_date": "2026-11-19"}, False),
    ],
)
def test_limits_of_an_endorsement_bind_the_flights_that_it_is_for(
    endorsement: dict[str, Any], binds: bool
) -> None:
    said = {
        "id": "e9",
        "kind": "solo-90-day",
        "given": "2026-11-01",
        "limits": {"wind": "5 kt"},
        **endorsement,
    }
    raw = json.loads((ROOT / "fixtures/records/before-first-solo.json").read_text())
    record = document.parse({**raw, "endorsements": [*raw["endorsements"], said]})
    found = lines(asked(planned(), record))
    assert ("e9.wind:KGRB" in found) is binds
    if binds:
        assert found["e9.wind:KGRB"].met is False


@pytest.mark.parametrize(
    ("on", "met"),
    [("2026-06-02T01:20:00Z", True), ("2026-06-02T01:50:00Z", False), ("2026-06-02T02:20:00Z", False)],
)
def test_the_evening_is_that_of_the_place_whatever_offset_the_flight_is_written_in(
    on: str, met: bool
) -> None:
    """Civil twilight ends near Green Bay at 01:59 UTC, which is still the evening of 1 June there."""
    strip = {"name": "strip", "lat": 44.5, "lon": -88.1}
    flight = planned(route=[strip], off="2026-06-02T00:30:00Z", on=on)
    found = asked(flight, school=read(Limits, {"daylight_margin": 30}))
    assert lines(found)["school.daylight-margin"].met is met
    assert found.ends is not None
    assert found.ends < dt.datetime(2026, 6, 2, 2, 1, tzinfo=dt.UTC)


def test_a_position_that_the_limits_need_and_nobody_gave_is_a_question() -> None:
    flight = planned(route=["KGRB", {"name": "strip"}, "KGRB"])
    found = lines(asked(flight, school=read(Limits, {"distance": 10})))
    assert found["school.distance"].met is None


_WORSE = [
    {"metars": [CLEAR, "KGRB 201753Z 18030G40KT 1/2SM OVC002 02/01 A2992"]},
    {"metars": [CLEAR], "tafs": ["TAF KGRB 201730Z 2018/2118 18012KT P6SM SKC TEMPO 2018/2020 1SM OVC003"]},
    {"metars": [CLEAR, "no report"]},
    {"metars": []},
]
_MET = {False: 0, None: 1, True: 2}


@given(
    st.sampled_from(_WORSE),
    st.lists(st.sampled_from(["uses", "notices"]), unique=True),
    st.fixed_dictionaries(
        {},
        optional={
            "wind": st.integers(0, 40),
            "ceiling": st.integers(0, 9000),
            "visibility": st.integers(0, 9),
            "crosswind": st.integers(0, 30),
        },
    ),
)
def test_worse_news_turns_no_line_into_a_yes(
    worse: dict[str, Any], confirmed: list[str], limits: dict[str, Any]
) -> None:
    names, school = [f"confirm.{each}" for each in confirmed], read(Limits, limits)
    runways = {"KGRB": {"name": "18"}}
    before = lines(asked(planned(confirmed=names, runways=runways), school=school))
    after = lines(asked(planned(confirmed=names, runways=runways, weather=worse), school=school))
    for name, line in before.items():
        if name in after:
            assert _MET[after[name].met] <= _MET[line.met], name


def test_the_answer_as_json_has_every_line_with_its_code() -> None:
    said = asked(planned()).as_json()
    assert said["met"] is False
    assert {each["code"] for each in said["lines"]} >= {"release.says", "release.visibility"}
    json.dumps(said)
