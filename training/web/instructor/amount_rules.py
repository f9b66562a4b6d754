"""How times and measured values are written, as data for the tablet: units, patterns, limits and messages.

``static/training/tablet/amounts.js`` reads them.
"""

from collections.abc import Mapping
from typing import Any

from syllabus.engine.course import measured, standards
from syllabus.engine.record import reading
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors
from syllabus.engine.time import units
from syllabus.engine.time.units import QuantityError


def rules() -> dict[str, Any]:
    return {
        "most_hours": reading.MOST_HOURS,
        "times": _times(),
        "measured": {
            "quantities": {
                name: {"dimension": each.dimension, "words": [*each.words, "off"], "unit": each.unit}
                for name, each in standards.QUANTITIES.items()
            },
            "turn": next(name for name, each in standards.QUANTITIES.items() if each.unit == "deg/s"),
            "before": standards.ROLLED_OUT,
            "most": measured.MOST_TEXT,
            "number": measured.NUMBER.pattern,
            "spelled": measured.SPELLED.pattern,
            "thousands": measured.THOUSANDS.pattern,
            "message": _measured("§").replace("§", "%(text)s"),
            "target": _measured("5 ft", "§").replace("§", "%(text)s"),
            "other": _measured("5 ft", "5 kt").replace("5 ft", "%(text)s").replace("5 kt", "%(target)s"),
        },
        "units": {
            name: [each for each, of in units.SPELLINGS.items() if of in known]
            for name, (known, *_more) in units.DIMENSIONS.items()
        },
        "microseconds": {
            each: units.parse_time(f"1 {each}")
            for each, of in units.SPELLINGS.items()
            if of in units.DIMENSIONS[units.TIME][0]
        },
        "digits": [units.MOST_DIGITS, units.MOST_DECIMALS],
    }


def _times() -> dict[str, str]:
    """What contradicts another time, with ``%(text)s`` and ``%(total)s`` for the amounts.

    The last has dual and solo in them.
    """
    return {
        "part": _contradiction({"total": "0.1 h", "night": "0.2 h"}, "0.2 h", "0.1 h"),
        "instrument": _contradiction(
            {"total": "0.3 h", "actual_instrument": "0.2 h", "simulated_instrument": "0.2 h"},
            "0.4 h",
            "0.3 h",
        ),
        "alone": _contradiction({"total": "0.3 h", "dual": "0.1 h", "solo": "0.2 h"}, "0.1 h", "0.2 h"),
    }


def _contradiction(said: Mapping[str, str], text: str, total: str) -> str:
    errors = Errors()
    engine.LOGGED.read(errors, said, "")
    return errors[0].message.replace(text, "%(text)s").replace(total, "%(total)s")


def _measured(value: str, target: str | None = None) -> str:
    """What is said of a measured value that cannot be read."""
    try:
        measured.check("§", value, target)
    except QuantityError as problem:
        return str(problem)
    raise AssertionError
