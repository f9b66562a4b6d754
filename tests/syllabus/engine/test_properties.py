"""What holds for every record: the days agree with the answers, and what must not matter does not."""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from syllabus.engine.record.document import dump, parse
from syllabus.engine.record.record import Record
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Context, context_from
from syllabus.engine.rules.report import Report
from syllabus.law import rulebook
from tests.support import any_record
from tests.support.extent import count
from tests.syllabus.engine import near_limits
from tests.syllabus.engine.building import document_of, points

RULES = rulebook.current()
MILESTONES = sorted(RULES.milestones)
PRIVATE = "faa.private-practical-test"
FIRST = near_limits.FIRST
ONE_DAY = timedelta(days=1)
ASKED = context_from(
    {"aircraft_model": "C172", "airport": "KGRB", "area": "Chicago",
     "route": [points()["A"], points()["N45"], points()["A"]]}
)  # fmt: skip
contexts = st.sampled_from([ASKED, ASKED, Context()])
PARTS = [part for part in Record.PARTS if part != "ground"]  # on which no rule depends
Asked = tuple[date, dict[str, Any]]
few = settings(max_examples=count(15, 60))


def ask(record: Record, milestone: str, on: date, context: Context = ASKED) -> Report:
    return evaluate(RULES, record, milestone, on, context=context)


def edges(report: Report) -> Iterator[date]:
    """The first and last days of every span of every requirement, and the days beside them."""
    for days in (report.holds, *(finding.holds for finding in report.leaves())):
        for ends in days:
            for edge in filter(None, ends):
                yield from (edge - ONE_DAY, edge, edge + ONE_DAY)


@few
@given(near_limits.around(), contexts, st.randoms(use_true_random=False))
def test_the_answer_on_any_day_is_what_the_days_say(
    asked: Asked, context: Context, chance: random.Random
) -> None:
    """``met`` on a day is true exactly where that day lies in ``holds``, whichever day one asked from."""
    turn, document = asked
    record = parse(document)
    for milestone in MILESTONES:
        seen = ask(record, milestone, turn, context)
        days = sorted({day for day in edges(seen) if day >= FIRST} | {FIRST, turn, turn + 30 * ONE_DAY})
        for day in chance.sample(days, min(6, len(days))):
            then = ask(record, milestone, day, context)
            for before, after in zip(seen.leaves(), then.leaves(), strict=True):
                if seen.answer.path == then.answer.path:  # each way asks for other things
                    assert before.holds == after.holds, after.rule.id
                    assert (after.met(day) is True) == (day in before.holds), (after.rule.id, day)
            assert then.holds == seen.holds
            assert then.eligible == (then.met is True) == (day in seen.holds)


@few
@given(near_limits.around(), contexts)
def test_the_first_day_and_the_last_are_those_of_the_next_span(asked: Asked, context: Context) -> None:
    turn, document = asked
    record = parse(document)
    for milestone in MILESTONES:
        report = ask(record, milestone, turn, context)
        first, last = report.eligible_from, report.eligible_until
        assert report.eligible == (first == turn)
        if first:
            assert ask(record, milestone, first, context).eligible
            assert first == turn or not ask(record, milestone, first - ONE_DAY, context).eligible
            assert last is None or not ask(record, milestone, last + ONE_DAY, context).eligible


@few
@given(near_limits.around(), st.randoms(use_true_random=False))
def test_the_order_of_entries_changes_nothing(asked: Asked, chance: random.Random) -> None:
    turn, document = asked
    shuffled = copy.deepcopy(document)
    for entries in filter(lambda part: isinstance(part, list), shuffled.values()):
        chance.shuffle(entries)
    for milestone in MILESTONES:
        assert (
            ask(parse(shuffled), milestone, turn).as_json() == ask(parse(document), milestone, turn).as_json()
        )


@few
@given(near_limits.around())
def test_what_the_entries_are_called_changes_no_answer(asked: Asked) -> None:
    """An id tells entries apart and nothing else; here each list's ids come in the opposite order."""
    turn, document = asked
    called = copy.deepcopy(document)
    for part in PARTS:
        for number, entry in enumerate(called[part]):
            entry["id"] = f"{part}-{100 - number:03d}"
    for milestone in MILESTONES:
        before, after = (ask(parse(each), milestone, turn) for each in (document, called))
        for old, new in zip(before.leaves(), after.leaves(), strict=True):
            said = [(each.met(turn), each.have, each.remaining, each.holds) for each in (old, new)]
            assert said[0] == said[1], old.rule.id


OF_FLIGHTS = ("total_at_least", "one_flight", "landings_at_least")
FLOWN = [each.id for each in RULES.milestones[PRIVATE].requirements if each.kind in OF_FLIGHTS]


@few
@given(st.data(), near_limits.around())
def test_one_more_flight_never_lowers_a_total_or_takes_a_day_away(data: st.DataObject, asked: Asked) -> None:
    """Save one that joins a trip, which may break it."""
    turn, less = asked
    added = document_of({"flights": [data.draw(near_limits.flights(turn))]})["flights"]
    # without a clock: one in the air at the time of another would put both in question
    apart = {**added[0], "id": "one more", "trip": None, "off": None, "on": None}
    more = {**less, "flights": [*less["flights"], apart]}
    before, after = (
        {each.rule.id: each for each in ask(parse(each), PRIVATE, turn).findings} for each in (less, more)
    )
    for name in FLOWN:
        old, new = before[name].have, after[name].have
        assert [each.unit for each in old] == [each.unit for each in new], name
        assert all(a.value <= b.value for a, b in zip(old, new, strict=True)), name
        assert before[name].holds - after[name].holds == before[name].holds.none(), name


@st.composite
def spelled(draw: st.DrawFn) -> tuple[str, str, str, float]:
    """One amount as tenths of an hour, as minutes, as hours and minutes, and as a bare number."""
    tenths = draw(st.integers(1, 400))
    return f"{tenths / 10} h", f"{tenths * 6} min", f"{tenths // 10}:{tenths % 10 * 6:02d}", tenths / 10


@few
@given(st.lists(st.tuples(st.sampled_from(["dual", "solo"]), spelled()), min_size=1, max_size=12), st.data())
def test_tenths_minutes_and_hours_with_minutes_agree(
    flown: list[tuple[str, tuple[str, str, str, float]]], data: st.DataObject
) -> None:
    def report(spell: list[int]) -> dict[str, Any]:
        entries = [
            {how: amount[which], "night": amount[which]}
            for (how, amount), which in zip(flown, spell, strict=True)
        ]
        return ask(
            parse(document_of({"date": "2026-05-01", "flights": entries})), PRIVATE, date(2026, 5, 2)
        ).as_json()

    mixed = data.draw(st.lists(st.integers(0, 3), min_size=len(flown), max_size=len(flown)))
    assert report([0] * len(flown)) == report(mixed)


@settings(max_examples=count(25, 100))
@given(st.one_of(near_limits.around().map(lambda asked: parse(asked[1])), any_record.records()))
def test_a_record_written_out_reads_back_as_itself(record: Record) -> None:
    assert parse(dump(record)) == record


EARLIER, LATER = datetime(1990, 1, 1, tzinfo=UTC), datetime(2190, 1, 1, tzinfo=UTC)


@few
@given(near_limits.around())
def test_what_was_all_recorded_earlier_is_all_known(asked: Asked) -> None:
    turn, document = asked
    for part in PARTS:
        for entry in document[part]:
            entry["recorded"] = EARLIER.isoformat()
    record = parse(document)
    known = EARLIER + ONE_DAY
    for milestone in MILESTONES:
        now = evaluate(RULES, record, milestone, turn, context=ASKED)
        then = evaluate(RULES, record, milestone, turn, context=ASKED, known_at=known)
        assert then.as_json() == {**now.as_json(), "known_at": known.isoformat()}


@few
@given(near_limits.around(), st.randoms(use_true_random=False))
def test_what_was_recorded_later_is_as_if_it_were_not_there(asked: Asked, chance: random.Random) -> None:
    turn, document = asked
    left = copy.deepcopy(document)
    for part in PARTS:
        for entry in document[part]:
            entry["recorded"] = (LATER if chance.random() < 0.4 else EARLIER).isoformat()
        kept = {entry["id"] for entry in document[part] if entry["recorded"] == EARLIER.isoformat()}
        left[part] = [entry for entry in left[part] if entry["id"] in kept]
    known = EARLIER + ONE_DAY
    for milestone in MILESTONES:
        then = evaluate(RULES, parse(document), milestone, turn, context=ASKED, known_at=known)
        only = evaluate(RULES, parse(left), milestone, turn, context=ASKED)
        assert then.as_json() == {**only.as_json(), "known_at": known.isoformat()}


# --- a question is asked exactly where its answer could tip the finding

#: What may be unknown of a flight, with the two answers at its ends.
MISSING: Mapping[str, tuple[Any, Any]] = {
    "class": ("single-engine land", "multiengine land"),
    "period": ("night", "day"),
    "full_stop": (True, False),
    "pattern": (True, False),
    "towered": (True, False),
}


def landed(at: str) -> st.SearchStrategy[dict[str, Any]]:
    """Landings of which everything is known."""
    return st.builds(
        lambda number, period, **flags: {
            "at": at,
            "takeoffs": number,
            "landings": number,
            "period": period,
            **flags,
        },
        st.sampled_from([1, 3, 5, 10]),
        st.sampled_from(["night", "day"]),
        full_stop=st.booleans(),
        pattern=st.booleans(),
        towered=st.booleans(),
    )


@st.composite
def with_gaps(draw: st.DrawFn) -> tuple[dict[str, Any], list[tuple[int, int | None, str]]]:
    """Flights of which a few facts are missing, and which: (flight, landing, key).

    The dual or solo time is the whole flight, and every position is known, so that nothing else is open.
    """
    entries = []
    for _ in range(draw(st.integers(1, 3))):
        amount = draw(st.sampled_from(["2.9 h", "3 h", "10 h", "20 h"]))
        entry: dict[str, Any] = {
            "date": draw(st.sampled_from(["2026-04-01", "2026-05-01"])),
            draw(st.sampled_from(["dual", "solo"])): amount,
            "route": draw(st.sampled_from(["A A", "A N51 A", "A N55 T48 A", "A N55 T45 A", "A N50.1 E50 A"])),
            # a model that nobody linked, so that its class is what the entry says
            "aircraft": {
                "model": "Homebuilt 7",
                "class": draw(st.sampled_from(["single-engine land", "multiengine land"])),
            },
            "night": draw(st.sampled_from([0, amount])),
            "cross_country": draw(st.sampled_from([0, amount])),
        }
        places = st.lists(st.sampled_from(entry["route"].split()), min_size=1, max_size=3)
        entry["landings"] = [draw(landed(at)) for at in draw(places)]
        entries.append(entry)
    gaps = sorted(
        {
            (flight, None, "class")
            if (landing := draw(st.sampled_from([None, *range(len(entries[flight]["landings"]))]))) is None
            else (flight, landing, draw(st.sampled_from(["period", "full_stop", "pattern", "towered"])))
            for flight in draw(st.lists(st.integers(0, len(entries) - 1), min_size=1, max_size=4))
        },
        key=str,
    )
    return {"flights": entries}, gaps


def filled(
    fragment: dict[str, Any], gaps: list[tuple[int, int | None, str]], ends: tuple[int | None, ...]
) -> Record:
    """The record with each gap left open (None), or closed by its first or second answer."""
    made = copy.deepcopy(fragment)
    for (flight, landing, key), end in zip(gaps, ends, strict=True):
        entry = made["flights"][flight]
        at = entry if landing is None else entry["landings"][landing]
        at = entry["aircraft"] if key == "class" else at
        at[key] = None if end is None else MISSING[key][end]
    return parse(document_of(made))


def findings(record: Record) -> dict[str, Finding]:
    return {each.rule.id: each for each in ask(record, PRIVATE, date(2026, 5, 2)).findings}


@settings(max_examples=count(30, 150))
@given(with_gaps())
def test_unknown_is_answered_exactly_where_a_missing_fact_could_tip_it(
    drawn: tuple[dict[str, Any], list[tuple[int, int | None, str]]],
) -> None:
    fragment, gaps = drawn
    on = date(2026, 5, 2)
    open_ = ask(filled(fragment, gaps, (None,) * len(gaps)), PRIVATE, on)
    asked = {each["id"]: each["ask"] for each in open_.as_json()["requirements"]}
    closed = [findings(filled(fragment, gaps, ends)) for ends in product((0, 1), repeat=len(gaps))]
    for finding in open_.findings:
        name = finding.rule.id
        if name in FLOWN:
            answers = {each[name].met(on) for each in closed}
            wanted = answers.pop() if len(answers) == 1 else None
            assert finding.met(on) is wanted, f"{name}: {gaps}"
            assert bool(asked[name]) == (wanted is None), name


@few
@given(near_limits.around(), contexts)
def test_a_question_goes_with_every_unknown_and_with_nothing_else(asked: Asked, context: Context) -> None:
    turn, document = asked

    def check(requirements: list[dict[str, Any]]) -> None:
        for each in requirements:
            assert bool(each["ask"]) == (each["met"] is None), each["id"]
            check(each.get("requirements", []))

    for milestone in MILESTONES:
        check(ask(parse(document), milestone, turn, context).as_json()["requirements"])


@pytest.mark.parametrize("milestone", MILESTONES)
def test_an_empty_record_is_answered_with_what_is_missing(milestone: str) -> None:
    report = ask(Record(), milestone, date(2026, 5, 2)).as_json()

    assert report["eligible"] is False
    assert report["eligible_from"] is None
    of_the_question = {
        each.id for each in RULES.milestones[milestone].requirements if each.kind == "airport_open"
    }
    needed = [
        each
        for each in report["requirements"]
        if not each["need"].startswith("0 ") and each["id"] not in of_the_question
    ]
    assert needed
    assert all(each["met"] is not True for each in needed)
