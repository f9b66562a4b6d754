"""Converts each kind of entry to columns, and back.

``syllabus.engine.record.record`` declares the fields of an entry; this module says which columns each type
has.
"""

import datetime as dt
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from operator import attrgetter
from types import MappingProxyType
from typing import Any

from django.db.models import F, TextField
from django.db.models.functions import Cast

from syllabus.engine.places import geography
from syllabus.engine.places.geography import Place
from syllabus.engine.record import reading, types
from syllabus.engine.record import record as engine
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.shapes import AnyType, ListType, shape_of
from training import models

Row = tuple[Any, ...]
#: The provenance, a column that is read with an entry and never written from it.
PROVENANCE = "provenance"
#: The same, and the landings, which have a table of their own.
NOT_WRITTEN = (PROVENANCE, "landings")


@dataclass(frozen=True, slots=True)
class Field:
    """One field of an entry. ``write`` returns, and ``read`` takes, one value for each column.

    A JSON column is written as plain values and read as text (``is_json``), because the same few routes occur
    again and again and each text is parsed only once.
    """

    name: str
    columns: tuple[str, ...]
    write: Callable[[Any], Row]
    read: Callable[..., Any]
    is_json: bool = False


def as_text(column: str) -> Cast:
    return Cast(F(column), TextField())


def duration(microseconds: int | None) -> dt.timedelta | None:
    return None if microseconds is None else dt.timedelta(microseconds=microseconds)


def microseconds(lasted: dt.timedelta) -> int:
    return (lasted.days * 86_400 + lasted.seconds) * 1_000_000 + lasted.microseconds


_zone = lru_cache(dt.timezone)


def split(instant: dt.datetime | None) -> Row:
    """An instant, and the UTC offset of the clock it was read from.

    The database gets the instant in UTC: PostgreSQL refuses an offset of sixteen hours, which a document may
    have.
    """
    return (None, None) if instant is None else (instant.astimezone(dt.UTC), instant.utcoffset())


def joined(at: dt.datetime | None, offset: dt.timedelta | None) -> dt.datetime | None:
    if at is None:
        return None
    return at.astimezone(_zone(offset)) if offset else at.astimezone(dt.UTC)


def write_point(place: Place | None) -> Any:
    return None if place is None else reading.write_point(place)


def read_point(point: Any) -> Place | None:
    """The waypoint of a stored point.

    An identifier that a newer airport table no longer has becomes a waypoint of unknown position.
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
    """The waypoint of a point stored as JSON text."""
    return None if text is None else read_point(json.loads(text))


@_remembered
def route_of(text: str) -> tuple[Place | None, ...]:
    return tuple([read_point(point) for point in json.loads(text)])


@_remembered
def texts_of(text: str | None) -> tuple[str, ...] | None:
    return None if text is None else tuple(json.loads(text))


def as_it_stands(value: Any) -> Any:
    return value


def plain(name: str, column: str | None = None) -> Field:
    """A value stored as it is."""
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


def time(name: str) -> Field:
    return Field(name, (name,), lambda value: (duration(value),), microseconds)


def instant(name: str) -> Field:
    """An instant; ``in_`` is in the columns ``in_at`` and ``in_offset``."""
    column = name.rstrip("_")
    return Field(name, (f"{column}_at", f"{column}_offset"), split, joined)


def recorded(name: str) -> Field:
    """When the document says that the entry was written down, not when it was recorded here."""
    return Field(name, ("said_recorded_at", "said_recorded_offset"), split, joined)


def logged(name: str) -> Field:
    return Field(name, engine.TIMES, _times_written, _times_read)


def route(name: str) -> Field:
    return Field(name, (name,), lambda value: (write_route(value),), route_of, is_json=True)


def point(name: str) -> Field:
    return Field(name, (name,), lambda value: (write_point(value),), point_of, is_json=True)


def limits(name: str) -> Field:
    """Limits of solo flight, or None, in a column of JSON."""
    shape = shape_of(Limits)
    return Field(
        name,
        (name,),
        lambda value: (shape.write(value) if value else None,),
        _limits_of,
        is_json=True,
    )


@lru_cache(maxsize=1 << 8)
def _limits_of(text: str | None) -> Limits | None:
    """What is stored was read once, so that it has no errors."""
    said = None if text is None else json.loads(text)
    found: Limits | None = shape_of(Limits).read(reading.Errors(), said, "limits") if said else None
    return found


def listed(name: str) -> Field:
    """A tuple of texts, or None, in a column of JSON."""
    return Field(
        name,
        (name,),
        lambda value: (None if value is None else list(value),),
        texts_of,
        is_json=True,
    )


def instructor(name: str) -> Field:
    columns = tuple(f"{name}_{each.key}" for each in shape_of(engine.Instructor).fields)
    return Field(name, columns, _instructor_written, _instructor_read)


def aircraft(name: str) -> Field:
    keys = shape_of(engine.Aircraft).fields
    return Field(
        name,
        tuple(f"{name}_{each.key}" for each in keys),
        attrgetter(*(each.name for each in keys)),
        lru_cache(maxsize=1 << 10)(engine.Aircraft),
    )


#: The columns of each type; every other type is one column of the same name.
_BY_TYPE: Mapping[AnyType, Callable[[str], Field]] = {
    types.TIME: time,
    types.INSTANT: instant,
    types.RECORDED: recorded,
    types.POINT: point,
    types.ROUTE: route,
    engine.LOGGED: logged,
    shape_of(Limits): limits,
    shape_of(engine.Instructor): instructor,
    shape_of(engine.Aircraft): aircraft,
}


def _fields(made: type) -> tuple[Field, ...]:
    """The fields of an entry in its own table, in the record's order."""
    found = []
    for each in shape_of(made).fields:
        if each.name in NOT_WRITTEN:
            continue
        if each.name == "id":
            found.append(plain("id", "entry_id"))
        elif isinstance(each.type, ListType):
            found.append(listed(each.name))
        else:
            found.append(_BY_TYPE.get(each.type, plain)(each.name))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class Part:
    """One list of the record document, and its table."""

    name: str
    made: type
    model: Any

    @cached_property
    def fields(self) -> tuple[Field, ...]:
        return _fields(self.made)

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(column for field in self.fields for column in field.columns)

    @property
    def selected(self) -> tuple[str | Cast, ...]:
        """The expressions for ``reader``: the columns, JSON ones as text, and the provenance."""
        of_fields = (
            as_text(column) if field.is_json else column for field in self.fields for column in field.columns
        )
        return (*of_fields, PROVENANCE)

    def write(self, entry: Any) -> Row:
        """The entry's columns, in the order of ``columns``, without the provenance."""
        return tuple(value for field in self.fields for value in field.write(getattr(entry, field.name)))

    def reader(self) -> Callable[[Row], dict[str, Any]]:
        """A function from the values of ``selected`` to the entry's fields.

        It resolves the columns of each field once for all rows; a plain column then costs no call.
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


FLIGHTS = Part("flights", engine.Flight, models.Flight)
CERTIFICATES = Part("certificates", engine.Certificate, models.Certificate)
PARTS: tuple[Part, ...] = (
    CERTIFICATES,
    FLIGHTS,
    Part("ground", engine.GroundLesson, models.GroundLesson),
    Part("items", engine.ItemGrade, models.ItemGrade),
    Part("documents", engine.Document, models.Document),
    Part("tests", engine.Test, models.Test),
    Part("endorsements", engine.Endorsement, models.Endorsement),
)

_LANDING = tuple(
    point(each.name) if each.type is types.POINT else plain(each.name)
    for each in shape_of(engine.Landings).fields
)
LANDING_COLUMNS = tuple(column for field in _LANDING for column in field.columns)
LANDINGS_SELECTED = tuple(as_text(field.name) if field.is_json else field.name for field in _LANDING)


def write_landings(flight: engine.Flight) -> list[Row]:
    """One row for each group of landings, in the entry's order."""
    return [
        tuple(value for field in _LANDING for value in field.write(getattr(each, field.name)))
        for each in flight.landings
    ]


@_remembered
def read_landing(row: Row) -> engine.Landings:
    """The landings of a row in the order of the columns, the waypoint as text."""
    return engine.Landings(*(field.read(value) for field, value in zip(_LANDING, row, strict=True)))
