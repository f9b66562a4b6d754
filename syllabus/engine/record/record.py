"""One student's training record as the engine sees it: frozen values, times in microseconds, days as dates.

Each class declares one object of the record document: its annotations say what its keys may hold. The reader,
the writer and the API's description follow from them (``syllabus.engine.record.shapes``).

``None`` always means "nothing on record says", which is not the same as zero or no: a rule that needs the
fact answers with a question. Entries stand in order of date whatever order they came in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from itertools import chain
from types import MappingProxyType
from typing import Annotated, Any

from syllabus.engine.record import vocabulary
from syllabus.engine.record.clock import clock_contradictions
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.shapes import Most, Says, shape
from syllabus.engine.record.types import (
    Count,
    Day,
    Flag,
    Instant,
    Item,
    Name,
    Percent,
    Point,
    Purpose,
    Recorded,
    Route,
    Text,
    Time,
    kind,
    times,
    unbelieved,
    word,
)

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
MOST_ENTRIES = 20_000
MOST_LANDINGS = 100


_INSTRUCTOR_KIND = (
    "Under what authority: a flight instructor's, where the key is left out; a ground instructor's; or that "
    "of another country (foreign) or of an armed force."
)
_PROVENANCE = (
    "Who vouches for the entry: a sign-off here, verified proofs of another school, a named person "
    "who saw the document, or nobody. The server says it; what is sent is not believed."
)
_ONLY_SHORTENS = "Can only shorten the rule's period."

Category = Annotated[str, word(vocabulary.CATEGORIES, "category of aircraft")]
Class = Annotated[str, word(vocabulary.CLASSES, "class of aircraft")]
LOGGED = times(TIMES)
TestKind = Annotated[str, kind(vocabulary.TESTS, "test", closed=vocabulary.TEST_SORTS)]
Provenance = Annotated[str, unbelieved(PROVENANCES, "provenance", "Provenance", _PROVENANCE)]


@shape("Instructor", "As the entry is signed.", shared=True)
@dataclass(frozen=True, slots=True)
class Instructor:
    """Who taught or endorsed. ``kind`` says under what authority: see ``vocabulary.INSTRUCTORS``."""

    name: Name
    certificate: Name | None = None
    kind: Annotated[str, word(vocabulary.INSTRUCTORS, "kind of instructor"), _INSTRUCTOR_KIND] = (
        FLIGHT_INSTRUCTOR
    )


@shape(shared=True)
@dataclass(frozen=True, slots=True)
class Aircraft:
    registration: Name | None = None
    model: Name | None = None
    category: Category | None = None
    klass: Class | None = None
    device: Annotated[
        str | None, word(DEVICES, "kind of training device"), "A training device; null for an aircraft."
    ] = None


@shape("Landings", shared=True)
@dataclass(frozen=True, slots=True)
class Landings:
    """Takeoffs and landings at one place with the same properties."""

    at: Point | None = None
    takeoffs: Count = 0
    landings: Count = 0
    period: Annotated[
        str | None,
        word(("day", "night"), "period"),
        "By night: from the end of evening to the beginning of morning civil twilight.",
    ] = None
    full_stop: Annotated[Flag | None, Says("full stop", "not full stop")] = None
    pattern: Annotated[
        Flag | None,
        Says("in the pattern", "not in the pattern"),
        "Each landing involved a flight in the traffic pattern.",
    ] = None
    towered: Annotated[
        Flag | None,
        Says("tower in operation", "tower not in operation"),
        "At an airport with an operating control tower.",
    ] = None


@shape("Flight", "One logbook entry: a flight, or a session in a training device.")
@dataclass(frozen=True)
class Flight:
    """One logbook entry. ``times`` holds microseconds for what was logged; a key that is absent was not."""

    id: Name
    date: Day
    aircraft: Aircraft = Aircraft()
    trip: Annotated[Name | None, "Entries that share it are one flight for cross-country rules."] = None
    route: Route = ()
    out: Annotated[Instant | None, "First movement for the purpose of flight."] = None
    off: Annotated[Instant | None, "Takeoff."] = None
    on: Annotated[Instant | None, "Landing."] = None
    in_: Annotated[Instant | None, "At rest after landing."] = None
    times: Annotated[Mapping[str, int], LOGGED] = field(default_factory=lambda: MappingProxyType({}))
    landings: Annotated[tuple[Landings, ...], Most(MOST_LANDINGS)] = ()
    instructor: Instructor | None = None
    purposes: Annotated[tuple[Purpose, ...], Most(20)] = ()
    remarks: Text = ""
    recorded: Recorded | None = None
    provenance: Provenance = CLAIMED

    @cached_property
    def memo(self) -> dict[str, Any]:
        """Facts derived from this entry alone, so that requirements share the work; never copied along."""
        return {}

    @property
    def order(self) -> tuple[Any, float, str]:
        """Sorts by day, then by takeoff where it is known, then by id so that input order never matters."""
        return (self.date, self.off.timestamp() if self.off else 0.0, self.id)

    def contradictions(self, _: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """Times on the clock that are out of order, more than a day apart or not of the entry's date."""
        if self.out is self.off is self.on is self.in_ is None:
            return iter(())
        at = (("out", self.out), ("off", self.off), ("on", self.on), ("in", self.in_))
        return clock_contradictions(self.date, at)


@shape("GroundLesson")
@dataclass(frozen=True, slots=True)
class GroundLesson:
    id: Name
    date: Day
    time: Time = 0
    topic: Text = ""
    instructor: Instructor | None = None
    recorded: Recorded | None = None
    provenance: Provenance = CLAIMED


@shape("ItemGrade", "How well one item was done, on the learner-centered scale; the newest grade counts.")
@dataclass(frozen=True, slots=True)
class ItemGrade:
    id: Name
    item: Item
    date: Day
    grade: Annotated[str, word((*GRADES, NOT_OBSERVED), "grade")]
    flight: Annotated[Name | None, "The id of a flight of this record."] = None
    instructor: Instructor | None = None
    remarks: Text = ""
    recorded: Recorded | None = None
    provenance: Provenance = CLAIMED


@shape("HeldCertificate")
@dataclass(frozen=True, slots=True)
class Certificate:
    """A pilot certificate held, such as sport or private."""

    id: Name
    kind: Annotated[str, word(vocabulary.CERTIFICATES, "pilot certificate")]
    issued: Day
    category: Category | None = None
    klass: Class | None = None
    recorded: Recorded | None = None
    provenance: Provenance = CLAIMED


@shape(
    "Paper",
    "A document somebody saw; `issued` of a medical certificate is the day of the examination.",
)
@dataclass(frozen=True, slots=True)
class Document:
    """What somebody saw: a medical (``issued`` is the day of the examination), a student certificate."""

    id: Name
    kind: Annotated[str, kind(vocabulary.DOCUMENTS, "document")]
    issued: Day
    klass: Annotated[
        str | None,
        word(vocabulary.MEDICAL_CLASSES, "class of medical certificate"),
        "Of a medical certificate, which needs it.",
    ] = None
    expires: Annotated[Day | None, _ONLY_SHORTENS] = None
    aircraft_model: Name | None = None
    remarks: Text = ""
    recorded: Recorded | None = None
    provenance: Provenance = CLAIMED

    def contradictions(self, said: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """A medical that does not say of which class."""
        if self.kind == "medical" and "class" not in said:
            yield "class", f"missing; a medical is one of {', '.join(vocabulary.MEDICAL_CLASSES)}"


@shape("TestTaken")
@dataclass(frozen=True, slots=True)
class Test:
    """A knowledge or practical test with its result."""

    __test__ = False  # pytest: not a test class

    id: Name
    kind: TestKind
    date: Day
    result: Annotated[
        str | None,
        word(vocabulary.RESULTS, "result"),
        "Left out: the outcome is not known, which raises a question wherever it counts.",
    ] = None
    score: Percent | None = None
    aircraft_model: Name | None = None
    deficient_codes: (
        Annotated[
            tuple[Name, ...],
            Most(200),
            "Empty: none were listed. Left out: the test report was not seen.",
        ]
        | None
    ) = None
    instructor: Instructor | None = None
    recorded: Recorded | None = None
    provenance: Provenance = CLAIMED


@shape("Endorsement")
@dataclass(frozen=True, slots=True)
class Endorsement:
    id: Name
    kind: Annotated[str, kind(vocabulary.ENDORSEMENTS, "endorsement", vocabulary.ALSO_CALLED)]
    given: Day
    instructor: Instructor | None = None
    aircraft_model: Name | None = None
    category: Category | None = None
    klass: Class | None = None
    test: Annotated[TestKind | None, "The test it is for, by its kind."] = None
    similar_model: Annotated[
        Name | None,
        "The model that the training was given in, which the instructor attests is similar.",
    ] = None
    airport: Point | None = None
    area: Name | None = None
    route: Route = ()
    flight_date: Day | None = None
    training_date: Day | None = None
    expires: Annotated[Day | None, _ONLY_SHORTENS] = None
    conditions: Text = ""
    limits: Annotated[Limits | None, "Limits that the instructor set, as quantities."] = None
    recorded: Recorded | None = None
    provenance: Provenance = CLAIMED

    def contradictions(self, _: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """Training that was given after the endorsement for it."""
        if self.training_date and self.given and self.training_date > self.given:
            yield (
                "training_date",
                f"{self.training_date} is after the endorsement, given {self.given};"
                " the training comes first",
            )


@shape()
@dataclass(frozen=True, slots=True)
class Student:
    name: Text = ""
    birth_date: Day | None = None


Entry = Flight | GroundLesson | ItemGrade | Certificate | Document | Test | Endorsement


def entry_day(entry: Entry) -> date:
    """The day an entry speaks of."""
    if isinstance(entry, Certificate | Document):
        return entry.issued
    if isinstance(entry, Endorsement):
        return entry.given
    return entry.date


def _order(entry: Entry) -> tuple[Any, ...]:
    return entry.order if isinstance(entry, Flight) else (entry_day(entry), entry.id)


@shape()
@dataclass(frozen=True)
class Record:
    """A whole record; the document says the key ``format`` beside these."""

    student: Student = Student()
    certificates: Annotated[tuple[Certificate, ...], Most(MOST_ENTRIES)] = ()
    flights: Annotated[tuple[Flight, ...], Most(MOST_ENTRIES)] = ()
    ground: Annotated[tuple[GroundLesson, ...], Most(MOST_ENTRIES)] = ()
    items: Annotated[tuple[ItemGrade, ...], Most(MOST_ENTRIES)] = ()
    documents: Annotated[tuple[Document, ...], Most(MOST_ENTRIES)] = ()
    tests: Annotated[tuple[Test, ...], Most(MOST_ENTRIES)] = ()
    endorsements: Annotated[tuple[Endorsement, ...], Most(MOST_ENTRIES)] = ()

    PARTS = ("certificates", "flights", "ground", "items", "documents", "tests", "endorsements")

    def __post_init__(self) -> None:
        for part in self.PARTS:
            object.__setattr__(self, part, tuple(sorted(getattr(self, part), key=_order)))

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
        parts: list[tuple[Entry, ...]] = [getattr(self, part) for part in self.PARTS]
        found = {entry.id: entry.provenance for entries in parts for entry in entries}
        if len(found) < sum(map(len, parts)):
            for entry in chain.from_iterable(parts):
                found[entry.id] = max(found[entry.id], entry.provenance, key=PROVENANCES.index)
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
