"""What was measured in a lesson beside the standards of its course: words, warnings, and what is sealed."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from syllabus.engine.course import measured
from syllabus.engine.course.standards import QUANTITIES
from syllabus.engine.time import units
from syllabus.engine.time.units import QuantityError
from tests.support import courses
from tests.support.cast import Cast
from tests.support.extent import count
from tests.support.lessons import content, draft, sign, signed
from training import models
from training.ledger.models import Entry
from training.services.lessons import lesson_audit, lesson_content, lesson_hints, lesson_records
from training.services.lessons.lesson_hints import NO_COURSE

MEMORY = "The limit is from memory; check it against the standard."
ACCOUNT = "The limit was not read in the standard itself, only in an account of it."


def hints(item: str, measured: Any, grade: str = "practice", outline: Any = None) -> list[dict[str, Any]]:
    said = content(items=[{"item": item, "grade": grade, "measured": measured}])
    return lesson_hints.hints(lesson_content.read(said).plain, outline or courses.private_airplane())


def hint(item: str, name: str, said: Any) -> dict[str, Any]:
    (found,) = hints(item, {name: said})
    return found


def warnings(item: str, grade: str, measured: Any = None, outline: Any = ...) -> list[dict[str, str]]:
    said = content(items=[{"item": item, "grade": grade, "measured": measured}])
    course = courses.private_airplane() if outline is ... else outline
    return lesson_hints.warnings(lesson_content.read(said).plain, course)


# The words


@pytest.mark.parametrize(
    ("item", "name", "said", "inside", "by", "words", "standard", "caution"),
    [
        pytest.param(
            "steep-turns", "altitude", "lost 180 ft", False, "80 ft",
            "altitude: lost 180 ft: outside altitude at entry ±100 ft by 80 ft",
            "altitude at entry ±100 ft", ACCOUNT, id="180 ft lost is outside 100 ft by 80 ft",
        ),
        pytest.param(
            "steep-turns", "bank", "bank 38°", False, "2°",
            "bank 38°, 7° shallow of 45°: outside 45° ±5° by 2°",
            "45° ±5°", ACCOUNT, id="38 degrees of bank is outside 45 and 5 by 2",
        ),
        pytest.param(
            "steep-turns", "rollout", "rolled out 12° late", False, "2°",
            "rollout 12° late: outside heading at entry ±10° by 2°",
            "heading at entry ±10°", ACCOUNT, id="12 degrees late is outside 10 by 2",
        ),
        pytest.param(
            "instrument-turns", "turn rate", "360° in 2 min 9 s", None, None,
            "turn rate 2.79°/s, 7 % slow of 3°/s",
            "3°/s", "The standard has no limit for this; it is shown, not judged.",
            id="once round in 2 min 9 s is 7 percent slower than in 2 minutes",
        ),
        pytest.param(
            "instrument-turns", "turn rate", "360° in 2 min", None, None,
            "turn rate 3°/s, on target",
            "3°/s", "The standard has no limit for this; it is shown, not judged.",
            id="once round in 2 minutes is the standard rate",
        ),
        pytest.param(
            "before-takeoff-check", "magneto drop", "magneto drop 150 rpm", True, "25 rpm",
            "magneto drop 150 rpm: inside at most 175 rpm",
            "at most 175 rpm", "Common practice; the airplane's handbook decides.",
            id="a magneto drop of 150 rpm is inside common practice, and the handbook decides",
        ),
        pytest.param(
            "before-takeoff-check", "magneto difference", "51 rpm", False, "1 rpm",
            "magneto difference 51 rpm: outside at most 50 rpm by 1 rpm",
            "at most 50 rpm", "Common practice; the airplane's handbook decides.",
            id="51 rpm between the magnetos is outside common practice by 1",
        ),
        pytest.param(
            "steep-turns", "Altitude", {"value": "3,320 ft", "target": "3,500 ft"}, False, "80 ft",
            "altitude 3320 ft, 180 ft low of 3500 ft: outside altitude at entry ±100 ft by 80 ft",
            "altitude at entry ±100 ft", ACCOUNT, id="an altitude and the one it began at",
        ),
        pytest.param(
            "steep-turns", "altitude", "3,320 ft", None, None,
            "altitude 3320 ft; say what the altitude at entry was to compare",
            "altitude at entry ±100 ft", ACCOUNT, id="an altitude, and nobody said from which",
        ),
        pytest.param(
            "pilotage", "arrival at checkpoints", {"value": "14:26", "target": "14:20"}, False, "1 min",
            "arrival at checkpoints 866 min, 6 min late of 860 min: outside initial or revised estimate"
            " ±5 min by 1 min",
            "initial or revised estimate ±5 min", ACCOUNT, id="six minutes after the estimate",
        ),
        pytest.param(
            "ground-reference", "height at entry", "1,001 ft", False, "1 ft",
            "height at entry 1001 ft: outside 600 to 1000 ft by 1 ft",
            "600 to 1000 ft", "", id="a limit that was read in the standard has no caution",
        ),
        pytest.param(
            "steep-turns", "bank", {"value": "38°", "target": "30°"}, False, "2°",
            "bank 38°, 7° shallow of 45°: outside 45° ±5° by 2°",
            "45° ±5°", f"The standard says 45° ±5°, so it was not compared with 30°. {ACCOUNT}",
            id="another bank aimed at than the standard's",
        ),
        pytest.param(
            "emergency-descent", "bank", {"value": "40°", "target": "40°"}, True, "5°",
            "bank 40°: inside 30 to 45°",
            "30 to 45°", f"The standard says 30 to 45°, so it was not compared with 40°. {ACCOUNT}",
            id="a range has nothing to aim at",
        ),
    ],
)  # fmt: skip
def test_a_measured_value_stands_beside_its_standard(
    item, name, said, inside, by, words, standard, caution
) -> None:
    found = hint(item, name, said)
    typed = (said["value"], said["target"]) if isinstance(said, dict) else (said, None)
    assert (found["place"], found["item"]) == (f"content.items[0].measured.{name}", item)
    assert (found["name"], found["measured"], found["target"]) == (name, *typed)
    assert (found["inside"], found["by"], found["words"]) == (inside, by, words)
    assert (found["standard"], found["caution"]) == (standard, caution)


def test_a_limit_says_whose_it_is_and_where_it_was_found() -> None:
    found = hint("steep-turns", "bank", "45°")
    assert (found["task"], found["basis"]) == ("FAA-S-ACS-6C PA.V.A", "test standard")
    assert found["source"] == "task-by-task reproduction of revision 6B"
    assert hint("before-takeoff-check", "magneto drop", "150 rpm")["basis"] == "common practice"
    assert hint("ground-reference", "height at entry", "700 ft")["note"] == "Above the ground."


ALTITUDE, HEADING, SPEED, BANK = ("altitude", "ft"), ("heading", "°"), ("airspeed", "kt"), ("bank", "°")
CLIMB, GLIDE = (SPEED, -5, 10), (SPEED, -10, 10)
#: Private Pilot Airplane test standard FAA-S-ACS-6C, tasks of single-engine land: the limits about what is
#: aimed at. How well each was read stands with it in the course.
ACS = [
    ("PA.III.B", ALTITUDE, -100, 100), ("PA.III.B", *GLIDE),
    ("PA.IV.A", *CLIMB), ("PA.IV.B", *CLIMB), ("PA.IV.B", ("touchdown", "ft"), 0, 400),
    ("PA.IV.C", *CLIMB), ("PA.IV.D", *CLIMB),
    ("PA.IV.E", ("airspeed to the obstacle", "kt"), -5, 10),
    ("PA.IV.E", ("airspeed after that", "kt"), -5, 10),
    ("PA.IV.F", *CLIMB), ("PA.IV.F", ("touchdown", "ft"), 0, 200), ("PA.IV.M", ("touchdown", "ft"), 0, 400),
    ("PA.IV.N", *CLIMB),
    ("PA.V.A", BANK, -5, 5), ("PA.V.A", ALTITUDE, -100, 100), ("PA.V.A", *GLIDE),
    ("PA.V.A", ("rollout", "°"), -10, 10),
    ("PA.V.B", ALTITUDE, -100, 100), ("PA.V.B", *GLIDE),
    ("PA.VI.A", ("arrival at checkpoints", "min"), -5, 5), ("PA.VI.A", ALTITUDE, -200, 200),
    ("PA.VI.A", HEADING, -15, 15), ("PA.VI.B", ALTITUDE, -200, 200), ("PA.VI.B", HEADING, -15, 15),
    ("PA.VI.C", ALTITUDE, -200, 200), ("PA.VI.C", HEADING, -15, 15),
    ("PA.VII.A", SPEED, 0, 10), ("PA.VII.A", ALTITUDE, -100, 100), ("PA.VII.A", HEADING, -10, 10),
    ("PA.VII.A", BANK, -10, 10), ("PA.VII.B", HEADING, -10, 10), ("PA.VII.B", BANK, -10, 10),
    ("PA.VII.C", HEADING, -10, 10), ("PA.VII.C", BANK, -10, 10),
    *((f"PA.VIII.{task}", *limit) for task in "ABCF"
      for limit in ((ALTITUDE, -200, 200), (HEADING, -20, 20), GLIDE)),
    ("PA.VIII.D", ("rollout", "°"), -10, 10), ("PA.VIII.D", ALTITUDE, -200, 200), ("PA.VIII.D", *GLIDE),
    ("PA.IX.A", SPEED, -10, 0), ("PA.IX.A", ("level-off", "ft"), -100, 100), ("PA.IX.B", *GLIDE),
]  # fmt: skip
#: The same of what has no target: the least and the most themselves.
ACS_RANGES = [
    ("PA.V.B", ("height at entry", "ft"), 600, 1000),
    ("PA.VI.A", ("distance off route", "NM"), None, 3),
    ("PA.VII.A", ("height", "ft"), 1500, None),
    ("PA.VII.B", ("height", "ft"), 1500, None),
    ("PA.VII.C", ("height", "ft"), 1500, None),
    ("PA.VII.C", ("power", "%"), 65, None),
    ("PA.IX.A", BANK, 30, 45),
]


def of_task(task: str) -> str:
    return next(
        each.code for each in courses.private_airplane().items if each.task and each.task.code == task
    )


@pytest.mark.parametrize(
    ("task", "what", "low", "high", "ranged"),
    [
        pytest.param(*row, ranged, id=f"{row[0]} {row[1][0]} {row[2]} to {row[3]} {row[1][1]}")
        for ranged, rows in ((False, ACS), (True, ACS_RANGES))
        for row in rows
    ],
)
def test_both_sides_of_each_limit_of_the_test_standard(task, what, low, high, ranged) -> None:
    name, unit = what
    tenth = Fraction(1, 10)
    sides = [(high, tenth)] * (high is not None) + [(low, -tenth)] * (low is not None)
    for limit, beyond in sides:
        for value, inside in ((limit, True), (limit - beyond, True), (limit + beyond, False)):
            if value < 0 and ranged:
                continue
            text = f"{float(value):g} {unit}" if ranged else f"{float(value):+g} {unit}"
            found = hint(of_task(task), name, text)
            assert found["inside"] is inside, found["words"]
            amount = re.match(r"[0-9.]+", found["by"])
            assert amount is not None
            assert amount[0] == ("0" if value == limit else "0.1"), found["words"]


def test_every_limit_of_the_course_that_is_of_the_test_standard_has_a_row() -> None:
    rows = {(task, name) for task, (name, _), *_ in (*ACS, *ACS_RANGES)}
    found = {
        (item.task.code, each.name)
        for item in courses.private_airplane().items
        for each in item.standard
        if item.task and each.basis == "test standard"
    }
    assert found == rows


NUMBERS = st.sampled_from(["0", "0.000001", "2", "359.5", "3,500", "999999999", "2 min 9", "9**9"])


@st.composite
def written(draw: st.DrawFn) -> tuple[str, str | None]:
    """A value of some kind and what was aimed at, mostly such as can be read."""
    kind = QUANTITIES[draw(st.sampled_from(sorted(QUANTITIES)))]
    spelled = [name for name, unit in units.SPELLINGS.items() if unit in units.DIMENSIONS[kind.dimension][0]]
    unit = st.sampled_from(spelled)
    side = draw(st.sampled_from(["", "", "+", "-", "±", "off", *kind.words]))
    value = f"{side} {draw(NUMBERS)} {draw(unit)}" + draw(
        st.sampled_from(["", "", " in 2 min 9 s", " in 0 s"])
    )
    return value, draw(st.none() | st.just("14:20") | st.builds("{} {}".format, NUMBERS, unit))


@settings(max_examples=count(60, 300))
@given(said=written() | st.tuples(st.text(max_size=20), st.none()))
def test_whatever_is_taken_can_be_shown_beside_every_standard(said: tuple[str, str | None]) -> None:
    value, target = said
    try:
        measured.check("it", value, target)
    except QuantityError:
        event("refused")
        return
    event("taken")
    kept = value if target is None else {"value": value, "target": target}
    for item in courses.private_airplane().items:
        names = [each.name for each in item.standard]
        plain = {"items": [{"item": item.code, "grade": "perform", "measured": dict.fromkeys(names, kept)}]}
        found = lesson_hints.hints(plain, courses.private_airplane())
        assert [each["name"] for each in found] == names
        assert all((each["by"] is None) is (each["inside"] is None) and each["words"] for each in found)
        assert [each["kind"] for each in lesson_hints.warnings(plain, courses.private_airplane())].count(
            "measured"
        ) == sum("cannot be compared" in each["words"] for each in found)


# Nothing to compare with


@pytest.mark.parametrize(
    ("item", "name", "outline", "caution"),
    [
        pytest.param("steep-turns", "altitude", None, NO_COURSE, id="a lesson of no course"),
        pytest.param(
            "presolo.d-10", "altitude", ...,
            "presolo.d-10 is not an item of the course, so there is no standard to compare it with.",
            id="an item that a rule asks for",
        ),
        pytest.param(
            "taxiing", "altitude", ..., "The standard of taxiing has no numbers to compare it with.",
            id="a standard in words",
        ),
        pytest.param(
            "steep-turns", "altitude lost", ...,
            "The standard of steep-turns has limits for bank, altitude, airspeed, rollout, but not for this.",
            id="a name of the instructor's own",
        ),
    ],
)  # fmt: skip
def test_what_there_is_nothing_to_compare_with_is_kept_and_says_so(item, name, outline, caution) -> None:
    said = content(items=[{"item": item, "grade": "practice", "measured": {name: "180 ft"}}])
    course = courses.private_airplane() if outline is ... else outline
    (found,) = lesson_hints.hints(lesson_content.read(said).plain, course)
    assert found == {
        "place": f"content.items[0].measured.{name}",
        "item": item,
        "name": name,
        "measured": "180 ft",
        "target": None,
        "words": f"{name}: 180 ft; not compared",
        "caution": caution,
        **dict.fromkeys(("inside", "by", "standard", "task", "basis", "source", "note")),
    }
    assert lesson_hints.warnings(lesson_content.read(said).plain, course) == []


def test_a_value_of_another_kind_is_kept_shown_and_warned_of() -> None:
    found = hint("steep-turns", "altitude", "180 kt")
    assert (found["inside"], found["words"]) == (None, "altitude: 180 kt; it cannot be compared")
    assert "'180 kt' is a speed, but a height is expected" in found["caution"]
    (warned,) = warnings("steep-turns", "practice", {"altitude": "180 kt"})
    assert (warned["kind"], warned["place"]) == ("measured", "content.items[0].measured.altitude")
    assert warned["message"].startswith("altitude: 180 kt: '180 kt' is a speed, but a height is expected")


# Warnings


@pytest.mark.parametrize(
    ("grade", "measured", "kinds"),
    [
        pytest.param("perform", {"bank": "39°"}, ["grade-outside"], id="perform, and a value outside"),
        pytest.param("perform", {"bank": "40°"}, [], id="perform, and at the limit"),
        pytest.param(
            "perform", {"bank": "45°", "altitude": "lost 101 ft"}, ["grade-outside"], id="one of two outside"
        ),
        pytest.param("practice", {"bank": "40°"}, ["grade-inside"], id="below, and all inside"),
        pytest.param("explain", {"bank": "40°"}, ["grade-inside"], id="well below, and all inside"),
        pytest.param("practice", {"bank": "39°"}, [], id="below, and outside"),
        pytest.param("practice", {"bank": "40°", "rollout": "11° late"}, [], id="below, and one outside"),
        pytest.param("practice", {"altitude": "3320 ft"}, [], id="below, and nothing compared"),
        pytest.param("not-observed", {"bank": "40°"}, [], id="not graded"),
        pytest.param("perform", None, [], id="perform, and nothing measured"),
        pytest.param("practice", {}, [], id="below, and nothing measured"),
    ],
)  # fmt: skip
def test_a_grade_and_what_was_measured_may_point_apart(grade: str, measured: Any, kinds: list[str]) -> None:
    found = warnings("steep-turns", grade, measured)
    assert [each["kind"] for each in found] == kinds
    assert all(each["place"] == "content.items[0].grade" for each in found)
    assert all("The instructor grades." in each["message"] for each in found)


def test_a_warning_names_the_values() -> None:
    (found,) = warnings("steep-turns", "perform", {"bank": "45°", "altitude": "lost 180 ft"})
    assert found["message"] == (
        "'perform' is the grade, but outside the standard: altitude: lost 180 ft: outside"
        " altitude at entry ±100 ft by"
        " 80 ft. The instructor grades."
    )


@pytest.mark.parametrize(
    ("item", "meant"),
    [
        pytest.param("steep-turn", " Did you mean steep-turns?", id="a slip of the pen"),
        pytest.param("own.xyz", "", id="nothing like it"),
    ],
)
def test_an_item_that_nobody_asks_for(item: str, meant: str) -> None:
    (found,) = warnings(item, "perform")
    assert (found["kind"], found["place"]) == ("unknown-item", "content.items[0].item")
    assert found["message"] == (
        f"{item!r} is neither an item of the course private-airplane nor one that a rule requires: its grade"
        f" counts for neither.{meant}"
    )
    assert warnings(item, "perform", outline=None) == []


@pytest.mark.parametrize("item", ["presolo.d-15", "soloxc.e-12", "area.private.12", "steep-turns"])
def test_an_item_of_the_rules_or_of_the_course_is_known(item: str) -> None:
    assert warnings(item, "perform") == []


# What is shown, and what is sealed


MEASURED: list[dict[str, Any]] = [
    {"item": "climbs", "grade": "practice"},
    {
        "item": "steep-turns",
        "grade": "perform",
        "measured": {
            "a name of Ida's": "2:09",
            "airspeed": {"value": "95 kt", "target": "95 kt"},
            "altitude": "lost 180 ft",
        },
    },
]


@pytest.mark.django_db
def test_a_draft_shows_its_hints_and_the_sign_off_seals_them(people: Cast) -> None:
    courses.enrolled(people, courses.published())
    lesson = draft(people, content(items=MEASURED), lesson="")
    shown = lesson_records.hints(lesson)
    assert [(each["place"], each["inside"]) for each in shown] == [
        ("content.items[1].measured.altitude", False),
        ("content.items[1].measured.airspeed", True),
        ("content.items[1].measured.a name of Ida's", None),
    ]
    assert "grade-outside" in [each["kind"] for each in lesson.warnings]
    assert lesson.content["items"][1]["measured"] == MEASURED[1]["measured"]

    done = sign(lesson, people.ida)
    body: Any = Entry.objects.get(index=done.ledger_index, tree=done.ledger_tree).kept.value
    done.refresh_from_db()
    assert done.hints == body["hints"] == shown
    assert done.warnings == body["warnings"]
    assert "grade-outside" in [each["kind"] for each in done.warnings]
    assert list(lesson_audit.faults(people.school)) == []


@pytest.mark.django_db
def test_what_was_shown_at_the_signing_stays(people: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    courses.enrolled(people, courses.published())
    lesson = draft(people, content(items=MEASURED), lesson="")
    sign(lesson, people.ida)
    before = lesson_records.hints(models.LessonRecord.objects.get(pk=lesson.pk))
    # Standards of twice the width, as if the course had been published anew under the same key.
    wide = replace(
        courses.private_airplane(),
        items=tuple(
            replace(item, standard=tuple(replace(each, high=each.high and each.high * 2, low=None)
                                         for each in item.standard))
            for item in courses.private_airplane().items
        ),
    )  # fmt: skip
    monkeypatch.setattr(lesson_hints, "outline_of", lambda record: wide)
    after = models.LessonRecord.objects.get(pk=lesson.pk)
    assert lesson_records.hints(after) == before
    assert lesson_hints.hints(after.content, wide) != before


@pytest.mark.django_db
def test_hints_that_were_changed_beside_the_ledger_are_found(people: Cast) -> None:
    from tests.support import lessons

    courses.enrolled(people, courses.published())
    lesson = draft(people, content(items=MEASURED), lesson="")
    done = sign(lesson, people.ida)
    with lessons.unguarded():
        models.SignOff.objects.filter(pk=done.pk).update(hints=[])
    assert list(lesson_audit.faults(people.school)) == [
        f"lesson record {lesson.pk}: its sign-off differs from ledger entry {done.ledger_index}"
    ]


@pytest.mark.django_db
def test_a_lesson_of_no_course_says_that_there_is_no_standard(people: Cast) -> None:
    lesson = signed(people)
    assert [each["caution"] for each in lesson.sign_off.hints] == [NO_COURSE]
    assert lesson_records.hints(draft(people, content(items=[]))) == []
