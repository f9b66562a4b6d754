"""The lesson sheet as a form: converts a lesson's content to named fields and back.

``static/training/tablet/sheet.js`` reads the same names to make the content offline. Items have the numbers
that they have in the content; empty rows of landings are left out of it.
"""

import datetime as dt
import re
import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext

from syllabus.engine.course.course import Item, Outline
from syllabus.engine.course.standards import RANGE, Tolerance
from syllabus.engine.record.record import NOT_OBSERVED, TIMES, Aircraft
from syllabus.engine.record.shapes import shape_of
from syllabus.engine.rules.kinds.training import PREPARATION
from syllabus.engine.rules.rulebook import Milestone
from training.presenters.entry import COUNTS, FLAGS

#: Clock times in order: off blocks, takeoff, landing, on blocks.
CLOCK = ("out", "off", "on", "in")
CRAFT = tuple(each.key for each in shape_of(Aircraft).fields)
DUAL, SOLO, NO_FLIGHT = "dual", "solo", "none"
MOST_MEASURED = 50
_SAID = {True: "yes", False: "no", None: ""}
#: The most rows that a sheet may have.
MOST_ROWS = {"item-count": 200, "landing-count": 100}
#: Empty rows after those with landings.
SPARE_LANDINGS = 1
_BREAKS = re.compile(r"[\s,>\-–→]+")
_BARE = re.compile(r"[+-]?\d+([.,]\d+)*")
CLOCK_TIME = re.compile(r"([01]?\d|2[0-3]):?([0-5]\d)")


@dataclass(frozen=True)
class Typed:
    """The fields as typed: ``content`` for ``lesson_content.read``; ``rows`` are the landing rows in use, in
    order.

    ``wrong`` has the errors of fields that cannot go into a content, by field name.
    """

    content: dict[str, Any]
    rows: tuple[int, ...] = ()
    wrong: Mapping[str, str] = field(default_factory=dict)


def values(content: Mapping[str, Any], zone: dt.tzinfo, outline: Outline | None) -> dict[str, str]:
    """The field values of a content."""
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
    rows, items = _lines(flight, found["route"]), content.get("items", ())
    found["landing-count"], found["item-count"] = str(len(rows) + SPARE_LANDINGS), str(len(items))
    for number, row in enumerate(rows):
        found |= {f"landing-{number}-{key}": text for key, text in _landing_values(row).items()}
    for number, each in enumerate(items):
        item = outline.by_code.get(each["item"]) if outline else None
        found[f"item-{number}"] = each["item"]
        found |= {f"item-{number}-{key}": text for key, text in _item_values(each, item).items()}
    return found


def from_last_time(flight: Mapping[str, Any]) -> dict[str, str]:
    """What a new sheet takes over from the last flight: its aircraft and its route, with their lines."""
    if not flight:
        return {}
    route = " ".join(_token(each) for each in flight.get("route", ()))
    rows = _lines({}, route)
    found = {"landing-count": str(len(rows) + SPARE_LANDINGS), "route": route}
    found |= {f"landing-{number}-at": each["at"] for number, each in enumerate(rows)}
    craft = flight.get("aircraft", {})
    return found | {key: craft[key] for key in CRAFT if craft.get(key)}


def _lines(flight: Mapping[str, Any], route: str) -> list[Mapping[str, Any]]:
    """The landings of a flight, and an empty line for each other airport of its route."""
    rows: list[Mapping[str, Any]] = list(flight.get("landings", ()))
    known = {_token(each["at"]) for each in rows if each.get("at")}
    first, *others = route.split() or [""]
    return rows + [{"at": each} for each in dict.fromkeys([*others, first]) if each and each not in known]


def _landing_values(row: Mapping[str, Any]) -> dict[str, str]:
    return {
        "at": _token(row["at"]) if row.get("at") else "",
        "period": row.get("period") or "",
        **{key: str(row.get(key, 0)) for key in COUNTS},
        **{key: _SAID[row.get(key)] for key in FLAGS},
    }


def _item_values(each: Mapping[str, Any], item: Item | None) -> dict[str, str]:
    found = {"grade": each["grade"].replace(NOT_OBSERVED, ""), "remarks": each.get("remarks", "")}
    measured: Mapping[str, Any] = each.get("measured", {})
    for place, (name, _limit) in enumerate(measures(item, measured)):
        said = measured.get(name, "")
        value, target = (said, "") if isinstance(said, str) else (said["value"], said["target"])
        found |= {f"m-{place}-name": name, f"m-{place}-value": value, f"m-{place}-target": target}
    return found


def measures(item: Item | None, taken: Iterable[str] = ()) -> list[tuple[str, Tolerance | None]]:
    """What can be measured of an item: its standard's tolerances, then anything else that was measured."""
    known: list[tuple[str, Tolerance | None]] = [(each.name, each) for each in item.standard] if item else []
    names = {name for name, _ in known}
    return [*known, *((name, None) for name in sorted(taken) if name not in names)]


def aims(tolerance: Tolerance | None) -> bool:
    """Whether the target is chosen in flight, so that the sheet needs a field for it."""
    return tolerance is None or (tolerance.target.kind != RANGE and tolerance.target.value is None)


def preparation(test: Milestone) -> str:
    """The purpose of a flight that prepares for a test; empty if the test requires no such flights."""
    named = [version.get("prepares_for") for each in test.requirements for version in each.versions]
    return next((f"{PREPARATION}{each}" for each in named if each), "")


def _prepares(flight: Mapping[str, Any]) -> str:
    """The practical test in a flight's purpose; empty if it names none."""
    return next((each for each in flight.get("purposes", ()) if each.startswith(PREPARATION)), "")


def _token(point: str | Mapping[str, Any]) -> str:
    return point if isinstance(point, str) else str(point.get("name", "")).replace(" ", "_")


def _clock(instant: str | None, zone: dt.tzinfo) -> str:
    return dt.datetime.fromisoformat(instant).astimezone(zone).strftime("%H:%M") if instant else ""


def content_of(
    given: Mapping[str, str],
    zone: zoneinfo.ZoneInfo,
    kept: Mapping[str, Any],
    fleet: Mapping[str, Mapping[str, str]],
) -> Typed:
    """The content as typed. ``kept`` is the draft's content, for what the sheet has no field for.

    ``fleet`` is the school's aircraft by registration; they fill in model, category and class.
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
            **({"time": _hours(time)} if time else {}),
            "topic": lines(given.get("ground-topic", "")),
        }
    content = {
        "flight": flight,
        "ground": ground,
        "items": [_item(given, number) for number in range(count_of(given, "item-count"))],
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
    known = _points(before)
    day = given.get("date", "").strip()
    others = [each for each in before.get("purposes", ()) if each != _prepares(before)]
    prepares = given.get("preparation", "").strip()
    landings = []
    for number in range(count_of(given, "landing-count")):
        if row := _landing(given, number, known):
            landings.append(row)
            rows.append(number)
    times = {key: value for key in TIMES if (value := given.get(f"t-{key}", "").strip())}
    return {
        "date": day,
        **({"trip": before["trip"]} if before.get("trip") else {}),
        "aircraft": _craft(given, fleet, before.get("aircraft", {})),
        "route": [known.get(part, part) for part in points(given.get("route", ""))],
        **_clocked(given, day, zone, wrong),
        "times": {key: _hours(value) for key, value in times.items()},
        "landings": landings,
        "purposes": [*others, *([prepares] if prepares else [])],
        "remarks": lines(given.get("remarks", "")),
    }


def points(route: str) -> list[str]:
    """The waypoints of a route as typed."""
    return [part for part in _BREAKS.split(route) if part]


def _points(before: Mapping[str, Any]) -> dict[str, Any]:
    """The draft's waypoints that are more than an identifier, by their text on the sheet."""
    every = [*before.get("route", ()), *(each.get("at") for each in before.get("landings", ()))]
    return {_token(each): each for each in every if each and not isinstance(each, str)}


def _craft(
    given: Mapping[str, str], fleet: Mapping[str, Mapping[str, str]], before: Mapping[str, str]
) -> dict[str, str]:
    """The aircraft; the school's own fills in the rest, and takes the place of what the last one left."""
    craft = {key: value for key in CRAFT if (value := given.get(key, "").strip())}
    craft.update({"registration": craft["registration"].upper()} if "registration" in craft else {})
    known = {
        key: value
        for key, value in fleet.get(craft.get("registration", ""), {}).items()
        if key in CRAFT and value
    }
    if before and craft.get("registration") != before.get("registration"):
        craft = {key: value for key, value in craft.items() if value != before.get(key)}
    return {**known, **craft, **({"registration": known["registration"]} if known else {})}


def _clocked(
    given: Mapping[str, str], day: str, zone: zoneinfo.ZoneInfo, wrong: dict[str, str]
) -> dict[str, str]:
    """The clock times as instants; one that is earlier than the one before it is on the next day."""
    clock: dict[str, str] = {}
    before_it: dt.datetime | None = None
    for name in CLOCK:
        at = _instant(given, name, day, zone, wrong)
        if at and before_it and at < before_it:
            at += dt.timedelta(days=1)  # after midnight
            at = at.replace(tzinfo=zone)
        if at:
            clock[name], before_it = at.isoformat(), at
    return clock


def _landing(given: Mapping[str, str], number: int, points: Mapping[str, Any]) -> dict[str, Any] | None:
    at = given.get(f"landing-{number}-at", "").strip()
    counts = {key: given.get(f"landing-{number}-{key}", "").strip() or "0" for key in COUNTS}
    if all(each == "0" for each in counts.values()):
        return None
    row: dict[str, Any] = {"at": points.get(at, at)} if at else {}
    row.update({key: int(each) if each.isdecimal() else each for key, each in counts.items()})
    if period := given.get(f"landing-{number}-period"):
        row["period"] = period
    for key in FLAGS:
        if said := given.get(f"landing-{number}-{key}"):
            row[key] = said == "yes"
    return row


def taken(given: Mapping[str, str], number: int) -> list[str]:
    """The values that the sheet has rows for, to be measured of one of its items."""
    found: list[str] = []
    for place in range(MOST_MEASURED):
        if (name := given.get(f"item-{number}-m-{place}-name")) is None:
            break
        found.append(name)
    return found


def _item(given: Mapping[str, str], number: int) -> dict[str, Any]:
    measured: dict[str, Any] = {}
    for place, name in enumerate(taken(given, number)):
        unit = given.get(f"item-{number}-m-{place}-unit", "")[:10]
        value, target = (
            _with_unit(given.get(f"item-{number}-m-{place}-{key}", "").strip(), unit)
            for key in ("value", "target")
        )
        if value:
            measured[name] = {"value": value, "target": target} if target else value
    return {
        "item": given.get(f"item-{number}", ""),
        "grade": given.get(f"item-{number}-grade") or NOT_OBSERVED,
        "remarks": lines(given.get(f"item-{number}-remarks", "")),
        **({"measured": measured} if measured else {}),
    }


def _instant(
    given: Mapping[str, str], name: str, day: str, zone: zoneinfo.ZoneInfo, wrong: dict[str, str]
) -> dt.datetime | None:
    said = given.get(name, "").strip()
    if not said:
        return None
    found = CLOCK_TIME.fullmatch(said)
    if not found:
        wrong[name] = not_a_clock_time(said)
        return None
    try:
        return dt.datetime.combine(
            dt.date.fromisoformat(day), dt.time(int(found[1]), int(found[2])), tzinfo=zone
        )
    except ValueError:
        return None  # the date itself has the error


def not_a_clock_time(said: str) -> str:
    return gettext("%(said)r is not a time of day. Enter it as 14:05.") % {"said": said[:20]}


def _hours(text: str) -> str:
    """A bare number is hours."""
    return _with_unit(text, "h")


def _with_unit(text: str, unit: str) -> str:
    """A bare number gets the unit that its field states."""
    return f"{text} {unit}" if unit and _BARE.fullmatch(text) else text


def count_of(given: Mapping[str, str], name: str) -> int:
    """The number of rows, from the field that counts them."""
    said = given.get(name, "")
    return min(int(said), MOST_ROWS[name]) if said.isdecimal() and len(said) < 5 else 0


def lines(text: str) -> str:
    """A field's text with ``\\n`` line ends; browsers send ``\\r\\n``."""
    return text.replace("\r\n", "\n").strip()


def field_of(place: str, rows: Sequence[int], given: Mapping[str, str]) -> str:
    """The name of the field for a place such as ``content.flight.times.night``."""
    path = place.removeprefix("content.")
    if path in ("lesson", "comments", "next"):
        return path
    if path.startswith("ground."):
        return f"ground-{path.removeprefix('ground.')}"
    if path.startswith("flight."):
        return _field_of_flight(path.removeprefix("flight."), rows)
    found = re.match(r"items\[(\d+)\](?:\.(\w+)(?:\.(.+))?)?", path)
    if not found:
        return "flown"
    row, key, name = f"item-{found[1]}", found[2], found[3]
    if key == "measured" and name:
        names = taken(given, int(found[1]))
        whose, _dot, part = name.rpartition(".")
        if name in names:
            return f"{row}-m-{names.index(name)}-value"
        if whose in names and part in ("value", "target"):
            return f"{row}-m-{names.index(whose)}-{part}"
    return f"{row}-{key}" if key in ("grade", "remarks") else f"{row}-grade"


def _field_of_flight(part: str, rows: Sequence[int]) -> str:
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
