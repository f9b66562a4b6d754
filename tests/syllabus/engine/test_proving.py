"""What lessons prove to the rules: at each lesson, in order of time, by the weakest of its items."""

from __future__ import annotations

import datetime as dt
import itertools
import random
from dataclasses import replace

import pytest

from syllabus.engine.course.course import Item, Lesson, Outline, Stage
from syllabus.engine.course.proving import MARK, proofs, rests_on
from syllabus.engine.record.record import GRADES, Flight, Instructor, ItemGrade
from syllabus.engine.rules.reasons import reason
from tests.support.rows import over_rows

IDA = Instructor("Ida Example", "1234567CFI")
MARCH = dt.date(2026, 3, 1)
#: Turns and climbs prove d-03 together, climbs alone d-05, stalls nothing.
COURSE = Outline(
    "example",
    "An example",
    "An invented course",
    (
        Stage(
            "one",
            "One",
            "An objective",
            "A standard",
            (
                Lesson(
                    "1",
                    "Lesson",
                    "An objective",
                    "A standard",
                    items={"turns": "perform", "climbs": "perform", "stalls": "perform"},
                ),
            ),
        ),
    ),
    (
        Item("turns", "Turns", "An objective", proves=("presolo.d-03",)),
        Item("climbs", "Climbs", "An objective", proves=("presolo.d-03", "presolo.d-05")),
        Item("stalls", "Stalls", "An objective"),
    ),
)


def grade(lesson: str, item: str, given: str, day: int = 1, **more: object) -> ItemGrade:
    return ItemGrade(
        f"{lesson}/{item}",
        item,
        MARCH + dt.timedelta(day - 1),
        given,
        instructor=IDA,
        **more,  # type: ignore[arg-type]
    )


def flown(lesson: str, hour: int, day: int = 1) -> Flight:
    at = dt.datetime(2026, 3, day, hour, tzinfo=dt.UTC)
    return Flight(f"{lesson}/flight", at.date(), off=at)


def told(grades: list[ItemGrade], *lessons: str, flights: tuple[Flight, ...] = ()) -> list[tuple[str, str]]:
    made = proofs(grades, {each.id: each for each in flights}, dict.fromkeys(lessons, COURSE))
    return [(each.id.replace(MARK, " "), each.grade) for each in made]


@pytest.mark.parametrize(
    ("grades", "expected"),
    [
        pytest.param([grade("A", "turns", "perform")], [], id="one of two items proves nothing yet"),
        pytest.param(
            [grade("A", "climbs", "practice")], [("A presolo.d-05", "practice")], id="an item alone proves"
        ),
        pytest.param(
            [grade("A", "turns", "perform"), grade("A", "climbs", "explain")],
            [("A presolo.d-03", "explain"), ("A presolo.d-05", "explain")],
            id="of two items the weaker counts",
        ),
        pytest.param([grade("A", "climbs", "not-observed")], [], id="what was not observed proves nothing"),
        pytest.param([grade("A", "stalls", "perform")], [], id="an item that proves nothing"),
        pytest.param(
            [grade("B", "climbs", "perform", 2), grade("A", "climbs", "practice")],
            [("A presolo.d-05", "practice"), ("B presolo.d-05", "perform")],
            id="lesson by lesson in order of time, whatever order they come in",
        ),
        pytest.param(
            [grade("A", "climbs", "perform"), grade("B", "turns", "perform", 2)],
            [("A presolo.d-05", "perform"), ("B presolo.d-03", "perform")],
            id="a lesson that completes a proof, and leaves the other alone",
        ),
        pytest.param(
            [
                grade("A", "turns", "perform"),
                grade("A", "climbs", "perform"),
                grade("B", "turns", "practice", 9),
            ],
            [("A presolo.d-03", "perform"), ("A presolo.d-05", "perform"), ("B presolo.d-03", "practice")],
            id="a bad day takes back what rested on it, and no more",
        ),
        pytest.param(
            [grade("elsewhere", "turns", "perform"), grade("A", "climbs", "perform", 2)],
            [("A presolo.d-03", "perform"), ("A presolo.d-05", "perform")],
            id="a grade brought from elsewhere counts toward a proof",
        ),
        pytest.param([grade("elsewhere", "climbs", "perform")], [], id="and makes none by itself"),
        pytest.param(
            [grade("A", "climbs", "perform"), grade("A", "presolo.d-05", "practice")],
            [],
            id="what the lesson grades itself stands",
        ),
    ],
)
def test_what_follows_from_the_grades(grades: list[ItemGrade], expected: list[tuple[str, str]]) -> None:
    assert sorted(told(grades, "A", "B")) == sorted(expected)


def test_a_grade_without_an_instructor_proves_nothing() -> None:
    alone = ItemGrade("A/climbs", "climbs", MARCH, "perform")
    assert told([alone], "A") == []


def test_the_later_takeoff_of_a_day_decides() -> None:
    grades = [
        grade("A", "climbs", "perform", flight="A/flight"),
        grade("B", "climbs", "practice", flight="B/flight"),
    ]
    morning_a = told(grades, "A", "B", flights=(flown("A", 9), flown("B", 15)))
    morning_b = told(grades, "A", "B", flights=(flown("A", 15), flown("B", 9)))
    assert morning_a[-1] == ("B presolo.d-05", "practice")
    assert morning_b[-1] == ("A presolo.d-05", "perform")


def test_of_one_day_whose_order_nobody_knows_the_lower_counts() -> None:
    grades = [
        grade("A", "climbs", "perform"),
        grade("B", "climbs", "practice"),
        grade("C", "turns", "perform", 2),
    ]
    assert told(grades, "A", "B", "C")[-1] == ("C presolo.d-03", "practice")


def test_a_proof_stands_on_the_day_and_under_the_instructor_of_its_lesson() -> None:
    (made,) = proofs([grade("A", "climbs", "perform", 3, flight="A/flight")], {}, {"A": COURSE})
    assert (made.id, made.item, made.date) == ("A/proof/presolo.d-05", "presolo.d-05", dt.date(2026, 3, 3))
    assert (made.instructor, made.flight, made.remarks) == (IDA, "A/flight", "climbs perform")


@pytest.mark.parametrize(
    "remark",
    [
        pytest.param("climbs perform, turns practice", id="items and grades"),
        pytest.param("rests on climbs perform, turns practice", id="as an earlier release wrote it"),
    ],
)
def test_what_a_proof_rests_on_is_a_reason(remark: str) -> None:
    made = replace(grade("A", "climbs", "perform"), remarks=remark)
    assert rests_on(made) == reason("proof.rests-on", items=("climbs perform", "turns practice"))
    assert str(rests_on(made)) == "relies on climbs perform, turns practice"


def _slowly(grades: list[ItemGrade]) -> dict[str, str]:
    """The newest proof of each rule's item, from the newest grade of each item alone: another way round."""
    newest = {each.item: each.grade for each in sorted(grades, key=lambda each: each.date)}
    found = {}
    for proof, items in (("presolo.d-03", ("turns", "climbs")), ("presolo.d-05", ("climbs",))):
        if all(item in newest for item in items):
            found[proof] = min((newest[item] for item in items), key=GRADES.index)
    return found


@over_rows("seed", range(40))
def test_the_newest_proofs_are_those_of_the_newest_grades(seed: int) -> None:
    drawn = random.Random(seed)
    grades = []
    for number, day in enumerate(sorted(drawn.sample(range(1, 28), drawn.randint(1, 9)))):
        for item in drawn.sample(["turns", "climbs", "stalls"], drawn.randint(1, 3)):
            grades.append(grade(f"L{number}", item, drawn.choice(GRADES), day))
    shuffled = drawn.sample(grades, len(grades))
    made = proofs(shuffled, {}, {f"L{number}": COURSE for number in range(9)})
    newest = {each.item: each.grade for each in sorted(made, key=lambda each: each.date)}
    assert newest == _slowly(grades)
    for one, other in itertools.combinations(made, 2):
        assert one.id != other.id
