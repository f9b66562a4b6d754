"""What was measured in a lesson beside the standards of its course: a hint with its words, never a grade.

A hint is plain JSON, for it is shown, and sealed with the sign-off as it was shown then:

``place``     where in the record, ``content.items[0].measured.altitude``
``item``      the item's code
``name``      what was measured, as written
``measured``  the value as typed; ``target`` what was aimed at as typed, or null
``words``     what it comes to, in a sentence's words
``inside``    true, false, or null where nothing says
``by``        how far within the nearer limit or beyond it, with its unit; null where ``inside`` is
``standard``  target and limits in words, with their ``basis``, ``source`` and ``note``, and the ``task`` of
              the test standard; null where there is none
``caution``   what to know before relying on it; may be empty
"""

import difflib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from syllabus.courses import outlines
from syllabus.engine.course import measured
from syllabus.engine.course.course import STANDARD, Item, Outline
from syllabus.engine.course.standards import Tolerance
from syllabus.engine.record.record import GRADES
from syllabus.engine.time.units import QuantityError
from syllabus.law import rulebook
from training.models import LessonRecord

Hint = dict[str, Any]
NO_COURSE = "The lesson is not of a course, so there is no standard to compare it with."


def outline_of(record: LessonRecord) -> Outline | None:
    """The lesson's version of the course; None if it has none."""
    return outlines.published(record.course_version) if record.course_version else None


def hints(plain: Mapping[str, Any], outline: Outline | None) -> list[Hint]:
    """A hint for every measured value of a lesson's content, item by item.

    Within an item the order is that of its standard, then by name, because PostgreSQL does not keep the order
    of an object's keys. ``plain`` is the content in its one form (``Content.plain``).
    """
    return [hint for each in _graded(plain, outline) for hint in each.hints]


def warnings(plain: Mapping[str, Any], outline: Outline | None) -> list[dict[str, str]]:
    """Warnings where grade and measured values disagree, a value cannot be compared, or an item is unknown.

    The instructor grades: nothing here refuses.
    """
    return [
        {"kind": kind, "place": f"content.items[{number}].{key}", "message": message}
        for number, each in enumerate(_graded(plain, outline))
        for kind, key, message in (*_unknown(each.item, outline), *each.problems, *_apart(each))
    ]


@dataclass(frozen=True, slots=True)
class _Graded:
    """An item of the lesson; ``problems`` are measured values that cannot be compared, as warnings."""

    item: str
    grade: str
    hints: list[Hint]
    problems: list[tuple[str, str, str]]


def _graded(plain: Mapping[str, Any], outline: Outline | None) -> Iterator[_Graded]:
    for number, graded in enumerate(plain["items"]):
        item = outline.by_code.get(graded["item"]) if outline is not None else None
        made = _Graded(graded["item"], graded["grade"], [], [])
        for name, said in sorted(graded.get("measured", {}).items(), key=_in_order_of(item)):
            value, target = (said, None) if isinstance(said, str) else (said["value"], said["target"])
            hint = {
                "place": f"content.items[{number}].measured.{name}",
                "item": graded["item"],
                "name": name,
                "measured": value,
                "target": target,
            }
            tolerance = _tolerance(item, name)
            if tolerance is None:
                made.hints.append({**hint, **_alone(hint, made.item, item, outline)})
                continue
            standard = {
                "standard": tolerance.says,
                "task": str(item.task) if item is not None and item.task else None,
                "basis": tolerance.basis,
                "source": tolerance.source,
                "note": tolerance.note,
            }
            try:
                made.hints.append({**hint, **standard, **_judged(tolerance, value, target)})
            except QuantityError as problem:
                made.hints.append({**hint, **_NOTHING, **standard, **_unread(hint, str(problem))})
                made.problems.append(("measured", f"measured.{name}", f"{_typed(hint)}: {problem}."))
        yield made


def _in_order_of(item: Item | None) -> Callable[[tuple[str, Any]], tuple[int, str]]:
    places = {_folded(each.name): place for place, each in enumerate(item.standard)} if item else {}
    return lambda entry: (places.get(_folded(entry[0]), len(places)), entry[0])


def _tolerance(item: Item | None, name: str) -> Tolerance | None:
    """The tolerance of that name, in any case."""
    wanted = _folded(name)
    return next((each for each in item.standard if _folded(each.name) == wanted), None) if item else None


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())


def _judged(tolerance: Tolerance, value: str, target: str | None) -> Hint:
    """Raises: QuantityError."""
    judged = measured.judge(tolerance, value, target)
    cautions = [tolerance.caution]
    if target is not None and measured.aims_elsewhere(tolerance, target):
        cautions.insert(0, f"The standard says {tolerance.says}, so it was not compared with {target}.")
    return {
        "words": judged.words,
        "inside": judged.inside,
        "by": judged.by_words,
        "caution": " ".join(filter(None, cautions)),
    }


def _unread(hint: Hint, problem: str) -> Hint:
    return {"words": f"{_typed(hint)}; it cannot be compared", "caution": f"{problem}."}


def _alone(hint: Hint, code: str, item: Item | None, outline: Outline | None) -> Hint:
    """A value without a standard to compare it with, and why."""
    if outline is None:
        why = NO_COURSE
    elif item is None:
        why = f"{code} is not an item of the course, so there is no standard to compare it with."
    elif not item.standard:
        why = f"The standard of {code} has no numbers to compare it with."
    else:
        known = ", ".join(each.name for each in item.standard)
        why = f"The standard of {code} has limits for {known}, but not for this."
    return {"words": f"{_typed(hint)}; not compared", **_NOTHING, "caution": why}


def _typed(hint: Hint) -> str:
    aimed = "" if hint["target"] is None else f", target {hint['target']}"
    return f"{hint['name']}: {hint['measured']}{aimed}"


_NOTHING: Hint = dict.fromkeys(("inside", "by", "standard", "task", "basis", "source", "note"))


def _unknown(code: str, outline: Outline | None) -> Iterator[tuple[str, str, str]]:
    asked = rulebook.current().items
    if outline is None or code in outline.by_code or code in asked:
        return
    near = difflib.get_close_matches(code, [*outline.by_code, *asked], 1)
    meant = f" Did you mean {near[0]}?" if near else ""
    yield (
        "unknown-item",
        "item",
        f"{code!r} is neither an item of the course {outline.code} nor one that a rule requires: its grade"
        f" counts for neither.{meant}",
    )


def _apart(graded: _Graded) -> Iterator[tuple[str, str, str]]:
    """A grade at the standard with a value outside it, and one below it with all values inside."""
    grade, found = graded.grade, graded.hints
    outside = [hint["words"] for hint in found if hint["inside"] is False]
    inside = [hint["words"] for hint in found if hint["inside"]]
    if grade == STANDARD and outside:
        yield (
            "grade-outside",
            "grade",
            f"{grade!r} is the grade, but outside the standard: {'; '.join(outside)}. The instructor grades.",
        )
    elif grade in GRADES and grade != STANDARD and inside and not outside:
        yield (
            "grade-inside",
            "grade",
            f"{grade!r} is the grade, and everything compared is inside: {'; '.join(inside)}. The instructor"
            " grades.",
        )
