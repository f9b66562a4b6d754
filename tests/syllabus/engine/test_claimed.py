"""What nobody vouches for, at a school that asks about claims."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from syllabus.engine.record.record import Certificate, Instructor, ItemGrade, Record
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.settings import Settings
from syllabus.engine.time.days import Days
from syllabus.law import rulebook

ON = date(2026, 6, 15)
ITEM = "area.private.05"
PRACTICAL, SOLO = "faa.private-practical-test", "faa.first-solo"
IDA = Instructor("Ida Example", "0000001CFI")
ASKS = Settings(claims_asked=frozenset({"endorsements"}))


def grade(word: str, day: int, provenance: str) -> ItemGrade:
    return ItemGrade(f"g{day}", ITEM, date(2026, 6, day), word, instructor=IDA, provenance=provenance)


def finding(record: Record, milestone: str, name: str, settings: Settings, on: date = ON) -> Finding:
    report = evaluate(rulebook.current(), record, milestone, on, settings=settings)
    return next(each for each in report.findings if each.rule.id == f"{milestone}.{name}")


def told(*grades: ItemGrade, settings: Settings = ASKS) -> str:
    """What is said of the item: it counts, is asked about, or is not at the standard."""
    found = finding(Record(items=grades), PRACTICAL, "proficiency", settings)
    [said] = [name for name in ("counted", "ask", "not_counted") for _ in getattr(found, name)]
    return said


@pytest.mark.parametrize(
    ("grades", "said"),
    [
        pytest.param([("practice", 1, "signed"), ("perform", 2, "claimed")], "ask", id="raised by a claim"),
        pytest.param([("practice", 1, "taken-over"), ("perform", 2, "claimed")], "ask", id="of elsewhere"),
        pytest.param(
            [("practice", 1, "signed"), ("perform", 2, "claimed"), ("perform", 3, "claimed")],
            "ask",
            id="twice",
        ),
        pytest.param([("perform", 1, "signed"), ("practice", 2, "claimed")], "ask", id="lowered by a claim"),
        pytest.param([("perform", 1, "signed"), ("perform", 2, "claimed")], "counted", id="the same"),
        pytest.param([("practice", 1, "signed"), ("perform", 2, "attested")], "counted", id="attested"),
        pytest.param(
            [("practice", 1, "claimed"), ("perform", 2, "signed")], "counted", id="signed after a claim"
        ),
        pytest.param([("perform", 2, "claimed")], "counted", id="beside no signed one"),
    ],
)
def test_a_claimed_grade_outranks_no_signed_one_without_a_question(
    grades: list[tuple[str, int, str]], said: str
) -> None:
    made = [grade(*each) for each in grades]
    assert told(*made) == said
    without = told(*made, settings=Settings())
    assert without == ("not_counted" if made[-1].grade == "practice" else "counted")


def test_of_one_day_a_claim_outranks_no_signed_one_either() -> None:
    signed, claimed = grade("practice", 2, "signed"), grade("perform", 2, "claimed")
    assert told(signed, replace(claimed, id="claimed")) == "ask"


def test_a_question_about_one_day_leaves_the_answer_of_the_days_after() -> None:
    """Claimed on the 2nd and signed on the 5th: it holds from the 5th, whichever day one asks from."""
    wanted = finding(Record(), SOLO, "maneuvers", Settings()).rule.params["items"]
    items = tuple(
        ItemGrade(f"{item}-{day}", item, date(2026, 6, day), "perform", instructor=IDA, provenance=said)
        for item in wanted
        for day, said in ((2, "claimed"), (5, "signed"))
    )
    asks = Settings(claims_asked=frozenset({"items"}))
    for on, met in ((date(2026, 6, 3), None), (date(2026, 6, 5), True)):
        found = finding(Record(items=items), SOLO, "maneuvers", asks, on)
        assert found.met(on) is met
        assert found.holds == Days.starting(date(2026, 6, 5))


def test_a_claimed_certificate_is_a_question_where_the_school_asks() -> None:
    held = Certificate("c1", "student", date(2026, 1, 10))
    asks = Settings(claims_asked=frozenset({"certificates"}))
    for settings, met in ((Settings(), True), (asks, None)):
        assert finding(Record(certificates=(held,)), SOLO, "certificate", settings).met(ON) is met
    vouched = replace(held, provenance="attested")
    assert finding(Record(certificates=(vouched,)), SOLO, "certificate", asks).met(ON) is True
