"""Reads a row of a spreadsheet as a flight of the record document, with its strict readers."""

import datetime as dt
import re
import zoneinfo
from collections.abc import Mapping
from typing import Any

from syllabus.engine.errors import DocumentError
from syllabus.engine.record import document
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.record import FORMAT, TIMES, Flight
from training.models import Aircraft, Student
from training.services.imports.flight_columns import CRAFTS, DATES, OF_INSTRUCTOR, Asked
from training.services.imports.flight_files import Table, is_error, is_formula

_COUNTED, _PERIODS = ("takeoffs", "landings", "full_stops"), ("day", "night")
_COUNTS = tuple(f"{what}_{when}" for when in _PERIODS for what in _COUNTED)
_CRAFT = ("registration", "model", "category", "class", "device")
#: The clock times, in their order.
_TIMES_OF_DAY = ("out", "off", "on", "in")
_CLOCK = re.compile(r"(\d{1,2}):?(\d{2})(?::(\d{2}))?", re.ASCII)
_PLAIN = re.compile(r"\d+(\.\d+)?", re.ASCII)
_WHOLE = re.compile(r"(\d{1,6})(\.0+)?", re.ASCII)
_BETWEEN = re.compile(r"[\s,;>\-–→]+")
_PLACE = re.compile(r"^flights\[0\]\.?")


class Reader:
    """Reads rows; ``errors`` are the errors, in the order of the rows."""

    def __init__(self, table: Table, asked: Asked, student: Student, today: dt.date):
        self.table, self.asked, self.today = table, asked, today
        self.born = student.birth_date
        self.errors = Errors()
        self.school_zone = zoneinfo.ZoneInfo(student.school.time_zone)
        fleet = Aircraft.objects.filter(school_id=student.school_id)
        self.fleet = {
            registration.upper(): {key: said for key, said in zip(_CRAFT[1:], rest, strict=True) if said}
            for registration, *rest in fleet.values_list(
                "registration", "model", "category", "klass", "device"
            )
        }

    def flight(self, number: int, cells: tuple[str, ...]) -> Flight | None:
        before = len(self.errors)
        row = {key: cells[index].strip() for key, index in self.asked.columns.items() if cells[index].strip()}
        for key, cell in list(row.items()):
            if is_formula(cell):
                self.error(number, key, "holds a formula; put in its value (copy, then paste values)")
            elif is_error(cell):
                self.error(number, key, f"holds the error {cell}; put in the value or empty it")
        if len(self.errors) > before:
            return None
        sent = self.sent(number, row)
        dated = "date" in sent
        if len(self.errors) > before:
            # also run the strict readers on the rest, so that one pass reports every error of the row
            sent.setdefault("date", "2000-01-01")
        try:
            flights = document.parse({"format": FORMAT, "flights": [sent]}).flights
        except DocumentError as problem:
            for each in problem.errors:
                self.error(number, self.key_of(_PLACE.sub("", each.place)), each.message)
            return None
        if flights[0].date > self.today:
            self.error(number, "date", f"{flights[0].date} is in the future; today is {self.today}")
        if dated and self.born is not None and flights[0].date < self.born:
            self.error(number, "date", f"{flights[0].date} is before the student's birth, {self.born}")
        return flights[0] if len(self.errors) == before else None

    def error(self, number: int, key: str, message: str) -> None:
        index = self.asked.columns.get(key)
        place = f"row {number}" + (f", column {self.table.column(index)}" if index is not None else "")
        self.errors.add(place, message)

    def key_of(self, place: str) -> str:
        """The target that a place in the flight came from."""
        first, *rest = re.split(r"[.\[]", place)
        if first == "times":
            return rest[0] if rest else "total"
        if first == "aircraft":
            return rest[0] if rest else "registration"
        if first == "instructor":
            return {"certificate": "certificate", "kind": "authority"}.get("".join(rest[:1]), "instructor")
        if first == "route" and "route" not in self.asked.columns:
            at = int(rest[0].rstrip("]")) if rest and rest[0].rstrip("]").isdecimal() else 0
            return self.point_keys[at] if at < len(self.point_keys) else "from"
        return first

    def sent(self, number: int, row: Mapping[str, str]) -> dict[str, Any]:
        """The row as a flight of the record document, as far as it can be read."""
        said = {
            "id": row.get("id"),
            "remarks": row.get("remarks"),
            "date": self.day(number, row.get("date", "")),
            "aircraft": self.aircraft(row),
            "times": {key: self.time(row[key]) for key in TIMES if key in row},
            "route": self.points(row),
            "instructor": self.instructor(number, row),
        }
        sent: dict[str, Any] = {key: value for key, value in said.items() if value}
        self.clock(number, row, sent)
        if landings := self.landings(number, row):
            sent["landings"] = landings
        return sent

    def aircraft(self, row: Mapping[str, str]) -> dict[str, str]:
        """The aircraft: what the row says, over the school's list, over what the form says for the whole
        file.
        """
        craft = {key: row[key] for key in _CRAFT if key in row}
        if not craft.keys() & {"registration", "model", "category"}:
            return {}
        ours = self.fleet.get(craft.get("registration", "").upper())
        return {**(ours or CRAFTS[self.asked.craft][0]), **craft}

    def instructor(self, number: int, row: Mapping[str, str]) -> dict[str, str]:
        more = {key: name for key, name in OF_INSTRUCTOR.items() if key in row}
        if "instructor" in row:
            return {"name": row["instructor"], **{name: row[key] for key, name in more.items()}}
        for key, name in more.items():
            self.error(number, key, f"a {name} without an instructor's name")
        return {}

    def day(self, number: int, cell: str) -> str | None:
        if not cell:
            self.error(number, "date", "is empty; every flight has its day")
            return None
        # A cell that the spreadsheet stores as a day comes as year-month-day, whatever it shows.
        for name in ("iso", self.asked.dates):
            if hit := re.fullmatch(DATES[name][0], cell, re.ASCII):
                found = f"{hit['y']}-{int(hit['m']):02d}-{int(hit['d']):02d}"
                try:
                    dt.date.fromisoformat(found)
                except ValueError:
                    break
                return found
        self.error(number, "date", f"{cell[:40]!r} is not a day written as {DATES[self.asked.dates][1]}")
        return None

    def time(self, cell: str) -> str:
        return f"{cell} min" if self.asked.unit == "min" and _PLAIN.fullmatch(cell) else cell

    def points(self, row: Mapping[str, str]) -> list[str]:
        """The route's waypoints; ``point_keys`` has the target that each came from."""
        keys = ("route",) if "route" in row else ("from", "via", "to")
        found = [(key, part) for key in keys for part in _BETWEEN.split(row.get(key, "")) if part]
        self.point_keys = [key for key, _ in found]
        return [part for _, part in found]

    def clock(self, number: int, row: Mapping[str, str], sent: dict[str, Any]) -> None:
        """The clock times as instants; one that is earlier than the one before it is on the next day."""
        last: dt.datetime | None = None
        for key in _TIMES_OF_DAY:
            if key not in row:
                continue
            cell = row[key]
            hit = _CLOCK.fullmatch(cell)
            if hit is None:
                sent[key] = cell  # the strict reader checks a whole date and time with its offset
                continue
            if "date" not in sent:
                continue
            try:
                time = dt.time(int(hit[1]), int(hit[2]), int(hit[3] or 0))
            except ValueError:
                self.error(number, key, f"{cell!r} is not a time of day from 00:00 to 23:59")
                continue
            day = dt.date.fromisoformat(sent["date"])
            if last is not None:
                day = last.date()
                if time < last.time():
                    day += dt.timedelta(days=1)
            if (instant := self.instant(number, key, day, time)) is not None:
                last = instant
                sent[key] = instant.isoformat()

    def instant(self, number: int, key: str, day: dt.date, time: dt.time) -> dt.datetime | None:
        zone: dt.tzinfo = dt.UTC if self.asked.clock == "utc" else self.school_zone
        one, other = (dt.datetime.combine(day, time, zone).replace(fold=fold) for fold in (0, 1))
        if one.utcoffset() != other.utcoffset():
            self.error(
                number,
                key,
                f"{time:%H:%M} on {day} is skipped or comes twice as the clocks change; write it with its"
                f" offset, such as {day}T{time:%H:%M}-06:00",
            )
            return None
        return one

    def landings(self, number: int, row: Mapping[str, str]) -> list[dict[str, Any]]:
        counts: dict[str, int] = {}
        for key in _COUNTS:
            if key in row and (hit := _WHOLE.fullmatch(row[key])):
                counts[key] = int(hit[1])
            elif key in row:
                self.error(number, key, f"{row[key][:40]!r} is not a whole number")
        return [
            {"period": when, **group}
            for when in _PERIODS
            for group in self.groups(number, when, *(counts.get(f"{what}_{when}") for what in _COUNTED))
        ]

    def groups(
        self, number: int, when: str, takeoffs: int | None, every: int | None, stops: int | None
    ) -> list[dict[str, Any]]:
        """The takeoffs and landings of one period, those to a full stop apart if their number is given."""
        if stops is not None and every is not None and stops > every:
            self.error(number, f"full_stops_{when}", f"{stops} of {every} landings; correct one of them")
            return []
        groups: list[dict[str, Any]] = [{"landings": stops, "full_stop": True}] if stops else []
        if (rest := (every or 0) - (stops or 0)) > 0:
            groups.append({"landings": rest, **({} if stops is None else {"full_stop": False})})
        if takeoffs:
            groups = groups or [{}]
            groups[0]["takeoffs"] = takeoffs
        return groups
