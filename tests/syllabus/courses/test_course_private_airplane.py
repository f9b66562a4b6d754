"""The shipped course: complete against the test standard, the solo items and the hours of 14 CFR 61.109(a).

Sources: FAA-S-ACS-6C, the tasks of an initial single-engine land test (letters of areas I to VI checked
against notes organised by that revision, the others against revision 6B or from memory); 14 CFR 61.87(d),
61.93(e) and 61.107(b)(1) for the items; the rule data itself for the hours.
"""

from __future__ import annotations

import datetime as dt
import pathlib
from functools import cache

import pytest

from syllabus.courses import files
from syllabus.engine.course.course import PLANNED, STAGE_CHECK, STANDARD, Outline, proven, shortfall
from syllabus.engine.record.document import parse
from syllabus.engine.record.record import FORMAT, GRADES
from syllabus.engine.record.vocabulary import RULE_ITEMS
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.time.units import format_time, parse_time
from syllabus.law.rulebook import current

FILE = pathlib.Path(__file__).parents[3] / "fixtures" / "courses" / "private-airplane.yaml"
#: Area of operation to the letters of its tasks in an initial single-engine land test.
TASKS = {
    "I": "ABCDEFGH", "II": "ABCDF", "III": "AB", "IV": "ABCDEFMN", "V": "AB", "VI": "ABCD", "VII": "ABCD",
    "VIII": "ABCDEF", "IX": "ABCD", "XI": "A", "XII": "A",
}  # fmt: skip
TEST_DAY = dt.date(2026, 11, 24)
PRACTICAL = "faa.private-practical-test"
IDA = {"name": "Ida Example", "certificate": "0000001CFI"}


@cache
def outline() -> Outline:
    return files.read_bytes(FILE.read_bytes(), FILE.name)


def test_it_hangs_together_and_is_of_the_size_it_says() -> None:
    assert files.errors_of(outline()) == ()
    sizes = len(outline().stages), len(outline().lessons), len(outline().items)
    assert sizes == (4, 29, 79)


def test_every_task_of_the_standard_is_an_item_that_is_brought_to_the_standard() -> None:
    wanted = {f"FAA-S-ACS-6C PA.{area}.{letter}" for area, letters in TASKS.items() for letter in letters}
    assert len(wanted) == 45
    tasks = {str(item.task): item.code for item in outline().items if item.task}
    assert set(tasks) == wanted
    assert len(tasks) == sum(item.task is not None for item in outline().items)
    below = {code: outline().highest[code] for code in tasks.values() if outline().highest[code] != STANDARD}
    assert below == {}


@pytest.mark.parametrize(
    ("stem", "number"),
    [
        pytest.param("presolo.d-", 15, id="the 15 items before solo, 14 CFR 61.87(d)"),
        pytest.param("soloxc.e-", 12, id="the 12 items before solo cross-country, 14 CFR 61.93(e)"),
        pytest.param("area.private.", 12, id="the 12 areas of operation, 14 CFR 61.107(b)(1)"),
    ],
)
def test_every_item_that_a_rule_asks_for_is_proven(stem: str, number: int) -> None:
    wanted = {name for name in RULE_ITEMS if name.startswith(stem)}
    assert len(wanted) == number
    proofs = {proof for item in outline().items for proof in item.proves}
    assert {proof for proof in proofs if proof.startswith(stem)} == wanted


def through(code: str) -> dict[str, str]:
    """The newest grades of a student who has done every lesson before that one as planned."""
    grades: dict[str, str] = {}
    for lesson in outline().lessons:
        if lesson.code == code:
            return grades
        grades |= lesson.items
    raise AssertionError(f"no lesson is called {code}")


@pytest.mark.parametrize(
    ("lesson", "stem"),
    [
        pytest.param("1-10", "presolo.d-", id="all 15 before the first solo"),
        pytest.param("3-05", "soloxc.e-", id="all 12 before the first solo cross-country"),
    ],
)
def test_whoever_flies_as_planned_has_every_item_at_standard_before_being_alone(lesson, stem) -> None:
    first_alone = {"1-10": "solo", "3-05": "cross_country"}[lesson]
    (planned,) = [each for each in outline().lessons if each.code == lesson]
    assert planned.times[first_alone]
    reached = proven(outline(), through(lesson))
    wanted = {name for name in RULE_ITEMS if name.startswith(stem)}
    assert {name: reached.get(name) for name in wanted} == dict.fromkeys(wanted, STANDARD)


def test_nobody_is_alone_before_that() -> None:
    codes = [lesson.code for lesson in outline().lessons]
    solo = [lesson.code for lesson in outline().lessons if lesson.times.get("solo")]
    away = [
        each.code for each in outline().lessons if each.times.get("solo") and "cross_country" in each.times
    ]
    assert (solo[0], away) == ("1-10", ["3-05", "3-08"])
    assert codes.index("1-09") < codes.index("1-10")
    assert codes.index("3-04") < codes.index("3-05")


def test_the_whole_course_proves_the_twelve_areas() -> None:
    done = {code: grade for lesson in outline().lessons for code, grade in lesson.items.items()}
    reached = proven(outline(), done)
    assert {reached[name] for name in RULE_ITEMS if name.startswith("area.private.")} == {STANDARD}


def test_the_areas_are_results_of_the_last_two_stages() -> None:
    early = {code for stage in outline().stages[:2] for lesson in stage.lessons for code in lesson.items}
    assert [code for code in early if code.startswith("area-")] == []


def test_every_stage_ends_with_a_check_by_another_instructor_before_what_it_leads_to() -> None:
    checks = [
        item.code for item in outline().items if item.kind == STAGE_CHECK and item.code.startswith("check")
    ]
    placed = {code: outline().taught[code][0].code for code in checks}
    assert placed == {
        "check-pre-solo": "1-09",
        "check-solo-practice": "2-05",
        "check-cross-country": "3-04",
        "check-final": "4-05",
    }


def test_a_grade_that_a_later_lesson_asks_for_is_never_lower_than_any_before_of_the_same_stage() -> None:
    for stage in outline().stages:
        reached: dict[str, str] = {}
        for lesson in stage.lessons:
            for code, grade in lesson.items.items():
                before = reached.get(code, grade)
                assert GRADES.index(grade) >= GRADES.index(before), (lesson.code, code)
                reached[code] = grade


def test_the_planned_hours_satisfy_every_total_of_the_law() -> None:
    """14 CFR 61.109(a), with the numbers that the rule data has for the day."""
    totals = {}
    for requirement in current().milestone(PRACTICAL).requirements:
        version = requirement.on(TEST_DAY)
        if version.kind == "total_at_least":
            name = requirement.id.removeprefix(f"{PRACTICAL}.")
            totals[name] = version.params["need"]
            assert shortfall(outline(), version.kind, version.params) == "", name
    assert {name: format_time(need) for name, need in totals.items()} == {
        "total": "40.0 h", "dual": "20.0 h", "solo": "10.0 h", "dual-cross-country": "3.0 h",
        "dual-night": "3.0 h", "dual-instrument": "3.0 h", "preparation": "3.0 h",
        "solo-single-engine": "10.0 h", "solo-cross-country": "5.0 h",
    }  # fmt: skip


def test_the_course_asks_for_more_than_the_law_where_it_says_so() -> None:
    law = {
        each.id.removeprefix(f"{PRACTICAL}."): each for each in current().milestone(PRACTICAL).requirements
    }
    for minimum in outline().minimums:
        assert minimum.read()["need"] > law[minimum.code].on(TEST_DAY).params["need"]


def test_a_shorter_plan_is_seen_to_be_short() -> None:
    need = {"counts": ["dual", "night"], "need": parse_time("3.9 h")}
    assert shortfall(outline(), "total_at_least", need) == "3.8 h, 0.1 h short"


def test_single_flights_and_landings_that_the_law_asks_for_have_their_lesson() -> None:
    planned = {name for lesson in outline().lessons for name in lesson.plans}
    single = {
        each.id
        for each in current().milestone(PRACTICAL).requirements
        if each.kind in ("one_flight", "landings_at_least")
    }
    assert planned == single


def flown() -> dict:
    """A record of somebody who flew each lesson as planned, one a day, in the weeks before the test."""
    day = TEST_DAY - dt.timedelta(days=2 * len(outline().lessons))
    flights = []
    for lesson in outline().lessons:
        day += dt.timedelta(days=1)
        for who in ("dual", "solo"):
            if not (time := lesson.times.get(who)):
                continue
            whole = {"total": format_time(time), who: format_time(time)}
            alone = sum(bool(lesson.times.get(each)) for each in ("dual", "solo")) == 1
            if alone:
                whole |= {
                    kind.replace("instrument", "simulated_instrument"): format_time(lesson.times[kind])
                    for kind in PLANNED
                    if kind in lesson.times and kind in ("cross_country", "night", "instrument")
                }
            away = "cross_country" in lesson.times
            flight = {
                "id": f"{lesson.code}-{who}",
                "date": day.isoformat(),
                "aircraft": {"model": "C172", "category": "airplane", "class": "single-engine land"},
                "route": ["KOSH", "KMTW", "KGRB", "KOSH"] if not away else ["KOSH", "KEAU", "KOSH"],
                "times": whole,
            }
            if who == "dual":
                flight["instructor"] = IDA
            if "preparation" in lesson.times and who == "dual":
                flight["purposes"] = ["practical-test-preparation:private"]
            flights.append(flight)
    return {
        "format": FORMAT, "student": {"name": "Sam Example", "birth_date": "2005-01-01"}, "flights": flights,
    }  # fmt: skip


def test_a_record_flown_as_planned_meets_every_total_when_the_engine_is_asked() -> None:
    report = evaluate(current(), parse(flown()), PRACTICAL, TEST_DAY)
    totals = {
        finding.rule.id.removeprefix(f"{PRACTICAL}."): finding.met(TEST_DAY)
        for finding in report.findings
        if finding.rule.kind == "total_at_least"
    }
    assert len(totals) == 9
    assert set(totals.values()) == {True}, totals


def test_the_words_are_sentences_of_its_own() -> None:
    told = [item.objective for item in outline().items]
    told += [text for lesson in outline().lessons for text in (lesson.objective, lesson.completion)]
    assert len(set(told)) == len(told)
    assert [text for text in told if not text.endswith(".") or len(text) < 20] == []
