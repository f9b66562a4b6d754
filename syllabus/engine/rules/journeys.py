"""Journeys: flights as a rule on a single flight sees them, and the distances over their routes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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
from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules.facts import YES, Fact
from syllabus.engine.rules.reasons import NOTHING, Limit, Named, Reason, reason
from syllabus.engine.time.amounts import distance


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
    found: dict[int, Journey] = record.memo.setdefault("routes", {})
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
    orders = _Orders(entries)
    if not orders.complete or not orders.found:
        points = tuple(place for entry in entries for place in entry.route)
        if orders.complete:
            return Journey(tuple(entries), points, broken=_gap(name, entries))
        return Journey(tuple(entries), points, doubt=doubt)
    readings = tuple(_connected(order) for order in orders.found)
    return readings[0] if len(readings) == 1 else replace(readings[0], doubt=doubt, readings=readings)


class _Orders:
    """The orders of a trip in which each entry starts where the last ended, and whether all were found.

    Where takeoff times of a day are missing, its entries may stand in any order; two of the same route are
    not told apart.
    """

    def __init__(self, entries: list[Flight]):
        self.found: list[tuple[Flight, ...]] = []
        self._pools, self._steps = _pools(entries), 0
        # a trip of very many entries is no flight anybody flew, and is not worth the stack
        few = len(entries) <= _MOST_READINGS * 10
        self.complete = few and self._extend((), tuple(self._pools[0]), 0)

    def _extend(self, before: tuple[Flight, ...], left: tuple[Flight, ...], pool: int) -> bool:
        """Add every order that begins with ``before``; False once there is too much to look at."""
        self._steps += 1
        if self._steps > _MOST_STEPS or len(self.found) > _MOST_READINGS:
            return False
        if left:
            for index in _following(before, left):
                if not self._extend((*before, left[index]), left[:index] + left[index + 1 :], pool):
                    return False
            return True
        if pool + 1 < len(self._pools):
            return self._extend(before, tuple(self._pools[pool + 1]), pool + 1)
        self.found.append(before)
        return len(self.found) <= _MOST_READINGS


def _pools(entries: list[Flight]) -> list[list[Flight]]:
    """The entries in order, those together whose order within their day nothing tells."""
    days: dict[date, list[Flight]] = {}
    for entry in sorted(entries, key=lambda entry: entry.order):
        days.setdefault(entry.date, []).append(entry)
    pools: list[list[Flight]] = []
    for _, day in sorted(days.items()):
        pools += [[entry] for entry in day] if all(entry.off is not None for entry in day) else [day]
    return pools


def _following(before: tuple[Flight, ...], left: tuple[Flight, ...]) -> Iterator[int]:
    """Which of the entries left may come next, one of each route."""
    tried: set[tuple[str, ...]] = set()
    for index, entry in enumerate(left):
        keys = tuple(place.key for place in entry.route)
        if keys in tried or (before and before[-1].route[-1].key != keys[0]):
            continue
        tried.add(keys)
        yield index


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
