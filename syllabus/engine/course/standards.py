"""An item's standard as quantities with units, and what was flown held against it.

What comes out is a hint with its words, never a grade: an excursion corrected promptly is no failure
by itself, and the instructor saw the flight. Limits are inclusive unless said otherwise. A limit that rests
on common practice says so, and where a standard has no limit none is invented.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from syllabus.engine.course import maneuvers
from syllabus.engine.time import units
from syllabus.engine.time.units import QuantityError

ASSIGNED, VALUE, NAMED, RANGE = "assigned", "value", "named", "range"
TARGETS = (ASSIGNED, VALUE, NAMED, RANGE)
TEST_STANDARD, HANDBOOK, COMMON_PRACTICE, SCHOOL = "test standard", "handbook", "common practice", "school"
BASES = (TEST_STANDARD, HANDBOOK, COMMON_PRACTICE, SCHOOL)

_VERTICAL = {"lost": -1, "low": -1, "below": -1, "gained": 1, "high": 1, "above": 1}
_SPEED = {"slow": -1, "low": -1, "fast": 1, "high": 1}
_DIRECTION = {"left": -1, "early": -1, "right": 1, "late": 1}
_BANK = {"shallow": -1, "low": -1, "steep": 1, "high": 1}
_TIME = {"early": -1, "late": 1}
_ALONG = {"short": -1, "before": -1, "long": 1, "beyond": 1, "past": 1}
_AMOUNT = {"low": -1, "high": 1}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A kind of thing that is measured.

    ``unit`` is the unit of a number without one; ``minus`` and ``plus`` say in words which side of the
    target a value lies on; ``words`` are those that a person may write, each with its sign. A quantity that
    ``wraps`` comes round again after so many units: 355 is 10 degrees from 005.
    """

    dimension: str
    unit: str
    minus: str = "low"
    plus: str = "high"
    words: Mapping[str, int] = field(default_factory=dict)
    wraps: int | None = None


QUANTITIES: Mapping[str, Quantity] = {
    "altitude": Quantity(units.HEIGHT, "ft", words=_VERTICAL),
    "height": Quantity(units.HEIGHT, "ft", words=_VERTICAL),
    "airspeed": Quantity(units.SPEED, "kt", "slow", "fast", _SPEED),
    "heading": Quantity(units.ANGLE, "deg", "left", "right", _DIRECTION, wraps=360),
    "bank": Quantity(units.ANGLE, "deg", "shallow", "steep", _BANK),
    "touchdown": Quantity(units.DISTANCE, "ft", "short", "long", _ALONG),
    "distance off": Quantity(units.DISTANCE, "NM", "less", "more"),
    "time": Quantity(units.TIME, "min", "early", "late", _TIME, wraps=24 * 60),
    "power": Quantity(units.SHARE, "percent", words=_AMOUNT),
    "engine speed": Quantity(units.ENGINE_SPEED, "rpm", words=_AMOUNT),
    "turn rate": Quantity(units.TURN_RATE, "deg/s", "slow", "fast", _SPEED),
}


@dataclass(frozen=True, slots=True)
class Target:
    """What is aimed at.

    ``assigned``: told or chosen in flight, ``name`` says what (the altitude at entry). ``named``: a speed or
    altitude that the airplane or the airport gives (best glide). ``value``: always the same. ``range``: none;
    the limits are themselves the least and the most.
    """

    kind: str
    value: Fraction | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far from its target one quantity may be; ``low`` and ``high`` in ``unit``, None where unlimited.

    For a range they are the least and the most themselves. ``name`` is the tolerance's own within its item.
    ``basis`` says whose limit it is, ``source`` where it was found and ``verified`` how well that was read
    (``syllabus.engine.rules.rulebook.VERIFIED``).
    """

    name: str
    quantity: str
    target: Target
    low: Fraction | None = None
    high: Fraction | None = None
    low_inclusive: bool = True
    high_inclusive: bool = True
    basis: str = TEST_STANDARD
    source: str = ""
    verified: str = "memory"
    note: str = ""

    @property
    def unit(self) -> str:
        """The unit of every number of it: that of its quantity."""
        return QUANTITIES[self.quantity].unit

    @property
    def limits(self) -> str:
        """The limits in words: ``±100 ft``, ``-5/+10 kt``, ``at most 175 rpm``."""
        low, high = self.low, self.high
        if self.target.kind != RANGE and low is not None and high is not None:
            if low == -high:
                said = f"±{_with_unit(high, self.unit)}"
            else:
                said = f"{_signed(low)}/{_signed(high)}{_unit(self.unit)}"
        elif low is not None and high is not None:
            said = f"{_number(low)} to {_with_unit(high, self.unit)}"
        elif low is not None:
            said = f"at least {self._limit(low)}"
        elif high is not None:
            said = f"at most {self._limit(high)}"
        else:
            return "no limit"
        open_ends = [
            word
            for word, limit, inclusive in (
                ("lower", low, self.low_inclusive),
                ("upper", high, self.high_inclusive),
            )
            if limit is not None and not inclusive
        ]
        return f"{said} (the {' and '.join(open_ends)} limit excluded)" if open_ends else said

    def _limit(self, limit: Fraction) -> str:
        if self.target.kind == RANGE:
            return _with_unit(limit, self.unit)
        return f"{_signed(limit)}{_unit(self.unit)}"

    @property
    def says(self) -> str:
        """Target and limits in words: ``45° ±5°``, ``best glide ±10 kt``."""
        if self.target.kind == RANGE:
            return self.limits
        aim = _with_unit(self.target.value, self.unit) if self.target.value is not None else self.target.name
        return f"{aim} {self.limits}" if self.low is not None or self.high is not None else aim

    @property
    def caution(self) -> str:
        """What to know before relying on the limit; empty where its text was read."""
        if self.basis == COMMON_PRACTICE:
            return "Common practice; the airplane's handbook decides."
        if self.basis == SCHOOL:
            return "The school's own limit."
        if self.low is None and self.high is None:
            return "The standard has no limit for this; it is shown, not judged."
        return {
            "read": "",
            "second-hand": "The limit was not read in the standard itself, only in an account of it.",
            "memory": "The limit is from memory; check it against the standard.",
        }[self.verified]


@dataclass(frozen=True, slots=True)
class Measured:
    """What was flown, in the tolerance's unit.

    ``value`` is what an instrument showed, or with ``deviation`` how far it was from the target. ``word`` is
    the one written for its side (``lost``); a deviation whose side nobody said is not ``sided``.
    """

    value: Fraction
    deviation: bool = False
    word: str = ""
    sided: bool = True


@dataclass(frozen=True, slots=True)
class Inside:
    tolerance: Tolerance
    off: Fraction
    words: str
    inside = True

    @property
    def by(self) -> Fraction:
        """How far within the nearer limit, in the tolerance's unit."""
        low, high = self.tolerance.low, self.tolerance.high
        rooms = [high - self.off] if high is not None else []
        return min([*rooms, self.off - low] if low is not None else rooms)

    @property
    def by_words(self) -> str:
        """``by`` with its unit: ``20 ft``."""
        return _with_unit(self.by, self.tolerance.unit)


@dataclass(frozen=True, slots=True)
class Outside:
    """``by`` is how far beyond the limit, in the tolerance's unit; 0 only at a limit that is excluded."""

    tolerance: Tolerance
    off: Fraction
    by: Fraction
    words: str
    inside = False

    @property
    def by_words(self) -> str:
        """``by`` with its unit: ``80 ft``."""
        return _with_unit(self.by, self.tolerance.unit)


@dataclass(frozen=True, slots=True)
class Shown:
    """Nothing to hold it against: no limit, or nobody said what was aimed at."""

    tolerance: Tolerance
    words: str
    inside = None
    by_words = None


Hint = Inside | Outside | Shown

#: May stand in front of any measured value, beside the names of tolerance and quantity.
ROLLED_OUT = "rolled out"
_SIGNED = re.compile(r"([-+−±])\s*(.+)")
_TURN = re.compile(r"(.+?) in (.+)")


def read_measured(tolerance: Tolerance, text: str) -> Measured:
    """A measured value as a person writes it: ``3320 ft``, ``-180 ft``, ``lost 180 ft``, ``12° late``.

    A number with a sign or a word for its side is a deviation from the target; a bare number is what was
    shown. The tolerance's name or quantity may stand in front. A rate of turn may be given as the turn and
    the time it took: ``360° in 2 min 9 s``.

    Raises: QuantityError.
    """
    left = _without_name(tolerance, " ".join(text.split()))
    if tolerance.quantity == "turn rate" and (turn := _TURN.fullmatch(left)):
        return Measured(_rate(turn[1], turn[2]))
    quantity = QUANTITIES[tolerance.quantity]
    left, word = _side(left, (*quantity.words, "off"))
    if signed := _SIGNED.fullmatch(left):
        if word:
            raise QuantityError(f"{text!r}: write a sign or the word {word!r}, not both")
        number = units.parse_in(signed[2], quantity.dimension, tolerance.unit)
        sided = signed[1] != "±"
        found = Measured(-number if signed[1] in "-−" else number, True, "" if sided else "off", sided)
    else:
        try:
            number = units.parse_in(left, quantity.dimension, tolerance.unit)
        except QuantityError as problem:
            known = ", ".join(quantity.words) or "none"
            raise QuantityError(f"{problem}; words for the side of {tolerance.quantity}: {known}") from None
        if not word:
            return Measured(number)
        found = Measured(quantity.words.get(word, 1) * number, True, word, word != "off")
    if tolerance.target.kind == RANGE:
        raise QuantityError(
            f"{text!r} is a deviation, and {tolerance.name} has no target but a range; write the value itself"
        )
    return found


def _without_name(tolerance: Tolerance, text: str) -> str:
    """A measured value without the name of what was measured in front."""
    for name in sorted({tolerance.name, tolerance.quantity, ROLLED_OUT}, key=len, reverse=True):
        if text.lower().startswith(name.lower() + " "):
            return text[len(name) :].strip()
    return text


def _side(text: str, words: Collection[str]) -> tuple[str, str]:
    """The text without the word for a side that it begins or ends with, and that word; else none."""
    first, _, after = text.partition(" ")
    before, _, last = text.rpartition(" ")
    if after and first.lower() in words:
        return after, first.lower()
    if before and last.lower() in words:
        return before, last.lower()
    return text, ""


def read_target(tolerance: Tolerance, text: str) -> Fraction:
    """What was aimed at, in the tolerance's unit. Raises: QuantityError."""
    return units.parse_in(text, QUANTITIES[tolerance.quantity].dimension, tolerance.unit)


def _rate(turned: str, took: str) -> Fraction:
    angle, hours = units.parse(turned, units.ANGLE), units.parse_parts(took)
    if not hours:
        raise QuantityError(f"{took!r}: a turn takes time; write how long, such as '2 min 9 s'")
    return maneuvers.flown_rate(angle, hours * 3600)


def difference(quantity: str, target: Fraction, value: Fraction) -> Fraction:
    """How far ``value`` is from ``target``, on the short way round where the quantity comes round again.

    >>> difference("heading", Fraction(5), Fraction(355))
    Fraction(-10, 1)
    """
    off = value - target
    if wraps := QUANTITIES[quantity].wraps:
        half = Fraction(wraps, 2)
        off = half - (half - off) % wraps
    return off


def judge(tolerance: Tolerance, target: Fraction | None, measured: Measured) -> Hint:
    """Whether what was measured lies inside the tolerance, and if not by how much; a hint, never a grade.

    ``target`` is what was aimed at, in the tolerance's unit; None where the tolerance fixes it, where the
    measured value is a deviation already, or where nobody said.
    """
    flown = _flown(tolerance, measured)
    if tolerance.target.kind == RANGE:
        off, aim = measured.value, None
    else:
        aim = tolerance.target.value if tolerance.target.value is not None else target
        if measured.deviation:
            off = measured.value
        elif aim is None:
            return Shown(tolerance, f"{flown}; say what the {tolerance.target.name} was to compare")
        else:
            off = difference(tolerance.quantity, aim, measured.value)
            flown = _beside(tolerance, flown, aim, off)
    if tolerance.low is None and tolerance.high is None:
        return Shown(tolerance, flown)
    if not measured.sided and (
        tolerance.low is None or tolerance.high is None or tolerance.low != -tolerance.high
    ):
        return Shown(tolerance, f"{flown}; say on which side: the standard is {tolerance.says}")
    if (by := _beyond(tolerance, off)) is None:
        return Inside(tolerance, off, f"{flown}: inside {tolerance.says}")
    told = f"by {_with_unit(by, tolerance.unit)}" if by else "exactly at the limit, which is excluded"
    return Outside(tolerance, off, by, f"{flown}: outside {tolerance.says} {told}")


def judge_text(tolerance: Tolerance, measured: str, target: str | None = None) -> Hint:
    """``judge`` for what a person wrote. Raises: QuantityError."""
    aim = None if target is None else read_target(tolerance, target)
    return judge(tolerance, aim, read_measured(tolerance, measured))


def _beyond(tolerance: Tolerance, off: Fraction) -> Fraction | None:
    """How far beyond a limit; None inside."""
    low, high = tolerance.low, tolerance.high
    if high is not None and (off > high or (off == high and not tolerance.high_inclusive)):
        return off - high
    if low is not None and (off < low or (off == low and not tolerance.low_inclusive)):
        return low - off
    return None


def _flown(tolerance: Tolerance, measured: Measured) -> str:
    quantity = QUANTITIES[tolerance.quantity]
    if not measured.deviation:
        return f"{tolerance.name} {_with_unit(measured.value, tolerance.unit)}"
    amount = _with_unit(abs(measured.value), tolerance.unit)
    if measured.word in ("lost", "gained"):
        return f"{tolerance.name}: {measured.word} {amount}"
    side = measured.word or (quantity.minus if measured.value < 0 else quantity.plus)
    return f"{tolerance.name} {amount} {side}" if measured.value else f"{tolerance.name} on target"


def _beside(tolerance: Tolerance, flown: str, aim: Fraction, off: Fraction) -> str:
    """The value with how far it was from what was aimed at."""
    quantity = QUANTITIES[tolerance.quantity]
    side = quantity.minus if off < 0 else quantity.plus
    aimed = _with_unit(aim, tolerance.unit)
    if not off:
        return f"{flown}, on target"
    if tolerance.low is None and tolerance.high is None and aim:
        return f"{flown}, {_number(abs(off) / aim * 100, 0)} % {side} of {aimed}"
    if not aim:
        return flown
    return f"{flown}, {_with_unit(abs(off), tolerance.unit)} {side} of {aimed}"


def _unit(spelling: str) -> str:
    return {"deg": "°", "deg/s": "°/s", "percent": " %"}.get(spelling, f" {spelling}")


def _number(number: Fraction, decimals: int = 2) -> str:
    """Rounded to so many decimals, half away from zero; what is too small to show is called so."""
    scale = 10**decimals
    whole = int(abs(number) * scale + Fraction(1, 2))
    if number and not whole:
        return f"less than {1 / scale:g}"
    text = f"{whole // scale}"
    if decimals and whole % scale:
        text += f".{whole % scale:0{decimals}d}".rstrip("0")
    return f"-{text}" if number < 0 else text


def _signed(number: Fraction) -> str:
    return f"+{_number(number)}" if number > 0 else _number(number)


def _with_unit(number: Fraction, spelling: str) -> str:
    return f"{_number(number)}{_unit(spelling)}"
