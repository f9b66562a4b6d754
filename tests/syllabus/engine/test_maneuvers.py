"""Turns, time, speed and distance against the handbooks' formulae and printed examples.

Sources: Pilot's Handbook of Aeronautical Knowledge FAA-H-8083-25, chapter 5 (load factor, rate and radius of
turn; its worked examples at 120 and 240 kt are from memory) and chapter 16 (time, speed, distance);
Instrument Flying Handbook FAA-H-8083-15 (standard rate). Other rows are worked out from the formulae.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from syllabus.engine.course import maneuvers as m


@pytest.mark.parametrize(
    ("bank", "load", "factor", "percent"),
    [
        (0, 1.000, 1.000, 0.0),
        (10, 1.015, 1.008, 0.8),
        (15, 1.035, 1.017, 1.7),
        (20, 1.064, 1.032, 3.2),
        (30, 1.155, 1.075, 7.5),
        (40, 1.305, 1.143, 14.3),
        (45, 1.414, 1.189, 18.9),
        (50, 1.556, 1.247, 24.7),
        (60, 2.000, 1.414, 41.4),
        (70, 2.924, 1.710, 71.0),
        (75, 3.864, 1.966, 96.6),
        (80, 5.759, 2.400, 140.0),
    ],
    ids=lambda value: f"{value}",
)
def test_load_factor_and_stall_speed_grow_with_the_bank(bank, load, factor, percent) -> None:
    assert round(m.load_factor(bank), 3) == load
    assert round(m.stall_speed_factor(bank), 3) == factor
    assert round((m.stall_speed_factor(bank) - 1) * 100, 1) == percent


@pytest.mark.parametrize(
    ("stall", "load", "becomes"),
    [
        pytest.param(50, 4, 100, id="handbook: 50 kt stalls at 100 kt at 4 g"),
        pytest.param(50, 9, 150, id="handbook: and at 150 kt at 9 g"),
        pytest.param(60, 2.89, 102, id="handbook: 60 kt times 1.7 is 102 kt at 2.89 g"),
    ],
)
def test_the_handbooks_stall_speeds(stall: float, load: float, becomes: float) -> None:
    import math

    bank = math.degrees(math.acos(1 / load))
    assert stall * m.stall_speed_factor(bank) == pytest.approx(becomes)


@pytest.mark.parametrize(
    ("knots", "bank", "rate", "rate_exact", "radius", "radius_exact"),
    [
        (90, 30, 7.00, 7.01, 1246, 1242),
        (100, 15, 2.92, 2.93, 3314, 3304),
        (100, 45, 10.91, 10.92, 888, 885),
        (120, 20, 3.31, 3.31, 3514, 3503),
        (120, 30, 5.25, 5.25, 2215, 2208),  # the handbook's example
        (120, 45, 9.09, 9.10, 1279, 1275),
        (240, 30, 2.62, 2.63, 8860, 8833),  # the handbook's example prints 8,861
        (240, 45, 4.55, 4.55, 5115, 5100),  # the handbook's example
    ],
)
def test_rate_and_radius_of_turn(knots, bank, rate, rate_exact, radius, radius_exact) -> None:
    assert round(m.rate_of_turn(knots, bank), 2) == rate
    assert round(m.rate_of_turn_exact(knots, bank), 2) == rate_exact
    assert round(m.radius_of_turn(knots, bank)) == radius
    assert round(m.radius_of_turn_exact(knots, bank)) == radius_exact


@pytest.mark.parametrize("knots", [60, 120, 240])
@pytest.mark.parametrize("bank", [5, 30, 60])
def test_the_handbooks_constants_are_near_the_exact_ones(knots: int, bank: int) -> None:
    assert m.rate_of_turn(knots, bank) == pytest.approx(m.rate_of_turn_exact(knots, bank), rel=0.002)
    assert m.radius_of_turn(knots, bank) == pytest.approx(m.radius_of_turn_exact(knots, bank), rel=0.004)


def test_twice_the_speed_halves_the_rate_and_makes_four_times_the_radius() -> None:
    assert m.rate_of_turn(240, 30) == pytest.approx(m.rate_of_turn(120, 30) / 2)
    assert m.radius_of_turn(240, 30) == pytest.approx(m.radius_of_turn(120, 30) * 4)


@pytest.mark.parametrize(
    ("knots", "exact", "thumbs", "radius"),
    [
        (60, 9.4, (9, 11, 13), 1934),
        (80, 12.4, (12, 13, 15), 2579),
        (90, 13.9, (13.5, 14, 16), 2901),
        (100, 15.4, (15, 15, 17), 3223),
        (120, 18.2, (18, 17, 19), 3868),
        (140, 21.0, (21, 19, 21), 4513),
        (160, 23.7, (24, 21, 23), 5158),
        (180, 26.3, (27, 23, 25), 5802),
        (240, 33.4, (36, 29, 31), 7736),
    ],
)
def test_the_bank_of_a_standard_rate_turn(knots, exact, thumbs, radius) -> None:
    assert round(m.standard_rate_bank(knots), 1) == exact
    assert tuple(rule(knots) for rule in m.RULES_OF_THUMB.values()) == thumbs
    assert round(m.standard_rate_radius(knots)) == radius


def test_standard_rate_is_once_round_in_two_minutes() -> None:
    assert m.flown_rate(Fraction(360), Fraction(120)) == m.STANDARD_RATE
    assert m.flown_rate(Fraction(180), Fraction(60)) == m.STANDARD_RATE
    assert round(float(m.flown_rate(Fraction(360), Fraction(129))), 2) == 2.79
    bank = m.standard_rate_bank(100)
    assert m.rate_of_turn_exact(100, bank) == pytest.approx(m.STANDARD_RATE)
    assert m.radius_of_turn_exact(100, bank) == pytest.approx(m.standard_rate_radius(100))


def test_time_speed_distance_and_fuel_are_exact() -> None:
    assert m.hours_for(Fraction(210), Fraction(140)) == Fraction(3, 2)
    assert m.distance_in(Fraction(7, 4), Fraction(120)) == 210
    assert m.groundspeed(Fraction(270), Fraction(3)) == 90
    assert m.hours_for(Fraction(47), Fraction(94)) * 60 == 30
    assert m.fuel_for(Fraction(4, 3), Fraction("8.4")) == Fraction("11.2")


def test_maneuvering_speed_falls_with_the_root_of_the_weight() -> None:
    assert m.maneuvering_speed(105, 2550, 2550) == 105
    assert m.maneuvering_speed(105, 1900, 2550) == pytest.approx(90.63, abs=0.01)


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        pytest.param(lambda: m.load_factor(90), "from 0 to less than 90", id="a knife edge"),
        pytest.param(lambda: m.load_factor(-1), "got -1", id="a negative bank"),
        pytest.param(lambda: m.radius_of_turn(100, 0), "no turn", id="no bank"),
        pytest.param(lambda: m.radius_of_turn_exact(100, 0), "no turn", id="no bank, exactly"),
        pytest.param(lambda: m.rate_of_turn(0, 30), "more than 0", id="no speed"),
        pytest.param(lambda: m.flown_rate(Fraction(360), Fraction(0)), "takes time", id="a turn in no time"),
        pytest.param(lambda: m.hours_for(Fraction(1), Fraction(0)), "more than 0", id="no groundspeed"),
        pytest.param(lambda: m.groundspeed(Fraction(1), Fraction(0)), "takes time", id="a flight in no time"),
        pytest.param(lambda: m.maneuvering_speed(105, 0, 2550), "more than 0", id="no weight"),
    ],
)
def test_what_no_airplane_does_is_refused(ask, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        ask()
