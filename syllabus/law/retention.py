"""How long a record must be retained: ``retention/<authority>.yaml``, dated and cited.

A rule counts calendar years from a day of the record. These are minimums: something that the program does not
know (a contract, an insurer, a procedure before an authority) may require more; use a hold for that.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from syllabus.engine.rules.kinds.registry import Param, flag, number, word
from syllabus.engine.rules.rulebook import Rules, RuleVersion
from syllabus.engine.time.calendar import same_day_months_on
from syllabus.law import sources
from syllabus.law.dated import Shape

#: The days from which a rule may count.
COUNTS_FROM = ("endorsement", "test", "end-of-training", "citizenship")


def _years(value: Any) -> int:
    if not 0 < (years := number(value)) < 100:
        raise ValueError(f"{years} years is not a retention period")
    return years


SHAPE = Shape(
    "retention",
    params={
        "counts_from": Param(word(*COUNTS_FROM), required=True),
        "certificated_only": Param(flag),
        "years": Param(_years, required=True),
    },
)


@sources.read_once
def current() -> Rules:
    """The project's rules, read once per process."""
    return SHAPE.load_all()


def on(day: dt.date) -> list[RuleVersion]:
    """The versions in force on a day: the law of the day of the erasure decides."""
    return current().in_force(day)


def binds(rule: RuleVersion, certificated: bool | None) -> bool:
    """Whether a rule binds a school; one that may be a certificated pilot school counts as one."""
    return certificated is not False or not rule.get("certificated_only")


def keep_until(rule: RuleVersion, day: dt.date) -> dt.date:
    """The last day on which something that happened on ``day`` must be retained."""
    return same_day_months_on(day, 12 * rule.params["years"])
