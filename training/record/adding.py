"""One entry more on a student's record, beside those that stand."""

from __future__ import annotations

import datetime as dt
from typing import Any

from syllabus.engine import record as engine
from training import models
from training.record.codec import FLIGHTS, LANDING_COLUMNS, PARTS, Part, write_landings


def part(name: str) -> Part:
    """The list of the record document of that name."""
    return next(each for each in PARTS if each.name == name)


def add(student: models.Student, name: str, entry: engine.Entry, *, at: dt.datetime, **columns: Any) -> Any:
    """Put an entry on record in the list ``name``; returns its row.

    A flight's landings are put down with it. ``columns`` are those that the record document does not have,
    such as ``sealed``. The caller holds the student's row locked.

    Raises: IntegrityError where the id stands on record already.
    """
    whose = part(name)
    row = whose.model.objects.create(
        school_id=student.school_id,
        student_id=student.pk,
        recorded_at=at,
        **dict(zip(whose.columns, whose.write(entry), strict=True)),
        **columns,
    )
    if isinstance(entry, engine.Flight):
        models.Landing.objects.bulk_create(
            models.Landing(
                school_id=student.school_id,
                student_id=student.pk,
                flight=row,
                position=position,
                **dict(zip(LANDING_COLUMNS, landings, strict=True)),
            )
            for position, landings in enumerate(write_landings(entry))
        )
    return row


def retire(student: models.Student, prefix: str, *, at: dt.datetime) -> int:
    """Take off the record the entries whose ids begin with ``prefix``; returns how many there were.

    They stay on file as what was known until ``at``, or until they were put on record where that is later.
    The caller holds the student's row locked.
    """
    count = 0
    for each in PARTS:
        standing = each.model.objects.filter(
            student_id=student.pk, entry_id__startswith=prefix, retired_at__isnull=True
        )
        rows = dict(standing.values_list("pk", "recorded_at"))
        if not rows:
            continue
        end = max(at, *rows.values())
        each.model.objects.filter(pk__in=list(rows)).update(retired_at=end)
        if each is FLIGHTS:
            models.Landing.objects.filter(flight_id__in=list(rows)).update(retired_at=end)
        count += len(rows)
    return count


def entry_of(row: Any, name: str) -> Any:
    """The engine's entry that a row of the list ``name`` holds; again for every list but the flights."""
    whose = part(name)
    found = whose.model.objects.filter(pk=row.pk).values_list(*whose.selected).get()
    return whose.made(**whose.reader()(found))
