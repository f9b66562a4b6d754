"""How the law counts days and months: published edges, and an independent calendar library."""

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import assume, given
from hypothesis import strategies as st

from syllabus.engine.time import calendar
from syllabus.engine.time.calendar import Length

days = st.dates(date(1900, 1, 1), date(2199, 12, 31))
months = st.integers(0, 120)
windows = st.one_of(
    st.builds(Length, st.integers(0, 400), st.just("day")),
    st.builds(Length, st.integers(0, 36), st.just("calendar month")),
)


@given(days, months)
def test_months_are_those_of_an_independent_library(day, number):
    assert calendar.same_day_months_on(day, number) == day + relativedelta(months=number)
    assert calendar.end_of_month_after(day, number) == day + relativedelta(months=number, day=31)
    assert calendar.window_opens(day, number) == day - relativedelta(months=number) + relativedelta(day=1)


@given(days, st.integers(0, 100))
def test_a_birthday_is_that_of_an_independent_library_save_in_a_common_year_for_a_leap_day(born, years):
    theirs = born + relativedelta(years=years)
    leap = (born.month, born.day) == (2, 29) and theirs.day == 28

    assert calendar.birthday(born, years) == (theirs + timedelta(days=1) if leap else theirs)


@given(days, days)
def test_an_age_is_the_number_of_birthdays_reached(born, on):
    assume(born <= on)
    years = calendar.age(born, on)

    assert calendar.birthday(born, years) <= on < calendar.birthday(born, years + 1)


@given(days, days, windows)
def test_an_event_lies_in_the_window_exactly_while_it_still_lives(event, on, length):
    """Looking back from a day, and forward from the event: one way of counting."""
    assume(event <= on)

    assert (event >= calendar.window_start(on, length)) == (on <= calendar.last_day(event, length))


@pytest.mark.parametrize(
    ("event", "number", "unit", "last"),
    [
        pytest.param("2026-01-10", 90, "day", "2026-04-10", id="90 days from 10 January"),
        pytest.param("2025-12-03", 90, "day", "2026-03-03", id="90 days over the turn of the year"),
        pytest.param("2024-01-10", 90, "day", "2024-04-09", id="90 days over a leap day"),
        pytest.param(
            "2024-05-03", 24, "calendar month", "2026-05-31", id="calendar months run to the month's end"
        ),
        pytest.param(
            "2024-02-29", 24, "calendar month", "2026-02-28", id="from a leap day to the end of February"
        ),
        pytest.param("2022-02-01", 24, "calendar month", "2024-02-29", id="to the end of a leap February"),
        pytest.param("2017-05-10", 48, "month", "2021-05-10", id="months run to the same day"),
        pytest.param("2024-02-29", 48, "month", "2028-02-29", id="from leap day to leap day"),
        pytest.param("2026-08-31", 1, "month", "2026-09-30", id="to the end of a short month"),
        pytest.param("2008-02-29", 17, "year", "2025-03-01", id="a leap-day birthday is on 1 March"),
        pytest.param(
            "2026-03-31", 0, "calendar month", "2026-03-31", id="no months end with the month itself"
        ),
    ],
)
def test_the_last_day_of_a_life(event, number, unit, last):
    assert calendar.last_day(date.fromisoformat(event), Length(number, unit)) == date.fromisoformat(last)


@pytest.mark.parametrize(
    ("on", "number", "unit", "first"),
    [
        pytest.param("2026-06-15", 2, "calendar month", "2026-04-01", id="2 calendar months before June"),
        pytest.param("2026-01-31", 2, "calendar month", "2025-11-01", id="2 calendar months before January"),
        pytest.param(
            "2026-03-01", 2, "calendar month", "2026-01-01", id="the first of a month is in the month"
        ),
        pytest.param("2026-06-15", 60, "day", "2026-04-16", id="60 days"),
    ],
)
def test_the_first_day_of_a_window(on, number, unit, first):
    assert calendar.window_start(date.fromisoformat(on), Length(number, unit)) == date.fromisoformat(first)


def test_a_window_is_not_counted_in_years_and_a_life_not_in_weeks():
    with pytest.raises(ValueError, match="a window is counted in days or calendar months, not in 'year'"):
        calendar.window_start(date(2026, 1, 1), Length(1, "year"))
    with pytest.raises(ValueError, match="'week' is not a unit of a period"):
        calendar.last_day(date(2026, 1, 1), Length(1, "week"))


def test_a_length_is_written_as_the_rule_writes_it():
    assert str(Length(24, "calendar month")) == "24 calendar month"
