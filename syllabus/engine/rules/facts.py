"""Facts derived from logged entries, each with three answers: yes, no, and nothing on record says.

Kinds of requirement share these, so that "trained by an instructor" or "a landing more than 50 NM away"
means the same wherever a rule asks for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property, lru_cache
from itertools import pairwise

from syllabus.engine.places.geography import (
    METRES_PER_NM,
    Degrees,
    Place,
    coordinates,
    geodesic_metres,
    near_limit,
    to_hundredth,
)
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
from syllabus.engine.rules.reasons import NOTHING, Limit, Named, Reason, reason
from syllabus.engine.rules.settings import Settings
from syllabus.engine.time.amounts import distance
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


def dual_flights(record: Record) -> tuple[Flight, ...]:
    """Flights in an aircraft with training received, in order of date."""
    return flights_logging(record, "dual")


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
        found = night_time(flight.off, flight.on, flight.route)
        flight.memo["night"] = None if found is None else round(found.total_seconds() * 1_000_000)
    night: int | None = flight.memo["night"]
    return night


def night_unknown(flight: Flight) -> Reason:
    """What is missing to say whether there was night, where none is logged; nothing where enough is known.

    Without a word of night and without off and on it is a day flight, as a blank logbook column is.
    """
    if "night" in flight.times or flight.off is None or flight.on is None:
        return NOTHING
    if not flight.route or not all(place.known for place in flight.route):
        return reason("flight.night-route-unknown")
    return NOTHING


def apart(a: Place, b: Place) -> int:
    """Straight-line distance in hundredths of a nautical mile, the step in which limits are compared.

    Raises: ValueError naming the place whose position is unknown.
    """
    return _apart(coordinates(a), coordinates(b))


@lru_cache(maxsize=16_384)
def _apart(a: Degrees, b: Degrees) -> int:
    return int(to_hundredth(geodesic_metres(a, b) / METRES_PER_NM) * 100)


def in_nm(hundredths: int) -> str:
    """``5003`` as ``50.03 NM``."""
    return f"{hundredths / 100:.2f} NM"


def limit_nm(hundredths: int) -> str:
    """A rule's limit as people write it: ``50 NM``, ``62.5 NM``."""
    return f"{hundredths / 100:g} NM"


def close(hundredths: int, limit: int) -> bool:
    """Whether a distance is so near a limit that the earth's model or a position could turn the answer."""
    return near_limit(hundredths / 100, limit / 100)


@dataclass(frozen=True)
class Journey:
    """One flight in the sense of a rule on a single flight: an entry, or the entries that share a trip.

    ``points`` are the original point of departure and then every landing. ``doubt`` says why the order of
    the entries is not known; ``broken`` says why they do not make one flight. ``readings`` are the orders
    that the ends of the entries allow where there are several: where they agree there is no doubt.
    """

    entries: tuple[Flight, ...]
    points: tuple[Place, ...]
    doubt: Reason = NOTHING
    broken: Reason = NOTHING
    readings: tuple[Journey, ...] = ()

    @property
    def last(self) -> Flight:
        return self.entries[-1]

    @property
    def day(self) -> date:
        return max(entry.date for entry in self.entries)

    @property
    def origin(self) -> Place | None:
        return self.points[0] if self.points else None

    @cached_property
    def leaves_home(self) -> bool:
        """Whether any point differs from the first."""
        return any(place.key != self.points[0].key for place in self.points)

    @property
    def unlocated(self) -> tuple[Place, ...]:
        return tuple(place for place in self.points if not place.known)

    @cached_property
    def farthest(self) -> tuple[int, Place] | None:
        """The landing farthest from the original point of departure, of those whose position is known."""
        origin = self.origin
        if origin is None or not origin.known:
            return None
        away = [(apart(origin, place), place) for place in self.points[1:] if place.known]
        return max(away, key=lambda pair: pair[0]) if away else None

    @cached_property
    def legs(self) -> Sequence[tuple[int, Place, Place]]:
        """Straight-line legs from takeoff to landing, of those with known ends."""
        return [(apart(a, b), a, b) for a, b in pairwise(self.points) if a.known and b.known]

    @cached_property
    def _beyond(self) -> dict[int, Fact]:
        return {}

    def lands_beyond(self, limit: int) -> Fact:
        """Whether a landing lies more than ``limit`` (hundredths of NM) from the original point of departure.

        Source: cross-country time toward a private certificate, 14 CFR 61.1(b).
        """
        if limit not in self._beyond:
            self._beyond[limit] = self._looked_beyond(limit)
        return self._beyond[limit]

    def _looked_beyond(self, limit: int) -> Fact:
        if self.readings:
            answers = [reading.lands_beyond(limit) for reading in self.readings]
            return answers[0] if len({met for met, _ in answers}) == 1 else (None, self.doubt)
        if self.broken:
            return False, self.broken
        far = self.farthest
        if far and far[0] > limit:
            # an order nobody knows leaves open where the flight began
            return (None, self.doubt) if self.doubt else YES
        if self.doubt:
            return None, self.doubt
        if not self.points:
            return None, reason("route.unknown")
        if self.unlocated:
            return None, position_unknown(self.unlocated)
        if far is None:
            return False, reason("route.no-landing-away", origin=self.points[0].key)
        return False, reason(
            "route.landing-short",
            limit=Limit(limit),
            origin=self.points[0].key,
            farthest=far[1].key,
            distance=distance(far[0]),
        )


def position_unknown(places: Sequence[Place]) -> Reason:
    """The question where these places are."""
    return reason("route.position-unknown", places=tuple(place.name for place in places))


def flights_logging(record: Record, name: str) -> tuple[Flight, ...]:
    """Entries flown in an aircraft with some of that time logged, or, for night, with nothing said of it."""
    if "flights_logging" not in record.memo:
        record.memo["flights_logging"] = _by_time(record.flights)
    found: tuple[Flight, ...] = record.memo["flights_logging"].get(name, ())
    return found


def _by_time(flights: tuple[Flight, ...]) -> dict[str, tuple[Flight, ...]]:
    """The flights in an aircraft that log each of the times, by its name."""
    index: dict[str, list[Flight]] = {name: [] for name in (*TIMES, INSTRUMENT)}
    for flight in flights:
        if flight.aircraft.device:
            continue
        times = flight.times
        for name, amount in times.items():
            if amount:
                index[name].append(flight)
        if times.get("actual_instrument") or times.get("simulated_instrument"):
            index[INSTRUMENT].append(flight)
        if "night" not in times and flight.off is not None and flight.on is not None:
            index["night"].append(flight)  # the clock tells, or leaves a question
    return {name: tuple(found) for name, found in index.items()}


def logged(flight: Flight, name: str) -> int | None:
    """A logged time in microseconds; instrument time is the actual and the simulated together."""
    if name == INSTRUMENT:
        actual, simulated = flight.times.get("actual_instrument"), flight.times.get("simulated_instrument")
        return None if actual is None and simulated is None else (actual or 0) + (simulated or 0)
    return flight.times.get(name)


def in_devices(record: Record) -> tuple[Flight, ...]:
    """Entries made in a training device."""
    if "in_devices" not in record.memo:
        record.memo["in_devices"] = tuple(flight for flight in record.flights if flight.aircraft.device)
    return record.memo["in_devices"]


def journey(record: Record, flight: Flight) -> Journey:
    """The journey that a flight in an aircraft belongs to; entries of one trip share one."""
    if "journeys" not in record.memo:
        record.memo["journeys"] = _of_trips(record)
    found: dict[str, Journey] = record.memo["journeys"]
    if flight.id not in found:
        found[flight.id] = Journey((flight,), flight.route)
    return found[flight.id]


def over_route(record: Record, flight: Flight) -> Journey:
    """A journey over the points of a flight's, shared by the flights over one route: for its distances."""
    if flight.trip is not None:
        return journey(record, flight)
    if "routes" not in record.memo:
        record.memo["routes"] = {}
    found: dict[int, Journey] = record.memo["routes"]
    if id(flight.route) not in found:
        found[id(flight.route)] = journey(record, flight)
    return found[id(flight.route)]


def _of_trips(record: Record) -> dict[str, Journey]:
    """Entry id -> the journey of its trip, for the entries that name one."""
    trips: dict[str, list[Flight]] = {}
    for flight in record.flights:
        if flight.trip is not None and not flight.aircraft.device:
            trips.setdefault(flight.trip, []).append(flight)
    found: dict[str, Journey] = {}
    for name, entries in trips.items():
        found |= dict.fromkeys([entry.id for entry in entries], _joined(name, entries))
    return found


#: Orders of a trip that are looked at, and steps spent on finding them; past either the order is in doubt.
_MOST_READINGS, _MOST_STEPS = 24, 2_000


def _joined(name: str, entries: list[Flight]) -> Journey:
    """One journey of several entries, in date and off order."""
    if len(entries) == 1:
        return Journey(tuple(entries), entries[0].route)
    if missing := [entry.id for entry in entries if not entry.route]:
        unknown = reason("trip.route-unknown", entries=tuple(map(Named, missing)), trip=name)
        return Journey(tuple(entries), (), doubt=unknown)
    doubt = reason("trip.order-unknown", trip=name)
    orders, complete = _orders(entries)
    if not complete or not orders:
        points = tuple(place for entry in entries for place in entry.route)
        return Journey(
            tuple(entries), points, *((NOTHING, _gap(name, entries)) if complete else (doubt, NOTHING))
        )
    readings = tuple(_connected(order) for order in orders)
    return readings[0] if len(readings) == 1 else replace(readings[0], doubt=doubt, readings=readings)


def _orders(entries: list[Flight]) -> tuple[list[tuple[Flight, ...]], bool]:
    """The orders in which each entry starts where the last ended, and whether all of them were found.

    Where takeoff times of a day are missing, its entries may stand in any order; two of the same route are
    not told apart.
    """
    days: dict[date, list[Flight]] = {}
    for entry in sorted(entries, key=lambda entry: entry.order):
        days.setdefault(entry.date, []).append(entry)
    groups = [
        [[entry] for entry in day] if all(entry.off is not None for entry in day) else [day]
        for _, day in sorted(days.items())
    ]
    pools = [pool for day in groups for pool in day]
    found: list[tuple[Flight, ...]] = []
    steps = 0

    def extend(before: tuple[Flight, ...], left: tuple[Flight, ...], pool: int) -> bool:
        """Add every order that begins with ``before``; False once there is too much to look at."""
        nonlocal steps
        steps += 1
        if steps > _MOST_STEPS or len(found) > _MOST_READINGS:
            return False
        if not left:
            if pool + 1 == len(pools):
                found.append(before)
                return len(found) <= _MOST_READINGS
            return extend(before, tuple(pools[pool + 1]), pool + 1)
        tried: set[tuple[str, ...]] = set()
        for index, entry in enumerate(left):
            keys = tuple(place.key for place in entry.route)
            if keys in tried or (before and before[-1].route[-1].key != keys[0]):
                continue
            tried.add(keys)
            if not extend((*before, entry), left[:index] + left[index + 1 :], pool):
                return False
        return True

    # a trip of very many entries is no flight anybody flew, and is not worth the stack
    complete = len(entries) <= _MOST_READINGS * 10 and extend((), tuple(pools[0]), 0)
    return found, complete


def _gap(name: str, entries: list[Flight]) -> Reason:
    """Why no order makes one flight of the entries."""
    if all(entry.off is not None for entry in entries):
        ordered = sorted(entries, key=lambda entry: entry.order)
        for before, after in pairwise(ordered):
            if before.route[-1].key != after.route[0].key:
                ends, starts = before.route[-1].key, after.route[0].key
                return reason("trip.gap", trip=name, ends=ends, entry=Named(after.id), starts=starts)
    return reason("trip.not-one-flight", trip=name)


def _connected(entries: tuple[Flight, ...]) -> Journey:
    """The journey of entries that join on."""
    points = list(entries[0].route)
    for entry in entries[1:]:
        points.extend(entry.route[1:])
    return Journey(entries, tuple(points))


def minutes(microseconds: int) -> int:
    """Whole minutes, for words beside an exact figure."""
    return round(microseconds / MINUTE)
