"""The words and shapes in which a page shows a report."""

from __future__ import annotations

import datetime as dt

import pytest

from syllabus.engine.time.amounts import Amounts, count, time
from syllabus.engine.time.days import Days
from syllabus.engine.time.units import HOUR, MINUTE
from training.presenters.entry import kind_of
from training.web.shared import report_presenter

D = dt.date


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("pre-solo-knowledge", "Pre-solo knowledge test"),
        ("knowledge:private-airplane", "Knowledge test, private airplane"),
        ("practical:sport", "Practical test, sport"),
        ("stage-check:first", "stage check, first"),
    ],
)
def test_a_test_in_words(kind: str, words: str) -> None:
    assert kind_of(kind) == words


@pytest.mark.parametrize(
    ("have", "need", "per_cent"),
    [
        pytest.param((time(0),), (time(40 * HOUR),), 0, id="none"),
        pytest.param((time(40 * HOUR - 6 * MINUTE),), (time(40 * HOUR),), 99, id="nearly all is not all"),
        pytest.param((time(40 * HOUR - 1),), (time(40 * HOUR),), 99, id="a microsecond short is not all"),
        pytest.param((time(40 * HOUR),), (time(40 * HOUR),), 100, id="all"),
        pytest.param((time(44 * HOUR),), (time(40 * HOUR),), 100, id="more than all is all"),
        pytest.param((time(85 * MINUTE),), (time(3 * HOUR),), 47, id="minutes of hours"),
        pytest.param(
            (count(10, "takeoff"), count(5, "landing")),
            (count(10, "takeoff"), count(10, "landing")),
            50,
            id="the smaller of two",
        ),
        pytest.param(
            (count(1, "endorsement"), time(90 * MINUTE)),
            (count(1, "endorsement"), time(3 * HOUR)),
            50,
            id="of two kinds of thing",
        ),
        pytest.param((count(1, "flight"),), (count(1, "landing"),), None, id="not the same thing"),
        pytest.param((), (count(16, "year"),), None, id="not known"),
        pytest.param((count(0, "item"),), (count(0, "item"),), None, id="nothing needed"),
    ],
)
def test_the_share_that_a_bar_shows(have: Amounts, need: Amounts, per_cent: int | None) -> None:
    assert report_presenter.share(have, need) == per_cent


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (Days.none(), ["on no day yet"]),
        (Days.all(), ["always"]),
        (Days.starting(D(2026, 7, 5)), ["from 5 Jul 2026 on"]),
        (Days.between(None, D(2026, 7, 5)), ["until 5 Jul 2026"]),
        (Days.between(D(2026, 7, 5), D(2026, 7, 5)), ["on 5 Jul 2026"]),
        (
            Days.of([(D(2026, 1, 1), D(2026, 3, 31)), (D(2026, 6, 1), None)]),
            ["1 Jan 2026 to 31 Mar 2026", "from 1 Jun 2026 on"],
        ),
    ],
)
def test_the_days_on_which_something_holds(days: Days, words: list[str]) -> None:
    assert report_presenter.holds(days) == words


@pytest.mark.parametrize(
    ("met", "mark", "word"), [(True, "✓", "Met"), (False, "✗", "Not met"), (None, "?", "Unknown")]
)
def test_a_state_has_a_mark_and_a_word(met: bool | None, mark: str, word: str) -> None:
    state = report_presenter.State.of(met)
    assert (state.mark, state.word) == (mark, word)


@pytest.mark.parametrize(
    ("remaining", "none_left"),
    [
        pytest.param((time(0),), True, id="no time"),
        pytest.param((time(1),), False, id="a microsecond"),
        pytest.param((count(0, "takeoff"), count(0, "landing")), True, id="neither of two"),
        pytest.param((count(0, "takeoff"), count(1, "landing")), False, id="one of two"),
        pytest.param((), False, id="not known"),
    ],
)
def test_nothing_left_is_said_so(remaining: Amounts, none_left: bool) -> None:
    assert report_presenter.nothing(remaining) is none_left
