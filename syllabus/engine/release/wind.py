"""Headwind and crosswind on a runway, and what magnetic north is."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from pygeomag import GeoMag

from syllabus.engine.places.geography import Place
from syllabus.engine.release.flight import Runway

#: A runway's number is its magnetic bearing to the nearest ten degrees.
NUMBER_IS_GOOD_TO = 5


@dataclass(frozen=True, slots=True)
class OnRunway:
    """Components in knots, ``head`` negative for a tailwind. ``cross`` is the worst that it can be."""

    head: float
    cross: float


def components(wind_from: float, speed: float, runway: float) -> OnRunway:
    """The components of a wind on a runway, directions from the same north.

    >>> components(270, 20, 240).cross == 20 * math.sin(math.radians(30))
    True
    """
    angle = math.radians(wind_from - runway)
    return OnRunway(speed * math.cos(angle), abs(speed * math.sin(angle)))


def worst(
    wind_from: float | None, speed: float, bearings: tuple[float, float], spread: float = 0
) -> OnRunway:
    """The worst components for a runway whose bearing lies between two, and a wind within ``spread`` degrees
    of its direction; a variable wind, of no direction, counts as full crosswind and as full tailwind.
    """
    if wind_from is None:
        return OnRunway(-speed, speed)
    low, high = bearings[0] - spread, bearings[1] + spread
    tried = [low, high, *_between(low, high, wind_from)]
    found = [components(wind_from, speed, each) for each in tried]
    return OnRunway(min(each.head for each in found), max(each.cross for each in found))


def _between(low: float, high: float, wind_from: float) -> Iterator[float]:
    """Bearings in the range at which a component is at its worst: across the wind, and with it."""
    for worst_at in (wind_from + 90, wind_from - 90, wind_from + 180):
        if (worst_at - low) % 360 <= high - low:
            yield worst_at


@lru_cache(maxsize=1)
def _model() -> GeoMag:
    return GeoMag()


def declination(place: Place, at: datetime) -> float | None:
    """How far magnetic north lies east of true north, in degrees, at sea level.

    None where the World Magnetic Model does not cover the day, or the position is unknown.
    """
    first, last = _model().life_span
    year = at.year + (at.timetuple().tm_yday - 1) / 366
    if not first <= year < last or place.lat is None or place.lon is None:
        return None
    return float(_model().calculate(glat=place.lat, glon=place.lon, alt=0, time=year).d)


def true_bearings(runway: Runway, place: Place, at: datetime) -> tuple[float, float] | None:
    """Between which true bearings a runway lies; None where its number or magnetic north is not known."""
    if runway.bearing is not None:
        return float(runway.bearing), float(runway.bearing)
    number = runway.name.strip().upper().rstrip("LRC")
    north = declination(place, at)
    if not number.isdecimal() or not 1 <= int(number) <= 36 or north is None:
        return None
    middle = int(number) * 10 + north
    return middle - NUMBER_IS_GOOD_TO, middle + NUMBER_IS_GOOD_TO
