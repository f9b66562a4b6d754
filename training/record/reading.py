"""Rows to one frozen Record, in the same few queries whatever the record's size."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import F, Q, QuerySet
from django.db.models.functions import Coalesce

from syllabus.engine import record as engine
from training import models
from training.record.codec import FLIGHTS, LANDING_COLUMNS, PARTS, Part, Row, read_landing

#: When an entry became known: as the document that brought it says, else when it was put on record here.
KNOWN_FROM = Coalesce(F("said_recorded_at"), F("recorded_at"))


def of(student: models.Student, *, known_at: dt.datetime | None = None) -> engine.Record:
    """A student's record, as it is or as it was known at an instant.

    Asked about an instant, every entry carries in ``recorded`` when it became known, so that the engine's
    own sifting agrees; otherwise ``recorded`` is what the record document said, if it did. The name and the
    birth date are always today's.

    Queries: 8, whatever the size.
    """
    landings = landings_of(student, known_at)
    parts: dict[str, list[Any]] = {}
    for part in PARTS:
        read = part.reader()
        entries = parts[part.name] = []
        for pk, recorded_at, row in _known_rows(part, student, known_at):
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


def known(prefix: str, known_at: dt.datetime | None) -> Q:
    """The condition that an entry is on record, or was known at an instant; ``prefix`` as ``flight__``."""
    if known_at is None:
        return Q(**{f"{prefix}retired_at__isnull": True})
    return Q(**{f"{prefix}retired_at__isnull": True}) | Q(**{f"{prefix}retired_at__gt": known_at})


def rows_of(part: Part, entries: QuerySet[Any]) -> list[tuple[int, dt.datetime, Row]]:
    """For each entry its key, when it was put on record here, and its columns in the part's order."""
    rows = entries.order_by().values_list("pk", "recorded_at", *part.columns)
    return [(row[0], row[1], row[2:]) for row in rows.iterator(chunk_size=2000)]


def _known_rows(
    part: Part, student: models.Student, known_at: dt.datetime | None
) -> list[tuple[int, dt.datetime, Row]]:
    entries = part.model.objects.filter(known("", known_at), student_id=student.pk)
    if known_at is None:
        return rows_of(part, entries)
    entries = entries.alias(known_from=KNOWN_FROM).filter(known_from__lte=known_at)
    # A successor may say that it was written down before it came here, while what it replaced still stood:
    # what stood then is what was known.
    found: dict[str, tuple[int, dt.datetime, Row]] = {}
    for each in sorted(rows_of(part, entries), key=lambda each: (each[1], each[0])):
        found.setdefault(each[2][0], each)
    return list(found.values())


def landings_of(student: models.Student, known_at: dt.datetime | None) -> dict[int, list[Row]]:
    """The landings of each flight, by the flight's key."""
    rows = models.Landing.objects.filter(known("flight__", known_at), student_id=student.pk)
    by_flight: dict[int, list[Row]] = {}
    for row in rows.order_by("flight_id", "position").values_list("flight_id", *LANDING_COLUMNS):
        by_flight.setdefault(row[0], []).append(row[1:])
    return by_flight
