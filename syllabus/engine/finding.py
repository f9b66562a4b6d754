"""A requirement's answer, with everything that explains it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from syllabus.engine.days import Days
from syllabus.engine.rulebook import RuleVersion

Said = tuple[tuple[str, str], ...]
"""Pairs of an entry's id and what is said of it."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What one requirement found.

    ``holds`` are the days on which what is on record satisfies it; ``possible`` adds the days on which a
    fact that nothing on record gives could still satisfy it. ``have``, ``need``, ``remaining``, ``counted``,
    ``not_counted`` and ``ask`` are those of the day asked about, under the version in force on it.
    """

    rule: RuleVersion
    holds: Days
    possible: Days
    have: str
    need: str
    remaining: str
    counted: Said = ()
    not_counted: Said = ()
    ask: Said = ()
    notes: tuple[str, ...] = ()
    parts: tuple[Finding, ...] = ()

    def met(self, on: date) -> bool | None:
        """True, False, or None where a missing fact could tip the answer."""
        if on in self.holds:
            return True
        return None if on in self.possible else False
