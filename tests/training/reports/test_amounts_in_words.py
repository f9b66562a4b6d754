"""Amounts in words for people: decimal hours, and no rounding that makes a requirement look met."""

from __future__ import annotations

import gettext
from dataclasses import replace
from fractions import Fraction
from typing import get_args

import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import Amounts, Thing, count, distance, time
from syllabus.engine.time.units import HOUR, MINUTE, parse_time
from syllabus.law import rulebook
from training.presenters.amounts import exact, gave, have, hours, logged, need, of, remaining

LONG_FLIGHT: RuleVersion = next(
    each.versions[-1]
    for each in rulebook.current().milestones["faa.private-practical-test"].requirements
    if each.id.endswith(".long-solo-cross-country")
)


def t(typed: str) -> Amounts:
    return (time(parse_time(typed)),)


@pytest.mark.parametrize(
    ("typed", "there", "to_go", "title"),
    [
        pytest.param("40 h", "40.0 h", "40.0 h", "", id="whole hours have one place"),
        pytest.param("84 min", "1.4 h", "1.4 h", "", id="tenths"),
        pytest.param("39.96 h", "39.96 h", "39.96 h", "", id="hundredths stay"),
        pytest.param("1:15", "1.25 h", "1.25 h", "", id="a quarter of an hour"),
        pytest.param("85 min", "1.4 h", "1.5 h", "85 min", id="a lesson of 85 minutes"),
        pytest.param("2737 min", "45.6 h", "45.7 h", "2737 min", id="many of them"),
        pytest.param("39:59", "39.9 h", "40.0 h", "2399 min", id="a minute short"),
        pytest.param("0:01", "0.0 h", "0.1 h", "1 min", id="a minute to go"),
        pytest.param("2728 s", "0.7 h", "0.8 h", "2728.0 s", id="seconds"),
        pytest.param("0 h", "0.0 h", "0.0 h", "", id="nothing"),
    ],
)
def test_a_time_is_in_decimal_hours(typed: str, there: str, to_go: str, title: str) -> None:
    assert (have(t(typed)), remaining(t(typed)), exact(t(typed))) == (there, to_go, title)
    assert need(t(typed)) == to_go


@given(st.integers(0, 10**12), st.integers(1, 10**12))
def test_what_is_not_met_never_looks_met(there: int, needed: int) -> None:
    def number(words: str) -> Fraction:
        return Fraction(words.removesuffix(" h"))

    shown, wanted = number(hours(there)), number(hours(needed, up=True))
    assert shown <= Fraction(there, HOUR) < shown + Fraction(1, 10)
    assert wanted - Fraction(1, 10) < Fraction(needed, HOUR) <= wanted
    if there < needed:
        assert shown < wanted
        assert number(hours(needed - there, up=True)) > 0


@pytest.mark.parametrize(
    ("there", "needed", "words", "title"),
    [
        (t("1.4 h"), t("3 h"), "1.4 of 3.0 h", ""),
        (t("2737 min"), t("40 h"), "45.6 of 40.0 h", "2737 min of 40.0 h"),
        (t("39.96 h"), t("40 h"), "39.96 of 40.0 h", ""),
        (t("2399 min"), t("40 h"), "39.9 of 40.0 h", "2399 min of 40.0 h"),
        ((count(0, "flight"),), (count(1, "flight"),), "0 of 1 flight", ""),
        ((count(13, "year"),), (count(16, "year"),), "13 of 16 years", ""),
        ((), (count(16, "year"),), "? of 16 years", ""),
        (
            (count(3, "takeoff"), count(1, "landing")),
            (count(3, "takeoff"), count(3, "landing")),
            "3 takeoffs, 1 landing of 3 takeoffs, 3 landings",
            "",
        ),
    ],
)
def test_how_much_there_is_of_what_is_needed(there: Amounts, needed: Amounts, words: str, title: str) -> None:
    assert (of(there, needed), exact(there, needed)) == (words, title)


@pytest.mark.parametrize(
    ("some", "words"),
    [
        ((count(1, "flight"),), "1 flight"),
        ((count(0, "flight"),), "0 flights"),
        ((count(10, "takeoff"), count(1, "landing")), "10 takeoffs, 1 landing"),
        ((count(1, "endorsement"), *t("3.9 h")), "1 endorsement, 3.9 h"),
        ((), "?"),
    ],
)
def test_counts_are_said_as_one_says_them(some: Amounts, words: str) -> None:
    assert have(some) == have(some, gettext.NullTranslations().ngettext) == words


@pytest.mark.parametrize("thing", get_args(Thing))
def test_everything_that_is_counted_has_its_words(thing: Thing) -> None:
    assert (have((count(1, thing),)), have((count(2, thing),))) == (f"1 {thing}", f"2 {thing}s")


def test_words_come_in_the_language_of_the_page() -> None:
    def bracketed(one: str, many: str, number: int) -> str:
        return f"«{one if number == 1 else many}»"

    assert have((count(2, "item"), *t("1 h")), bracketed) == "«2 items», 1.0 h"
    with translation.override(None):
        assert have((count(2, "item"),)) == "2 items"


@pytest.mark.parametrize(
    ("hundredths", "words", "title"),
    [
        pytest.param(20_000, "200 NM", "", id="whole"),
        pytest.param(21_499, "214 NM", "214.99 NM", id="rounded down"),
        pytest.param(15_099, "150.9 NM", "150.99 NM", id="near the limit of 150 NM"),
        pytest.param(15_100, "151 NM", "", id="a mile from it"),
        pytest.param(14_999, "149.9 NM", "149.99 NM", id="just below it"),
    ],
)
def test_a_distance_is_in_whole_miles_but_near_a_limit(hundredths: int, words: str, title: str) -> None:
    assert LONG_FLIGHT.params["total_at_least"] == 15_000
    assert gave(LONG_FLIGHT, (distance(hundredths),)) == words
    assert exact((distance(hundredths),)) == title


def test_a_distance_under_a_rule_without_a_limit_is_in_whole_miles() -> None:
    bare = replace(LONG_FLIGHT, params={})
    assert gave(bare, (distance(15_050),)) == "150 NM"


def test_what_an_entry_gave_is_in_decimal_hours_too() -> None:
    assert gave(LONG_FLIGHT, (time(85 * MINUTE),)) == "1.4 h"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("85 min", "1.4 h", id="minutes, rounded down"),
        pytest.param("90 min", "1.5 h", id="minutes that are a whole tenth"),
        pytest.param("2737 s", "0.7 h", id="seconds"),
        pytest.param("0.5 h", "0.5 h", id="hours"),
        pytest.param("an hour", "an hour", id="what is no time stays as it is"),
    ],
)
def test_a_time_as_logged_is_in_decimal_hours(text: str, said: str) -> None:
    assert logged(text) == said
