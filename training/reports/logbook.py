"""A student's logbook: each entry's columns, which entries are selected, and totals. Reads only.

Time in a training device is in its own column. It is in no total of flight time, as in the engine's facts.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Max, Sum

from syllabus.engine.record.record import TIMES, Flight, GroundLesson, Record
from training.models import Correction, Student
from training.models import Flight as FlightRow
from training.models.record.flights import NO_TIME
from training.models.record.lesson_records import PREFIX_LENGTH

DEVICE, GROUND = "device", "ground"
DAY_LANDINGS, NIGHT_LANDINGS, OTHER_LANDINGS = LANDINGS = (
    "day_landings",
    "night_landings",
    "landings_of_unknown_period",
)
#: The columns with amounts in the trade's order: landings as numbers, times in microseconds.
COLUMNS = (*LANDINGS, *TIMES, DEVICE, GROUND)
#: The kinds of time that entries can be selected by.
KINDS = (*TIMES, DEVICE, GROUND)
_PERIODS = {"day": DAY_LANDINGS, "night": NIGHT_LANDINGS, None: OTHER_LANDINGS}

Totals = Mapping[str, int]
NOTHING: Totals = dict.fromkeys(COLUMNS, 0)


@dataclass(frozen=True)
class Line:
    """One entry. ``amounts`` are what it adds to the totals; ``corrected`` if it replaced a signed one."""

    entry: Flight | GroundLesson
    amounts: Totals
    corrected: bool = False

    @property
    def craft(self) -> str:
        """What the entry is selected by: the registration, else the model, else the kind of device."""
        if isinstance(self.entry, GroundLesson):
            return ""
        craft = self.entry.aircraft
        return craft.registration or craft.model or craft.device or ""


@dataclass(frozen=True)
class Selection:
    """Which entries: between two days, of an aircraft, with some time of a kind; None leaves all."""

    first: dt.date | None = None
    last: dt.date | None = None
    aircraft: str | None = None
    kind: str | None = None

    def has(self, line: Line) -> bool:
        day = line.entry.date
        return (
            (self.first is None or self.first <= day)
            and (self.last is None or day <= self.last)
            and (not self.aircraft or line.craft.casefold() == self.aircraft.casefold())
            and (not self.kind or line.amounts[self.kind] > 0)
        )


#: How lines can be sorted; those of one key stay in order of date.
ORDERS: Mapping[str, Callable[[Line], Any]] = {
    "date": lambda line: (),
    "aircraft": lambda line: line.craft,
    "total": lambda line: -line.amounts["total"],
}


def lines(student: Student, record: Record) -> list[Line]:
    """Every flight, session in a device and ground lesson on record, in order of date. One query."""
    replaced = {
        f"{successor}/"
        for successor in Correction.objects.filter(student=student).values_list("successor_id", flat=True)
    }
    entries: list[Flight | GroundLesson] = [*record.flights, *record.ground]
    found = [Line(each, _amounts(each), each.id[:PREFIX_LENGTH] in replaced) for each in entries]
    return sorted(found, key=lambda line: line.entry.date)


def _amounts(entry: Flight | GroundLesson) -> Totals:
    if isinstance(entry, GroundLesson):
        return {**NOTHING, GROUND: entry.time}
    if entry.aircraft.device:
        return {**NOTHING, DEVICE: entry.times.get("total", 0)}
    found = {**NOTHING, **entry.times}
    for each in entry.landings:
        found[_PERIODS[each.period]] += each.landings
    return found


def totals(some: Iterable[Line]) -> Totals:
    found = dict(NOTHING)
    for line in some:
        for column, amount in line.amounts.items():
            found[column] += amount
    return found


def selected(every: Sequence[Line], selection: Selection, order: str = "date") -> list[Line]:
    return sorted((line for line in every if selection.has(line)), key=ORDERS[order])


#: A list of students shows these totals.
IN_SHORT = ("total", "dual", "solo", "pic", "cross_country", "night")


_UNIT = dt.timedelta(microseconds=1)


def in_short(students: Iterable[Student]) -> dict[int, dict[str, Any]]:
    """Each student's totals of flight time in microseconds and the last flight's day, by primary key.

    A student without a flight has none. One query.
    """
    rows = FlightRow.objects.filter(
        student__in=students, retired_at__isnull=True, aircraft_device__isnull=True
    )
    sums = {column: Sum(column, default=NO_TIME) for column in IN_SHORT}
    columns = ("student", "last", *IN_SHORT)
    grouped = rows.order_by().values("student").annotate(last=Max("date"), **sums).values_list(*columns)
    return {
        student: {
            "last": last,
            **{column: time // _UNIT for column, time in zip(IN_SHORT, times, strict=True)},
        }
        for student, last, *times in grouped
    }
