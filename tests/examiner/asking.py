"""Putting a record and a question to the engine, and the answer in one word."""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from inspect import signature
from typing import Any

from syllabus.engine.errors import EngineError, NotInForce, UnknownMilestone
from syllabus.engine.record import document
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import context_from
from syllabus.engine.rules.settings import Settings
from syllabus.law import rulebook

TRUE, FALSE, NULL, REFUSED = "true", "false", "null", "refused"


@dataclass
class Question:
    """A record document with what is asked about it."""

    id: str
    milestone: str
    on: date
    context: dict[str, Any]
    document: dict[str, Any]


@dataclass(frozen=True)
class Answer:
    """``word`` is true, false, null or refused; ``said`` names what stands in the way of a yes."""

    word: str
    said: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()
    report: Mapping[str, Any] = field(default_factory=dict)

    def __str__(self) -> str:
        return "\n  ".join((self.word, *self.said))


@cache
def school() -> dict[str, Any]:
    """The models that the program links by itself, handed over as a school's settings."""
    if "settings" not in signature(evaluate).parameters:
        return {}
    if importlib.util.find_spec("syllabus.law.aircraft_models") is None:
        return {"settings": Settings()}
    models = importlib.import_module("syllabus.law.aircraft_models").current()
    return {"settings": Settings(models=models)}


def findings(requirements: list[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
    """Every finding of a report, those of a nested milestone too."""
    for each in requirements:
        yield each
        yield from findings(each.get("requirements") or [])


def _told(finding: Mapping[str, Any]) -> str:
    asked = "; ".join(f"{each['id']}: {each['missing']}" for each in finding["ask"])
    left = "; ".join(f"{each['id']}: {each['why']}" for each in finding["not_counted"])
    return f"{finding['id']} {finding['met']}" + (f" asks [{asked}]" if asked else f" leaves out [{left}]")


def ask(question: Question) -> Answer:
    """The engine's answer. Raises: DocumentError, QuestionError where the corpus itself is not readable."""
    record = document.parse(question.document)
    context = context_from(question.context)
    try:
        made = evaluate(
            rulebook.current(), record, question.milestone, question.on, context=context, **school()
        )
        report = made.as_json()
    except (NotInForce, UnknownMilestone):
        raise
    except EngineError as refusal:
        return Answer(REFUSED, (str(refusal),))
    every = list(findings(report["requirements"]))
    asked = tuple(f"{each['id']}: {one['missing']}" for each in every for one in each["ask"])
    said = tuple(_told(each) for each in every if each["met"] is not True or each["ask"])
    word = {True: TRUE, False: FALSE, None: NULL}[made.met]
    assert made.eligible is (made.met is True), "the report contradicts itself"
    return Answer(word, said, asked, report)
