"""Exact quantities: one strict parser in front of one pint registry.

What a person types (``1.4 h``, ``84 min``, ``1:24``, ``62.5 NM``) becomes an exact number in one base unit
per dimension; sums are sums of integers. Pint knows how units convert and never sees a user's string: its
own parser evaluates expressions (``9**9**9`` does not come back) and reads ``nm`` as a nanometre.

Time is counted in whole microseconds. A number may carry at most six decimals, so every time that can be
typed in hours, minutes or seconds is a whole number of them, and nothing is ever rounded on the way in.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

#: The units that can be typed, exact by definition (NIST SP 811, appendix B). A test holds them against
#: pint's own file, which takes long to read.
UNITS = """
    second = [time]
    minute = 60 * second
    hour = 60 * minute
    meter = [length]
    kilometer = 1000 * meter
    nautical_mile = 1852 * meter
    foot = 0.3048 * meter
    mile = 5280 * foot
    knot = nautical_mile / hour
    degree = []
    rpm = []
    percent = []
"""

TIME, DISTANCE, HEIGHT, SPEED, ANGLE = "time", "distance", "height", "speed", "angle"
ENGINE_SPEED, SHARE, TURN_RATE = "engine speed", "share", "turn rate"

#: What may be written after a number, and the pint unit it stands for. Anything else is refused.
SPELLINGS: dict[str, str] = {
    "h": "hour", "hr": "hour", "hrs": "hour", "hour": "hour", "hours": "hour",
    "min": "minute", "mins": "minute", "minute": "minute", "minutes": "minute",
    "s": "second", "sec": "second", "second": "second", "seconds": "second",
    "NM": "nautical_mile", "nmi": "nautical_mile",
    "nautical mile": "nautical_mile", "nautical miles": "nautical_mile",
    "km": "kilometer", "m": "meter", "SM": "mile",
    "ft": "foot", "foot": "foot", "feet": "foot",
    "kt": "knot", "kts": "knot", "knot": "knot", "knots": "knot",
    "deg": "degree", "degree": "degree", "degrees": "degree", "°": "degree",
    "rpm": "rpm", "RPM": "rpm",
    "percent": "percent", "%": "percent",
    "deg/s": "degree / second", "°/s": "degree / second",
}  # fmt: skip

#: Dimension -> (units that belong to it, the unit of a bare number, what people call it).
DIMENSIONS: dict[str, tuple[frozenset[str], str, str]] = {
    TIME: (frozenset({"hour", "minute", "second"}), "hour", "a time"),
    DISTANCE: (
        frozenset({"nautical_mile", "kilometer", "meter", "mile", "foot"}),
        "nautical_mile",
        "a distance",
    ),
    HEIGHT: (frozenset({"foot", "meter"}), "foot", "a height"),
    SPEED: (frozenset({"knot"}), "knot", "a speed"),
    ANGLE: (frozenset({"degree"}), "degree", "an angle"),
    ENGINE_SPEED: (frozenset({"rpm"}), "rpm", "an engine speed"),
    SHARE: (frozenset({"percent"}), "percent", "a percentage"),
    TURN_RATE: (frozenset({"degree / second"}), "degree / second", "a rate of turn"),
}
EXAMPLES = {
    TIME: "'1.4 h', '84 min', '1:24' or 1.4",
    DISTANCE: "'62.5 NM' or 62.5",
    HEIGHT: "'1200 ft' or 1200",
    SPEED: "'65 kt' or 65",
    ANGLE: "'45 deg' or 45",
    ENGINE_SPEED: "'150 rpm' or 150",
    SHARE: "'65 percent' or 65",
    TURN_RATE: "'3 deg/s' or 3",
}
#: Traps with an answer of their own.
HINTS = {
    "nm": "'nm' is a nanometer; a nautical mile is 'NM'",
    "Nm": "a nautical mile is 'NM'",
    "mi": "write 'NM' for nautical miles or 'SM' for statute miles",
    "miles": "write 'NM' for nautical miles or 'SM' for statute miles",
    "mile": "write 'NM' for nautical miles or 'SM' for statute miles",
    "H": "hours are 'h'",
    "M": "minutes are 'min', meters 'm'",
}

HOUR = 3_600_000_000  # in microseconds, the base of every time
MINUTE = 60_000_000
MOST_DECIMALS = 6
#: Past this a number in a training record is a slip of the pen, and arithmetic on it only hides it.
MOST_DIGITS = 9

_NUMBER = re.compile(rf"([0-9]{{1,{MOST_DIGITS}}})(?:\.([0-9]{{1,{MOST_DECIMALS}}}))?", re.ASCII)
_CLOCK = re.compile(r"([0-9]{1,5}):([0-5][0-9])", re.ASCII)
_PART = re.compile(r"[0-9.]+ [A-Za-z]+(?: |$)", re.ASCII)
_LEADING_NUMBER = re.compile(r"[-+0-9.,]*", re.ASCII)


class QuantityError(ValueError):
    """Text that is not a quantity of the dimension wanted; the message says what would be."""


@cache
def _registry() -> pint.UnitRegistry:
    """Pint with our units; made when the first unit is converted, for importing it takes long."""
    import pint

    made: pint.UnitRegistry = pint.UnitRegistry(None, non_int_type=Fraction, cache_folder=None)
    made.load_definitions(UNITS.splitlines())
    return made


@cache
def _factor(unit: str, base: str) -> Fraction:
    """How many ``base`` one ``unit`` is, exactly, as pint knows it."""
    if unit == base:
        return Fraction(1)
    return Fraction(_registry().Quantity(Fraction(1), unit).to(base).magnitude)


def _number(text: str, dimension: str) -> Fraction:
    found = _NUMBER.fullmatch(text)
    if not found:
        if re.fullmatch(r"-.*", text):
            raise QuantityError(f"{text} is below zero; {DIMENSIONS[dimension][2]} is 0 or more")
        if re.fullmatch(r"[0-9]+,[0-9]+", text):
            raise QuantityError(f"{text}: write the decimal point as a point ({text.replace(',', '.')})")
        raise QuantityError(
            f"{text!r} is not a plain number of at most {MOST_DIGITS} digits and {MOST_DECIMALS} decimals;"
            f" write for example {EXAMPLES[dimension]}"
        )
    return Fraction(text)


@lru_cache(maxsize=65_536)
def _parse_text(text: str, dimension: str) -> Fraction:
    """An exact number in the dimension's default unit."""
    allowed, default, called = DIMENSIONS[dimension]
    words = text.strip()
    if dimension == TIME and (clock := _CLOCK.fullmatch(words)):
        return Fraction(int(clock[1]) * 60 + int(clock[2]), 60)
    head = _LEADING_NUMBER.match(words)
    number_text = head[0] if head else ""
    unit_text = " ".join(words[len(number_text) :].split())
    if not number_text:
        raise QuantityError(f"{text!r} does not start with a number; write for example {EXAMPLES[dimension]}")
    if dimension == TIME and ":" in words:
        raise QuantityError(f"{text!r} is not hours and minutes; minutes run from 00 to 59, as in '1:24'")
    number = _number(number_text, dimension)
    if not unit_text:
        return number
    unit = SPELLINGS.get(unit_text)
    if unit is None:
        known = ", ".join(name for name, of in SPELLINGS.items() if of in allowed)
        hint = HINTS.get(unit_text, f"{called} is written with one of {known}")
        raise QuantityError(f"{unit_text!r} in {text!r} is not a known unit: {hint}")
    if unit not in allowed:
        kind = next(of[2] for of in DIMENSIONS.values() if unit in of[0])
        raise QuantityError(f"{text!r} is {kind}, but {called} is expected, such as {EXAMPLES[dimension]}")
    return number * _factor(unit, default)


def parse(value: object, dimension: str) -> Fraction:
    """An exact number in the default unit of ``dimension`` (hours, NM, feet, knots, degrees).

    Shapes:  a string with or without a unit, an int, a Decimal, or a float as JSON gives it (read by its
             shortest decimal form, so ``1.4`` is exactly 14/10).
    Raises:  QuantityError for anything else: another dimension, an unknown unit, a sign, an exponent.
    """
    return _parse_text(as_text(value, dimension), dimension)


def as_text(value: object, dimension: str) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        shown = {"None": "null", "True": "true", "False": "false"}.get(repr(value), type(value).__name__)
        raise QuantityError(
            f"{shown} is not {DIMENSIONS[dimension][2]}; write for example {EXAMPLES[dimension]}"
        )
    if isinstance(value, float):
        text = repr(value)
        if "e" in text or "n" in text:  # 1e-07, 1e+16, inf, nan
            raise QuantityError(
                f"{text} is not a plain number of at most {MOST_DIGITS} digits and {MOST_DECIMALS} decimals"
            )
        return text
    return str(value)


def parse_in(text: str, dimension: str, spelling: str) -> Fraction:
    """An exact number in the unit called ``spelling``, in which a bare number is read too.

    Raises: QuantityError as ``parse`` does.

    >>> parse_in("400 ft", DISTANCE, "ft") == parse_in("400", DISTANCE, "ft") == 400
    True
    >>> parse_in("2 h", TIME, "min") == 120
    True
    """
    if _NUMBER.fullmatch(text.strip()):
        text = f"{text.strip()} {spelling}"
    found = parse_parts(text) if dimension == TIME else parse(text, dimension)
    return found / _factor(SPELLINGS[spelling], DIMENSIONS[dimension][1])


def parse_parts(text: str) -> Fraction:
    """A time written in parts, ``2 min 9 s``, as exact hours; each part smaller than the one before.

    Raises: QuantityError.

    >>> parse_parts("2 min 9 s") == parse_parts("129 s") == Fraction(129, 3600)
    True
    """
    parts = [part.strip() for part in _PART.findall(text)]
    if len(parts) < 2 or " ".join(parts) != " ".join(text.split()):
        return parse(text, TIME)
    times = [parse(part, TIME) for part in parts]  # refuses what is no time
    sizes = [_factor(SPELLINGS[part.split()[-1]], "hour") for part in parts]
    if sizes != sorted(sizes, reverse=True) or len(set(sizes)) < len(sizes):
        raise QuantityError(f"{text!r}: write hours before minutes before seconds, each once: '2 min 9 s'")
    return sum(times, Fraction(0))


def parse_time(value: object) -> int:
    """A time in whole microseconds.

    >>> parse_time("1.4 h") == parse_time("84 min") == parse_time("1:24") == parse_time(1.4)
    True
    >>> sum(parse_time("2 min") for _ in range(30)) == parse_time("1 h")
    True
    """
    return _microseconds(as_text(value, TIME))


@lru_cache(maxsize=65_536)
def _microseconds(text: str) -> int:
    return int(_parse_text(text, TIME) * HOUR)


def _decimal(number: Fraction, places: int) -> str | None:
    """``number`` with at least one and at most ``places`` decimals, or None where that is not exact."""
    scaled = number * 10**places
    if scaled.denominator != 1:
        return None
    text = f"{int(scaled):0{places + 1}d}"
    whole, decimals = text[:-places], text[-places:].rstrip("0")
    return f"{whole}.{decimals or '0'}"


@lru_cache(maxsize=65_536)
def format_time(microseconds: int) -> str:
    """A time as this project writes it: exact, in hours where two decimals do, else in minutes.

    >>> [format_time(parse_time(t)) for t in ("3 h", "84 min", "0.33 h", "1:25", "30 s")]
    ['3.0 h', '1.4 h', '0.33 h', '85 min', '0.5 min']
    """
    return " ".join(exact_time(microseconds))


def exact_time(microseconds: int) -> tuple[str, str]:
    """A time as its exact number, written out, and that number's unit: ``("85", "min")``."""
    hours = Fraction(microseconds, HOUR)
    if (text := _decimal(hours, 2)) is not None:
        return text, "h"
    minutes = Fraction(microseconds, MINUTE)
    if minutes.denominator == 1:
        return str(minutes), "min"
    if (text := _decimal(minutes, 6)) is not None:
        return text, "min"
    return _decimal(Fraction(microseconds, 1_000_000), 6) or "", "s"


def format_nm(nautical_miles: float) -> str:
    """A distance to 0.01 NM, which is finer than any airport's reference point is known."""
    return f"{nautical_miles:.2f} NM"
