"""Which lesson comes next, and why: prerequisites, below standard first, the milestone, the longest away."""

from __future__ import annotations

import datetime as dt
import pathlib
import random

import pytest

from syllabus.courses import files
from syllabus.engine.course.course import STAGE_CHECK, Item, Lesson, Outline, Stage
from syllabus.engine.course.next_lesson import (
    BELOW,
    BLOCKED,
    CAUTION,
    LACKS,
    LONGEST,
    ORDER,
    READY,
    Lacking,
    NextLesson,
    ShortTime,
    next_lesson,
    sheet,
)
from syllabus.engine.course.progress import NOT_FLOWN, Flown, Graded, progress
from syllabus.engine.record.record import GRADES
from syllabus.engine.rules.reasons import reason

HOUR = 3_600_000_000
ONE = dt.date(2026, 3, 1)
NOT_YET = reason("lesson.not-covered", milestone="First solo", why="made up")
SHIPPED = pathlib.Path(__file__).parents[3] / "fixtures" / "courses" / "private-airplane.yaml"


def lesson(code: str, *items: str, plans: tuple[str, ...] = (), **times: float) -> Lesson:
    planned = {kind: round(amount * HOUR) for kind, amount in (times or {"dual": 1}).items()}
    wanted = dict(each.split() for each in items)
    return Lesson(code, f"Lesson {code}", "An objective", "A standard", planned, wanted, plans)


def item(code: str, *needs: str, proves: tuple[str, ...] = (), kind: str = "flight") -> Item:
    return Item(code, code.capitalize(), "An objective", kind, prerequisites=needs, proves=proves)


def course(*lessons: Lesson, items: tuple[Item, ...], stages: int = 1) -> Outline:
    made = [
        Stage(f"s{number}", "Stage", "An objective", "A standard", tuple(lessons[number::stages]))
        for number in range(stages)
    ]
    return Outline("example", "An example", "An invented course", tuple(made), items)


def asked(
    outline: Outline,
    grades: tuple[str, ...] = (),
    flown: tuple[str, ...] = (),
    *,
    day: int = 1,
    lacking: Lacking | None = None,
) -> NextLesson:
    given = [Graded(*each.split(), ONE, "e") for each in grades]
    done = [Flown(code, ONE, "r") for code in flown]
    return next_lesson(progress(outline, given, done), ONE + dt.timedelta(day), lacking)


def chosen(found: NextLesson) -> str | None:
    return found.proposal.lesson.code if found.proposal else None


def why(found: NextLesson, kind: str) -> list[str]:
    assert found.proposal
    return [str(each.reason) for each in found.proposal.why if each.kind == kind]


BRANCHING = course(
    lesson("1", "turns practice", "climbs practice"),
    lesson("2", "stalls practice"),
    lesson("3", "slips practice"),
    items=(item("turns"), item("climbs"), item("stalls", "turns"), item("slips", "climbs")),
)


def test_the_first_lesson_comes_first_and_says_that_it_is_the_order() -> None:
    found = asked(BRANCHING)
    assert chosen(found) == "1"
    assert why(found, READY) == ["it has no prerequisites"]
    assert why(found, ORDER) == ["comes next in the order of the course"]
    assert {each.lesson.code for each, _ in found.blocked} == {"2", "3"}


def test_what_lacks_a_prerequisite_is_blocked_and_says_which() -> None:
    found = asked(BRANCHING, ("turns explain", "climbs practice"), ("1",))
    assert chosen(found) == "3"
    ((standing, reasons),) = found.blocked
    assert standing.lesson.code == "2"
    assert [(each.kind, str(each.reason)) for each in reasons] == [
        (BLOCKED, "Stalls needs Turns at practice; it is at explain")
    ]


def test_a_prerequisite_in_the_same_lesson_does_not_block_it() -> None:
    outline = course(
        lesson("1", "turns practice", "stalls practice"), items=(item("turns"), item("stalls", "turns"))
    )
    assert chosen(asked(outline)) == "1"


def test_below_standard_comes_first() -> None:
    outline = course(
        lesson("1", "turns practice", "climbs practice"),
        lesson("2", "stalls practice"),
        lesson("3", "climbs perform"),
        items=(item("turns"), item("climbs"), item("stalls", "turns")),
    )
    found = asked(outline, ("turns practice", "climbs explain"), ("1",))
    assert chosen(found) == "3"
    assert why(found, BELOW) == ["includes Climbs (explain on 2026-03-01)"]
    assert [each.lesson.code for each in found.others] == ["2"]


def test_then_what_the_next_milestone_lacks() -> None:
    outline = course(
        lesson("1", "turns perform"),
        lesson("2", "climbs perform"),
        lesson("3", "talk practice", night=1.0, dual=1.2, plans=("faa.x.night-flight",)),
        items=(item("turns"), item("climbs", proves=("presolo.d-05",)), item("talk")),
    )
    item_lacking = Lacking("faa.first-solo", "First solo", frozenset({"presolo.d-05"}))
    found = asked(outline, lacking=item_lacking)
    assert chosen(found) == "2"
    assert why(found, LACKS) == ["First solo: presolo.d-05 (Climbs) at perform"]
    assert found.proposal
    assert [str(each) for each in found.proposal.covers] == ["presolo.d-05 (Climbs) at perform"]
    hours = Lacking(
        "faa.x",
        "Test",
        times=(ShortTime("faa.x.night", "3 h at night", ("dual", "night"), round(1.5 * HOUR)),),
        requirements=frozenset({"faa.x.night-flight"}),
    )
    found = asked(outline, lacking=hours)
    assert chosen(found) == "3"
    assert found.proposal
    assert [str(each) for each in found.proposal.covers] == [
        "1.0 h of the 1.5 h remaining: 3 h at night",
        "is designed for faa.x.night-flight",
    ]


def test_a_total_is_covered_by_no_more_than_is_still_to_go() -> None:
    outline = course(lesson("1", "turns perform", dual=2.0), items=(item("turns"),))
    short = Lacking(
        "faa.x", "Test", times=(ShortTime("faa.x.dual", "20 h dual", ("dual",), round(0.3 * HOUR)),)
    )
    found = asked(outline, lacking=short)
    assert found.proposal
    assert [str(each) for each in found.proposal.covers] == ["0.3 h of the 0.3 h remaining: 20 h dual"]


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        pytest.param(30, "2", id="30 days away is no longer than usual, so the order decides"),
        pytest.param(31, "3", id="31 days away comes first"),
    ],
)
def test_then_what_was_longest_not_practised(day: int, expected: str) -> None:
    outline = course(
        lesson("1", "turns practice"),
        lesson("2", "stalls practice"),
        lesson("3", "turns perform"),
        items=(item("turns"), item("stalls")),
    )
    found = asked(outline, ("turns practice",), ("1",), day=day)
    assert chosen(found) == expected
    if day == 31:
        assert why(found, LONGEST) == ["longest without practice: Turns, 31 days ago"]


def test_a_lesson_waits_for_the_lessons_it_builds_on() -> None:
    outline = course(lesson("1", "turns practice"), lesson("2", "turns perform"), items=(item("turns"),))
    found = asked(outline, ("turns perform",))
    assert chosen(found) == "1"
    assert [str(each.reason) for _, reasons in found.blocked for each in reasons] == [
        "builds on lesson 1 (Lesson 1), which is not flown yet"
    ]


def test_solo_lessons_come_in_order() -> None:
    outline = course(
        lesson("1", "turns perform", solo=1),
        lesson("2", "stalls perform", solo=1),
        items=(item("turns"), item("stalls")),
    )
    assert [each.lesson.code for each, _ in asked(outline).blocked] == ["2"]


def test_a_stage_check_waits_until_the_stage_is_ready() -> None:
    outline = course(
        lesson("1", "turns practice"),
        lesson("2", "check perform"),
        items=(item("turns"), item("check", kind=STAGE_CHECK)),
    )
    assert chosen(asked(outline)) == "1"
    below = asked(outline, ("turns explain",), ("1",))
    assert chosen(below) == "1"
    assert chosen(asked(outline, ("turns practice",), ("1",))) == "2"


def test_the_next_stage_waits_for_this_one() -> None:
    outline = course(
        lesson("1", "turns perform"),
        lesson("2", "stalls perform"),
        items=(item("turns"), item("stalls")),
        stages=2,
    )
    assert chosen(asked(outline, ("turns practice",), ("1",))) == "1"
    assert chosen(asked(outline, ("turns perform",), ("1",))) == "2"


SOLO = course(
    lesson("1", "turns perform"), lesson("2", "solo perform", solo=0.5), items=(item("turns"), item("solo"))
)


def test_solo_that_is_not_open_is_blocked_and_practice_goes_on() -> None:
    too_young = Lacking(
        barred={
            "solo": reason(
                "lesson.not-open",
                milestone="First solo",
                requirement="16 years old",
                citation="14 CFR 61.83(a)",
            )
        }
    )
    found = asked(SOLO, ("turns perform",), ("1",), lacking=too_young)
    assert chosen(found) == "1"
    assert found.proposal
    assert str(found.proposal.why[0].reason) == "nothing new to start today; practice"
    assert [str(each.reason) for _, reasons in found.blocked for each in reasons] == [
        "First solo is not met: 16 years old (14 CFR 61.83(a))"
    ]


def test_what_is_given_on_the_day_is_a_caution_and_blocks_nothing() -> None:
    found = asked(
        SOLO,
        ("turns perform",),
        ("1",),
        lacking=Lacking(cautions={"solo": NOT_YET}),
    )
    assert chosen(found) == "2"
    assert why(found, CAUTION) == ["First solo is not covered by these rules: made up"]


def test_a_bar_on_solo_cross_country_leaves_solo_at_home_open() -> None:
    found = asked(SOLO, ("turns perform",), ("1",), lacking=Lacking(barred={"solo cross_country": NOT_YET}))
    assert chosen(found) == "2"


def test_nothing_is_next_where_all_is_flown_or_all_is_barred() -> None:
    done = asked(SOLO, ("turns perform", "solo perform"), ("1", "2"))
    assert (done.proposal, str(done.says)) == (None, "Every lesson of the course is complete.")
    only_solo = course(lesson("1", "solo perform", solo=1), items=(item("solo"),))
    barred = asked(only_solo, lacking=Lacking(barred={"solo": NOT_YET}))
    assert (barred.proposal, str(barred.says)) == (None, "No lesson of this stage is available today.")


def test_the_sheet_has_what_is_carried_over_before_what_is_planned() -> None:
    stands = progress(
        BRANCHING,
        [Graded("climbs", "explain", ONE, "e"), Graded("turns", "practice", ONE, "e")],
        [Flown("1", ONE, "r")],
    )
    told = [
        (each.standing.item.code, each.wanted, str(each.why)) for each in sheet(stands, BRANCHING.lessons[1])
    ]
    assert told == [
        ("climbs", "practice", "carried over: required practice, explain on 2026-03-01"),
        ("stalls", "practice", "planned"),
    ]


def _fly(seed: int, weak: float) -> tuple[int, list[str], bool]:
    """Fly what is proposed until nothing is; how many lessons, which, and whether the course is complete."""
    drawn = random.Random(seed)
    outline = files.read_bytes(SHIPPED.read_bytes(), SHIPPED.name)
    grades: list[Graded] = []
    flown: list[Flown] = []
    for number in range(400):
        day = ONE + dt.timedelta(3 * number)
        stands = progress(outline, grades, flown)
        found = next_lesson(stands, day)
        if found.proposal is None:
            return number, [each.lesson for each in flown], stands.complete
        assert all(reasons for _, reasons in found.blocked)
        ready = {found.proposal.lesson.code, *(each.lesson.code for each in found.others)}
        assert not ready & {each.lesson.code for each, _ in found.blocked}
        for planned in found.proposal.items:
            rank = GRADES.index(planned.wanted)
            low = drawn.random() < weak
            grades.append(Graded(planned.standing.item.code, GRADES[max(0, rank - low)], day, f"{number}"))
        flown.append(Flown(found.proposal.lesson.code, day, str(number), found.proposal.lesson.times))
    raise AssertionError("a student who flies what is proposed goes round in circles")


def test_who_flies_what_is_proposed_and_does_it_well_flies_every_lesson_once() -> None:
    number, order, complete = _fly(0, 0)
    assert complete
    assert number == 29
    assert len(set(order)) == 29
    assert order[:10] == [f"1-{each:02}" for each in range(1, 11)]


@pytest.mark.parametrize("seed", range(12))
def test_who_has_weak_days_comes_through_as_well(seed: int) -> None:
    number, order, complete = _fly(seed, 0.04)
    assert complete
    assert number >= len(set(order)) == 29


def test_a_lesson_never_flown_is_proposed_before_one_is_flown_again() -> None:
    found = asked(BRANCHING, ("turns practice", "climbs explain"), ("1",))
    assert found.proposal
    assert found.proposal.standing.state == NOT_FLOWN


def test_practice_while_waiting_is_where_the_course_has_come_to_and_not_the_first_flight() -> None:
    outline = course(
        lesson("1", "turns describe", "stalls describe"),
        lesson("2", "turns perform", "stalls practice"),
        lesson("3", "solo perform", solo=0.5),
        items=(item("turns"), item("stalls"), item("solo")),
    )
    waiting = Lacking(barred={"solo": NOT_YET})
    found = asked(outline, ("turns perform", "stalls practice"), ("1", "2"), day=90, lacking=waiting)
    assert chosen(found) == "2"
