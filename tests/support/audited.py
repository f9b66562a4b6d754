"""An invented school whose records agree with every rule: what an audit is held against.

``Plan`` is one student's training from the first lesson to the practical test, flight by flight, each in its
own slot of the day, so that nobody and no aircraft is in two places. Nothing in it is a fault: faults are
planted by ``tests.support.planting``. The same seed makes the same school.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
import random
import zoneinfo
from collections.abc import Iterator
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from django.db import transaction

from syllabus.engine.places import geography
from syllabus.engine.record import record as engine
from syllabus.engine.record.vocabulary import RULE_ITEMS
from syllabus.engine.time.units import parse_time
from tests.support import factories
from training import models, record

ZONE = zoneinfo.ZoneInfo("America/Chicago")
#: The day as of which the school is audited.
ON = dt.date(2026, 11, 20)
#: Flights from the first lesson to the test; the last weeks before it are for its preparation.
LEAST, WHOLE = 70, 146
EVERY = 5
SLOTS = (8, 10, 12, 14)
HOME = "KGRB"
SHORT, LONG = "1.2 h", "1.8 h"
STUDENTS_EACH = 20


def place(name: str) -> geography.Place:
    return geography.airports().find(name)


def route(*names: str) -> tuple[geography.Place, ...]:
    return tuple(place(name) for name in names)


def evening(day: dt.date) -> dt.datetime:
    """When what happened on a day was written down."""
    return dt.datetime.combine(day, dt.time(20), ZONE)


@dataclass
class Plan:
    """One student's training. ``flights`` are by their number; ``used`` are the numbers that hold a fault."""

    number: int
    instructor: engine.Instructor
    aircraft: str
    slot: int
    first: dt.date
    flights: list[engine.Flight] = field(default_factory=list)
    ground: list[engine.GroundLesson] = field(default_factory=list)
    items: list[engine.ItemGrade] = field(default_factory=list)
    documents: list[engine.Document] = field(default_factory=list)
    tests: list[engine.Test] = field(default_factory=list)
    endorsements: list[engine.Endorsement] = field(default_factory=list)
    retired: list[tuple[engine.Endorsement, dt.datetime]] = field(default_factory=list)
    used: set[int] = field(default_factory=set)
    numbers: Iterator[int] = field(default_factory=lambda: itertools.count(1))

    def day(self, index: int) -> dt.date:
        return self.first + dt.timedelta(days=EVERY * index)

    def off(self, index: int, hour: int | None = None) -> dt.datetime:
        return dt.datetime.combine(self.day(index), dt.time(self.slot if hour is None else hour), ZONE)

    def endorse(self, kind: str, day: dt.date, **more: Any) -> engine.Endorsement:
        given = engine.Endorsement(
            **{
                "id": f"e{next(self.numbers)}",
                "kind": kind,
                "given": day,
                "instructor": self.instructor,
                "recorded": evening(day),
                **more,
            }
        )
        self.endorsements.append(given)
        return given

    def change(self, index: int, **more: Any) -> engine.Flight:
        """Another flight in the place of one, of the same id."""
        self.flights[index] = dataclasses.replace(self.flights[index], **more)
        return self.flights[index]

    def spare(self, kind: str) -> list[int]:
        """Numbers of flights between the cross-countries and the preparation, ``solo`` or ``dual``."""
        return [
            index
            for index in range(48, len(self.flights) - 14)
            if index not in self.used
            and index % 16 not in (2, 3)
            and self.flights[index].times.get(kind)
            and index - 1 not in self.used
        ]


def flight(plan: Plan, index: int, kind: str, **more: Any) -> engine.Flight:
    """A local flight in the student's slot, with an instructor or solo."""
    lasts = parse_time(more.pop("lasts", SHORT))
    times = {"total": lasts, kind: lasts, **more.pop("times", {})}
    dual = kind == "dual"
    return engine.Flight(
        **{
            "id": f"f{index}",
            "date": plan.day(index),
            "aircraft": engine.Aircraft(plan.aircraft, "C172", "airplane", "single-engine land", None),
            "route": route(HOME, HOME),
            "off": plan.off(index),
            "on": plan.off(index) + dt.timedelta(microseconds=lasts),
            "times": MappingProxyType(times),
            "instructor": plan.instructor if dual else None,
            "remarks": "pattern work" if dual else "",
            "recorded": evening(plan.day(index)),
            **more,
        }
    )


def _landings(at: str, **more: Any) -> tuple[engine.Landings, ...]:
    whole = {
        "takeoffs": 4,
        "landings": 4,
        "period": "day",
        "full_stop": True,
        "pattern": True,
        "towered": True,
    }
    return (engine.Landings(at=place(at), **{**whole, **more}),)


def _away(plan: Plan, index: int, *names: str, kind: str = "solo", **more: Any) -> engine.Flight:
    lasts = parse_time(LONG)
    stops = tuple(each for name in names[1:] for each in _landings(name, takeoffs=1, landings=1))
    return flight(
        plan,
        index,
        kind,
        lasts=LONG,
        route=route(*names),
        landings=more.pop("landings", stops),
        times={"cross_country": lasts, **more.pop("times", {})},
        **more,
    )


def planned(number: int, instructor: engine.Instructor, aircraft: str, flights: int) -> Plan:
    """A student's whole training, with nothing wrong in it."""
    k = number % STUDENTS_EACH
    shift = (number // STUDENTS_EACH) % 2 * 10
    last_test = ON - dt.timedelta(days=120 + k % EVERY + (k // EVERY) * 10 + shift)
    plan = Plan(
        number, instructor, aircraft, SLOTS[k // EVERY], last_test - dt.timedelta(days=EVERY * flights)
    )
    for index in range(flights):
        plan.flights.append(_nth(plan, index, flights))
    _papers(plan)
    _before_solo(plan)
    _cross_country(plan)
    _toward_the_test(plan, flights)
    return plan


def _by_night(plan: Plan, index: int, lasts: str) -> dict[str, dt.datetime]:
    """Off and on in the student's own two hours of the night, from 22:00 on."""
    off = plan.off(index, 22) + dt.timedelta(hours=2 * SLOTS.index(plan.slot))
    return {"off": off, "on": off + dt.timedelta(microseconds=parse_time(lasts))}


def _nth(plan: Plan, index: int, flights: int) -> engine.Flight:
    if index in (36, 37, 38):
        dark = _landings(HOME, period="night")
        return flight(
            plan,
            index,
            "dual",
            times={"night": parse_time(SHORT)},
            landings=dark,
            **_by_night(plan, index, SHORT),
        )
    if index == 39:
        dark = _landings("KMSN", takeoffs=1, landings=1, period="night")
        night = {"times": {"night": parse_time(LONG)}, **_by_night(plan, index, LONG)}
        return _away(plan, index, HOME, "KMSN", HOME, kind="dual", landings=dark, **night)
    if index == 41:
        return _away(plan, index, HOME, "KMSN", HOME, kind="dual")
    if index in (42, 44):
        return _away(plan, index, HOME, "KMSN", HOME)
    if index == 43:
        return _away(plan, index, HOME, "KMSN", "KMKE", HOME)
    if index < 20:
        hood = {"simulated_instrument": parse_time("0.3 h")} if index > 4 else {}
        return flight(plan, index, "dual", times=hood)
    if index % 16 == 3 or index in (45, 46, 47):
        return flight(plan, index, "dual")
    if index >= flights - 8:
        return flight(plan, index, "dual", purposes=("practical-test-preparation:private",))
    if 20 <= index < 36 or index == 40:
        more = {"landings": _landings(HOME)} if index == 20 else {}
        return flight(plan, index, "solo", **more)
    return flight(plan, index, "solo" if index % 2 else "dual")


def _papers(plan: Plan) -> None:
    seen = plan.first - dt.timedelta(days=10)
    for number, (kind, klass) in enumerate(
        [("english-proficiency", None), ("student-pilot-certificate", None), ("medical", "third")]
    ):
        plan.documents.append(
            engine.Document(id=f"d{number}", kind=kind, issued=seen, klass=klass, recorded=evening(seen))
        )
    for number, topic in enumerate(("rules and airspace", "weather and performance", "the practical test")):
        day = plan.day(number)
        plan.ground.append(
            engine.GroundLesson(f"g{number}", day, parse_time("1 h"), topic, plan.instructor, evening(day))
        )


def _graded(plan: Plan, begins: str, index: int) -> None:
    day = plan.day(index)
    for name in RULE_ITEMS:
        if name.startswith(begins):
            plan.items.append(
                engine.ItemGrade(name, name, day, "perform", f"f{index}", plan.instructor, "", evening(day))
            )


def _before_solo(plan: Plan) -> None:
    _graded(plan, "presolo.", 19)
    day = plan.day(19)
    plan.tests.append(
        engine.Test("t1", "pre-solo-knowledge", plan.day(18), "pass", None, "C172", None, plan.instructor,
                    evening(plan.day(18)))
    )  # fmt: skip
    plan.endorse("pre-solo-training", day, aircraft_model="C172")
    for index in range(19, len(plan.flights), 16):
        plan.endorse("solo-90-day", plan.day(index), aircraft_model="C172", training_date=plan.day(index))


def _cross_country(plan: Plan) -> None:
    _graded(plan, "soloxc.", 41)
    plan.endorse(
        "solo-cross-country-category-model", plan.day(41), aircraft_model="C172", category="airplane"
    )
    for index in (42, 43, 44):
        plan.endorse(
            "solo-cross-country-flight",
            plan.day(index),
            aircraft_model="C172",
            route=plan.flights[index].route,
            flight_date=plan.day(index),
            conditions="ceiling 3,000 ft or better",
        )


def _toward_the_test(plan: Plan, flights: int) -> None:
    plan.endorse("knowledge-test", plan.day(45))
    taken = plan.day(46)
    plan.tests.append(
        engine.Test("t2", "knowledge:private-airplane", taken, "pass", 92, None, ("PA.I.C.K2",), None,
                    evening(taken))
    )  # fmt: skip
    plan.endorse("knowledge-deficiencies-reviewed", plan.day(47))
    last = flights - 1
    _graded(plan, "area.private.", last)
    plan.endorse("practical-test-prerequisites", plan.day(last))
    plan.endorse("practical-test", plan.day(last))
    test = plan.day(last) + dt.timedelta(days=2)
    plan.tests.append(
        engine.Test("t3", "practical:private-airplane", test, "pass", None, None, None, None, evening(test))
    )


@dataclass
class Audited:
    """The school with its people, and each student's plan."""

    school: models.School
    instructors: list[models.User]
    plans: list[Plan]
    students: list[models.Student]
    chance: random.Random


def school(students: int, seed: int, *, flights: int = WHOLE) -> Audited:
    """A school of so many students. Nothing of their records is stored yet: faults are planted first."""
    assert flights >= LEAST
    chance = random.Random(seed)
    here = factories.school(name="Riverbend Flying", slug=f"riverbend-{seed}", time_zone="America/Chicago")
    count = -(-students // STUDENTS_EACH)
    instructors = [
        factories.instructor(here, name=f"Instructor {number}", certificate=f"10000{number:02d}CFI")
        for number in range(count)
    ]
    plans, people = [], []
    for number in range(students):
        own = number // STUDENTS_EACH
        by = engine.Instructor(str(instructors[own]), f"10000{own:02d}CFI")
        plans.append(planned(number, by, f"N{own:02d}RB", flights))
        people.append(
            factories.student(
                here,
                taught_by=instructors[own],
                name=f"Student {number:03d}",
                birth_date=dt.date(2000, 5, 17),
                training_model="C172",
                user=factories.user(email=f"student{number}-{seed}@riverbend.example"),
            )
        )
    return Audited(here, instructors, plans, people, chance)


def stored(audited: Audited) -> None:
    """Put every plan on record: each entry in the evening of its day, or when it says."""
    for plan, student in zip(audited.plans, audited.students, strict=True):
        with transaction.atomic():
            for part in ("flights", "ground", "items", "documents", "tests", "endorsements"):
                for entry in getattr(plan, part):
                    rows = record.rows(student, part, [entry], at=entry.recorded, provenance=engine.ATTESTED)
                    record.put(rows)
            for entry, until in plan.retired:
                row = record.add(
                    student, "endorsements", entry, at=entry.recorded, provenance=engine.ATTESTED
                )
                models.Endorsement.objects.filter(pk=row.pk).update(retired_at=until)
