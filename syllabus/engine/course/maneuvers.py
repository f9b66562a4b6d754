"""Arithmetic of level turns and of time, speed and distance, as the handbooks print it.

A turn is level and coordinated, speeds are true airspeed, and there is no wind. The handbook's constants are
rounded; the functions with ``exact`` in their name follow from g = 32.174 ft/s² and stand beside them. Rules
of thumb are common practice and say so; they compute a hint for a debrief and decide nothing.
"""

import math
from fractions import Fraction

#: Standard acceleration of gravity, ft/s² (32.174 049 to six places).
G = 32.174049
FEET_PER_NM = 1852 / 0.3048
FEET_PER_SECOND = FEET_PER_NM / 3600  # of one knot
#: Degrees a second: once round in 2 minutes. Source: Instrument Flying Handbook FAA-H-8083-15.
STANDARD_RATE = 3
_RATE_CONSTANT, _RADIUS_CONSTANT = 1091, 11.26  # the handbook's own


def load_factor(bank: float) -> float:
    """Load factor, in g, in a level turn: 1 / cos(bank).

    Units:  ``bank`` in degrees, 0 or more and less than 90.
    Raises: ValueError for a bank in which no turn is level.
    Source: Pilot's Handbook of Aeronautical Knowledge FAA-H-8083-25, chapter 5.
    """
    _bank(bank)
    return 1 / math.cos(math.radians(bank))


def stall_speed_factor(bank: float) -> float:
    """By how much the stall speed grows in a level turn: the root of the load factor. Source: as above."""
    return math.sqrt(load_factor(bank))


def rate_of_turn(knots: float, bank: float) -> float:
    """Degrees a second, by the handbook's constant: 1,091 tan(bank) / TAS.

    Source: FAA-H-8083-25, chapter 5.
    """
    return _RATE_CONSTANT * math.tan(math.radians(_bank(bank))) / _speed(knots)


def radius_of_turn(knots: float, bank: float) -> float:
    """Feet, by the handbook's constant: TAS² / (11.26 tan(bank)). Source: FAA-H-8083-25, chapter 5.

    Raises: ValueError without a bank, where there is no turn.
    """
    return _speed(knots) ** 2 / (_RADIUS_CONSTANT * _turning(bank))


def rate_of_turn_exact(knots: float, bank: float) -> float:
    """Degrees a second: g tan(bank) / v."""
    return math.degrees(G * math.tan(math.radians(_bank(bank))) / (_speed(knots) * FEET_PER_SECOND))


def radius_of_turn_exact(knots: float, bank: float) -> float:
    """Feet: v² / (g tan(bank))."""
    return (_speed(knots) * FEET_PER_SECOND) ** 2 / (G * _turning(bank))


def standard_rate_bank(knots: float) -> float:
    """The bank, in degrees, that turns at standard rate: atan(v × 3°/s / g)."""
    turning = math.radians(STANDARD_RATE)
    return math.degrees(math.atan(_speed(knots) * FEET_PER_SECOND * turning / G))


def standard_rate_radius(knots: float) -> float:
    """Feet flown around at standard rate."""
    return _speed(knots) * FEET_PER_SECOND / math.radians(STANDARD_RATE)


#: Common practice for the bank of a standard-rate turn, degrees from true airspeed in knots. The first is the
#: one usually taught, good below about 180 kt; none replaces the turn coordinator.
RULES_OF_THUMB = {
    "15 percent of the airspeed": lambda knots: Fraction(knots) * 15 / 100,
    "a tenth of the airspeed and 5": lambda knots: Fraction(knots) / 10 + 5,
    "a tenth of the airspeed and 7": lambda knots: Fraction(knots) / 10 + 7,
}


def maneuvering_speed(va: float, weight: float, at_weight: float) -> float:
    """The maneuvering speed at another weight: VA × sqrt(weight / the weight VA is given for).

    The airplane's handbook decides; this is the usual formula beside it. Units: both weights in the same one.
    """
    if weight <= 0 or at_weight <= 0:
        raise ValueError(f"a weight is more than 0; got {weight} and {at_weight}")
    return _speed(va) * math.sqrt(weight / at_weight)


def flown_rate(degrees: Fraction, seconds: Fraction) -> Fraction:
    """Degrees a second of a turn that was timed: 360° in 129 s is 2.79°/s."""
    if seconds <= 0:
        raise ValueError(f"a turn takes time; got {seconds} s")
    return Fraction(degrees) / seconds


def hours_for(nautical_miles: Fraction, knots: Fraction) -> Fraction:
    """Time = distance / groundspeed, exactly."""
    if knots <= 0:
        raise ValueError(f"a groundspeed is more than 0; got {knots} kt")
    return Fraction(nautical_miles) / knots


def distance_in(hours: Fraction, knots: Fraction) -> Fraction:
    """Distance = groundspeed × time, in nautical miles."""
    return Fraction(hours) * knots


def groundspeed(nautical_miles: Fraction, hours: Fraction) -> Fraction:
    """Groundspeed = distance / time, in knots."""
    if hours <= 0:
        raise ValueError(f"a flight takes time; got {hours} h")
    return Fraction(nautical_miles) / hours


def fuel_for(hours: Fraction, rate: Fraction) -> Fraction:
    """Fuel = rate × time, in the unit of the rate an hour."""
    return Fraction(hours) * rate


def _bank(degrees: float) -> float:
    if not 0 <= degrees < 90:
        raise ValueError(f"a level turn has a bank from 0 to less than 90 degrees; got {degrees}")
    return degrees


def _turning(degrees: float) -> float:
    if not _bank(degrees):
        raise ValueError("without a bank there is no turn, and no radius")
    return math.tan(math.radians(degrees))


def _speed(knots: float) -> float:
    if knots <= 0:
        raise ValueError(f"an airspeed is more than 0; got {knots} kt")
    return knots
