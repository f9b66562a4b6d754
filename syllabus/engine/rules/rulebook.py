"""What is required, as values: milestones, their requirements, and each requirement's dated versions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import Any

from syllabus.engine.errors import NotInForce, UnknownMilestone
from syllabus.engine.rules.aircraft_models import NO_MODELS, Models
from syllabus.engine.time.days import Days

#: The kind of requirement that asks for items, each at a grade.
ITEMS_AT_STANDARD = "items_at_standard"
#: How well a version was checked: its text was read in a faithful copy, in somebody's account, or not at all.
VERIFIED = ("read", "second-hand", "memory")
#: What a milestone is to the program, whatever an authority calls it: flying alone for the first time, alone
#: and away, alone at night, alone in busy airspace; and the two tests for a certificate.
ROLES = ("solo", "solo-cross-country", "solo-night", "solo-class-b", "knowledge-test", "practical-test")
SOLO, SOLO_CROSS_COUNTRY, SOLO_NIGHT, SOLO_CLASS_B, KNOWLEDGE_TEST, PRACTICAL_TEST = ROLES
#: The roles of solo flight, the one that every other one asks for first.
SOLO_ROLES = (SOLO, SOLO_CROSS_COUNTRY, SOLO_NIGHT, SOLO_CLASS_B)


@dataclass(frozen=True, slots=True)
class Citation:
    """Where a number stands: ``section`` as one cites it, ``source`` what was read, ``read_on`` when."""

    section: str
    source: str
    read_on: date


@dataclass(frozen=True, slots=True)
class RuleVersion:
    """A rule as it was in force from one day to another. ``kind`` says what judges a requirement."""

    id: str
    kind: str
    first: date
    last: date | None
    says: str
    cite: Citation
    verified: str
    note: str
    params: Mapping[str, Any] = field(default_factory=dict)
    in_force: Days = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "in_force", Days.between(self.first, self.last))  # frozen

    @property
    def cited(self) -> tuple[str, str]:
        """Where it stands, and how its text is known."""
        return self.cite.section, self.verified

    def get(self, name: str) -> Any:
        return self.params.get(name)


def version_on(name: str, versions: Sequence[RuleVersion], day: date) -> RuleVersion:
    """The version of a rule that is in force on a day.

    Raises: NotInForce when there is none.
    """
    for version in versions:
        if version.first <= day and (version.last is None or day <= version.last):
            return version
    raise NotInForce(
        f"{name} has no version in force on {day}; its first starts {versions[0].first}. Ask about a later"
        " day, or add the earlier version with its citation."
    )


class Rules(dict[str, tuple[RuleVersion, ...]]):
    """Rules that no milestone asks for, by name: each with its versions, oldest first."""

    def on(self, name: str, day: date) -> RuleVersion:
        """The version in force on a day. Raises: NotInForce; KeyError for a rule there is none of."""
        return version_on(name, self[name], day)

    def near(self, name: str, day: date) -> RuleVersion:
        """The same; the first version there is on a day without one."""
        try:
            return self.on(name, day)
        except NotInForce:
            return self[name][0]

    def in_force(self, day: date) -> list[RuleVersion]:
        """The versions in force on a day."""
        return [each for versions in self.values() for each in versions if day in each.in_force]


@dataclass(frozen=True, slots=True)
class Requirement:
    """A requirement with all its versions, oldest first; ``id`` is the milestone's id, a dot, a name.

    ``plain`` says it to a student, without numbers. ``expiring`` names what expires with it: an endorsement,
    a certificate, a test result. Both are empty where the data have no such words.
    """

    id: str
    kind: str
    versions: tuple[RuleVersion, ...]
    plain: str = ""
    expiring: str = ""

    def on(self, day: date) -> RuleVersion:
        """The version in force on a day.

        Raises: NotInForce when there is none.
        """
        return version_on(self.id, self.versions, day)


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


@dataclass(frozen=True)
class Milestone:
    """A thing a student becomes allowed to do, and everything it takes.

    With ``paths`` there are several lawful ways, and any one of them is enough. ``role`` is one of ``ROLES``
    or empty.
    """

    id: str
    title: str
    says: str
    context: tuple[str, ...]
    requirements: tuple[Requirement, ...]
    order: int = 0
    scope: Scope = field(default_factory=Scope)
    paths: tuple[Path, ...] = ()
    role: str = ""

    @property
    def authority(self) -> str:
        """Whose rules they are: what the id begins with."""
        return self.id.partition(".")[0]

    @cached_property
    def items(self) -> Mapping[str, str]:
        """The items that its requirements ask for at a standard, by code, with what the rule calls them."""
        return {
            code: title
            for requirement in self.requirements
            if requirement.kind == ITEMS_AT_STANDARD
            for version in requirement.versions
            for code, title in version.params["items"].items()
        }


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

    @cached_property
    def requirements(self) -> Mapping[str, Requirement]:
        """The requirements of every milestone, by id."""
        return {each.id: each for made in self.milestones.values() for each in made.requirements}

    @cached_property
    def items(self) -> Mapping[str, str]:
        """The items that any milestone asks for, by code, with what the rule calls them."""
        return {code: title for each in self.milestones.values() for code, title in each.items.items()}

    @cached_property
    def of_authority(self) -> Mapping[str, Rulebook]:
        """The milestones of each authority, the one first whose first milestone comes first."""
        found: dict[str, dict[str, Milestone]] = {}
        for name, each in self.milestones.items():
            found.setdefault(each.authority, {})[name] = each
        return {name: replace(self, milestones=its) for name, its in found.items()}

    def in_role(self, *roles: str) -> tuple[Milestone, ...]:
        """The milestones of these roles, in the order of training; every authority has its own."""
        return tuple(each for each in self.milestones.values() if each.role in roles)

    def on_the_way(self) -> tuple[Milestone, ...]:
        """The milestones that lessons lead to step by step: those that ask for items, in their order."""
        return tuple(each for each in self.milestones.values() if each.items)

    def with_milestone(self, added: Milestone) -> Rulebook:
        """The same rules with a milestone more, or with another of that id."""
        return replace(self, milestones={**self.milestones, added.id: added})

    def milestone(self, name: str) -> Milestone:
        """The milestone of that id. Raises: UnknownMilestone."""
        try:
            return self.milestones[name]
        except KeyError:
            raise UnknownMilestone(name, self.milestones) from None
