"""Reasons as values: a code, its parameters, and the English text that stays word for word."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest

from syllabus.engine import reasons
from syllabus.engine.amounts import time
from syllabus.engine.reasons import REASONS, Reason, WholeMinutes, reason
from syllabus.engine.units import MINUTE, parse_time

KINDS = Path(reasons.__file__).parent / "kinds"


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


def test_every_code_is_given_by_a_kind_with_the_parameters_that_its_words_name() -> None:
    source = "".join(each.read_text() for each in KINDS.glob("*.py"))
    given = {
        code: set(re.findall(r"(\w+)=", rest))
        for code, rest in re.findall(r'reason\(\s*"([a-z.-]+)"((?:[^()]|\([^()]*\))*)\)', source)
    }
    assert given == {code: set(re.findall(r"%\((\w+)\)s", words)) for code, words in REASONS.items()}
