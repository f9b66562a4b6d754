"""What of an aircraft ends on a day, read once: ``airworthiness/<authority>.yaml``.

Kinds of inspections and papers, each with versions, words and citations like the rulebook's. Faults name file
and line. Hours in service are no days and stand nowhere here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from syllabus import dated
from syllabus.dated import Lined
from syllabus.engine import calendar
from syllabus.engine.calendar import Length
from syllabus.engine.errors import NotInForce, RuleDataError
from syllabus.engine.kinds.registry import length
from syllabus.engine.rulebook import VERIFIED, Citation

HOME = Path(__file__).parent / "airworthiness"
_VERSION = ("from", "until", "life", "says", "cite", "verified", "note")


@dataclass(frozen=True, slots=True)
class Version:
    """A kind as it was in force from one day to another; without ``life`` the paper says its own last day."""

    first: dt.date
    last: dt.date | None
    life: Length | None
    says: str
    cite: Citation
    verified: str
    note: str

    def last_day(self, done: dt.date, expires: dt.date | None) -> dt.date | None:
        """The last day for which what was done holds. What is written on it only shortens.

        None: it has neither a life nor a day of its own.
        """
        if self.life is None:
            return expires
        lives = calendar.last_day(done, self.life)
        return min(lives, expires) if expires else lives


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of inspection or paper, with its versions, oldest first."""

    id: str
    title: str
    versions: tuple[Version, ...]

    def on(self, day: dt.date) -> Version:
        """The version in force on a day. Raises: NotInForce."""
        for each in self.versions:
            if each.first <= day and (each.last is None or day <= each.last):
                return each
        raise NotInForce(f"{self.id} has no version in force on {day}; it starts {self.versions[0].first}.")


class _Reader(dated.Builder):
    def kind(self, at: Lined) -> Kind:
        self.known(at, ("id", "title", "versions"))
        name, title = self.field(at, "id", str, ""), self.field(at, "title", str, "")
        entries = self.mappings(at, "versions")
        versions = []
        for each, following in zip(entries, [*entries[1:], None], strict=True):
            self.known(each, _VERSION)
            first, last = self.in_force(each, name, following)
            cite, verified = self.citation(each), self.field(each, "verified", str, "memory")
            if verified not in VERIFIED:
                self.fault(
                    each.place("verified"), f"verified: {verified!r} is not one of {', '.join(VERIFIED)}"
                )
            says = self.field(each, "says", str, "")
            note = self.field(each, "note", str, "", optional=True)
            life = self.life(each)
            if first is not None and cite is not None:
                versions.append(Version(first, last, life, says, cite, verified, note))
        return Kind(name, title, tuple(versions))

    def life(self, at: Lined) -> Length | None:
        value = self.field(at, "life", str, optional=True)
        if value is None:
            return None
        try:
            return length(value)
        except ValueError as problem:
            self.fault(at.place("life"), f"life: {problem}")
            return None


def load(home: Path = HOME) -> Mapping[str, Kind]:
    """The kinds of a folder by id. Raises: RuleDataError with every fault, each with file and line."""
    reader = _Reader()
    found: dict[str, Kind] = {}
    for path in sorted(home.glob("*.yaml")):
        data = dated.read_text(path.read_text(encoding="utf-8"), path.name, "it starts with 'authority:'")
        reader.known(data, ("authority", "kinds"))
        if reader.field(data, "authority", str, "") not in ("", path.stem):
            reader.fault(
                data.place("authority"), f"{data['authority']!r} stands in {path.name}; make them agree"
            )
        for each in reader.mappings(data, "kinds"):
            kind = reader.kind(each)
            if kind.id in found:
                reader.fault(each.place("id"), f"{kind.id} stands twice; keep one")
            found[kind.id] = kind
    if reader.faults:
        raise RuleDataError(dict.fromkeys(reader.faults))
    return found


@cache
def current() -> Mapping[str, Kind]:
    """The project's own, read once a process."""
    return load()
