"""What the fields of a sheet may say, as data for the tablet, so that it refuses what the server refuses.

Patterns, limits and words come from the types of the record document, and messages from their readers.
``static/training/tablet/check.js`` reads them.
"""

from collections.abc import Mapping
from functools import cache
from typing import Any

from django.utils.translation import gettext as _

from syllabus.engine.places.geography import UnknownAirport
from syllabus.engine.record import reading, types
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors, Read
from syllabus.engine.record.shapes import AnyType, shape_of
from training.presenters.lesson import for_tablet as words_for_tablet
from training.web.instructor import amount_rules, sheet

#: A sample that no reader can read; its place in a message is that of the text.
_TYPED = "§"


def for_tablet() -> dict[str, Any]:
    """The words of a lesson, and under ``rules`` what its fields may say."""
    return {**words_for_tablet(), "rules": {**_rules(), **_in_the_language_of_the_page()}}


def _in_the_language_of_the_page() -> dict[str, Any]:
    return {
        "clock": {"pattern": sheet.CLOCK_TIME.pattern, "message": _words(sheet.not_a_clock_time(_TYPED))},
        "future": in_the_future("%(text)s", "%(today)s"),
    }


def in_the_future(day: str, today: str) -> str:
    return _("%(day)s is in the future; today is %(today)s.") % {"day": day, "today": today}


@cache
def _rules() -> dict[str, Any]:
    return {
        **_fields(),
        "years": [reading.FIRST_YEAR, reading.LAST_YEAR],
        "airport": _words(str(UnknownAirport(_TYPED))),
        "points": types.MOST_POINTS,
        "most_points": _refusal(reading.list_of(reading.name, most=types.MOST_POINTS), [_TYPED] * 101),
        **amount_rules.rules(),
    }


def _fields() -> dict[str, Any]:
    """The type of each field by its name, with ``*`` for a number; and what each type may say."""
    flight, ground = _by_key(engine.Flight), _by_key(engine.GroundLesson)
    craft, landing, item = (_by_key(each) for each in (engine.Aircraft, engine.Landings, engine.ItemGrade))
    kinds: dict[str, AnyType] = {
        "date": flight["date"],
        "remarks": flight["remarks"],
        "comments": types.TEXT,
        "next": types.TEXT,
        **{key: craft[key] for key in sheet.CRAFT},
        **{f"t-{key}": types.TIME for key in engine.TIMES},
        **{f"ground-{key}": ground[key] for key in ("date", "time", "topic")},
        **{f"landing-*-{key}": landing[key] for key in (*sheet.COUNTS, "period")},
        "item-*-grade": item["grade"],
        "item-*-remarks": item["remarks"],
    }
    every = list(dict.fromkeys(kinds.values()))
    return {
        "fields": {name: every.index(kind) for name, kind in kinds.items()},
        "types": [{"schema": each.schema, "message": _refusal(each.read)} for each in every],
    }


def _by_key(made: type) -> Mapping[str, AnyType]:
    return {each.key: each.type for each in shape_of(made).fields}


def _refusal(read: Read, *samples: Any) -> str:
    """What a reader says of a text that it cannot read; of a type that takes any, of one that is too long."""
    for sample in samples or (_TYPED, _TYPED * 201, _TYPED * (reading.MOST_TEXT + 1)):
        errors = Errors()
        read(errors, sample, "")
        if errors:
            message = errors[0].message
            return _words(message.replace(str(len(sample)), "%(length)s") if sample != _TYPED else message)
    raise AssertionError


def _words(message: str) -> str:
    return message.replace(_TYPED, "%(text)s")
