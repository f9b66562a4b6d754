"""Training records near the limits of the rules, as Hypothesis strategies of record documents.

Noise would hardly ever come within a day, a tenth of an hour or a mile of a limit. So days, times, points and
papers are drawn from both sides of each, and what a record may leave out is left out often.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from hypothesis import strategies as st

from syllabus.engine.record import GRADES, NOT_OBSERVED
from tests.engine.building import document_of

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


@st.composite
def records(draw: st.DrawFn, turn: date | None = None) -> dict[str, Any]:
    """A whole record document around one turn of the rules; every entry has an id of its own."""
    turn = turn or draw(turns)
    made: dict[str, Any] = {
        "flights": draw(st.lists(flights(turn), max_size=6)),
        "documents": draw(st.lists(documents(turn), max_size=4)),
        "tests": draw(st.lists(tests(turn), max_size=3)),
        "endorsements": draw(st.lists(endorsements(turn), max_size=5)),
        "items": draw(st.lists(items(turn), max_size=4)),
        "certificates": draw(
            st.lists(
                st.fixed_dictionaries(
                    {"kind": st.sampled_from(["student", "sport", "private"]), "issued": days_around(turn)}
                ),
                max_size=1,
            )
        ),
    }
    if born := draw(
        st.none() | st.tuples(st.sampled_from([14, 15, 16, 17, 39, 40, 41]), st.integers(-2, 800))
    ):
        made["born"] = (turn - timedelta(days=round(born[0] * 365.25) - born[1])).isoformat()
    written = document_of(made)
    for number, item in enumerate(written["items"]):
        item["id"] = f"i{number}"
    return written
