"""How much of what, as values: a requirement's amounts, which only the edges put into words.

A finding that needs several things at once ("3 takeoffs, 3 landings") has an amount for each of them, in the
same order in what there is, what is needed and what remains.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import Any, Literal, get_args

from syllabus.engine.time.units import exact_time

Thing = Literal[
    "airport", "certificate", "document", "endorsement", "flight", "item", "landing", "lesson", "medical",
    "requirement", "takeoff", "test", "year",
]  # fmt: skip
"""What is counted one by one."""
Unit = Literal["time", "distance"] | Thing
THINGS: frozenset[str] = frozenset(get_args(Thing))
TIME: Literal["time"] = "time"
DISTANCE: Literal["distance"] = "distance"
UNITS = THINGS | {TIME, DISTANCE}
#: The units in which amounts are written out.
WRITTEN = ("h", "min", "s", "NM", *sorted(THINGS))


@dataclass(frozen=True, slots=True)
class Amount:
    """So much of one thing, exactly.

    Units:  ``value`` is whole microseconds of ``time``, hundredths of a nautical mile of ``distance``, and
            a whole number of anything else. ``text`` is the exact amount with its noun in the singular,
            which programs key on; it is made here, since one amount is often written many times.
    Raises: ValueError below zero, or for a unit that is none of ``UNITS``.

    >>> time(5_100_000_000).text, count(3, "landing").text, distance(12_208).text
    ('85 min', '3 landing', '122.08 NM')
    """

    value: int
    unit: Unit
    text: str = field(init=False, compare=False, repr=False)
    #: The exact number, written out, and the unit it is in: ``("1.4", "h")``, ``("3", "landing")``.
    measure: tuple[str, str] = field(init=False, compare=False, repr=False)

    def as_json(self) -> dict[str, Any]:
        """The exact number, its unit, and both as the text that stands beside them in a report.

        >>> time(5_100_000_000).as_json()
        {'value': 85, 'unit': 'min', 'text': '85 min'}
        """
        number, unit = self.measure
        return {"value": float(number) if "." in number else int(number), "unit": unit, "text": self.text}

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise ValueError(
                f"{self.unit!r} is not a unit of an amount; use one of {', '.join(sorted(UNITS))}"
            )
        if self.value < 0:
            raise ValueError(f"{self.value} {self.unit}: an amount is 0 or more")
        if self.unit == TIME:
            measure: tuple[str, str] = exact_time(self.value)
        elif self.unit == DISTANCE:
            measure = f"{self.value // 100}.{self.value % 100:02d}", "NM"
        else:
            measure = str(self.value), self.unit
        object.__setattr__(self, "measure", measure)  # frozen
        object.__setattr__(self, "text", " ".join(measure))


Amounts = tuple[Amount, ...]
"""One amount for each thing that counts; none where nothing on record says how much."""


@lru_cache(maxsize=65_536)
def time(microseconds: int) -> Amount:
    return Amount(microseconds, TIME)


@lru_cache(maxsize=65_536)
def distance(hundredths: int) -> Amount:
    return Amount(hundredths, DISTANCE)


@lru_cache(maxsize=4_096)
def count(number: int, thing: Thing) -> Amount:
    return Amount(number, thing)


def text(amounts: Amounts) -> str:
    """Exact amounts in one line; empty where there are none.

    >>> text((count(10, "takeoff"), count(1, "landing"))), text(())
    ('10 takeoff, 1 landing', '')
    """
    return amounts[0].text if len(amounts) == 1 else ", ".join([each.text for each in amounts])


def as_json(have: Amounts, need: Amounts, remaining: Amounts) -> dict[str, list[dict[str, Any]]]:
    """A requirement's amounts as plain JSON values, each list empty where nothing on record says."""
    return {
        "have": [each.as_json() for each in have],
        "need": [each.as_json() for each in need],
        "remaining": [each.as_json() for each in remaining],
    }


def shares(have: Amounts, need: Amounts) -> list[Fraction | None] | None:
    """How much of each amount needed there is, which may be more than 1; None of one of which none is needed.

    None for the whole where the two are not amounts of the same things.

    >>> shares((time(30), count(1, "flight")), (time(40), count(0, "flight")))
    [Fraction(3, 4), None]
    """
    if [each.unit for each in have] != [each.unit for each in need]:
        return None
    return [
        Fraction(mine.value, wanted.value) if wanted.value else None
        for mine, wanted in zip(have, need, strict=True)
    ]
