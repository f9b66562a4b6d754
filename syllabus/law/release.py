"""What the law asks of a solo flight on the day, beyond the milestones: ``release/<authority>.yaml``.

An authority without such a file is not covered, and the check says so by its name.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from syllabus.engine.release.flight import SURFACES
from syllabus.engine.rules.kinds.registry import Param, flag, number, text, words
from syllabus.engine.rules.rulebook import Rules
from syllabus.engine.time import units
from syllabus.law import airworthiness, auditing, sources
from syllabus.law.dated import Shape


def _miles(value: Any) -> Fraction:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} needs a unit, such as '3 SM'")
    return units.parse_in(value, units.DISTANCE, "SM")


SHAPE = Shape(
    "release",
    params={
        "day": Param(_miles),
        "night": Param(_miles),
        "ceiling": Param(number),
        "surface": Param(words(*SURFACES)),
        "confirm": Param(flag),
        "country": Param(text),
    },
)


@dataclass(frozen=True)
class Law:
    """An authority's rules for the day of a solo flight, its Class B airports, and the aircraft's papers."""

    authority: str
    rules: Rules
    auditing: Rules
    papers: Rules


@sources.read_once
def current() -> Mapping[str, Law]:
    """The project's rules by authority, read once per process."""
    audited = auditing.current()
    return {
        name: Law(name, rules, audited[name], airworthiness.current()) for name, rules in SHAPE.load().items()
    }
