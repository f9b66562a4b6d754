"""Papers, tests and endorsements of which a fact is missing: asked about where it could tip the answer.

The same for flights stands among the properties.
"""

from __future__ import annotations

import copy
import signal
from datetime import date, timedelta
from itertools import pairwise, permutations, product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from syllabus.engine.record.document import parse
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import context_from
from syllabus.law import rulebook
from tests.support.extent import count
from tests.syllabus.engine.building import document_of, points

RULES = rulebook.current()
ON = date(2026, 6, 15)
HERE = [points()["A"], points()["N45"], points()["A"]]
THERE = [points()["A"], points()["E45"], points()["A"]]
FAR = [points()["A"], points()["N55"], points()["A"]]
ASKED = {"aircraft_model": "C172", "airport": "KGRB", "area": "Chicago", "route": HERE}

#: What each missing fact may turn out to be: what is asked about, and something else.
ENDS: dict[str, tuple[Any, ...]] = {
    "aircraft_model": ("C172", "PA-28"),
    "airport": ("KGRB", "KMTW"),
    "area": ("Chicago", "Denver"),
    "route": (HERE, THERE),
    "flight_date": (ON.isoformat(), (ON + timedelta(days=1)).isoformat()),
    "birth_date": tuple(
        (ON - timedelta(days=days)).isoformat() for days in (3650, 6000, 9000, 14_600, 20_000)
    ),
}
days = st.sampled_from([0, 1, 20, 89, 91, 400, 740, 1000, 1500, 1900]).map(
    lambda ago: (ON - timedelta(days=ago)).isoformat()
)


def maybe(key: str) -> st.SearchStrategy[Any]:
    """What is asked about, something else, or nothing."""
    return st.sampled_from([None, *ENDS[key]])


@st.composite
def papers(draw: st.DrawFn, kinds: tuple[str, ...]) -> dict[str, Any]:
    """A record of a few papers, the endorsements of these kinds, with None where a fact is missing."""
    endorsed = st.fixed_dictionaries(
        {"kind": st.sampled_from(kinds), "given": days, "aircraft_model": maybe("aircraft_model"),
         "airport": maybe("airport"), "area": maybe("area"), "route": maybe("route") | st.just(FAR),
         "flight_date": maybe("flight_date")}
    )  # fmt: skip
    tested = st.fixed_dictionaries(
        {"kind": st.sampled_from(["pre-solo-knowledge", "knowledge:private-airplane"]), "date": days,
         "result": st.just("pass"), "score": st.just(88), "aircraft_model": maybe("aircraft_model"),
         "deficient_codes": st.just(["PA.I.C.K2"])}
    )  # fmt: skip
    filed = st.sampled_from(["student-pilot-certificate", "medical"]).flatmap(
        lambda kind: st.fixed_dictionaries(
            {
                "kind": st.just(kind),
                "issued": days,
                **({"class": st.just("third")} if kind == "medical" else {}),
            }
        )
    )
    return {
        "student": {"birth_date": draw(maybe("birth_date"))},
        "documents": draw(st.lists(filed, max_size=2)),
        "tests": draw(st.lists(tested, max_size=1)),
        "endorsements": draw(st.lists(endorsed, max_size=2)),
    }


def gaps(fragment: dict[str, Any]) -> list[tuple[str, int | None, str]]:
    """Where something is missing that a rule may read: (part, number of the entry, key)."""
    found: list[tuple[str, int | None, str]] = []
    if fragment["student"]["birth_date"] is None:
        found.append(("student", None, "birth_date"))
    for part in ("tests", "endorsements"):
        for number, entry in enumerate(fragment[part]):
            found.extend((part, number, key) for key, value in entry.items() if value is None and key in ENDS)
    return found


def answers(fragment: dict[str, Any], context: dict[str, Any], milestone: str) -> dict[str, bool | None]:
    made = document_of({**fragment, "flights": [*fragment.get("flights", ()), *trained(fragment)]})
    report = evaluate(RULES, parse(made), milestone, ON, context=context_from(context))
    return {each.rule.id: each.met(ON) for each in report.leaves()}


def trained(fragment: dict[str, Any]) -> list[dict[str, Any]]:
    """The training that any of the endorsements may rest on, so that only what they name is in question."""
    return [
        {"date": entry["given"], "dual": "1 h", "night": "1 h", "aircraft": {"model": model}, "route": route}
        for entry in fragment.get("endorsements", ())
        for model in ("C172", "PA-28", "C152")
        for route in (*([each, each] for each in ("KGRB", "KMTW", "KAUW")), HERE, THERE, FAR)
    ]


NEITHER = {"aircraft_model": ("C152",), "airport": ("KAUW",), "area": ("Boston",), "route": (FAR,)}
#: For each requirement the keys it reads, and the kinds of endorsement it may be met by.
READS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "faa.first-solo.age": (("birth_date",), ("solo-90-day",)),
    "faa.first-solo.medical": (("birth_date",), ("solo-90-day",)),
    "faa.first-solo.certificate": (("birth_date",), ("solo-90-day",)),
    "faa.first-solo.knowledge-test": (("aircraft_model",), ("solo-90-day",)),
    "faa.first-solo.training-endorsement": (("aircraft_model",), ("pre-solo-training",)),
    "faa.first-solo.solo-endorsement": (("aircraft_model",), ("solo-90-day", "solo-90-day", "solo-night")),
    "faa.solo-cross-country.model-endorsement": (("aircraft_model",), ("solo-cross-country-model",)),
    "faa.solo-cross-country.flight-endorsement": (
        ("aircraft_model", "route", "flight_date"),
        ("solo-cross-country-flight", "solo-cross-country-repeated"),
    ),
    "faa.solo-night.night-endorsement": (("aircraft_model", "airport"), ("solo-night",)),
    "faa.solo-class-b.class-b-endorsement": (("area",), ("solo-class-b",)),
    "faa.private-practical-test.age": (("birth_date",), ("practical-test",)),
}


@settings(max_examples=count(60, 300))
@given(st.data(), st.sampled_from(sorted(READS)), st.sets(st.sampled_from(sorted(ASKED)), max_size=2))
def test_unknown_is_answered_exactly_where_a_missing_fact_could_tip_it(
    data: st.DataObject, requirement: str, unsaid: set[str]
) -> None:
    """What the question itself leaves out may be what is on record, or something else."""
    keys, kinds = READS[requirement]
    fragment = data.draw(papers(kinds))
    milestone = requirement.rpartition(".")[0]
    asked = {key: value for key, value in ASKED.items() if key not in unsaid}
    open_ = [gap for gap in gaps(fragment) if gap[2] in keys]
    left = [key for key in sorted(unsaid) if key in keys]
    found = set()
    for ends in product(*(ENDS[key] for _, _, key in open_), *((*ENDS[key], *NEITHER[key]) for key in left)):
        made = copy.deepcopy(fragment)
        for (part, number, key), end in zip(open_, ends, strict=False):
            (made[part] if number is None else made[part][number])[key] = end
        said = {**asked, **dict(zip(left, ends[len(open_) :], strict=True))}
        found.add(answers(made, said, milestone)[requirement])

    wanted = found.pop() if len(found) == 1 else None
    assert answers(fragment, asked, milestone)[requirement] is wanted, open_


# --- a trip whose order nobody gave

POINTS = ("A", "N30", "N50", "N51", "N55", "T45", "T48", "E50")
OF_TRIPS = [
    "faa.private-practical-test.night-cross-country-flight",
    "faa.private-practical-test.long-solo-cross-country",
    "faa.private-practical-test.dual-cross-country",
    "faa.private-practical-test.solo-cross-country",
]


@st.composite
def trips(draw: st.DrawFn) -> list[str]:
    """The routes of two to four entries that make one trip, home or away at its end, in any order."""
    at = draw(st.sampled_from(POINTS))
    stops = draw(st.lists(st.sampled_from(POINTS), min_size=2, max_size=4))
    if draw(st.booleans()):
        stops[-1] = at
    legs = []
    for stop in stops:
        legs.append(f"{at} {stop}")
        at = stop
    return draw(st.permutations(legs))


@settings(max_examples=count(20, 80))
@given(trips(), st.sampled_from(["dual", "solo"]))
def test_the_order_of_a_trip_is_asked_for_only_where_its_orders_disagree(legs: list[str], how: str) -> None:
    """The orders that may be true are those in which each entry starts where the one before it ended."""

    def asked(order: tuple[int, ...] | None) -> dict[str, bool | None]:
        flights = []
        for number, route in enumerate(legs):
            entry = {"date": ON.isoformat(), "trip": "t", how: "2 h", "night": "2 h", "cross_country": "2 h"}
            if order is not None:
                entry["off"] = f"{ON}T{8 + order.index(number):02d}:00:00-05:00"
            flights.append({**entry, "route": route})
        return answers({"student": {}, "flights": flights}, {}, "faa.private-practical-test")

    orders = [
        order
        for order in permutations(range(len(legs)))
        if all(legs[a].split()[-1] == legs[b].split()[0] for a, b in pairwise(order))
    ]
    known = [asked(order) for order in orders]
    unknown = asked(None)
    for requirement in OF_TRIPS:
        found = {each[requirement] for each in known}
        assert unknown[requirement] is (found.pop() if len(found) == 1 else None), requirement


def flown(legs: list[str], days: int = 1) -> dict[str, Any]:
    """One trip, the same entries on each of so many days before the day asked about."""
    return {
        "student": {},
        "flights": [
            {"date": (ON - timedelta(days=day)).isoformat(), "trip": "t", "route": leg,
             "solo": "1 h", "cross_country": "1 h"}
            for day in range(days)
            for leg in legs
        ],
    }  # fmt: skip


@pytest.mark.parametrize("turned", [False, True], ids=["as they were flown", "the other way round"])
def test_many_entries_of_a_trip_are_not_put_in_the_order_of_their_ids(turned: bool) -> None:
    legs = ["A N30", "N30 A", "A N45", "N45 A", "A N55", "N55 T45", "T45 A"]
    found = answers(flown(legs[::-1] if turned else legs), {}, "faa.private-practical-test")

    assert [found[requirement] for requirement in OF_TRIPS[1::2]] == [None, None]


def test_a_trip_with_more_orders_than_can_be_tried_is_answered_all_the_same() -> None:
    """Anybody may send one: six round trips on each of ten days have 720 to the tenth orders."""

    def too_long(*_: object) -> None:
        raise TimeoutError("still trying")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(20)
    try:
        found = answers(flown(["A N55 A"] * 6, days=10), {}, "faa.private-practical-test")
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)

    assert found["faa.private-practical-test.solo-cross-country"] is not False
