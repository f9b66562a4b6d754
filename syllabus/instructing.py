"""What the regulations say about whoever gives the training, read once: ``instructing/<authority>.yaml``.

Rules about the instructor are no requirements of a student's milestone, so they stand apart from the
rulebook; they have versions, words and citations like it. Faults name file and line.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from syllabus import dated
from syllabus.dated import Lined
from syllabus.engine.errors import NotInForce, RuleDataError
from syllabus.engine.rulebook import VERIFIED, Citation
from syllabus.engine.units import QuantityError, parse_time

HOME = Path(__file__).parent / "instructing"
HOURS_IN_24 = "hours-in-24"
#: The rules that the program asks about, each by name; a file has them all.
RULES = (
    "not-oneself",
    "authorized",
    "recent-experience",
    "category-and-class",
    "instrument-training",
    HOURS_IN_24,
    "ground-instructor",
    "training-only",
)
_VERSION = ("from", "until", "says", "cite", "verified", "note", "most", "within")


@dataclass(frozen=True, slots=True)
class Version:
    """A rule as it was in force from one day to another; ``most`` and ``within`` are microseconds."""

    rule: str
    first: dt.date
    last: dt.date | None
    says: str
    cite: Citation
    verified: str
    note: str
    most: int | None = None
    within: int | None = None


@dataclass(frozen=True)
class Instructing:
    """The rules about the instructor, each with its versions, oldest first."""

    rules: Mapping[str, tuple[Version, ...]]

    def on(self, rule: str, day: dt.date) -> Version:
        """The version in force on a day. Raises: NotInForce; KeyError for a rule there is none of."""
        for each in self.rules[rule]:
            if each.first <= day and (each.last is None or day <= each.last):
                return each
        raise NotInForce(f"{rule} has no version in force on {day}; it starts {self.rules[rule][0].first}.")


class _Reader(dated.Builder):
    def rule(self, at: Lined) -> tuple[str, tuple[Version, ...]]:
        self.known(at, ("id", "versions"))
        name = self.field(at, "id", str, "")
        if name and name not in RULES:
            self.fault(at.place("id"), f"no rule is called {name!r}; there are {', '.join(RULES)}")
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
            amounts = {key: self.amount(each, key, name == HOURS_IN_24) for key in ("most", "within")}
            if first is not None and cite is not None:
                versions.append(Version(name, first, last, says, cite, verified, note, **amounts))
        return name, tuple(versions)

    def amount(self, at: Lined, key: str, wanted: bool) -> int | None:
        if not wanted:
            if key in at:
                self.fault(at.place(key), f"{key} is no part of this rule; leave it out")
            return None
        value = self.field(at, key, str)
        if value is None:
            return None
        try:
            return parse_time(value)
        except QuantityError as problem:
            self.fault(at.place(key), f"{key}: {problem}")
            return None


def load(home: Path = HOME) -> Instructing:
    """The rules of a folder. Raises: RuleDataError with every fault, each with file and line."""
    reader = _Reader()
    found: dict[str, tuple[Version, ...]] = {}
    for path in sorted(home.glob("*.yaml")):
        data = dated.read_text(path.read_text(encoding="utf-8"), path.name, "it starts with 'authority:'")
        reader.known(data, ("authority", "rules"))
        if reader.field(data, "authority", str, "") not in ("", path.stem):
            reader.fault(
                data.place("authority"), f"{data['authority']!r} stands in {path.name}; make them agree"
            )
        for each in reader.mappings(data, "rules"):
            name, versions = reader.rule(each)
            if name in found:
                reader.fault(each.place("id"), f"{name} stands twice; keep one")
            found[name] = versions
    for missing in [rule for rule in RULES if not found.get(rule)]:
        reader.fault(home.name, f"the rule {missing!r} is in no file")
    if reader.faults:
        raise RuleDataError(dict.fromkeys(reader.faults))
    return Instructing(found)


@cache
def current() -> Instructing:
    """The project's own, read once a process."""
    return load()
