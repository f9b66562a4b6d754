"""Reasons in words for people: in the reader's language, and every value as people write it."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.utils import translation

from syllabus.engine.rules.reasons import REASONS, Limit, Named, Reason, WholeMinutes, reason, several
from syllabus.engine.time.amounts import count, distance, time
from syllabus.engine.time.units import MINUTE
from syllabus.law import rulebook
from tests.support import pseudo
from training.presenters.reasons import PAGE, Reader

ITEM, TITLE = next(iter(rulebook.current().milestones["faa.first-solo"].items.items()))
AT = dt.datetime(2026, 3, 4, 14, 5, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("what", "said"),
    [
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
            reason("item.order-unknown", item=Named(ITEM), day=dt.date(2026, 3, 4)),
            f"which grade of {TITLE} on 4 Mar 2026 was the later one",
            id="a day as on the page, an item by the name that the rules have for it",
        ),
        pytest.param(
            reason("item.below-standard", item=Named("a.b-01", "Turns"), grade="practice"),
            "Turns: newest grade is practice",
            id="an item by the name that comes with it",
        ),
        pytest.param(
            reason("flight.leg-more-than", distance=distance(4_996), limit=Limit(5_000)),
            "longest leg 49.9 NM; more than 50 NM is required",
            id="a distance near its limit has a decimal",
        ),
        pytest.param(
            reason("flight.leg-more-than", distance=distance(1_296), limit=Limit(6_250)),
            "longest leg 12 NM; more than 62.5 NM is required",
            id="a distance far from it has none",
        ),
        pytest.param(
            reason("conflict.night-landing-by-day", at="KOSH", time=AT),
            "which is right: a night landing at KOSH, and by the Sun it was day there at 14:05 UTC",
            id="a time of day with its zone",
        ),
        pytest.param(
            reason("covers.time", part=time(85 * MINUTE), remaining=time(85 * MINUTE), requirement="3 h"),
            "1.4 h of the 1.5 h remaining: 3 h",
            id="what remains is rounded up",
        ),
        pytest.param(
            several((reason("route.unknown"), reason("holds.through", day=dt.date(2026, 3, 4)))),
            "the route; valid through 4 Mar 2026",
            id="reasons in a reason",
        ),
    ],
)
def test_a_reason_in_words(what: Reason, said: str) -> None:
    assert PAGE.words(what) == said


def test_what_an_entry_gave_is_an_amount_or_words() -> None:
    rule = rulebook.current().milestones["faa.first-solo"].requirements[0].versions[-1]
    assert PAGE.gave(rule, (time(85 * MINUTE), count(2, "landing"))) == "1.4 h, 2 landings"
    assert PAGE.gave(rule, reason("holds.no-end")) == "valid with no end date"


def test_a_page_may_name_entries() -> None:
    by_day = reason("training.by-day", flight=Named("f1"))
    named = Reader(named={"f1": "Flight of 4 Mar 2026"}.__getitem__)
    assert named.words(by_day) == "Flight of 4 Mar 2026 was not at night"
    assert PAGE.words(by_day) == "f1 was not at night"


@pytest.mark.parametrize("code", sorted(REASONS))
def test_every_reason_is_looked_up_in_the_language_of_the_page(code: str) -> None:
    made = reason(code, **dict.fromkeys(re.findall(r"%\((\w+)\)s", REASONS[code]), "x"))
    with pseudo.spoken():
        assert PAGE.words(made) == f"«{made}»"
    with translation.override("en"):
        assert PAGE.words(made) == str(made)


def test_a_reason_in_a_reason_is_in_the_language_of_the_page_too() -> None:
    through = reason("holds.through", day=dt.date(2026, 3, 4))
    with pseudo.spoken():
        said = PAGE.words(reason("endorsement.given", given="x", until=through))
    assert re.fullmatch("«given x, «valid through .*»»", said)
