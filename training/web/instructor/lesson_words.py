"""A lesson in plain words, as it is read before it is signed, and after."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from syllabus.engine.course.course import Outline
from syllabus.engine.record.record import ItemGrade
from syllabus.engine.time.amounts import count
from syllabus.law import rulebook
from training.presenters import amounts
from training.presenters.days import clock
from training.web.instructor import sheet
from training.web.shared.report_presenter import day

_PERIODS = {"day": gettext_noop("by day"), "night": gettext_noop("at night")}


def lesson(content: Mapping[str, Any], zone: dt.tzinfo, outline: Outline | None) -> dict[str, Any]:
    """The lines of a content in its one form: ``flight``, ``ground``, ``items``, ``comments``, ``next``."""
    flight, ground = content.get("flight"), content.get("ground")
    return {
        "flight": _flight(flight, zone) if flight else [],
        "ground": _ground(ground) if ground else [],
        "items": [_item(each, outline) for each in content.get("items", ())],
        "comments": content.get("comments", ""),
        "next": content.get("next", ""),
    }


def _flight(flight: Mapping[str, Any], zone: dt.tzinfo) -> list[tuple[str, str]]:
    craft = flight.get("aircraft", {})
    times = flight.get("times", {})
    said = [
        (_("Day"), day(dt.date.fromisoformat(flight["date"]))),
        (_("Aircraft"), ", ".join(filter(None, (craft.get(key) for key in sheet.CRAFT)))),
        (_("Route"), " – ".join(map(point, flight.get("route", ())))),
        (_("Out"), instant(flight.get("out"), zone)),
        (_("Off"), instant(flight.get("off"), zone)),
        (_("On"), instant(flight.get("on"), zone)),
        (_("In"), instant(flight.get("in"), zone)),
        *((_(label), times[key]) for key, label in sheet.TIMES if key in times),
        *((_("Landings"), landing(each)) for each in flight.get("landings", ())),
        (_("Purpose"), ", ".join(flight.get("purposes", ()))),
        (_("Remarks"), flight.get("remarks", "")),
    ]
    return [(label, text) for label, text in said if text]


def _ground(ground: Mapping[str, Any]) -> list[tuple[str, str]]:
    said = [
        (_("Day"), day(dt.date.fromisoformat(ground["date"]))),
        (_("Time"), ground.get("time", "")),
        (_("Topic"), ground.get("topic", "")),
    ]
    return [(label, text) for label, text in said if text]


def _item(each: Mapping[str, Any], outline: Outline | None) -> dict[str, Any]:
    return {
        "code": each["item"],
        "title": title(each["item"], outline),
        "grade": _(sheet.GRADE_WORDS[each["grade"]]) if each["grade"] in sheet.GRADE_WORDS else each["grade"],
        "observed": each["grade"] != sheet.NOT_OBSERVED,
        "remarks": each.get("remarks", ""),
        "measured": [f"{name}: {measured(said)}" for name, said in sorted(each.get("measured", {}).items())],
    }


def measured(said: str | Mapping[str, str]) -> str:
    return said if isinstance(said, str) else _("%(value)s, target %(target)s") % said


def title(code: str, outline: Outline | None) -> str:
    item = outline.by_code.get(code) if outline else None
    return item.title if item else code


def asked_by_rules() -> Mapping[str, str]:
    """What the rules call the items that they ask for, by code."""
    return rulebook.current().items


def proved(grades: Iterable[ItemGrade]) -> list[dict[str, str]]:
    """What a lesson comes to for the rules, in their words."""
    names = asked_by_rules()
    return [
        {"item": names.get(each.item, each.item), "code": each.item, "grade": each.grade, "why": each.remarks}
        for each in grades
    ]


def instant(text: str | None, zone: dt.tzinfo) -> str:
    if not text:
        return ""
    return clock(dt.datetime.fromisoformat(text), zone)


def point(place: str | Mapping[str, Any]) -> str:
    return place if isinstance(place, str) else str(place.get("name", ""))


def landing(row: Mapping[str, Any]) -> str:
    """``3 takeoffs, 3 landings at KMTW by day, full stop``."""
    said = amounts.have((count(row.get("takeoffs", 0), "takeoff"), count(row.get("landings", 0), "landing")))
    if row.get("at"):
        said = _("%(landings)s at %(place)s") % {"landings": said, "place": point(row["at"])}
    if row.get("period"):
        period = _(_PERIODS[row["period"]]) if row["period"] in _PERIODS else row["period"]
        said = _("%(landings)s %(period)s") % {"landings": said, "period": period}
    flags = {
        "full_stop": (_("full stop"), _("not full stop")),
        "pattern": (_("in the pattern"), _("not in the pattern")),
        "towered": (_("tower in operation"), _("not tower in operation")),
    }
    told = [so if row[key] else not_so for key, (so, not_so) in flags.items() if row.get(key) is not None]
    return ", ".join([said, *told])
