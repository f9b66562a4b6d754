"""A requirement's answer, with everything that explains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from syllabus.engine.rules.reasons import Reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import Amounts
from syllabus.engine.time.days import Days

Said = tuple[tuple[str, Reason], ...]
"""Pairs of an entry's id and what is said of it."""
Counted = tuple[str, Amounts | Reason]
"""An entry's id and what it gave: amounts where the requirement adds up, else a reason."""


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
    have: Amounts
    need: Amounts
    remaining: Amounts
    counted: tuple[Counted, ...] = ()
    not_counted: Said = ()
    ask: Said = ()
    notes: tuple[Reason, ...] = ()
    parts: tuple[Finding, ...] = ()

    def joined(self, others: Sequence[Finding]) -> Finding:
        """The same finding with the days of other versions of its requirement."""
        return replace(
            self,
            holds=Days.union([self.holds, *(other.holds for other in others)]),
            possible=Days.union([self.possible, *(other.possible for other in others)]),
        )

    def met(self, on: date) -> bool | None:
        """True, False, or None where a missing fact could tip the answer."""
        if on in self.holds:
            return True
        return None if on in self.possible else False


@dataclass(slots=True)
class Told:
    """What is said of entries while a requirement looks at them, in their order."""

    counted: list[Counted] = field(default_factory=list)
    not_counted: list[tuple[str, Reason]] = field(default_factory=list)
    ask: list[tuple[str, Reason]] = field(default_factory=list)
    notes: list[Reason] = field(default_factory=list)

    def finding(
        self, rule: RuleVersion, holds: Days, possible: Days, have: Amounts, need: Amounts, remaining: Amounts
    ) -> Finding:
        """The finding, with the days within those on which the version is in force."""
        holds &= rule.in_force
        return Finding(
            rule, holds, holds | (possible & rule.in_force), have, need, remaining,
            tuple(self.counted), tuple(self.not_counted), tuple(self.ask), notes=tuple(self.notes),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Answer:
    """A milestone's answer: what its requirements found, and the days on which all of one way's hold.

    ``path`` names the way that the findings are of, where there are several; ``holds`` and ``possible`` are
    the days of any of them.
    """

    findings: tuple[Finding, ...]
    holds: Days
    possible: Days
    path: str | None = None

    @classmethod
    def of(cls, findings: Sequence[Finding], path: str | None) -> Answer:
        holds = possible = Days.all()
        for finding in findings:
            holds &= finding.holds
            possible &= finding.possible
        return cls(tuple(findings), holds, possible, path)

    @classmethod
    def of_ways(cls, ways: Sequence[Answer], on: date) -> Answer:
        """The way that is met, else one with a question left, else the first; with the days of all."""
        shown = next((way for answer in (True, None) for way in ways if way.met(on) is answer), ways[0])
        return replace(
            shown,
            holds=Days.union(way.holds for way in ways),
            possible=Days.union(way.possible for way in ways),
        )

    def met(self, on: date) -> bool | None:
        """True, False, or None where only missing facts stand in the way."""
        if on in self.holds:
            return True
        return None if on in self.possible else False
