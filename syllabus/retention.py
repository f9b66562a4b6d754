"""How long a record must be kept, read once: ``retention/<authority>.yaml``, dated and cited.

A rule counts calendar years from a day of the record. These are minimums: a longer one may follow from what
the program does not know (a contract, an insurer, a procedure before an authority), which a hold is for.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from syllabus import dated
from syllabus.dated import Lined
from syllabus.engine.calendar import same_day_months_on
from syllabus.engine.errors import RuleDataError
from syllabus.engine.rulebook import VERIFIED, Citation

HOME = Path(__file__).parent / "retention"
#: What a rule counts from.
COUNTS_FROM = ("endorsement", "test", "end-of-training", "citizenship")
#: Of which schools a rule is asked, where it binds not all of them.
PART_141 = "part-141"
_VERSION = ("from", "until", "years", "says", "cite", "verified", "note")


@dataclass(frozen=True, slots=True)
class Keeping:
    """A rule as it was in force from one day to another: keep for so many years from such a day."""

    rule: str
    counts_from: str
    schools: str
    first: dt.date
    last: dt.date | None
    years: int
    says: str
    cite: Citation
    verified: str
    note: str

    def binds(self, part_141: bool | None) -> bool:
        """Whether a school is bound; one of which nobody recorded whether it is certificated may be."""
        return self.schools != PART_141 or part_141 is not False

    def until(self, day: dt.date) -> dt.date:
        """The last day on which what happened on ``day`` must still be there."""
        return same_day_months_on(day, 12 * self.years)


class _Reader(dated.Builder):
    def rule(self, at: Lined) -> list[Keeping]:
        self.known(at, ("id", "counts_from", "schools", "versions"))
        name, counts = self.field(at, "id", str, ""), self.field(at, "counts_from", str, "")
        if counts not in COUNTS_FROM:
            self.fault(at.place("counts_from"), f"{counts!r} is not one of {', '.join(COUNTS_FROM)}")
        schools = self.field(at, "schools", str, "", optional=True)
        if schools not in ("", PART_141):
            self.fault(at.place("schools"), f"{schools!r} is not {PART_141}; left out, all are bound")
        entries = self.mappings(at, "versions")
        made = []
        for each, following in zip(entries, [*entries[1:], None], strict=True):
            self.known(each, _VERSION)
            first, last = self.in_force(each, name or "", following)
            cite, verified = self.citation(each), self.field(each, "verified", str, "memory")
            years = self.field(each, "years", int)
            if verified not in VERIFIED:
                self.fault(each.place("verified"), f"{verified!r} is not one of {', '.join(VERIFIED)}")
            if years is not None and not 0 < years < 100:
                self.fault(each.place("years"), f"{years} years is no time to keep a record")
            says, note = self.field(each, "says", str, ""), self.field(each, "note", str, "", optional=True)
            if first is not None and cite is not None and years:
                made.append(
                    Keeping(
                        name or "",
                        counts or "",
                        schools or "",
                        first,
                        last,
                        years,
                        says or "",
                        cite,
                        verified or "",
                        note or "",
                    )
                )
        return made


def load(home: Path = HOME) -> tuple[Keeping, ...]:
    """Every version of every rule of a folder. Raises: RuleDataError with every fault, file and line."""
    reader = _Reader()
    found: list[Keeping] = []
    for path in sorted(home.glob("*.yaml")):
        data = dated.read_text(path.read_text(encoding="utf-8"), path.name, "it starts with 'authority:'")
        reader.known(data, ("authority", "rules"))
        for each in reader.mappings(data, "rules"):
            found += reader.rule(each)
    if not found and not reader.faults:
        reader.fault(home.name, "holds no rule")
    if reader.faults:
        raise RuleDataError(dict.fromkeys(reader.faults))
    return tuple(found)


@cache
def current() -> tuple[Keeping, ...]:
    """The project's own, read once a process."""
    return load()


def on(day: dt.date) -> list[Keeping]:
    """The versions in force on a day: what decides is the law of the day on which something is erased."""
    return [each for each in current() if each.first <= day and (each.last is None or day <= each.last)]
