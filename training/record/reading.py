"""Rows to one frozen Record, in the same few queries whatever the record's size."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import replace
from typing import Any

from django.db.models import FilteredRelation, Q

from syllabus.engine import proving
from syllabus.engine import record as engine
from syllabus.outlines import published_as
from training import models
from training.record.codec import (
    CERTIFICATES,
    FLIGHTS,
    LANDING_COLUMNS,
    LANDINGS_SELECTED,
    PARTS,
    Part,
    Row,
    read_landing,
)

#: An entry's key, when it was put on record here where that was asked for, and what its reader wants.
Known = tuple[int, dt.datetime | None, Row]
#: A record is read again when it changed meanwhile, as often as this.
TRIES = 20


class ChangesTooFast(RuntimeError):
    """A record changed during each of many readings of it."""


def of(student: models.Student, *, known_at: dt.datetime | None = None) -> engine.Record:
    """A student's record, as it is or as it was known at an instant.

    Asked about an instant, every entry carries in ``recorded`` when it became known, so that the engine's
    own sifting agrees; otherwise ``recorded`` is what the record document said, if it did. The name and the
    birth date are those of ``student``.

    The queries see one state of the record: where somebody replaces it meanwhile, it is read again.

    What lessons of a course prove to the rules stands among the items, worked out anew at each reading.

    Queries: 8, whatever the size; one more where lessons were signed here, and those of an outline that was
             never read before.
    Raises:  Student.DoesNotExist where the student is gone; ChangesTooFast.
    """
    version = student.version
    for _ in range(TRIES):
        landings = landings_of(student, known_at, LANDINGS_SELECTED)
        rows = {part: _selected(part, student, known_at) for part in PARTS if part is not CERTIFICATES}
        seen, rows[CERTIFICATES] = _certificates_and_version(student, known_at)
        if seen == version:
            break
        version = seen
    else:
        raise ChangesTooFast(f"the record of student {student.ref} changed during {TRIES} readings of it")
    found = engine.Record(
        student=engine.Student(student.name, student.birth_date),
        **{part.name: _entries(part, rows[part], landings, known_at) for part in PARTS},
    )
    return _with_proofs(found, student)


def _with_proofs(found: engine.Record, student: models.Student) -> engine.Record:
    """The record with what its lessons prove to the rules, by the version of the course each is of."""
    lessons = {proving.lesson_of(each.id) for each in found.items if "/" in each.id}
    if not lessons:
        return found
    versions = models.LessonRecord.objects.filter(
        student_id=student.pk, state=models.LessonRecord.State.SIGNED, course_version__isnull=False
    ).values_list("pk", "course_version_id", "course_version__content_hash")
    outlines = {str(pk): published_as(*pinned) for pk, *pinned in versions if str(pk) in lessons}
    made = proving.proofs(found.items, found.flights_by_id, outlines)
    return replace(found, items=(*found.items, *made)) if made else found


def _entries(
    part: Part, rows: list[Known], landings: dict[int, list[Row]], known_at: dt.datetime | None
) -> tuple[Any, ...]:
    read, made = part.reader(), []
    for pk, recorded_at, row in rows:
        found = read(row)
        if part is FLIGHTS and (groups := landings.get(pk)):
            found["landings"] = tuple([read_landing(each) for each in groups])
        if known_at is not None and found["recorded"] is None:
            found["recorded"] = recorded_at
        made.append(part.made(**found))
    return tuple(made)


def on_record(known_at: dt.datetime | None, prefix: str = "") -> Q:
    """The condition that a row is on record, or was not yet retired at an instant."""
    now = Q(**{f"{prefix}retired_at__isnull": True})
    return now if known_at is None else now | Q(**{f"{prefix}retired_at__gt": known_at})


def known(known_at: dt.datetime | None, prefix: str = "") -> Q:
    """The condition that an entry is on record, or was known at an instant.

    It was known from when the document that brought it says, else from when it was put on record here.
    """
    if known_at is None:
        return on_record(None, prefix)
    said, put = f"{prefix}said_recorded_at", f"{prefix}recorded_at"
    return on_record(known_at, prefix) & (
        Q(**{f"{said}__lte": known_at}) | Q(**{f"{said}__isnull": True, f"{put}__lte": known_at})
    )


def rows_of(part: Part, student: models.Student) -> list[tuple[int, dt.datetime, Row]]:
    """What is on record of one part: for each entry its key, when it was put on record, and its columns."""
    entries = part.model.objects.filter(on_record(None), student_id=student.pk).order_by()
    return [(row[0], row[1], row[2:]) for row in entries.values_list("pk", "recorded_at", *part.columns)]


def _selected(part: Part, student: models.Student, known_at: dt.datetime | None) -> list[Known]:
    entries = part.model.objects.filter(known(known_at), student_id=student.pk).order_by()
    rows = entries.values_list("pk", *_when(known_at), *part.selected)
    return _known(list(rows), known_at)


def _certificates_and_version(
    student: models.Student, known_at: dt.datetime | None
) -> tuple[uuid.UUID, list[Known]]:
    """The certificates with the version of the record; one statement, so that it sees one state."""
    held = FilteredRelation("certificate_set", condition=known(known_at, "certificate_set__"))
    columns = ("pk", *_when(known_at), *CERTIFICATES.columns)
    rows = list(
        models.Student.objects.filter(pk=student.pk)
        .order_by()
        .alias(held=held)
        .values_list("version", *(f"held__{column}" for column in columns))
    )
    if not rows:
        raise models.Student.DoesNotExist(f"student {student.ref} is gone")
    return rows[0][0], _known([row[1:] for row in rows if row[1] is not None], known_at)


def _when(known_at: dt.datetime | None) -> tuple[str, ...]:
    """The column that says when an entry was put on record, only where that is asked for: it costs time."""
    return () if known_at is None else ("recorded_at",)


def _known(rows: list[Row], known_at: dt.datetime | None) -> list[Known]:
    if known_at is None:
        return [(row[0], None, row[1:]) for row in rows]
    # A successor may say that it was written down before it came here, while what it replaced still stood:
    # what stood then is what was known.
    found: dict[str, Known] = {}
    for row in sorted(rows, key=lambda row: (row[1], row[0])):
        found.setdefault(row[2], (row[0], row[1], row[2:]))
    return list(found.values())


def landings_of(
    student: models.Student, known_at: dt.datetime | None, columns: tuple[Any, ...] = LANDING_COLUMNS
) -> dict[int, list[Row]]:
    """The landings of each flight, by the flight's key."""
    rows = models.Landing.objects.filter(on_record(known_at), student_id=student.pk)
    by_flight: dict[int, list[Row]] = {}
    for row in rows.order_by("flight_id", "position").values_list("flight_id", *columns):
        by_flight.setdefault(row[0], []).append(row[1:])
    return by_flight
