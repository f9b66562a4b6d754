"""The catalogue of endorsements, read once: ``catalogue/<authority>.yaml``.

What an endorsement is called, what it says, and which requirements it rests on and satisfies. How long one
lives is not here: the rulebook's requirement that it ``proves`` says so. Faults name file and line.
"""

from __future__ import annotations

import string
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from syllabus import rulebook
from syllabus.engine.errors import Fault, RuleDataError
from syllabus.engine.record import Endorsement
from syllabus.engine.rulebook import VERIFIED, Citation, Milestone, Requirement, Rulebook
from syllabus.engine.vocabulary import ENDORSEMENTS
from syllabus.rulebook import Lined

HOME = Path(__file__).parent / "catalogue"
#: What an endorsement can say besides its kind and the instructor.
FIELDS = (
    "aircraft_model",
    "category",
    "class",
    "test",
    "similar_model",
    "airport",
    "area",
    "route",
    "flight_date",
    "training_date",
    "conditions",
)
#: The attribute of ``engine.record.Endorsement`` that holds a field, where it is called otherwise.
_ATTRIBUTES = {"class": "klass"}
REQUIRED, OPTIONAL = "required", "optional"
_ALWAYS = ("student", "given")
_KIND = ("kind", "title", "cite", "verified", "fields", "proves", "rests_on", "trained", "life", "wording")
_LONGEST_WORDING = 2_000


def named(given: Endorsement, field: str) -> Any:
    """What an endorsement says in one of ``FIELDS``."""
    return getattr(given, _ATTRIBUTES.get(field, field))


class WordingError(RuleDataError):
    """A wording names a placeholder that the kind does not have, or is no template."""

    what = "the wording"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of endorsement. ``fields`` says of each field whether it is required."""

    kind: str
    title: str
    cite: Citation
    verified: str
    fields: Mapping[str, bool]
    proves: tuple[str, ...]
    rests_on: tuple[str, ...]
    trained: bool
    life: str
    wording: str

    @property
    def required(self) -> tuple[str, ...]:
        return tuple(name for name, needed in self.fields.items() if needed)

    @property
    def placeholders(self) -> tuple[str, ...]:
        return (*_ALWAYS, *self.fields)

    def filled(self, wording: str, values: Mapping[str, str]) -> str:
        """The wording with its placeholders filled in; one without a value shows as a blank to fill in.

        Raises: WordingError.
        """
        check_wording(self, wording)
        return wording.format_map({name: values.get(name) or "____" for name in self.placeholders})


def check_wording(kind: Kind, wording: str, place: str = "wording") -> None:
    """Refuse a wording that is empty, too long, no template, or names what the kind does not have.

    Raises: WordingError.
    """
    if fault := _wording_fault(wording, kind.placeholders):
        raise WordingError([Fault(place, fault)])


def _wording_fault(wording: str, placeholders: Collection[str]) -> str | None:
    if not wording.strip():
        return "is empty; write what the endorsement says"
    if len(wording) > _LONGEST_WORDING:
        return f"has {len(wording)} characters, at most {_LONGEST_WORDING} fit"
    try:
        parts = list(string.Formatter().parse(wording))
    except ValueError:
        return "has a brace without its other half; write {{ or }} for a brace itself"
    for _, name, layout, conversion in parts:
        if name is None:
            continue
        if name not in placeholders or layout or conversion:
            known = ", ".join(f"{{{each}}}" for each in placeholders)
            return f"{{{name}}} is no placeholder here; there are {known}"
    return None


@dataclass(frozen=True)
class Catalogue:
    """Every kind, in the order of the file."""

    kinds: Mapping[str, Kind]

    def rests_on(self, kind: Kind, rules: Rulebook) -> tuple[Requirement, ...]:
        """The requirements shown before an endorsement is given, each once; what it proves is left out."""
        found: dict[str, Requirement] = {}
        for name in kind.rests_on:
            for each in _meant(name, rules):
                if each.id not in kind.proves:
                    found[each.id] = each
        return tuple(found.values())

    def proves(self, kind: Kind, rules: Rulebook) -> tuple[Requirement, ...]:
        return tuple(each for name in kind.proves for each in _meant(name, rules))


def _meant(name: str, rules: Rulebook) -> Iterable[Requirement]:
    """The requirement of that id, or all those of the milestone; none where there is no such."""
    if name in rules.milestones:
        return rules.milestones[name].requirements
    milestone: Milestone | None = rules.milestones.get(name.rpartition(".")[0])
    return [each for each in milestone.requirements if each.id == name] if milestone else ()


class _Reader(rulebook.Builder):
    """Reads one file of the catalogue against the rulebook."""

    def __init__(self, rules: Rulebook) -> None:
        super().__init__()
        self.rules = rules

    def kinds(self, at: Lined) -> Iterator[Kind]:
        self.known(at, ("authority", "kinds"))
        name = self.field(at, "authority", str, "")
        if name and f"{name}.yaml" != at.file:
            self.fault(at.place("authority"), f"{name!r} stands in {at.file}; make them agree")
        for each in self.mappings(at, "kinds"):
            if made := self.kind(each):
                yield made

    def kind(self, at: Lined) -> Kind | None:
        self.known(at, _KIND)
        name = self.field(at, "kind", str, "")
        if name and name not in ENDORSEMENTS:
            self.fault(at.place("kind"), f"unknown kind {name!r}; there are {', '.join(ENDORSEMENTS)}")
        verified = self.field(at, "verified", str, "memory")
        if verified not in VERIFIED:
            self.fault(at.place("verified"), f"verified: {verified!r} is not one of {', '.join(VERIFIED)}")
        trained = at.get("trained", False)
        if not isinstance(trained, bool):
            self.fault(at.place("trained"), f"trained: {trained!r} is neither true nor false")
        cite = self.citation(at)
        fields = self.fields(at)
        wording = self.field(at, "wording", str, "")
        placeholders = (*_ALWAYS, *fields)
        if wording and (wrong := _wording_fault(wording, placeholders)):
            self.fault(at.place("wording"), f"wording: {wrong}")
        proves, rests_on = self.requirements(at, "proves"), self.requirements(at, "rests_on")
        for each in proves:
            if each in self.rules.milestones:
                self.fault(at.place("proves"), f"proves: {each} is a milestone; name its requirement")
        title = self.field(at, "title", str, "")
        life = self.field(at, "life", str, "")
        if cite is None or not name:
            return None
        return Kind(name, title, cite, verified, fields, proves, rests_on, bool(trained), life, wording)

    def fields(self, at: Lined) -> dict[str, bool]:
        found: dict[str, bool] = {}
        for name, word in self.field(at, "fields", dict, {}).items():
            if name not in FIELDS:
                self.fault(at.place("fields"), f"unknown field {name!r}; there are {', '.join(FIELDS)}")
            elif word not in (REQUIRED, OPTIONAL):
                self.fault(at.place("fields"), f"{name}: {word!r} is neither {REQUIRED} nor {OPTIONAL}")
            else:
                found[name] = word == REQUIRED
        return found

    def requirements(self, at: Lined, key: str) -> tuple[str, ...]:
        found: list[str] = []
        for name in self.field(at, key, list, [], optional=True):
            if not isinstance(name, str) or not list(_meant(name, self.rules)):
                self.fault(at.place(key), f"{key}: the rulebook has no requirement or milestone {name!r}")
            else:
                found.append(name)
        return tuple(found)


def load(rules: Rulebook, home: Path = HOME) -> Catalogue:
    """The catalogue of a folder, held against a rulebook: every kind there is stands in it, once.

    Raises: RuleDataError with every fault, each with file and line.
    """
    reader = _Reader(rules)
    found: dict[str, Kind] = {}
    for path in sorted(home.glob("*.yaml")):
        try:
            data: Any = rulebook.read_text(path.read_text(encoding="utf-8"), path.name)
        except RuleDataError as problem:
            reader.faults.extend(problem.faults)
            continue
        for each in reader.kinds(data):
            if each.kind in found:
                reader.fault(data.place("kinds"), f"{each.kind} stands twice; keep one")
            found[each.kind] = each
    for missing in [kind for kind in ENDORSEMENTS if kind not in found]:
        reader.fault(str(home.name), f"the kind {missing!r} is in no file")
    if reader.faults:
        raise RuleDataError(reader.faults)
    return Catalogue(found)


@cache
def current() -> Catalogue:
    """The project's own catalogue, read once a process."""
    return load(rulebook.current())
