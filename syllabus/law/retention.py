"""How long a record must be kept, read once: ``retention/<authority>.yaml``, dated and cited.

A rule counts calendar years from a day of the record. These are minimums: a longer one may follow from what
the program does not know (a contract, an insurer, a procedure before an authority), which a hold is for.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from syllabus.engine.rules.kinds.registry import Param, flag, number, word
from syllabus.engine.rules.rulebook import Rules, RuleVersion
from syllabus.engine.time.calendar import same_day_months_on
from syllabus.law import sources
from syllabus.law.dated import Shape

#: What a rule counts from.
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
    """The project's own, read once a process."""
    return SHAPE.load_all()


def on(day: dt.date) -> list[RuleVersion]:
    """The versions in force on a day: what decides is the law of the day on which something is erased."""
    return current().in_force(day)


def binds(rule: RuleVersion, certificated: bool | None) -> bool:
    """Whether a school is bound; one of which nobody recorded whether it is certificated may be."""
    return certificated is not False or not rule.get("certificated_only")


def keep_until(rule: RuleVersion, day: dt.date) -> dt.date:
    """The last day on which what happened on ``day`` must still be there."""
    return same_day_months_on(day, 12 * rule.params["years"])
