"""Reading a training record document: JSON to Record; ``dump`` writes it back.

One student's whole record in the form ``training-record/1``. Reading is strict: an unknown key, a unit of
the wrong dimension, a date that does not exist are faults with their place, and all faults are listed at
once. A missing time or count is zero; a missing fact stays unknown.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Mapping
from datetime import date
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from syllabus.engine import reading
from syllabus.engine.document_out import dump as dump
from syllabus.engine.errors import DocumentError
from syllabus.engine.reading import Faults, Object, list_of, one_of
from syllabus.engine.record import (
    DEVICES,
    FLIGHT_INSTRUCTOR,
    FORMAT,
    GRADES,
    NOT_OBSERVED,
    PROVENANCES,
    TIMES,
    Aircraft,
    Certificate,
    Document,
    Endorsement,
    Flight,
    GroundLesson,
    Instructor,
    ItemGrade,
    Landings,
    Record,
    Student,
    Test,
)
from syllabus.engine.units import format_time
from syllabus.engine.vocabulary import (
    ALSO_CALLED,
    CATEGORIES,
    CERTIFICATES,
    CLASSES,
    DOCUMENTS,
    ENDORSEMENTS,
    INSTRUCTORS,
    MEDICAL_CLASSES,
    RESULTS,
    RULE_ITEMS,
    RULE_LISTS,
    TESTS,
    TESTS_OF,
)

_PURPOSE = re.compile(r"[a-z0-9-]+(:[a-z0-9-]+)*", re.ASCII)
_KIND = re.compile(r"[a-z0-9]+([-:][a-z0-9]+)*", re.ASCII)
_ITEM = re.compile(r"[A-Za-z0-9]+([._:-][A-Za-z0-9]+)*", re.ASCII)


_PROVENANCE = one_of(PROVENANCES, "provenance")


def _kind(
    known: tuple[str, ...],
    what: str,
    also: Mapping[str, str] = MappingProxyType({}),
    closed: Collection[str] = (),
) -> reading.Read:
    """A kind of document, test or endorsement: known, or not to be mistaken for a known one."""

    def reader(faults: Faults, value: Any, place: str) -> str | None:
        if not isinstance(value, str):
            faults.add(place, f"{reading.called(value)} is no kind of {what}; known are {', '.join(known)}")
            return None
        word = value.replace("_", "-")
        word = also.get(word, word)
        if word in known:
            return word
        stem = word.split(":")[0]
        if word.partition(":")[0] in closed:
            # rules turn on these: one that no rule knows would be passed over in silence
            faults.add(place, f"{value!r} is no {what} that is known; known are {', '.join(known)}")
            return None
        near = faults.meant(word.lower(), known, cutoff=0.82)
        if near and not (":" in word and any(kind.startswith(stem + ":") for kind in known)):
            faults.add(place, f"{value!r} is no kind of {what} that is known; did you mean {near!r}?")
            return None
        if not _KIND.fullmatch(word) or len(word) > 100:
            faults.add(
                place,
                f"{reading.called(value)} is no kind of {what}: kinds are words in small letters joined by"
                f" hyphens; rules read {', '.join(known)}",
            )
            return None
        return word

    return reader


def _item(faults: Faults, value: Any, place: str) -> str | None:
    if value in RULE_ITEMS:
        return value
    if not isinstance(value, str) or not _ITEM.fullmatch(value) or len(value) > 100:
        faults.add(place, f"{reading.called(value)} is no item; items are named like 'presolo.d-01'")
        return None
    for stem, (first, last) in RULE_LISTS.items():
        if value.lower().startswith(stem.split(".")[0] + "."):
            joint = "." if stem == "area.private" else "-"
            faults.add(
                place,
                f"{value!r} is no item of that list, which runs from {stem}{joint}{first:02d} to"
                f" {stem}{joint}{last:02d}",
            )
            return None
    return value


def _purpose(faults: Faults, value: Any, place: str) -> str | None:
    if isinstance(value, str) and _PURPOSE.fullmatch(value) and len(value) <= 100:
        known = "practical-test-preparation"
        stem = value.split(":")[0]
        if stem != known and difflib.SequenceMatcher(None, stem, known).ratio() > 0.82:
            faults.add(place, f"{value!r} is no purpose that is known; did you mean '{known}:private'?")
            return None
        if value == known:
            faults.add(place, f"{value!r} does not say for which test; write '{known}:private'")
            return None
        return value
    faults.add(
        place, f"{reading.called(value)} is no purpose; write it like 'practical-test-preparation:private'"
    )
    return None


def _instructor(faults: Faults, value: Any, place: str) -> Instructor | None:
    fields = Object(faults, value, place)
    found = fields.take("name", reading.name, required=True)
    certificate = fields.take("certificate", reading.name)
    kind = fields.take("kind", one_of(INSTRUCTORS, "kind of instructor"), FLIGHT_INSTRUCTOR)
    fields.done()
    return Instructor(found, certificate, kind) if found else None


def _aircraft(faults: Faults, value: Any, place: str) -> Aircraft:
    fields = Object(faults, value, place)
    made = Aircraft(
        registration=fields.take("registration", reading.name),
        model=fields.take("model", reading.name),
        category=fields.take("category", one_of(CATEGORIES, "category of aircraft")),
        klass=fields.take("class", one_of(CLASSES, "class of aircraft")),
        device=fields.take("device", one_of(DEVICES, "kind of training device")),
    )
    fields.done()
    return made


def _times(faults: Faults, value: Any, place: str) -> Mapping[str, int]:
    fields = Object(faults, value, place)
    before = len(faults)
    found = {key: fields.take(key, reading.time) for key in TIMES}
    fields.done()
    times = {key: amount for key, amount in found.items() if amount is not None}
    if len(faults) == before:
        _contradictions(faults, times, place)
    return MappingProxyType(times)


def _contradictions(faults: Faults, times: Mapping[str, int], place: str) -> None:
    total = times.get("total")
    if total is not None:
        for key, amount in times.items():
            if amount > total:
                faults.add(
                    f"{place}.{key}",
                    f"{format_time(amount)} is more than the total, {format_time(total)}; correct one",
                )
        instrument = times.get("actual_instrument", 0) + times.get("simulated_instrument", 0)
        if instrument > total >= max(times.values()):
            faults.add(
                place,
                f"actual and simulated instrument time together, {format_time(instrument)}, are more than the"
                f" total, {format_time(total)}; correct one",
            )
    if times.get("dual") and times.get("solo"):
        faults.add(
            place,
            f"dual {format_time(times['dual'])} and solo {format_time(times['solo'])} in one entry: with an"
            " instructor aboard nobody is the sole occupant; write two entries",
        )


def _landings(faults: Faults, value: Any, place: str) -> Landings:
    fields = Object(faults, value, place)
    made = Landings(
        at=fields.take("at", reading.point),
        takeoffs=fields.take("takeoffs", reading.count, 0),
        landings=fields.take("landings", reading.count, 0),
        period=fields.take("period", one_of(("day", "night"), "period")),
        full_stop=fields.take("full_stop", reading.flag),
        pattern=fields.take("pattern", reading.flag),
        towered=fields.take("towered", reading.flag),
    )
    fields.done()
    return made


def _flight(faults: Faults, value: Any, place: str) -> Flight:
    fields = Object(faults, value, place)
    made = Flight(
        id=fields.take("id", reading.name, place),
        date=fields.take("date", reading.day, date.min, required=True),
        aircraft=fields.take("aircraft", _aircraft, Aircraft()),
        trip=fields.take("trip", reading.name),
        route=fields.take("route", reading.route, ()),
        out=fields.take("out", reading.instant),
        off=fields.take("off", reading.instant),
        on=fields.take("on", reading.instant),
        in_=fields.take("in", reading.instant),
        times=fields.take("times", _times, MappingProxyType({})),
        landings=fields.take("landings", list_of(_landings, most=100), ()),
        instructor=fields.take("instructor", _instructor),
        purposes=fields.take("purposes", list_of(_purpose, most=20), ()),
        remarks=fields.take("remarks", reading.text, ""),
        recorded=fields.take("recorded", reading.instant),
    )
    fields.take("provenance", _PROVENANCE)  # an export shows it; nobody is believed who sends it
    fields.done()
    _clock(faults, made, place)
    return made


def _clock(faults: Faults, flight: Flight, place: str) -> None:
    """The times on the clock are in order, within a day, and of the entry's date."""
    at = (("out", flight.out), ("off", flight.off), ("on", flight.on), ("in", flight.in_))
    known = [(key, instant) for key, instant in at if instant is not None]
    for (before, earlier), (after, later) in pairwise(known):
        if later < earlier:
            faults.add(f"{place}.{after}", f"{later.isoformat()} is before {before}, {earlier.isoformat()}")
        elif (later - earlier).total_seconds() > 86_400:
            faults.add(
                f"{place}.{after}", f"more than 24 hours after {before}; write one entry for each flight"
            )
    # an offset other than the field's own moves the date of an instant by one day at most
    for key, instant in known[:1]:
        if flight.date != date.min and abs((instant.date() - flight.date).days) > 1:
            faults.add(
                f"{place}.{key}",
                f"{instant.isoformat()} is not on {flight.date}, the entry's date; correct one of them",
            )


def _ground(faults: Faults, value: Any, place: str) -> GroundLesson:
    fields = Object(faults, value, place)
    made = GroundLesson(
        id=fields.take("id", reading.name, place),
        date=fields.take("date", reading.day, date.min, required=True),
        time=fields.take("time", reading.time, 0),
        topic=fields.take("topic", reading.text, ""),
        instructor=fields.take("instructor", _instructor),
        recorded=fields.take("recorded", reading.instant),
    )
    fields.take("provenance", _PROVENANCE)  # an export shows it; nobody is believed who sends it
    fields.done()
    return made


def _graded(faults: Faults, value: Any, place: str) -> ItemGrade:
    fields = Object(faults, value, place)
    made = ItemGrade(
        id=fields.take("id", reading.name, place),
        item=fields.take("item", _item, "", required=True),
        date=fields.take("date", reading.day, date.min, required=True),
        grade=fields.take("grade", one_of((*GRADES, NOT_OBSERVED), "grade"), "", required=True),
        flight=fields.take("flight", reading.name),
        instructor=fields.take("instructor", _instructor),
        remarks=fields.take("remarks", reading.text, ""),
        recorded=fields.take("recorded", reading.instant),
    )
    fields.take("provenance", _PROVENANCE)  # an export shows it; nobody is believed who sends it
    fields.done()
    return made


def _certificate(faults: Faults, value: Any, place: str) -> Certificate:
    fields = Object(faults, value, place)
    made = Certificate(
        id=fields.take("id", reading.name, place),
        kind=fields.take("kind", one_of(CERTIFICATES, "pilot certificate"), "", required=True),
        issued=fields.take("issued", reading.day, date.min, required=True),
        category=fields.take("category", one_of(CATEGORIES, "category of aircraft")),
        klass=fields.take("class", one_of(CLASSES, "class of aircraft")),
        recorded=fields.take("recorded", reading.instant),
    )
    fields.take("provenance", _PROVENANCE)  # an export shows it; nobody is believed who sends it
    fields.done()
    return made


def _document(faults: Faults, value: Any, place: str) -> Document:
    fields = Object(faults, value, place)
    made = Document(
        id=fields.take("id", reading.name, place),
        kind=fields.take("kind", _kind(DOCUMENTS, "document"), "", required=True),
        issued=fields.take("issued", reading.day, date.min, required=True),
        klass=fields.take("class", one_of(MEDICAL_CLASSES, "class of medical certificate")),
        expires=fields.take("expires", reading.day),
        aircraft_model=fields.take("aircraft_model", reading.name),
        remarks=fields.take("remarks", reading.text, ""),
        recorded=fields.take("recorded", reading.instant),
    )
    fields.take("provenance", _PROVENANCE)  # an export shows it; nobody is believed who sends it
    fields.done()
    if made.kind == "medical" and made.klass is None and fields.ok and "class" not in value:
        faults.add(f"{place}.class", f"missing; a medical is one of {', '.join(MEDICAL_CLASSES)}")
    return made


def _test(faults: Faults, value: Any, place: str) -> Test:
    fields = Object(faults, value, place)
    made = Test(
        id=fields.take("id", reading.name, place),
        kind=fields.take("kind", _kind(TESTS, "test", closed=TESTS_OF), "", required=True),
        date=fields.take("date", reading.day, date.min, required=True),
        result=fields.take("result", one_of(RESULTS, "result")),
        score=fields.take("score", reading.count),
        aircraft_model=fields.take("aircraft_model", reading.name),
        deficient_codes=fields.take("deficient_codes", list_of(reading.name, most=200)),
        instructor=fields.take("instructor", _instructor),
        recorded=fields.take("recorded", reading.instant),
    )
    fields.take("provenance", _PROVENANCE)  # an export shows it; nobody is believed who sends it
    fields.done()
    if made.score is not None and made.score > 100:
        faults.add(f"{place}.score", f"{made.score} is more than 100 per cent")
    return made


def _endorsement(faults: Faults, value: Any, place: str) -> Endorsement:
    fields = Object(faults, value, place)
    made = Endorsement(
        id=fields.take("id", reading.name, place),
        kind=fields.take("kind", _kind(ENDORSEMENTS, "endorsement", ALSO_CALLED), "", required=True),
        given=fields.take("given", reading.day, date.min, required=True),
        instructor=fields.take("instructor", _instructor),
        aircraft_model=fields.take("aircraft_model", reading.name),
        category=fields.take("category", one_of(CATEGORIES, "category of aircraft")),
        klass=fields.take("class", one_of(CLASSES, "class of aircraft")),
        test=fields.take("test", _kind(TESTS, "test", closed=TESTS_OF)),
        similar_model=fields.take("similar_model", reading.name),
        airport=fields.take("airport", reading.point),
        area=fields.take("area", reading.name),
        route=fields.take("route", reading.route, ()),
        flight_date=fields.take("flight_date", reading.day),
        training_date=fields.take("training_date", reading.day),
        expires=fields.take("expires", reading.day),
        conditions=fields.take("conditions", reading.text, ""),
        recorded=fields.take("recorded", reading.instant),
    )
    fields.take("provenance", _PROVENANCE)  # an export shows it; nobody is believed who sends it
    fields.done()
    if made.training_date and made.given != date.min and made.training_date > made.given:
        faults.add(
            f"{place}.training_date",
            f"{made.training_date} is after the endorsement, given {made.given}; the training comes first",
        )
    return made


def _student(faults: Faults, value: Any, place: str) -> Student:
    fields = Object(faults, value, place)
    made = Student(fields.take("name", reading.text, ""), fields.take("birth_date", reading.day))
    fields.done()
    return made


_PARTS = {
    "certificates": _certificate,
    "flights": _flight,
    "ground": _ground,
    "items": _graded,
    "documents": _document,
    "tests": _test,
    "endorsements": _endorsement,
}


def parse(document: object, place: str = "") -> Record:
    """Read a training record document.

    Shapes:  plain JSON values, as ``json.loads`` gives them; ``place`` is put before every fault's place.
    Units:   quantities by the rules of ``units``; times become microseconds.
    Raises:  DocumentError with every fault found.
    """
    faults = Faults()
    fields = Object(faults, document, place)
    fields.take("format", one_of((FORMAT,), "format that is read here"), required=True)
    student = fields.take("student", _student, Student())
    parts = {key: fields.take(key, list_of(read), ()) for key, read in _PARTS.items()}
    fields.done()
    for key, entries in parts.items():
        reading.unique(faults, entries, fields.at(key))
    flights = {flight.id: flight for flight in parts["flights"]}
    for index, item in enumerate(parts["items"]):
        if item.flight is not None and item.flight not in flights:
            faults.add(f"{fields.at('items')}[{index}].flight", f"no flight has the id {item.flight!r}")
    faults.stop(DocumentError)
    return Record(student=student, **parts)
