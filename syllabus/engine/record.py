"""One student's training record as the engine sees it: frozen values, times in microseconds, days as dates.

``None`` always means "nothing on record says", which is not the same as zero or no: a rule that needs the
fact answers with a question. Entries stand in order of date whatever order they came in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from types import MappingProxyType
from typing import Any

from syllabus.engine.geography import Place

FORMAT = "training-record/1"
TIMES = (
    "total",
    "dual",
    "solo",
    "pic",
    "cross_country",
    "night",
    "actual_instrument",
    "simulated_instrument",
)
DEVICES = ("FFS", "FTD", "AATD", "BATD")
#: The learner-centered scale of FAA-H-8083-9, from the first step to the standard; not-observed is no grade.
GRADES = ("describe", "explain", "practice", "perform")
NOT_OBSERVED = "not-observed"
#: Who vouches for an entry: a sign-off here, verified proofs from elsewhere, a named person who saw the
#: document, or nobody but whoever typed it. A stored record's server computes it; no document sets it.
SIGNED, TAKEN_OVER, ATTESTED, CLAIMED = PROVENANCES = ("signed", "taken-over", "attested", "claimed")
FLIGHT_INSTRUCTOR = "flight"


@dataclass(frozen=True, slots=True)
class Instructor:
    """Who taught or endorsed. ``kind`` says under what authority: see ``vocabulary.INSTRUCTORS``."""

    name: str
    certificate: str | None = None
    kind: str = FLIGHT_INSTRUCTOR


@dataclass(frozen=True, slots=True)
class Aircraft:
    registration: str | None = None
    model: str | None = None
    category: str | None = None
    klass: str | None = None
    device: str | None = None


@dataclass(frozen=True, slots=True)
class Landings:
    """Takeoffs and landings at one place with the same properties."""

    at: Place | None
    takeoffs: int = 0
    landings: int = 0
    period: str | None = None  # "day" or "night", the night of 14 CFR 1.1
    full_stop: bool | None = None
    pattern: bool | None = None
    towered: bool | None = None


@dataclass(frozen=True)
class Flight:
    """One logbook entry. ``times`` holds microseconds for what was logged; a key that is absent was not."""

    id: str
    date: date
    aircraft: Aircraft = Aircraft()
    trip: str | None = None
    route: tuple[Place, ...] = ()
    out: datetime | None = None  # first movement for flight, 14 CFR 1.1
    off: datetime | None = None  # takeoff
    on: datetime | None = None  # landing
    in_: datetime | None = None  # at rest after landing
    times: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    landings: tuple[Landings, ...] = ()
    instructor: Instructor | None = None
    purposes: tuple[str, ...] = ()
    remarks: str = ""
    recorded: datetime | None = None
    provenance: str = CLAIMED

    @property
    def order(self) -> tuple[Any, float, str]:
        """Sorts by day, then by takeoff where it is known, then by id so that input order never matters."""
        return (self.date, self.off.timestamp() if self.off else 0.0, self.id)


@dataclass(frozen=True, slots=True)
class GroundLesson:
    id: str
    date: date
    time: int = 0
    topic: str = ""
    instructor: Instructor | None = None
    recorded: datetime | None = None
    provenance: str = CLAIMED


@dataclass(frozen=True, slots=True)
class ItemGrade:
    id: str
    item: str
    date: date
    grade: str
    flight: str | None = None
    instructor: Instructor | None = None
    remarks: str = ""
    recorded: datetime | None = None
    provenance: str = CLAIMED


@dataclass(frozen=True, slots=True)
class Certificate:
    """A pilot certificate held, such as sport or private."""

    id: str
    kind: str
    issued: date
    category: str | None = None
    klass: str | None = None
    recorded: datetime | None = None
    provenance: str = CLAIMED


@dataclass(frozen=True, slots=True)
class Document:
    """A paper somebody saw: a medical (``issued`` is the day of the examination), a student certificate."""

    id: str
    kind: str
    issued: date
    klass: str | None = None
    expires: date | None = None  # only ever shortens what the rule gives
    aircraft_model: str | None = None
    remarks: str = ""
    recorded: datetime | None = None
    provenance: str = CLAIMED


@dataclass(frozen=True, slots=True)
class Test:
    """A knowledge or practical test with its result."""

    __test__ = False  # pytest: not a test class

    id: str
    kind: str
    date: date
    result: str | None = None
    score: int | None = None
    aircraft_model: str | None = None
    deficient_codes: tuple[str, ...] | None = None
    instructor: Instructor | None = None
    recorded: datetime | None = None
    provenance: str = CLAIMED


@dataclass(frozen=True, slots=True)
class Endorsement:
    id: str
    kind: str
    given: date
    instructor: Instructor | None = None
    aircraft_model: str | None = None
    category: str | None = None
    klass: str | None = None
    test: str | None = None  # the test it is for, such as practical:private-airplane
    similar_model: str | None = None  # the model trained in, which the instructor attests is similar
    airport: Place | None = None
    area: str | None = None
    route: tuple[Place, ...] = ()
    flight_date: date | None = None
    training_date: date | None = None
    expires: date | None = None  # only ever shortens what the rule gives
    conditions: str = ""
    recorded: datetime | None = None
    provenance: str = CLAIMED


@dataclass(frozen=True, slots=True)
class Student:
    name: str = ""
    birth_date: date | None = None


Entry = Flight | GroundLesson | ItemGrade | Certificate | Document | Test | Endorsement


def entry_day(entry: Entry) -> date:
    """The day an entry speaks of."""
    if isinstance(entry, Certificate | Document):
        return entry.issued
    if isinstance(entry, Endorsement):
        return entry.given
    return entry.date


@dataclass(frozen=True)
class Record:
    student: Student = Student()
    certificates: tuple[Certificate, ...] = ()
    flights: tuple[Flight, ...] = ()
    ground: tuple[GroundLesson, ...] = ()
    items: tuple[ItemGrade, ...] = ()
    documents: tuple[Document, ...] = ()
    tests: tuple[Test, ...] = ()
    endorsements: tuple[Endorsement, ...] = ()

    PARTS = ("certificates", "flights", "ground", "items", "documents", "tests", "endorsements")

    def __post_init__(self) -> None:
        for part in self.PARTS:
            entries: Iterable[Entry] = getattr(self, part)
            order: Callable[[Entry], tuple] = lambda entry: (  # noqa: E731
                entry.order if isinstance(entry, Flight) else (entry_day(entry), entry.id)
            )
            object.__setattr__(self, part, tuple(sorted(entries, key=order)))

    def as_known_at(self, instant: datetime | None) -> Record:
        """The record without what was written down later.

        An entry that does not say when it was recorded is taken as known from its own day on, which is the
        earliest it can have been.
        """
        if instant is None:
            return self
        day = instant.date()

        def known(entry: Entry) -> bool:
            return entry.recorded <= instant if entry.recorded else entry_day(entry) <= day

        parts: dict[str, Any] = {
            part: tuple(entry for entry in getattr(self, part) if known(entry)) for part in self.PARTS
        }
        return replace(self, **parts)

    @cached_property
    def memo(self) -> dict[str, Any]:
        """Facts derived from this record, so that requirements share the work; never copied along."""
        return {}

    @cached_property
    def first_day(self) -> date | None:
        """The day of the earliest entry; None where there is none."""
        # each part stands in order of day
        firsts = [entry_day(entries[0]) for part in self.PARTS if (entries := getattr(self, part))]
        return min(firsts, default=None)

    @cached_property
    def provenance_by_id(self) -> Mapping[str, str]:
        """Who vouches for each entry, by its id; of two parts with one id, the weaker."""
        found: dict[str, str] = {}
        for part in self.PARTS:
            for entry in getattr(self, part):
                before = found.get(entry.id, entry.provenance)
                found[entry.id] = max(before, entry.provenance, key=PROVENANCES.index)
        return found

    @cached_property
    def flights_by_id(self) -> Mapping[str, Flight]:
        return {flight.id: flight for flight in self.flights}

    @cached_property
    def items_by_name(self) -> Mapping[str, tuple[ItemGrade, ...]]:
        found: dict[str, list[ItemGrade]] = {}
        for grade in self.items:
            found.setdefault(grade.item, []).append(grade)
        return {name: tuple(grades) for name, grades in found.items()}
