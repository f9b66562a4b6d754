"""Flights out of a spreadsheet onto one student's record: columns named, every row's fault told, then all at
once or nothing.

A row becomes a flight of the record document and is read by its strict readers. Its id is the file's own
where a column holds one, else drawn from what tells flights apart (day, takeoff, airplane, route, and which
of several equal rows), so that the same file again changes nothing and a corrected row replaces its own.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
import zoneinfo
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from django.db import transaction
from django.utils.translation import gettext_noop as _

from syllabus.engine.errors import DocumentError, Fault, FaultsFound
from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from syllabus.engine.record.record import FORMAT, TIMES, Flight
from training import record
from training.models import Aircraft, RecordChange, Student, User
from training.models import Flight as FlightRow
from training.presenters import amounts
from training.record import SealedEntry
from training.services import access
from training.services.imports.flight_files import Table, is_error, is_formula
from training.services.records import record_changes

#: What a column may hold: its key, its name on the page, and headings that are taken to mean it.
TARGETS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("date", _("Day of the flight"), ("date", "day", "flight date")),
    ("out", _("Out (first movement)"), ("out", "out time", "block out")),
    ("off", _("Off"), ("off", "takeoff", "off time", "departure time")),
    ("on", _("On"), ("on", "landing", "on time", "arrival time")),
    ("in", _("In (at rest)"), ("in", "in time", "block in")),
    ("registration", _("Airplane's registration"), ("registration", "aircraft", "ident", "tail number")),
    ("model", _("Make and model"), ("model", "type", "aircraft type", "make and model")),
    ("category", _("Category"), ("category",)),
    ("class", _("Class"), ("class",)),
    ("device", _("Training device (FFS, FTD, AATD, BATD)"), ("device",)),
    ("from", _("From"), ("from", "departure", "dep", "origin")),
    ("via", _("Via"), ("via", "stops")),
    ("to", _("To"), ("to", "arrival", "arr", "destination")),
    ("route", _("Whole route"), ("route",)),
    ("total", _("Total time"), ("total", "total time", "duration", "flight time")),
    ("dual", _("Dual received"), ("dual", "dual received", "training received")),
    ("solo", _("Solo"), ("solo",)),
    ("pic", _("Pilot in command"), ("pic", "pilot in command")),
    ("cross_country", _("Cross-country"), ("cross country", "cross-country", "xc")),
    ("night", _("Night"), ("night",)),
    ("actual_instrument", _("Actual instrument"), ("actual instrument", "actual")),
    ("simulated_instrument", _("Simulated instrument"), ("simulated instrument", "hood")),
    ("takeoffs_day", _("Takeoffs by day"), ("takeoffs by day", "day takeoffs")),
    ("landings_day", _("Landings by day, all"), ("landings by day", "day landings")),
    ("full_stops_day", _("Landings by day to a full stop"), ("full stops by day", "day full stops")),
    ("takeoffs_night", _("Takeoffs at night"), ("takeoffs at night", "night takeoffs")),
    ("landings_night", _("Landings at night, all"), ("landings at night", "night landings")),
    ("full_stops_night", _("Landings at night to a full stop"), ("full stops at night", "night full stops")),
    ("instructor", _("Instructor's name"), ("instructor", "cfi", "instructor name")),
    ("certificate", _("Instructor's certificate number"), ("certificate", "instructor certificate")),
    (
        "authority",
        _("Instructor's kind (flight, ground, foreign, armed-forces)"),
        ("kind of instructor", "instructor kind"),
    ),
    ("remarks", _("Remarks"), ("remarks", "comments", "notes")),
    ("id", _("The flight's own id"), ("id", "entry id")),
)
LABELS = {key: label for key, label, _ in TARGETS}
#: How days are written: the pattern whose groups are named, and what it is called.
DATES: Mapping[str, tuple[str, str]] = {
    "iso": (r"(?P<y>\d{4})-(?P<m>\d{2})-(?P<d>\d{2})", _("year-month-day, 2026-03-02")),
    "mdy": (r"(?P<m>\d{1,2})/(?P<d>\d{1,2})/(?P<y>\d{4})", _("month/day/year, 3/2/2026")),
    "dmy": (r"(?P<d>\d{1,2})/(?P<m>\d{1,2})/(?P<y>\d{4})", _("day/month/year, 2/3/2026")),
    "dots": (r"(?P<d>\d{1,2})\.(?P<m>\d{1,2})\.(?P<y>\d{4})", _("day.month.year, 2.3.2026")),
}
CLOCKS = {"local": _("the school's clock"), "utc": _("UTC")}
UNITS = {"h": _("hours (1.4, or 1:24)"), "min": _("minutes (84)")}
CRAFTS: Mapping[str, tuple[dict[str, str], str]] = {
    "": ({}, _("leave it open")),
    "sel": ({"category": "airplane", "class": "single-engine land"}, _("airplane, single-engine land")),
    "mel": ({"category": "airplane", "class": "multiengine land"}, _("airplane, multiengine land")),
}
_COUNTED, _PERIODS = ("takeoffs", "landings", "full_stops"), ("day", "night")
_COUNTS = tuple(f"{what}_{when}" for when in _PERIODS for what in _COUNTED)
_CRAFT = ("registration", "model", "category", "class", "device")
#: What else may be said of an instructor, and what the record document calls it.
_OF_INSTRUCTOR = {"certificate": "certificate", "authority": "kind"}
#: The times on the clock, in their order.
_TIMES_OF_DAY = ("out", "off", "on", "in")
_CLOCK = re.compile(r"(\d{1,2}):?(\d{2})(?::(\d{2}))?", re.ASCII)
_PLAIN = re.compile(r"\d+(\.\d+)?", re.ASCII)
_WHOLE = re.compile(r"(\d{1,6})(\.0+)?", re.ASCII)
_PLACE = re.compile(r"^flights\[0\]\.?")


class ImportRefused(FaultsFound):
    """The flights cannot be put on record as they stand; places are ``row 7, column C (Dual)``."""

    what = "the flights"


@dataclass(frozen=True, slots=True)
class Asked:
    """Which column holds what (by its place from 0), and how the file writes what it writes."""

    columns: Mapping[str, int]
    dates: str = "iso"
    clock: str = "local"
    unit: str = "h"
    craft: str = ""


@dataclass
class Plan:
    """What an import would do: flights new and changed by row, how many stand already, what is wrong."""

    faults: list[Fault] = field(default_factory=list)
    cautions: list[Fault] = field(default_factory=list)
    added: list[tuple[int, Flight]] = field(default_factory=list)
    changed: list[tuple[int, Flight]] = field(default_factory=list)
    kept: int = 0

    @property
    def nothing(self) -> bool:
        return not self.added and not self.changed

    @property
    def digest(self) -> str:
        """A hash of what it would put on record, so that what is carried out is what was read."""
        said = [repr((row, each)) for row, each in (*self.added, *self.changed)]
        return hashlib.sha256("\n".join(said).encode()).hexdigest()


def suggest(table: Table) -> dict[str, int]:
    """The columns whose headings say what they hold; each once."""
    found: dict[str, int] = {}
    plain = [" ".join(re.sub(r"[_().:/]", " ", each).lower().split()) for each in table.header]
    for key, label, meant in TARGETS:
        for index, heading in enumerate(plain):
            if heading in (*meant, label.lower(), key.replace("_", " ")) and index not in found.values():
                found[key] = index
                break
    return found


def suggest_dates(table: Table, mapping: Mapping[str, int]) -> str:
    """How the first days are written, where that can be read in one way alone; else ``iso``."""
    if "date" not in mapping:
        return "iso"
    cells = [cells[mapping["date"]].strip() for _, cells in table.rows[:200]]
    fits = [
        name
        for name, (pattern, _) in DATES.items()
        if cells
        and all((hit := re.fullmatch(pattern, cell, re.ASCII)) and int(hit["m"]) <= 12 for cell in cells)
    ]
    return fits[0] if len(fits) == 1 else "iso"


def mapping_faults(table: Table, asked: Asked) -> list[Fault]:
    """What keeps a mapping from being one, each with the target it is about."""
    found = []
    if "date" not in asked.columns:
        found.append(Fault("date", "no column is named for the day of the flight; choose one"))
    if not set(asked.columns) & {"total", "dual", "solo", "pic"}:
        found.append(Fault("total", "no column is named for a time; choose at least one"))
    if "route" in asked.columns and set(asked.columns) & {"from", "via", "to"}:
        found.append(Fault("route", "choose either the whole route, or from, via and to"))
    for key, name in _OF_INSTRUCTOR.items():
        if key in asked.columns and "instructor" not in asked.columns:
            found.append(Fault(key, f"an instructor's {name} needs the name; choose that column too"))
    for index, times in Counter(asked.columns.values()).items():
        if times > 1:
            both = [key for key, at in asked.columns.items() if at == index]
            words = " and ".join(LABELS[key] for key in both)
            found.append(Fault(both[-1], f"column {table.column(index)} is chosen for {words}; choose one"))
    return found


def dry_run(table: Table, asked: Asked, student: Student, *, at: dt.datetime) -> Plan:
    """What the import would do, and every fault with its row and column. Writes nothing.

    A flight that is still to come at ``at`` is a fault.
    """
    plan = Plan()
    plan.faults += mapping_faults(table, asked)
    if plan.faults:
        return plan
    reader = _Reader(table, asked, student, student.school.day(at))
    rows = [(number, made) for number, cells in table.rows if (made := reader.flight(number, cells))]
    plan.faults += reader.faults
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
    """Put the flights on record, all of them, as claims; None where they stand already.

    ``digest`` is that of the plan that was read, and what ``confirmed`` is over with the reason.

    Raises:  NotAllowed; ReasonError; ImportRefused with every fault, or where the plan is another by now.
    Effects: one transaction; sealed in the school's ledger; the access is logged; the student is told.
    """
    access.require(by, "import flights", student)
    locked = Student.objects.select_for_update(of=("self",)).select_related("school").get(pk=student.pk)
    plan = dry_run(table, asked, locked, at=at)
    if plan.faults:
        raise ImportRefused(plan.faults)
    if plan.digest != digest:
        raise ImportRefused(
            [Fault("", "The record, or the file, is not what the dry run showed. Read the new one below.")]
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
    except SealedEntry as problem:  # the plan looks for it; a lesson may be signed in between
        raise ImportRefused([Fault("", str(problem))]) from None


class _Reader:
    """Reads rows; ``faults`` holds what was wrong, in the order of rows."""

    def __init__(self, table: Table, asked: Asked, student: Student, today: dt.date):
        self.table, self.asked, self.today = table, asked, today
        self.born = student.birth_date
        self.faults: list[Fault] = []
        self.school_zone = zoneinfo.ZoneInfo(student.school.time_zone)
        fleet = Aircraft.objects.filter(school_id=student.school_id)
        self.fleet = {
            each.registration.upper(): {
                "model": each.model,
                "category": each.category,
                **({"class": each.klass} if each.klass else {}),
                **({"device": each.device} if each.device else {}),
            }
            for each in fleet
        }

    def flight(self, number: int, cells: tuple[str, ...]) -> Flight | None:
        before = len(self.faults)
        row = {key: cells[index].strip() for key, index in self.asked.columns.items() if cells[index].strip()}
        for key, cell in list(row.items()):
            if is_formula(cell):
                self.fault(number, key, "holds a formula; put in its value (copy, then paste values)")
            elif is_error(cell):
                self.fault(number, key, f"holds the error {cell}; put in the value or empty it")
        if len(self.faults) > before:
            return None
        sent = self.sent(number, row)
        dated = "date" in sent
        if len(self.faults) > before:
            # What the strict readers would say of the rest is told too, so that a file is put right once.
            sent.setdefault("date", "2000-01-01")
        try:
            flights = document.parse({"format": FORMAT, "flights": [sent]}).flights
        except DocumentError as problem:
            for each in problem.faults:
                self.fault(number, self.key_of(_PLACE.sub("", each.place)), each.message)
            return None
        if flights[0].date > self.today:
            self.fault(number, "date", f"{flights[0].date} is still to come; today is {self.today}")
        if dated and self.born is not None and flights[0].date < self.born:
            self.fault(number, "date", f"{flights[0].date} is before the student's birth, {self.born}")
        return flights[0] if len(self.faults) == before else None

    def fault(self, number: int, key: str, message: str) -> None:
        index = self.asked.columns.get(key)
        place = f"row {number}" + (f", column {self.table.column(index)}" if index is not None else "")
        self.faults.append(Fault(place, message))

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
        """The row as a flight of the record document, as far as it can be said."""
        sent: dict[str, Any] = {key: row[key] for key in ("id", "remarks") if key in row}
        day = self.day(number, row.get("date", ""))
        if day:
            sent["date"] = day
        craft = {key: row[key] for key in _CRAFT if key in row}
        ours = self.fleet.get(craft.get("registration", "").upper(), {})
        craft = {**(CRAFTS[self.asked.craft][0] if not ours else {}), **ours, **craft}
        if craft and ("registration" in row or "model" in row or "category" in row):
            sent["aircraft"] = craft
        if times := {key: self.time(row[key]) for key in TIMES if key in row}:
            sent["times"] = times
        if points := self.points(row):
            sent["route"] = points
        if "instructor" in row:
            sent["instructor"] = {"name": row["instructor"]}
            for key, name in _OF_INSTRUCTOR.items():
                if key in row:
                    sent["instructor"][name] = row[key]
        else:
            for key, name in _OF_INSTRUCTOR.items():
                if key in row:
                    self.fault(number, key, f"a {name} without an instructor's name")
        self.clock(number, row, sent)
        if landings := self.landings(number, row):
            sent["landings"] = landings
        return sent

    def day(self, number: int, cell: str) -> str | None:
        if not cell:
            self.fault(number, "date", "is empty; every flight has its day")
            return None
        # A cell that the spreadsheet itself keeps as a day comes as year-month-day, whatever it shows.
        for name in ("iso", self.asked.dates):
            if hit := re.fullmatch(DATES[name][0], cell, re.ASCII):
                found = f"{hit['y']}-{int(hit['m']):02d}-{int(hit['d']):02d}"
                try:
                    dt.date.fromisoformat(found)
                except ValueError:
                    break
                return found
        self.fault(number, "date", f"{cell[:40]!r} is no day written as {DATES[self.asked.dates][1]}")
        return None

    def time(self, cell: str) -> str:
        return f"{cell} min" if self.asked.unit == "min" and _PLAIN.fullmatch(cell) else cell

    def points(self, row: Mapping[str, str]) -> list[str]:
        self.point_keys: list[str] = []
        if "route" in row:
            return [part for part in re.split(r"[\s,;>\-–→]+", row["route"]) if part]
        found = []
        for key in ("from", "via", "to"):
            for part in re.split(r"[\s,;>\-–→]+", row.get(key, "")):
                if part:
                    found.append(part)
                    self.point_keys.append(key)
        return found

    def clock(self, number: int, row: Mapping[str, str], sent: dict[str, Any]) -> None:
        """The times of day as instants; one that is before another that precedes it is on the next day."""
        last: dt.datetime | None = None
        for key in _TIMES_OF_DAY:
            if key not in row:
                continue
            cell = row[key]
            hit = _CLOCK.fullmatch(cell)
            if hit is None:
                sent[key] = cell  # a whole date and time with its offset: the strict reader says
                continue
            if "date" not in sent:
                continue
            try:
                time = dt.time(int(hit[1]), int(hit[2]), int(hit[3] or 0))
            except ValueError:
                self.fault(number, key, f"{cell!r} is no time of day from 00:00 to 23:59")
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
            self.fault(
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
            if key in row:
                hit = _WHOLE.fullmatch(row[key])
                if hit is None:
                    self.fault(number, key, f"{row[key][:40]!r} is not a whole number")
                else:
                    counts[key] = int(hit[1])
        made = []
        for when in _PERIODS:
            takeoffs, every, stops = (counts.get(f"{what}_{when}") for what in _COUNTED)
            if stops is not None and every is not None and stops > every:
                self.fault(number, f"full_stops_{when}", f"{stops} of {every} landings; correct one of them")
                continue
            groups: list[dict[str, Any]] = []
            if stops:
                groups.append({"landings": stops, "full_stop": True})
            rest = (every or 0) - (stops or 0)
            if rest > 0:
                groups.append({"landings": rest, **({} if stops is None else {"full_stop": False})})
            if takeoffs:
                groups = groups or [{}]
                groups[0]["takeoffs"] = takeoffs
            made += [{"period": when, **group} for group in groups]
        return made


def _ids(rows: list[tuple[int, Flight]], plan: Plan) -> None:
    """Give each flight without an id of its own one that stays; a file's own id twice is a fault."""
    seen: dict[str, int] = {}
    nth: Counter[str] = Counter()
    for index, (number, made) in enumerate(rows):
        if made.id.startswith("flights["):
            said = json.dumps(
                [
                    made.date.isoformat(),
                    made.off.astimezone(dt.UTC).isoformat() if made.off else None,
                    (made.aircraft.registration or made.aircraft.model or "").upper(),
                    [each.key for each in made.route],
                ]
            )
            nth[said] += 1
            digest = hashlib.sha256(f"{said}#{nth[said]}".encode()).hexdigest()
            made = replace(made, id=f"import-{digest[:20]}")
            rows[index] = (number, made)
        elif made.id in seen:
            plan.faults.append(
                Fault(
                    f"row {number}", f"{made.id!r} is the id of row {seen[made.id]} already; give it its own"
                )
            )
        seen.setdefault(made.id, number)


def _compared(rows: list[tuple[int, Flight]], stands: engine.Record, plan: Plan) -> None:
    known = stands.flights_by_id
    others = {_alike(each): each for each in stands.flights}
    mine = {made.id for _, made in rows}
    elsewhere = {each.id for part in stands.PARTS if part != "flights" for each in getattr(stands, part)}
    for number, made in rows:
        there = known.get(made.id)
        if made.id in elsewhere and there is None:
            plan.faults.append(Fault(f"row {number}", f"{made.id!r} is the id of an entry that is no flight"))
        elif there is None:
            plan.added.append((number, made))
            twin = others.get(_alike(made))
            if twin is not None and twin.id not in mine:
                plan.cautions.append(
                    Fault(
                        f"row {number}",
                        f"a flight of {made.date} in {made.aircraft.registration or 'the same airplane'} with"
                        f" {amounts.hours(made.times.get('total', 0))} is on record already ({twin.id});"
                        " imported, it would count twice",
                    )
                )
        elif _same(there, made):
            plan.kept += 1
        else:
            plan.changed.append((number, made))


def _alike(flight: Flight) -> tuple[Any, ...]:
    craft = flight.aircraft.registration or flight.aircraft.model or ""
    return flight.date, craft.upper(), flight.times.get("total")


def _same(one: Flight, other: Flight) -> bool:
    """Whether two entries say the same; when they were written down is no part of that."""
    return replace(one, recorded=None, provenance=other.provenance) == replace(other, recorded=None)


def _planted(rows: list[tuple[int, Flight]], stands: engine.Record, plan: Plan) -> None:
    """A fault for each flight that would be taken for a signed lesson's own."""
    numbers = {made.id: number for number, made in rows}
    found = engine.Record(flights=tuple(made for _, made in rows))
    for _part, name in record_changes.planted(stands, found):
        plan.faults.append(Fault(f"row {numbers[name]}", f"{name!r} {record_changes.PLANTED}"))


def _sealed(student: Student, plan: Plan) -> None:
    """A fault for each flight that would take the place of one that was signed here."""
    changed = {made.id: number for number, made in plan.changed}
    if not changed:
        return
    rows = FlightRow.objects.filter(student=student, retired_at__isnull=True, sealed=True)
    for name in rows.values_list("entry_id", flat=True):
        if name in changed:
            plan.faults.append(
                Fault(
                    f"row {changed[name]}",
                    f"{name} was signed here and is sealed; its instructor corrects it, no import does",
                )
            )
