"""Reads a student's Record, with the same few queries whatever its size."""

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from operator import itemgetter
from typing import Any

from django.db.models import BigIntegerField, DateTimeField, Q

from syllabus.courses.outlines import published_as
from syllabus.engine.course import proving
from syllabus.engine.record import record as engine
from training import models
from training.record.codec import (
    FLIGHTS,
    LANDING_COLUMNS,
    LANDINGS_SELECTED,
    PARTS,
    PROVENANCE,
    Part,
    Row,
    as_text,
    read_landing,
)
from training.record.statements import Member, Union
from training.sql import Place

#: An entry's primary key, when it was recorded here if requested, and the values for its reader.
Known = tuple[int, dt.datetime | None, Row]
Instant = dt.datetime | Place | None
LANDINGS, LESSONS, REPLACED, STUDENT = "landings", "lessons", "replaced", "student"


def of(student: models.Student, *, known_at: dt.datetime | None = None) -> engine.Record:
    """A student's record, as it is or as known at an instant.

    For a question about an instant, ``recorded`` of every entry is when it was recorded here, by this
    server's clock, so that the engine's own filter agrees; otherwise it is what the record document claimed.
    Name and birth date are those of ``student``, or those on record then. Every entry has its provenance.

    Items that follow from a course's lessons are among the items, computed at each reading.

    Queries: 1, whatever the size, so that it sees one state; and those of an outline never read before.
    Raises: Student.DoesNotExist if the student is gone.
    """
    if known_at is None:
        rows = _AS_IT_IS.rows(student=student.pk)
    else:
        rows = _AS_KNOWN.rows(student=student.pk, known_at=known_at)
    if not rows[STUDENT]:
        raise models.Student.DoesNotExist(f"student {student.ref} is gone")
    landings: dict[int, list[Row]] = {}
    for flight, _, *columns in sorted(rows[LANDINGS], key=itemgetter(0, 1)):
        landings.setdefault(flight, []).append(tuple(columns))
    found = engine.Record(
        student=_person(student, known_at, rows),
        **{part.name: _entries(part, rows[part.name], landings, known_at) for part in PARTS},
    )
    return _with_proofs(found, rows[LESSONS])


def _person(
    student: models.Student, known_at: dt.datetime | None, rows: Mapping[str, list[Row]]
) -> engine.Student:
    """Name and birth date now, or on record at an instant.

    Before each change they were what that change recorded as the old ones; before the student was added there
    were none.
    """
    if known_at is None:
        return engine.Student(student.name, student.birth_date)
    [(_, since)] = rows[STUDENT]
    if since is not None and known_at < since:
        return engine.Student()
    if not rows[REPLACED]:
        return engine.Student(student.name, student.birth_date)
    _, _, stood = min(rows[REPLACED], key=itemgetter(0, 1))
    return person_of(json.loads(stood))


def person_of(said: Mapping[str, Any]) -> engine.Student:
    """Name and birth date as a change stores the old ones."""
    born = said.get("birth_date")
    return engine.Student(said.get("name") or "", dt.date.fromisoformat(born) if born else None)


def _asked(known_at: Place | None) -> Mapping[str, Member]:
    """All rows of a student's record; with ``known_at`` as known then."""
    student = Place("student", BigIntegerField())
    # The column with the time of recording is needed only then.
    columns = ("pk",) if known_at is None else ("pk", "recorded_at")
    signed = models.LessonRecord.objects.filter(
        student_id=student, state=models.LessonRecord.State.SIGNED, course_version__isnull=False
    )
    whose = models.Student.objects.filter(pk=student)
    return {
        STUDENT: Member(whose, ("pk",) if known_at is None else ("pk", "recorded_at")),
        **({} if known_at is None else {REPLACED: _replaced(student, known_at)}),
        LANDINGS: Member(
            models.Landing.objects.filter(on_record(known_at), student_id=student),
            ("flight_id", "position", *LANDINGS_SELECTED),
        ),
        LESSONS: Member(signed, ("pk", "course_version_id", "course_version__content_hash")),
        **{
            part.name: Member(
                part.model.objects.filter(known(known_at), student_id=student), (*columns, *part.selected)
            )
            for part in PARTS
        },
    }


def _replaced(student: Place, known_at: Place) -> Member:
    """The names and birth dates that were replaced after an instant."""
    later = models.RecordChange.objects.filter(
        student_id=student, at__gt=known_at, student_before__isnull=False
    )
    return Member(later, ("at", "pk", as_text("student_before")))


_AS_IT_IS = Union(lambda: _asked(None))
_AS_KNOWN = Union(lambda: _asked(Place("known_at", DateTimeField())))


def _with_proofs(found: engine.Record, signed: list[Row]) -> engine.Record:
    """The record with the items that follow from its lessons, by each lesson's version of the course."""
    lessons = {proving.lesson_of(each.id) for each in found.items if "/" in each.id}
    outlines = {str(pk): published_as(*pinned) for pk, *pinned in signed if str(pk) in lessons}
    made = proving.proofs(found.items, found.flights_by_id, outlines) if outlines else ()
    return replace(found, items=(*found.items, *made)) if made else found


def _entries(
    part: Part, rows: list[Row], landings: dict[int, list[Row]], known_at: dt.datetime | None
) -> tuple[Any, ...]:
    read, made = part.reader(), []
    for pk, recorded_at, row in _known(rows, known_at):
        found = read(row)
        if part is FLIGHTS and (groups := landings.get(pk)):
            found["landings"] = tuple([read_landing(each) for each in groups])
        if known_at is not None:
            found["recorded"] = recorded_at
        made.append(part.made(**found))
    return tuple(made)


def on_record(known_at: Instant) -> Q:
    """The condition that a row is on record, or was not yet retired at an instant."""
    now = Q(retired_at__isnull=True)
    return now if known_at is None else now | Q(retired_at__gt=known_at)


def known(known_at: Instant) -> Q:
    """The condition that an entry is on record, or was known at an instant.

    It was known from when it was recorded here, by this server's clock, whatever a document claims.
    """
    if known_at is None:
        return on_record(None)
    return on_record(known_at) & Q(recorded_at__lte=known_at)


@dataclass(frozen=True, slots=True)
class Standing:
    """A row on record: its primary key, when it was recorded here, its provenance, and its columns."""

    pk: int
    recorded_at: dt.datetime
    provenance: str
    row: Row


def rows_of(part: Part, student: models.Student) -> list[Standing]:
    """The rows on record of one list."""
    entries = part.model.objects.filter(on_record(None), student_id=student.pk).order_by()
    columns = ("pk", "recorded_at", PROVENANCE, *part.columns)
    return [Standing(row[0], row[1], row[2], row[3:]) for row in entries.values_list(*columns)]


def _known(rows: list[Row], known_at: dt.datetime | None) -> list[Known]:
    if known_at is None:
        return [(row[0], None, row[1:]) for row in sorted(rows, key=itemgetter(0))]
    return [(row[0], row[1], row[2:]) for row in sorted(rows, key=lambda row: (row[1], row[0]))]


def landings_of(student: models.Student) -> dict[int, list[Row]]:
    """The landings on record of each flight, by the flight's primary key."""
    rows = models.Landing.objects.filter(on_record(None), student_id=student.pk)
    by_flight: dict[int, list[Row]] = {}
    for row in rows.order_by("flight_id", "position").values_list("flight_id", *LANDING_COLUMNS):
        by_flight.setdefault(row[0], []).append(row[1:])
    return by_flight
