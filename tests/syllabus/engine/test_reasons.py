"""Reasons as values: a code, its parameters, and the English text that stays word for word."""

from __future__ import annotations

import ast
import datetime as dt
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from syllabus.engine.rules import reasons
from syllabus.engine.rules.reasons import (
    NOTHING,
    REASONS,
    Limit,
    Named,
    Reason,
    WholeMinutes,
    reason,
    several,
)
from syllabus.engine.time.amounts import distance, time
from syllabus.engine.time.units import MINUTE, parse_time

AT = dt.datetime(2026, 1, 2, 9, 5, tzinfo=dt.UTC)
ENGINE = Path(reasons.__file__).parents[1]
TRAINING = ENGINE.parents[1] / "training"
SOURCES = [
    *ENGINE.rglob("*.py"),
    TRAINING / "reports" / "changes.py",
    TRAINING / "reports" / "overview.py",
    TRAINING / "reports" / "progress.py",
    TRAINING / "services" / "endorsements" / "endorsement_check.py",
]


@pytest.mark.parametrize(
    ("made", "text"),
    [
        pytest.param(
            reason("time.before-window", flown=dt.date(2026, 1, 2), opens=dt.date(2026, 9, 1)),
            "flown 2026-01-02, before the window that opens 2026-09-01",
            id="days",
        ),
        pytest.param(
            reason("time.over-clock", logged=time(85 * MINUTE), most=time(parse_time("1.4 h"))),
            "which is right: 85 min logged, and 1.4 h at most on the clock",
            id="amounts, exactly",
        ),
        pytest.param(
            reason("time.night-not-logged", computed=WholeMinutes(60)),
            "60 min of night computed from off and on, but none is logged",
            id="computed minutes",
        ),
        pytest.param(reason("device.category-unknown"), "the category that the device represents", id="none"),
        pytest.param(
            reason("flight.leg-more-than", distance=distance(4_996), limit=Limit(5_000)),
            "longest leg 49.96 NM; more than 50 NM is required",
            id="a distance exactly, and the limit as people write it",
        ),
        pytest.param(
            reason("conflict.night-landing-by-day", at="KOSH", time=AT),
            "which is right: a night landing at KOSH, and by the Sun it was day there at 09:05",
            id="a time of day",
        ),
        pytest.param(
            reason("item.not-graded", items=(Named("a.b-01", "Turns"), Named("a.b-02"))),
            "Not graded yet: a.b-01 (Turns), a.b-02.",
            id="names, after their codes",
        ),
        pytest.param(
            reason("entry.not-on-day", gave=reason("holds.no-end"), day=dt.date(2026, 1, 2)),
            "valid with no end date, not on 2026-01-02",
            id="a reason in a reason",
        ),
    ],
)
def test_the_text_of_a_reason(made: Reason, text: str) -> None:
    assert str(made) == text


def test_reasons_are_equal_by_code_and_parameters() -> None:
    made = reason("item.no-instructor", item="a")
    assert made == reason("item.no-instructor", item="a") != reason("item.no-instructor", item="b")
    assert (made.code, made["item"]) == ("item.no-instructor", "a")


def test_a_code_without_words_is_refused() -> None:
    with pytest.raises(KeyError):
        reason("item.no-such-thing")


def test_every_code_is_given_somewhere_with_the_parameters_that_its_words_name() -> None:
    given: set[str] = set()
    for code, names in calls():
        hits = [each for each in REASONS if re.fullmatch(code, each) and names in (None, named(each))]
        assert hits, f"{code} with {names} has no words"
        given.update(hits)
    assert given == set(REASONS)


def named(code: str) -> set[str]:
    return set(re.findall(r"%\((\w+)\)s", REASONS[code]))


def calls() -> Iterator[tuple[str, set[str] | None]]:
    """Every code that is given, a pattern where it is put together, and its parameters where they show."""
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text())):
            maker = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else None
            if maker not in MAKERS or not isinstance(node, ast.Call):
                continue
            keywords = {each.arg for each in node.keywords}
            names = None if maker != "reason" or None in keywords else {str(each) for each in keywords}
            yield from ((code + MAKERS[maker], names) for code in codes(node.args[0]))


#: Functions that make a reason of a code, and the ending that they may put to it.
MAKERS = {"reason": "", "_first": "", "said": "(-at)?"}


def codes(node: ast.expr) -> Iterator[str]:
    if isinstance(node, ast.IfExp):
        yield from (*codes(node.body), *codes(node.orelse))
    elif isinstance(node, ast.Constant):
        yield re.escape(node.value)
    elif isinstance(node, ast.JoinedStr):
        parts = (
            re.escape(each.value) if isinstance(each, ast.Constant) else "[a-z-]*" for each in node.values
        )
        if "." in (code := "".join(parts)):
            yield code


def test_several_reasons_are_one_that_says_each() -> None:
    one, other = reason("route.unknown"), reason("student.birth-date")
    both = several((one, other))
    assert (several((one,)), several(())) == (one, NOTHING)
    assert (str(both), both.alone(), one.alone()) == ("the route; the birth date", (one, other), (one,))
    assert (bool(NOTHING), str(NOTHING), bool(both)) == (False, "", True)
