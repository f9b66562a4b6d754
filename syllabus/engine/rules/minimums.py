"""What a school or a course asks for beyond the law: the same kinds of requirement, never shown as law."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from syllabus.engine.errors import Error
from syllabus.engine.rules.kinds import KINDS
from syllabus.engine.rules.rulebook import Citation, Requirement, Rulebook, RuleVersion

#: A milestone inside a minimum could come round to itself; the law's own milestones nest already.
ALLOWED = tuple(sorted(set(KINDS) - {"milestone"}))


@dataclass(frozen=True, slots=True)
class Minimum:
    """A kind of requirement; parameters as rule data has them, ``{"counts": ["dual"], "need": "25 h"}``."""

    code: str
    kind: str
    params: Mapping[str, Any]
    says: str
    note: str = ""

    def read(self) -> Mapping[str, Any]:
        """The parameters as the kind takes them. ValueError where ``errors`` finds any."""
        found, errors = read_params(self.kind, self.params)
        if errors:
            raise ValueError("; ".join(map(str, errors)))
        return found


def read_params(kind: str, values: Mapping[str, Any]) -> tuple[dict[str, Any], list[Error]]:
    """Parameters of a kind as it takes them, and what is wrong with them; a place is the parameter's name."""
    if kind not in ALLOWED:
        return {}, [Error("kind", f"{kind!r} is not a kind of minimum; use one of {', '.join(ALLOWED)}")]
    params, read, errors = KINDS[kind].params, {}, []
    for key in values:
        if key not in params:
            errors.append(Error(str(key), f"{kind} knows no {key!r}; it has {', '.join(params)}"))
    for key, param in params.items():
        if key not in values:
            if param.required:
                errors.append(Error("kind", f"{kind} needs {key!r}"))
            continue
        try:
            read[key] = param.read(values[key])
        except ValueError as problem:
            errors.append(Error(key, f"{key}: {problem}"))
    return read, errors


def as_requirement(
    minimum: Minimum, milestone: str, whose: str, first: date, last: date | None = None
) -> Requirement:
    """The minimum as a requirement of a milestone; ``whose`` is ``school`` or ``course``.

    Its id and its citation say that it is no requirement of the law: ``faa.first-solo.school.dual``.

    Raises: ValueError where its parameters cannot be read.
    """
    cite = Citation(f"the {whose}'s own minimum, not a regulation", f"the {whose}'s own rules", first)
    name = f"{milestone}.{whose}.{minimum.code}"
    version = RuleVersion(
        name, minimum.kind, first, last, minimum.says, cite, "read", minimum.note, minimum.read()
    )
    return Requirement(name, minimum.kind, (version,))


def with_minimums(rulebook: Rulebook, added: Mapping[str, tuple[Requirement, ...]]) -> Rulebook:
    """The rulebook with requirements added at the end of milestones; those of the law stay as they are.

    The id stays that of the law's data: the requirements added carry their own words and dates.
    """
    milestones = {
        name: replace(each, requirements=each.requirements + added.get(name, ()))
        for name, each in rulebook.milestones.items()
    }
    return replace(rulebook, milestones=milestones)
