"""An audit of one training record: what on it does not agree with the rules in force on its own day.

A requirement answers with the days on which it holds, so an audit is a flight whose day lies outside. Each
milestone is evaluated once for each context (the aircraft model, a route), and every flight asks whether its
day is a member. What was known at the time is worked out anew only where something about an earlier day came
on record, or was taken off it, after that time.

Plain values in, findings out; who may sign and what lies across several records is ``audit_school``.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any, Protocol

from syllabus.engine.record.record import (
    Endorsement,
    Entry,
    Flight,
    GroundLesson,
    Instructor,
    Record,
    entry_day,
)
from syllabus.engine.rules.rulebook import Citation, Requirement, RuleVersion
from syllabus.engine.rules.settings import DEFAULT, Settings

#: From what certainly was not kept, over what the record cannot show, to what is worth a look.
SEVERITIES = ("serious", "incomplete", "note")
SERIOUS, INCOMPLETE, NOTE = SEVERITIES
#: What an instructor keeps of an endorsement: that it was for solo, or for a test, and then its result.
ABOUT = ("solo", "test", "other")
SOLO, TEST, OTHER = ABOUT
#: The remedy of a finding: a corrected entry, a note of what happened, or none.
MENDS = ("correction", "note", "nothing")
CORRECTION, A_NOTE, NOTHING = MENDS


@dataclass(frozen=True, slots=True)
class Unmet:
    """A requirement that did not hold on the day: as known now, and as known then."""

    requirement: str
    says: str
    citation: str
    verified: str
    now: bool | None
    then: bool | None

    def as_json(self) -> dict[str, Any]:
        return {
            "requirement": self.requirement,
            "says": self.says,
            "citation": self.citation,
            "verified": self.verified,
            "met_now": self.now,
            "met_then": self.then,
        }


@dataclass(frozen=True, slots=True)
class Found:
    """One finding. ``about`` tells it from every other of its kind, whatever else is learnt about it.

    ``now`` and ``then`` say whether what was asked held on ``day``, by what is known now and by what was
    known then; both None where that is not the question.
    """

    kind: str
    severity: str
    about: tuple[str, ...]
    day: date
    entries: tuple[str, ...]
    says: str
    citations: tuple[str, ...]
    mend: str
    way: str
    verified: str = "read"
    unmet: tuple[Unmet, ...] = ()
    two_times: bool = False
    now: bool | None = None
    then: bool | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain JSON values, without the kind and the severity."""
        return {
            "day": self.day.isoformat(),
            "entries": list(self.entries),
            "says": self.says,
            "citations": list(self.citations),
            "verified": self.verified,
            "mend": self.mend,
            "way": self.way,
            "unmet": [each.as_json() for each in self.unmet],
            "known": {"now": self.now, "then": self.then} if self.two_times else None,
        }


#: What a school asks for beyond the law, by milestone: each version in force at some time a requirement.
Minimums = Mapping[str, tuple[Requirement, ...]]


def in_force(minimums: Iterable[Requirement], day: date) -> list[RuleVersion]:
    """The versions of a school's minimums that were in force on a day."""
    return [version for each in minimums for version in each.versions if day in version.in_force]


def below_the_schools(
    what: str, day: date, unmet: Sequence[Unmet], about: tuple[str, ...], entries: tuple[str, ...]
) -> Found:
    """What did not agree with a school's own minimums: the school's matter, and never shown as law's."""
    answers = [each.now for each in unmet], [each.then for each in unmet]
    now, then = (False if False in each else None if None in each else True for each in answers)
    late = " (on record now, but not then)" if now else ""
    return Found(
        kind="school-minimum",
        severity=NOTE,
        about=about,
        day=day,
        entries=entries,
        says=f"{what}: below the school's own minimum{late}. " + " ".join(f"{each.says}." for each in unmet),
        citations=tuple(dict.fromkeys(each.citation for each in unmet)),
        mend=A_NOTE,
        way="No regulation requires this; the school decides. Note why it was allowed, or what was done.",
        unmet=tuple(unmet),
        two_times=True,
        now=now,
        then=then,
    )


class KindOfEndorsement(Protocol):
    """What an audit wants of the catalogue of endorsements."""

    @property
    def kind(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def cite(self) -> Citation: ...
    @property
    def verified(self) -> str: ...
    @property
    def proves(self) -> tuple[str, ...]: ...
    @property
    def rests_on(self) -> tuple[str, ...]: ...
    @property
    def tests(self) -> tuple[str, ...]: ...
    @property
    def about(self) -> str: ...
    @property
    def trained(self) -> bool: ...
    @property
    def ground_counts(self) -> bool: ...

    def is_about_another(self, given: Endorsement) -> bool: ...


@dataclass(frozen=True, slots=True)
class TakenOff:
    """An entry that was on record between two instants, and is so no longer."""

    part: str
    entry: Entry
    since: datetime
    until: datetime


@dataclass(frozen=True)
class Audited:
    """A record to be audited: as known now, each entry saying when it came on record.

    ``taken_off`` are the entries that were on record once. ``after`` gives the first instant after a day,
    where the student is taught. ``signed_here`` are the ids of entries that were signed in this record: for
    others, what was known before they came on record themselves is not told here. ``settings`` are those
    of the school.
    """

    record: Record
    on: date
    after: Callable[[date], datetime]
    taken_off: tuple[TakenOff, ...] = ()
    signed_here: frozenset[str] = frozenset()
    settings: Settings = DEFAULT

    def then(self, entry: Entry) -> datetime:
        """The instant by which what is known counts as known on the day of an entry."""
        end = self.after(entry_day(entry))
        if entry.id in self.signed_here or entry.recorded is None:
            return end
        return max(end, entry.recorded)

    @cached_property
    def _late(self) -> tuple[tuple[datetime, date, str, str], ...]:
        """Entries that came on record after their own day, the latest first."""
        found = [
            (each.recorded, entry_day(each), part, each.id)
            for part in Record.PARTS
            for each in getattr(self.record, part)
            if each.recorded is not None and each.recorded >= self.after(entry_day(each))
        ]
        return tuple(sorted(found, reverse=True))

    def otherwise(self, day: date, then: datetime, parts: tuple[str, ...]) -> "Otherwise":
        """What of these parts, about a day or an earlier one, was known otherwise at an instant."""
        missing = []
        for recorded, about, part, entry in self._late:
            if recorded <= then:
                break
            if about <= day and part in parts:
                missing.append((part, entry))
        more = tuple(
            index
            for index, each in enumerate(self.taken_off)
            if each.part in parts and entry_day(each.entry) <= day and each.since <= then < each.until
        )
        return Otherwise(frozenset(missing), more)

    def as_it_was(self, otherwise: "Otherwise") -> Record:
        """The record without what was not known, and with what was taken off since."""
        parts: dict[str, Any] = {}
        for part in Record.PARTS:
            out = {entry for where, entry in otherwise.missing if where == part}
            more = [
                self.taken_off[index].entry for index in otherwise.more if self.taken_off[index].part == part
            ]
            if out or more:
                out |= {each.id for each in more}
                kept = [each for each in getattr(self.record, part) if each.id not in out]
                parts[part] = (*kept, *more)
        return replace(self.record, **parts)


@dataclass(frozen=True, slots=True)
class Otherwise:
    """How an earlier state of a record differs from today's: entries not yet there, entries still there."""

    missing: frozenset[tuple[str, str]] = frozenset()
    more: tuple[int, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.missing or self.more)


def taught(record: Record) -> Iterator[Flight | GroundLesson]:
    """The entries of training received, in flight, in a device and on the ground."""
    for flight in record.flights:
        if flight.times.get("dual"):
            yield flight
    yield from record.ground


def named(instructor: Instructor | None) -> str:
    """An instructor in words."""
    if instructor is None:
        return "no instructor"
    number = f" ({instructor.certificate})" if instructor.certificate else ""
    return f"{instructor.name}{number}"
