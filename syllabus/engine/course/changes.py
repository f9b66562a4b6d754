"""From one version of a course to the next: what differs, and what a student has passed that still stands."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from syllabus.engine.course.course import Item, Lesson, Outline
from syllabus.engine.course.standards import Tolerance
from syllabus.engine.record.record import GRADES
from syllabus.engine.time.units import format_time

ADDED, REMOVED, CHANGED, MOVED = "added", "removed", "changed", "moved"


@dataclass(frozen=True, slots=True)
class Change:
    """One difference. ``what`` is course, stage, lesson, item or minimum; ``words`` say it whole."""

    what: str
    code: str
    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class Carried:
    """Whether what was passed stands in the new version.

    ``why`` says what keeps it from that, ``note`` what an instructor should look at where it stands.
    """

    item: str
    grade: str
    carries: bool
    why: str = ""
    note: str = ""


def compare(old: Outline, new: Outline) -> tuple[Change, ...]:
    """What differs between two versions, from the course down to its minimums; empty for equal ones."""
    return (
        *_fields("course", new.code, _of(old, "title", "says"), _of(new, "title", "says")),
        *_group("stage", old.stages, new.stages, _stage),
        *_group("lesson", old.lessons, new.lessons, _lesson),
        *_group("item", old.items, new.items, _item),
        *_group("minimum", old.minimums, new.minimums, _minimum),
    )


def carry_over(old: Outline, new: Outline, passed: Mapping[str, str]) -> tuple[Carried, ...]:
    """For each item graded in the old version (its code with its newest grade), whether it stands in the new.

    It stands where the new version requires no more than the old one: the same item, no limit tighter or new,
    the same task, no further proof, and no higher grade. Another revision of the same task carries with a
    note. In the order of the old version; what it does not know comes last.
    """
    order = {item.code: index for index, item in enumerate(old.items)}
    codes = sorted(passed, key=lambda code: (order.get(code, len(order)), code))
    return tuple(_carried(old, new, code, passed[code]) for code in codes)


def _carried(old: Outline, new: Outline, code: str, grade: str) -> Carried:
    before, after = old.by_code.get(code), new.by_code.get(code)
    if grade not in GRADES:
        return Carried(code, grade, False, f"an item is not passed with the grade {grade}")
    if before is None:
        return Carried(code, grade, False, "the old version has no such item")
    if after is None:
        return Carried(code, grade, False, "the new version has no such item")
    reasons = [*_asks_more(before, after)]
    wanted, asked = new.highest.get(code), old.highest.get(code)
    # On the way to a grade that was asked for all along, what there is stands: nothing was asked anew.
    more = wanted and (asked is None or GRADES.index(wanted) > GRADES.index(asked))
    if wanted and more and GRADES.index(grade) < GRADES.index(wanted):
        reasons.append(f"the new version requires {wanted}" + (f", was {asked}" if asked else ""))
    note = ""
    if not reasons and before.task and after.task and before.task != after.task:
        note = f"graded to {before.task}; see that {after.task} is the same task"
    return Carried(code, grade, not reasons, "; ".join(reasons), note)


def _asks_more(before: Item, after: Item) -> Iterator[str]:
    if before.kind != after.kind:
        yield f"it was {before.kind} and is {after.kind} now"
    if after.task is not None and (
        before.task is None
        or (before.task.document, before.task.code) != (after.task.document, after.task.code)
    ):
        yield f"it is now for another task, {after.task}"
    stood = {tolerance.name: tolerance for tolerance in before.standard}
    for tolerance in after.standard:
        if why := _tighter(stood.get(tolerance.name), tolerance):
            yield why
    if further := [proof for proof in after.proves if proof not in before.proves]:
        yield f"it also proves {', '.join(further)} now"


def _tighter(before: Tolerance | None, after: Tolerance) -> str:
    """Why what was inside before may be outside now; empty where it cannot be."""
    if after.low is None and after.high is None:
        return ""
    if before is None:
        return f"{after.name} has a limit now: {after.says}"
    if (before.quantity, before.target) != (after.quantity, after.target):
        return f"{after.name} is measured otherwise now: {after.says}, was {before.says}"
    if _within(before, after):
        return ""
    return f"{after.name} is tighter now: {after.says}, was {before.says}"


def _within(before: Tolerance, after: Tolerance) -> bool:
    """Whether every value inside the limits before is inside those after; both are of one measurement."""
    # a limit that is excluded lies a little further in than the same one included
    low = after.low is None or (
        before.low is not None
        and (before.low, not before.low_inclusive) >= (after.low, not after.low_inclusive)
    )
    high = after.high is None or (
        before.high is not None and (before.high, before.high_inclusive) <= (after.high, after.high_inclusive)
    )
    return low and high


def _of(thing: Any, *names: str) -> dict[str, Any]:
    return {name: getattr(thing, name) for name in names}


def _stage(stage: Any) -> dict[str, Any]:
    shown = _of(stage, "title", "objective", "completion")
    return {**shown, "lessons": ", ".join(lesson.code for lesson in stage.lessons)}


def _lesson(lesson: Lesson) -> dict[str, Any]:
    shown = _of(lesson, "title", "objective", "completion")
    shown |= {f"{kind} time".replace("_", "-"): format_time(time) for kind, time in lesson.times.items()}
    shown["items"] = ", ".join(lesson.items)
    shown |= {f"grade of {code}": grade for code, grade in lesson.items.items()}
    return {**shown, "plans": ", ".join(lesson.plans)}


def _item(item: Item) -> dict[str, Any]:
    shown = _of(item, "title", "objective", "kind")
    shown["task"] = str(item.task) if item.task else ""
    shown["prerequisites"], shown["proves"] = ", ".join(item.prerequisites), ", ".join(item.proves)
    for tolerance in item.standard:
        shown[f"standard of {tolerance.name}"] = tolerance.says
        shown[f"source of {tolerance.name}"] = (
            f"{tolerance.basis}, {tolerance.verified}, {tolerance.source} {tolerance.note}".rstrip()
        )
    return shown


def _minimum(minimum: Any) -> dict[str, Any]:
    shown = _of(minimum, "kind", "says", "note")
    return {**shown, **{key: str(value) for key, value in minimum.params.items()}}


def _group(what: str, old: Iterable[Any], new: Iterable[Any], shown: Any) -> Iterator[Change]:
    before, after = {each.code: each for each in old}, {each.code: each for each in new}
    for code, each in before.items():
        if code not in after:
            yield Change(what, code, REMOVED, f"{what} {code} ({_title(each)}) is gone")
    for code, each in after.items():
        if code not in before:
            yield Change(what, code, ADDED, f"{what} {code} ({_title(each)}) is new")
        else:
            yield from _fields(what, code, shown(before[code]), shown(each))
    stayed = [code for code in before if code in after]
    now = [code for code in after if code in before]
    moved = [code for code, other in zip(stayed, now, strict=True) if code != other]
    if moved:
        yield Change(what, moved[0], MOVED, f"{what}s are in another order from {moved[0]} on")


def _title(each: Any) -> str:
    return getattr(each, "title", None) or each.says


def _fields(what: str, code: str, before: dict[str, Any], after: dict[str, Any]) -> Iterator[Change]:
    for name in [*before, *(name for name in after if name not in before)]:
        was, now = before.get(name) or "nothing", after.get(name) or "nothing"
        if was != now:
            yield Change(what, code, CHANGED, f"{what} {code}: {name} was {was}, is {now}")
