"""The lesson sheet as a form: a lesson's content to named fields, and what was typed back to content.

The same names are read by ``static/training/tablet/sheet.js``, which makes the content on the tablet where
there is no network. Rows of items are numbered as in the content; rows of landings that say nothing are left
out of it.
"""

from __future__ import annotations

import datetime as dt
import re
import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from syllabus.engine.course.course import Item, Outline
from syllabus.engine.course.standards import RANGE, Tolerance
from syllabus.engine.record.record import NOT_OBSERVED, TIMES, Aircraft
from syllabus.engine.record.shapes import shape_of
from syllabus.engine.rules.kinds.training import PREPARATION
from syllabus.engine.rules.rulebook import Milestone
from training.presenters.entry import COUNTS, FLAGS

#: The times on the clock, in their order: first movement, takeoff, landing, at rest.
CLOCK = ("out", "off", "on", "in")
CRAFT = tuple(each.key for each in shape_of(Aircraft).fields)
#: What flight time begins and ends with, 14 CFR 1.1; the sheet asks for them apart from off and on.
RAMP_WORDS = {"out": _("Out (first movement)"), "in": _("In (at rest after landing)")}
DUAL, SOLO, NO_FLIGHT = "dual", "solo", "none"
#: Empty rows for landings that follow those there are.
SPARE_LANDINGS = 1
_BREAKS = re.compile(r"[\s,>\-–→]+")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):?([0-5]\d)")


@dataclass(frozen=True)
class Typed:
    """What the fields come to: ``content`` for ``lesson_content.read``; ``rows`` of landings kept, by place.

    ``wrong`` are faults of fields that no content can hold, by the field's name.
    """

    content: dict[str, Any]
    rows: tuple[int, ...] = ()
    wrong: Mapping[str, str] = field(default_factory=dict)


# Content to fields


def values(content: Mapping[str, Any], zone: dt.tzinfo, outline: Outline | None) -> dict[str, str]:
    """The fields of a content in its one form."""
    flight: Mapping[str, Any] = content.get("flight") or {}
    ground: Mapping[str, Any] = content.get("ground") or {}
    times: Mapping[str, str] = flight.get("times", {})
    flown = NO_FLIGHT if not flight else SOLO if times.get("solo") else DUAL
    found = {
        "flown": flown,
        "date": flight.get("date", ""),
        "route": " ".join(_token(each) for each in flight.get("route", ())),
        **{name: _clock(flight.get(name), zone) for name in CLOCK},
        "preparation": _prepares(flight),
        "remarks": flight.get("remarks", ""),
        "ground-date": ground.get("date", ""),
        "ground-time": ground.get("time", ""),
        "ground-topic": ground.get("topic", ""),
        "comments": content.get("comments", ""),
        "next": content.get("next", ""),
    }
    craft: Mapping[str, str] = flight.get("aircraft", {})
    found.update({key: craft.get(key) or "" for key in CRAFT})
    found.update({f"t-{key}": times.get(key, "") for key in TIMES})
    rows = flight.get("landings", ())
    found["landing-count"] = str(len(rows) + SPARE_LANDINGS)
    for number, row in enumerate(rows):
        found[f"landing-{number}-at"] = _token(row["at"]) if row.get("at") else ""
        found[f"landing-{number}-period"] = row.get("period") or ""
        for key in COUNTS:
            found[f"landing-{number}-{key}"] = str(row.get(key, 0))
        for key in FLAGS:
            found[f"landing-{number}-{key}"] = {True: "yes", False: "no"}.get(row.get(key), "")
    items = content.get("items", ())
    found["item-count"] = str(len(items))
    for number, each in enumerate(items):
        found[f"item-{number}"] = each["item"]
        found[f"item-{number}-grade"] = each["grade"]
        found[f"item-{number}-remarks"] = each.get("remarks", "")
        item = outline.by_code.get(each["item"]) if outline else None
        taken: Mapping[str, Any] = each.get("measured", {})
        for place, (name, _limit) in enumerate(measures(item, taken)):
            said = taken.get(name, "")
            found[f"item-{number}-m-{place}-name"] = name
            found[f"item-{number}-m-{place}-value"] = said if isinstance(said, str) else said["value"]
            found[f"item-{number}-m-{place}-target"] = "" if isinstance(said, str) else said["target"]
    return found


def measures(item: Item | None, taken: Iterable[str] = ()) -> list[tuple[str, Tolerance | None]]:
    """What can be measured of an item: its standard's tolerances, then whatever else was measured."""
    known: list[tuple[str, Tolerance | None]] = [(each.name, each) for each in item.standard] if item else []
    names = {name for name, _ in known}
    return [*known, *((name, None) for name in sorted(taken) if name not in names)]


def aims(tolerance: Tolerance | None) -> bool:
    """Whether what was aimed at is told in flight, so that there is a field for it."""
    return tolerance is None or (tolerance.target.kind != RANGE and tolerance.target.value is None)


def preparation(test: Milestone) -> str:
    """The purpose of a flight that prepares for a test; empty where no rule of it asks for such flights."""
    named = [version.get("prepares_for") for each in test.requirements for version in each.versions]
    return next((f"{PREPARATION}{each}" for each in named if each), "")


def _prepares(flight: Mapping[str, Any]) -> str:
    """The practical test that a flight prepares for, as its purpose has it; empty for none."""
    return next((each for each in flight.get("purposes", ()) if each.startswith(PREPARATION)), "")


def _token(point: str | Mapping[str, Any]) -> str:
    return point if isinstance(point, str) else str(point.get("name", "")).replace(" ", "_")


def _clock(instant: str | None, zone: dt.tzinfo) -> str:
    return dt.datetime.fromisoformat(instant).astimezone(zone).strftime("%H:%M") if instant else ""


# Fields to content


def content_of(
    given: Mapping[str, str],
    zone: zoneinfo.ZoneInfo,
    kept: Mapping[str, Any],
    fleet: Mapping[str, Mapping[str, str]],
) -> Typed:
    """What was typed. ``kept``: the draft's content, for what the sheet has no field for.

    ``fleet``: the school's aircraft by registration, which say model, category and class where nobody does.
    """
    wrong: dict[str, str] = {}
    before: Mapping[str, Any] = kept.get("flight") or {}
    rows: list[int] = []
    flight = None
    if given.get("flown", NO_FLIGHT) != NO_FLIGHT:
        flight = _flight(given, zone, before, fleet, rows, wrong)
    ground = None
    if any(given.get(f"ground-{key}", "").strip() for key in ("time", "topic")):
        day = given.get("ground-date", "").strip() or given.get("date", "").strip()
        time = given.get("ground-time", "").strip()
        ground = {
            "date": day,
            **({"time": time} if time else {}),
            "topic": lines(given.get("ground-topic", "")),
        }
    content = {
        "flight": flight,
        "ground": ground,
        "items": [_item(given, number) for number in range(_count(given, "item-count", 200))],
        "comments": lines(given.get("comments", "")),
        "next": lines(given.get("next", "")),
    }
    return Typed(content, tuple(rows), wrong)


def _flight(
    given: Mapping[str, str],
    zone: zoneinfo.ZoneInfo,
    before: Mapping[str, Any],
    fleet: Mapping[str, Mapping[str, str]],
    rows: list[int],
    wrong: dict[str, str],
) -> dict[str, Any]:
    points = {_token(each): each for each in before.get("route", ()) if not isinstance(each, str)}
    points |= {
        _token(each["at"]): each["at"]
        for each in before.get("landings", ())
        if each.get("at") and not isinstance(each["at"], str)
    }
    craft = {key: value for key in CRAFT if (value := given.get(key, "").strip())}
    known = fleet.get(craft.get("registration", "").upper())
    craft = {**{key: value for key, value in (known or {}).items() if value}, **craft}
    day = given.get("date", "").strip()
    clock: dict[str, str] = {}
    before_it: dt.datetime | None = None
    for name in CLOCK:
        at = _instant(given, name, day, zone, wrong)
        if at and before_it and at < before_it:
            at += dt.timedelta(days=1)  # after midnight
            at = at.replace(tzinfo=zone)
        if at:
            clock[name], before_it = at.isoformat(), at
    others = [each for each in before.get("purposes", ()) if each != _prepares(before)]
    prepares = given.get("preparation", "").strip()
    landings = []
    for number in range(_count(given, "landing-count", 100)):
        if row := _landing(given, number, points):
            landings.append(row)
            rows.append(number)
    times = {key: value for key in TIMES if (value := given.get(f"t-{key}", "").strip())}
    return {
        "date": day,
        **({"trip": before["trip"]} if before.get("trip") else {}),
        "aircraft": craft,
        "route": [points.get(part, part) for part in _BREAKS.split(given.get("route", "")) if part],
        **clock,
        "times": {key: _hours(value) for key, value in times.items()},
        "landings": landings,
        "purposes": [*others, *([prepares] if prepares else [])],
        "remarks": lines(given.get("remarks", "")),
    }


def _landing(given: Mapping[str, str], number: int, points: Mapping[str, Any]) -> dict[str, Any] | None:
    at = given.get(f"landing-{number}-at", "").strip()
    counts = {key: given.get(f"landing-{number}-{key}", "").strip() or "0" for key in COUNTS}
    if not at and all(each == "0" for each in counts.values()):
        return None
    row: dict[str, Any] = {"at": points.get(at, at)} if at else {}
    row.update({key: int(each) if each.isdecimal() else each for key, each in counts.items()})
    if period := given.get(f"landing-{number}-period"):
        row["period"] = period
    for key in FLAGS:
        if said := given.get(f"landing-{number}-{key}"):
            row[key] = said == "yes"
    return row


def _item(given: Mapping[str, str], number: int) -> dict[str, Any]:
    taken: dict[str, Any] = {}
    place = 0
    while (name := given.get(f"item-{number}-m-{place}-name")) is not None and place < 50:
        value = given.get(f"item-{number}-m-{place}-value", "").strip()
        target = given.get(f"item-{number}-m-{place}-target", "").strip()
        if value:
            taken[name] = {"value": value, "target": target} if target else value
        place += 1
    return {
        "item": given.get(f"item-{number}", ""),
        "grade": given.get(f"item-{number}-grade", NOT_OBSERVED),
        "remarks": lines(given.get(f"item-{number}-remarks", "")),
        **({"measured": taken} if taken else {}),
    }


def _instant(
    given: Mapping[str, str], name: str, day: str, zone: zoneinfo.ZoneInfo, wrong: dict[str, str]
) -> dt.datetime | None:
    said = given.get(name, "").strip()
    if not said:
        return None
    found = _CLOCK.fullmatch(said)
    if not found:
        wrong[name] = gettext("%(said)r is not a time of day. Enter it as 14:05.") % {"said": said[:20]}
        return None
    try:
        return dt.datetime.combine(
            dt.date.fromisoformat(day), dt.time(int(found[1]), int(found[2])), tzinfo=zone
        )
    except ValueError:
        return None  # the day itself is at fault, and is told as such


def _hours(text: str) -> str:
    """A bare number is hours, as a person writes it."""
    return f"{text} h" if re.fullmatch(r"\d+([.,]\d+)?", text) else text


def _count(given: Mapping[str, str], name: str, most: int) -> int:
    said = given.get(name, "")
    return min(int(said), most) if said.isdecimal() and len(said) < 5 else 0


def lines(text: str) -> str:
    """Text of a field; a browser ends its lines in two characters."""
    return text.replace("\r\n", "\n").strip()


# Where a fault of the content stands on the sheet


def field_of(place: str, rows: Sequence[int], given: Mapping[str, str]) -> str:
    """The name of the field that a place such as ``content.flight.times.night`` was typed in."""
    path = place.removeprefix("content.")
    if path == "lesson":
        return "lesson"
    if path.startswith("flight."):
        part = path.removeprefix("flight.")
        if found := re.fullmatch(r"times\.(\w+)", part):
            return f"t-{found[1]}"
        if part == "times":
            return "t-total"
        if found := re.match(r"landings\[(\d+)\](?:\.(\w+))?", part):
            at = int(found[1])
            return f"landing-{rows[at] if at < len(rows) else at}-{found[2] or 'at'}"
        if found := re.match(r"aircraft(?:\.(\w+))?", part):
            return found[1] if found[1] in CRAFT else "registration"
        return re.split(r"[.\[]", part)[0]
    if path.startswith("ground."):
        return f"ground-{path.removeprefix('ground.')}"
    if found := re.match(r"items\[(\d+)\](?:\.(\w+)(?:\.(.+))?)?", path):
        row = f"item-{found[1]}"
        if found[2] == "measured" and found[3]:
            for number in range(50):
                if given.get(f"{row}-m-{number}-name") == found[3]:
                    return f"{row}-m-{number}-value"
        return f"{row}-{found[2]}" if found[2] in ("grade", "remarks") else f"{row}-grade"
    return path if path in ("comments", "next") else "flown"
