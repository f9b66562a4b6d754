"""Writing a training record document entry by entry, as a school's office would.

Every entry has an id that no other entry of the document has, so that a change can name it. Days are counted
back from the day asked about. Times are in tenths of an hour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cache
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import airportsdata
from pyproj import Geod

from tests.syllabus.engine.ephemeris import TIMES, reference_altitude

IDA = {"name": "Ida Example", "certificate": "0000001CFI"}
BO = {"name": "Bo Example", "certificate": "0000002CFI"}
CY = {"name": "Cy Example", "certificate": "0000003CFI"}
GIL = {"name": "Gil Example", "certificate": "0000004CGI", "kind": "ground"}
FOREIGN = {"name": "Fay Example", "kind": "foreign"}
AIR_FORCE = {"name": "Major Max Example", "kind": "armed-forces"}
AIRPLANE = {"category": "airplane", "class": "single-engine land"}
PREPARATION = "practical-test-preparation:private"
NAUTICAL_MILE = 1852.0


@cache
def airports() -> dict[str, Any]:
    return airportsdata.load("ICAO")


def point_at(home: str, distance: float, azimuth: float) -> dict[str, Any]:
    """A named point so many nautical miles from an airport, on WGS 84."""
    at = airports()[home]
    lon, lat, _ = Geod(ellps="WGS84").fwd(at["lon"], at["lat"], azimuth, distance * NAUTICAL_MILE)
    return {"name": f"strip {distance} NM out", "lat": round(lat, 8), "lon": round(lon, 8)}


@cache
def evening_twilight(airport: str, day: date) -> datetime:
    """The end of evening civil twilight of a local day: the Sun's center 6 degrees below the horizon.

    By another ephemeris than the engine's, to the second.
    """
    at = airports()[airport]
    start = datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(at["tz"]))

    def above(seconds: float) -> float:
        """Degrees of the Sun above the limit, so long after local noon."""
        instant = TIMES.from_datetime((start + timedelta(seconds=seconds)).astimezone(UTC))
        return float(reference_altitude(instant, at["lat"], at["lon"])) + 6

    # the Sun sinks almost evenly in the evening: a secant finds the second in a few steps
    before, after = 7.5 * 3600, 8 * 3600
    height = above(before)
    for _ in range(20):
        lower = above(after)
        before, after, height = after, after - lower * (after - before) / (lower - height), lower
        if abs(after - before) < 0.5:
            return start + timedelta(seconds=round(after))
    raise ValueError(f"no evening twilight at {airport} on {day}")


@dataclass(frozen=True)
class Habits:
    """How one school keeps its records. Every choice here is lawful."""

    home: str = "KOSH"
    model: str = "C172"
    #: spellings of that model, used in turn
    spellings: tuple[str, ...] = ("C172",)
    #: none, off-on (exactly the logged total), taxi (up to half an hour more), out-in
    clock: str = "none"
    #: hours, minutes, colon or number
    unit: str = "hours"
    #: a day flight's night column: blank or zero
    night_column: str = "blank"
    training_dates: bool = True
    #: test endorsements name their test, category and class
    test_named: bool = True
    #: the other entries name category and class too where the rule asks for the model alone
    class_named: bool = False
    #: first, second, third, or basicmed
    medical: str = "third"
    born: date | None = None
    #: two instructors share the lessons
    two_instructors: bool = False
    #: endorsements are dated the day of the last training
    same_day: bool = False
    #: the model that the training was in, where the endorsement attests that it is similar
    similar: str | None = None
    #: short night lessons are flown before the morning instead of after the evening
    before_dawn: bool = False
    #: an item's grade names the flight on which it was shown
    items_linked: bool = True
    #: dual flights by day note their landings beside the route
    landings_noted: bool = True
    #: flights name category and class beside the model, which says both
    class_of_aircraft: bool = True


@dataclass
class Writer:
    """One student's record as it grows. ``on`` is the day asked about."""

    on: date
    habits: Habits = field(default_factory=Habits)
    random: Random = field(default_factory=lambda: Random(0))

    def __post_init__(self) -> None:
        born = self.habits.born or self.on.replace(year=self.on.year - 18, day=1)
        self.parts: dict[str, list[dict[str, Any]]] = {
            part: []
            for part in ("certificates", "flights", "ground", "items", "documents", "tests", "endorsements")
        }
        self.student = {"name": "Sam Example", "birth_date": born.isoformat()}
        self._spelled = 0

    def document(self) -> dict[str, Any]:
        """The record document, its entries in the order written."""
        return {"format": "training-record/1", "student": self.student, **self.parts}

    def day(self, before: int) -> str:
        return (self.on - timedelta(days=before)).isoformat()

    def spelling(self) -> str:
        self._spelled += 1
        return self.habits.spellings[self._spelled % len(self.habits.spellings)]

    def add(self, part: str, id: str, **keys: Any) -> dict[str, Any]:
        entry = {"id": id, **keys}
        self.parts[part].append(entry)
        return entry

    def time(self, tenths: int) -> Any:
        minutes = tenths * 6
        return {
            "hours": f"{tenths / 10:.1f} h",
            "minutes": f"{minutes} min",
            "colon": f"{minutes // 60}:{minutes % 60:02d}",
            "number": tenths / 10,
        }[self.habits.unit]

    def flight(
        self,
        id: str,
        before: int,
        tenths: int,
        kind: str,
        *,
        by: dict[str, Any] | None = None,
        route: Sequence[Any] | None = None,
        night: int = 0,
        hood: int = 0,
        actual: int = 0,
        cross_country: bool = False,
        landings: Sequence[dict[str, Any]] = (),
        purposes: Sequence[str] = (),
        aircraft: dict[str, Any] | None = None,
        at_night: bool = False,
        hour: float = 10.0,
        trip: str | None = None,
        remarks: str = "",
    ) -> dict[str, Any]:
        """One flight; ``kind`` is dual or solo; ``at_night`` departs after the end of evening twilight."""
        home = self.habits.home
        route = list(route or (home, home))
        model = self.habits.similar if self.habits.similar and kind == "dual" else self.spelling()
        known = AIRPLANE if self.habits.class_of_aircraft or aircraft else {}
        craft = {"registration": "N00XY", "model": model, **known, **(aircraft or {})}
        times = {"total": tenths, kind: tenths}
        if kind == "solo":
            times["pic"] = tenths
        if cross_country:
            times["cross_country"] = tenths
        if night:
            times["night"] = night
        if hood:
            times["simulated_instrument"] = hood
        if actual:
            times["actual_instrument"] = actual
        written = {key: self.time(amount) for key, amount in times.items()}
        if not night and self.habits.night_column == "zero":
            written["night"] = 0
        entry: dict[str, Any] = {
            "id": id, "date": self.day(before), "aircraft": craft, "route": route, "times": written,
        }  # fmt: skip
        if trip:
            entry["trip"] = trip
        if landings and (self.habits.landings_noted or kind == "solo" or night):
            entry["landings"] = [dict(each) for each in landings]
        if by:
            entry["instructor"] = by
        if purposes:
            entry["purposes"] = list(purposes)
        if remarks:
            entry["remarks"] = remarks
        if not craft.get("device"):
            entry.update(self._clock(before, tenths, night, at_night, hour))
        self.parts["flights"].append(entry)
        return entry

    def _clock(self, before: int, tenths: int, night: int, at_night: bool, hour: float) -> dict[str, str]:
        """``off`` and ``on``, ``out`` and ``in``, as the school notes them."""
        way = self.habits.clock
        if way == "none":
            return {}
        day = self.on - timedelta(days=before)
        zone = ZoneInfo(airports()[self.habits.home]["tz"])
        total = timedelta(minutes=6 * tenths)
        ground = timedelta()
        if way == "taxi" and tenths > 3:
            ground = timedelta(minutes=6 * min(self.random.choice((1, 2, 3, 4, 5)), tenths - 2))
        if way == "out-in" and tenths > 4:
            ground = timedelta(minutes=6 * min(self.random.choice((2, 3, 5, 7)), tenths - 3))
        if at_night:
            twilight = evening_twilight(self.habits.home, day)
            by_day = timedelta(minutes=6 * (tenths - night))
            # in the air before the twilight ends for the part that was day, else well after it
            off = twilight - by_day if by_day else twilight + timedelta(minutes=self.random.choice((50, 110)))
            if self.habits.before_dawn and not by_day and tenths <= 13:
                off = datetime(day.year, day.month, day.day, 2, 30, tzinfo=zone)
            if by_day:  # the part on the ground was by day or counts for nothing: leave it out
                ground = timedelta()
        else:
            off = datetime(day.year, day.month, day.day, tzinfo=zone) + timedelta(hours=hour)
        off = off.replace(second=0, microsecond=0)
        on = off + total - ground
        clock = {"off": off.isoformat(), "on": on.isoformat()}
        if way == "out-in":
            taxi = ground / 2
            clock = {
                "out": (off - taxi).isoformat(), **clock, "in": (on + ground - taxi).isoformat(),
            }  # fmt: skip
        return clock

    def ground(self, id: str, before: int, topic: str, by: dict[str, Any]) -> None:
        self.add("ground", id, date=self.day(before), time=self.time(15), topic=topic, instructor=by)

    def items(self, stem: str, numbers: Sequence[int], before: int, flight: str, by: dict[str, Any]) -> None:
        """Items graded at the standard on one flight."""
        joint = "." if stem == "area.private" else "-"
        for number in numbers:
            name = f"{stem}{joint}{number:02d}"
            shown = {"flight": flight} if self.habits.items_linked else {}
            self.add("items", name, item=name, date=self.day(before), grade="perform", instructor=by, **shown)

    def endorse(
        self, id: str, kind: str, before: int, by: dict[str, Any], trained: int | None = None, **keys: Any
    ) -> dict[str, Any]:
        """An endorsement given so many days before; ``trained`` is the training it rests on."""
        given = trained if self.habits.same_day and trained is not None else before
        entry = self.add("endorsements", id, kind=kind, given=self.day(given), instructor=by, **keys)
        if trained is not None and self.habits.training_dates:
            entry["training_date"] = self.day(trained)
        return entry

    def model_endorsement(
        self, id: str, kind: str, before: int, by: dict[str, Any], trained: int | None = None, **keys: Any
    ) -> dict[str, Any]:
        """An endorsement for the make and model."""
        named: dict[str, Any] = {"aircraft_model": self.spelling(), **keys}
        if self.habits.similar:
            named["similar_model"] = self.habits.similar
        if self.habits.class_named:
            named |= AIRPLANE
        return self.endorse(id, kind, before, by, trained, **named)

    def test_endorsement(
        self, id: str, kind: str, before: int, by: dict[str, Any], test: str, trained: int | None = None
    ) -> dict[str, Any]:
        """A test endorsement, which names its test or, for the private airplane tests, nothing."""
        named: dict[str, Any] = {"test": test, **AIRPLANE} if self.habits.test_named else {}
        return self.endorse(id, kind, before, by, trained, **named)

    def papers(self, before: int = 240) -> None:
        """English, the student pilot certificate, and a medical that holds."""
        self.add("documents", "english", kind="english-proficiency", issued=self.day(before))
        self.add(
            "documents", "student-certificate", kind="student-pilot-certificate", issued=self.day(before)
        )
        if self.habits.medical == "basicmed":
            self.add("documents", "old-medical", kind="medical", issued="2012-04-18", **{"class": "third"})
            self.add(
                "documents", "license", kind="drivers-license", issued="2022-03-01", expires="2030-03-01"
            )
            self.add("documents", "examination", kind="basicmed-examination", issued=self.day(before))
            self.add("documents", "course", kind="basicmed-course", issued=self.day(before - 1))
        else:
            self.add(
                "documents",
                "medical",
                kind="medical",
                issued=self.day(before),
                **{"class": self.habits.medical},
            )


def pattern(
    at: Any, count: int, period: str = "day", full_stop: bool = False, towered: bool = True
) -> list[dict[str, Any]]:
    """One row of takeoffs and landings in the pattern."""
    return [
        {
            "at": at, "takeoffs": count, "landings": count, "period": period,
            "full_stop": full_stop, "pattern": True, "towered": towered,
        }
    ]  # fmt: skip


def landed(at: Any, count: int = 1, period: str = "day", towered: bool = False) -> dict[str, Any]:
    """Full-stop landings at the end of a leg."""
    return {
        "at": at, "takeoffs": count, "landings": count, "period": period,
        "full_stop": True, "pattern": False, "towered": towered,
    }  # fmt: skip
