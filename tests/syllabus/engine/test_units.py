"""Quantities: exact numbers from what people type, and a clear refusal of everything else."""

from decimal import Decimal
from fractions import Fraction
from functools import cache

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from syllabus.engine.time import units
from syllabus.engine.time.units import ANGLE, DISTANCE, HEIGHT, HOUR, SPEED, TIME
from tests.support.rows import over_rows

DEFAULTS = {dimension: default for dimension, (_, default, _) in units.DIMENSIONS.items()}
PAIRS = [
    (spelling, name, dimension)
    for dimension, (allowed, _, _) in units.DIMENSIONS.items()
    for spelling, name in units.SPELLINGS.items()
    if name in allowed
]


@cache
def oracle() -> pint.UnitRegistry:
    """Another registry than the program's: what its makers say a unit is. It takes long to read."""
    made: pint.UnitRegistry = pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)
    return made


numbers = st.decimals(0, 99_999, places=6).map(lambda number: f"{number:f}")


@pytest.mark.parametrize(
    ("dimension", "unit"),
    [(TIME, "hour"), (DISTANCE, "nautical_mile"), (HEIGHT, "foot"), (SPEED, "knot"), (ANGLE, "degree")],
    ids=str,
)
def test_the_default_units_of_the_record_document(dimension, unit):
    assert DEFAULTS[dimension] == unit


@given(st.sampled_from(PAIRS), numbers, st.sampled_from(["", " ", "  "]))
def test_a_unit_converts_as_the_units_library_has_it(pair, number, gap):
    spelling, name, dimension = pair
    theirs = oracle().Quantity(Fraction(number), name).to(DEFAULTS[dimension]).magnitude

    assert units.parse(f"{number}{gap}{spelling}", dimension) == theirs


@given(numbers, st.sampled_from(sorted(DEFAULTS)))
def test_a_bare_number_is_in_the_default_unit(number, dimension):
    assert units.parse(number, dimension) == Fraction(number) == units.parse(Decimal(number), dimension)


@given(st.integers(0, 99_999), st.integers(0, 59))
def test_hours_and_minutes_are_that_many_minutes(hours, minutes):
    assert units.parse_time(f"{hours}:{minutes:02d}") == units.parse_time(f"{hours * 60 + minutes} min")


@given(st.integers(0, 10**15))
def test_a_time_written_out_reads_back_as_itself(microseconds):
    text = units.format_time(microseconds)
    if float(text.split()[0]) < 10**units.MOST_DIGITS:
        assert units.parse_time(text) == microseconds


@over_rows(
    ("value", "dimension", "number"),
    [
        pytest.param("1.4 h", TIME, "1.4", id="tenths of an hour"),
        pytest.param("84 min", TIME, "1.4", id="minutes"),
        pytest.param("1:24", TIME, "1.4", id="hours and minutes"),
        pytest.param("5040 s", TIME, "1.4", id="seconds"),
        pytest.param(1.4, TIME, "1.4", id="a bare number of JSON, by its shortest form"),
        pytest.param(0.1 + 0.2, TIME, None, id="a sum that floating point has spoiled is no number typed"),
        pytest.param(2, TIME, "2", id="a whole number"),
        pytest.param(" 1.4h ", TIME, "1.4", id="spaces do not matter"),
        pytest.param("62.5 NM", DISTANCE, "62.5", id="nautical miles"),
        pytest.param("1852 m", DISTANCE, "1", id="1852 metres are one nautical mile"),
        pytest.param("1.852 km", DISTANCE, "1", id="so are 1.852 kilometres"),
        pytest.param("10 nautical miles", DISTANCE, "10", id="in words"),
        pytest.param("1200 ft", HEIGHT, "1200", id="feet are a height"),
        pytest.param("65 kt", SPEED, "65", id="knots"),
        pytest.param("45°", ANGLE, "45", id="degrees"),
    ],
)
def test_what_people_type_is_an_exact_number(value, dimension, number):
    if number is None:
        with pytest.raises(units.QuantityError, match="at most 9 digits and 6 decimals"):
            units.parse(value, dimension)
    else:
        assert units.parse(value, dimension) == Fraction(number)


@over_rows(
    ("value", "dimension", "words"),
    [
        pytest.param("50 nm", DISTANCE, "'nm' is a nanometer; a nautical mile is 'NM'", id="nm"),
        pytest.param("50 Nm", DISTANCE, "a nautical mile is 'NM'", id="Nm"),
        pytest.param(
            "50 miles", DISTANCE, "'NM' for nautical miles or 'SM' for statute", id="miles of no sort"
        ),
        pytest.param("1.4 H", TIME, "hours are 'h'", id="capital H"),
        pytest.param("5 M", DISTANCE, "minutes are 'min', meters 'm'", id="capital M"),
        pytest.param("1.4 days", TIME, "'days' in '1.4 days' is not a known unit", id="days of flying"),
        pytest.param(
            "1.4 NM", TIME, "'1.4 NM' is a distance, but a time is expected", id="a distance for a time"
        ),
        pytest.param(
            "1.4 h", DISTANCE, "'1.4 h' is a time, but a distance is expected", id="a time for a distance"
        ),
        pytest.param(
            "65 kt", HEIGHT, "'65 kt' is a speed, but a height is expected", id="a speed for a height"
        ),
        pytest.param(
            "9**9**9", TIME, "'**9**9' in '9**9**9' is not a known unit", id="an expression is not computed"
        ),
        pytest.param("1 h + 1 h", TIME, "not a known unit", id="nor a sum"),
        pytest.param("2 h", SPEED, "is a time, but a speed is expected", id="a time for a speed"),
        pytest.param("-1 h", TIME, "-1 is below zero", id="below zero"),
        pytest.param(-1, TIME, "-1 is below zero", id="a bare number below zero"),
        pytest.param("+1 h", TIME, "not a plain number", id="a plus sign"),
        pytest.param("1,4 h", TIME, "write the decimal point as a point (1.4)", id="a comma"),
        pytest.param("1e3 h", TIME, "'e3 h' in '1e3 h' is not a known unit", id="an exponent"),
        pytest.param(1e300, TIME, "not a plain number", id="a float too large to write plainly"),
        pytest.param(1e-7, TIME, "not a plain number", id="a float too small to write plainly"),
        pytest.param(float("nan"), TIME, "nan is not a plain number", id="not a number"),
        pytest.param(float("inf"), TIME, "inf is not a plain number", id="infinity"),
        pytest.param("1234567890 h", TIME, "at most 9 digits", id="too many digits"),
        pytest.param("0.1234567 h", TIME, "6 decimals", id="too many decimals"),
        pytest.param("1.", TIME, "not a plain number", id="a point and nothing after it"),
        pytest.param(".5 h", TIME, "not a plain number", id="nothing before the point"),
        pytest.param("1:60", TIME, "minutes run from 00 to 59", id="sixty minutes past the hour"),
        pytest.param("1:2", TIME, "minutes run from 00 to 59", id="a single figure of minutes"),
        pytest.param("1:24:00", TIME, "minutes run from 00 to 59", id="hours, minutes and seconds"),
        pytest.param("1:24 h", TIME, "minutes run from 00 to 59", id="hours and minutes with a unit besides"),
        pytest.param("1:24", DISTANCE, "not a known unit", id="hours and minutes for a distance"),
        pytest.param("", TIME, "does not start with a number", id="nothing"),
        pytest.param("h", TIME, "does not start with a number", id="a unit alone"),
        pytest.param("١.٤ h", TIME, "does not start with a number", id="figures of another script"),
        pytest.param("½ h", TIME, "does not start with a number", id="a fraction sign"),
        pytest.param(True, TIME, "true is not a time", id="true"),
        pytest.param(None, TIME, "null is not a time", id="null"),
        pytest.param([1], TIME, "list is not a time", id="a list"),
        pytest.param({"value": 1}, DISTANCE, "dict is not a distance", id="an object"),
    ],
)
def test_what_is_no_quantity_is_refused_in_words(value, dimension, words):
    with pytest.raises(units.QuantityError) as refused:
        units.parse(value, dimension)

    assert words in str(refused.value)


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        pytest.param("3 h", "3.0 h", id="whole hours keep a decimal"),
        pytest.param("84 min", "1.4 h", id="minutes that are tenths of an hour become hours"),
        pytest.param("0.33 h", "0.33 h", id="two decimals stay"),
        pytest.param("1:25", "85 min", id="what is no hundredth of an hour is written in minutes"),
        pytest.param("30 s", "0.5 min", id="half a minute"),
        pytest.param("20 s", "20.0 s", id="what is no decimal of a minute is written in seconds"),
        pytest.param("0", "0.0 h", id="nothing"),
    ],
)
def test_a_time_is_written_exactly(typed, written):
    assert units.format_time(units.parse_time(typed)) == written


def test_thirty_entries_of_two_minutes_are_an_hour():
    assert sum(units.parse_time("2 min") for _ in range(30)) == HOUR
    assert units.parse_time("2.9 h") + units.parse_time("6 min") == units.parse_time("3 h")


def test_what_is_no_time_at_all_takes_no_time_to_refuse():
    """An expression parser would compute it until the end of days."""
    with pytest.raises(units.QuantityError):
        units.parse_time("9" * 9 + "**" + "9" * 9)
