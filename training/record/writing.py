"""One Record to rows: a student's whole record is replaced, and nothing that was on record vanishes."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import rfc8785
from django.db import transaction

from syllabus.engine import document, proving
from syllabus.engine import record as engine
from training import models
from training.record import reading
from training.record.codec import FLIGHTS, LANDING_COLUMNS, PARTS, Part, Row, write_landings

_AT_ONCE = 5_000  # keys in one statement: every database takes as many


def fingerprint(record: engine.Record) -> str:
    """``sha256:…`` over the record document in its canonical form (RFC 8785)."""
    return "sha256:" + hashlib.sha256(rfc8785.dumps(document.dump(record))).hexdigest()


class SealedEntry(Exception):
    """A record put in the place of another would change or leave out what was signed and sealed here."""

    def __init__(self, part: str, entries: Iterable[str]):
        self.part, self.entries = part, tuple(entries)
        super().__init__(
            f"{part}: {', '.join(self.entries)} was signed here and is sealed; leave it as it stands. It is"
            " ended or corrected by an entry of its own."
        )


@dataclass
class _Changes:
    """What becomes of one part: entries put on record, and keys of rows that are so no longer."""

    added: list[engine.Entry] = field(default_factory=list)
    changed: list[engine.Entry] = field(default_factory=list)
    retired: list[int] = field(default_factory=list)
    kept: int = 0

    @property
    def counts(self) -> dict[str, int]:
        return {
            "added": len(self.added),
            "changed": len(self.changed),
            "removed": len(self.retired) - len(self.changed),
            "kept": self.kept,
        }


def store(
    student: models.Student, record: engine.Record, *, by: models.User | None, at: dt.datetime
) -> models.RecordChange | None:
    """Replace a student's whole record: ``of(student) == record`` afterwards.

    An entry that is the same stays as it is, with the time it was put on record. One that was changed or is
    no longer there is retired, its successor a row of its own. The student's name and birth date become the
    record's.

    Returns: who replaced what, when; None where nothing is different from before.
    Raises:  SealedEntry where an entry that was signed here would be changed or left out.
    Effects: one transaction, with the student's row locked. A clock that runs behind what is on record
             already gives way to it, so that the order of changes is kept.
    """
    with transaction.atomic():
        locked = models.Student.objects.select_for_update().get(pk=student.pk)
        newest = at
        changes: dict[str, _Changes] = {}
        for part in PARTS:
            changes[part.name], newest = _compared(part, locked, record, newest)
        who, whose = engine.Student(locked.name, locked.birth_date), record.student
        if who == whose and not any(each.added or each.changed or each.retired for each in changes.values()):
            return None
        for part in PARTS:
            _refuse_sealed(part, changes[part.name].retired)
        before = fingerprint(reading.of(locked))
        if who != whose:
            locked.name, locked.birth_date = whose.name, whose.birth_date
            locked.save(update_fields=["name", "birth_date"])
        for part in PARTS:
            _write(part, locked, changes[part.name], newest)
        change = models.RecordChange.objects.create(
            school_id=locked.school_id,
            student=locked,
            by=by,
            at=newest,
            before=before,
            after=fingerprint(record),
            counts={name: each.counts for name, each in changes.items()},
            student_before=None if who == whose else document.dump(engine.Record(student=who))["student"],
        )
        locked.refresh_from_db(fields=["version"])  # the database drew it
    student.name, student.birth_date, student.version = locked.name, locked.birth_date, locked.version
    return change


def _compared(
    part: Part, student: models.Student, record: engine.Record, newest: dt.datetime
) -> tuple[_Changes, dt.datetime]:
    """What is different in one part; and the later of ``newest`` and whatever was put on record last."""
    landings: dict[int, list[Row]] = reading.landings_of(student) if part is FLIGHTS else {}
    old: dict[str, tuple[int, Row, list[Row]]] = {}
    for pk, recorded_at, row in reading.rows_of(part, student):
        old[row[0]] = (pk, row, landings.get(pk, []))
        newest = max(newest, recorded_at)
    changes = _Changes()
    for entry in _without_proofs(part, student, getattr(record, part.name)):
        stands = old.pop(entry.id, None)
        if stands is None:
            changes.added.append(entry)
        elif stands[1:] == (part.write(entry), write_landings(entry) if part is FLIGHTS else []):
            changes.kept += 1
        else:
            changes.changed.append(entry)
            changes.retired.append(stands[0])
    changes.retired.extend(pk for pk, _, _ in old.values())
    return changes, newest


def _without_proofs(part: Part, student: models.Student, entries: Iterable[engine.Entry]) -> Iterator[Any]:
    """The entries without those that follow from lessons signed here: they are never rows.

    Raises: SealedEntry where such an entry says something else than the lessons do.
    """
    mine = {each.id: each for each in entries}
    if part.name != "items" or not any(proving.MARK in name for name in mine):
        yield from mine.values()
        return
    signed = models.LessonRecord.objects.filter(student_id=student.pk, state=models.LessonRecord.State.SIGNED)
    lessons = {str(pk) for pk in signed.values_list("pk", flat=True)}
    follow = {each.id: each for each in reading.of(student).items if proving.MARK in each.id}
    of_lessons = [name for name in mine if proving.MARK in name and proving.lesson_of(name) in lessons]
    if other := [name for name in of_lessons if mine[name] != follow.get(name)]:
        raise SealedEntry(part.name, other)
    yield from (each for name, each in mine.items() if name not in of_lessons)


def _refuse_sealed(part: Part, retired: list[int]) -> None:
    """Raises: SealedEntry with the ids of the sealed among the rows to be retired."""
    for keys in _portions(retired):
        sealed = part.model.objects.filter(pk__in=keys, sealed=True).order_by("entry_id")
        if found := list(sealed.values_list("entry_id", flat=True)):
            raise SealedEntry(part.name, found)


def _write(part: Part, student: models.Student, changes: _Changes, at: dt.datetime) -> None:
    for keys in _portions(changes.retired):
        part.model.objects.filter(pk__in=keys).update(retired_at=at)
        if part is FLIGHTS:
            models.Landing.objects.filter(flight_id__in=keys).update(retired_at=at)
    entries = [*changes.added, *changes.changed]
    if not entries:
        return
    links = _Links.of(part, student)

    def made(entry: engine.Entry) -> Any:
        columns = dict(zip(part.columns, part.write(entry), strict=True))
        return part.model(
            school_id=student.school_id,
            student_id=student.pk,
            recorded_at=at,
            **columns,
            **links.to(columns),
        )

    part.model.objects.bulk_create(made(entry) for entry in entries)
    if part is FLIGHTS:
        _write_landings(student, [entry for entry in entries if isinstance(entry, engine.Flight)])


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
    """The school's own aircraft and instructors that an entry's words mean. The words stay what counts."""

    columns: frozenset[str]
    aircraft: dict[str, int]
    instructors: dict[str, int]

    @classmethod
    def of(cls, part: Part, student: models.Student) -> _Links:
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
