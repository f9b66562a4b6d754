"""Facts derived from logged entries, each with three answers: yes, no, and nothing on record says.

Kinds of requirement share these, so that "trained by an instructor" means the same
wherever a rule asks for it. Routes and distances are in ``journeys``.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from syllabus.engine.places.geography import Place
from syllabus.engine.record.record import (
    CLAIMED,
    NOT_OBSERVED,
    TIMES,
    Certificate,
    Document,
    Endorsement,
    Entry,
    Flight,
    GroundLesson,
    Instructor,
    ItemGrade,
    Record,
    Test,
)
from syllabus.engine.record.vocabulary import FLIGHT_TRAINING
from syllabus.engine.rules.aircraft_models import Models, folded
from syllabus.engine.rules.reasons import NOTHING, Named, Reason, reason
from syllabus.engine.rules.settings import Settings
from syllabus.engine.time.sun import night_time
from syllabus.engine.time.units import MINUTE

#: One fact compared: True it fits, None nothing says, False it does not; with what is wrong or missing.
Fact = tuple[bool | None, Reason]
YES: Fact = (True, NOTHING)

ANY, AIRPLANE, SINGLE_ENGINE = "any aircraft", "airplane", "single-engine airplane"
INSTRUMENT = "instrument"
AIRCRAFT = (ANY, AIRPLANE, SINGLE_ENGINE)
_SINGLE = frozenset({"single-engine land", "single-engine sea"})


def same(text: str | None) -> str:
    """The form in which names are compared: ``C-172`` and ``c172`` are one."""
    return folded(text or "")


def same_person(one: Instructor | None, other: Instructor | None) -> bool:
    """Whether two entries mean the same instructor: by the certificate number, else by the name."""
    if one is None or other is None:
        return False
    if one.certificate and other.certificate:
        return certificate_number(one.certificate) == certificate_number(other.certificate)
    return same(one.name) == same(other.name)


def certificate_number(text: str) -> str:
    """What certificates are compared by: their digits, for CFI, CFII and MEI beside them name ratings.

    >>> certificate_number("0000002CFI") == certificate_number("CFI-0000002")
    True
    """
    digits = "".join(ch for ch in text if ch.isdigit())
    return digits or same(text)


def is_dual(flight: Flight) -> bool:
    """Whether some of a flight in an aircraft is logged as training received."""
    return bool(flight.times.get("dual")) and not flight.aircraft.device


def taught(flight: Flight) -> Fact:
    """Whether the dual time of an entry is by somebody who gives flight training, with what is wrong."""
    if flight.instructor is None:
        return False, reason("instructor.none-for-dual")
    if flight.instructor.kind not in FLIGHT_TRAINING:
        return False, reason("instructor.no-flight-training", instructor=flight.instructor.kind)
    return YES


def graded(grade: ItemGrade) -> bool:
    """Whether an item was graded by somebody who gives flight training."""
    return (
        grade.grade != NOT_OBSERVED
        and grade.instructor is not None
        and grade.instructor.kind in FLIGHT_TRAINING
    )


def grade_doubt(grade: ItemGrade, record: Record, category: str | None, models: Models) -> Reason:
    """How a grade disagrees with the flight it is linked to, or with the training on record; else nothing."""
    flight = record.flights_by_id.get(grade.flight) if grade.flight else None
    if flight is None:
        return _before_training(grade, record) if grade.flight is None else NOTHING
    item, named = Named(grade.item), Named(flight.id)
    if not is_dual(flight) and not _trained_before(grade, flight, record):
        return reason("grade.no-dual", item=item, flight=named)
    if abs((flight.date - grade.date).days) > 1:
        return reason("grade.other-day", item=item, graded=grade.date, flight=named, flown=flight.date)
    flown, klass = models.kind_of(flight.aircraft)
    if category is not None and flown is not None and flown != category:
        return reason("grade.other-category", item=item, category=category, flight=named, flown=flown)
    if category == "airplane" and klass is not None and klass not in _SINGLE:
        return reason("grade.engines-unknown", item=item, flight=named, flown=klass)
    return NOTHING


def _trained_before(grade: ItemGrade, flight: Flight, record: Record) -> bool:
    """Whether what was graded after a solo flight had been graded in training before."""
    if not flight.times.get("solo") or flight.aircraft.device:
        return False
    for before in record.items_by_name.get(grade.item, ()):
        if before.id == grade.id or before.date > grade.date or not graded(before):
            continue
        trained = record.flights_by_id.get(before.flight) if before.flight else None
        if before.flight is None or (trained is not None and is_dual(trained)):
            return True
    return False


def _before_training(grade: ItemGrade, record: Record) -> Reason:
    """A grade of a day before the first training on record, where there is any."""
    dual = dual_flights(record)
    if not dual or grade.date >= dual[0].date or any(each.date <= grade.date for each in record.ground):
        return NOTHING
    return reason("grade.before-training", item=Named(grade.item), graded=grade.date, first=dual[0].date)


def dual_flights(record: Record) -> list[Flight]:
    """Flights in an aircraft with training received, in order of date."""
    return flown(record).logging["dual"]


#: The part of a record that an entry belongs to, as a school's settings name it.
_PART_OF = {
    Flight: "flights",
    GroundLesson: "ground",
    ItemGrade: "items",
    Certificate: "certificates",
    Document: "documents",
    Test: "tests",
    Endorsement: "endorsements",
}


def unvouched(entry: Entry | str, settings: Settings) -> Reason:
    """The question about an entry that is only claimed, where the school asks it; else nothing."""
    if isinstance(entry, str) or entry.provenance != CLAIMED or not settings.claims_asked:
        return NOTHING
    if _PART_OF[type(entry)] not in settings.claims_asked:
        return NOTHING
    return reason("entry.only-claimed")


def suits(flight: Flight, aircraft: str, models: Models) -> Fact:
    """Whether the aircraft is of the sort a rule wants, with what is wrong or missing.

    An entry that gives neither category nor class is of its model's. One that gives a category and leaves the
    class out is asked for it: the model may be on floats.
    """
    craft = flight.aircraft
    if aircraft == ANY or (craft.category == "airplane" and craft.klass in _SINGLE):
        return YES
    category, klass = models.kind_of(craft)
    if craft.category is not None:
        klass = craft.klass
    if category is None and not (aircraft == SINGLE_ENGINE and klass):
        return None, reason("aircraft.category-unknown")
    if category is not None and category != "airplane":
        return False, reason("aircraft.no-airplane", flown=category)
    if aircraft == AIRPLANE:
        return YES
    if klass is None:
        return None, reason("aircraft.class-unknown")
    if klass in _SINGLE:
        return YES
    return False, reason("aircraft.not-single-engine", flown=klass)


def computed_night(flight: Flight) -> int | None:
    """Night between off and on along the route, in microseconds; None where the entry does not give enough.

    Source: 14 CFR 1.1, night.
    """
    if flight.off is None or flight.on is None or not flight.route:
        return None
    if "night" not in flight.memo:
        flight.memo["night"] = night_between(flight.off, flight.on, flight.route)
    night: int | None = flight.memo["night"]
    return night


def night_between(start: datetime, end: datetime, route: tuple[Place, ...]) -> int | None:
    """Night along a route between two instants, in microseconds; None where a position is unknown."""
    found = night_time(start, end, route)
    return None if found is None else round(found.total_seconds() * 1_000_000)


def night_unknown(flight: Flight) -> Reason:
    """What is missing to say whether there was night, where none is logged; nothing where enough is known.

    Without a word of night and without off and on it is a day flight, as a blank logbook column is.
    """
    if "night" in flight.times or flight.off is None or flight.on is None:
        return NOTHING
    if not flight.route or not all(place.known for place in flight.route):
        return reason("flight.night-route-unknown")
    return NOTHING


class Flown:
    """What one pass over a record's flights finds, whatever is asked of them.

    ``logging`` has the flights in an aircraft that log each of the times; of night also those whose clock
    tells or leaves a question. ``crafts``, ``routes`` and ``instructors`` have a flight for each that there
    is, by identity, for many flights share one.
    """

    def __init__(self, flights: Iterable[Flight]) -> None:
        self.logging: dict[str, list[Flight]] = {name: [] for name in (*TIMES, INSTRUMENT)}
        self.devices: list[Flight] = []
        self.clocked: list[tuple[Flight, datetime, datetime]] = []
        self.crafts: dict[int, Flight] = {}
        self.routes: dict[int, Flight] = {}
        self.instructors: dict[int, Flight] = {}
        crafts, routes, instructors, night = self.crafts, self.routes, self.instructors, self.logging["night"]
        sorts: dict[int, list[list[Flight]]] = {}  # by the times, which flights may share
        for flight in flights:
            craft, times = flight.aircraft, flight.times
            crafts[id(craft)] = routes[id(flight.route)] = instructors[id(flight.instructor)] = flight
            start, end = flight.out or flight.off, flight.in_ or flight.on
            if start is not None and end is not None:
                self.clocked.append((flight, start, end))
            if craft.device:
                self.devices.append(flight)
                continue
            if (found := sorts.get(id(times))) is None:
                found = sorts[id(times)] = [self.logging[name] for name, amount in times.items() if amount]
                if logged(flight, INSTRUMENT):
                    found.append(self.logging[INSTRUMENT])
            for each in found:
                each.append(flight)
            if "night" not in times and flight.off is not None and flight.on is not None:
                night.append(flight)


def flown(record: Record) -> Flown:
    """What is found of a record's flights, once."""
    if "flown" not in record.memo:
        record.memo["flown"] = Flown(record.flights)
    found: Flown = record.memo["flown"]
    return found


def logged(flight: Flight, name: str) -> int | None:
    """A logged time in microseconds; instrument time is the actual and the simulated together."""
    if name == INSTRUMENT:
        actual, simulated = flight.times.get("actual_instrument"), flight.times.get("simulated_instrument")
        return None if actual is None and simulated is None else (actual or 0) + (simulated or 0)
    return flight.times.get(name)


def minutes(microseconds: int) -> int:
    """Whole minutes, for words beside an exact figure."""
    return round(microseconds / MINUTE)
