"""Amounts as values: exact, of a closed set of things, and how much of one is another."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from syllabus.engine.time.amounts import (
    THINGS,
    UNITS,
    WRITTEN,
    Amount,
    Amounts,
    as_json,
    count,
    distance,
    shares,
    text,
    time,
)
from syllabus.engine.time.units import HOUR, MINUTE, parse_time


@pytest.mark.parametrize(
    ("amounts", "written"),
    [
        pytest.param((time(3 * HOUR),), "3.0 h", id="whole hours"),
        pytest.param((time(parse_time("0.33 h")),), "0.33 h", id="hundredths"),
        pytest.param((time(85 * MINUTE),), "85 min", id="minutes, where hundredths of an hour are not exact"),
        pytest.param((time(parse_time("1 s")),), "1.0 s", id="seconds, where minutes are not"),
        pytest.param((distance(12_208),), "122.08 NM", id="distance"),
        pytest.param((count(3, "landing"),), "3 landing", id="a noun stays in the singular"),
        pytest.param((count(10, "takeoff"), count(1, "landing")), "10 takeoff, 1 landing", id="two things"),
        pytest.param((), "", id="not known"),
    ],
)
def test_the_exact_text_that_programs_key_on(amounts: Amounts, written: str) -> None:
    assert text(amounts) == written


@given(st.integers(0, 10**14))
def test_the_exact_text_of_a_time_loses_nothing(microseconds: int) -> None:
    assert parse_time(time(microseconds).text) == microseconds


def test_amounts_are_equal_by_value_and_unit() -> None:
    assert time(60) == Amount(60, "time") != count(60, "landing")
    assert len({Amount(1, "flight"), count(1, "flight"), Amount(1, "test")}) == 2


@pytest.mark.parametrize("unit", sorted(UNITS))
def test_nothing_is_below_zero(unit: str) -> None:
    assert Amount(0, unit).value == 0  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="0 or more"):
        Amount(-1, unit)  # type: ignore[arg-type]


@pytest.mark.parametrize("unit", ["hour", "Landing", "", "landings"])
def test_units_are_a_closed_set(unit: str) -> None:
    with pytest.raises(ValueError, match="not a unit of an amount"):
        Amount(1, unit)  # type: ignore[arg-type]


def test_a_time_and_a_distance_are_measured_and_all_else_is_counted() -> None:
    assert {"time", "distance"} == UNITS - THINGS


@pytest.mark.parametrize(
    ("have", "need", "parts"),
    [
        pytest.param((time(30),), (time(40),), [Fraction(3, 4)], id="three quarters"),
        pytest.param((time(50),), (time(40),), [Fraction(5, 4)], id="more than all"),
        pytest.param((time(85 * MINUTE),), (time(3 * HOUR),), [Fraction(85, 180)], id="minutes of hours"),
        pytest.param(
            (count(5, "takeoff"), count(10, "landing")),
            (count(10, "takeoff"), count(10, "landing")),
            [Fraction(1, 2), Fraction(1)],
            id="each of two",
        ),
        pytest.param((count(0, "item"),), (count(0, "item"),), [None], id="none needed"),
        pytest.param((count(1, "flight"),), (count(1, "landing"),), None, id="not the same thing"),
        pytest.param((), (count(16, "year"),), None, id="not known"),
        pytest.param(
            (count(1, "takeoff"),), (count(1, "takeoff"), count(1, "landing")), None, id="one of two"
        ),
    ],
)
def test_how_much_of_what_is_needed_there_is(
    have: Amounts, need: Amounts, parts: list[Fraction | None] | None
) -> None:
    assert shares(have, need) == parts


@pytest.mark.parametrize(
    ("amount", "value", "unit"),
    [
        pytest.param(time(parse_time("0.8 h")), 0.8, "h", id="tenths of an hour"),
        pytest.param(time(parse_time("0.33 h")), 0.33, "h", id="hundredths"),
        pytest.param(time(85 * MINUTE), 85, "min", id="minutes, where hundredths are not exact"),
        pytest.param(time(parse_time("0.5 min")), 0.5, "min", id="half a minute"),
        pytest.param(time(1), 0.000001, "s", id="a microsecond"),
        pytest.param(distance(12_208), 122.08, "NM", id="distance"),
        pytest.param(count(3, "landing"), 3, "landing", id="a count"),
    ],
)
def test_an_amount_as_json_is_exact(amount: Amount, value: float, unit: str) -> None:
    assert amount.as_json() == {"value": value, "unit": unit, "text": amount.text}
    assert unit in WRITTEN
    assert amount.text.partition(" ")[2] == unit


def test_the_amounts_of_a_requirement_as_json() -> None:
    assert as_json((), (count(16, "year"),), ()) == {
        "have": [],
        "need": [{"value": 16, "unit": "year", "text": "16 year"}],
        "remaining": [],
    }
