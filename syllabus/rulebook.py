"""The regulation data, read once: ``regulations/<authority>/<milestone>.yaml`` to a Rulebook.

Reading checks everything a reader of a finding relies on: shape, known kinds and parameters, a citation on
every version, versions in order without gap or overlap. Faults name file and line, and all are listed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path as FilePath
from typing import Any

from syllabus import aircraft_models, dated, sources
from syllabus.dated import Lined, read_text, shown
from syllabus.engine.errors import Fault, RuleDataError
from syllabus.engine.kinds import KINDS, registry
from syllabus.engine.question import READERS
from syllabus.engine.rulebook import (
    ROLES,
    VERIFIED,
    Milestone,
    Path,
    Requirement,
    Rulebook,
    RuleVersion,
    Scope,
    Unwritten,
)
from syllabus.engine.vocabulary import CATEGORIES, CERTIFICATES, CLASSES

FOLDER = "regulations"
HOME = sources.HOME / FOLDER
_MILESTONE = ("milestone", "title", "says", "order", "role", "context", "scope", "paths", "requirements")
_SCOPE = ("classes", "country", "holders", "unwritten")
_PATH = ("id", "says", "cite", "verified", "waives")
_REQUIREMENT = ("id", "kind", "plain", "expiring", "versions")
_VERSION = ("from", "until", "says", "cite", "verified", "note")


#: What a scope can leave to rules that are not written: keys of a context, and a certificate held.
_SCOPED = ("category", "class", "aircraft_model", "path", "certificate")
_CLASSES = registry.table(registry.word(*CATEGORIES), registry.words(*CLASSES))


def read(*homes: FilePath) -> dict[str, Lined]:
    """Every file's data by its path below one of the folders: without any, those of the project.

    Raises: RuleDataError.
    """
    data: dict[str, Lined] = {}
    faults: list[Fault] = []
    found = (
        (root, path)
        for root in homes or sources.folders(FOLDER)
        for path in sorted(each for each in root.rglob("*") if each.suffix in (".yaml", ".yml"))
    )
    for home, path in found:
        file = path.relative_to(home).as_posix()
        if path.suffix != ".yaml" or file.count("/") != 1:
            faults.append(
                Fault(file, "is not read here; regulation data stands in <authority>/<milestone>.yaml")
            )
            continue
        if file in data:
            faults.append(Fault(file, "stands in two folders; keep one"))
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


class Builder(dated.Builder):
    """Reads milestones, and notes every fault it meets."""

    def __init__(self) -> None:
        super().__init__()
        #: (milestone, the milestone it needs, where that is said)
        self.needs: list[tuple[str, str, str]] = []

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
                    at.place("context"), f"unknown context {shown(key)}; there are {', '.join(READERS)}"
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
            scope=self.scope(at),
            paths=self.paths(at, name, requirements),
            role=self.read(at, "role", registry.word(*ROLES), ""),
        )

    def scope(self, at: Lined) -> Scope:
        """What a milestone's rules are about; nothing where the file does not say."""
        found = self.field(at, "scope", dict, optional=True)
        if not isinstance(found, Lined):
            return Scope()
        self.known(found, _SCOPE)
        classes = self.read(found, "classes", _CLASSES, {})
        holders = self.read(found, "holders", registry.words(*CERTIFICATES), None)
        unwritten = [
            Unwritten(self.field(each, "key", str, ""), self.field(each, "value", str, ""), why)
            for each in (self.mappings(found, "unwritten") if "unwritten" in found else ())
            if (why := self.field(each, "why", str, ""))
        ]
        for each in unwritten:
            if each.key not in _SCOPED:
                self.fault(
                    found.place("unwritten"), f"unknown key {each.key!r}; there are {', '.join(_SCOPED)}"
                )
        country = self.field(found, "country", str, optional=True)
        return Scope(classes, holders, country, tuple(unwritten))

    def paths(self, at: Lined, milestone: str, requirements: Mapping[str, Requirement]) -> tuple[Path, ...]:
        """The lawful ways to a milestone, in the order in which they are shown."""
        if "paths" not in at:
            return ()
        made: list[Path] = []
        for each in self.mappings(at, "paths"):
            self.known(each, _PATH)
            verified = self.field(each, "verified", str, "memory")
            if verified not in VERIFIED:
                self.fault(
                    each.place("verified"), f"verified: {verified!r} is not one of {', '.join(VERIFIED)}"
                )
            waives = self.read(each, "waives", registry.words(), ())
            for name in waives:
                if f"{milestone}.{name}" not in requirements:
                    self.fault(each.place("waives"), f"waives: {milestone} has no requirement {name!r}")
            if cite := self.citation(each):
                name, says = self.field(each, "id", str, ""), self.field(each, "says", str, "")
                made.append(Path(name, says, cite, verified, waives))
        return tuple(made)

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
        plain, expiring = (
            self.field(at, key, str, "", optional=True).strip() for key in ("plain", "expiring")
        )
        return Requirement(name, kind, tuple(versions), plain, expiring)

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
    for name, other, _ in builder.needs:
        if other in milestones and milestones[name].scope == Scope():
            milestones[name] = replace(milestones[name], scope=milestones[other].scope)
    if builder.faults:
        raise RuleDataError(builder.faults)
    ordered = dict(sorted(milestones.items(), key=lambda pair: (pair[1].order, pair[0])))
    return Rulebook(fingerprint(data), ordered, models=aircraft_models.current())


def fingerprint(data: Mapping[str, Any]) -> str:
    """The rulebook's id: a hash over what the data says; comments and layout do not change it."""
    canonical = json.dumps(
        data, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=date.isoformat
    )
    return "sha256:" + hashlib.sha256(canonical.encode()).hexdigest()


def load(*homes: FilePath) -> Rulebook:
    """The rulebook of folders of data: without any, those of the project. Raises: RuleDataError."""
    return build(read(*homes))


@sources.read_once
def current() -> Rulebook:
    """The project's own rulebook, read once a process."""
    return load()
