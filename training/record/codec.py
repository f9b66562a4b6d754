"""How each kind of entry stands in its table: every field with its columns, there and back in one place."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from django.db.models import F, TextField
from django.db.models.functions import Cast

from syllabus.engine import geography, reading
from syllabus.engine import record as engine
from syllabus.engine.geography import Place
from training import models

Row = tuple[Any, ...]
#: The column, and the field of an entry, that says who vouches for it: read with an entry, never written.
PROVENANCE = "provenance"
MICROSECOND = dt.timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Field:
    """One field of an entry. ``write`` gives as many values as there are columns, ``read`` takes as many.

    A column of JSON is written as plain values and read as the text it is kept as (``is_json``): the same
    few routes stand in a record again and again, and each text is understood once.
    """

    name: str
    columns: tuple[str, ...]
    write: Callable[[Any], Row]
    read: Callable[..., Any]
    is_json: bool = False


# Values of a column


def as_text(column: str) -> Cast:
    return Cast(F(column), TextField())


def duration(microseconds: int | None) -> dt.timedelta | None:
    return None if microseconds is None else dt.timedelta(microseconds=microseconds)


def microseconds(lasted: dt.timedelta) -> int:
    return (lasted.days * 86_400 + lasted.seconds) * 1_000_000 + lasted.microseconds


_zone = lru_cache(dt.timezone)


def split(instant: dt.datetime | None) -> Row:
    """An instant, and the offset from UTC of the clock it was read from.

    The instant goes to the database in UTC: PostgreSQL refuses an offset of sixteen hours, a document does
    not.
    """
    return (None, None) if instant is None else (instant.astimezone(dt.UTC), instant.utcoffset())


def joined(at: dt.datetime | None, offset: dt.timedelta | None) -> dt.datetime | None:
    if at is None:
        return None
    return at.astimezone(_zone(offset)) if offset else at.astimezone(dt.UTC)


def write_point(place: Place | None) -> Any:
    return None if place is None else reading.write_point(place)


def read_point(point: Any) -> Place | None:
    """The place a stored point means.

    An identifier that a newer airport table no longer knows stays, as a place nobody has located: the rules
    then ask for its position.
    """
    if point is None:
        return None
    if isinstance(point, str):
        try:
            return geography.airports().find(point)
        except geography.UnknownAirport:
            return geography.position(point, None, None)
    return geography.position(point.get("name", ""), point.get("lat"), point.get("lon"))


def write_route(route: tuple[Place, ...]) -> list[Any]:
    return [reading.write_point(place) for place in route]


_remembered = lru_cache(maxsize=1 << 12)


@_remembered
def point_of(text: str | None) -> Place | None:
    """The place of a point kept as JSON text."""
    return None if text is None else read_point(json.loads(text))


@_remembered
def route_of(text: str) -> tuple[Place | None, ...]:
    return tuple([read_point(point) for point in json.loads(text)])


@_remembered
def texts_of(text: str | None) -> tuple[str, ...] | None:
    return None if text is None else tuple(json.loads(text))


# Fields


def as_it_stands(value: Any) -> Any:
    return value


def plain(name: str, column: str | None = None) -> Field:
    """A value that the column holds as it is."""
    return Field(name, (column or name,), lambda value: (value,), as_it_stands)


def _times_written(times: Any) -> Row:
    return tuple(duration(times.get(name)) for name in engine.TIMES)


def _times_read(*logged: dt.timedelta | None) -> Any:
    return MappingProxyType(
        {
            name: microseconds(lasted)
            for name, lasted in zip(engine.TIMES, logged, strict=True)
            if lasted is not None
        }
    )


def _aircraft_written(aircraft: engine.Aircraft) -> Row:
    return (aircraft.registration, aircraft.model, aircraft.category, aircraft.klass, aircraft.device)


def _instructor_written(instructor: engine.Instructor | None) -> Row:
    if instructor is None:
        return (None, None, None)
    kind = None if instructor.kind == engine.FLIGHT_INSTRUCTOR else instructor.kind
    return (instructor.name, instructor.certificate, kind)


@lru_cache(maxsize=1 << 10)
def _instructor_read(name: str | None, certificate: str | None, kind: str | None) -> engine.Instructor | None:
    if name is None:
        return None
    return engine.Instructor(name, certificate, kind or engine.FLIGHT_INSTRUCTOR)


ID = plain("id", "entry_id")
RECORDED = Field("recorded", ("said_recorded_at", "said_recorded_offset"), split, joined)
INSTRUCTOR = Field(
    "instructor",
    ("instructor_name", "instructor_certificate", "instructor_kind"),
    _instructor_written,
    _instructor_read,
)
AIRCRAFT = Field(
    "aircraft",
    ("aircraft_registration", "aircraft_model", "aircraft_category", "aircraft_class", "aircraft_device"),
    _aircraft_written,
    lru_cache(maxsize=1 << 10)(engine.Aircraft),
)
ROUTE = Field("route", ("route",), lambda route: (write_route(route),), route_of, is_json=True)


def time(name: str) -> Field:
    return Field(name, (name,), lambda value: (duration(value),), microseconds)


def instant(name: str) -> Field:
    """An instant; ``in_`` stands in the columns ``in_at`` and ``in_offset``."""
    column = name.rstrip("_")
    return Field(name, (f"{column}_at", f"{column}_offset"), split, joined)


def listed(name: str) -> Field:
    """A tuple of texts, or None, in a column of JSON."""
    return Field(
        name,
        (name,),
        lambda value: (None if value is None else list(value),),
        texts_of,
        is_json=True,
    )


@dataclass(frozen=True, eq=False)
class Part:
    """One list of the record document, and the table its entries stand in."""

    name: str
    made: Callable[..., Any]
    model: Any
    fields: tuple[Field, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(column for field in self.fields for column in field.columns)

    @property
    def selected(self) -> tuple[str | Cast, ...]:
        """What ``reader`` wants of a row: the columns, those of JSON as text, and who vouches for it."""
        of_fields = (
            as_text(column) if field.is_json else column for field in self.fields for column in field.columns
        )
        return (*of_fields, PROVENANCE)

    def write(self, entry: Any) -> Row:
        """The entry's columns, in the order of ``columns``; who vouches for it is not the entry's to say."""
        return tuple(value for field in self.fields for value in field.write(getattr(entry, field.name)))

    def reader(self) -> Callable[[Row], dict[str, Any]]:
        """Turns what was ``selected`` back into the entry's fields.

        Which field takes which columns is worked out once for all rows; a column that is taken as it
        stands costs no call.
        """
        same: list[tuple[str, int]] = []
        one: list[tuple[str, Callable[..., Any], int]] = []
        several: list[tuple[str, Callable[..., Any], slice]] = []
        at = 0
        for field in self.fields:
            width = len(field.columns)
            if field.read is as_it_stands:
                same.append((field.name, at))
            elif width == 1:
                one.append((field.name, field.read, at))
            else:
                several.append((field.name, field.read, slice(at, at + width)))
            at += width
        same.append((PROVENANCE, at))

        def read(row: Row) -> dict[str, Any]:
            found = {name: row[index] for name, index in same}
            for name, reads, index in one:
                found[name] = reads(row[index])
            for name, reads, span in several:
                found[name] = reads(*row[span])
            return found

        return read


FLIGHTS = Part(
    "flights",
    engine.Flight,
    models.Flight,
    (
        ID,
        plain("date"),
        AIRCRAFT,
        plain("trip"),
        ROUTE,
        instant("out"),
        instant("off"),
        instant("on"),
        instant("in_"),
        Field("times", engine.TIMES, _times_written, _times_read),
        INSTRUCTOR,
        listed("purposes"),
        plain("remarks"),
        RECORDED,
    ),
)
CERTIFICATES = Part(
    "certificates",
    engine.Certificate,
    models.Certificate,
    (ID, plain("kind"), plain("issued"), plain("category"), plain("klass"), RECORDED),
)
PARTS: tuple[Part, ...] = (
    CERTIFICATES,
    FLIGHTS,
    Part(
        "ground",
        engine.GroundLesson,
        models.GroundLesson,
        (ID, plain("date"), time("time"), plain("topic"), INSTRUCTOR, RECORDED),
    ),
    Part(
        "items",
        engine.ItemGrade,
        models.ItemGrade,
        (
            ID,
            plain("item"),
            plain("date"),
            plain("grade"),
            plain("flight"),
            INSTRUCTOR,
            plain("remarks"),
            RECORDED,
        ),
    ),
    Part(
        "documents",
        engine.Document,
        models.Document,
        (
            ID,
            plain("kind"),
            plain("issued"),
            plain("klass"),
            plain("expires"),
            plain("aircraft_model"),
            plain("remarks"),
            RECORDED,
        ),
    ),
    Part(
        "tests",
        engine.Test,
        models.Test,
        (
            ID,
            plain("kind"),
            plain("date"),
            plain("result"),
            plain("score"),
            plain("aircraft_model"),
            listed("deficient_codes"),
            INSTRUCTOR,
            RECORDED,
        ),
    ),
    Part(
        "endorsements",
        engine.Endorsement,
        models.Endorsement,
        (
            ID,
            plain("kind"),
            plain("given"),
            INSTRUCTOR,
            plain("aircraft_model"),
            plain("category"),
            plain("klass"),
            plain("test"),
            plain("similar_model"),
            Field("airport", ("airport",), lambda value: (write_point(value),), point_of, is_json=True),
            plain("area"),
            ROUTE,
            plain("flight_date"),
            plain("training_date"),
            plain("expires"),
            plain("conditions"),
            RECORDED,
        ),
    ),
)

LANDINGS_SELECTED = (as_text("at"), "takeoffs", "landings", "period", "full_stop", "pattern", "towered")
LANDING_COLUMNS = ("at", "takeoffs", "landings", "period", "full_stop", "pattern", "towered")


def write_landings(flight: engine.Flight) -> list[Row]:
    """One row for each group of landings, in the order of the entry."""
    return [
        (
            write_point(each.at),
            each.takeoffs,
            each.landings,
            each.period,
            each.full_stop,
            each.pattern,
            each.towered,
        )
        for each in flight.landings
    ]


@_remembered
def read_landing(row: Row) -> engine.Landings:
    """The landings of a row in the order of the columns, the place as text."""
    return engine.Landings(point_of(row[0]), *row[1:])
