"""Reasons in words for people: in the reader's language, times in decimal hours."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.utils import translation

from syllabus import rulebook
from syllabus.engine.amounts import count, time
from syllabus.engine.reasons import REASONS, WholeMinutes, Words, reason
from syllabus.engine.units import MINUTE
from tests.web import pseudo
from training.presenters.reasons import gave, words


@pytest.mark.parametrize(
    ("what", "said"),
    [
        pytest.param("dual given by nobody named", "dual given by nobody named", id="no code yet"),
        pytest.param(
            reason("time.over-clock", logged=time(85 * MINUTE), most=time(84 * MINUTE)),
            "which is right: 1.4 h logged, and 1.4 h at most on the clock",
            id="amounts in decimal hours",
        ),
        pytest.param(
            reason("time.night-not-logged", computed=WholeMinutes(60)),
            "1.0 h of night computed from off and on, but none is logged",
            id="computed minutes in decimal hours",
        ),
        pytest.param(
            reason("item.order-unknown", item="a.b-01", day=dt.date(2026, 3, 4)),
            "which grade of a.b-01 on 2026-03-04 was the later one",
            id="days as they are",
        ),
    ],
)
def test_a_reason_in_words(what: Words, said: str) -> None:
    assert words(what) == said


def test_what_an_entry_gave_is_an_amount_or_words() -> None:
    rule = rulebook.current().milestones["faa.first-solo"].requirements[0].versions[-1]
    assert gave(rule, (time(85 * MINUTE), count(2, "landing"))) == "1.4 h, 2 landings"
    assert gave(rule, "holds with no end date") == "holds with no end date"
    assert gave(rule, reason("item.at-standard", item="a.b-01", grade="perform")) == "a.b-01 perform"


@pytest.mark.parametrize("code", sorted(REASONS))
def test_every_reason_is_looked_up_in_the_language_of_the_page(code: str) -> None:
    made = reason(code, **dict.fromkeys(names_of(code), "x"))
    with pseudo.spoken():
        assert words(made) == f"«{made}»"
    with translation.override("en"):
        assert words(made) == str(made)


def names_of(code: str) -> list[str]:
    return re.findall(r"%\((\w+)\)s", REASONS[code])
