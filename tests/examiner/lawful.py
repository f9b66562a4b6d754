"""Lawful, complete training records for each student milestone, written from the text of 14 CFR part 61.

A builder writes the whole record that a milestone asks for: the training first, then the endorsement that
rests on it. ``generated`` varies what schools vary, by a seed that depends on the record's number alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import Any

from tests.examiner.asking import Question
from tests.examiner.beside import add_beside
from tests.examiner.lawful_private import knowledge_test, practical_test
from tests.examiner.lawful_solo import (
    AREAS,
    first_solo,
    solo_class_b,
    solo_cross_country,
    solo_nearby,
    solo_night,
    solo_repeated,
)
from tests.examiner.writing import (
    BO,
    CY,
    GIL,
    IDA,
    Habits,
    Writer,
)

ASKED_ON = date(2026, 9, 18)
#: name: (milestone, builder)
BASES: dict[str, tuple[str, Callable[..., Mapping[str, Any]]]] = {
    "first-solo": ("faa.first-solo", first_solo),
    "solo-night": ("faa.solo-night", solo_night),
    "solo-class-b": ("faa.solo-class-b", solo_class_b),
    "solo-cross-country": ("faa.solo-cross-country", solo_cross_country),
    "solo-repeated": ("faa.solo-cross-country", solo_repeated),
    "solo-nearby": ("faa.solo-cross-country", solo_nearby),
    "knowledge-test": ("faa.private-knowledge-test", knowledge_test),
    "practical-test": ("faa.private-practical-test", practical_test),
}


def lawful(
    name: str,
    on: date = ASKED_ON,
    habits: Habits | None = None,
    random: Random | None = None,
    id: str | None = None,
    **options: Any,
) -> Question:
    """One lawful record of a base, with its question."""
    habits = habits or Habits()
    if name == "solo-class-b":
        habits = replace(habits, home=AREAS[options.get("area", "Minneapolis")][0])
    milestone, build = BASES[name]
    writer = Writer(on, habits, random or Random(name))
    context = dict(build(writer, **options))
    return Question(id or name, milestone, on, context, writer.document())


SPELLINGS = (
    ("C172",),
    ("C172",),
    ("C-172",),
    ("C172", "C-172"),
    ("C172S",),
    ("C172", "C172S"),
    ("Cessna 172", "C172"),
    ("Cessna 172", "C-172", "C172S"),
)
#: How many records of each base.
HOW_MANY = {
    "first-solo": 40,
    "solo-night": 28,
    "solo-class-b": 30,
    "solo-cross-country": 30,
    "solo-repeated": 20,
    "solo-nearby": 16,
    "knowledge-test": 24,
    "practical-test": 52,
}


def _habits(r: Random, name: str, on: date, number: int) -> Habits:
    clock = ("none", "off-on", "taxi", "out-in")[number % 4]
    medical = r.choice(("third", "third", "second", "first"))
    years, days = r.choice((16, 17, 19, 24, 39, 40, 41, 63)), r.randrange(0, 360)
    if name == "practical-test":
        years = max(years, 17)
    if name == "knowledge-test":
        years = r.choice((16, years))
    born = on.replace(year=on.year - years) - timedelta(days=days)
    if number % 11 == 5:
        medical, born = "basicmed", date(1985, 3, 9)
    return Habits(
        home=r.choice(("KOSH", "KOSH", "KFCM", "KAPA", "KSUS")),
        spellings=r.choice(SPELLINGS),
        clock=clock,
        unit=r.choice(("hours", "minutes", "colon", "number")),
        night_column=r.choice(("blank", "zero")),
        training_dates=r.random() < 0.6,
        test_named=r.random() < 0.5,
        class_named=r.random() < 0.3,
        medical=medical,
        born=born,
        two_instructors=r.random() < 0.4,
        same_day=r.random() < 0.3,
        before_dawn=r.random() < 0.3,
        items_linked=r.random() < 0.7,
        landings_noted=r.random() < 0.7,
        class_of_aircraft=r.random() < 0.85,
        similar="C152" if name != "practical-test" and number % 10 == 7 else None,
    )


def _options(r: Random, name: str, number: int) -> dict[str, Any]:
    if name == "first-solo":
        return {"renewed": number % 5 == 4}
    if name == "solo-night":
        return {"whole": r.random() < 0.6}
    if name == "solo-class-b":
        with_airport = number % 2 == 1
        return {
            "area": r.choice(tuple(AREAS)),
            "with_airport": with_airport,
            "landing": with_airport or number % 3 != 0,
            "given": r.choice((1, 9, 15)),
        }
    if name == "solo-cross-country":
        return {
            "combined": r.random() < 0.5,
            "reviewed_by": r.choice((IDA, IDA, CY)),
            "where": r.choice(("far", "far", "near", "two stops")),
        }
    if name == "solo-repeated":
        distance = r.choice((None, None, 31.0, 49.9))
        return {
            "combined": r.random() < 0.5,
            "two_flights": r.random() < 0.4,
            "distance": distance,
            "azimuth": float(r.randrange(0, 360, 15)),
        }
    if name == "solo-nearby":
        return {"distance": r.choice((None, None, 12.0, 24.9)), "azimuth": float(r.randrange(0, 360, 15))}
    if name == "knowledge-test":
        return {"by": r.choice((IDA, GIL)), "failed": r.choice((0, 0, 1, 1, 2))}
    if name == "practical-test":
        return {
            "score": r.choice((70, 88, 96, 100)),
            "failed_knowledge": r.random() < 0.3,
            "failed_practical": r.choice((0, 0, 0, 0, 1, 1, 2)),
            "trip": r.random() < 0.4,
            "device": r.random() < 0.25,
            "glider": r.choice(("", "", "beside", "needed")),
            "air_force": r.random() < 0.25,
            "extra": r.choice(("dual", "dual", "solo")),
            "application": r.choice((None, None, 2, 0)),
            "partly_night": r.random() < 0.3,
            "ground_by": r.choice((IDA, IDA, GIL)),
            "reviewed_by": r.choice((IDA, IDA, CY)),
            "retrained_by": r.choice((IDA, BO)),
        }
    return {}


def generated() -> Iterator[Question]:
    """Every lawful record of the corpus, the same in every run."""
    for name, many in HOW_MANY.items():
        for number in range(many):
            r = Random(f"lawful {name} {number}")
            on = date(2025, 4, 1) + timedelta(days=r.randrange(0, 600))
            habits = _habits(r, name, on if (on.month, on.day) != (2, 29) else on + timedelta(days=1), number)
            question = lawful(name, on, habits, r, f"{name}-{number:02d}", **_options(r, name, number))
            add_beside(r, question)
            yield question
