"""A milestone inside a milestone."""

from __future__ import annotations

from collections.abc import Callable

from syllabus.engine.record.record import Record
from syllabus.engine.rules.finding import Answer, Finding
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import count


@kind("milestone", milestone=Param(registry.word(), True))
def milestone(
    rule: RuleVersion, record: Record, question: Question, nested: Callable[[str], Answer]
) -> Finding:
    """Everything another milestone asks for holds."""
    answer = nested(rule.params["milestone"])
    parts = answer.findings
    holds, possible = answer.holds & rule.in_force, answer.possible & rule.in_force
    met = sum(part.met(question.on) is True for part in parts)
    total = len(parts)
    return Finding(
        rule, holds, possible, (count(met, "requirement"),), (count(total, "requirement"),),
        (count(total - met, "requirement"),), parts=parts,
        ask=tuple(ask for part in parts if part.met(question.on) is None for ask in part.ask),
    )  # fmt: skip
