"""The regulation data as a Rulebook: ``regulations/<authority>/<milestone>.yaml``.

Loading checks everything that a reader of a finding relies on: shape, known kinds and parameters, a citation
for every version, versions in order without gap or overlap. Errors name file and line, and all are listed.
"""

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path as FilePath
from typing import Any

from syllabus.engine.record.vocabulary import CATEGORIES, CERTIFICATES, CLASSES
from syllabus.engine.rules.kinds import KINDS, registry
from syllabus.engine.rules.question import READERS
from syllabus.engine.rules.rulebook import ROLES, Milestone, Path, Requirement, Rulebook, Scope, Unwritten
from syllabus.law import aircraft_models, dated, sources
from syllabus.law.dated import Lined, shown

FOLDER = "regulations"
HOME = sources.HOME / FOLDER
_MILESTONE = ("milestone", "title", "says", "order", "role", "context", "scope", "paths", "requirements")
_SCOPE = ("classes", "country", "holders", "unwritten")
_PATH = ("id", "says", "cite", "verified", "waives")
_REQUIREMENT = ("id", "kind", "plain", "expiring", "versions")


#: What a scope can leave uncovered: keys of a context, and a certificate held.
_SCOPED = ("category", "class", "aircraft_model", "path", "certificate")
_CLASSES = registry.table(registry.word(*CATEGORIES), registry.words(*CLASSES))


def read(*homes: FilePath) -> dict[str, Lined]:
    """Every file's data by its path below one of the folders; by default the project's.

    Raises: RuleDataError.
    """
    starts = "regulation data starts with 'milestone:'"
    return dated.read_files(homes or sources.folders(FOLDER), "<authority>/<milestone>.yaml", starts)


class Builder(dated.Builder):
    """Reads milestones and collects the errors."""

    def __init__(self) -> None:
        super().__init__()
        #: (milestone, the milestone it needs, the place)
        self.needs: list[tuple[str, str, str]] = []

    def milestone(self, at: Lined) -> Milestone:
        self.known(at, _MILESTONE)
        name = self.field(at, "milestone", str, "")
        belongs = at.file.removesuffix(".yaml").replace("/", ".")
        if name and name != belongs:
            self.error(at.place("milestone"), f"{name!r} is in the file of {belongs!r}; make them agree")
        context = tuple(self.field(at, "context", list, []))
        for key in context:
            if not isinstance(key, str) or key not in READERS:
                self.error(
                    at.place("context"), f"unknown context {shown(key)}; use one of {', '.join(READERS)}"
                )
        requirements: dict[str, Requirement] = {}
        for each in self.mappings(at, "requirements"):
            made = self.requirement(each, name)
            if made.id in requirements:
                self.error(each.place("id"), f"two requirements are called {made.id}")
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
        """What a milestone's rules cover; None if the file does not say."""
        found = self.field(at, "scope", dict, optional=True)
        if not isinstance(found, Lined):
            return Scope()
        self.known(found, _SCOPE)
        classes = self.read(found, "classes", _CLASSES, {})
        holders = self.read(found, "holders", registry.words(*CERTIFICATES), None)
        unwritten = [
            Unwritten(self.field(each, "key", str, ""), self.field(each, "value", str, ""), why)
            for each in self.mappings(found, "unwritten", optional=True)
            if (why := self.field(each, "why", str, ""))
        ]
        for each in unwritten:
            if each.key not in _SCOPED:
                self.error(
                    found.place("unwritten"), f"unknown key {each.key!r}; use one of {', '.join(_SCOPED)}"
                )
        country = self.field(found, "country", str, optional=True)
        return Scope(classes, holders, country, tuple(unwritten))

    def paths(self, at: Lined, milestone: str, requirements: Mapping[str, Requirement]) -> tuple[Path, ...]:
        """The lawful paths to a milestone, in order."""
        if "paths" not in at:
            return ()
        made: list[Path] = []
        for each in self.mappings(at, "paths"):
            self.known(each, _PATH)
            verified = self.verified(each)
            waives = self.read(each, "waives", registry.words(), ())
            for name in waives:
                if f"{milestone}.{name}" not in requirements:
                    self.error(each.place("waives"), f"waives: {milestone} has no requirement {name!r}")
            if cite := self.citation(each):
                name, says = self.field(each, "id", str, ""), self.field(each, "says", str, "")
                made.append(Path(name, says, cite, verified, waives))
        return tuple(made)

    def requirement(self, at: Lined, milestone: str) -> Requirement:
        name = f"{milestone}.{self.field(at, 'id', str, '?')}"
        kind = self.field(at, "kind", str)
        if kind not in KINDS:
            if kind:
                self.error(at.place("kind"), f"unknown kind {kind!r}; use one of {', '.join(sorted(KINDS))}")
            return Requirement(name, kind or "?", ())
        params = KINDS[kind].params
        self.known(at, (*_REQUIREMENT, *params))
        versions = self.versions(at, name, kind, params)
        if kind == "milestone":
            for each in (at, *self.mappings(at, "versions")):
                if isinstance(other := each.get("milestone"), str):
                    self.needs.append((milestone, other, each.place("milestone")))
        plain, expiring = (
            self.field(at, key, str, "", optional=True).strip() for key in ("plain", "expiring")
        )
        return Requirement(name, kind, versions, plain, expiring)

    def nesting(self, milestones: Collection[str]) -> None:
        """Check that every needed milestone exists, and that none needs itself."""
        for name, other, place in self.needs:
            if other not in milestones:
                self.error(place, f"{name} needs {other!r}, which is in no file")
        done: set[str] = set()

        def visit(name: str, path: tuple[str, ...]) -> None:
            for mine, other, place in self.needs:
                if mine != name:
                    continue
                if other in (*path, name):
                    circle = (*path, name, other)
                    shown = " -> ".join(circle[circle.index(other) :])
                    self.error(place, f"circular milestones: {shown}")
                elif other not in done:
                    visit(other, (*path, name))
            done.add(name)

        for name in milestones:
            if name not in done:
                visit(name, ())


def build(data: Mapping[str, Lined]) -> Rulebook:
    """A Rulebook of the data. Raises: RuleDataError with every error, each with file and line."""
    builder = Builder()
    milestones: dict[str, Milestone] = {}
    for file in sorted(data):
        made = builder.milestone(data[file])
        milestones[made.id] = made
    builder.nesting(milestones)
    for name, other, _ in builder.needs:
        if other in milestones and milestones[name].scope == Scope():
            milestones[name] = replace(milestones[name], scope=milestones[other].scope)
    builder.stop()
    ordered = dict(sorted(milestones.items(), key=lambda pair: (pair[1].order, pair[0])))
    return Rulebook(fingerprint(data), ordered, models=aircraft_models.current())


def fingerprint(data: Mapping[str, Any]) -> str:
    """The rulebook's id: a hash over the data; comments and layout do not change it."""
    canonical = json.dumps(
        data, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=date.isoformat
    )
    return "sha256:" + hashlib.sha256(canonical.encode()).hexdigest()


def load(*homes: FilePath) -> Rulebook:
    """The rulebook of folders of data; by default the project's. Raises: RuleDataError."""
    return build(read(*homes))


@sources.read_once
def current() -> Rulebook:
    """The project's rulebook, read once per process."""
    return load()
