"""What a pilot writes down as measured, checked for sense before it is known what it is compared with.

``lost 180 ft``, ``12° late``, ``360° in 2 min 9 s``, ``-180 ft``; and what was aimed at, ``3,500 ft``. A
number has its unit: what a bare 180 meant, nobody can tell later. A text is kept as it was typed;
``syllabus.engine.course.standards`` reads it again when it is held against a standard.
"""

import re
from functools import lru_cache

from syllabus.engine.course import standards
from syllabus.engine.course.standards import ASSIGNED, QUANTITIES, Hint, Target, Tolerance
from syllabus.engine.time import units
from syllabus.engine.time.units import QuantityError

MOST_TEXT = 200
MAY_BE = (
    "a number with its unit ('180 ft', '38°', '150 rpm'), with a sign or a word for its side ('-180 ft',"
    " 'lost 180 ft', '12° late'), or a turn with its time ('360° in 2 min 9 s')"
)
AIM_MAY_BE = "a number with its unit ('3,500 ft', '95 kt', '350°') or a time of day ('14:20')"

NUMBER = re.compile(r"[0-9][0-9.,:]*", re.ASCII)
_SPELLINGS = "|".join(
    r"\s+".join(map(re.escape, name.split())) for name in sorted(units.SPELLINGS, key=len, reverse=True)
)
SPELLED = re.compile(rf"\s*(?:{_SPELLINGS})(?![A-Za-z0-9])")
#: A comma between thousands is how altitudes and engine speeds are written, and never a decimal point there.
THOUSANDS = re.compile(
    r"(?<![0-9.,])([1-9][0-9]{0,2}(?:,[0-9]{3})+)(?=\s*(?:ft|feet|foot|rpm|RPM)(?![A-Za-z]))"
)


@lru_cache(maxsize=1 << 10)  # once as a draft, again when it is signed; pilots write much the same
def check(name: str, value: str, target: str | None = None) -> None:
    """Whether the text is a measured value of any kind at all, and the target one of the same kind.

    ``name`` is what was measured, which may stand in front of the value.

    Raises: QuantityError, which says what may be written.
    """
    kinds = [quantity for quantity in QUANTITIES if _reads(name, quantity, value)]
    if not kinds:
        raise QuantityError(f"{_cut(value)} is not a measured value{_trap(value)}; write {MAY_BE}")
    _has_units(value, MAY_BE)
    if target is None:
        return
    aimed = [quantity for quantity in QUANTITIES if _aims(quantity, target)]
    if not aimed:
        raise QuantityError(f"{_cut(target)} is not a target{_trap(target)}; write {AIM_MAY_BE}")
    _has_units(target, AIM_MAY_BE)
    if set(kinds).isdisjoint(aimed):
        raise QuantityError(
            f"{_cut(value)} is measured, but the target is {_cut(target)}, which is of another kind; write"
            " both in units of the same kind"
        )


def judge(tolerance: Tolerance, value: str, target: str | None = None) -> Hint:
    """``standards.judge_text`` for texts that may have commas between thousands. Raises: QuantityError."""
    return standards.judge_text(tolerance, _plain(value), None if target is None else _plain(target))


def aims_elsewhere(tolerance: Tolerance, target: str) -> bool:
    """Whether what was aimed at is not what the standard aims at. Raises: QuantityError."""
    aimed = standards.read_target(tolerance, _plain(target))
    fixed = tolerance.target.value
    return tolerance.target.kind == standards.RANGE or (fixed is not None and aimed != fixed)


def _plain(text: str) -> str:
    """The text without commas between thousands.

    >>> _plain("from 13,500 ft"), _plain("3,5 ft"), _plain("2,500 NM")
    ('from 13500 ft', '3,5 ft', '2,500 NM')
    """
    return THOUSANDS.sub(lambda number: number[1].replace(",", ""), text)


def _reads(name: str, quantity: str, value: str) -> bool:
    for called in {name, quantity}:  # a name like "180" in front of "180 ft" is none
        try:
            standards.read_measured(Tolerance(called, quantity, Target(ASSIGNED, name="it")), _plain(value))
        except QuantityError:
            continue
        return True
    return False


def _aims(quantity: str, target: str) -> bool:
    try:
        standards.read_target(Tolerance("it", quantity, Target(ASSIGNED, name="it")), _plain(target))
    except QuantityError:
        return False
    return True


def _has_units(text: str, may_be: str) -> None:
    for number in NUMBER.finditer(text):
        if ":" not in number[0] and not SPELLED.match(text, number.end()):
            raise QuantityError(f"{number[0]} in {_cut(text)} has no unit; write {may_be}")


def _trap(text: str) -> str:
    """Of a unit that is easily mistaken, what it would mean."""
    found = re.search(r"[0-9]\s*([A-Za-z]+)", text)
    hint = units.HINTS.get(found[1]) if found else None
    return f" ({hint})" if hint else ""


def _cut(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "…")
