"""Training records near the limits of the rules, as Hypothesis strategies of record documents.

Noise would hardly ever come within a day, a tenth of an hour or a mile of a limit. So days, times, points and
papers are drawn from both sides of each, and what a record may leave out is left out often.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from hypothesis import strategies as st

from syllabus.engine.record.record import GRADES, NOT_OBSERVED
from tests.syllabus.engine.building import document_of

#: Days on which a rule changed, and some on which none did.
TURNS = (
    date(2006, 7, 15), date(2008, 7, 24), date(2009, 10, 20), date(2016, 4, 1), date(2017, 5, 1),
    date(2024, 11, 18), date(2026, 6, 15), date(2028, 2, 29),
)  # fmt: skip
#: Ages of an entry that end a window or a life, and neighbours of them.
AGES = (0, 1, 28, 31, 59, 60, 61, 75, 89, 90, 91, 365, 730, 760, 1095, 1460, 1461, 1826, 1857)
FIRST = date(1997, 8, 4)
AMOUNTS = ("0.1 h", "1 h", "0:59", "2.9 h", "3 h", "4.9 h", "5 h", "10 h", "19.9 h", "20 h")
ROUTES = (
    "A A", "A N50 A", "A N50.1 A", "A N51", "N51 A", "A N60 N100", "A N60 N100.1", "A N55 T48 A",
    "A N55 T45 A", "A N55 T44.9 A", "A N45 T45-64 A", "A N50 N100 N50 A", "A N45 T35-35 A",
)  # fmt: skip
STRIP = ["A", {"name": "grass strip"}, "A"]
CRAFT: tuple[dict[str, Any] | None, ...] = (
    {}, {}, {}, {"class": None}, {"class": "multiengine land"}, {"category": None, "class": None},
    {"category": "glider", "class": None}, {"device": "FTD"}, {"device": "AATD"}, None,
)  # fmt: skip
ENDORSEMENTS = (
    "pre-solo-training", "solo-90-day", "solo-night", "solo-class-b", "solo-cross-country-category-model",
    "solo-cross-country-flight", "solo-cross-country-repeated", "knowledge-test",
    "knowledge-deficiencies-reviewed", "practical-test-prerequisites", "practical-test",
)  # fmt: skip
GIVEN_FOR = {"aircraft_model": "C172", "airport": "KGRB", "area": "Chicago", "route": "A N45 A"}
MODELS = ("C172", "PA-28")

turns = st.sampled_from(TURNS)
tick = st.sampled_from([True, True, False, None])


def days_around(turn: date) -> st.SearchStrategy[str]:
    """Days some limit's length before a turn, give or take a few, and some days after it."""
    return (
        st.tuples(st.sampled_from((*AGES, *AGES, -30, -400)), st.integers(-2, 2))
        .map(lambda drawn: max(FIRST, turn - timedelta(days=sum(drawn))))
        .map(date.isoformat)
    )


def without_none(entry: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if value is not None}


@st.composite
def landings(draw: st.DrawFn) -> dict[str, Any]:
    number = draw(st.sampled_from([1, 2, 3, 4, 9, 10]))
    return without_none(
        {
            "at": draw(st.sampled_from([None, "A", "N55", "T48", "T45"])),
            "takeoffs": number,
            "landings": number - draw(st.sampled_from([0, 0, 0, 1])),
            "period": draw(st.sampled_from(["night", "day", None])),
            "full_stop": draw(tick),
            "pattern": draw(tick),
            "towered": draw(tick),
        }
    )


@st.composite
def flights(draw: st.DrawFn, turn: date) -> dict[str, Any]:
    amount = draw(st.sampled_from(AMOUNTS))
    how = draw(st.sampled_from(["dual", "dual", "solo", "total"]))
    entry: dict[str, Any] = {"date": draw(days_around(turn)), how: amount}
    for key in ("cross_country", "night", "simulated_instrument"):
        said = draw(st.sampled_from([None, amount, amount, "0.1 h", 0]))
        if said is not None:
            entry[key] = said
    entry["route"] = draw(st.sampled_from([*ROUTES, STRIP, ""]))
    entry["aircraft"] = draw(st.sampled_from(CRAFT))
    entry["landings"] = draw(st.lists(landings(), max_size=2))
    if draw(st.booleans()):
        entry["purposes"] = ["practical-test-preparation:private"]
    if draw(st.sampled_from([False, False, True])):
        entry["trip"] = draw(st.sampled_from(["t1", "t2"]))
    if draw(st.sampled_from([False, False, False, True])):
        hour = draw(st.integers(8, 21))
        entry["off"] = f"{entry['date']}T{hour:02d}:00:00-06:00"
        entry["on"] = f"{entry['date']}T{hour + 1:02d}:30:00-06:00"
    if draw(st.sampled_from([False, False, False, True])):
        entry["by"] = None
    return entry


@st.composite
def documents(draw: st.DrawFn, turn: date) -> dict[str, Any]:
    kind = draw(
        st.sampled_from(
            ["english-proficiency", "student-pilot-certificate", "medical", "medical", "basicmed-course",
             "basicmed-examination", "device-letter-of-authorization"]
        )
    )  # fmt: skip
    return without_none(
        {
            "kind": kind,
            "issued": draw(days_around(turn)),
            "class": draw(st.sampled_from(["first", "second", "third"])) if kind == "medical" else None,
            "expires": draw(st.none() | st.none() | days_around(turn)),
            "aircraft_model": "C172" if kind == "device-letter-of-authorization" else None,
        }
    )


@st.composite
def tests(draw: st.DrawFn, turn: date) -> dict[str, Any]:
    return without_none(
        {
            "kind": draw(st.sampled_from(["pre-solo-knowledge", "knowledge:private-airplane"])),
            "date": draw(days_around(turn)),
            "result": draw(st.sampled_from(["pass", "pass", "fail"])),
            "score": draw(st.sampled_from([None, 88, 100])),
            "aircraft_model": draw(st.sampled_from([None, *MODELS])),
            "deficient_codes": draw(st.sampled_from([None, [], ["PA.I.C.K2"]])),
        }
    )


@st.composite
def endorsements(draw: st.DrawFn, turn: date) -> dict[str, Any]:
    given = draw(days_around(turn))
    trained = (date.fromisoformat(given) - timedelta(10)).isoformat()
    made = {
        "kind": draw(st.sampled_from(ENDORSEMENTS)),
        "given": given,
        "aircraft_model": draw(st.sampled_from([None, "C172", *MODELS])),
        "airport": draw(st.sampled_from([None, "KGRB", "KMTW"])),
        "area": draw(st.sampled_from([None, "Chicago", "Denver"])),
        "route": draw(st.sampled_from([None, "A N45 A", "A N45", "A N55 A"])),
        "flight_date": draw(st.sampled_from([None, given])),
        "training_date": draw(st.sampled_from([None, trained])),
        "expires": draw(st.none() | st.none() | days_around(turn)),
    }  # fmt: skip
    return {**without_none(made), **({"by": None} if draw(st.sampled_from([False] * 5 + [True])) else {})}


def certificates(turn: date) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({"kind": st.just("student"), "issued": days_around(turn)})


@st.composite
def items(draw: st.DrawFn, turn: date) -> dict[str, Any]:
    listed = draw(st.sampled_from(["presolo.d", "soloxc.e", "area.private"]))
    grade = draw(st.sampled_from(["perform", "perform", "perform", *GRADES, NOT_OBSERVED]))
    made = {"every": listed, "date": draw(days_around(turn)), "grade": grade}
    if draw(st.booleans()):  # a single item more often changes an answer than a whole list does
        joint = "." if listed == "area.private" else "-"
        del made["every"]
        made["item"] = f"{listed}{joint}{draw(st.sampled_from([1, 2, 12])):02d}"
    return made


def ready(day: date) -> dict[str, list[dict[str, Any]]]:
    """All that every milestone asks for, done on one day and no more than needed."""
    on = {"date": day.isoformat()}
    given = [{"kind": kind, "given": day.isoformat(), **GIVEN_FOR} for kind in ENDORSEMENTS]
    for each in given:
        if each["kind"] == "solo-cross-country-flight":
            each["flight_date"] = (day + timedelta(days=1)).isoformat()
    landed = {"period": "night", "full_stop": True, "pattern": True, "towered": True}
    return {
        "flights": [
            {**on, "dual": "11 h", "night": 0},
            {**on, "dual": "3 h", "cross_country": "3 h", "night": "3 h", "route": "A N50.1 A"},
            {**on, "dual": "3 h", "simulated_instrument": "3 h", "night": 0, "aircraft": {}},
            {**on, "dual": "3 h", "purposes": ["practical-test-preparation:private"], "night": 0},
            {**on, "dual": "1 h", "night": "1 h", "landings": [{**landed, "takeoffs": 10, "landings": 10}]},
            {**on, "solo": "5 h", "landings": [{**landed, "takeoffs": 3, "landings": 3}]},
            {**on, "solo": "5 h", "cross_country": "5 h", "route": "A N55 T45 A",
             "landings": [{"at": at, "landings": 1, "full_stop": True} for at in ("N55", "T45")]},
            {**on, "solo": "9 h"},
            {**on, "dual": "1 h", "night": "1 h", "route": ["KGRB", "KGRB"]},
            {**on, "dual": "1 h", "night": 0, "route": "A N45 A"},
        ],
        "documents": [
            {"kind": "english-proficiency", "issued": day.isoformat()},
            {"kind": "student-pilot-certificate", "issued": day.isoformat()},
            {"kind": "medical", "class": "third", "issued": day.isoformat()},
        ],
        "tests": [
            {**on, "kind": "pre-solo-knowledge", "result": "pass", "aircraft_model": "C172"},
            {**on, "kind": "knowledge:private-airplane", "result": "pass", "score": 88,
             "deficient_codes": ["PA.I.C.K2"]},
        ],
        "endorsements": given,
        "items": [{**on, "every": listed} for listed in ("presolo.d", "soloxc.e", "area.private")],
    }  # fmt: skip


@st.composite
def around(draw: st.DrawFn, turn: date | None = None) -> tuple[date, dict[str, Any]]:
    """A day to ask about and a whole record document around it; every entry has an id of its own.

    Half of them hold what is needed, done within some limit's length of that day, save an entry here and
    there; and all of them some entries at random.
    """
    turn = turn or draw(turns)
    done = ready(date.fromisoformat(draw(days_around(turn)))) if draw(st.booleans()) else {}
    left_out = draw(st.sets(st.integers(0, 25), max_size=4))
    kept: dict[str, list[dict[str, Any]]] = {}
    number = 0
    for part, entries in done.items():
        for entry in entries:
            if number not in left_out:
                kept.setdefault(part, []).append(entry)
            number += 1
    made: dict[str, Any] = {
        part: [*kept.get(part, ()), *draw(st.lists(some(turn), max_size=most))]
        for part, some, most in (
            ("flights", flights, 5),
            ("documents", documents, 3),
            ("tests", tests, 2),
            ("endorsements", endorsements, 4),
            ("items", items, 2),
            ("certificates", certificates, 1),
        )
    }
    if born := draw(st.none() | st.tuples(st.sampled_from([14, 15, 16, 17, 39, 40]), st.integers(-2, 800))):
        made["born"] = (turn - timedelta(days=round(born[0] * 365.25) + born[1])).isoformat()
    written = document_of(made)
    for number, item in enumerate(written["items"]):
        item["id"] = f"i{number}"
    return turn, written
