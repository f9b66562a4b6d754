"""The regulation data, read once: ``regulations/<authority>/<milestone>.yaml`` to a Rulebook.

Reading checks everything a reader of a finding relies on: shape, known kinds and parameters, a citation on
every version, versions in order without gap or overlap. Faults name file and line, and all are listed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from functools import cache
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


def _built(node: yaml.Node, file: str, faults: list[Fault], loader: yaml.SafeLoader) -> Any:
    if isinstance(node, yaml.MappingNode):
        made = Lined(file, node.start_mark.line + 1)
        for key_node, value_node in node.value:
            key, line = str(loader.construct_object(key_node)), key_node.start_mark.line + 1
            if key in made:
                faults.append(Fault(f"{file}:{line}", f"{key!r} stands twice; keep one"))
            made[key] = _built(value_node, file, faults, loader)
            made.lines[key] = line
        return made
    if isinstance(node, yaml.SequenceNode):
        return [_built(each, file, faults, loader) for each in node.value]
    return loader.construct_object(node)


def read_text(text: str, file: str) -> Lined:
    """One file's data with its line numbers. Raises: RuleDataError."""
    loader = yaml.SafeLoader(text)
    faults: list[Fault] = []
    try:
        node = loader.get_single_node()
        made = _built(node, file, faults, loader) if node else None
    except yaml.MarkedYAMLError as problem:
        line = problem.problem_mark.line + 1 if problem.problem_mark else 1
        raise RuleDataError([Fault(f"{file}:{line}", f"not YAML: {problem.problem}")]) from None
    finally:
        loader.dispose()
    if not isinstance(made, Lined):
        faults.append(
            Fault(f"{file}:1", "a file of regulation data is a mapping that starts with 'milestone:'")
        )
    if faults:
        raise RuleDataError(faults)
    return made  # type: ignore[return-value]


def read(home: Path = HOME) -> dict[str, Lined]:
    """Every file's data by its path below ``home``. Raises: RuleDataError."""
    data: dict[str, Lined] = {}
    faults: list[Fault] = []
    for path in sorted(home.glob("*/*.yaml")):
        file = path.relative_to(home).as_posix()
        try:
            data[file] = read_text(path.read_text(encoding="utf-8"), file)
        except RuleDataError as problem:
            faults.extend(problem.faults)
    if faults:
        raise RuleDataError(faults)
    if not data:
        raise RuleDataError([Fault(str(home), "no regulation data here")])
    return data


class _Builder:
    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def fault(self, place: str, message: str) -> None:
        self.faults.append(Fault(place, message))

    def field(self, at: Lined, key: str, kind: type | tuple[type, ...], default: Any = None) -> Any:
        if key not in at:
            if default is None:
                self.fault(at.place(), f"{key!r} is missing")
            return default
        value = at[key]
        if not isinstance(value, kind) or isinstance(value, bool):
            wanted = kind.__name__ if isinstance(kind, type) else " or ".join(each.__name__ for each in kind)
            self.fault(at.place(key), f"{key}: {value!r} is no {wanted}")
            return default
        return value

    def known(self, at: Lined, keys: tuple[str, ...]) -> None:
        for key in at:
            if key not in keys:
                self.fault(at.place(key), f"unknown key {key!r}; known here are {', '.join(keys)}")

    def mappings(self, at: Lined, key: str) -> Iterator[Lined]:
        found = self.field(at, key, list, [])
        if not found:
            self.fault(at.place(key), f"{key} is empty")
        for each in found:
            if isinstance(each, Lined):
                yield each
            else:
                self.fault(at.place(key), f"{key}: {each!r} is no mapping")

    def milestone(self, at: Lined) -> Milestone:
        self.known(at, _MILESTONE)
        name = self.field(at, "milestone", str, "")
        authority = at.file.split("/")[0]
        if name and not name.startswith(authority + "."):
            self.fault(
                at.place("milestone"),
                f"{name!r} lies in the folder {authority}, so it starts with '{authority}.'",
            )
        context = tuple(self.field(at, "context", list, []))
        for key in context:
            if key not in READERS:
                self.fault(at.place("context"), f"unknown context {key!r}; there are {', '.join(READERS)}")
        requirements = tuple(self.requirement(each, name) for each in self.mappings(at, "requirements"))
        ids = [each.id for each in requirements]
        for twice in sorted({each for each in ids if ids.count(each) > 1}):
            self.fault(at.place("requirements"), f"two requirements are called {twice}")
        return Milestone(
            id=name,
            title=self.field(at, "title", str, ""),
            says=self.field(at, "says", str, ""),
            context=context,
            requirements=requirements,
            order=self.field(at, "order", int, 0),
        )

    def requirement(self, at: Lined, milestone: str) -> Requirement:
        name = self.field(at, "id", str, "?")
        kind = self.field(at, "kind", str, "?")
        if kind not in KINDS:
            if "kind" in at:
                self.fault(at.place("kind"), f"unknown kind {kind!r}; there are {', '.join(sorted(KINDS))}")
            return Requirement(f"{milestone}.{name}", kind, ())
        allowed = tuple(KINDS[kind].params)
        self.known(at, (*_REQUIREMENT, *allowed))
        shared = {key: (at, at[key]) for key in allowed if key in at}
        entries = list(self.mappings(at, "versions"))
        versions = []
        for index, each in enumerate(entries):
            self.known(each, (*_VERSION, *allowed))
            following = entries[index + 1].get("from") if index + 1 < len(entries) else None
            versions.append(self.version(each, f"{milestone}.{name}", kind, shared, following))
        return Requirement(f"{milestone}.{name}", kind, tuple(each for each in versions if each))

    def version(
        self, at: Lined, name: str, kind: str, shared: Mapping[str, tuple[Lined, Any]], following: Any
    ) -> RuleVersion | None:
        first, last = self.field(at, "from", date), None
        if "until" in at:
            last = self.field(at, "until", date)
        if isinstance(following, date) and isinstance(first, date):
            if following <= first:
                self.fault(
                    at.place("from"), f"{name}: the version from {first} is followed by one from {following}"
                )
            elif last is None:
                last = following - ONE_DAY
            elif last >= following:
                self.fault(
                    at.place("until"),
                    f"{name}: runs until {last}, and the next version starts {following}: overlap",
                )
            elif last < following - ONE_DAY:
                self.fault(
                    at.place("until"),
                    f"{name}: runs until {last}, and the next version starts {following}: gap",
                )
        if first and last and last < first:
            self.fault(at.place("until"), f"{name}: ends {last}, before it starts on {first}")
        verified = self.field(at, "verified", str, "memory")
        if verified not in VERIFIED:
            self.fault(at.place("verified"), f"verified: {verified!r} is not one of {', '.join(VERIFIED)}")
        cite = self.citation(at)
        params = self.params(at, kind, shared)
        says = self.field(at, "says", str, "")
        note = self.field(at, "note", str, "") if "note" in at else ""
        if first is None or cite is None:
            return None
        return RuleVersion(name, kind, first, last, says, cite, verified, note, params)

    def citation(self, at: Lined) -> Citation | None:
        cite = self.field(at, "cite", dict)
        if not isinstance(cite, Lined):
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
                self.fault(where.place(key), f"{key}: {problem}")
        return read

    def nesting(self, milestones: Mapping[str, Milestone], places: Mapping[str, str]) -> None:
        def inner(name: str) -> set[str]:
            return {
                version.params.get("milestone", "")
                for requirement in milestones[name].requirements
                if requirement.kind == "milestone"
                for version in requirement.versions
            }

        def visit(name: str, path: tuple[str, ...]) -> None:
            if name in path:
                self.fault(places[path[0]], f"milestones go round in a circle: {' -> '.join((*path, name))}")
                return
            for other in inner(name):
                if other not in milestones:
                    self.fault(places[name], f"{name} needs {other!r}, which is in no file")
                else:
                    visit(other, (*path, name))

        for name in milestones:
            visit(name, ())


def build(data: Mapping[str, Lined]) -> Rulebook:
    """A Rulebook of the data. Raises: RuleDataError with every fault, each with file and line."""
    builder = _Builder()
    milestones: dict[str, Milestone] = {}
    places: dict[str, str] = {}
    for file in sorted(data):
        made = builder.milestone(data[file])
        if made.id in milestones:
            builder.fault(data[file].place("milestone"), f"{made.id} is defined in {places[made.id]} already")
        milestones[made.id], places[made.id] = made, data[file].place("milestone")
    if not builder.faults:
        builder.nesting(milestones, places)
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
