"""Where a student stands in a course: newest grades, what is carried over, lessons, stages, times."""

from __future__ import annotations

import datetime as dt

import pytest

from syllabus.engine.course.course import STAGE_CHECK, Item, Lesson, Outline, Stage
from syllabus.engine.course.progress import Flown, Graded, Progress, progress, reaches, times_of

HOUR = 3_600_000_000
ONE = dt.date(2026, 3, 1)


def lesson(code: str, items: dict[str, str], dual: int = 1, **times: int) -> Lesson:
    planned = {"dual": dual * HOUR, **{kind: amount * HOUR for kind, amount in times.items()}}
    return Lesson(code, f"Lesson {code}", "An objective", "A standard", planned, items)


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
                lesson("1-1", {"turns": "practice"}, ground=1),
                lesson("1-2", {"turns": "perform", "stalls": "practice"}),
                lesson("1-3", {"check": "perform"}),
            ),
        ),
        Stage("two", "Two", "An objective", "A standard", (lesson("2-1", {"stalls": "perform"}, dual=2),)),
    ),
    (
        Item("turns", "Turns", "An objective"),
        Item("stalls", "Stalls", "An objective"),
        Item("check", "Stage check", "An objective", kind=STAGE_CHECK),
    ),
)


def graded(*said: str) -> list[Graded]:
    """``turns practice`` on one day after another."""
    return [
        Graded(*each.split(), ONE + dt.timedelta(number), f"e{number}") for number, each in enumerate(said)
    ]


def flown(*codes: str) -> list[Flown]:
    return [
        Flown(code, ONE + dt.timedelta(number), f"r{number}", {"dual": HOUR})
        for number, code in enumerate(codes)
    ]


def states(found: Progress) -> dict[str, str]:
    return {code: each.state for code, each in found.lessons.items()}


@pytest.mark.parametrize(
    ("grades", "lessons", "carried"),
    [
        pytest.param([], [], [], id="nothing flown, nothing below"),
        pytest.param(["turns explain"], ["1-1"], ["turns"], id="below what the lesson asked"),
        pytest.param(["turns practice"], ["1-1"], [], id="exactly what the lesson asked"),
        pytest.param(
            ["turns practice"], ["1-1", "1-2"], ["stalls", "turns"], id="a later lesson asks for more"
        ),
        pytest.param([], ["1-1"], ["turns"], id="flown, and not graded"),
        pytest.param(["turns not-observed"], ["1-1"], ["turns"], id="not observed is no grade"),
        pytest.param(["turns practice", "turns not-observed"], ["1-1"], [], id="and lowers none"),
        pytest.param(["turns perform", "turns explain"], ["1-1"], ["turns"], id="the newest grade counts"),
        pytest.param(["turns explain"], [], [], id="the course has not come to it"),
    ],
)
def test_what_is_carried_over(grades: list[str], lessons: list[str], carried: list[str]) -> None:
    found = progress(COURSE, graded(*grades), flown(*lessons))
    assert sorted(each.item.code for each in found.carried_over) == carried


def test_the_longest_not_practised_is_carried_over_first() -> None:
    found = progress(COURSE, graded("stalls describe", "turns describe"), flown("1-2"))
    assert [each.item.code for each in found.carried_over] == ["stalls", "turns"]


def test_a_lesson_is_open_until_every_item_is_at_its_grade() -> None:
    found = progress(COURSE, graded("turns practice", "stalls practice"), flown("1-1", "1-2"))
    assert states(found) == {"1-1": "complete", "1-2": "open", "1-3": "not flown", "2-1": "not flown"}
    assert found.lessons["1-2"].missing == (("turns", "perform", "practice"),)


def test_grades_alone_do_not_complete_a_lesson_that_nobody_flew() -> None:
    found = progress(COURSE, graded("turns perform", "stalls perform"), [])
    assert set(states(found).values()) == {"not flown"}


def test_an_item_is_passed_at_the_highest_grade_that_the_course_asks() -> None:
    found = progress(COURSE, graded("stalls practice", "turns perform"), flown("1-2"))
    assert [code for code, each in found.items.items() if each.passed] == ["turns"]
    assert found.passed == 1


def test_a_stage_check_waits_for_every_lesson_and_item_before_it() -> None:
    waiting = progress(COURSE, graded("turns practice"), flown("1-1", "1-1")).stages[0]
    assert not waiting.ready_for_check
    assert [str(each) for each in waiting.before_check] == ["lesson 1-2 (Lesson 1-2) is not flown yet"]
    below = progress(COURSE, graded("turns practice", "stalls practice"), flown("1-1", "1-2")).stages[0]
    assert [str(each) for each in below.before_check] == ["Turns is at practice; lesson 1-2 requires perform"]
    ready = progress(COURSE, graded("turns perform", "stalls practice"), flown("1-1", "1-2")).stages[0]
    assert ready.ready_for_check


def test_a_stage_without_a_check_is_never_ready_for_one() -> None:
    assert not progress(COURSE, [], []).stages[1].ready_for_check


def test_planned_and_flown_times_stand_side_by_side() -> None:
    found = progress(COURSE, [], [*flown("1-1", "1-1"), Flown("gone", ONE, "r", {"dual": 3 * HOUR})])
    assert (found.stages[0].planned("dual"), found.stages[0].flown("dual")) == (3 * HOUR, 2 * HOUR)
    assert (found.planned("dual"), found.flown("dual")) == (5 * HOUR, 5 * HOUR)
    assert found.planned("ground") == HOUR
    assert [each.lesson for each in found.others] == ["gone"]


def test_the_course_is_complete_when_its_last_stage_is() -> None:
    grades = graded("turns perform", "stalls perform", "check perform")
    found = progress(COURSE, grades, flown("1-1", "1-2", "1-3"))
    assert found.stage is not None
    assert found.stage.stage.code == "two"
    assert progress(COURSE, grades, flown("1-1", "1-2", "1-3", "2-1")).complete


@pytest.mark.parametrize(
    ("grade", "wanted", "reached"),
    [
        ("practice", "practice", True),
        ("explain", "practice", False),
        ("perform", "describe", True),
        (None, "describe", False),
        ("not-observed", "describe", False),
    ],
)
def test_a_grade_reaches_another(grade: str | None, wanted: str, reached: bool) -> None:
    assert reaches(grade, wanted) is reached


def test_logged_times_by_the_kinds_that_lessons_plan() -> None:
    logged = {"total": 9, "dual": 9, "actual_instrument": 1, "simulated_instrument": 2, "night": 4}
    assert times_of(logged, preparation=True, ground=7) == {
        "dual": 9,
        "solo": 0,
        "cross_country": 0,
        "night": 4,
        "instrument": 3,
        "preparation": 9,
        "ground": 7,
    }
    assert times_of(logged)["preparation"] == 0
