"""A lesson in words, signed or not: what was flown and taught, graded and measured."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from syllabus.engine.course.course import Outline
from syllabus.engine.record import record as engine
from training.presenters import entry


@dataclass(frozen=True, slots=True)
class Graded:
    """An item with its grade; ``measured`` has a line for each value."""

    code: str
    title: str
    grade: str
    observed: bool
    remarks: str
    measured: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson's content: labelled rows, the items, and what the instructor wrote."""

    flight: list[tuple[str, str]]
    ground: list[tuple[str, str]]
    items: list[Graded]
    comments: str
    next: str

    def every(self) -> Iterator[tuple[str, str]]:
        """Everything in one list of rows, to compare two lessons."""
        yield from self.flight
        for label, words in self.ground:
            yield _("On the ground: %(what)s") % {"what": label}, words
        for each in self.items:
            yield _("Grade of %(item)s") % {"item": each.title}, each.grade
            yield _("Measured: %(item)s") % {"item": each.title}, "; ".join(each.measured)
            yield _("Remark on %(title)s") % {"title": each.title}, each.remarks
        yield _("Comments"), self.comments
        yield _("Next"), self.next


def lesson(content: Mapping[str, Any], zone: dt.tzinfo, outline: Outline | None = None) -> Lesson:
    """A lesson's content in words; ``outline`` names the items, which otherwise appear by their codes."""
    flight, ground = content.get("flight"), content.get("ground")
    return Lesson(
        entry.rows(engine.Flight, flight, zone) if flight else [],
        entry.rows(engine.GroundLesson, ground, zone) if ground else [],
        [_graded(each, outline) for each in content.get("items", ())],
        content.get("comments") or "",
        content.get("next") or "",
    )


def _graded(each: Mapping[str, Any], outline: Outline | None) -> Graded:
    item = outline.by_code.get(each["item"]) if outline else None
    return Graded(
        each["item"],
        item.title if item else each["item"],
        entry.grade_of(each["grade"]),
        each["grade"] != engine.NOT_OBSERVED,
        each.get("remarks") or "",
        tuple(f"{name}: {_measured(said)}" for name, said in sorted(each.get("measured", {}).items())),
    )


def _measured(said: str | Mapping[str, str]) -> str:
    return said if isinstance(said, str) else _("%(value)s, target %(target)s") % said


def for_tablet() -> dict[str, Any]:
    """The words with which a script writes a lesson that the server has not seen yet."""
    return {**entry.for_tablet(), "measured": _("%(value)s, target %(target)s")}


def changes(before: Lesson, after: Lesson) -> list[tuple[str, str, str]]:
    """The differences between a lesson and its correction: label, old value, new value."""
    old, new = dict(before.every()), dict(after.every())
    return [
        (name, was or _("nothing"), now or _("nothing"))
        for name in dict.fromkeys([*old, *new])
        if (was := old.get(name, "")) != (now := new.get(name, ""))
    ]
