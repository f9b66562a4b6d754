"""Writing a training record document: a Record to plain JSON values."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from syllabus.engine import reading
from syllabus.engine.record import FLIGHT_INSTRUCTOR, FORMAT, TIMES, Flight, Instructor, Record
from syllabus.engine.units import format_time


def _plain(value: Any) -> Any:
    if isinstance(value, date | datetime):
        return value.isoformat()
    return value


def _kept(**fields: Any) -> dict[str, Any]:
    """Only what says something: an absent key already means none, zero or unknown."""
    return {
        key.rstrip("_"): _plain(value)
        for key, value in fields.items()
        if value is not None and value != "" and value != [] and value != {}
    }


def _who(instructor: Instructor | None) -> dict[str, Any] | None:
    if instructor is None:
        return None
    kind = None if instructor.kind == FLIGHT_INSTRUCTOR else instructor.kind
    return _kept(name=instructor.name, certificate=instructor.certificate, kind=kind)


def _points(route: tuple) -> list[Any]:
    return [reading.write_point(place) for place in route]


def _dump_flight(flight: Flight) -> dict[str, Any]:
    craft = flight.aircraft
    return _kept(
        id=flight.id,
        date=flight.date,
        trip=flight.trip,
        aircraft=_kept(
            registration=craft.registration,
            model=craft.model,
            category=craft.category,
            class_=craft.klass,
            device=craft.device,
        ),
        route=_points(flight.route),
        out=flight.out,
        off=flight.off,
        on=flight.on,
        in_=flight.in_,
        times={key: format_time(flight.times[key]) for key in TIMES if key in flight.times},
        landings=[
            {
                **_kept(at=each.at and reading.write_point(each.at), period=each.period),
                "takeoffs": each.takeoffs,
                "landings": each.landings,
                **_kept(full_stop=each.full_stop, pattern=each.pattern, towered=each.towered),
            }
            for each in flight.landings
        ],
        instructor=_who(flight.instructor),
        purposes=list(flight.purposes),
        remarks=flight.remarks,
        recorded=flight.recorded,
    )


def dump(record: Record, *, provenance: bool = False) -> dict[str, Any]:
    """The record document of a record: ``parse(dump(record)) == record``.

    With ``provenance`` every entry says who vouches for it. That is for the reader: who reads a document back
    believes none of it.
    """
    made = _dump(record)
    if provenance:
        for part in record.PARTS:
            for said, entry in zip(made[part], getattr(record, part), strict=True):
                said["provenance"] = entry.provenance
    return made


def _dump(record: Record) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "student": _kept(name=record.student.name, birth_date=record.student.birth_date),
        "certificates": [
            _kept(
                id=each.id,
                kind=each.kind,
                category=each.category,
                class_=each.klass,
                issued=each.issued,
                recorded=each.recorded,
            )
            for each in record.certificates
        ],
        "flights": [_dump_flight(flight) for flight in record.flights],
        "ground": [
            _kept(
                id=each.id,
                date=each.date,
                time=format_time(each.time),
                topic=each.topic,
                instructor=_who(each.instructor),
                recorded=each.recorded,
            )
            for each in record.ground
        ],
        "items": [
            _kept(
                id=each.id,
                item=each.item,
                date=each.date,
                grade=each.grade,
                flight=each.flight,
                instructor=_who(each.instructor),
                remarks=each.remarks,
                recorded=each.recorded,
            )
            for each in record.items
        ],
        "documents": [
            _kept(
                id=each.id,
                kind=each.kind,
                class_=each.klass,
                issued=each.issued,
                expires=each.expires,
                aircraft_model=each.aircraft_model,
                remarks=each.remarks,
                recorded=each.recorded,
            )
            for each in record.documents
        ],
        "tests": [
            {
                **_kept(
                    id=each.id,
                    kind=each.kind,
                    date=each.date,
                    result=each.result,
                    score=each.score,
                    aircraft_model=each.aircraft_model,
                    instructor=_who(each.instructor),
                    recorded=each.recorded,
                ),
                # an empty list says "none were listed", which is more than saying nothing
                **({} if each.deficient_codes is None else {"deficient_codes": list(each.deficient_codes)}),
            }
            for each in record.tests
        ],
        "endorsements": [
            _kept(
                id=each.id,
                kind=each.kind,
                given=each.given,
                instructor=_who(each.instructor),
                aircraft_model=each.aircraft_model,
                category=each.category,
                class_=each.klass,
                test=each.test,
                similar_model=each.similar_model,
                airport=each.airport and reading.write_point(each.airport),
                area=each.area,
                route=_points(each.route),
                flight_date=each.flight_date,
                training_date=each.training_date,
                expires=each.expires,
                conditions=each.conditions,
                recorded=each.recorded,
            )
            for each in record.endorsements
        ],
    }
