"""What a release answers with: lines, each met, not met or unknown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from fractions import Fraction
from typing import Any, Protocol

from syllabus.engine.record.quantities import said
from syllabus.engine.release.weather import NO_CEILING
from syllabus.engine.rules.reasons import Reason
from syllabus.engine.rules.rulebook import Rules, RuleVersion

LAW, ENDORSEMENT, SCHOOL, AIRCRAFT, WEATHER, CONFIRM = (
    "law", "endorsement", "school", "aircraft", "weather", "confirm",
)  # fmt: skip
GROUPS = (LAW, ENDORSEMENT, SCHOOL, AIRCRAFT, WEATHER, CONFIRM)
GROUNDED = "grounded"


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that the flight needs. ``met`` is None where something is missing: ``ask`` says what."""

    id: str
    group: str
    met: bool | None
    reason: Reason
    citation: str | None = None
    verified: str | None = None
    ask: tuple[Reason, ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "group": self.group,
            "met": self.met,
            "code": self.reason.code,
            "text": str(self.reason),
            "citation": self.citation,
            "verified": self.verified,
            "ask": [str(each) for each in self.ask],
        }


@dataclass(frozen=True, slots=True)
class Release:
    """The lines, and when this answer ends at the latest; None where nothing ends it."""

    lines: tuple[Line, ...]
    ends: datetime | None
    rulebook: str = ""

    @property
    def met(self) -> bool:
        return bool(self.lines) and all(each.met is True for each in self.lines)

    def as_json(self) -> dict[str, Any]:
        return {
            "met": self.met,
            "lines": [each.as_json() for each in self.lines],
            "ends": self.ends.isoformat() if self.ends else None,
            "rulebook": self.rulebook,
        }


class Law(Protocol):
    """What one authority asks of the day (``syllabus.law.release``)."""

    @property
    def authority(self) -> str: ...
    @property
    def rules(self) -> Rules: ...
    @property
    def auditing(self) -> Rules: ...
    @property
    def papers(self) -> Rules: ...


def line_of(
    id: str,
    group: str,
    met: bool | None,
    told: Reason,
    rule: RuleVersion | None = None,
    asks: tuple[Reason, ...] = (),
) -> Line:
    if rule is None:
        return Line(id, group, met, told, ask=asks)
    return Line(id, group, met, told, rule.cite.section, rule.verified, asks)


def have_of(value: float | None, unit: str) -> str:
    if value is None:
        return "-"
    return "none" if value == NO_CEILING else said(Fraction(value), unit)


def midnight_after(day: date, zone: tzinfo | None) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone) + timedelta(days=1)
