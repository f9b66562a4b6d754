"""Words that a training record document may use, and the everyday names read as one of them."""

from __future__ import annotations

from pathlib import Path

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

#: Kinds that rules read. Others are kept too (a school files more papers than rules ask for), but one that
#: is a letter away from these is taken for a slip of the pen and refused.
DOCUMENTS: list[str] = []
TESTS: list[str] = []
#: The sorts of the authorities' tests: what comes before the colon of those that have one.
TEST_SORTS: list[str] = []
ENDORSEMENTS: list[str] = []
#: How the kind of an endorsement for solo flight begins that is a school's own.
SOLO_STEMS: list[str] = []
#: Other everyday names of the same endorsements, read as the kind they mean.
ALSO_CALLED: dict[str, str] = {}
#: Lists of items that rules read: what their codes begin with, and the first and last number.
RULE_LISTS: dict[str, tuple[int, int]] = {}
RULE_ITEMS: list[str] = []


def read(*homes: Path) -> None:
    """Fill the lists above with the words of each authority's rules, a file for each in these folders."""
    files = [path for home in homes for path in sorted(home.glob("*.yaml"))]
    words = [yaml.load(path.read_bytes(), yaml.CSafeLoader) for path in files]
    lists = {"documents": DOCUMENTS, "tests": TESTS, "endorsements": ENDORSEMENTS, "solo_stems": SOLO_STEMS}
    for name, listed in lists.items():
        listed[:] = dict.fromkeys(word for each in words for word in each.get(name, ()))
    TEST_SORTS[:] = dict.fromkeys(each.partition(":")[0] for each in TESTS if ":" in each)
    for name, table in (("also_called", ALSO_CALLED), ("items", RULE_LISTS)):
        table.clear()
        for each in words:
            table.update(each.get(name, {}))
    RULE_ITEMS[:] = (
        f"{stem}{number:02d}"
        for stem, (first, last) in RULE_LISTS.items()
        for number in range(first, last + 1)
    )


read(Path(__file__).parents[2] / "law" / "vocabulary")
