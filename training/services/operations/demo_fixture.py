"""The demo school's file, with its days counted from the day of loading, as plain record documents.

Written shorter there than in a record document:

- a day is an expression such as ``-40 d``, ``-25 mo`` or ``-14 y -3 mo``, taken from left to right;
- a list within a list of entries means its entries, so that students can share them;
- ``aircraft: amber`` names one of the school's; ``dual`` or ``solo`` is the time of a flight, from which
  ``total`` follows, and ``pic`` for solo; ``hood`` is simulated instrument time; ``all`` is all of it;
- ``takeoff: "22:00"`` is the school's clock, and ``on`` follows from the time;
- ``item: presolo.d-01 to 15`` is fifteen items;
- the student's own instructor signs whatever an instructor signs, or whoever ``by`` names;
- ids are counted, and each entry was recorded on the morning after its day.

What lessons bring is not in the document: ``demo_lessons`` reads them, and they are signed one by one.
"""

import datetime as dt
import re
import zoneinfo
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import yaml

from syllabus.engine.time import calendar, units

FILE = Path(__file__).resolve().parents[3] / "fixtures" / "demo-school.yaml"

_STEP = re.compile(r"([+-]\d+) (d|mo|y)\s*")
_SEVERAL = re.compile(r"(.*?)(\d\d) to (\d\d)")
_DAYS = ("date", "issued", "given", "flight_date", "training_date", "expires")
#: Where a part's entries have their own day, and the letter their ids begin with.
_PARTS = {
    "certificates": ("issued", "c"),
    "flights": ("date", "f"),
    "ground": ("date", "g"),
    "items": ("date", "i"),
    "documents": ("issued", "d"),
    "tests": ("date", "t"),
    "endorsements": ("given", "e"),
}
#: Times that are a part of a flight's, and their names in a record document.
_PARTLY = {"cross_country": "cross_country", "night": "night", "hood": "simulated_instrument"}
_SIGNED = ("ground", "items", "endorsements")


def read(file: Path = FILE) -> dict[str, Any]:
    """The file as it is written."""
    return yaml.load(file.read_bytes(), yaml.CSafeLoader)


def day(expression: str, on: dt.date) -> dt.date:
    """The day that an expression names, counted from ``on``.

    Months and years are held back to the end of a short month.

    >>> day("-1 mo", dt.date(2026, 3, 31))
    datetime.date(2026, 2, 28)
    >>> day("-14 y -9 d", dt.date(2028, 2, 29))
    datetime.date(2014, 2, 19)
    """
    found, end = on, 0
    while end < len(expression):
        step = _STEP.match(expression, end)
        if step is None:
            raise ValueError(
                f"{expression!r} is not a day counted from today; write it like '-40 d' or '-14 y -3 mo'"
            )
        number, unit = int(step[1]), step[2]
        if unit == "d":
            found += dt.timedelta(days=number)
        else:
            found = calendar.same_day_months_on(found, number * (12 if unit == "y" else 1))
        end = step.end()
    return found


def document(school: dict[str, Any], student: dict[str, Any], on: dt.date, at: dt.datetime) -> dict[str, Any]:
    """The record document of one student of the file, loaded on the day ``on`` at the instant ``at``."""
    zone = zoneinfo.ZoneInfo(school["school"]["time_zone"])
    made: dict[str, Any] = {
        "format": "training-record/1",
        "student": {"name": student["name"], "birth_date": day(student["birth_date"], on).isoformat()},
    }
    for part, (own_day, letter) in _PARTS.items():
        entries = list(_spread(student.get(part, [])))
        for entry in entries:
            for key in _DAYS:
                if key in entry:
                    entry[key] = day(entry[key], on).isoformat()
            if part == "flights":
                fly(entry, school["aircraft"], zone)
            by = school["people"][entry.pop("by", student["taught_by"])]
            signed = part in _SIGNED or entry.get("kind") == "pre-solo-knowledge"
            if signed or "dual" in entry.get("times", ()):
                entry["instructor"] = {"name": by["name"], "certificate": by["certificate"]}
            morning = dt.datetime.combine(
                dt.date.fromisoformat(entry[own_day]) + dt.timedelta(days=1), dt.time(8), zone
            )
            entry["recorded"] = min(morning, at.astimezone(zone)).isoformat(timespec="seconds")
        entries.sort(key=lambda entry: entry[own_day])
        made[part] = [{"id": f"{letter}{number:02d}", **entry} for number, entry in enumerate(entries, 1)]
    return made


def _spread(entries: Iterable[Any]) -> Iterator[dict[str, Any]]:
    """Every entry by itself: nested lists opened, several items separated, nothing shared."""
    for entry in entries:
        if isinstance(entry, list):
            yield from _spread(entry)
        elif several := _SEVERAL.fullmatch(entry.get("item", "")):
            for number in range(int(several[2]), int(several[3]) + 1):
                yield {**entry, "item": f"{several[1]}{number:02d}"}
        else:
            yield dict(entry)


def fly(entry: dict[str, Any], aircraft: dict[str, Any], zone: dt.tzinfo) -> None:
    """Write out the aircraft, the times and the clock of a flight."""
    entry["aircraft"] = aircraft[entry["aircraft"]]
    how = "dual" if "dual" in entry else "solo"
    amount = entry.pop(how)
    times = {"total": amount, how: amount}
    if how == "solo":
        times["pic"] = amount
    for short, name in _PARTLY.items():
        if short in entry:
            said = entry.pop(short)
            times[name] = amount if said == "all" else said
    entry["times"] = times
    if "takeoff" in entry:
        off = dt.datetime.combine(
            dt.date.fromisoformat(entry["date"]), dt.time.fromisoformat(entry.pop("takeoff")), zone
        )
        lasted = dt.timedelta(microseconds=units.parse_time(amount))
        entry["off"] = off.isoformat()
        entry["on"] = (off.astimezone(dt.UTC) + lasted).astimezone(zone).isoformat()
