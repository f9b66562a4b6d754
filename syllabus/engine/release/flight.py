"""The planned flight, as a document says it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Any

from syllabus.engine.record import reading
from syllabus.engine.record.json_schema import Schema
from syllabus.engine.record.quantities import Bearing, Height, Speed, Visibility
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.record import Aircraft
from syllabus.engine.record.shapes import Most, Type, described, shape, shape_of
from syllabus.engine.record.types import Flag, Instant, Name, Point, Route, Text

MOST_REPORTS = 20
LONGEST = timedelta(days=1)
#: Classes of airspace that reach down to an airport's surface; G says that none is controlled there.
SURFACES = ("B", "C", "D", "E", "G")
TRUE, MAGNETIC = "true", "magnetic"


@shape("PlannedRunway", "A runway: its number alone is good to 5 degrees, and the worst of them counts.")
@dataclass(frozen=True, slots=True)
class Runway:
    name: Annotated[Name, "Such as 18 or 36L."]
    bearing: Annotated[Bearing | None, "From true north, where it is known exactly."] = None


@shape("TypedWeather", "Weather that somebody read or heard, and typed.")
@dataclass(frozen=True, slots=True)
class Typed:
    at: Point
    observed: Instant
    wind_from: Annotated[Bearing | None, "Where the wind comes from; leave it out if it is variable."] = None
    wind_reference: Annotated[
        str | None,
        Type(
            reading.one_of((TRUE, MAGNETIC), "a reference of the wind"),
            {"type": "string", "enum": [TRUE, MAGNETIC]},
        ),
        "A tower or an ATIS says magnetic; written reports are true.",
    ] = None
    wind: Speed | None = None
    gust: Speed | None = None
    visibility: Visibility | None = None
    ceiling: Height | None = None
    no_ceiling: Flag | None = None
    flight_visibility: Annotated[Visibility | None, "In flight, as somebody who flies there tells it."] = None

    def contradictions(self, _: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        if self.wind_from is not None and self.wind_reference is None:
            yield "wind_reference", "missing; say whether the wind's direction is true or magnetic"
        if self.no_ceiling and self.ceiling is not None:
            yield "no_ceiling", "a ceiling is given as well; leave one out"
        if self.gust is not None and self.wind is not None and self.gust < self.wind:
            yield "gust", "less than the wind"


@shape("PlannedWeather", "Reports and forecasts as text, and what was typed.")
@dataclass(frozen=True, slots=True)
class Weather:
    metars: Annotated[tuple[Text, ...], Most(MOST_REPORTS), "METAR or SPECI reports as text."] = ()
    tafs: Annotated[tuple[Text, ...], Most(MOST_REPORTS), "TAF forecasts as text."] = ()
    typed: Annotated[tuple[Typed, ...], Most(MOST_REPORTS)] = ()


def _table(read: reading.Read, value: Schema) -> Type:
    """A table by an airport's identifier."""

    def reader(errors: Errors, given: Any, place: str) -> dict[str, Any] | None:
        if not isinstance(given, Mapping):
            errors.expected("an object by airport", given, place)
            return None
        found = {}
        for key, each in list(given.items())[:MOST_REPORTS]:
            point = reading.point(errors, key, f"{place}.{key}")
            made = read(errors, each, f"{place}.{key}")
            if point is not None and made is not None:
                found[point.key] = made
        return found

    return Type(reader, {"type": "object", "additionalProperties": value, "maxProperties": MOST_REPORTS})


_RUNWAYS = _table(shape_of(Runway).read, described(shape_of(Runway)))
_RUNWAYS = Type(
    _RUNWAYS.read,
    _RUNWAYS.schema,
    lambda table: {key: shape_of(Runway).write(each) for key, each in table.items()},
    uses=(shape_of(Runway),),
)
_SURFACES = _table(
    reading.one_of(SURFACES, "a class of airspace"), {"type": "string", "enum": list(SURFACES)}
)


@shape("PlannedFlight", "A solo flight that is planned, with the weather that is known for it.")
@dataclass(frozen=True, slots=True)
class PlannedFlight:
    """``route``: the airport of departure, then every landing; one airport alone is a local flight."""

    aircraft: Aircraft
    route: Route
    off: Instant
    on: Instant
    via_class_b: Annotated[tuple[Name, ...], Most(10), "Class B areas that it is planned through."] = ()
    runways: Annotated[Mapping[str, Runway] | None, _RUNWAYS, "The runway to be used, by airport."] = None
    surface: Annotated[
        Mapping[str, str] | None, _SURFACES, "The class of the airspace at the surface, by airport."
    ] = None
    weather: Weather | None = None
    confirmed: Annotated[
        tuple[Name, ...], Most(50), "Ids of the lines that the instructor confirmed, one by one."
    ] = ()

    def contradictions(self, _: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        if not self.route:
            yield "route", "is empty; name at least the airport of departure"
        if self.off and self.on and self.on <= self.off:
            yield "on", "is not after off"
        elif self.off and self.on and self.on - self.off > LONGEST:
            yield "on", f"is more than {LONGEST.days} day after off"
