"""What changed between two instants: entries added, corrected or removed, and the status of requirements.

Each side is the record as it was known then, on the school's day of that instant. Where a status changed,
the earlier record on the later day tells the cause: if it gives the later status, time passed (or a rule came
into force), else the record changed.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

from syllabus.engine.record.record import Entry, Record
from syllabus.engine.record.record import Student as Person
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.report import Report
from training import record
from training.models import Correction, Endorsement, Student
from training.presenters import amounts as presenter
from training.presenters.entry import PLAIN, name_of
from training.reports import authorities
from training.reports.eligibility import eligibility, rules_of

CAME, CORRECTED, RETIRED = "came", "corrected", "retired"
BY_RECORD, BY_TIME = "record", "time"
_MET = {True: "met", False: "not met", None: "unknown"}
_CAUSE = {BY_RECORD: "the record changed", BY_TIME: "time passed"}


@dataclass(frozen=True, slots=True)
class EntryChange:
    """An entry added, corrected or removed; ``was`` is the id of the entry that it replaced."""

    part: str
    change: str
    entry: Entry
    was: str | None = None
    why: str = ""

    @property
    def words(self) -> str:
        what = name_of(self.entry, PLAIN)
        why = f": {self.why}" if self.why else ""
        match self.change:
            case "came":
                return f"{what} was added."
            case "corrected":
                return f"{what} was corrected{why}."
        return f"{what} was removed{why}."


@dataclass(frozen=True, slots=True)
class PersonChange:
    """A changed name or birth date; None where there was or is none."""

    field: str
    was: str | None
    now: str | None

    @property
    def words(self) -> str:
        what = {"name": "The name", "birth_date": "The birth date"}[self.field]
        return f"{what} changed from {self.was or 'none'} to {self.now or 'none'}."


@dataclass(frozen=True, slots=True)
class StatusChange:
    """A requirement, or (without findings) a whole milestone, whose status changed."""

    milestone: str
    title: str
    was: bool | None
    now: bool | None
    because: str
    before: Finding | None = None
    after: Finding | None = None

    @property
    def words(self) -> str:
        was, now, what = _MET[self.was], _MET[self.now], self.title
        if self.after is not None and self.before is not None:
            rule = self.after.rule
            was, now = (
                f"{status} ({presenter.of(each.have, each.need)})"
                for status, each in ((was, self.before), (now, self.after))
            )
            what = f"{rule.says} ({rule.cite.section})"
        return f"{what}: changed from {was} to {now} because {_CAUSE[self.because]}."


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two instants, the day it is at the school, and the rulebook of that day."""

    at: dt.datetime
    on: dt.date
    rulebook: str


@dataclass(frozen=True, slots=True)
class Changes:
    """Everything that changed between two instants."""

    student: Student
    first: Side
    second: Side
    entries: tuple[EntryChange, ...]
    milestones: tuple[StatusChange, ...]
    requirements: tuple[StatusChange, ...]
    person: tuple[PersonChange, ...] = ()

    @property
    def words(self) -> str:
        """All of it in a sentence."""
        number = {
            kind: sum(each.change == kind for each in self.entries) for kind in (CAME, CORRECTED, RETIRED)
        }
        return (
            f"Between {self.first.on} and {self.second.on}: {_counted(number[CAME], 'entry', 'entries')}"
            f" added, {number[CORRECTED]} corrected, {number[RETIRED]} removed; the status of"
            f" {_counted(len(self.requirements), 'requirement', 'requirements')} and"
            f" {_counted(len(self.milestones), 'milestone', 'milestones')} changed."
        )


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def changes(student: Student, first: dt.datetime, second: dt.datetime) -> Changes:
    """What changed in a student's record, and the status of what, between two instants.

    Raises: NotInForce where a rule has no version on the day of an instant; ValueError where ``second`` is
    the earlier.
    """
    if second < first:
        raise ValueError(f"{second.isoformat()} lies before {first.isoformat()}")
    days = [student.school.day(each) for each in (first, second)]
    sides = [Side(at, on, rules_of(student, on).id) for at, on in zip((first, second), days, strict=True)]
    before, after = (record.of(student, known_at=at) for at in (first, second))
    milestones, requirements = _status_changes(student, sides[0], sides[1])
    return Changes(
        student,
        sides[0],
        sides[1],
        tuple(_entries(student, before, after, first, second)),
        tuple(milestones),
        tuple(requirements),
        tuple(_person(before.student, after.student)),
    )


def _person(before: Person, after: Person) -> Iterator[PersonChange]:
    if before.name != after.name:
        yield PersonChange("name", before.name or None, after.name or None)
    if before.birth_date != after.birth_date:
        yield PersonChange("birth_date", _day(before.birth_date), _day(after.birth_date))


def _day(when: dt.date | None) -> str | None:
    return None if when is None else when.isoformat()


def _entries(
    student: Student, before: Record, after: Record, first: dt.datetime, second: dt.datetime
) -> Iterator[EntryChange]:
    corrected = {
        f"{each.successor_id}/": (each.entries, each.reason)
        for each in Correction.objects.filter(student=student, at__gt=first, at__lte=second)
    }
    revoked = dict(
        Endorsement.objects.filter(
            student=student, ended_by__at__gt=first, ended_by__at__lte=second
        ).values_list("entry_id", "ended_by__reason")
    )
    for part in Record.PARTS:
        old = {each.id: each for each in getattr(before, part)}
        for each in getattr(after, part):
            earlier = old.pop(each.id, None)
            prefix, _, rest = each.id.partition("/")
            if earlier is not None:
                if replace(earlier, recorded=None) != replace(each, recorded=None):
                    why = f"revoked, {revoked[each.id]}" if each.id in revoked else ""
                    if earlier.provenance != each.provenance:
                        why = why or f"{earlier.provenance} before, {each.provenance} now"
                    yield EntryChange(part, CORRECTED, each, each.id, why)
            elif rest and (found := corrected.get(f"{prefix}/")):
                was = f"{found[0]}{rest}"
                replaced = old.pop(was, None) is not None
                change = CORRECTED if replaced else CAME
                yield EntryChange(part, change, each, was if replaced else None, found[1])
            else:
                yield EntryChange(part, CAME, each)
        for each in old.values():
            yield EntryChange(part, RETIRED, each)


def _status_changes(
    student: Student, first: Side, second: Side
) -> tuple[list[StatusChange], list[StatusChange]]:
    milestones: list[StatusChange] = []
    requirements: list[StatusChange] = []
    were, are = (
        {each.id: each for each in authorities.asked(student, rules_of(student, side.on))}
        for side in (first, second)
    )
    for name in were.keys() & are.keys():
        try:
            before = eligibility(student, name, first.on, known_at=first.at)
            after = eligibility(student, name, second.on, known_at=second.at)
            earlier = eligibility(student, name, second.on, known_at=first.at)
        except NotCovered:  # without an answer on both sides there is nothing to compare
            continue
        if before.met != after.met:
            because = BY_TIME if earlier.met == after.met else BY_RECORD
            milestones.append(StatusChange(name, after.milestone.title, before.met, after.met, because))
        requirements += _leaves(name, (before, first.on), (after, second.on), earlier)
    order = list(are)
    milestones.sort(key=lambda each: order.index(each.milestone))
    requirements.sort(key=lambda each: order.index(each.milestone))
    return milestones, requirements


def _leaves(
    name: str, before: tuple[Report, dt.date], after: tuple[Report, dt.date], earlier: Report
) -> Iterator[StatusChange]:
    """The requirements of a milestone itself; those of a nested one are listed with that one."""
    were = {each.rule.id: each for each in before[0].findings}
    between = {each.rule.id: each for each in earlier.findings}
    for now in after[0].findings:
        was = were.get(now.rule.id)
        if was is None or now.parts:
            continue
        one, other = was.met(before[1]), now.met(after[1])
        if one == other:
            continue
        still = between.get(now.rule.id)
        because = BY_TIME if still is not None and still.met(after[1]) == other else BY_RECORD
        yield StatusChange(name, after[0].milestone.title, one, other, because, was, now)
