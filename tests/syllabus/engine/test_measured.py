"""What a pilot writes as measured: what is taken, what is refused and with which words, and exact units."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest

from syllabus.engine.course import measured
from syllabus.engine.course.standards import QUANTITIES, RANGE, Inside, Outside, Target, Tolerance
from syllabus.engine.time import units
from syllabus.engine.time.units import QuantityError
from tests.support.rows import over_rows
from tests.syllabus.engine.test_units import oracle


@over_rows(
    ("name", "value", "target"),
    [
        pytest.param("altitude", "lost 180 ft", None, id="a height lost"),
        pytest.param("bank", "bank 38°", None, id="a bank, with its name in front"),
        pytest.param("rollout", "rolled out 12° late", None, id="a rollout that was late"),
        pytest.param("rate", "360° in 2 min 9 s", None, id="a turn and the time it took"),
        pytest.param("magneto drop", "magneto drop 150 rpm", None, id="a magneto drop"),
        pytest.param("altitude", "-180 ft", None, id="a sign for the side"),
        pytest.param("altitude", "±100 ft", None, id="either side"),
        pytest.param("altitude", "3,320 ft", "3,500 ft", id="a comma between thousands of feet"),
        pytest.param("engine", "2,300 rpm", "2,350 RPM", id="a comma between thousands of revolutions"),
        pytest.param("altitude", "3320 ft", "1000 m", id="another unit of the same kind"),
        pytest.param("arrival", "14:25", "14:20", id="times of day"),
        pytest.param("arrival", "5 min late", "14:20", id="a side, with what was aimed at beside it"),
        pytest.param("way", "1.5 nautical  miles", None, id="a unit of two words"),
        pytest.param("altitude", "lost 180\u00a0ft", None, id="a space that does not break"),
        pytest.param("180", "180 ft", None, id="a name that is a number"),
        pytest.param("turn", "3 deg/s", None, id="a rate"),
        pytest.param("speed", "5 kt off", None, id="off, whichever side"),
    ],
)
def test_what_a_pilot_writes_is_taken(name: str, value: str, target: str | None) -> None:
    measured.check(name, value, target)


@over_rows(
    ("value", "target", "says"),
    [
        pytest.param("", None, "'' is not a measured value; write a number with its unit", id="nothing"),
        pytest.param("a lot", None, "is not a measured value", id="no number"),
        pytest.param("180", None, "180 in '180' has no unit", id="a bare number"),
        pytest.param("lost 180", None, "180 in 'lost 180' has no unit", id="a side and no unit"),
        pytest.param("-180", None, "180 in '-180' has no unit", id="a sign and no unit"),
        pytest.param("360 in 2 min", None, "360 in '360 in 2 min' has no unit", id="a turn of 360 what"),
        pytest.param("360° in 2", None, "2 in '360° in 2' has no unit", id="a turn in 2 what"),
        pytest.param("9**9**9 ft", None, "is not a measured value", id="an expression"),
        pytest.param("__import__('os') ft", None, "is not a measured value", id="code"),
        pytest.param("180 feets", None, "is not a measured value", id="a unit there is none of"),
        pytest.param("5 nm off", None, "'nm' is a nanometer; a nautical mile is 'NM'", id="nanometres"),
        pytest.param("lost -180 ft", None, "is not a measured value", id="a word and a sign"),
        pytest.param("180 ft fast", None, "is not a measured value", id="feet with a word of speeds"),
        pytest.param("1e3 ft", None, "is not a measured value", id="an exponent"),
        pytest.param("3,5 ft", None, "is not a measured value", id="a comma for a decimal point"),
        pytest.param("3,320.5 ft", None, "is not a measured value", id="a comma and a point"),
        pytest.param("0,500 ft", None, "is not a measured value", id="a zero before the comma"),
        pytest.param("2,500 NM", None, "is not a measured value", id="a comma in miles may be either"),
        pytest.param("360° in 0 s", None, "is not a measured value", id="a turn in no time"),
        pytest.param("1" * 10 + " ft", None, "is not a measured value", id="ten digits"),
        pytest.param("3320 ft", "high", "'high' is not a target; write a number", id="no target"),
        pytest.param("3320 ft", "3500", "3500 in '3500' has no unit", id="a target without a unit"),
        pytest.param("3320 ft", "lost 5 ft", "is not a target", id="a side for a target"),
        pytest.param("3320 ft", "65 kt", "which is of another kind", id="feet measured, knots aimed at"),
        pytest.param("x" * 60, None, "'" + "x" * 37 + "…' is not a measured value", id="a long text is cut"),
    ],
)
def test_nonsense_is_refused_with_what_may_be_written(value: str, target: str | None, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        measured.check("it", value, target)
    assert says in str(caught.value)


@over_rows(("dimension", "spelling"), itertools.product(units.DIMENSIONS, units.SPELLINGS))
def test_every_quantity_with_its_unit_is_a_measured_value(dimension: str, spelling: str) -> None:
    """Whatever the units' own parser reads stays readable, as records signed before have it."""
    if units.SPELLINGS[spelling] in units.DIMENSIONS[dimension][0]:
        for text in (f"1.5 {spelling}", f"1.5{spelling}", f" 0012  {spelling} "):
            measured.check("it", text)


@pytest.mark.parametrize(
    ("quantity", "text", "unit", "number", "of", "wanted"),
    [
        pytest.param("altitude", "55 m", "ft", 55, "meter", "foot", id="metres are feet"),
        pytest.param("altitude", "-180.5 m", "ft", -180.5, "meter", "foot", id="with a sign and decimals"),
        pytest.param("touchdown", "0.25 SM", "ft", 0.25, "mile", "foot", id="statute miles are feet"),
        pytest.param("touchdown", "0.1 NM", "ft", 0.1, "nautical_mile", "foot", id="so are nautical ones"),
        pytest.param("distance off", "5 km", "NM", 5, "kilometer", "nautical_mile", id="kilometres"),
        pytest.param("distance off", "3.5 SM", "NM", 3.5, "mile", "nautical_mile", id="statute miles"),
        pytest.param("distance off", "1,852 ft", "NM", 1852, "foot", "nautical_mile", id="feet"),
        pytest.param("time", "129 s", "min", 129, "second", "minute", id="seconds"),
        pytest.param("time", "1.4 h", "min", 1.4, "hour", "minute", id="hours"),
        pytest.param("time", "2 min 9 s late", "min", 129, "second", "minute", id="minutes and seconds"),
    ],
)
def test_units_are_those_of_an_independent_registry(quantity, text, unit, number, of, wanted) -> None:
    width = Fraction(10**9)
    found = measured.judge(Tolerance("it", quantity, Target(RANGE), high=width), text.strip("-").removesuffix(
        " late"))  # fmt: skip
    expected = oracle().Quantity(abs(number), of).to(wanted).magnitude
    assert QUANTITIES[quantity].unit == unit
    assert isinstance(found, Inside)
    assert float(found.off) == pytest.approx(expected, rel=1e-12)
    side = measured.judge(Tolerance("it", quantity, Target("assigned", name="it"), -width, width), (
        text if text[0] == "-" or text.endswith("late") else f"+{text}"))  # fmt: skip
    assert isinstance(side, Inside)
    assert float(side.off) == pytest.approx(expected if number > 0 else -expected, rel=1e-12)


@pytest.mark.parametrize(
    ("low", "high", "text", "by"),
    [
        pytest.param(-100, 100, "lost 80 ft", "20 ft", id="80 of 100 leaves 20"),
        pytest.param(-100, 100, "gained 99.5 ft", "0.5 ft", id="half a foot is left"),
        pytest.param(-100, 100, "-100 ft", "0 ft", id="at the limit nothing is left"),
        pytest.param(-100, 100, "100.25 ft off", "0.25 ft", id="a quarter of a foot beyond, either side"),
        pytest.param(-5, 10, "-3 ft", "2 ft", id="the nearer limit counts"),
        pytest.param(None, 10, "+4 ft", "6 ft", id="only an upper limit"),
        pytest.param(-10, None, "-4 ft", "6 ft", id="only a lower limit"),
        pytest.param(None, 10, "+14 ft", "4 ft", id="beyond an upper limit"),
    ],
)
def test_by_how_much(low: int | None, high: int | None, text: str, by: str) -> None:
    least, most = (None if each is None else Fraction(each) for each in (low, high))
    entry = Target("assigned", name="entry")
    found = measured.judge(Tolerance("it", "altitude", entry, low=least, high=most), text)
    assert isinstance(found, Inside | Outside)
    assert found.by_words == by
