"""What an audit asks beyond the milestones, read once: ``auditing/<authority>.yaml``.

Dated, cited data like the regulations and the rules about instructors. Faults name file and line.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from syllabus import dated
from syllabus.dated import Lined
from syllabus.engine.audit import RULES, AuditRule, AuditRules
from syllabus.engine.errors import RuleDataError
from syllabus.engine.kinds import registry
from syllabus.engine.rulebook import VERIFIED

HOME = Path(__file__).parent / "auditing"
#: What an entry may be asked to say.
FIELDS = (
    "total",
    "places",
    "type",
    "identification",
    "kind",
    "description",
    "length",
    "instructor",
    "certificate",
)
_VERSION = ("from", "until", "says", "cite", "verified", "note")


def _airports(value: Any) -> dict[str, str]:
    if not isinstance(value, dict) or not all(
        isinstance(each, str) for pair in value.items() for each in pair
    ):
        raise ValueError("is no mapping of an airport to the name of its area")
    return dict(value)


#: The parameters there are, and how each is read.
_PARAMS: dict[str, registry.ReadParam] = {
    "within": registry.distance,
    "keep": registry.length,
    "wait": registry.window,
    "window": registry.window,
    "ahead": registry.length,
    "apart": registry.time,
    "applicants": registry.number,
    "per_cent": registry.number,
    "airports": _airports,
    "fields": registry.words(*FIELDS),
}


class _Reader(dated.Builder):
    def rule(self, at: Lined) -> tuple[str, tuple[AuditRule, ...]]:
        self.known(at, ("id", "versions"))
        name = self.field(at, "id", str, "")
        wanted = RULES.get(name, ())
        if name and name not in RULES:
            self.fault(at.place("id"), f"no rule is called {name!r}; there are {', '.join(RULES)}")
        entries = self.mappings(at, "versions")
        versions = []
        for each, following in zip(entries, [*entries[1:], None], strict=True):
            self.known(each, (*_VERSION, *wanted))
            first, last = self.in_force(each, name, following)
            cite, verified = self.citation(each), self.field(each, "verified", str, "memory")
            if verified not in VERIFIED:
                self.fault(
                    each.place("verified"), f"verified: {verified!r} is not one of {', '.join(VERIFIED)}"
                )
            says = self.field(each, "says", str, "")
            note = self.field(each, "note", str, "", optional=True)
            params = {key: self.param(each, key) for key in wanted}
            if first is not None and cite is not None:
                versions.append(AuditRule(name, first, last, says, cite, verified, note, params))
        return name, tuple(versions)

    def param(self, at: Lined, key: str) -> Any:
        if key not in at:
            self.fault(at.place(), f"{key!r} is missing")
            return None
        try:
            return _PARAMS[key](at[key])
        except ValueError as wrong:
            self.fault(at.place(key), f"{key}: {wrong}")
            return None


def load(home: Path = HOME) -> AuditRules:
    """The rules of a folder. Raises: RuleDataError with every fault, each with file and line."""
    reader = _Reader()
    found: dict[str, tuple[AuditRule, ...]] = {}
    for path in sorted(home.glob("*.yaml")):
        data = dated.read_text(path.read_text(encoding="utf-8"), path.name, "it starts with 'authority:'")
        reader.known(data, ("authority", "rules"))
        if reader.field(data, "authority", str, "") not in ("", path.stem):
            reader.fault(
                data.place("authority"), f"{data['authority']!r} stands in {path.name}; make them agree"
            )
        for each in reader.mappings(data, "rules"):
            name, versions = reader.rule(each)
            if name in found:
                reader.fault(each.place("id"), f"{name} stands twice; keep one")
            found[name] = versions
    for missing in [rule for rule in RULES if not found.get(rule)]:
        reader.fault(home.name, f"the rule {missing!r} is in no file")
    if reader.faults:
        raise RuleDataError(dict.fromkeys(reader.faults))
    return AuditRules(found)


@cache
def current() -> AuditRules:
    """The project's own, read once a process."""
    return load()
