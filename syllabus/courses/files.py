"""Reads and writes a course as a YAML file: every error at its line, and the same text again when written.

A course has a code (``course``), ``title``, ``says``, its ``stages`` with their lessons, its ``items``, and
perhaps ``minimums`` beyond the law, written like a requirement in the regulation data. A lesson gives its
times by kind and its items, each with the lowest grade that completes it. An item may have a task of a test
standard, prerequisites, the items of rules that it proves, and a standard: one entry for each quantity:

    {name: altitude, assigned: altitude at entry, low: -100 ft, high: +100 ft, source: …, verified: memory}

with a target (``assigned`` in flight, a fixed ``value``, ``named`` by airplane or airport, or none if the
limits are a range) and limits with their unit, which are relative to the target and have a sign.
"""

import hashlib
import json
from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from typing import Any

import yaml

from syllabus.courses.reader import Reader, with_paths
from syllabus.engine.course.course import FLIGHT, PLANNED, CourseError, Item, Lesson, Outline, Stage, check
from syllabus.engine.course.standards import RANGE, TEST_STANDARD, VALUE, Tolerance
from syllabus.engine.errors import Error, RuleDataError
from syllabus.engine.rules.kinds import KINDS
from syllabus.engine.rules.minimums import Minimum
from syllabus.engine.time import units
from syllabus.law import dated, rulebook
from syllabus.law.dated import Lined

MOST_BYTES = 2_000_000


def errors_of(outline: Outline) -> tuple[Error, ...]:
    """The errors of a course's plans and proofs, checked against the rulebook."""
    rules = rulebook.current()
    return check(outline, requirements=rules.requirements, proves=rules.items)


def read(text: str, file: str) -> Outline:
    """A course from the text of its file. Raises: CourseError with every error, each as ``file:line``."""
    try:
        data = dated.read_text(text, file, "a course starts with 'course:'")
    except RuleDataError as problem:
        raise CourseError(problem.errors) from None
    return _course(data)


def read_plain(value: Mapping[str, Any], place: str) -> Outline:
    """A course from plain JSON values; ``place`` is the path that error places begin with.

    Raises: CourseError with every error, each at its path: ``outline.stages[0].lessons[1].times``.
    """
    return _course(with_paths(value, place))


def read_kept(value: Mapping[str, Any]) -> Outline:
    """A course from stored values, which were consistent when they were saved, whatever today's rules.

    Raises: CourseError if they are not a course.
    """
    return _read(Reader(), with_paths(value, ""))


def _course(data: Lined) -> Outline:
    reader = Reader()
    outline = _read(reader, data)
    if errors := errors_of(outline):
        raise CourseError([Error(reader.place(error.place, data), error.message) for error in errors])
    return outline


def _read(reader: Reader, data: Lined) -> Outline:
    outline = reader.course(data)
    if reader.errors:
        raise CourseError(reader.errors)
    return outline


def read_bytes(raw: bytes, file: str) -> Outline:
    """A course from the bytes of its file. Raises: CourseError."""
    if len(raw) > MOST_BYTES:
        raise CourseError.at(file, f"{len(raw)} bytes; a course has at most {MOST_BYTES}")
    try:
        return read(raw.decode("utf-8"), file)
    except UnicodeDecodeError as problem:
        line = raw.count(b"\n", 0, problem.start) + 1
        raise CourseError.at(f"{file}:{line}", "not UTF-8 text") from None


def write(outline: Outline) -> str:
    """The text of a course's file; reading it gives the same outline, and writing that the same text."""
    return _text(as_data(outline))


def _text(data: dict[str, Any]) -> str:
    text: str = yaml.dump(
        data, Dumper=yaml.SafeDumper, sort_keys=False, allow_unicode=True, width=110, default_flow_style=False
    )
    return text


def content_hash(outline: Outline) -> str:
    """The hash of the text that ``write`` gives, which identifies a version's content."""
    return _hash(json.dumps(as_data(outline)))


@lru_cache(maxsize=16)
def _hash(data: str) -> str:
    """Keyed by JSON, because saving and publishing both need the hash and YAML is slow to write."""
    return "sha256:" + hashlib.sha256(_text(json.loads(data)).encode()).hexdigest()


def as_data(outline: Outline) -> dict[str, Any]:
    """A course in the form of its file, as plain values."""
    return {"course": outline.code, "title": outline.title, "says": outline.says, **parts(outline)}


def parts(outline: Outline) -> dict[str, Any]:
    """The parts of a course in the form of its file: its minimums, stages and items."""
    data: dict[str, Any] = {}
    if outline.minimums:
        data["minimums"] = [
            _kept(code=each.code, kind=each.kind, **_params(each), says=each.says, note=each.note)
            for each in outline.minimums
        ]
    data["stages"] = [
        {**_named(stage), "completion": stage.completion, "lessons": list(map(_lesson, stage.lessons))}
        for stage in outline.stages
    ]
    data["items"] = list(map(_item, outline.items))
    return data


def _params(minimum: Minimum) -> dict[str, Any]:
    """Sorted, because a database orders the keys of JSON in its own way."""

    def ordered(value: Any) -> Any:
        if isinstance(value, Mapping):
            return {key: ordered(value[key]) for key in sorted(value)}
        return [ordered(each) for each in value] if isinstance(value, list) else value

    known = list(KINDS[minimum.kind].params)
    return {key: ordered(minimum.params[key]) for key in sorted(minimum.params, key=known.index)}


def _kept(**fields: Any) -> dict[str, Any]:
    """Drops empty values."""
    return {key: value for key, value in fields.items() if value not in ("", None, [], {})}


def _named(each: Stage | Lesson | Item) -> dict[str, Any]:
    return {"code": each.code, "title": each.title, "objective": each.objective}


def _lesson(lesson: Lesson) -> dict[str, Any]:
    made = {**_named(lesson), "completion": lesson.completion}
    made["times"] = {kind: units.format_time(lesson.times[kind]) for kind in PLANNED if kind in lesson.times}
    made["items"] = dict(lesson.items)
    return made | _kept(plans=list(lesson.plans))


def _item(item: Item) -> dict[str, Any]:
    return _named(item) | _kept(
        kind="" if item.kind == FLIGHT else item.kind,
        task=str(item.task) if item.task else "",
        prerequisites=list(item.prerequisites),
        proves=list(item.proves),
        standard=list(map(_tolerance, item.standard)),
    )


def _tolerance(each: Tolerance) -> dict[str, Any]:
    signed = each.target.kind != RANGE
    target: dict[str, Any] = {}
    if each.target.kind == VALUE:
        target = {VALUE: _number(each.target.value, each.unit, False)}
    elif each.target.kind != RANGE:
        target = {each.target.kind: each.target.name}
    excluded = [] if each.low_inclusive else ["low"]
    excluded += [] if each.high_inclusive else ["high"]
    return _kept(
        name=each.name,
        quantity="" if each.quantity == each.name else each.quantity,
        **target,
        low=_number(each.low, each.unit, signed),
        high=_number(each.high, each.unit, signed),
        excluded=excluded,
        basis="" if each.basis == TEST_STANDARD else each.basis,
        source=each.source,
        verified=each.verified,
        note=each.note,
    )


def _number(number: Fraction | None, unit: str, signed: bool) -> str:
    if number is None:
        return ""
    digits = f"{int(abs(number) * 10**units.MOST_DECIMALS):0{units.MOST_DECIMALS + 1}d}"
    whole, decimals = digits[: -units.MOST_DECIMALS], digits[-units.MOST_DECIMALS :].rstrip("0")
    sign = "-" if number < 0 else "+" if signed and number > 0 else ""
    return f"{sign}{whole}{'.' + decimals if decimals else ''} {unit}"
