"""An outline of a course: what makes it hang together, what it plans, and what stands in its next version."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from syllabus.engine.course.changes import carry_over, compare
from syllabus.engine.course.course import (
    GROUND,
    Item,
    Lesson,
    Outline,
    Stage,
    Task,
    check,
    proven,
)
from syllabus.engine.course.standards import ASSIGNED, Target, Tolerance
from syllabus.engine.record.vocabulary import RULE_ITEMS
from syllabus.engine.rules.minimums import Minimum, as_requirement
from syllabus.engine.time.units import parse_time
from syllabus.law.rulebook import current
from tests.support.rows import over_rows


def item(code: str, **changes: Any) -> Item:
    return Item(code, f"Title of {code}", f"Learn {code}", **changes)


def lesson(code: str, items: dict[str, str], plans: tuple[str, ...] = (), **times: str) -> Lesson:
    read = {kind: parse_time(time) for kind, time in (times or {"dual": "1 h"}).items()}
    return Lesson(code, f"Title of {code}", "An objective", "A completion standard", read, items, plans)


def outline(
    lessons: list[Lesson], items: list[Item], minimums: tuple[Minimum, ...] = (), code: str = "example"
) -> Outline:
    stage = Stage("one", "Stage one", "An objective", "A completion standard", tuple(lessons))
    return Outline(code, "An example", "An invented course", (stage,), tuple(items), minimums)


def within(feet: int, name: str = "altitude", **changes: Any) -> Tolerance:
    made = Tolerance(
        name, "altitude", Target(ASSIGNED, name="altitude at entry"), Fraction(-feet), Fraction(feet)
    )
    return replace(made, **changes)


SOUND = outline(
    [lesson("1", {"climbs": "practice"}), lesson("2", {"climbs": "perform", "pattern": "perform"})],
    [item("climbs", proves=("presolo.d-05",)), item("pattern", prerequisites=("climbs",))],
)


def faults(*args: Any, **changes: Any) -> list[str]:
    return [str(fault) for fault in check(outline(*args, **changes), proves=RULE_ITEMS)]


def test_a_sound_course_has_no_fault() -> None:
    assert check(SOUND, proves=RULE_ITEMS) == ()


BOTH = {"a": "perform", "b": "perform"}


@over_rows(
    ("lessons", "items", "told"),
    [
        pytest.param(
            [lesson("1", BOTH)],
            [item("a", prerequisites=("b",)), item("b", prerequisites=("a",))],
            ["items.b.prerequisites: circular prerequisites: a -> b -> a"],
            id="two items that need each other",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"})],
            [item("a", prerequisites=("a",))],
            ["items.a.prerequisites: circular prerequisites: a -> a"],
            id="an item that needs itself",
        ),
        pytest.param(
            [lesson("1", {**BOTH, "c": "perform"})],
            [
                item("a", prerequisites=("b",)),
                item("b", prerequisites=("c",)),
                item("c", prerequisites=("b",)),
            ],
            ["items.c.prerequisites: circular prerequisites: b -> c -> b"],
            id="a circle that does not go through where one begins",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"})],
            [item("a"), item("b")],
            ["items.b: no lesson plans the item 'b'"],
            id="an item of no lesson",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"})],
            [item("a", prerequisites=("z",))],
            ["items.a.prerequisites: a needs 'z', which is not an item"],
            id="a prerequisite that is none",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"}), lesson("2", {"b": "perform"})],
            [item("a", prerequisites=("b",)), item("b")],
            ["items.a.prerequisites: a is first taught in 1, before its prerequisite b in 2"],
            id="a prerequisite that is taught later",
        ),
        pytest.param(
            [lesson("1", {"a": "perform", "z": "perform"})],
            [item("a")],
            ["lessons.1.items.z: lesson 1 plans 'z', which is not an item"],
            id="a lesson with an item that is none",
        ),
        pytest.param(
            [lesson("1", {"a": "good"})],
            [item("a")],
            ["lessons.1.items.a: 'good' is not a grade; use one of describe, explain, practice, perform"],
            id="a grade that is none",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"}), lesson("1", {"a": "perform"})],
            [item("a")],
            ["lessons.1.code: two lessons are called '1'; codes are unique in a course"],
            id="two lessons of one code",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"})],
            [item("a"), item("a")],
            ["items.a.code: two items are called 'a'; codes are unique in a course"],
            id="two items of one code",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"})],
            [item("a", proves=("presolo.d-16",))],
            ["items.a.proves: 'presolo.d-16' is not an item that a rule requires"],
            id="a proof of an item that no rule asks for",
        ),
        pytest.param(
            [lesson("1", {"a": "practice"})],
            [item("a", proves=("presolo.d-01",))],
            ["items.a.proves: a proves presolo.d-01, but no lesson requires perform of it"],
            id="a proof that no lesson ever asks for",
        ),
        pytest.param(
            [lesson("1", {})], [], ["lessons.1.items: lesson 1 plans no item"], id="an empty lesson"
        ),
        pytest.param([], [], ["stages.one.lessons: stage one has no lesson"], id="an empty stage"),
        pytest.param(
            [lesson("1", {"a": "perform"}, ground="2 h")],
            [item("a")],
            ["lessons.1.items.a: a is flown, and lesson 1 plans no flight time"],
            id="an item flown on the ground",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"}, dual="1 h", night="1.1 h")],
            [item("a")],
            ["lessons.1.times.night: 1.1 h of night in 1.0 h of flight"],
            id="more night than flight",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"}, dual="0.5 h", solo="0.5 h", preparation="0.6 h")],
            [item("a")],
            ["lessons.1.times.preparation: 0.6 h of preparation in 0.5 h of dual"],
            id="more preparation than dual",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"}, dual="0 h", ground="0 h")],
            [item("a", kind=GROUND)],
            ["lessons.1.times: lesson 1 plans no time"],
            id="no time at all",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"})],
            [item("a", standard=(within(100), within(50)))],
            ["items.a.standard.altitude: two tolerances of a are called 'altitude'"],
            id="two tolerances of one name",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"})],
            [item("a", standard=(within(-100),))],
            ["items.a.standard.altitude: altitude: the low limit is above the high one"],
            id="limits the wrong way round",
        ),
        pytest.param(
            [lesson("1", {"A b": "perform"})],
            [item("A b")],
            [
                "items.A b.code: 'A b' is not a code: lowercase letters and digits, separated"
                " by hyphens or points,"
                " at most 80"
            ],
            id="a code with a space",
        ),
        pytest.param(
            [lesson("1", {"a": "perform"})],
            [item("a", kind="swim")],
            ["items.a.kind: 'swim' is not a kind of item; use one of flight, ground, stage check"],
            id="a kind that is none",
        ),
    ],
)  # fmt: skip
def test_what_does_not_hang_together_is_named_with_its_place(lessons, items, told) -> None:
    assert faults(lessons, items) == told


def test_a_long_chain_of_prerequisites_is_no_circle_and_no_stack_overflow() -> None:
    codes = [f"i{number}" for number in range(5_000)]
    chain = [item(code, prerequisites=(before,)) for before, code in itertools.pairwise(codes)]
    everything = dict.fromkeys(codes, "perform")
    assert faults([lesson("1", everything)], [item(codes[0]), *chain]) == []


def test_a_lesson_plans_only_requirements_of_the_rulebook() -> None:
    made = outline([lesson("1", {"a": "perform"}, plans=("faa.first-solo.age", "faa.no-such"))], [item("a")])
    assert check(made) == ()
    assert [str(fault) for fault in check(made, requirements={"faa.first-solo.age"})] == [
        "lessons.1.plans: 'faa.no-such' is not a requirement of the rulebook"
    ]


TASKS = [
    pytest.param("FAA-S-ACS-6C PA.V.A", ("FAA-S-ACS", "6C", "PA.V.A"), id="the current standard"),
    pytest.param("FAA-S-8081-14B I.A", ("FAA-S-8081", "14B", "I.A"), id="the standard before 2016"),
]


@pytest.mark.parametrize(("text", "parts"), TASKS)
def test_a_task_is_named_by_document_revision_and_code(text: str, parts: tuple[str, str, str]) -> None:
    task = Task.read(text)
    assert (task.document, task.revision, task.code) == parts
    assert str(task) == text


@pytest.mark.parametrize("text", ["PA.V.A", "FAA-S-ACS PA.V.A", "FAA-S-ACS-6C", "FAA-S-ACS-6C PA V", ""])
def test_less_than_that_is_no_task(text: str) -> None:
    with pytest.raises(ValueError, match="write document, revision and code"):
        Task.read(text)


def test_planned_time_adds_up_exactly_and_only_what_surely_falls_together() -> None:
    made = outline(
        [
            *(lesson(f"s{n}", {"a": "perform"}, dual="2 min") for n in range(30)),
            lesson("n", {"a": "perform"}, dual="1.5 h", solo="0.5 h", night="1.2 h"),
            lesson("x", {"a": "perform"}, dual="2 h", cross_country="1 h", night="1.5 h"),
            lesson("g", {"b": "perform"}, ground="1:24"),
        ],
        [item("a"), item("b", kind=GROUND)],
    )
    assert check(made) == ()
    assert made.planned("dual") == parse_time("4.5 h")  # thirty times two minutes are one hour
    assert made.planned("total") == parse_time("5 h")
    # of 1.2 h night in a lesson with 1.5 h dual of 2 h, 0.7 h are surely dual
    assert made.planned("dual", "night") == parse_time("2.2 h")
    assert made.planned("solo", "night") == 0
    assert made.planned("cross_country", "night") == parse_time("0.5 h")
    assert made.ground_time == parse_time("84 min")


@pytest.mark.parametrize(
    ("params", "told"),
    [
        pytest.param({"counts": ["dual"], "need": "2 h"}, [], id="exactly what is planned"),
        pytest.param(
            {"counts": ["dual"], "need": "2.1 h"},
            ["minimums.more: So much: the lessons plan 2.0 h, 0.1 h short"],
            id="a tenth more than is planned",
        ),
        pytest.param(
            {"counts": ["duel"], "need": "2 h"},
            [
                "minimums.more.counts: counts: 'duel' is not one of total, dual, solo, pic, cross_country,"
                " night, actual_instrument, simulated_instrument, instrument"
            ],
            id="a time that is none",
        ),
        pytest.param(
            {"counts": ["dual"]}, ["minimums.more.kind: total_at_least needs 'need'"], id="no number"
        ),
        pytest.param(
            {"counts": ["dual"], "need": 2},
            ["minimums.more.need: need: 2 needs a unit, such as '3 h'"],
            id="a number without a unit",
        ),
    ],
)
def test_a_course_plans_what_it_asks_for(params: dict[str, Any], told: list[str]) -> None:
    asked = Minimum("more", "total_at_least", params, "So much")
    lessons = [lesson("1", {"a": "perform"}), lesson("2", {"a": "perform"})]
    assert faults(lessons, [item("a")], minimums=(asked,)) == told


def test_a_minimum_is_of_a_known_kind_and_never_a_milestone() -> None:
    for kind in ("milestone", "total"):
        asked = Minimum("more", kind, {}, "So much")
        (told,) = faults([lesson("1", {"a": "perform"})], [item("a")], minimums=(asked,))
        assert told.startswith(
            f"minimums.more.kind: {kind!r} is not a kind of minimum; use one of age_at_least"
        )


def test_a_minimum_says_whose_it_is_where_the_law_is_cited() -> None:
    import datetime as dt

    asked = Minimum("dual", "total_at_least", {"counts": ["dual"], "need": "25 h"}, "25 hours dual")
    made = as_requirement(asked, "faa.first-solo", "school", dt.date(2026, 1, 1))
    (version,) = made.versions
    assert made.id == "faa.first-solo.school.dual"
    assert version.cite.section == "the school's own minimum, not a regulation"
    assert version.params["need"] == parse_time("25 h")
    with pytest.raises(ValueError, match="needs 'counts'"):
        as_requirement(Minimum("x", "total_at_least", {}, "x"), "faa.first-solo", "school", dt.date.min)


@pytest.mark.parametrize(
    ("grades", "proof"),
    [
        pytest.param({"a": "perform", "b": "perform"}, "perform", id="both at perform prove it"),
        pytest.param({"a": "perform", "b": "practice"}, "practice", id="it is as good as the weaker"),
        pytest.param({"a": "describe", "b": "explain"}, "describe", id="whichever that is"),
        pytest.param({"a": "perform"}, None, id="one alone proves nothing"),
        pytest.param({"a": "perform", "b": "not-observed"}, None, id="not observed is no grade"),
    ],
)
def test_items_that_prove_one_thing_together_are_as_good_as_the_weakest(grades, proof) -> None:
    made = outline(
        [lesson("1", BOTH)],
        [item("a", proves=("presolo.d-10",)), item("b", proves=("presolo.d-10", "presolo.d-09"))],
    )
    assert proven(made, grades).get("presolo.d-10") == proof


def test_every_item_that_the_rulebook_asks_for_can_be_proven() -> None:
    asked = {
        name
        for milestone in current().milestones.values()
        for requirement in milestone.requirements
        for version in requirement.versions
        for name in (version.get("items") or {})
    }
    assert asked == set(RULE_ITEMS)


OLD = outline(
    [lesson("1", {"a": "practice"}), lesson("2", {"a": "perform", "b": "practice"})],
    [
        item("a", standard=(within(100),), task=Task("FAA-S-ACS", "6C", "PA.V.A"), proves=("presolo.d-01",)),
        item("b"),
    ],
)


def asking(grade: str, outline: Outline, code: str = "a") -> Outline:
    """The outline with another grade asked of an item in every lesson that has it."""
    return replace(
        outline,
        stages=tuple(
            replace(
                stage,
                lessons=tuple(
                    replace(
                        each, items={item: grade if item == code else at for item, at in each.items.items()}
                    )
                    for each in stage.lessons
                ),
            )
            for stage in outline.stages
        ),
    )


def with_item(**changes: Any) -> Outline:
    first, second = OLD.items
    return replace(OLD, items=(replace(first, **changes), second))


@over_rows(
    ("new", "grade", "why"),
    [
        pytest.param(OLD, "perform", "", id="nothing changed"),
        pytest.param(with_item(title="Another", objective="Other words"), "perform", "", id="other words"),
        pytest.param(with_item(standard=(within(200),)), "perform", "", id="a wider limit"),
        pytest.param(with_item(standard=()), "perform", "", id="no limit any more"),
        pytest.param(
            with_item(standard=(within(99),)), "perform",
            "altitude is tighter now: altitude at entry ±99 ft, was altitude at entry ±100 ft",
            id="a limit tighter by a foot",
        ),
        pytest.param(
            with_item(standard=(within(100, high_inclusive=False),)), "perform",
            "altitude is tighter now: altitude at entry ±100 ft (the upper limit excluded), was altitude at"
            " entry ±100 ft",
            id="a limit that is excluded now",
        ),
        pytest.param(
            with_item(standard=(within(100), within(50, "level-off"))), "perform",
            "level-off has a limit now: altitude at entry ±50 ft", id="a limit more",
        ),
        pytest.param(
            with_item(standard=(within(100, target=Target(ASSIGNED, name="altitude assigned")),)), "perform",
            "altitude is measured otherwise now: altitude assigned ±100 ft, was altitude at entry ±100 ft",
            id="another target",
        ),
        pytest.param(
            with_item(task=Task("FAA-S-ACS", "6C", "PA.V.B")), "perform",
            "it is now for another task, FAA-S-ACS-6C PA.V.B", id="another task",
        ),
        pytest.param(with_item(task=None), "perform", "", id="no task any more"),
        pytest.param(
            with_item(proves=("presolo.d-01", "presolo.d-02")), "perform",
            "it also proves presolo.d-02 now", id="a proof more",
        ),
        pytest.param(
            with_item(kind=GROUND), "perform", "it was flight and is ground now", id="another kind"
        ),
        pytest.param(OLD, "practice", "", id="on the way to what was asked before too"),
        pytest.param(
            asking("perform", OLD), "practice", "", id="on the way to what was asked of it in one lesson more"
        ),
        pytest.param(
            replace(OLD, items=OLD.items[1:]), "perform", "the new version has no such item", id="it is gone"
        ),
        pytest.param(
            OLD, "not-observed", "an item is not passed with the grade not-observed", id="no grade"
        ),
    ],
)  # fmt: skip
def test_what_was_passed_stands_where_the_new_version_asks_no_more(new, grade, why) -> None:
    (found,) = carry_over(OLD, new, {"a": grade})
    assert (found.carries, found.why) == (not why, why)


def test_a_grade_does_not_stand_where_a_higher_one_is_asked_now() -> None:
    old = asking("practice", OLD)
    (found,) = carry_over(old, asking("perform", OLD), {"a": "practice"})
    assert (found.carries, found.why) == (False, "the new version requires perform, was practice")
    assert carry_over(old, asking("perform", OLD), {"a": "perform"})[0].carries
    assert carry_over(asking("perform", OLD), old, {"a": "explain"})[0].carries


def test_another_revision_of_the_same_task_carries_with_a_word() -> None:
    """A letter may stand for another task in another revision: somebody should look."""
    (found,) = carry_over(OLD, with_item(task=Task("FAA-S-ACS", "7", "PA.V.A")), {"a": "perform"})
    assert found.carries
    assert found.note == "graded to FAA-S-ACS-6C PA.V.A; see that FAA-S-ACS-7 PA.V.A is the same task"


def test_what_is_carried_over_stands_in_the_order_of_the_course() -> None:
    found = carry_over(OLD, OLD, {"zz": "perform", "b": "practice", "a": "perform"})
    assert [(each.item, each.carries) for each in found] == [("a", True), ("b", True), ("zz", False)]
    assert found[2].why == "the old version has no such item"


def test_equal_versions_do_not_differ() -> None:
    assert compare(OLD, OLD) == ()


def test_each_difference_is_told_once_in_words() -> None:
    first, second = OLD.lessons
    stage = replace(
        OLD.stages[0],
        lessons=(replace(second, times={"dual": parse_time("1.5 h")}), lesson("3", {"c": "perform"})),
    )
    new = replace(
        OLD, title="A new title", stages=(stage,), items=(*with_item(standard=(within(50),)).items, item("c"))
    )
    assert [change.words for change in compare(OLD, new)] == [
        "course example: title was An example, is A new title",
        "stage one: lessons was 1, 2, is 2, 3",
        "lesson 1 (Title of 1) is gone",
        "lesson 2: dual time was 1.0 h, is 1.5 h",
        "lesson 3 (Title of 3) is new",
        "item a: standard of altitude was altitude at entry ±100 ft, is altitude at entry ±50 ft",
        "item c (Title of c) is new",
    ]
    assert first not in new.lessons


def test_an_order_that_changed_is_told() -> None:
    new = replace(OLD, items=tuple(reversed(OLD.items)))
    assert [change.words for change in compare(OLD, new)] == ["items are in another order from a on"]
