"""What an audit asks beyond the milestones: each number with its source, each fault with file and line."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from syllabus.engine.errors import NotInForce, RuleDataError
from syllabus.engine.places import geography
from syllabus.engine.time.calendar import Length
from syllabus.engine.time.units import MINUTE
from syllabus.law import auditing

WHOLE = (auditing.SHAPE.home / "faa.yaml").read_text(encoding="utf-8")
FROM = dt.date(1997, 8, 4)
CHANGED = dt.date(2024, 12, 1)


@pytest.mark.parametrize(
    ("rule", "on", "params", "section", "verified"),
    [
        # Printed CFR, edition of 2019: another airport within 25 NM. Distances are in hundredths.
        # Text as of June 2026: kept at least 3 years.
        pytest.param(
            "own-record-kept", FROM, {"keep": Length(3, "year")}, "14 CFR 61.189(c)", "read", id="three years"
        ),
        # No regulation has the two months: common practice, as the note says.
        pytest.param(
            "own-record-tests",
            FROM,
            {"wait": Length(2, "calendar month")},
            "14 CFR 61.189(b)(2)",
            "read",
            id="two months until a missing result is told",
        ),
        # 89 FR 80020: five applicants, 80 %, the preceding 24 calendar months.
        pytest.param(
            "first-attempts",
            CHANGED,
            {"applicants": 5, "per_cent": 80, "window": Length(24, "calendar month")},
            "14 CFR 61.197",
            "read",
            id="five applicants and four fifths",
        ),
        # The night is that of 14 CFR 1.1; the six minutes are common practice, as the note says.
        pytest.param(
            "night-as-computed", FROM, {"apart": 6 * MINUTE}, "14 CFR 1.1, night", "read", id="six minutes"
        ),
        # "Existing conditions" has no number: one day is common practice, as the note says.
        pytest.param(
            "existing-conditions",
            FROM,
            {"ahead": Length(1, "day")},
            "14 CFR 61.195(d)(2)",
            "read",
            id="one day ahead",
        ),
        # 61.195(d)(1) quoted verbatim in 2012: "Given that student the flight training required".
        pytest.param("training-first", FROM, {}, "14 CFR 61.195(d)(1)", "read", id="training comes first"),
        # A reproduction of 61.81 as in force from 1997 to 2009, and a research institute's copy.
        pytest.param("student-pilot", FROM, {}, "14 CFR 61.81", "read", id="whom the solo rules are for"),
        # A quotation of 61.51(e)(4).
        pytest.param("pilot-alone", FROM, {}, "14 CFR 61.51(e)(4)", "second-hand", id="alone in command"),
        # The current 61.51(b), start of the section.
        pytest.param(
            "logbook-flight",
            FROM,
            {"fields": ("total", "places", "type", "identification", "kind")},
            "14 CFR 61.51(b)",
            "read",
            id="what an entry says",
        ),
        # Three accounts of 61.51(h).
        pytest.param(
            "logbook-training",
            FROM,
            {"fields": ("description", "length", "instructor", "certificate")},
            "14 CFR 61.51(h)",
            "second-hand",
            id="what an entry of training says",
        ),
    ],
)
def test_numbers_and_their_source(
    rule: str, on: dt.date, params: dict[str, Any], section: str, verified: str
) -> None:
    found = auditing.current()["faa"].on(rule, on)
    assert (found.params, found.cite.section, found.verified) == (params, section, verified)


def test_what_is_common_practice_says_so() -> None:
    rules = auditing.current()["faa"]
    assert "common practice" in rules.on("own-record-tests", CHANGED).note


def test_every_airport_inside_a_class_b_area_is_one() -> None:
    inside = auditing.current()["faa"].on("class-b-airport", CHANGED)
    assert inside.verified == "memory"
    for name in inside.params["airports"]:
        assert geography.airports().find(name).key == name


def test_the_airport_of_love_field_is_inside_the_area_of_dallas() -> None:
    # 14 CFR part 91, appendix D, section 1 has the city; that KDAL lies in its area is from memory.
    airports = auditing.current()["faa"].on("class-b-airport", CHANGED).params["airports"]
    assert airports["KDAL"] == airports["KDFW"]


def test_a_day_before_the_first_version() -> None:
    rules = auditing.current()["faa"]
    with pytest.raises(NotInForce, match="2024-12-01"):
        rules.on("first-attempts", CHANGED - dt.timedelta(days=1))
    assert rules.near("first-attempts", FROM).first == CHANGED


def test_every_rule_stands_in_it_once() -> None:
    assert set(auditing.current()["faa"]) == set(auditing.SHAPE.rules)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        pytest.param(("keep: 3 year", "keep: 3 years"), "keep: ", id="a length that is none"),
        pytest.param(("        keep: 3 year\n", ""), "needs 'keep'", id="no length"),
        pytest.param(("applicants: 5", "applicants: five"), "applicants: ", id="a number that is none"),
        pytest.param(("[total, places", "[sum, places"), "fields: ", id="a field there is not"),
        pytest.param(("KATL: Atlanta", "KATL: 1"), "airports: ", id="an area without a name"),
        pytest.param(("id: pilot-alone", "id: known"), "there is no rule 'known'", id="a rule nobody asks"),
        pytest.param(("id: pilot-alone", "id: training-first"), "two of training-first", id="a rule twice"),
        pytest.param(("verified: read", "verified: seen"), "'seen' is not one of", id="how it was checked"),
        pytest.param(("authority: faa", "authority: easa"), "make them agree", id="another authority"),
        pytest.param(("        says: ", "        tells: "), "'tells'", id="an unknown key"),
    ],
)
def test_a_fault_is_told_with_file_and_line(tmp_path: Path, change: tuple[str, str], told: str) -> None:
    assert change[0] in WHOLE
    (tmp_path / "faa.yaml").write_text(WHOLE.replace(*change, 1), encoding="utf-8")
    with pytest.raises(RuleDataError) as refused:
        auditing.SHAPE.load(tmp_path)
    assert any(told in str(fault) for fault in refused.value.errors)
