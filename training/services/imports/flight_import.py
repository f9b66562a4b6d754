"""Imports flights from a spreadsheet into one student's record: all rows at once, or none and every error.

A row becomes a flight of the record document, and its strict readers read it. The id comes from the file if a
column has one, else from what distinguishes flights (day, takeoff, airplane, route, and which of several
equal rows). So importing the same file again changes nothing, and a corrected row replaces its own flight.
"""

import datetime as dt
import hashlib
import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from django.db import transaction

from syllabus.engine.errors import InputError
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.record import Flight
from training import record
from training.models import Flight as FlightRow
from training.models import RecordChange, Student, User
from training.presenters import amounts
from training.record import SealedEntry
from training.services import access
from training.services.imports.flight_columns import Asked, mapping_errors
from training.services.imports.flight_files import Table
from training.services.imports.flight_rows import Reader
from training.services.records import record_changes


class ImportRefused(InputError):
    """The flights cannot be imported; places are ``row 7, column C (Dual)``."""

    what = "the flights"


@dataclass
class Plan:
    """What an import would do: new and changed flights by row, the number of unchanged ones, and errors."""

    errors: Errors = field(default_factory=Errors)
    cautions: Errors = field(default_factory=Errors)
    added: list[tuple[int, Flight]] = field(default_factory=list)
    changed: list[tuple[int, Flight]] = field(default_factory=list)
    kept: int = 0

    def error(self, row: int, message: str) -> None:
        self.errors.add(f"row {row}", message)

    @property
    def nothing(self) -> bool:
        return not self.added and not self.changed

    @property
    def digest(self) -> str:
        """A hash of what would be imported, so that an import does exactly what the user saw."""
        said = [repr((row, each)) for row, each in (*self.added, *self.changed)]
        return hashlib.sha256("\n".join(said).encode()).hexdigest()


def dry_run(table: Table, asked: Asked, student: Student, *, at: dt.datetime) -> Plan:
    """What the import would do, and every error with its row and column. Writes nothing.

    A flight after ``at`` is an error.
    """
    plan = Plan(mapping_errors(table, asked))
    if plan.errors:
        return plan
    reader = Reader(table, asked, student, student.school.day(at))
    rows = [(number, made) for number, cells in table.rows if (made := reader.flight(number, cells))]
    plan.errors += reader.errors
    _ids(rows, plan)
    stands = record.of(student)
    _compared(rows, stands, plan)
    _sealed(student, plan)
    _planted(rows, stands, plan)
    return plan


@transaction.atomic
def carry_out(
    table: Table,
    asked: Asked,
    student: Student,
    *,
    digest: str,
    by: User,
    at: dt.datetime,
    via: str,
    reason: str,
    confirmed: Mapping[str, Any] | None = None,
) -> RecordChange | None:
    """Import all flights, as claims; None if nothing would change.

    ``digest`` is that of the plan that the user saw; ``confirmed`` covers it and the reason.

    Raises: NotAllowed; ReasonError; ImportRefused with every error, or if the plan has changed.
    Effects: one transaction; signed into the school's ledger; the access is logged; the student is notified.
    """
    access.require(by, "import flights", student)
    locked = access.locked_student(student.pk)
    plan = dry_run(table, asked, locked, at=at)
    plan.errors.stop(ImportRefused)
    if plan.digest != digest:
        raise ImportRefused.at(
            "", "The record or the file changed after the preview. Read the new preview below."
        )
    access.log(by, locked, access.WRITE, f"import of {len(table.rows)} flights", via=via, at=at)
    if plan.nothing:
        return None
    stands = record.of(locked)
    new = {each.id: each for _, each in (*plan.added, *plan.changed)}
    flights = tuple(new.pop(each.id, each) for each in stands.flights)
    try:
        return record_changes.replace(
            locked,
            replace(stands, flights=(*flights, *new.values())),
            by=by,
            at=at,
            reason=reason,
            sent=digest,
            via=via,
            confirmed=confirmed,
        )
    except SealedEntry as problem:  # the dry run checks this too, but a lesson may be signed in between
        raise ImportRefused.at("", str(problem)) from None


def _ids(rows: list[tuple[int, Flight]], plan: Plan) -> None:
    """Give each flight without an id a stable one; an id that the file has twice is an error."""
    seen: dict[str, int] = {}
    nth: Counter[str] = Counter()
    for index, (number, made) in enumerate(rows):
        if made.id.startswith("flights["):
            off = made.off.astimezone(dt.UTC).isoformat() if made.off else None
            said = json.dumps([made.date.isoformat(), off, _craft(made), [each.key for each in made.route]])
            nth[said] += 1
            digest = hashlib.sha256(f"{said}#{nth[said]}".encode()).hexdigest()
            made = replace(made, id=f"import-{digest[:20]}")
            rows[index] = (number, made)
        elif made.id in seen:
            plan.error(number, f"row {seen[made.id]} already has the id {made.id!r}; give this row another")
        seen.setdefault(made.id, number)


def _compared(rows: list[tuple[int, Flight]], stands: engine.Record, plan: Plan) -> None:
    known = stands.flights_by_id
    others = {_alike(each): each for each in stands.flights}
    mine = {made.id for _, made in rows}
    elsewhere = {each.id for part in stands.PARTS if part != "flights" for each in getattr(stands, part)}
    for number, made in rows:
        there = known.get(made.id)
        if made.id in elsewhere and there is None:
            plan.error(number, f"{made.id!r} is the id of an entry that is not a flight")
        elif there is None:
            plan.added.append((number, made))
            twin = others.get(_alike(made))
            if twin is not None and twin.id not in mine:
                plan.cautions.add(
                    f"row {number}",
                    f"a flight of {made.date} in {made.aircraft.registration or 'the same airplane'} with"
                    f" {amounts.hours(made.times.get('total', 0))} is on record already;"
                    " imported, it would count twice",
                )
        elif record.same(there, made):
            plan.kept += 1
        else:
            plan.changed.append((number, made))


def _craft(flight: Flight) -> str:
    return (flight.aircraft.registration or flight.aircraft.model or "").upper()


def _alike(flight: Flight) -> tuple[Any, ...]:
    return flight.date, _craft(flight), flight.times.get("total")


def _planted(rows: list[tuple[int, Flight]], stands: engine.Record, plan: Plan) -> None:
    """An error for each flight whose id looks like a signed lesson's."""
    numbers = {made.id: number for number, made in rows}
    found = engine.Record(flights=tuple(made for _, made in rows))
    for _part, name in record_changes.planted(stands, found):
        plan.error(numbers[name], f"{name!r} {record_changes.PLANTED}")


def _sealed(student: Student, plan: Plan) -> None:
    """An error for each flight that would replace one that was signed here."""
    changed = {made.id: number for number, made in plan.changed}
    if not changed:
        return
    rows = FlightRow.objects.filter(student=student, retired_at__isnull=True, sealed=True)
    for name in rows.values_list("entry_id", flat=True):
        if name in changed:
            plan.error(
                changed[name],
                f"{name} was signed here, so an import cannot change it; its instructor can correct it",
            )
