"""The check of a planned solo flight by the real rules: which milestone is asked, and what grounds it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from syllabus.engine.record import document
from syllabus.engine.release.answers import Line, Release
from tests.support import factories
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.endorsements.test_endorsements import IDA, ready
from training import models
from training.presenters.reasons import PAGE
from training.reports import solo_checks
from training.services.fleet import aircraft as fleets
from training.services.fleet import groundings
from training.services.releases.release_check import read

#: Noon at the school, the day after the endorsements.
AT = dt.datetime(2026, 6, 1, 17, tzinfo=dt.UTC)
SOLO = {"id": "e2", "kind": "solo-90-day", "given": "2026-05-31", "aircraft_model": "C172", "instructor": IDA}
PATTERN: dict[str, Any] = {
    "aircraft": {
        "registration": "N00XY",
        "model": "C172",
        "category": "airplane",
        "class": "single-engine land",
    },
    "route": ["KGRB"],
    "off": "2026-06-01T12:30:00-05:00",
    "on": "2026-06-01T13:30:00-05:00",
    "weather": {"metars": ["METAR KGRB 011653Z 18005KT 10SM CLR 20/10 A2992"]},
}


@kept
def flying(people: Cast) -> Cast:
    """Sam has all that the first solo asks for, on the day of the endorsement."""
    said = ready()
    said["endorsements"] = [*said["endorsements"], SOLO]
    said["documents"] = [
        *said["documents"],
        {"id": "photo", "kind": "photo-identification", "issued": "2026-01-10"},
    ]
    factories.attested(people.sam, document.parse(said), at=factories.NOON)
    craft = factories.aircraft(people.school, registration="N00XY", model="C172")
    for kind in ("annual-inspection", "registration"):
        fleets.record(craft.pk, kind, dt.date(2026, 1, 10), None, by=people.ada, at=AT)
    return people


def checked(people: Cast, at: dt.datetime = AT, confirmed: tuple[str, ...] = (), **changed: Any) -> Release:
    planned = read({**PATTERN, **changed})
    return solo_checks.check(people.sam, planned, at=at, confirmed=confirmed)


def by_id(found: Release) -> dict[str, Line]:
    lines = {each.id: each for each in found.lines}
    assert len(lines) == len(found.lines)
    return lines


def to_confirm(found: Release) -> tuple[str, ...]:
    return tuple(each.id for each in found.lines if each.group == "confirm")


def unmet(found: Release) -> set[str]:
    return {each.id for each in found.lines if each.met is not True and each.group != "confirm"}


def test_all_is_met_only_once_every_line_was_confirmed(flying: Cast) -> None:
    found = checked(flying)
    assert unmet(found) == set()
    assert not found.met
    lines = to_confirm(found)
    assert "confirm.weather-on-the-way" in lines
    assert checked(flying, confirmed=lines).met
    for left in lines:
        assert not checked(flying, confirmed=tuple(set(lines) - {left})).met


def test_without_the_endorsement_it_is_not_met_and_cites_the_rule(people: Cast) -> None:
    factories.attested(people.sam, document.parse(ready()), at=factories.NOON)
    factories.aircraft(people.school, registration="N00XY", model="C172")
    found = [each for each in checked(people).lines if each.met is False]
    assert "14 CFR 61.87(n)" in " ".join(str(each.citation) for each in found)


def test_a_child_of_fourteen_with_nothing_is_not_met(people: Cast) -> None:
    models.Student.objects.filter(pk=people.sam.pk).update(birth_date=dt.date(2012, 3, 1))
    people.sam.refresh_from_db()
    lines = checked(people).lines
    assert sum(each.met is False for each in lines) > 5


def soon(off: str) -> dt.datetime:
    """Half an hour before the takeoff."""
    return dt.datetime.fromisoformat(off) - dt.timedelta(minutes=30)


@pytest.mark.parametrize(
    "changed",
    [
        pytest.param({"aircraft": {**PATTERN["aircraft"], "model": "PA28"}}, id="another model"),
        pytest.param({"route": ["KGRB", "KMTW", "KGRB"]}, id="another airport"),
        pytest.param({"off": "2026-06-01T21:30:00-05:00", "on": "2026-06-01T22:30:00-05:00"}, id="by night"),
        pytest.param({"via_class_b": ["chicago"]}, id="Class B"),
        pytest.param({"off": "2026-08-30T12:30:00-05:00", "on": "2026-08-30T13:30:00-05:00"}, id="day 91"),
        pytest.param({"aircraft": {**PATTERN["aircraft"], "registration": "N99ZZ"}}, id="not the school's"),
        pytest.param(
            {"off": "2026-06-01T10:30:00-05:00", "on": "2026-06-01T11:30:00-05:00"}, id="in the past"
        ),
    ],
)
def test_another_flight_asks_for_more(flying: Cast, changed: dict[str, Any]) -> None:
    past = changed.get("on", PATTERN["on"]) < "2026-06-01T12"
    at = AT if past else soon(changed.get("off", PATTERN["off"]))
    found = checked(flying, at, **changed)
    assert unmet(found) - ({"when"} if not past else set())
    assert not checked(flying, at, confirmed=to_confirm(found), **changed).met


def test_a_release_that_would_end_before_the_takeoff_is_not_met(flying: Cast) -> None:
    off = dt.datetime.fromisoformat(PATTERN["off"])
    hours = dt.timedelta(hours=flying.school.release_hours)
    now = {"weather": {"metars": ["METAR KGRB 011530Z 18005KT 10SM CLR 20/10 A2992"]}}
    assert unmet(checked(flying, off - hours, **now)) == {"when"}
    assert unmet(checked(flying, off - hours + dt.timedelta(seconds=1), **now)) == set()


def test_what_every_flight_needs_is_unknown_while_it_is_not_on_record(flying: Cast) -> None:
    factories.aircraft(flying.school, registration="N00AB", model="C172")
    found = checked(flying, aircraft={**PATTERN["aircraft"], "registration": "n00ab"})
    assert unmet(found) == {"paper.annual-inspection", "paper.registration"}
    assert {by_id(found)[each].met for each in unmet(found)} == {None}


def test_a_grounding_and_a_defect_are_not_met_until_they_end(flying: Cast) -> None:
    craft = models.Aircraft.objects.get(registration="N00XY")
    for kind in ("grounded", "defect"):
        made = groundings.ground(craft.pk, kind, "Oil leak", by=flying.ida, at=AT)
        [line] = [each for each in checked(flying).lines if each.met is False]
        assert "Oil leak" in str(line.reason)
        groundings.end(made, "Repaired", by=flying.ida, at=AT)
        assert unmet(checked(flying)) == set()


def test_an_expired_inspection_is_not_met_and_one_not_on_record_is_confirmed(flying: Cast) -> None:
    craft = models.Aircraft.objects.get(registration="N00XY")
    assert by_id(checked(flying))["paper.annual-inspection"].met is True
    fleets.record(craft.pk, "annual-inspection", dt.date(2025, 5, 10), None, by=flying.ada, at=AT)
    line = by_id(checked(flying))["paper.annual-inspection"]
    assert (line.met, PAGE.words(line.reason)) == (False, "Annual inspection: expired on 31 May 2026")


def test_it_ends_with_the_report_and_with_the_daylight(flying: Cast) -> None:
    assert checked(flying).ends == dt.datetime(2026, 6, 1, 18, 8, tzinfo=dt.UTC)  # 75 minutes after the METAR
    ends = checked(flying, weather={}).ends
    assert ends is not None
    # The end of evening civil twilight at Green Bay: about half an hour after the sunset at 20:31.
    assert (
        dt.datetime(2026, 6, 2, 1, 55, tzinfo=dt.UTC) < ends < dt.datetime(2026, 6, 2, 2, 10, tzinfo=dt.UTC)
    )


def test_without_a_report_the_visibility_is_unknown(flying: Cast) -> None:
    found = checked(flying, weather={})
    assert "visibility:KGRB" in unmet(found)


def test_no_other_schools_aircraft_answers(flying: Cast) -> None:
    factories.aircraft(flying.elsewhere, registration="N00OT", model="C172")
    line = by_id(checked(flying, aircraft={**PATTERN["aircraft"], "registration": "N00OT"}))["groundings"]
    assert line.met is None
