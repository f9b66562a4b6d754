"""What an audit checks beyond the milestones: ``auditing/<authority>.yaml``, dated and cited."""

from typing import Any

from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.registry import Param
from syllabus.engine.rules.rulebook import Rules
from syllabus.law import sources
from syllabus.law.dated import Shape

#: Details that a rule may require of an entry.
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


def _airports(value: Any) -> dict[str, str]:
    if not isinstance(value, dict) or not all(
        isinstance(each, str) for pair in value.items() for each in pair
    ):
        raise ValueError("is not a mapping of an airport to the name of its area")
    return dict(value)


_FIELDS = {"fields": Param(registry.words(*FIELDS), required=True)}
SHAPE = Shape(
    "auditing",
    {
        "student-pilot": {},
        "class-b-airport": {"airports": Param(_airports, required=True)},
        "logbook-flight": _FIELDS,
        "logbook-training": _FIELDS,
        "signed-training": {},
        "training-first": {},
        "own-record-solo": {},
        "own-record-tests": {"wait": Param(registry.window, required=True)},
        "own-record-kept": {"keep": Param(registry.length, required=True)},
        "first-attempts": {
            "applicants": Param(registry.number, required=True),
            "per_cent": Param(registry.number, required=True),
            "window": Param(registry.window, required=True),
        },
        "pilot-alone": {},
        "night-as-computed": {"apart": Param(registry.time, required=True)},
        "existing-conditions": {"ahead": Param(registry.length, required=True)},
    },
)


@sources.read_once
def current() -> dict[str, Rules]:
    """The project's rules by authority, read once per process; every authority with milestones has them."""
    return SHAPE.load()
