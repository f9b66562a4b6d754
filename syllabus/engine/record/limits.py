"""Limits of solo flight, as quantities: an instructor's in an endorsement, or a school's for every solo."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import time
from typing import Annotated, Any

from syllabus.engine.errors import InputError
from syllabus.engine.record.quantities import Distance, Height, Minutes, Speed, Visibility
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type, shape, shape_of
from syllabus.engine.record.types import Count

_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])", re.ASCII)


def _time_of_day(errors: Errors, value: Any, place: str) -> time | None:
    found = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        errors.add(place, f"{str(value)[:40]!r} is not a time of day; write it as 08:30 or 17:00")
        return None
    return time(int(found[1]), int(found[2]))


Clock = Annotated[
    time,
    Type(
        _time_of_day,
        {"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$", "examples": ["17:00"]},
        lambda value: f"{value:%H:%M}",
        component="TimeOfDay",
    ),
]


@shape("FlightLimits", "Limits of solo flight; each key is one limit, and an absent one is none.")
@dataclass(frozen=True, slots=True)
class Limits:
    """What an instructor put into an endorsement (14 CFR 61.89(a)(8)), or a school asks of every solo."""

    wind: Annotated[Speed | None, "The most wind, gusts included."] = None
    gust: Annotated[Speed | None, "The most that gusts may be above the wind."] = None
    crosswind: Annotated[Speed | None, "The most crosswind, gusts included."] = None
    ceiling: Annotated[Height | None, "The lowest ceiling."] = None
    visibility: Annotated[Visibility | None, "The least visibility."] = None
    distance: Annotated[Distance | None, "The farthest from the airport of departure."] = None
    earliest: Annotated[Clock | None, "No takeoff before, at the airport of departure."] = None
    latest: Annotated[Clock | None, "Back by, at the airport of departure."] = None
    days_since_dual: Annotated[Count | None, "The most days since a flight with an instructor."] = None
    daylight_margin: Annotated[Minutes | None, "Back so long before evening civil twilight ends."] = None

    def __bool__(self) -> bool:
        return any(getattr(self, each.name) is not None for each in fields(self))

    def contradictions(self, _: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        if self.earliest and self.latest and self.latest <= self.earliest:
            yield "latest", f"{self.latest:%H:%M} is not after the earliest, {self.earliest:%H:%M}"


class LimitsError(InputError):
    """The limits cannot be read."""

    what = "the limits"


def read_limits(value: object) -> Limits:
    """Limits as in an endorsement. Raises: LimitsError with every error."""
    errors = Errors()
    found: Limits = shape_of(Limits).read(errors, value, "")
    errors.stop(LimitsError)
    return found
