"""Every number of the law is pinned: change any one of them, and at least one case of ``tests/cases`` turns.

Each leaf of the rule data that limits something (a number, a date, a unit, a flag, a word, an entry of a
list, or the limit as a whole) is changed in turn to what is next to it; the rulebook is built again from the
changed data, and the cases of that requirement are asked. Either a case turns, or the build refuses.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from functools import cache
from typing import Any

from syllabus.engine.errors import EngineError, RuleDataError
from syllabus.engine.record.record import DEVICES, GRADES
from syllabus.engine.record.vocabulary import CERTIFICATES, MEDICAL_CLASSES
from syllabus.engine.rules import facts
from syllabus.engine.rules.kinds import KINDS
from syllabus.engine.rules.kinds.times import COUNTS
from syllabus.law import dated, rulebook
from tests.support.extent import sampled
from tests.support.rows import over_rows
from tests.syllabus.engine.building import Case, cases

DATA = rulebook.read()
#: What is said of a requirement rather than asked by it.
WORDS = {"says", "plain", "expiring", "defined_in", "cite", "verified", "note", "id", "kind", "until", "why"}
#: Tables whose values are titles.
TITLED = ("items", "closed")
#: What a milestone says beside its requirements; pinned by any case of the milestone.
BESIDE = ("scope", "paths")
VOCABULARY: dict[str, tuple[str, ...]] = {
    "counts": COUNTS,
    "aircraft": facts.AIRCRAFT,
    "occupancy": ("dual", "solo"),
    "period": ("day", "night"),
    "landing_short": ("fails", "review"),
    "counts_from": ("training_date", "given"),
    "grade": GRADES,
    "at_least": MEDICAL_CLASSES,
    "certificates": CERTIFICATES,
    "devices": DEVICES,
    "by_letter": DEVICES,
}
UNITS = ("day", "month", "calendar month", "year", "h", "min", "s", "NM", "SM", "km", "m", "ft")
#: The step in which a unit is counted: a logbook has tenths, distances are compared to a tenth here.
STEPS = {"h": Fraction(1, 10), "NM": Fraction(1, 10)}
NUMBER = re.compile(r"\d+(?:\.\d+)?")
QUANTITY = re.compile(r"(\d+(?:\.\d+)?) (.+)")

_REFUSED = "who holds more than the scope's certificates is refused before the requirement is asked"
_EITHER = "a medical of July 2008 lived past July 2006 by either life, so that the day itself decides nothing"
_CREDITED = "the rule credits this device without a letter already, which is asked first"
_FROM_THE_ENDORSEMENT = (
    "a life counts from the day of the endorsement where nothing else is said; it is written out beside the"
    " rules that count from the training"
)
#: Changes that mean the same, each with the reason. ``requirement: path: change``.
EQUIVALENT: dict[str, str] = {
    "faa.private-practical-test.total: device_credit.by_letter: with FFS": _CREDITED,
    "faa.private-practical-test.total: device_credit.by_letter: with FTD": _CREDITED,
    "faa.private-practical-test.dual: device_credit.by_letter: with FFS": _CREDITED,
    "faa.private-practical-test.dual: device_credit.by_letter: with FTD": _CREDITED,
    "faa.private-practical-test.night-cross-country-flight: landing_short: left out": (
        "a landing that is too near fails where nothing else is said; it is written out beside the rule that"
        " leaves it to a person"
    ),
    "faa.solo-class-b.class-b-endorsement: counts_from: left out": _FROM_THE_ENDORSEMENT,
    "faa.solo-class-b.airport-endorsement: counts_from: left out": _FROM_THE_ENDORSEMENT,
    **{
        f"faa.first-solo.certificate: certificates: with {more}": _REFUSED
        for more in ("sport", "recreational", "private", "commercial", "airline-transport")
    },
    **{
        f"faa.private-practical-test.certificate: certificates: with {more}": _REFUSED
        for more in ("private", "commercial", "airline-transport")
    },
    **{
        f"{milestone}.medical: versions.{version}.basicmed.look_back.issued_before: a day {way}": _EITHER
        for milestone in ("faa.first-solo", "faa.private-practical-test")
        for version in (2, 3)
        for way in ("later", "earlier")
    },
}
#: Numbers that a rule's words explain and its data does not hold.
EXPLAINED = {"faa.private-knowledge-test.age": {"17"}}


@dataclass(frozen=True)
class Place:
    """A leaf of the data: the keys that lead to it, and where it stands."""

    file: str
    requirement: str
    path: tuple[str | int, ...]
    line: str

    @property
    def name(self) -> str:
        return ".".join(str(each) for each in self.path[1 if self.path[0] in BESIDE else 2 :])


def places() -> Iterator[Place]:
    """Every leaf of every requirement that limits something; shared ones once."""
    for file, data in DATA.items():
        for key in filter(data.__contains__, BESIDE):
            for path, line in leaves(data[key], (key,), data.place()):
                yield Place(file, f"{data['milestone']} {key}", path, line)
        for index, requirement in enumerate(data["requirements"]):
            name = f"{data['milestone']}.{requirement['id']}"
            for path, line in leaves(requirement, ("requirements", index), requirement.place()):
                yield Place(file, name, path, line)


def leaves(at: Any, path: tuple[str | int, ...], line: str) -> Iterator[tuple[tuple[str | int, ...], str]]:
    if isinstance(at, dated.Lined):
        for key, value in at.items():
            if key not in WORDS:
                if path[-1] not in TITLED:  # titles are words; what bears them are limits
                    yield from leaves(value, (*path, key), at.place(key))
                else:
                    yield (*path, key), at.place(key)
        if len(path) > 2 and "versions" not in path[-2:] and path[-1] not in TITLED:
            yield path, line
    elif isinstance(at, list):
        for index, value in enumerate(at):
            yield from leaves(
                value, (*path, index), value.place() if isinstance(value, dated.Lined) else line
            )
        if path[-1] not in ("versions", "lives"):
            yield path, line
    else:
        yield path, line


def held(data: Any, path: tuple[str | int, ...]) -> Any:
    for key in path:
        data = data[key]
    return data


GONE = object()


def changes(value: Any, path: tuple[str | int, ...]) -> Iterator[tuple[str, Any]]:
    """What a value is changed to, each change with its name."""
    key = next(str(each) for each in reversed(path) if isinstance(each, str))
    known = VOCABULARY.get(key, ())
    yield "left out", GONE
    if len(path) > 1 and path[-2] in TITLED:
        return
    if isinstance(value, bool):
        yield "flipped", not value
    elif isinstance(value, int):
        yield "one more", value + 1
        yield "one less", value - 1
    elif isinstance(value, date):
        yield "a day later", value + timedelta(days=1)
        yield "a day earlier", value - timedelta(days=1)
    elif isinstance(value, str) and (found := QUANTITY.fullmatch(value)) and found[2] in UNITS:
        number, unit = Fraction(found[1]), found[2]
        step = STEPS.get(unit, Fraction(1))
        yield "a step more", f"{float(number + step):g} {unit}"
        yield "a step less", f"{float(number - step):g} {unit}"
        for other in UNITS:
            if other != unit:
                yield f"in {other}", f"{found[1]} {other}"
    elif isinstance(value, str):
        for other in known or (f"{value}-of-another-sort",):
            if other != value:
                yield f"as {other}", other
    elif isinstance(value, list) and known:
        for other in known:
            if other not in value:
                yield f"with {other}", [*value, other]


def changed(place: Place, value: Any) -> dict[str, dated.Lined]:
    """The data of the file with one value changed; files it does not nest are left out."""
    data = {place.file: copy.deepcopy(DATA[place.file])}
    nested = {each.get("milestone") for each in data[place.file]["requirements"]}
    data.update({file: each for file, each in DATA.items() if each["milestone"] in nested})
    at = held(data[place.file], place.path[:-1])
    if value is GONE:
        del at[place.path[-1]]
    else:
        at[place.path[-1]] = value
    return data


def turned(place: Place, value: Any, asked: list[Case]) -> bool:
    """Whether the build refuses the change, or a case answers otherwise."""
    try:
        book = rulebook.build(changed(place, value))
    except RuleDataError:
        return True
    for case in asked:
        try:
            if case.problems(book):
                return True
        except EngineError:
            return True
    return False


@cache
def cases_of(requirement: str) -> list[Case]:
    """Its cases that hold as the data stands: one that fails already would notice anything."""
    return [
        case
        for case in cases()
        if requirement in (case.requirement, *(f"{case.milestone} {key}" for key in BESIDE))
        and not case.problems(rulebook.current())
    ]


@over_rows(
    "place",
    lambda: sampled(places(), 4, lambda place: f"{place.requirement}: {place.name}"),
    ids=lambda place: f"{place.requirement}: {place.name}, {place.line}",
)
def test_a_changed_limit_turns_a_case(place: Place) -> None:
    """Every way of changing it; one that nothing notices names file and line."""
    value = held(DATA[place.file], place.path)
    survived = [
        name
        for name, other in changes(value, place.path)
        if f"{place.requirement}: {place.name}: {name}" not in EQUIVALENT
        and not turned(place, other, cases_of(place.requirement))
    ]

    assert not survived, (
        f"{place.line}: {place.requirement}, {place.name} is {value!r}; no case of it in tests/cases turns"
        f" when it is {', or '.join(survived)}"
    )


def test_each_equivalent_change_is_one_that_is_made() -> None:
    """A reason for a change that nobody makes would be left over from an older rule."""
    made = {
        f"{place.requirement}: {place.name}: {name}"
        for place in places()
        for name, _ in changes(held(DATA[place.file], place.path), place.path)
    }

    assert set(EQUIVALENT) <= made


NAMED = [
    (f"{data['milestone']}.{requirement['id']}", requirement, version)
    for data in DATA.values()
    for requirement in data["requirements"]
    for version in requirement["versions"]
]


@over_rows(
    ("name", "requirement", "version"),
    NAMED,
    ids=lambda each: f"{each[0]} from {each[2]['from']}",
)
def test_the_words_of_a_version_name_its_numbers(
    name: str, requirement: dated.Lined, version: dated.Lined
) -> None:
    """What people read and what is computed are one: no number in the words without its datum."""
    limits = {key: value for key, value in {**requirement, **version}.items() if key not in WORDS}
    numbers = set(NUMBER.findall(str(limits))) | EXPLAINED.get(name, set())
    numbers |= {str(len(requirement["items"]))} if "items" in requirement else set()

    assert set(NUMBER.findall(version["says"])) <= numbers


@over_rows("kind", sorted(KINDS))
def test_every_kind_of_requirement_is_used_by_a_rule(kind: str) -> None:
    assert any(each["kind"] == kind for data in DATA.values() for each in data["requirements"])
