"""The regulation data, read once: ``regulations/<authority>/<milestone>.yaml`` to a Rulebook.

Reading checks everything a reader of a finding relies on: shape, known kinds and parameters, a citation on
every version, versions in order without gap or overlap. Faults name file and line, and all are listed.
"""

from __future__ import annotations

import difflib
import hashlib
import json
from collections.abc import Collection, Iterator, Mapping
from datetime import date, datetime, timedelta
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

import yaml

from syllabus.engine.errors import Fault, RuleDataError
from syllabus.engine.kinds import KINDS
from syllabus.engine.question import READERS
from syllabus.engine.rulebook import VERIFIED, Citation, Milestone, Requirement, Rulebook, RuleVersion

HOME = Path(__file__).parent / "regulations"
ONE_DAY = timedelta(days=1)
_MILESTONE = ("milestone", "title", "says", "order", "context", "requirements")
_REQUIREMENT = ("id", "kind", "versions")
_VERSION = ("from", "until", "says", "cite", "verified", "note")


class Lined(dict[str, Any]):
    """A mapping of the data that knows its file, and the line each of its keys stands on."""

    def __init__(self, file: str, line: int):
        super().__init__()
        self.file, self.line = file, line
        self.lines: dict[str, int] = {}

    def place(self, key: str | None = None) -> str:
        return f"{self.file}:{self.lines.get(key, self.line) if key else self.line}"


#: Values in one file, those of an alias counted as often as it stands: short aliases can say a great deal.
MOST_VALUES = 200_000
_PLAIN = {f"tag:yaml.org,2002:{each}" for each in ("str", "int", "float", "bool", "null", "timestamp")}


def _built(
    node: yaml.Node, file: str, faults: list[Fault], loader: yaml.SafeLoader, values: Iterator[int]
) -> Any:
    line = node.start_mark.line + 1
    if next(values) > MOST_VALUES:
        raise RuleDataError([Fault(f"{file}:{line}", f"more than {MOST_VALUES} values; write less")])
    if isinstance(node, yaml.MappingNode):
        made = Lined(file, line)
        for key_node, value_node in node.value:
            at = key_node.start_mark.line + 1
            key = str(key_node.value)
            if not isinstance(key_node, yaml.ScalarNode):
                faults.append(Fault(f"{file}:{at}", "a key is a word, not a list or a mapping"))
            elif key in made:
                faults.append(Fault(f"{file}:{at}", f"{key!r} stands twice; keep one"))
            made[key] = _built(value_node, file, faults, loader, values)
            made.lines[key] = at
        return made
    if isinstance(node, yaml.SequenceNode):
        return [_built(each, file, faults, loader, values) for each in node.value]
    if node.tag not in _PLAIN:
        faults.append(Fault(f"{file}:{line}", f"the tag {node.tag!r} is not read here; take it away"))
        return None
    try:
        return loader.construct_object(node)
    except (ValueError, LookupError, AttributeError):  # 2026-02-30, and a tag that its value does not bear
        what = node.tag.rpartition(":")[2].replace("timestamp", "day of the calendar")
        faults.append(Fault(f"{file}:{line}", f"{node.value[:80]!r} is not a {what}"))
        return None


def read_text(text: str, file: str, starts: str = "regulation data starts with 'milestone:'") -> Lined:
    """One file's data with its line numbers; ``starts`` says how such a file begins.

    Raises: RuleDataError.
    """
    faults: list[Fault] = []
    made: Any = None
    try:
        loader = yaml.SafeLoader(text)
        try:
            if node := loader.get_single_node():
                made = _built(node, file, faults, loader, count())
        finally:
            loader.dispose()
    except yaml.MarkedYAMLError as problem:
        mark = problem.problem_mark or problem.context_mark
        line = mark.line + 1 if mark else 1
        raise RuleDataError([Fault(f"{file}:{line}", f"not YAML: {problem.problem}")]) from None
    except yaml.reader.ReaderError as problem:
        line = text.count("\n", 0, problem.position) + 1
        raise RuleDataError([Fault(f"{file}:{line}", "not YAML: holds a control character")]) from None
    except RecursionError:
        raise RuleDataError([Fault(f"{file}:1", "not YAML that can be read: it nests without end")]) from None
    if not isinstance(made, Lined):
        what = "the file is empty" if made is None and not faults else "the file is no mapping"
        faults.append(Fault(f"{file}:1", f"{what}; {starts}"))
    if faults:
        raise RuleDataError(faults)
    return made


def read(home: Path = HOME) -> dict[str, Lined]:
    """Every file's data by its path below ``home``. Raises: RuleDataError."""
    data: dict[str, Lined] = {}
    faults: list[Fault] = []
    for path in sorted(each for each in home.rglob("*") if each.suffix in (".yaml", ".yml")):
        file = path.relative_to(home).as_posix()
        if path.suffix != ".yaml" or file.count("/") != 1:
            faults.append(
                Fault(file, "is not read here; regulation data stands in <authority>/<milestone>.yaml")
            )
            continue
        try:
            data[file] = read_text(path.read_text(encoding="utf-8"), file)
        except RuleDataError as problem:
            faults.extend(problem.faults)
        except UnicodeDecodeError as problem:
            faults.append(Fault(f"{file}:{_line_of(problem)}", "not UTF-8 text"))
        except OSError as problem:
            faults.append(Fault(file, f"cannot be read: {problem.strerror}"))
    if faults:
        raise RuleDataError(faults)
    if not data:
        raise RuleDataError([Fault("", "holds no regulation data; <authority>/<milestone>.yaml is wanted")])
    return data


def _line_of(problem: UnicodeDecodeError) -> int:
    return problem.object.count(b"\n", 0, problem.start) + 1


#: What a value of the data is called where another sort stands in its place.
_WANTED = {
    str: "text; put it in quotes",
    int: "a whole number",
    date: "a date; write it like 2026-11-24, without quotes",
    list: "a list",
    dict: "a mapping",
}


def _shown(value: Any) -> str:
    """A value as the file has it, for a message."""
    if isinstance(value, Lined):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "nothing"
    return str(value) if isinstance(value, date) else repr(value)


class Builder:
    """Reads values of one sort each from data with line numbers, and notes every fault it meets."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        #: (milestone, the milestone it needs, where that is said)
        self.needs: list[tuple[str, str, str]] = []

    def fault(self, place: str, message: str) -> None:
        self.faults.append(Fault(place, message))

    def field(self, at: Lined, key: str, kind: type, default: Any = None, *, optional: bool = False) -> Any:
        """The value at ``key``, or ``default`` with the fault noted: missing, blank, or of another sort."""
        if key not in at:
            if not optional:
                self.fault(at.place(), f"{key!r} is missing")
            return default
        value = at[key]
        # True is an int to Python, and an instant is a date
        fits = isinstance(value, kind) and not isinstance(value, bool | datetime)
        if not fits:
            self.fault(at.place(key), f"{key}: {_shown(value)} is not {_WANTED[kind]}")
            return default
        if isinstance(value, str) and not value.strip():
            self.fault(at.place(key), f"{key} is blank")
            return default
        return value

    def known(self, at: Lined, keys: tuple[str, ...]) -> None:
        for key in at:
            if key not in keys:
                close = difflib.get_close_matches(key, keys, 1)
                hint = f"did you mean {close[0]!r}?" if close else f"known here are {', '.join(keys)}"
                self.fault(at.place(key), f"unknown key {key!r}; {hint}")

    def mappings(self, at: Lined, key: str) -> list[Lined]:
        found = self.field(at, key, list)
        if found == []:
            self.fault(at.place(key), f"{key} is empty; at least one is wanted")
        for each in found or ():
            if not isinstance(each, Lined):
                self.fault(at.place(key), f"{key}: {_shown(each)} is not a mapping")
        return [each for each in found or () if isinstance(each, Lined)]

    def milestone(self, at: Lined) -> Milestone:
        self.known(at, _MILESTONE)
        name = self.field(at, "milestone", str, "")
        belongs = at.file.removesuffix(".yaml").replace("/", ".")
        if name and name != belongs:
            self.fault(at.place("milestone"), f"{name!r} stands in the file of {belongs!r}; make them agree")
        context = tuple(self.field(at, "context", list, []))
        for key in context:
            if not isinstance(key, str) or key not in READERS:
                self.fault(
                    at.place("context"), f"unknown context {_shown(key)}; there are {', '.join(READERS)}"
                )
        requirements: dict[str, Requirement] = {}
        for each in self.mappings(at, "requirements"):
            made = self.requirement(each, name)
            if made.id in requirements:
                self.fault(each.place("id"), f"two requirements are called {made.id}")
            requirements[made.id] = made
        return Milestone(
            id=name,
            title=self.field(at, "title", str, ""),
            says=self.field(at, "says", str, ""),
            context=context,
            requirements=tuple(requirements.values()),
            order=self.field(at, "order", int, 0, optional=True),
        )

    def requirement(self, at: Lined, milestone: str) -> Requirement:
        name = f"{milestone}.{self.field(at, 'id', str, '?')}"
        kind = self.field(at, "kind", str)
        if kind not in KINDS:
            if kind:
                self.fault(at.place("kind"), f"unknown kind {kind!r}; there are {', '.join(sorted(KINDS))}")
            return Requirement(name, kind or "?", ())
        allowed = tuple(KINDS[kind].params)
        self.known(at, (*_REQUIREMENT, *allowed))
        shared = {key: (at, at[key]) for key in allowed if key in at}
        entries = self.mappings(at, "versions")
        versions = []
        for index, each in enumerate(entries):
            self.known(each, (*_VERSION, *allowed))
            following = entries[index + 1] if index + 1 < len(entries) else None
            made = self.version(each, name, kind, shared, following)
            if made is None:
                continue
            versions.append(made)
            if kind == "milestone" and "milestone" in made.params:
                where = each if "milestone" in each else at
                self.needs.append((milestone, made.params["milestone"], where.place("milestone")))
        return Requirement(name, kind, tuple(versions))

    def version(
        self,
        at: Lined,
        name: str,
        kind: str,
        shared: Mapping[str, tuple[Lined, Any]],
        following: Lined | None,
    ) -> RuleVersion | None:
        first, last = self.in_force(at, name, following)
        verified = self.field(at, "verified", str, "memory")
        if verified not in VERIFIED:
            self.fault(at.place("verified"), f"verified: {verified!r} is not one of {', '.join(VERIFIED)}")
        cite = self.citation(at)
        params = self.params(at, kind, shared)
        says = self.field(at, "says", str, "")
        note = self.field(at, "note", str, "", optional=True)
        if first is None or cite is None:
            return None
        return RuleVersion(name, kind, first, last, says, cite, verified, note, params)

    def in_force(self, at: Lined, name: str, following: Lined | None) -> tuple[date | None, date | None]:
        """First and last day; without ``until``, to the day before the following version."""
        first, last = self.field(at, "from", date), self.field(at, "until", date, optional=True)
        if first and last and last < first:
            self.fault(at.place("until"), f"{name} ends {last}, before it starts on {first}")
        after = following.get("from") if following else None
        if following is None or first is None or not isinstance(after, date) or isinstance(after, datetime):
            return first, last
        if after <= first:
            self.fault(
                following.place("from"),
                f"{name}: the version from {after} stands after the one from {first}; the oldest comes first",
            )
        elif last is None:
            last = after - ONE_DAY
        elif last != after - ONE_DAY:
            what = "both are in force on" if last >= after else "none is in force on"
            days = (after, last) if last >= after else (last + ONE_DAY, after - ONE_DAY)
            self.fault(
                at.place("until"),
                f"{name} runs until {last} and its next version starts {after}: {what}"
                f" {days[0] if days[0] == days[1] else f'{days[0]} to {days[1]}'}",
            )
        return first, last

    def citation(self, at: Lined) -> Citation | None:
        cite = self.field(at, "cite", dict)
        if cite is None:
            return None
        self.known(cite, ("section", "source", "read_on"))
        section = self.field(cite, "section", str)
        source = self.field(cite, "source", str)
        read_on = self.field(cite, "read_on", date)
        return Citation(section, source, read_on) if section and source and read_on else None

    def params(self, at: Lined, kind: str, shared: Mapping[str, tuple[Lined, Any]]) -> dict[str, Any]:
        given = {**shared, **{key: (at, at[key]) for key in KINDS[kind].params if key in at}}
        read: dict[str, Any] = {}
        for key, param in KINDS[kind].params.items():
            if key not in given:
                if param.required:
                    self.fault(at.place(), f"{kind} needs {key!r}")
                continue
            where, value = given[key]
            try:
                read[key] = param.read(value)
            except ValueError as problem:
                fault = Fault(where.place(key), f"{key}: {problem}")
                if fault not in self.faults:  # what all versions share is read for each
                    self.faults.append(fault)
        return read

    def nesting(self, milestones: Collection[str]) -> None:
        """Every milestone that another needs is there, and none needs itself by way of others."""
        for name, other, place in self.needs:
            if other not in milestones:
                self.fault(place, f"{name} needs {other!r}, which is in no file")
        done: set[str] = set()

        def visit(name: str, path: tuple[str, ...]) -> None:
            for mine, other, place in self.needs:
                if mine != name:
                    continue
                if other in (*path, name):
                    circle = (*path, name, other)
                    shown = " -> ".join(circle[circle.index(other) :])
                    self.fault(place, f"milestones go round in a circle: {shown}")
                elif other not in done:
                    visit(other, (*path, name))
            done.add(name)

        for name in milestones:
            if name not in done:
                visit(name, ())


def build(data: Mapping[str, Lined]) -> Rulebook:
    """A Rulebook of the data. Raises: RuleDataError with every fault, each with file and line."""
    builder = Builder()
    milestones: dict[str, Milestone] = {}
    for file in sorted(data):
        made = builder.milestone(data[file])
        milestones[made.id] = made
    builder.nesting(milestones)
    if builder.faults:
        raise RuleDataError(builder.faults)
    ordered = dict(sorted(milestones.items(), key=lambda pair: (pair[1].order, pair[0])))
    return Rulebook(fingerprint(data), ordered)


def fingerprint(data: Mapping[str, Any]) -> str:
    """The rulebook's id: a hash over what the data says; comments and layout do not change it."""
    canonical = json.dumps(
        data, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=date.isoformat
    )
    return "sha256:" + hashlib.sha256(canonical.encode()).hexdigest()


def load(home: Path = HOME) -> Rulebook:
    """The rulebook of a folder of regulation data. Raises: RuleDataError."""
    return build(read(home))


@cache
def current() -> Rulebook:
    """The project's own rulebook, read once a process."""
    return load()
