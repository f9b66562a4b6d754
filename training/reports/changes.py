"""What changed between two instants: entries added, corrected or removed, and statuses of requirements.

Each side is the record as known then, on the school's day of that instant. To find the cause of a changed
status, the earlier record is checked on the later day: if that gives the later status, time passed (or a rule
came into force); else the record changed.
"""

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from syllabus.engine.record.record import Entry, Record
from syllabus.engine.record.record import Student as Person
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.reasons import Named, NotCovered, Reason, reason
from syllabus.engine.rules.report import Report
from training import record
from training.models import Correction, Endorsement, Student
from training.presenters.amounts import UNKNOWN
from training.presenters.entry import VOUCHED, name_of
from training.presenters.reasons import PAGE, Reader
from training.reports import authorities
from training.reports.eligibility import eligibility, rules_of

CAME, CORRECTED, RETIRED = "came", "corrected", "retired"
BY_RECORD, BY_TIME = "record", "time"


class Worded:
    """A change as a ``reason``, a code with its values, and in ``words``."""

    @property
    def reason(self) -> Reason:
        raise NotImplementedError

    def words(self, reader: Reader = PAGE) -> str:
        return reader.words(self.reason)


@dataclass(frozen=True, slots=True)
class EntryChange(Worded):
    """An entry added, corrected or removed; ``was`` is the id of the entry that it replaced.

    ``why`` is what a person wrote, or that it was revoked or has another provenance.
    """

    part: str
    change: str
    entry: Entry
    was: str | None = None
    why: str | Reason = ""

    @property
    def reason(self) -> Reason:
        entry = Named(self.entry.id)
        if self.change == CORRECTED and self.why:
            return reason("change.corrected-because", entry=entry, why=self.why)
        return reason(f"change.{self.change}", entry=entry)

    def words(self, reader: Reader = PAGE) -> str:
        def named(code: str) -> str:
            return name_of(self.entry, reader) if code == self.entry.id else reader.gettext(VOUCHED[code])

        return replace(reader, named=named).words(self.reason)


@dataclass(frozen=True, slots=True)
class PersonChange(Worded):
    """A changed name or birth date; None if there was or is none."""

    field: str
    was: str | dt.date | None
    now: str | dt.date | None

    @property
    def reason(self) -> Reason:
        was, now = (each or reason("change.none") for each in (self.was, self.now))
        return reason("change.name" if self.field == "name" else "change.birth-date", was=was, now=now)


@dataclass(frozen=True, slots=True)
class StatusChange(Worded):
    """A requirement, or (without findings) a whole milestone, whose status changed."""

    milestone: str
    title: str
    was: bool | None
    now: bool | None
    because: str
    before: Finding | None = None
    after: Finding | None = None

    @property
    def reason(self) -> Reason:
        what: str | Reason = self.title
        if self.after is not None:
            rule = self.after.rule
            what = reason("change.requirement", says=rule.says, citation=rule.cite.section)
        was, now = _status(self.was, self.before), _status(self.now, self.after)
        return reason(f"change.by-{self.because}", what=what, was=was, now=now)


def _status(met: bool | None, finding: Finding | None) -> Reason:
    status = reason("status.unknown" if met is None else "status.met" if met else "status.not-met")
    if finding is None or not finding.need:
        return status
    return reason("status.amounts", status=status, have=finding.have or UNKNOWN, need=finding.need)


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two instants, the school's day at that instant, and the rulebook of that day."""

    at: dt.datetime
    on: dt.date
    rulebook: str


@dataclass(frozen=True, slots=True)
class Changes(Worded):
    """Everything that changed between two instants."""

    student: Student
    first: Side
    second: Side
    entries: tuple[EntryChange, ...]
    milestones: tuple[StatusChange, ...]
    requirements: tuple[StatusChange, ...]
    person: tuple[PersonChange, ...] = ()

    @property
    def reason(self) -> Reason:
        """All changes in a sentence."""
        number = Counter(each.change for each in self.entries)
        return reason(
            "change.summary",
            first=self.first.on,
            second=self.second.on,
            added=number[CAME],
            corrected=number[CORRECTED],
            removed=number[RETIRED],
            requirements=len(self.requirements),
            milestones=len(self.milestones),
        )


def changes(student: Student, first: dt.datetime, second: dt.datetime) -> Changes:
    """The changes of a student's record and of statuses between two instants.

    Raises: NotInForce if a rule has no version on the day of an instant; ValueError if ``second`` is the
            earlier one.
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
        yield PersonChange("birth_date", before.birth_date, after.birth_date)


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
                    why: str | Reason = ""
                    if each.id in revoked:
                        why = reason("change.revoked", why=revoked[each.id])
                    elif (was := earlier.provenance) != each.provenance:
                        why = reason("change.provenance", was=Named(was), now=Named(each.provenance))
                    yield EntryChange(part, CORRECTED, each, each.id, why)
            elif rest and (found := corrected.get(f"{prefix}/")):
                name = f"{found[0]}{rest}"
                replaced = old.pop(name, None) is not None
                change = CORRECTED if replaced else CAME
                yield EntryChange(part, change, each, name if replaced else None, found[1])
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
