"""What is required, as values: milestones, their requirements, and each requirement's dated versions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import Any

from syllabus.engine.aircraft_models import NO_MODELS, Models
from syllabus.engine.days import Days
from syllabus.engine.errors import NotInForce, UnknownMilestone

#: How well a version was checked: its text was read in a faithful copy, in somebody's account, or not at all.
VERIFIED = ("read", "second-hand", "memory")


@dataclass(frozen=True, slots=True)
class Citation:
    """Where a number stands: ``section`` as one cites it, ``source`` what was read, ``read_on`` when."""

    section: str
    source: str
    read_on: date


@dataclass(frozen=True, slots=True)
class RuleVersion:
    """One requirement as it was in force from one day to another."""

    id: str
    kind: str
    first: date
    last: date | None
    says: str
    cite: Citation
    verified: str
    note: str
    params: Mapping[str, Any]

    @property
    def in_force(self) -> Days:
        return Days.between(self.first, self.last)

    def get(self, name: str) -> Any:
        return self.params.get(name)


@dataclass(frozen=True, slots=True)
class Requirement:
    """A requirement with all its versions, oldest first; ``id`` is the milestone's id, a dot, a name."""

    id: str
    kind: str
    versions: tuple[RuleVersion, ...]

    def on(self, day: date) -> RuleVersion:
        """The version in force on a day.

        Raises: NotInForce when there is none.
        """
        for version in self.versions:
            if version.first <= day and (version.last is None or day <= version.last):
                return version
        first = self.versions[0]
        raise NotInForce(
            f"{self.id} has no version in force on {day}; its first starts {first.first}. Ask about a later"
            " day, or add the earlier version with its citation."
        )


@dataclass(frozen=True, slots=True)
class Path:
    """One lawful way to a milestone. ``waives`` names the requirements that it does not ask for."""

    id: str
    says: str
    cite: Citation
    verified: str
    waives: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Unwritten:
    """Something that people ask about and no rule here covers: a value of a key, and why."""

    key: str
    value: str
    why: str


@dataclass(frozen=True, slots=True)
class Scope:
    """What a milestone's rules are about. ``classes`` gives the classes of each category that they cover.

    The first category, and its first class, are meant where a question names none. ``holders`` are the pilot
    certificates whose holders the rules judge; None where that does not matter. ``country`` is the one whose
    rules they are (ISO 3166): what an instructor authorized elsewhere teaches there counts only outside it.
    """

    classes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    holders: tuple[str, ...] | None = None
    country: str | None = None
    unwritten: tuple[Unwritten, ...] = ()


@dataclass(frozen=True, slots=True)
class Milestone:
    """A thing a student becomes allowed to do, and everything it takes.

    With ``paths`` there are several lawful ways, and any one of them is enough.
    """

    id: str
    title: str
    says: str
    context: tuple[str, ...]
    requirements: tuple[Requirement, ...]
    order: int = 0
    scope: Scope = field(default_factory=Scope)
    paths: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Rulebook:
    """All milestones, a hash over the data they were read from, and the makes and models that it links."""

    id: str
    milestones: Mapping[str, Milestone]
    texts: Mapping[str, str] = field(default_factory=dict)
    models: Models = NO_MODELS

    @cached_property
    def paths(self) -> frozenset[str]:
        """The ids of every milestone's paths."""
        return frozenset(way.id for each in self.milestones.values() for way in each.paths)

    def with_milestone(self, added: Milestone) -> Rulebook:
        """The same rules with a milestone more, or with another of that id."""
        return replace(self, milestones={**self.milestones, added.id: added})

    def milestone(self, name: str) -> Milestone:
        """The milestone of that id. Raises: UnknownMilestone."""
        try:
            return self.milestones[name]
        except KeyError:
            raise UnknownMilestone(name, self.milestones) from None
