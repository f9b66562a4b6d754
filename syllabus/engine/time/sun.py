"""Where the Sun stands, and so when it is night.

Night (14 CFR 1.1) is the time between the end of evening civil twilight and the beginning of morning
civil twilight, by the times that the Air Almanac publishes, put into local time. Civil twilight ends where
the Sun's centre is geometrically 6 degrees below the horizon (the US Naval Observatory's definition);
this module computes that instant with the ephem library, at the aircraft's own position, and never rounds
it to a minute. The Almanac prints whole minutes, so a published limit and the computed one can differ by
half a minute: a landing seconds from the limit is for a person to judge. Neither elevation nor terrain is
corrected for; the published times ignore both.

Sunrise and sunset, which 14 CFR 61.57(b) counts its hour from, are another limit: the upper edge of the
disk on a level horizon under average refraction, which puts the centre 50 arcminutes below.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import lru_cache
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo

import ephem

from syllabus.engine import effort
from syllabus.engine.places.geography import Degrees, Place, along, geodesic_metres

CIVIL_TWILIGHT_DEG = -6.0
"""Altitude of the Sun's centre at the limit of civil twilight, no refraction."""
SUNRISE_DEG = -50 / 60
"""Altitude of the Sun's centre at sunrise and sunset: 34' of refraction and 16' of radius."""
LONGEST_FLIGHT = timedelta(days=31)
_NO_TIME = timedelta(0)
"""More than this between off and on is a slip in a date, not a flight."""

_EPHEM_ZERO = datetime(1899, 12, 31, 12, tzinfo=UTC)  # ephem counts days from here
_DAY = timedelta(days=1)
_SECONDS_PER_DAY = 86_400
_RESOLUTION_S = 0.25
_EVENT_RESOLUTION_DAYS = 0.01 / _SECONDS_PER_DAY

# Bounds on how fast the Sun's altitude can change, in degrees per second: the earth's turn (per sidereal
# day, times the cosine of the latitude), the Sun's drift in declination, and the tilt of a moving aircraft's
# horizon (per metre flown, at the ellipsoid's smallest radius of curvature, 6,335 km).
_TURN = 360 / 86_164.0
_DRIFT = 0.41 / _SECONDS_PER_DAY
_TILT_PER_METRE = math.degrees(1 / 6_335_000)
_MARGIN = 1.01


@dataclass(frozen=True, slots=True)
class Twilight:
    """The Sun's limits around one local noon, as aware datetimes in the zone asked for.

    A limit is None where the Sun does not cross it. ``polar`` speaks of civil twilight: "day" when the
    Sun stays above -6 degrees from one midnight to the next (no night at all), "night" when it stays
    below, else None. Where night stops or starts for the season within the day, only one of the two
    crossings is None.
    """

    begin_morning: datetime | None
    sunrise: datetime | None
    sunset: datetime | None
    end_evening: datetime | None
    polar: Literal["day", "night"] | None


def sun_altitude(at: datetime, lat: float, lon: float) -> float:
    """Altitude of the Sun's centre in degrees above the level horizon, without refraction.

    Shapes:  ``at`` is aware; ``lat`` and ``lon`` are degrees, north and east positive.
    Raises:  ValueError for a naive ``at``.
    """
    return _Sun().altitude(_ephem_days(at, "at"), lat, lon)


def is_night(at: datetime, place: Place) -> bool | None:
    """Whether it is night (14 CFR 1.1) at a place, or None when its position is unknown.

    Raises: ValueError for a naive ``at``.
    """
    days = _ephem_days(at, "at")
    if place.lat is None or place.lon is None:
        return None
    return _Sun().altitude(days, place.lat, place.lon) < CIVIL_TWILIGHT_DEG


@lru_cache(maxsize=1 << 12)
def civil_twilight(day: date, lat: float, lon: float, tz: str | tzinfo) -> Twilight:
    """Morning and evening around the local noon of ``day`` at a place.

    The noon is the Sun's transit that comes first after the local midnight that starts ``day``; the
    morning is the half turn before it and the evening the half turn after. So the evening of a local date
    is always that date's, never its neighbour's by UTC; and near midsummer in high latitudes, it may end
    after the next local midnight.

    Shapes:  ``lat``, ``lon`` in degrees, north and east positive; ``tz`` an IANA name or a tzinfo.
    Raises:  zoneinfo.ZoneInfoNotFoundError for an unknown zone.
    """
    zone = ZoneInfo(tz) if isinstance(tz, str) else tz
    sun = _Sun()
    midnight = _ephem_days(datetime(day.year, day.month, day.day, tzinfo=zone), "day")
    before, noon, after = sun.noon_after(midnight, lat, lon)

    def crossing(limit: float, night: float) -> datetime | None:
        """When the altitude passes the limit between a midnight and noon, whichever comes first."""
        if sun.altitude(noon, lat, lon) < limit or sun.altitude(night, lat, lon) >= limit:
            return None
        low, high = night, noon
        while abs(high - low) > _EVENT_RESOLUTION_DAYS:
            middle = (low + high) / 2
            if sun.altitude(middle, lat, lon) < limit:
                low = middle
            else:
                high = middle
        return (_EPHEM_ZERO + timedelta(days=high)).astimezone(zone)

    morning, evening = crossing(CIVIL_TWILIGHT_DEG, before), crossing(CIVIL_TWILIGHT_DEG, after)
    polar: Literal["day", "night"] | None = None
    if morning is None and evening is None:
        polar = "night" if sun.altitude(noon, lat, lon) < CIVIL_TWILIGHT_DEG else "day"
    return Twilight(morning, crossing(SUNRISE_DEG, before), crossing(SUNRISE_DEG, after), evening, polar)


def night_time(off: datetime, on: datetime, route: Sequence[Place]) -> timedelta | None:
    """How much of a flight was at night (14 CFR 1.1), in whole seconds; None when a position is unknown.

    The aircraft is taken to move along the geodesics between the points of ``route`` at one speed from
    ``off`` to ``on``; a flight that names one place, or ends where it never left, is taken to stay there.
    It is night where the Sun's centre is more than 6 degrees below the horizon of the place reached, so a
    polar night is all night and a polar day none. The flight is split until each piece is wholly night,
    wholly not, or a quarter second long, by a bound on how fast the Sun's altitude can change: no short
    spell is stepped over.

    Shapes:  ``off`` and ``on`` are aware; zones may differ, a change of the clocks between them is
             allowed for.
    Raises:  ValueError for a naive time, ``on`` before ``off``, or more than 31 days between them.
    """
    start, end = _since_zero(off, "off"), _since_zero(on, "on")
    flown = end - start
    if flown < _NO_TIME:
        raise ValueError(f"on ({on.isoformat()}) is before off ({off.isoformat()})")
    if flown > LONGEST_FLIGHT:
        raise ValueError(
            f"off ({off.isoformat()}) to on ({on.isoformat()}) is more than "
            f"{LONGEST_FLIGHT.days} days; check the dates"
        )
    points = tuple(
        [(place.lat, place.lon) for place in route if place.lat is not None and place.lon is not None]
    )
    if not points or len(points) < len(route):
        return None
    return min(flown, timedelta(seconds=round(_night_seconds(start / _DAY, end / _DAY, tuple(points)))))


class _Sun:
    """One Sun seen by one observer. ephem changes both as it computes, so they are never shared by
    threads."""

    __slots__ = ("_observer", "_sun")

    def __init__(self) -> None:
        self._sun = ephem.Sun()
        self._observer = ephem.Observer()
        self._observer.pressure = 0  # no refraction: the limits are geometric

    def altitude(self, days: float, lat: float, lon: float) -> float:
        """Degrees, at an instant in ephem's days and a place in degrees."""
        observer = self._observer
        observer.lat, observer.lon, observer.date = math.radians(lat), math.radians(lon), days
        self._sun.compute(observer)
        return math.degrees(self._sun.alt)

    def noon_after(self, days: float, lat: float, lon: float) -> tuple[float, float, float]:
        """The midnight before, the noon, the midnight after: transits in ephem's days."""
        observer = self._observer
        observer.lat, observer.lon = math.radians(lat), math.radians(lon)
        noon = float(observer.next_transit(self._sun, start=days))
        before = float(observer.previous_antitransit(self._sun, start=noon))
        after = float(observer.next_antitransit(self._sun, start=noon))
        return before, noon, after


@lru_cache(maxsize=1 << 15)
def _night_seconds(start: float, end: float, points: tuple[Degrees, ...]) -> float:
    """Seconds of night from start to end (ephem's days) along the points (degrees)."""
    sun = _Sun()
    legs = [(a, b, metres) for a, b in pairwise(points) if (metres := geodesic_metres(a, b)) > 0]
    if not legs:
        return _night_on_leg(sun, start, end, lambda share: points[0], _fastest(points[0], points[0], 0.0))
    total = sum(metres for _, _, metres in legs)
    night, flown = 0.0, 0.0
    for a, b, metres in legs:
        leg_start = start + (end - start) * flown / total
        flown += metres
        leg_end = start + (end - start) * flown / total
        if leg_end > leg_start:
            speed = metres / ((leg_end - leg_start) * _SECONDS_PER_DAY)
            night += _night_on_leg(sun, leg_start, leg_end, along(a, b), _fastest(a, b, speed))
    return night


def _fastest(a: Degrees, b: Degrees, speed: float) -> float:
    """A bound on the change of the Sun's altitude along a leg flown at ``speed`` metres a second, degrees
    a second.

    The turn of the earth lifts the Sun fastest at the leg's lowest latitude, which a geodesic has at one
    of its ends, or at the equator where it crosses that.
    """
    lowest = min(abs(a[0]), abs(b[0])) if a[0] * b[0] > 0 else 0.0
    return _MARGIN * (_TURN * math.cos(math.radians(lowest)) + _DRIFT + speed * _TILT_PER_METRE)


def _night_on_leg(
    sun: _Sun, start: float, end: float, where: Callable[[float], Degrees], fastest: float
) -> float:
    """Seconds of night on one leg, ``where`` giving the position for the share flown."""
    length = (end - start) * _SECONDS_PER_DAY
    night = 0.0
    pieces = [(0.0, length)]
    while pieces:
        effort.check()
        first, last = pieces.pop()
        middle = (first + last) / 2
        here = where(middle / length if length else 0.0)
        above = sun.altitude(start + middle / _SECONDS_PER_DAY, *here) - CIVIL_TWILIGHT_DEG
        if last - first <= _RESOLUTION_S or abs(above) > fastest * (last - first) / 2:
            if above < 0:
                night += last - first
        else:
            pieces += [(first, middle), (middle, last)]
    return night


def _ephem_days(at: datetime, what: str) -> float:
    """An aware instant in days of UTC since ephem's zero."""
    return _since_zero(at, what) / _DAY


def _since_zero(at: datetime, what: str) -> timedelta:
    """An aware instant as the time from ephem's zero.

    Two instants of one zone subtract by their clock faces, so a change of the clocks between them would be
    lost; from the zero, which is in UTC, it is not.
    """
    if at.utcoffset() is None:
        raise ValueError(
            f"{what} ({at.isoformat()}) has no offset from UTC; write it like 2026-03-02T19:40:00-06:00"
        )
    return at - _EPHEM_ZERO
