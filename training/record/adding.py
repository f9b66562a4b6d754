"""Adds single entries to a student's record."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.db.models import BigIntegerField, QuerySet

from syllabus.engine.record import record as engine
from training import models
from training.record.codec import FLIGHTS, LANDING_COLUMNS, PARTS, PROVENANCE, Part, write_landings
from training.sql import Change, Place, insert


def part(name: str) -> Part:
    """The list of the record document of that name."""
    return next(each for each in PARTS if each.name == name)


def add(student: models.Student, name: str, entry: engine.Entry, *, at: dt.datetime, **columns: Any) -> Any:
    """Add an entry to the list ``name``; returns its row. Parameters as for ``rows`` and ``put``."""
    made = rows(student, name, [entry], at=at, **columns)
    put(made)
    return made[0]


def rows(
    student: models.Student,
    name: str,
    entries: Sequence[engine.Entry],
    *,
    at: dt.datetime,
    provenance: str = engine.CLAIMED,
    **columns: Any,
) -> list[Any]:
    """The rows of entries of the list ``name``, for ``put``; a flight's landings are in its ``landed``.

    ``provenance`` is theirs whatever the entries say; a ``sealed`` entry is signed. ``columns`` are those
    that the record document does not have, such as ``sealed``.
    """
    whose = part(name)
    columns[PROVENANCE] = engine.SIGNED if columns.get("sealed") else provenance
    made = [
        whose.model(
            school_id=student.school_id,
            student_id=student.pk,
            recorded_at=at,
            **dict(zip(whose.columns, whose.write(entry), strict=True)),
            **columns,
        )
        for entry in entries
    ]
    for row, entry in zip(made, entries, strict=True):
        row.landed = [
            models.Landing(
                school_id=student.school_id,
                student_id=student.pk,
                position=position,
                **dict(zip(LANDING_COLUMNS, each, strict=True)),
            )
            for position, each in enumerate(write_landings(entry) if isinstance(entry, engine.Flight) else [])
        ]
    return made


def put(new: Sequence[Any]) -> None:
    """Insert rows: entries as ``rows`` gives them, and others.

    A flight is sealed after its landings, because then none can be added. The caller has locked the student.

    Raises: IntegrityError if an id is already on record.
    """
    landed = [row for row in new if getattr(row, "landed", ())]
    late = [row for row in landed if row.sealed]
    for row in late:
        row.sealed, row.provenance = False, engine.CLAIMED
    insert(new)
    for row in landed:
        for each in row.landed:
            each.flight_id = row.pk
    insert([each for row in landed for each in row.landed])
    for row in late:
        _SEAL(flight=row.pk)
        row.sealed, row.provenance = True, engine.SIGNED


def vouch(
    student: models.Student, name: str, entry: engine.Entry, provenance: str, *, at: dt.datetime
) -> Any:
    """Replace an entry on record by the same entry with another provenance; returns its new row.

    The old row is retired, so that questions about the past get the same answer. The caller has locked the
    student.
    """
    whose = part(name)
    stood = whose.model.objects.get(student_id=student.pk, entry_id=entry.id, retired_at__isnull=True)
    at = max(at, stood.recorded_at)
    links = {key: getattr(stood, key) for key in ("aircraft_id", "instructor_user_id") if hasattr(stood, key)}
    whose.model.objects.filter(pk=stood.pk).update(retired_at=at)
    if whose is FLIGHTS:
        models.Landing.objects.filter(flight_id=stood.pk).update(retired_at=at)
    return add(student, name, entry, at=at, provenance=provenance, **links)


def _sealed() -> tuple[QuerySet[models.Flight], dict[str, Any]]:
    sealed = {"sealed": True, PROVENANCE: engine.SIGNED}
    return models.Flight.objects.filter(pk=Place("flight", BigIntegerField())), sealed


_SEAL = Change(_sealed)


def retire(student: models.Student, prefix: str, *, at: dt.datetime, sealed: bool = False) -> int:
    """Retire the entries whose ids begin with ``prefix``; returns how many there were.

    ``sealed``: only signed ones, such as a lesson's.

    They stay on file as known until ``at``, or until they were added if that is later. The caller has locked
    the student's row.
    """
    count = 0
    for each in PARTS:
        standing = each.model.objects.filter(
            student_id=student.pk, entry_id__startswith=prefix, retired_at__isnull=True
        )
        if sealed:
            standing = standing.filter(sealed=True)
        rows = dict(standing.values_list("pk", "recorded_at"))
        if not rows:
            continue
        end = max(at, *rows.values())
        each.model.objects.filter(pk__in=list(rows)).update(retired_at=end)
        if each is FLIGHTS:
            models.Landing.objects.filter(flight_id__in=list(rows)).update(retired_at=end)
        count += len(rows)
    return count


def unsealed(lesson: models.LessonRecord) -> list[str]:
    """Entries with a signed lesson's ids that nobody signed: ``flights …/flight``."""
    return [
        f"{each.name} {name}"
        for each in PARTS
        for name in each.model.objects.filter(
            student_id=lesson.student_id,
            entry_id__startswith=lesson.prefix,
            retired_at__isnull=True,
            sealed=False,
        )
        .order_by("entry_id")
        .values_list("entry_id", flat=True)
    ]


def differences(
    student: models.Student, prefix: str, entries: Mapping[str, Sequence[engine.Entry]], *, retired: bool
) -> Iterator[str]:
    """The differences between the rows whose ids begin with ``prefix`` and the signed entries.

    ``retired`` says whether they should be off the record.
    """
    for each in PARTS:
        wanted = {entry.id: entry for entry in entries.get(each.name, ())}
        rows = each.model.objects.filter(student_id=student.pk, entry_id__startswith=prefix)
        wants = ("pk", "sealed", PROVENANCE, "retired_at", *each.columns)
        for pk, sealed, provenance, ended, *columns in rows.values_list(*wants):
            entry = wanted.pop(columns[0], None)
            if entry is None:
                yield f"{each.name} {columns[0]} is none of its entries"
                continue
            if tuple(columns) != each.write(entry) or not sealed or provenance != engine.SIGNED:
                yield f"{each.name} {columns[0]} differs from what was signed"
            if (ended is not None) != retired:
                yield f"{each.name} {columns[0]} is {'on' if retired else 'off'} the record"
            if isinstance(entry, engine.Flight):
                landings = models.Landing.objects.filter(flight_id=pk).order_by("position")
                if list(landings.values_list(*LANDING_COLUMNS)) != write_landings(entry):
                    yield f"the landings of {columns[0]} differ from what was signed"
        for name in wanted:
            yield f"{each.name} {name} is missing"


def entry_of(row: Any, name: str) -> Any:
    """The engine's entry of a row of the list ``name``, for every list but the flights."""
    whose = part(name)
    found = whose.model.objects.filter(pk=row.pk).values_list(*whose.selected).get()
    return whose.made(**whose.reader()(found))
