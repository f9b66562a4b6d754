"""Replaces a student's whole record; nothing that was on record vanishes."""

import datetime as dt
import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import rfc8785
from django.db import transaction

from syllabus.engine.course import proving
from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from training import models
from training.record import reading
from training.record.codec import FLIGHTS, LANDING_COLUMNS, PARTS, Part, Row, write_landings

_AT_ONCE = 5_000  # primary keys in one statement, a number that every database allows


def fingerprint(record: engine.Record) -> str:
    """``sha256:…`` over the record document in its canonical form (RFC 8785)."""
    return "sha256:" + hashlib.sha256(rfc8785.dumps(document.dump(record))).hexdigest()


class SealedEntry(Exception):
    """The new record would change or leave out entries that were signed here."""

    def __init__(self, part: str, entries: Iterable[str]):
        self.part, self.entries = part, tuple(entries)
        super().__init__(
            f"{part}: {', '.join(self.entries)} was signed here and is locked; leave it unchanged. It is"
            " ended or corrected by an entry of its own."
        )


@dataclass(frozen=True, slots=True)
class Moved:
    """An entry that was added or removed, with its provenance."""

    part: str
    id: str
    provenance: str
    #: Over the entry as in a record document; empty for one that was removed.
    hash: str | None = None

    def as_json(self) -> dict[str, str]:
        made = {"part": self.part, "id": self.id, "provenance": self.provenance}
        return made if self.hash is None else {**made, "hash": self.hash}


def moved(part: str, entry: engine.Entry, provenance: str) -> Moved:
    """An added entry with that provenance."""
    return Moved(part, entry.id, provenance, entry_hash(part, entry))


def same(one: engine.Entry, other: engine.Entry) -> bool:
    """Whether two entries say the same, whatever their provenance and time of writing."""
    return replace(one, recorded=None, provenance=other.provenance) == replace(other, recorded=None)


def entry_hash(part: str, entry: engine.Entry) -> str:
    """``sha256:…`` over the canonical form of an entry as in a record document.

    The time of writing and the provenance are left out.
    """
    alone: dict[str, Any] = {part: (replace(entry, recorded=None),)}
    whole = document.dump(engine.Record(**alone))
    return "sha256:" + hashlib.sha256(rfc8785.dumps(whole[part][0])).hexdigest()


@dataclass(frozen=True, slots=True)
class Replaced:
    """The result of a change: the entries added and removed, and name and birth date.

    ``before`` and ``after`` are fingerprints of the record; ``person`` is None if name and birth date did not
    change, else the old and the new ones.
    """

    before: str
    after: str
    added: tuple[Moved, ...]
    retired: tuple[Moved, ...]
    person: tuple[engine.Student, engine.Student] | None

    def as_json(self) -> dict[str, Any]:
        """As stored in the ledger."""
        changed = self.person and [_person(each) for each in self.person]
        return {
            "before": self.before,
            "after": self.after,
            "added": [each.as_json() for each in self.added],
            "retired": [each.as_json() for each in self.retired],
            "student": changed and {"before": changed[0], "after": changed[1]},
        }


#: Signs a change into the ledger, in its transaction; returns the ledger index if there is one.
Seal = Callable[[Replaced, dt.datetime], int | None]


def _person(whose: engine.Student) -> Any:
    """Name and birth date as in a record document."""
    return document.dump(engine.Record(student=whose))["student"]


#: The provenance of an entry of a list of a document; never a signature, which is given here.
Vouches = Callable[[str, engine.Entry], str]


def nobody(part: str, entry: engine.Entry) -> str:
    """The default: entries of a document are claimed."""
    return engine.CLAIMED


@dataclass
class _Changes:
    """The changes of one list: entries to add, and rows to retire, by primary key."""

    added: list[engine.Entry] = field(default_factory=list)
    changed: list[engine.Entry] = field(default_factory=list)
    off: dict[int, Moved] = field(default_factory=dict)
    kept: int = 0

    @property
    def retired(self) -> list[int]:
        return list(self.off)

    @property
    def counts(self) -> dict[str, int]:
        return {
            "added": len(self.added),
            "changed": len(self.changed),
            "removed": len(self.retired) - len(self.changed),
            "kept": self.kept,
        }


def store(
    student: models.Student,
    record: engine.Record,
    *,
    by: models.User | None,
    at: dt.datetime,
    reason: str = "",
    confirmed: Mapping[str, Any] | None = None,
    vouches: Vouches = nobody,
    seal: Seal | None = None,
    invented: bool = False,
) -> models.RecordChange | None:
    """Replace a student's whole record: afterwards ``of(student)`` equals ``record``.

    An unchanged entry stays as it is, with its time of recording and provenance; a claimed one gets a
    successor if it is attested now. A changed or missing one is retired, and the changed one's successor is a
    new row. ``vouches`` alone decides the provenance of new rows. Name and birth date become the record's.
    ``seal`` signs the change into the ledger. For a demo school (``invented``) an entry is on record from
    when it says.

    Returns: who replaced what, when and why; None if nothing changed.
    Raises: SealedEntry if an entry that was signed here would be changed or left out.
    Effects: one transaction, with the student's row locked. If the clock is behind the newest row, the newest
             row's time is used, so that changes stay in order.
    """
    with transaction.atomic():
        locked = models.Student.objects.select_for_update(no_key=True).get(pk=student.pk)
        if invented and not student.school.is_demo:
            raise ValueError("only a demo school has an invented past")
        changes, newest = {}, at
        for part in PARTS:
            changes[part.name], newest = _compared(part, locked, record, newest, vouches)
        same_person = engine.Student(locked.name, locked.birth_date) == record.student
        if same_person and not any(each.added or each.off for each in changes.values()):
            return None
        done = _replaced(locked, record, changes, newest, vouches, invented)
        change = models.RecordChange.objects.create(
            **_columns(locked, done, newest),
            by=by,
            reason=reason,
            confirmed=dict(confirmed or {}),
            counts={name: each.counts for name, each in changes.items()},
            ledger_index=seal and seal(done, newest),
        )
        locked.refresh_from_db(fields=["version"])  # the database drew it
    student.name, student.birth_date, student.version = locked.name, locked.birth_date, locked.version
    return change


def _columns(student: models.Student, done: Replaced, at: dt.datetime) -> dict[str, Any]:
    """The columns of a change's row."""
    return {
        "school_id": student.school_id,
        "student": student,
        "at": at,
        "before": done.before,
        "after": done.after,
        "student_before": done.person and _person(done.person[0]),
    }


def _replaced(
    student: models.Student,
    record: engine.Record,
    changes: Mapping[str, _Changes],
    at: dt.datetime,
    vouches: Vouches,
    invented: bool,
) -> Replaced:
    """Retire and insert the rows that differ. Raises: SealedEntry."""
    for part in PARTS:
        _refuse_sealed(part, changes[part.name].retired)
    before, after = fingerprint(reading.of(student)), fingerprint(record)
    who, whose = engine.Student(student.name, student.birth_date), record.student
    if who != whose:
        student.name, student.birth_date = whose.name, whose.birth_date
        student.save(update_fields=["name", "birth_date"])
    added: list[Moved] = []
    for part in PARTS:
        added += _write(part, student, changes[part.name], at, vouches, invented)
    off = tuple(each for some in changes.values() for each in some.off.values())
    return Replaced(before, after, tuple(added), off, None if who == whose else (who, whose))


def _compared(
    part: Part, student: models.Student, record: engine.Record, newest: dt.datetime, vouches: Vouches
) -> tuple[_Changes, dt.datetime]:
    """The changes of one list, and the later of ``newest`` and its latest time of recording."""
    landings: dict[int, list[Row]] = reading.landings_of(student) if part is FLIGHTS else {}
    old: dict[str, reading.Standing] = {}
    for each in reading.rows_of(part, student):
        old[each.row[0]] = each
        newest = max(newest, each.recorded_at)
    changes = _Changes()
    for entry in _without_proofs(part, student, getattr(record, part.name)):
        stands = old.pop(entry.id, None)
        if stands is None:
            changes.added.append(entry)
            continue
        groups = write_landings(entry) if part is FLIGHTS else []
        same = (stands.row, landings.get(stands.pk, [])) == (part.write(entry), groups)
        if same and not (stands.provenance == engine.CLAIMED != vouches(part.name, entry)):
            changes.kept += 1
        else:
            changes.changed.append(entry)
            changes.off[stands.pk] = Moved(part.name, entry.id, stands.provenance)
    for name, each in old.items():
        changes.off[each.pk] = Moved(part.name, name, each.provenance)
    return changes, newest


def _without_proofs(part: Part, student: models.Student, entries: Iterable[engine.Entry]) -> Iterator[Any]:
    """The entries without those that follow from lessons signed here, which are never rows.

    Raises: SealedEntry if such an entry differs from the lessons.
    """
    mine = {each.id: each for each in entries}
    if part.name != "items" or not any(proving.MARK in name for name in mine):
        yield from mine.values()
        return
    signed = models.LessonRecord.objects.filter(student_id=student.pk, state=models.LessonRecord.State.SIGNED)
    lessons = {str(pk) for pk in signed.values_list("pk", flat=True)}
    follow = {
        each.id: replace(each, provenance=engine.CLAIMED)
        for each in reading.of(student).items
        if proving.MARK in each.id
    }
    of_lessons = [name for name in mine if proving.MARK in name and proving.lesson_of(name) in lessons]
    said = {name: replace(mine[name], provenance=engine.CLAIMED) for name in of_lessons}
    if other := [name for name in of_lessons if said[name] != follow.get(name)]:
        raise SealedEntry(part.name, other)
    yield from (each for name, each in mine.items() if name not in of_lessons)


def _refuse_sealed(part: Part, retired: list[int]) -> None:
    """Raises: SealedEntry with the ids of the signed rows among those to be retired."""
    for keys in _portions(retired):
        sealed = part.model.objects.filter(pk__in=keys, sealed=True).order_by("entry_id")
        if found := list(sealed.values_list("entry_id", flat=True)):
            raise SealedEntry(part.name, found)


def _write(
    part: Part,
    student: models.Student,
    changes: _Changes,
    at: dt.datetime,
    vouches: Vouches,
    invented: bool,
) -> list[Moved]:
    """Retire and insert; returns the entries inserted."""
    for keys in _portions(changes.retired):
        part.model.objects.filter(pk__in=keys).update(retired_at=at)
        if part is FLIGHTS:
            models.Landing.objects.filter(flight_id__in=keys).update(retired_at=at)
    entries = [*changes.added, *changes.changed]
    if not entries:
        return []
    links = _Links.of(part, student)
    added = [moved(part.name, entry, vouches(part.name, entry)) for entry in entries]
    if any(each.provenance == engine.SIGNED for each in added):
        raise ValueError("an entry is signed by a sign-off here, and by nothing else")

    def made(entry: engine.Entry, provenance: str) -> Any:
        columns = dict(zip(part.columns, part.write(entry), strict=True))
        return part.model(
            school_id=student.school_id,
            student_id=student.pk,
            recorded_at=min(at, entry.recorded) if invented and entry.recorded else at,
            provenance=provenance,
            **columns,
            **links.to(columns),
        )

    part.model.objects.bulk_create(
        made(entry, each.provenance) for entry, each in zip(entries, added, strict=True)
    )
    if part is FLIGHTS:
        _write_landings(student, [entry for entry in entries if isinstance(entry, engine.Flight)])
    return added


def _write_landings(student: models.Student, flights: list[engine.Flight]) -> None:
    keys = dict(
        models.Flight.objects.filter(student_id=student.pk, retired_at__isnull=True).values_list(
            "entry_id", "pk"
        )
    )
    models.Landing.objects.bulk_create(
        models.Landing(
            school_id=student.school_id,
            student_id=student.pk,
            flight_id=keys[flight.id],
            position=position,
            **dict(zip(LANDING_COLUMNS, row, strict=True)),
        )
        for flight in flights
        for position, row in enumerate(write_landings(flight))
    )


@dataclass(frozen=True)
class _Links:
    """The school's own aircraft and instructors that an entry's words mean. The words stay authoritative."""

    columns: frozenset[str]
    aircraft: dict[str, int]
    instructors: dict[str, int]

    @classmethod
    def of(cls, part: Part, student: models.Student) -> "_Links":
        columns = frozenset(part.columns)
        aircraft, instructors = {}, {}
        if "aircraft_registration" in columns:
            fleet = models.Aircraft.objects.filter(school_id=student.school_id)
            aircraft = dict(fleet.values_list("registration", "pk"))
        if "instructor_certificate" in columns:
            roles = models.Role.objects.filter(
                school_id=student.school_id, role=models.Role.Kind.INSTRUCTOR
            ).exclude(certificate="")
            instructors = dict(roles.values_list("certificate", "user_id"))
        return cls(columns, aircraft, instructors)

    def to(self, columns: dict[str, Any]) -> dict[str, int | None]:
        found: dict[str, int | None] = {}
        if "aircraft_registration" in self.columns:
            found["aircraft_id"] = self.aircraft.get(columns["aircraft_registration"])
        if "instructor_certificate" in self.columns:
            found["instructor_user_id"] = self.instructors.get(columns["instructor_certificate"])
        return found


def _portions(keys: Iterable[int]) -> Iterator[list[int]]:
    every = list(keys)
    for start in range(0, len(every), _AT_ONCE):
        yield every[start : start + _AT_ONCE]
