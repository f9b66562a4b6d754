"""Reasons as values: a code that a program keys on, and the facts that it is about.

The table of codes is here once, in English and marked for translation; an edge looks the words up in its
reader's language (``training.presenters.reasons``). What has no code yet is a plain text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from syllabus.engine.amounts import Amount


def _(words: str) -> str:
    """Mark words for translation; the engine itself knows no language."""
    return words


#: Every code with its words, after the kind of requirement that gives it.
REASONS: Mapping[str, str] = {
    "item.at-standard": _("%(item)s %(grade)s"),
    "item.below-standard": _("%(item)s (%(title)s): newest grade is %(grade)s"),
    "item.no-instructor": _("%(item)s: no instructor is named"),
    "item.other-instructor": _("%(item)s: by a %(instructor)s instructor"),
    "item.only-claimed": _("who vouches for %(grade)s of %(item)s: it is only claimed"),
    "item.order-unknown": _("which grade of %(item)s on %(day)s was the later one"),
    "time.before-window": _("flown %(flown)s, before the window that opens %(opens)s"),
    "time.over-device-credit": _("%(over)s over the %(most)s a device may add"),
    "time.over-clock": _("which is right: %(logged)s logged, and %(most)s at most on the clock"),
    "time.overlap-unknown": _("how much of the time was %(times)s at once"),
    "time.night-not-logged": _("%(computed)s of night computed from off and on, but none is logged"),
    "time.not-preparation": _("not logged as preparation for the %(test)s practical test"),
    "device.no-flight-time": _("time in a device (%(device)s) is no flight time"),
    "device.no-training": _("time in a device (%(device)s) counts only as training from an instructor"),
    "device.other-class": _("a device for a %(represents)s, and the rule credits one for %(credited)s"),
    "device.other-category": _("a device for a %(represents)s, and the rule credits one for a %(credited)s"),
    "device.category-unknown": _("the category that the device represents"),
    "device.no-letter": _("no letter of authorization for this %(device)s was in force"),
    "device.letter-unknown": _("the letter of authorization for the %(device)s (a document %(document)s)"),
    "device.no-credit": _("the rule gives no credit for a %(device)s"),
}


@dataclass(frozen=True, slots=True)
class WholeMinutes:
    """A time that was computed, rounded to a whole number of minutes; it counts for nothing."""

    minutes: int

    def __str__(self) -> str:
        return f"{self.minutes} min"


Parameter = str | date | Amount | WholeMinutes


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an entry counts, does not count, or leaves a question.

    ``str`` of it is the English text, with exact amounts and with days as ``2026-11-20``.
    """

    code: str
    parameters: tuple[tuple[str, Parameter], ...] = ()

    def __getitem__(self, name: str) -> Parameter:
        return dict(self.parameters)[name]

    def __str__(self) -> str:
        return REASONS[self.code] % {name: _written(value) for name, value in self.parameters}


Words = Reason | str
"""What is said of an entry: a reason, or a text where it has no code yet."""


def reason(code: str, **parameters: Parameter) -> Reason:
    """A reason by its code. Raises: KeyError for a code that has no words."""
    REASONS[code]
    return Reason(code, tuple(parameters.items()))


def _written(value: Parameter) -> str:
    return value.text if isinstance(value, Amount) else str(value)
