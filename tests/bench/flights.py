"""Record documents of any size: a student who trains on and on, each kind of flight in its turn."""

from __future__ import annotations

import datetime as dt
import random
from typing import Any

LAST = dt.date(2026, 11, 20)
AWAY = ("KMSN", "KMKE", "KAUW", "KMTW", "KOSH")
AIRPLANE = {"registration": "N00XY", "model": "C172", "category": "airplane", "class": "single-engine land"}
INSTRUCTOR = {"name": "Bo Example", "certificate": "0000001CFI"}


def document(flights: int) -> dict[str, Any]:
    """A training record document with so many flights, the same at every call."""
    chance = random.Random(flights)
    return {
        "format": "training-record/1",
        "student": {"name": "Ada Example", "birth_date": "2006-05-17"},
        "flights": [_flight(number, flights, chance) for number in range(flights)],
    }


def _flight(number: int, of: int, chance: random.Random) -> dict[str, Any]:
    day = LAST - dt.timedelta(days=of - number)
    kind = chance.choice(("dual", "dual", "solo", "night", "away", "away solo"))
    lasted = f"1.{chance.randint(0, 9)} h"
    night, solo = kind == "night", "solo" in kind
    times = {"total": lasted, "solo" if solo else "dual": lasted, "night": "0.5 h" if night else 0}
    if "away" in kind:
        times["cross_country"] = lasted
    entry: dict[str, Any] = {
        "id": f"f{number}",
        "date": day.isoformat(),
        "aircraft": AIRPLANE,
        "route": ["KGRB", chance.choice(AWAY), "KGRB"] if "away" in kind else ["KGRB"],
        "times": times,
        "landings": [
            {"at": "KGRB", "takeoffs": 2, "landings": 2, "period": "night" if night else "day",
             "full_stop": True, "pattern": True, "towered": True}
        ],
        "purposes": ["practical-test-preparation:private"] if kind == "dual" else [],
    }  # fmt: skip
    if night:
        entry |= {"off": f"{day}T18:00:00-06:00", "on": f"{day}T19:20:00-06:00"}
    return entry if solo else entry | {"instructor": INSTRUCTOR}
