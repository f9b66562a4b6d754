"""Drafts of lesson records: read strictly, made once, changed from where one stood, and looked at twice."""

from __future__ import annotations

import datetime as dt
import math
import uuid
from typing import Any

import pytest

from syllabus.engine.record.record import TIMES
from tests.support import factories
from tests.support.cast import Cast
from tests.support.lessons import AT, CONTENT, content, draft, flown, signed
from tests.support.rows import over_rows, undone
from training import models
from training.services.errors import Changed, Conflict, NotAllowed
from training.services.lessons import lesson_content, lesson_records
from training.services.lessons.lesson_content import LessonError

ITEM = {"item": "presolo.d-01", "grade": "perform"}


def kinds(lesson: models.LessonRecord) -> list[str]:
    return [each["kind"] for each in lesson.warnings]


def overlaps(lesson: models.LessonRecord) -> list[str]:
    return [kind for kind in kinds(lesson) if kind.startswith("overlap-")]


def change(people: Cast, lesson: models.LessonRecord, said: Any, version: int | None = 1) -> Any:
    return lesson_records.change(
        lesson, version=version, lesson="S1-L4", content=said, by=people.ida, at=AT, via="api"
    )


# What is read


def test_the_one_form_of_a_content_is_read_as_itself() -> None:
    found = lesson_content.read(CONTENT)
    again = lesson_content.read(found.plain)
    assert again == found
    assert found.plain["flight"]["times"] == {"total": "1.4 h", "dual": "1.4 h"}
    assert found.plain["items"][1]["measured"] == {"altitude lost": "180 ft"}
    assert (found.plain["comments"], found.plain["next"]) == ("Well prepared.", "Steep turns again.")


def test_many_items_keep_their_order_and_what_was_measured() -> None:
    items = [
        {"item": f"own.{number}", "grade": "practice", "measured": {"late": f"{number} s"}}
        for number in range(1, 25)
    ]
    found = lesson_content.read(content(items=items))
    assert [each["item"] for each in found.plain["items"]] == [each["item"] for each in items]
    assert [each["measured"]["late"] for each in found.plain["items"]] == [f"{n} s" for n in range(1, 25)]


def test_nothing_is_said_twice_by_being_left_out() -> None:
    assert lesson_content.read({}).plain == {
        "flight": None,
        "ground": None,
        "items": [],
        "comments": "",
        "next": "",
    }


@pytest.mark.parametrize(
    ("said", "place"),
    [
        pytest.param([], "content", id="a list"),
        pytest.param(content(flights=[]), "content.flights", id="an unknown key"),
        pytest.param(flown(times={"total": "1 h", "dual": "2 h"}), "content.flight.times.dual", id="dual"),
        pytest.param(
            flown(times={"total": "2 h", "dual": "1 h", "solo": "1 h"}),
            "content.flight.times",
            id="dual and solo",
        ),
        pytest.param(flown(on="2026-03-02T12:00:00-06:00"), "content.flight.on", id="on before off"),
        pytest.param(flown(on="2026-03-03T14:00:00-06:00"), "content.flight.on", id="more than 24 hours"),
        pytest.param(flown(id="f1"), "content.flight.id", id="an id"),
        pytest.param(flown(instructor={"name": "Bo"}), "content.flight.instructor", id="an instructor"),
        pytest.param(flown(date="2026-02-30"), "content.flight.date", id="no day of the calendar"),
        pytest.param(flown(route=["KXXXX"]), "content.flight.route[0]", id="no airport"),
        pytest.param(content(flight=7), "content.flight", id="a number for a flight"),
        pytest.param(content(ground={"date": "2026-03-02", "time": "1 ft"}), "content.ground.time", id="ft"),
        pytest.param(content(items=[{**ITEM, "grade": "good"}]), "content.items[0].grade", id="no grade"),
        pytest.param(content(items=[{**ITEM, "flight": "f1"}]), "content.items[0].flight", id="a flight"),
        pytest.param(content(items=[ITEM, ITEM]), "content.items[1].item", id="an item twice"),
        pytest.param(content(items=["presolo"]), "content.items[0]", id="a word for an item"),
        pytest.param(
            content(items=[{**ITEM, "measured": {"lost": "180 feets"}}]),
            "content.items[0].measured.lost",
            id="no unit that is known",
        ),
        pytest.param(
            content(items=[{**ITEM, "measured": {"lost": "180"}}]),
            "content.items[0].measured.lost",
            id="no unit",
        ),
        pytest.param(
            content(items=[{**ITEM, "measured": {"lost": 180}}]),
            "content.items[0].measured.lost",
            id="a bare number",
        ),
        pytest.param(content(comments=7), "content.comments", id="a number for words"),
        pytest.param(content(next="a\x00b"), "content.next", id="a NUL"),
    ],
)
def test_a_contradiction_is_refused_with_its_place(said: Any, place: str) -> None:
    with pytest.raises(LessonError) as refused:
        lesson_content.read(said)
    assert place in [fault.place for fault in refused.value.errors]
    assert all(fault.place.startswith("content") for fault in refused.value.errors)


PARTS = [each for each in TIMES if each not in ("total", "solo")]


@pytest.mark.parametrize("part", [*PARTS, "solo"])
def test_a_part_is_the_whole_at_most(part: str) -> None:
    """0.000060 min is the smallest time that can be typed in minutes and that hours can tell."""
    whole = {"total": "84 min", part: "1.4 h"}
    assert lesson_content.read(flown(times=whole)).plain["flight"]["times"][part] == "1.4 h"
    with pytest.raises(LessonError) as refused:
        lesson_content.read(flown(times={**whole, part: "84.000001 min"}))
    (fault,) = refused.value.errors
    assert fault.place == f"content.flight.times.{part}"
    assert fault.message == "84.000001 min is more than the total, 1.4 h; correct one"


@pytest.mark.parametrize(
    ("actual", "simulated", "refused"),
    [
        pytest.param("0.7 h", "42 min", False, id="together the whole"),
        pytest.param("0.7 h", "42.000001 min", True, id="together a little more"),
        pytest.param("1.4 h", "0 h", False, id="one the whole, the other none"),
    ],
)
def test_actual_and_simulated_instrument_time_exclude_each_other(actual, simulated, refused) -> None:
    times = {"total": "1.4 h", "actual_instrument": actual, "simulated_instrument": simulated}
    if not refused:
        assert lesson_content.read(flown(times=times)).flight
        return
    with pytest.raises(LessonError) as caught:
        lesson_content.read(flown(times=times))
    assert [fault.place for fault in caught.value.errors] == ["content.flight.times"]


@pytest.mark.parametrize(
    ("dual", "solo", "refused"),
    [
        pytest.param("1 h", "0 h", False, id="no solo"),
        pytest.param("0 h", "1 h", False, id="no dual"),
        pytest.param("1 h", "0.000001 min", True, id="the least solo beside dual"),
        pytest.param("0.000001 min", "1 h", True, id="the least dual beside solo"),
    ],
)
def test_dual_and_solo_exclude_each_other(dual: str, solo: str, refused: bool) -> None:
    said = flown(times={"total": "1.4 h", "dual": dual, "solo": solo})
    if not refused:
        assert lesson_content.read(said).flight
        return
    with pytest.raises(LessonError) as caught:
        lesson_content.read(said)
    assert [fault.place for fault in caught.value.errors] == ["content.flight.times"]


@pytest.mark.parametrize("amount", ["180 ft", "38 deg", "12 s", "2:09", "150 rpm", "10 kt", "3 deg/s"])
def test_a_measured_value_has_its_unit(amount: str) -> None:
    said = content(items=[{**ITEM, "measured": {"it": amount}}])
    assert lesson_content.read(said).plain["items"][0]["measured"] == {"it": amount}


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        pytest.param(" lost 180 ft ", "lost 180 ft", id="as a pilot writes it"),
        pytest.param("360° in 2 min 9 s", "360° in 2 min 9 s", id="a turn and its time"),
        pytest.param(
            {"value": " 3,320 ft", "target": "3,500 ft "}, {"value": "3,320 ft", "target": "3,500 ft"},
            id="with what was aimed at",
        ),
        pytest.param({"value": "38°"}, "38°", id="an object that says no more than the text"),
        pytest.param({"value": "38°", "target": None}, "38°", id="nothing aimed at"),
        pytest.param("1" + " " * 197 + "ft", "1" + " " * 197 + "ft", id="200 characters"),
    ],
)  # fmt: skip
def test_a_measured_value_is_kept_as_typed(said: Any, kept: Any) -> None:
    found = lesson_content.read(content(items=[{**ITEM, "measured": {"it": said}}])).plain
    assert found["items"][0]["measured"] == {"it": kept}
    assert lesson_content.read(found).plain == found


@pytest.mark.parametrize(
    ("measured", "place", "says"),
    [
        pytest.param({"it": "lost 180"}, "it", "has no unit; write a number with its unit", id="no unit"),
        pytest.param({"it": "9**9**9 ft"}, "it", "is not a measured value; write", id="an expression"),
        pytest.param({"it": ["180 ft"]}, "it", "expected a measured value, got a list", id="a list"),
        pytest.param({"it": None}, "it", "expected a measured value, got null", id="null"),
        pytest.param({"it": {"target": "45°"}}, "it.value", "missing", id="only what was aimed at"),
        pytest.param({"it": {"value": 38}}, "it.value", "expected text, got the number 38", id="a number"),
        pytest.param({"it": {"value": "38°", "aim": "45°"}}, "it.aim", "unknown key", id="another key"),
        pytest.param({"it": {"value": "38°", "target": "45 kt"}}, "it", "of another kind", id="kinds"),
        pytest.param({"it": "1" + " " * 198 + "ft"}, "it", "201 characters; a measured value has at most 200",
                     id="201 characters"),
        pytest.param({"bank": "38°", " bank": "40°"}, "bank", "is measured twice", id="one name twice"),
        pytest.param({" ": "38°"}, "", "is blank", id="no name"),
        pytest.param({"b" * 201: "38°"}, "", "201 characters; at most 200", id="a name too long"),
        pytest.param({f"m{n}": "1 ft" for n in range(21)}, "", "21 values; at most 20 are allowed", id="21"),
    ],
)  # fmt: skip
def test_what_is_no_measured_value_is_refused_with_its_place(measured: Any, place: str, says: str) -> None:
    with pytest.raises(LessonError) as refused:
        lesson_content.read(content(items=[{**ITEM, "measured": measured}]))
    (fault,) = refused.value.errors
    assert fault.place == ".".join(filter(None, ("content.items[0].measured", place)))
    assert says in fault.message


@pytest.mark.parametrize(
    ("said", "digest"),
    [
        pytest.param(
            CONTENT, "dff36835a331f867a2bec65541b38467fc7cb90db266e60e4747cfba1d833fa7", id="a lesson"
        ),
        pytest.param(
            content(
                items=[
                    {"item": f"own.{number}", "grade": "practice",
                     "measured": {"it": text, " other ": "  5 NM "}}
                    for number, text in enumerate(
                        ["180 ft", "38 deg", " 12 s ", "2:09", "150 rpm", "10kt", "3 °/s", "65 %",
                         "1.5 nautical miles", "0.5 m"]
                    )
                ]
            ),
            "4310ee2e529b2da11f6404979fc8ca4190607fa98ca2fb8759249219a588cc53",
            id="a value of every kind",
        ),
    ],
)  # fmt: skip
def test_what_was_signed_before_measured_values_were_compared_hashes_the_same(said, digest) -> None:
    """Both hashes were taken from the program as it was then."""
    assert lesson_content.hash_of("S1-L3", lesson_content.read(said).plain, None, "") == f"sha256:{digest}"


# What is made and changed


def test_the_same_sent_again_is_the_same(people: Cast) -> None:
    key = uuid.uuid4()
    first, again = draft(people, id=key), draft(people, id=key, at=AT + dt.timedelta(days=20))
    assert (again.pk, again.version, again.created_at) == (first.pk, 1, first.created_at)
    changed = change(people, first, content(comments="more"))
    assert (changed.version, changed.lesson) == (2, "S1-L4")
    late = draft(people, id=key)  # the first message arrives once more, after the change
    assert (late.version, late.content["comments"]) == (2, "more")


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize("changed", [{"lesson": "S1-L9"}, {"said": content(comments="other")}], ids=str)
def test_other_content_under_one_id_is_refused(people: Cast, changed: Any) -> None:
    key = uuid.uuid4()
    draft(people, id=key)
    with pytest.raises(Conflict, match="has this id"):
        draft(people, id=key, **changed)


def test_another_students_id_is_taken(people: Cast) -> None:
    other = factories.student(people.school, taught_by=people.ida)
    lesson = draft(people)
    with pytest.raises(Conflict, match="has this id"):
        draft(people, id=lesson.pk, student=other)


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize("who", ["ada", "sams_account", "olaf", "ottos_account"])
def test_only_the_students_instructors_write(people: Cast, who: str) -> None:
    with pytest.raises(NotAllowed):
        draft(people, by=getattr(people, who))
    lesson = draft(people)
    with pytest.raises(NotAllowed):
        lesson_records.change(
            lesson, version=1, lesson="", content=CONTENT, by=getattr(people, who), at=AT, via="api"
        )


def test_a_change_starts_from_the_draft_that_stands(people: Cast) -> None:
    lesson = draft(people)
    change(people, lesson, content(comments="more"))
    with pytest.raises(Changed):
        change(people, lesson, content(comments="less"))
    assert change(people, lesson, content(comments="less"), version=2).version == 3
    assert change(people, lesson, content(comments="less"), version=3).version == 3  # nothing is different


def test_a_draft_changes_nothing_on_record(people: Cast) -> None:
    draft(people)
    assert not models.Flight.objects.exists()
    assert not models.ItemGrade.objects.exists()


# What is worth a second look


def test_a_plain_lesson_has_no_warning(people: Cast) -> None:
    assert draft(people).warnings == []


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("said", "kind", "says"),
    [
        pytest.param(
            flown(off="2026-03-02T22:00:00-06:00", on="2026-03-02T23:24:00-06:00"),
            "night",
            "0.0 h of night is logged, and 1.4 h is computed",
            id="night that nobody typed",
        ),
        pytest.param(
            flown(times={"total": "1.4 h", "dual": "1.4 h", "night": "1.4 h"}),
            "night",
            "1.4 h of night is logged, and 0.0 h is computed",
            id="night at noon",
        ),
        pytest.param(
            flown(times={"total": "4.1 h", "dual": "1.4 h"}),
            "clock",
            "4.1 h is logged, and between off and on are 1.4 h",
            id="more than the clock",
        ),
        pytest.param(
            flown(off=None, on=None, times={"total": "24.1 h"}), "long", "24.1 h", id="more than a day"
        ),
        pytest.param(
            flown(route=["KGRB", "KGRB"], times={"total": "1.4 h", "cross_country": "1 h"}),
            "cross-country",
            "no landing away",
            id="cross-country around the field",
        ),
    ],
)
def test_what_looks_odd_is_shown_and_not_refused(people: Cast, said: Any, kind: str, says: str) -> None:
    lesson = draft(people, said)
    found = {each["kind"]: each["message"] for each in lesson.warnings}
    assert says in found[kind]
    assert all(each["place"].startswith("content.flight.") for each in lesson.warnings)


OTHER = {"registration": "N99ZZ", "model": "C172"}
SAME = CONTENT["flight"]["aircraft"]
LATER = {"off": "2026-03-02T14:24:00-06:00", "on": "2026-03-02T15:00:00-06:00", "times": {"total": "0.6 h"}}
DURING = {"off": "2026-03-02T14:23:00-06:00", "on": "2026-03-02T15:00:00-06:00", "times": {"total": "0.6 h"}}
BEFORE = {"off": "2026-03-02T12:00:00-06:00", "on": "2026-03-02T13:00:00-06:00", "times": {"total": "1 h"}}
TOUCHES = {**BEFORE, "on": "2026-03-02T13:00:00.000001-06:00"}
AROUND = {"off": "2026-03-02T12:59:00-06:00", "on": "2026-03-02T14:25:00-06:00", "times": {"total": "1.4 h"}}
WITHIN = {"off": "2026-03-02T13:30:00-06:00", "on": "2026-03-02T14:00:00-06:00", "times": {"total": "0.5 h"}}
ZONED = {"off": "2026-03-02T20:20:00+01:00", "on": "2026-03-02T20:50:00+01:00", "times": {"total": "0.5 h"}}
ALONE = {**DURING, "times": {"total": "0.6 h", "solo": "0.6 h"}}
EVERYTHING = ["overlap-student", "overlap-instructor", "overlap-aircraft"]


@pytest.fixture
def beside(people: Cast, make: Any) -> None:
    """A lesson that others are at the same time as."""
    make(people)


# others here, test_sign_offs and test_signing_authority make these queries on SQLite
@pytest.mark.any_database
@pytest.mark.parametrize("make", [draft, signed], ids=["a draft", "a signed one"])
@over_rows(
    ("who", "aircraft", "when", "expected"),
    [
        pytest.param("sam", OTHER, DURING, ["overlap-student", "overlap-instructor"], id="the same student"),
        pytest.param("other", OTHER, DURING, ["overlap-instructor"], id="the same instructor"),
        pytest.param("other", SAME, DURING, ["overlap-instructor", "overlap-aircraft"], id="the aircraft"),
        pytest.param("sam", SAME, LATER, [], id="off when the other is on"),
        pytest.param("sam", SAME, BEFORE, [], id="on when the other is off"),
        pytest.param("sam", SAME, TOUCHES, EVERYTHING, id="on a microsecond after the other is off"),
        pytest.param("sam", SAME, AROUND, EVERYTHING, id="around the other"),
        pytest.param("sam", SAME, WITHIN, EVERYTHING, id="within the other"),
        pytest.param("sam", SAME, ZONED, EVERYTHING, id="by a clock of another zone"),
        pytest.param(
            "other", {**SAME, "registration": "n00xy"}, DURING, ["overlap-instructor", "overlap-aircraft"],
            id="the aircraft in small letters",
        ),
        pytest.param("other", {"model": "C172"}, DURING, ["overlap-instructor"], id="no registration"),
        pytest.param("sam", SAME, {"off": None, "on": None}, [], id="no times to compare"),
        pytest.param("other", OTHER, ALONE, [], id="alone, so without the instructor"),
    ],
)  # fmt: skip
def test_a_flight_at_the_same_time(
    people: Cast, beside: None, who: str, aircraft: Any, when: Any, expected: list[str]
) -> None:
    with undone():
        student = people.sam if who == "sam" else factories.student(people.school, taught_by=people.ida)
        assert overlaps(draft(people, flown(aircraft=aircraft, **when), student=student)) == expected


# others here, test_sign_offs and test_signing_authority make these queries on SQLite
@pytest.mark.any_database
@pytest.mark.parametrize("make", [draft, signed], ids=["a draft", "a signed one"])
def test_of_a_solo_flight_the_instructor_is_free(people: Cast, make: Any) -> None:
    make(people, flown(times={"total": "1.4 h", "solo": "1.4 h"}))
    other = factories.student(people.school, taught_by=people.ida)
    assert overlaps(draft(people, flown(aircraft=OTHER, **DURING), student=other)) == []
    assert overlaps(draft(people, flown(aircraft={"registration": "N88ZZ"}, **DURING))) == [
        "overlap-student",
        "overlap-instructor",
    ]


def test_another_instructor_in_the_same_aircraft(people: Cast) -> None:
    signed(people)
    second = factories.instructor(people.school, certificate="0000002CFI")
    other = factories.student(people.school, taught_by=second)
    assert overlaps(draft(people, flown(**DURING), student=other, by=second)) == ["overlap-aircraft"]


def test_a_flight_of_another_school_is_nobodys_business(people: Cast) -> None:
    signed(people)
    models.Role.objects.create(
        school=people.elsewhere, user=people.olaf, role="administrator", certificate=""
    )
    assert overlaps(draft(people, student=people.otto, by=people.olaf)) == []


def test_a_correction_does_not_overlap_with_what_it_corrects(people: Cast) -> None:
    from training.services.lessons import sign_offs

    lesson = signed(people)
    later = sign_offs.correct(
        lesson,
        id=uuid.uuid4(),
        reason="wrong words",
        content=content(comments="Better."),
        by=people.ida,
        at=AT,
        via="api",
    )
    assert later.warnings == []


def test_what_is_computed_stands_beside_what_was_typed() -> None:
    shown = lesson_records.computed(lesson_content.read(CONTENT).flight).as_json()
    assert shown["night"] == "0.0 h"
    assert shown["distance"]
    # 21.35' of latitude and 26.95' of longitude at 44.3° north lie between the two fields
    leg = math.hypot(21.35, 26.95 * math.cos(math.radians(44.3)))
    assert float(shown["distance"].removesuffix(" NM")) == pytest.approx(2 * leg, abs=0.3)
    assert lesson_records.computed(lesson_content.read(flown(route=[])).flight).as_json() == {
        "night": None,
        "distance": None,
    }
