"""The picture of hours over time: paces, forecasts and coordinates."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction
from itertools import pairwise

import pytest

from syllabus.engine.time.units import HOUR
from training.web.student import charts

ON = dt.date(2026, 11, 24)


def days_ago(number: int) -> dt.date:
    return ON - dt.timedelta(days=number)


@pytest.mark.parametrize(
    ("flown", "hours"),
    [
        pytest.param([(0, 6)], 1, id="today counts"),
        pytest.param([(41, 6)], 1, id="the last day of the six weeks counts"),
        pytest.param([(42, 6)], 0, id="the day before does not"),
        pytest.param([(-1, 6)], 0, id="tomorrow does not"),
        pytest.param([(3, 1), (10, 2)], Fraction(1, 2), id="hours add up"),
    ],
)
def test_a_pace_is_hours_over_weeks(flown: list[tuple[int, int]], hours: Fraction) -> None:
    counted = [(days_ago(ago), time * HOUR) for ago, time in flown]
    assert charts.pace(counted, ON, 6, 10 * HOUR).a_week == hours * HOUR


@pytest.mark.parametrize(
    ("remaining", "days"),
    [
        pytest.param(2 * HOUR, 14, id="two weeks at an hour a week"),
        pytest.param(2 * HOUR + 1, 15, id="a begun day is a whole day"),
        pytest.param(156 * HOUR, 1092, id="just under three years"),
        pytest.param(157 * HOUR, None, id="past three years it says nothing"),
    ],
)
def test_a_pace_leads_to_a_day(remaining: int, days: int | None) -> None:
    found = charts.pace([(days_ago(1), 6 * HOUR)], ON, 6, remaining)
    assert found.reached == (None if days is None else ON + dt.timedelta(days=days))


@pytest.mark.parametrize(
    ("flown", "remaining", "weeks"),
    [
        pytest.param([], 10, None, id="nothing flown, nothing said"),
        pytest.param([(200, 9)], 10, None, id="nothing flown for half a year, nothing said"),
        pytest.param([(5, 9)], 0, None, id="nothing left, nothing said"),
        pytest.param([(5, 9)], 10, (6, 6), id="who began lately has one pace"),
        pytest.param(
            [(69, 1), (5, 9)], 10, (6, 10), id="who began ten weeks ago has those for the longer one"
        ),
        pytest.param([(400, 1), (100, 12)], 10, (26, 6), id="the faster stands first"),
    ],
)
def test_a_forecast_has_two_paces(
    flown: list[tuple[int, int]], remaining: int, weeks: tuple[int, int] | None
) -> None:
    found = charts.forecast([(days_ago(ago), time * HOUR) for ago, time in flown], ON, remaining * HOUR)
    assert (found and (found.faster.weeks, found.slower.weeks)) == weeks
    if found:
        assert found.faster.a_week >= found.slower.a_week


def points(text: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in (pair.split(",") for pair in text.split())]


def test_a_picture_climbs_from_nothing_to_what_there_is_and_stays_in_its_frame() -> None:
    counted = [(days_ago(100), 5 * HOUR), (days_ago(50), 5 * HOUR), (days_ago(2), 10 * HOUR)]
    led = charts.forecast(counted, ON, 20 * HOUR)
    drawn = charts.chart(counted, ON, 40 * HOUR, led)
    line, band = points(drawn.line), points(drawn.band)

    assert line[0][1] == drawn.bottom
    # 20 of 40 hours: half way up.
    assert line[-1] == (float(drawn.today), (drawn.top + drawn.bottom) / 2)
    assert float(drawn.need or 0) == drawn.top
    assert band[0] == line[-1]
    assert all(one[0] <= other[0] and one[1] >= other[1] for one, other in pairwise(line))
    for x, y in [*line, *band]:
        assert drawn.left <= x <= drawn.right
        assert drawn.top <= y <= drawn.bottom


@pytest.mark.parametrize("ago", [0, 1, 40, 400, 4000])
def test_a_picture_of_any_age_is_drawn(ago: int) -> None:
    drawn = charts.chart([(days_ago(ago), HOUR)], ON, 40 * HOUR, None)
    assert 0 < len(drawn.across) <= 7
    assert [mark.text for mark in drawn.up] == ["0", "10", "20", "30", "40"]
    assert drawn.band == ""


def test_nothing_flown_is_a_flat_line() -> None:
    drawn = charts.chart([], ON, 3 * HOUR, None)
    assert {y for _, y in points(drawn.line)} == {drawn.bottom}
