"""The cases of ``tests/cases``: short rows, written out to whole record documents and put to the engine.

A row says only what matters to it. What it leaves out is filled in here: the instructor of dual time, a
single-engine airplane, the total that goes with the dual or solo time, ids in the order written
(``f1``, ``e1``, ``d1``, ``t1``, ``c1``; an item's grade is called by its item). ``by: null`` means that no
instructor is named, ``aircraft: null`` that nothing is known of the aircraft, ``total: null`` that no total
was logged. A row with endorsements and no flights of its own is given, for each, the dual flight that it
rests on, of its ``training_date`` or day, unless it says ``trained: false``. Names of points (``A``,
``N50``) are looked up in ``points.yaml``.
"""

from __future__ import annotations

import itertools
import pathlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache, cached_property
from typing import Any

import yaml

from syllabus.engine.errors import NotInForce
from syllabus.engine.record import document
from syllabus.engine.record.record import FORMAT, TIMES, Record
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import Context, context_from
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.report import Report
from syllabus.engine.rules.rulebook import Rulebook

HOME = pathlib.Path(__file__).parents[2] / "cases"
IDA = {"name": "Ida Example", "certificate": "0000001CFI"}
SINGLE_ENGINE = {"model": "C172", "category": "airplane", "class": "single-engine land"}
LISTS = {"presolo.d": 15, "soloxc.e": 12, "area.private": 12}


class Plain(yaml.CSafeLoader):
    """YAML's plain scalars as version 1.2 reads them: ``on`` and dates are text, ``1:24`` is no number."""


Plain.yaml_implicit_resolvers = {}
for tag, pattern, first in (
    ("bool", "true|false", "tf"),
    ("null", "null|~|", "n~"),
    ("merge", "<<", "<"),
    ("int", "0|-?[1-9][0-9]*", "-0123456789"),
    ("float", r"-?[0-9]+\.[0-9]+", "-0123456789"),
):
    Plain.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(f"^(?:{pattern})$"), list(first))
    if tag == "null":
        Plain.yaml_implicit_resolvers.setdefault("", []).append(
            (f"tag:yaml.org,2002:{tag}", re.compile(f"^(?:{pattern})$"))
        )


def read_yaml(path: pathlib.Path) -> Any:
    return yaml.load(path.read_text(encoding="utf-8"), Plain)  # noqa: S506 - a safe loader


@cache
def points() -> Mapping[str, Mapping[str, Any]]:
    """The named points, each with the latitude and longitude written in ``points.yaml``."""
    return {
        name: {"name": name, **place} for name, place in read_yaml(HOME / "points.yaml")["points"].items()
    }


def _point(value: Any) -> Any:
    return points().get(value, value) if isinstance(value, str) else value


def _route(value: Any) -> Any:
    return [_point(each) for each in (value.split() if isinstance(value, str) else value)]


def _flat(entries: Any) -> Iterator[Any]:
    for each in entries or ():
        if isinstance(each, list):
            yield from _flat(each)
        else:
            yield each


def _with(entry: Mapping[str, Any]) -> dict[str, Any]:
    """An entry whose ``with`` holds further keys, as a row that stands for several has it."""
    return {**{key: value for key, value in entry.items() if key != "with"}, **entry.get("with", {})}


def _numbered(entries: Any, letter: str) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    for each in _flat(entries):
        for _ in range(each.get("repeat", 1)):
            entry = {key: value for key, value in _with(each).items() if key != "repeat"}
            made.append({"id": f"{letter}{len(made) + 1}", **entry})
    return made


def _taught(entry: dict[str, Any], taught: bool) -> None:
    if entry.pop("by", "Ida") is not None and taught:
        entry.setdefault("instructor", IDA)


def _flight(entry: dict[str, Any]) -> dict[str, Any]:
    times = {key: entry.pop(key) for key in TIMES if key in entry}
    if "total" not in times and (times.get("dual") or times.get("solo")):
        times["total"] = times.get("dual") or times.get("solo")
    times = {**times, **entry.pop("times", {})}
    _taught(entry, bool(times.get("dual")))
    craft = entry.pop("aircraft", {})
    if craft is not None:
        entry["aircraft"] = {**SINGLE_ENGINE, **craft}
    if "route" in entry:
        entry["route"] = _route(entry["route"])
    if "landings" in entry:
        entry["landings"] = [
            {**each, "at": _point(each["at"])} if "at" in each else each
            for each in map(_with, _flat(entry["landings"]))
        ]
    return {**entry, "times": {key: value for key, value in times.items() if value is not None}}


def _item(entry: dict[str, Any]) -> Iterator[dict[str, Any]]:
    every = entry.pop("every", None)
    left_out = entry.pop("but", ())
    _taught(entry, True)
    joint = "." if every == "area.private" else "-"
    names = [f"{every}{joint}{n:02d}" for n in range(1, LISTS[every] + 1)] if every else [entry["item"]]
    for name in names:
        if name not in left_out:
            yield {"id": name, "grade": "perform", **entry, "item": name}


def document_of(fragment: Mapping[str, Any]) -> dict[str, Any]:
    """The whole record document of a row's ``record``."""
    left = dict(fragment)
    student = {"name": "Sam Example", **({"birth_date": left.pop("born")} if "born" in left else {})}
    day = left.pop("date", None)
    dated = {"date": day} if day else {}

    def entries(part: str, letter: str, key: str = "date") -> list[dict[str, Any]]:
        when = {key: day} if day else {}
        return [{**when, **each} for each in _numbered(left.pop(part, ()), letter)]

    made: dict[str, Any] = {"format": FORMAT, "student": {**student, **left.pop("student", {})}}
    made["flights"] = [_flight(each) for each in entries("flights", "f")]
    made["items"] = [each for entry in _flat(left.pop("items", ())) for each in _item({**dated, **entry})]
    made["ground"] = entries("ground", "g")
    made["certificates"] = entries("certificates", "c", "issued")
    made["documents"] = entries("documents", "d", "issued")
    made["tests"] = entries("tests", "t")
    made["endorsements"] = entries("endorsements", "e", "given")
    for entry in made["endorsements"]:
        _taught(entry, True)
        for key, read in (("route", _route), ("airport", _point)):
            if entry.get(key) is not None:
                entry[key] = read(entry[key])
    if left.pop("trained", not made["flights"]):
        made["flights"] += [_training(entry) for entry in made["endorsements"]]
    assert not left, f"a row's record holds {', '.join(left)}"
    return made


def _training(entry: Mapping[str, Any]) -> dict[str, Any]:
    """The dual flight an endorsement rests on: in its model, at its airport, both ways over its route."""
    route = entry.get("route") or []
    if entry.get("airport") is not None and not route:
        route = [entry["airport"], entry["airport"]]
    night = {"night": "1 h"} if entry["kind"] == "solo-night" else {}
    return {
        "id": f"{entry['id']}-training",
        "date": entry.get("training_date") or entry["given"],
        "aircraft": {**SINGLE_ENGINE, "model": entry.get("aircraft_model") or SINGLE_ENGINE["model"]},
        "route": [*route, *route[-2::-1]],
        "times": {"total": "1 h", "dual": "1 h", **night},
        "instructor": entry.get("instructor", IDA),
        "purposes": ["practical-test-preparation:private"],
    }


@dataclass(frozen=True)
class Case:
    """One question with the answer that its source gives."""

    id: str
    file: str
    milestone: str
    requirement: str | None
    on: date
    source: str
    expect: Mapping[str, Any]
    fragment: Mapping[str, Any] = field(default_factory=dict)
    asked: Mapping[str, Any] = field(default_factory=dict)

    @cached_property
    def record(self) -> Record:
        return document.parse(document_of(self.fragment))

    @cached_property
    def context(self) -> Context:
        asked = dict(self.asked)
        for key, read in (("route", _route), ("airport", _point)):
            if key in asked:
                asked[key] = read(asked[key])
        return context_from(asked)

    def report(self, rulebook: Rulebook) -> Report:
        """The milestone's report; of the one requirement alone where the row names one.

        Raises: NotInForce, NotCovered.
        """
        wanted = rulebook.milestone(self.milestone)
        if self.requirement:
            only = tuple(each for each in wanted.requirements if each.id == self.requirement)
            assert only, f"{self.file}: no requirement is called {self.requirement}"
            wanted = replace(wanted, requirements=only, paths=())
        book = rulebook.with_milestone(wanted)
        return evaluate(book, self.record, self.milestone, self.on, context=self.context)

    def problems(self, rulebook: Rulebook) -> list[str]:
        """What the engine's answer and the expected one differ in; empty when they agree."""
        expect = dict(self.expect)
        error = expect.pop("error", None)
        try:
            report = self.report(rulebook).as_json()
        except (NotCovered, NotInForce) as problem:
            return [] if error and error in str(problem) else [f"refused: {problem}"]
        if error:
            return [f"answered, and an error was expected that says {error!r}"]
        found = report["requirements"][0] if self.requirement else report
        return [
            f"{key}: expected {wanted!r}, found {found.get(key, MISSING)!r}"
            for key, wanted in expect.items()
            if not _agrees(key, wanted, found)
        ]


MISSING = "nothing"
WITH_ID = {"counted": "gave", "not_counted": "why", "ask": "missing"}
CONTAINED = ("note", "says")
EQUAL = (
    "met", "have", "need", "remaining", "holds", "eligible", "eligible_from", "eligible_until", "verified",
)  # fmt: skip


def _agrees(key: str, wanted: Any, found: Mapping[str, Any]) -> bool:
    if key in WITH_ID:
        said = [(each["id"], each[WITH_ID[key]]) for each in found[key]]
        if isinstance(wanted, Mapping):  # each id, with words that must be there
            return {name for name, _ in said} == set(wanted) and all(
                any(name == entry and words in text for entry, text in said) for name, words in wanted.items()
            )
        return {name for name, _ in said} == set(wanted)
    if key in CONTAINED:
        return wanted in found[key]
    if key == "unmet":
        start = len(found["milestone"]) + 1
        return [each["id"][start:] for each in found["requirements"] if not each["met"]] == wanted
    assert key in EQUAL, f"a row expects {key!r}; known are {', '.join((*EQUAL, *CONTAINED, *WITH_ID))}"
    return found.get(key, MISSING) == wanted


def _filled(value: Any, given: Mapping[str, Any]) -> Any:
    """``value`` with ``{name}`` replaced, keeping the type where that is all of a text."""
    if isinstance(value, str):
        whole = re.fullmatch(r"\{(\w+)\}", value)
        if whole and whole[1] in given:
            return given[whole[1]]
        return re.sub(r"\{(\w+)\}", lambda found: str(given.get(found[1], found[0])), value)
    if isinstance(value, list):
        return [_filled(each, given) for each in value]
    if isinstance(value, Mapping):
        return {_filled(key, given): _filled(each, given) for key, each in value.items()}
    return value


def _each(row: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """A row once for every entry of ``for_each``: a list of tables, or one table of lists."""
    given = row.pop("for_each", None)
    if given is None:
        yield row
        return
    if isinstance(given, Mapping):
        given = [dict(zip(given, values, strict=True)) for values in itertools.product(*given.values())]
    for each in given:
        yield _filled(row, each)


KEYS = {"id", "milestone", "requirement", "on", "context", "record", "expect", "source", "for_each"}


def _of(row: dict[str, Any], file: str) -> Iterator[Case]:
    assert set(row) <= KEYS, f"{file}: {row.get('id')}: unknown {sorted(set(row) - KEYS)}"
    named = row.get("requirement")
    for requirement in named if isinstance(named, list) else [named]:
        milestone = row.get("milestone") or requirement.rpartition(".")[0]
        yield Case(
            id=row["id"], file=file, milestone=milestone, requirement=requirement,
            on=date.fromisoformat(row["on"]), source=row["source"], expect=row["expect"],
            fragment=row.get("record") or {}, asked=row.get("context") or {},
        )  # fmt: skip


@cache
def cases() -> tuple[Case, ...]:
    """Every case of every file."""
    made: list[Case] = []
    for path in sorted(HOME.glob("*.yaml")):
        for row in read_yaml(path).get("rows", ()):
            for each in _each(dict(row)):
                made.extend(_of(each, path.name))
    return tuple(made)
