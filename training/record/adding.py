"""One entry more on a student's record, beside those that stand."""

from __future__ import annotations

import datetime as dt
from typing import Any

from syllabus.engine import record as engine
from training import models
from training.record.codec import PARTS, Part


def part(name: str) -> Part:
    """The list of the record document of that name."""
    return next(each for each in PARTS if each.name == name)


def add(student: models.Student, name: str, entry: engine.Entry, *, at: dt.datetime, **columns: Any) -> Any:
    """Put an entry on record in the list ``name``; returns its row.

    For every list but the flights, which have landings. ``columns`` are those that the record document does
    not have, such as ``sealed``. The caller holds the student's row locked.

    Raises: IntegrityError where the id stands on record already.
    """
    whose = part(name)
    return whose.model.objects.create(
        school_id=student.school_id,
        student_id=student.pk,
        recorded_at=at,
        **dict(zip(whose.columns, whose.write(entry), strict=True)),
        **columns,
    )


def entry_of(row: Any, name: str) -> Any:
    """The engine's entry that a row of the list ``name`` holds; again for every list but the flights."""
    whose = part(name)
    found = whose.model.objects.filter(pk=row.pk).values_list(*whose.selected).get()
    return whose.made(**whose.reader()(found))
