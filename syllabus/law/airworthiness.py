"""What of an aircraft ends on a day, read once: ``airworthiness/<authority>.yaml``.

Kinds of inspections and papers, each with its title. Hours in service are no days and stand nowhere here.
"""

from __future__ import annotations

import datetime as dt

from syllabus.engine.rules.kinds.registry import Param, length, text
from syllabus.engine.rules.rulebook import Rules, RuleVersion
from syllabus.engine.time import calendar
from syllabus.law import sources
from syllabus.law.dated import Shape

SHAPE = Shape("airworthiness", params={"title": Param(text, required=True), "life": Param(length)})


@sources.read_once
def current() -> Rules:
    """The project's own, read once a process."""
    return SHAPE.load()


def last_day(version: RuleVersion, done: dt.date, expires: dt.date | None) -> dt.date | None:
    """The last day for which what was done holds. What is written on it only shortens.

    None: the rule has no life, so the paper says its own last day, and it has none.
    """
    life = version.get("life")
    if life is None:
        return expires
    lives = calendar.last_day(done, life)
    return min(lives, expires) if expires else lives
