"""An entry of a record in words: its name, title and labeled rows, for pages, prints and e-mails.

The rows follow from the shapes of the record: the type of each key says how to write it, so a new key needs a
label here and nothing else. Values are those of the record document. The tablet gets the same columns and
words as data (``for_tablet``), which its script only puts in place.
"""

import datetime as dt
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from syllabus.engine.course import proving
from syllabus.engine.record import record as engine
from syllabus.engine.record import types
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.shapes import AnyType, Field, ListType, shape_of
from syllabus.engine.time.amounts import count
from syllabus.law import rulebook
from training.presenters import amounts
from training.presenters.days import clock, day
from training.presenters.reasons import PAGE, Reader, called

#: The label of each key of the record document; flags have words of their own.
LABELS: Mapping[str, str] = {
    "date": _("Day"),
    "issued": _("Issued"),
    "given": _("Given"),
    "expires": _("Expires"),
    "kind": _("Kind"),
    "aircraft": _("Aircraft"),
    "registration": _("Aircraft"),
    "model": _("Model"),
    "category": _("Category"),
    "class": _("Class"),
    "device": _("Training device"),
    "trip": _("Trip"),
    "route": _("Route"),
    "out": _("Out"),
    "off": _("Off"),
    "on": _("On"),
    "in": _("In"),
    "total": _("Total"),
    "dual": _("Dual"),
    "solo": _("Solo"),
    "pic": _("Pilot in command"),
    "cross_country": _("Cross-country"),
    "night": _("Night"),
    "actual_instrument": _("Instrument, actual"),
    "simulated_instrument": _("Instrument, simulated"),
    "takeoffs": _("Takeoffs"),
    "landings": _("Landings"),
    "instructor": _("Instructor"),
    "purposes": _("Purpose"),
    "remarks": _("Remarks"),
    "time": _("Time"),
    "topic": _("Topic"),
    "item": _("Item"),
    "grade": _("Grade"),
    "flight": _("On flight"),
    "result": _("Result"),
    "score": _("Score"),
    "deficient_codes": _("Codes listed"),
    "aircraft_model": _("Model"),
    "similar_model": _("Trained in the similar model"),
    "test": _("Test"),
    "airport": _("Airport"),
    "area": _("Area"),
    "flight_date": _("Day of the flight"),
    "training_date": _("Day of the training"),
    "conditions": _("Conditions"),
    "limits": _("Limits"),
    "provenance": _("Provenance"),
}
#: The limits of a solo flight in words.
_LIMITS: Mapping[str, str] = {
    "wind": _("wind at most %(limit)s"),
    "gust": _("gusts at most %(limit)s above the wind"),
    "crosswind": _("crosswind at most %(limit)s"),
    "ceiling": _("ceiling at least %(limit)s"),
    "visibility": _("visibility at least %(limit)s"),
    "distance": _("at most %(limit)s from departure"),
    "earliest": _("no takeoff before %(limit)s"),
    "latest": _("back by %(limit)s"),
    "days_since_dual": _("at most %(limit)s days since a flight with an instructor"),
    "daylight_margin": _("back %(limit)s before evening civil twilight ends"),
}
#: Keys that every view shows apart from the rows.
_APART = ("id", "recorded", "provenance")
COUNTS = ("takeoffs", "landings")
#: The flags of a group of landings: yes, no, or not entered.
FLAGS = {each.key: each.says for each in shape_of(engine.Landings).fields if each.says}
PERIODS: Mapping[str, str] = {"day": _("by day"), "night": _("at night")}
#: The learner-centered scale, from not seen to the standard.
GRADES: Mapping[str, str] = {
    engine.NOT_OBSERVED: _("Not observed"),
    "describe": _("Describe"),
    "explain": _("Explain"),
    "practice": _("Practice"),
    "perform": _("Perform"),
}
#: The provenance of an entry in a few words.
VOUCHED: Mapping[str, str] = {
    engine.SIGNED: _("signed here"),
    engine.TAKEN_OVER: _("transferred, with proof"),
    engine.ATTESTED: _("attested"),
    engine.CLAIMED: _("claimed"),
}
#: The signing authority of an instructor who is not a flight instructor.
_INSTRUCTORS: Mapping[str, str] = {
    "ground": _("ground instructor"),
    "foreign": _("instructor authorized by another country"),
    "armed-forces": _("instructor of an armed force"),
}
#: A test's kind before its colon; what follows is data and stays as it is.
_TESTS: Mapping[str, str] = {
    "pre-solo-knowledge": _("Pre-solo knowledge test"),
    "knowledge": _("Knowledge test"),
    "practical": _("Practical test"),
}


def place(point: str | Mapping[str, Any] | None) -> str:
    """A waypoint's name for people."""
    if point is None or isinstance(point, str):
        return point or ""
    return str(point.get("name") or f"{point['lat']}, {point['lon']}")


def aircraft(craft: Mapping[str, Any]) -> str:
    return ", ".join(filter(None, (craft.get(each.key) for each in shape_of(engine.Aircraft).fields)))


def instructor(named: Mapping[str, Any]) -> str:
    kind = gettext(_INSTRUCTORS[named["kind"]]) if named.get("kind") in _INSTRUCTORS else ""
    return ", ".join(filter(None, (named["name"], named.get("certificate"), kind)))


def landing(row: Mapping[str, Any]) -> str:
    """``3 takeoffs, 3 landings at KMTW by day, full stop``."""
    said = [", ".join(_counted(each, row.get(each, 0)) for each in COUNTS)]
    if row.get("at"):
        said.append(gettext("at %(place)s") % {"place": place(row["at"])})
    if row.get("period"):
        said.append(gettext(PERIODS[row["period"]]))
    flags = [
        gettext(says.yes if row[key] else says.no) for key, says in FLAGS.items() if row.get(key) is not None
    ]
    return ", ".join([" ".join(said), *flags])


def label_of(key: str) -> str:
    return gettext(LABELS[key]) if key in LABELS else sentence(gettext(FLAGS[key].yes))


def limits(said: Mapping[str, Any]) -> str:
    """The limits of a solo flight, as stored, in words."""
    return "; ".join(gettext(_LIMITS[key]) % {"limit": each} for key, each in said.items())


def _counted(what: str, number: int) -> str:
    return amounts.one(count(number, what.removesuffix("s")))


def kind_of(code: str) -> str:
    """A kind of entry: ``practical:private-airplane`` is ``Practical test, private airplane``."""
    what, _colon, of = code.partition(":")
    words = gettext(_TESTS[what]) if what in _TESTS else what.replace("-", " ")
    return ", ".join(filter(None, (words, of.replace("-", " "))))


def grade_of(code: str) -> str:
    return gettext(GRADES[code]) if code in GRADES else code


def vouched(provenance: str) -> str:
    """The provenance of an entry; empty if there is none."""
    return gettext(VOUCHED[provenance]) if provenance in VOUCHED else ""


@dataclass(frozen=True, slots=True)
class Column:
    """A key of a shape, or of one within it (``times.dual``), and how to write its value."""

    path: str
    how: str

    @property
    def label(self) -> str:
        return label_of(self.path.rpartition(".")[2])

    def text(self, entry: Mapping[str, Any], zone: dt.tzinfo) -> str:
        """The value in words; empty if the entry has none."""
        value: Any = entry
        for step in self.path.split("."):
            value = (value or {}).get(step)
        return "" if value in (None, "", [], {}) else _WRITE[self.how](value, zone)


_WRITE: Mapping[str, Callable[[Any, dt.tzinfo], str]] = {
    "text": lambda value, _: str(value),
    "day": lambda value, _: day(dt.date.fromisoformat(value)),
    "clock": lambda value, zone: clock(dt.datetime.fromisoformat(value), zone),
    "time": lambda value, _: amounts.logged(value),
    "place": lambda value, _: place(value),
    "route": lambda value, _: " – ".join(map(place, value)),
    "list": lambda value, _: ", ".join(value),
    "percent": lambda value, _: gettext("%(score)s percent") % {"score": value},
    "aircraft": lambda value, _: aircraft(value),
    "instructor": lambda value, _: instructor(value),
    "landings": lambda value, _: "; ".join(map(landing, value)),
    "kind": lambda value, _: kind_of(value),
    "grade": lambda value, _: grade_of(value),
    "vouched": lambda value, _: vouched(value),
    "limits": lambda value, _: limits(value),
}
_HOW: Mapping[AnyType, str] = {
    shape_of(Limits): "limits",
    types.DAY: "day",
    types.INSTANT: "clock",
    types.TIME: "time",
    types.POINT: "place",
    types.ROUTE: "route",
    types.PERCENT: "percent",
    shape_of(engine.Aircraft): "aircraft",
    shape_of(engine.Instructor): "instructor",
}
_HOW_BY_KEY = {
    "kind": "kind",
    "test": "kind",
    "grade": "grade",
    "landings": "landings",
    "provenance": "vouched",
}


@cache
def columns(made: type) -> tuple[Column, ...]:
    """Every key of a shape in order, with a column for each kind of logged time."""
    found: list[Column] = []
    for each in shape_of(made).fields:
        if each.type is engine.LOGGED:
            found += [Column(f"{each.key}.{time}", "time") for time in engine.TIMES]
        elif each.key not in ("id", "recorded"):
            found.append(Column(each.key, _how(each)))
    return tuple(found)


def _how(field: Field) -> str:
    known = _HOW_BY_KEY.get(field.key) or _HOW.get(field.type)
    return known or ("list" if isinstance(field.type, ListType) else "text")


def rows(
    made: type, entry: Mapping[str, Any], zone: dt.tzinfo, *, without: Collection[str] = ()
) -> list[tuple[str, str]]:
    """Label and words of everything in the entry, without the keys shown elsewhere."""
    told = (
        (each.label, each.text(entry, zone))
        for each in columns(made)
        if each.path not in _APART and each.path not in without
    )
    return [(label, text) for label, text in told if text]


def titled(
    entry: engine.Entry, zone: dt.tzinfo, named: Callable[[str], str]
) -> tuple[str, list[tuple[str, str]]]:
    """An entry's title and its rows, without its day; ``named`` gives the name of another entry by its id."""
    said = shape_of(type(entry)).write(entry)
    keys: tuple[str, ...] = ("kind",)
    match entry:
        case engine.Flight():
            title, keys = aircraft(said.get("aircraft", {})) or gettext("no aircraft entered"), ("aircraft",)
        case engine.GroundLesson():
            title, keys = entry.topic or gettext("no topic"), ("topic",)
        case engine.ItemGrade():
            title, keys = f"{entry.item}: {entry.grade}", ("item", "grade")
            said["flight"] = entry.flight and named(entry.flight)
            if proving.MARK in entry.id:
                said["remarks"] = PAGE.words(proving.rests_on(entry))
        case _:
            title = sentence(kind_of(entry.kind))
    return title, rows(type(entry), said, zone, without=(*keys, "date", "issued", "given"))


_NAMES: Mapping[type, str] = {
    engine.Flight: _("Flight of %(day)s, %(time)s in %(craft)s"),
    engine.GroundLesson: _("Ground lesson of %(day)s"),
    engine.ItemGrade: _("Grade of %(day)s, %(kind)s"),
    engine.Certificate: _("%(kind)s certificate of %(day)s"),
    engine.Document: _("%(kind)s of %(day)s"),
    engine.Test: _("%(kind)s test of %(day)s"),
    engine.Endorsement: _("Endorsement of %(day)s, %(kind)s"),
}


def name_of(entry: engine.Entry, reader: Reader = PAGE) -> str:
    """The entry's name for people: ``Flight of 2 Mar 2026, 1.4 h in N00XY``."""
    values = {"day": reader.day(engine.entry_day(entry))}
    if isinstance(entry, engine.Flight):
        values["time"] = amounts.hours(entry.times.get("total", 0))
        values["craft"] = (
            entry.aircraft.registration or entry.aircraft.model or reader.gettext(_("an aircraft"))
        )
    elif isinstance(entry, engine.ItemGrade):
        values["kind"] = f"{rulebook.current().items.get(entry.item, entry.item)}: {entry.grade}"
    elif not isinstance(entry, engine.GroundLesson):
        values["kind"] = entry.kind.partition(":")[0].replace("-", " ")
    return sentence(reader.gettext(_NAMES[type(entry)]) % values)


def sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


#: English with ISO 8601 days, for data.
PLAIN = Reader(str, lambda one, many, number: one if number == 1 else many, dt.date.isoformat)


class Names:
    """Names of a record's entries for people, by id."""

    def __init__(self, record: engine.Record):
        self._record = record

    @cached_property
    def _known(self) -> Mapping[str, str]:
        record = self._record
        found = {each.id: name_of(each) for part in record.PARTS for each in getattr(record, part)}
        return {"student": gettext("Birth date"), **found}

    def __call__(self, entry: str) -> str:
        return self._known.get(entry) or called(entry)

    def entry(self, entry: str) -> str:
        """The name of an entry, which may be off the record by now."""
        return self._known.get(entry) or gettext("An entry that is no longer on record")

    @cached_property
    def reader(self) -> Reader:
        """A reader that writes these names in place of ids."""
        return Reader(named=self)


#: The highest number that the sheet counts to; a tablet writes higher ones with the words of this one.
_MOST = 99


def for_tablet() -> dict[str, Any]:
    """The columns of a flight and of a ground lesson, and every word that a script needs to write them."""
    return {
        "flight": [_for_tablet(each) for each in columns(engine.Flight) if each.path not in _APART],
        "ground": [_for_tablet(each) for each in columns(engine.GroundLesson) if each.path not in _APART],
        "times": engine.TIMES,
        "craft": [each.key for each in shape_of(engine.Aircraft).fields],
        "counts": {unit: [_counted(unit, number) for number in range(_MOST + 1)] for unit in COUNTS},
        "at": gettext("at %(place)s"),
        # the 22nd of each month of the year 3333; the script replaces day and year
        "days": [day(dt.date(3333, month, 22)) for month in range(1, 13)],
        "periods": {key: gettext(words) for key, words in PERIODS.items()},
        "flags": {key: [gettext(says.no), gettext(says.yes)] for key, says in FLAGS.items()},
        "grades": {key: gettext(words) for key, words in GRADES.items()},
    }


def _for_tablet(column: Column) -> tuple[str, str, str]:
    return column.path, column.label, column.how
