"""Expirations of an aircraft: ``airworthiness/<authority>.yaml``.

Kinds of inspections and documents, each with its title. Inspections by hours in service are cited, but their
hours are not tracked.
"""

import datetime as dt

from syllabus.engine.rules.kinds.registry import Param, flag, length, text, time
from syllabus.engine.rules.rulebook import Rules, RuleVersion
from syllabus.engine.time import calendar
from syllabus.law import sources
from syllabus.law.dated import Shape

SHAPE = Shape(
    "airworthiness",
    params={
        "title": Param(text, required=True),
        "life": Param(length),
        "in_service": Param(time),
        "always": Param(flag),
    },
)


@sources.read_once
def current() -> Rules:
    """The project's rules about expirations of aircraft, read once per process."""
    return Rules((name, rule) for name, rule in SHAPE.load_all().items() if not rule[0].get("in_service"))


@sources.read_once
def by_hours() -> Rules:
    """The inspections by hours in service: ``in_service`` of each version says how many."""
    return Rules((name, rule) for name, rule in SHAPE.load_all().items() if rule[0].get("in_service"))


def last_day(version: RuleVersion, done: dt.date, expires: dt.date | None) -> dt.date | None:
    """The last valid day of an inspection or document. A date printed on it can only shorten the period.

    None if the rule has no period and the document no date.
    """
    life = version.get("life")
    if life is None:
        return expires
    lives = calendar.last_day(done, life)
    return min(lives, expires) if expires else lives
