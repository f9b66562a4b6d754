"""Reasons as values: a code that a program keys on, and the facts that it is about.

The words are those of ``reason_words``; an edge puts them into its reader's language
(``training.presenters.reasons``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Union

from syllabus.engine.errors import EngineError
from syllabus.engine.rules.reason_words import REASONS
from syllabus.engine.time.amounts import Amount


@dataclass(frozen=True, slots=True)
class WholeMinutes:
    """A time that was computed, rounded to a whole number of minutes; it counts for nothing."""

    minutes: int

    def __str__(self) -> str:
        return f"{self.minutes} min"


@dataclass(frozen=True, slots=True)
class Limit:
    """A rule's distance, in hundredths of a nautical mile, as people write it: ``50 NM``, ``62.5 NM``."""

    hundredths: int

    def __str__(self) -> str:
        return f"{self.hundredths / 100:g} NM"


@dataclass(frozen=True, slots=True)
class Named:
    """An entry, an item or a requirement: its id for programs, and its name where the engine knows it."""

    id: str
    title: str = ""

    def __str__(self) -> str:
        return f"{self.id} ({self.title})" if self.title else self.id


One = str | int | date | Amount | WholeMinutes | Limit | Named
Parameter = Union[One, "Reason", tuple[Union[One, "Reason"], ...]]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an entry counts, does not count, or leaves a question; without a code, nothing, which is false.

    ``str`` of it is the English text, with exact amounts and with days as ``2026-11-20``.
    """

    code: str = ""
    parameters: tuple[tuple[str, Parameter], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.code)

    def __getitem__(self, name: str) -> Parameter:
        return dict(self.parameters)[name]

    def __str__(self) -> str:
        return REASONS[self.code] % {name: _text(value) for name, value in self.parameters} if self else ""

    def written(self, words: Callable[[str], str], one: Callable[[Reason, str, One], str]) -> str:
        """The text in a reader's ``words``; ``one`` writes each value, given its reason and its name."""
        if not self.code:
            return ""
        told = {name: self._told(words, one, name, value) for name, value in self.parameters}
        return words(REASONS[self.code]) % told

    def _told(
        self, words: Callable[[str], str], one: Callable[[Reason, str, One], str], name: str, value: Parameter
    ) -> str:
        if isinstance(value, Reason):
            return value.written(words, one)
        if isinstance(value, tuple):
            return _between(value).join([self._told(words, one, name, each) for each in value])
        return one(self, name, value)

    def values(self) -> Iterator[One]:
        """Every value in it, in the order in which ``written`` writes them."""

        def told(value: Parameter) -> Iterator[One]:
            if isinstance(value, Reason):
                yield from value.values()
            elif isinstance(value, tuple):
                for each in value:
                    yield from told(each)
            else:
                yield value

        for _name, value in self.parameters:
            yield from told(value)

    def alone(self) -> tuple[Reason, ...]:
        """The reasons that it is made of, where there are several; else itself."""
        parts = self["reasons"] if self.code == "several" else self
        return tuple(
            each for each in (parts if isinstance(parts, tuple) else (parts,)) if isinstance(each, Reason)
        )


NOTHING = Reason()
"""No reason at all."""


def reason(code: str, **parameters: Parameter) -> Reason:
    """A reason by its code. Raises: KeyError for a code that has no words."""
    REASONS[code]
    return Reason(code, tuple(parameters.items()))


def several(reasons: Iterable[Reason]) -> Reason:
    """All of the reasons as one; the reason itself where there is only one."""
    found = tuple(reasons)
    return found[0] if len(found) == 1 else reason("several", reasons=found) if found else NOTHING


class NotCovered(EngineError):
    """The rules that are written do not cover what was asked: a refusal by name, never an answer.

    ``key`` is what it turns on: a key of the context, or ``certificate``; ``value`` what it was; ``reason``
    says why.
    """

    def __init__(self, milestone: str, key: str, value: str, reason: Reason):
        self.milestone, self.key, self.value, self.reason = milestone, key, value, reason
        super().__init__(str(reason))


def _between(values: tuple[One | Reason, ...]) -> str:
    return "; " if any(isinstance(each, Reason) for each in values) else ", "


def _text(value: Parameter) -> str:
    if value.__class__ is str:
        return value
    if value.__class__ is date:
        return value.isoformat()
    if isinstance(value, Amount):
        return value.text
    if isinstance(value, tuple):
        return _between(value).join(map(_text, value))
    return value.strftime("%H:%M") if isinstance(value, datetime) else str(value)
