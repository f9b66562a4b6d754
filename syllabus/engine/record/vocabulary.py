"""Words that a training record document may use, and the everyday names read as one of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml

CATEGORIES = (
    "airplane",
    "rotorcraft",
    "glider",
    "lighter-than-air",
    "balloon",
    "airship",
    "powered-lift",
    "powered parachute",
    "weight-shift-control",
)
CLASSES = (
    "single-engine land",
    "single-engine sea",
    "multiengine land",
    "multiengine sea",
    "helicopter",
    "gyroplane",
    "airship",
    "balloon",
    "powered parachute land",
    "powered parachute sea",
    "weight-shift-control land",
    "weight-shift-control sea",
)
CERTIFICATES = ("student", "sport", "recreational", "private", "commercial", "airline-transport")
MEDICAL_CLASSES = ("first", "second", "third")
RESULTS = ("pass", "fail")
#: Flight instructors (14 CFR 61.193), ground instructors (61.215), and instructors of 61.41: authorized by
#: another country, abroad, or by an armed force.
INSTRUCTORS = ("flight", "ground", "foreign", "armed-forces")
#: Those whose dual time is flight training.
FLIGHT_TRAINING = ("flight", "foreign", "armed-forces")

#: How the kinds of an authority's tests begin; others are an instructor's or a school's own.
TESTS_OF = ("knowledge", "practical", "knowledge-test", "practical-test")
#: The words that each authority's rules read, in a file of its name.
_WORDS = [
    yaml.safe_load(path.read_text(encoding="utf-8"))
    for path in sorted((Path(__file__).parents[2] / "law" / "vocabulary").glob("*.yaml"))
]


def _listed(name: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(word for each in _WORDS for word in each.get(name, ())))


def _table(name: str) -> dict[str, Any]:
    return {key: value for each in _WORDS for key, value in each.get(name, {}).items()}


#: Kinds that rules read. Others are kept too (a school files more papers than rules ask for), but one that
#: is a letter away from these is taken for a slip of the pen and refused.
DOCUMENTS, TESTS, ENDORSEMENTS = (_listed(name) for name in ("documents", "tests", "endorsements"))
#: Other everyday names of the same endorsements, read as the kind they mean.
ALSO_CALLED: dict[str, str] = _table("also_called")
#: Lists of items that rules read: what their codes begin with, and the first and last number.
RULE_LISTS: dict[str, tuple[int, int]] = _table("items")
RULE_ITEMS = tuple(
    f"{stem}{number:02d}" for stem, (first, last) in RULE_LISTS.items() for number in range(first, last + 1)
)
