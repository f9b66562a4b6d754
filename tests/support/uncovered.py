"""Milestones that the rules do not cover, for a test: refused by name wherever somebody asks about them."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import pytest

from syllabus.engine.rules.reasons import NotCovered, reason

WHY = "there are no rules here for a helicopter."
#: Whoever asks the engine, by the name of the module: some names mean a function in its package too.
_ASKING = (
    "api.v1.everyone.eligibility",
    "syllabus.engine.audit.endorsements",
    "syllabus.engine.audit.solo",
    "training.management.commands.eligibility",
    "training.reports.eligibility",
    "training.services.records.documents",
    "training.services.endorsements.endorsement_check",
)


def refuse(monkeypatch: pytest.MonkeyPatch, *milestones: str, key: str = "class") -> None:
    """Refuse these milestones, and whatever is asked as a part of them; without any, every question."""
    for name in _ASKING:
        module: Any = import_module(name)
        monkeypatch.setattr(module, "evaluate", _refusing(module.evaluate, milestones, key))


def _refusing(evaluate: Any, milestones: tuple[str, ...], key: str) -> Any:
    def asked(rulebook: Any, record: Any, milestone: str, *given: Any, **more: Any) -> Any:
        if not milestones or milestone.partition("/")[0] in milestones:
            raise NotCovered(milestone, key, "helicopter", reason("scope.category", category=WHY))
        return evaluate(rulebook, record, milestone, *given, **more)

    return asked
