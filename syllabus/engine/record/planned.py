"""A flight as planned: what is asked about a solo flight before it is flown."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Any

from syllabus.engine.record.record import Aircraft, Flight
from syllabus.engine.record.shapes import Most, shape
from syllabus.engine.record.types import Instant, Name, Route, Text

_MOST_REPORTS = 20
_LONGEST = timedelta(hours=24)


@shape("PlannedWeather")
@dataclass(frozen=True, slots=True)
class PlannedWeather:
    """Reports and forecasts as they were issued, to be read by the instructor."""

    metars: Annotated[tuple[Text, ...], Most(_MOST_REPORTS)] = ()
    tafs: Annotated[tuple[Text, ...], Most(_MOST_REPORTS)] = ()


@shape("PlannedFlight", "One solo flight as planned.")
@dataclass(frozen=True, slots=True)
class PlannedFlight:
    aircraft: Aircraft
    route: Annotated[Route, "The airport of departure, each landing, and the return."]
    off: Annotated[Instant, "Planned takeoff."]
    on: Annotated[Instant, "Planned return."]
    via_class_b: Annotated[tuple[Name, ...], Most(10), "Class B areas entered."] = ()
    weather: PlannedWeather | None = None

    def contradictions(self, said: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """A return before the takeoff or more than a day after it, and a flight without a route."""
        if "route" in said and not self.route:
            yield "route", "is empty; name the airport of departure and each landing"
        if self.off and self.on and not timedelta() < self.on - self.off <= _LONGEST:
            yield "on", f"{self.on} is not within 24 hours after the takeoff, {self.off}"

    def as_flight(self, in_class_b: str) -> Flight:
        """The entry that it would be; Class B areas become purposes with that prefix."""
        return Flight(
            id="planned",
            date=self.off.date(),
            aircraft=self.aircraft,
            route=self.route,
            off=self.off,
            on=self.on,
            purposes=tuple(f"{in_class_b}{each}" for each in self.via_class_b),
        )
