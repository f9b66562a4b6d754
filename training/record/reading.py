"""Rows to one frozen Record, in the same few queries whatever the record's size."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import F, Q
from django.db.models.functions import Coalesce

from syllabus.engine import record as engine
from training import models
from training.record.codec import (
    FLIGHTS,
    LANDING_COLUMNS,
    LANDINGS_SELECTED,
    PARTS,
    Part,
    Row,
    read_landing,
)

#: When an entry became known: as the document that brought it says, else when it was put on record here.
KNOWN_FROM = Coalesce(F("said_recorded_at"), F("recorded_at"))
#: An entry's key, when it was put on record here where that is asked for, and what its reader wants.
_Known = tuple[int, dt.datetime | None, Row]


def of(student: models.Student, *, known_at: dt.datetime | None = None) -> engine.Record:
    """A student's record, as it is or as it was known at an instant.

    Asked about an instant, every entry carries in ``recorded`` when it became known, so that the engine's
    own sifting agrees; otherwise ``recorded`` is what the record document said, if it did. The name and the
    birth date are always today's.

    Queries: 8, whatever the size.
    """
    landings = landings_of(student, known_at, LANDINGS_SELECTED)
    parts: dict[str, list[Any]] = {}
    for part in PARTS:
        read = part.reader()
        entries = parts[part.name] = []
        for pk, recorded_at, row in _selected(part, student, known_at):
            found = read(row)
            if part is FLIGHTS and (rows := landings.get(pk)):
                found["landings"] = tuple([read_landing(each) for each in rows])
            if known_at is not None and found["recorded"] is None:
                found["recorded"] = recorded_at
            entries.append(part.made(**found))
    return engine.Record(
        student=engine.Student(student.name, student.birth_date),
        **{name: tuple(entries) for name, entries in parts.items()},
    )


def known(known_at: dt.datetime | None) -> Q:
    """The condition that a row is on record, or was not yet retired at an instant."""
    on_record = Q(retired_at__isnull=True)
    return on_record if known_at is None else on_record | Q(retired_at__gt=known_at)


def rows_of(part: Part, student: models.Student) -> list[tuple[int, dt.datetime, Row]]:
    """What is on record of one part: for each entry its key, when it was put on record, and its columns."""
    entries = part.model.objects.filter(known(None), student_id=student.pk)
    rows = entries.order_by().values_list("pk", "recorded_at", *part.columns)
    return [(row[0], row[1], row[2:]) for row in rows]


def _selected(part: Part, student: models.Student, known_at: dt.datetime | None) -> list[_Known]:
    entries = part.model.objects.filter(known(known_at), student_id=student.pk).order_by()
    if known_at is None:
        return [(row[0], None, row[1:]) for row in entries.values_list("pk", *part.selected)]
    entries = entries.alias(known_from=KNOWN_FROM).filter(known_from__lte=known_at)
    # A successor may say that it was written down before it came here, while what it replaced still stood:
    # what stood then is what was known.
    found: dict[str, _Known] = {}
    for row in entries.order_by("recorded_at", "pk").values_list("pk", "recorded_at", *part.selected):
        found.setdefault(row[2], (row[0], row[1], row[2:]))
    return list(found.values())


def landings_of(
    student: models.Student, known_at: dt.datetime | None, columns: tuple[Any, ...] = LANDING_COLUMNS
) -> dict[int, list[Row]]:
    """The landings of each flight, by the flight's key."""
    rows = models.Landing.objects.filter(known(known_at), student_id=student.pk)
    by_flight: dict[int, list[Row]] = {}
    for row in rows.order_by("flight_id", "position").values_list("flight_id", *columns):
        by_flight.setdefault(row[0], []).append(row[1:])
    return by_flight
