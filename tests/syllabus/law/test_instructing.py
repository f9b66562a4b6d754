"""The rules about the instructor: every number and its citation, and every fault with file and line."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from syllabus.engine.errors import NotInForce, RuleDataError
from syllabus.engine.time.units import HOUR
from syllabus.law import instructing

WHOLE = (instructing.SHAPE.home / "faa.yaml").read_text(encoding="utf-8")
FROM = dt.date(1997, 8, 4)
CHANGED = dt.date(2024, 12, 1)


@pytest.mark.parametrize(
    ("on", "most", "within", "verified"),
    [
        # 14 CFR 61.195(a), current text. For the years before, the number is from memory.
        pytest.param(CHANGED, 8, 24, "read", id="since the change of December 2024, as read"),
        pytest.param(CHANGED - dt.timedelta(days=1), 8, 24, "memory", id="the day before, from memory"),
        pytest.param(FROM, 8, 24, "memory", id="the first day of all"),
    ],
)
def test_eight_hours_in_any_24_consecutive_hours(on, most, within, verified):
    rule = instructing.current()["faa"].on("hours-in-24", on)
    assert (rule.params["most"], rule.params["within"]) == (most * HOUR, within * HOUR)
    assert (rule.cite.section, rule.verified) == ("14 CFR 61.195(a)", verified)


@pytest.mark.parametrize(
    ("rule", "on", "section"),
    [
        pytest.param("not-oneself", FROM, "14 CFR 61.1", id="nobody trains themselves"),
        pytest.param("authorized", CHANGED, "14 CFR 61.1", id="who is authorized"),
        # The printed CFR of 1 January 2018.
        pytest.param("privileges", CHANGED, "14 CFR 61.193", id="what a flight instructor may do"),
        pytest.param("recent-experience", CHANGED, "14 CFR 61.197", id="recent experience"),
        pytest.param(
            "recent-experience", dt.date(2024, 11, 30), "14 CFR 61.19(d)(2)", id="certificates that end"
        ),
        pytest.param("category-and-class", CHANGED, "14 CFR 61.195(b)", id="category and class"),
        pytest.param("classes", CHANGED, "14 CFR 61.5(b)", id="the classes of each category"),
        # The current 61.195(c), start of the section; 61.195(l) in the printed CFR of 1 January 2024.
        pytest.param("instrument-training", CHANGED, "14 CFR 61.195(c)", id="for an instrument rating"),
    ],
)
def test_every_rule_says_where_it_stands(rule, on, section):
    assert instructing.current()["faa"].on(rule, on).cite.section == section


@pytest.mark.parametrize(
    ("rule", "verified"),
    [
        # 61.19(d)(2), current text, on certificates issued before 1 December 2024.
        pytest.param("recent-experience", "read", id="certificates that end, as read"),
        # 61.195(a) to (c) as they were before December 2024 were seen by nobody.
        pytest.param("category-and-class", "memory", id="ratings, from memory"),
        pytest.param("instrument-training", "memory", id="instrument training, from memory"),
        pytest.param("hours-in-24", "memory", id="the hours, from memory"),
    ],
)
def test_how_the_text_before_december_2024_is_known(rule, verified):
    assert instructing.current()["faa"].on(rule, CHANGED - dt.timedelta(days=1)).verified == verified


def test_a_day_before_the_first_rule_is_refused():
    with pytest.raises(NotInForce, match="1997-08-04"):
        instructing.current()["faa"].on("hours-in-24", FROM - dt.timedelta(days=1))


def test_every_rule_stands_in_it_once_and_the_numbers_in_one_alone():
    rules = instructing.current()["faa"]
    assert set(rules) == set(instructing.SHAPE.rules)
    assert {name for name, versions in rules.items() if "most" in versions[0].params} == {"hours-in-24"}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        pytest.param(("most: 8 h", "most: 8 NM"), "most: ", id="an amount that is no time"),
        pytest.param(("most: 8 h\n", "\n"), "needs 'most'", id="no amount"),
        pytest.param(
            ("id: authorized", "id: authorised"), "there is no rule 'authorised'", id="a rule nobody asks"
        ),
        pytest.param(
            ("id: authorized", "id: not-oneself"),
            "the rule 'authorized' is missing",
            id="a missing rule",
        ),
        pytest.param(("id: authorized", "id: not-oneself"), "two of not-oneself", id="a rule twice"),
        pytest.param(
            ("verified: read", "verified: seen"), "'seen' is not one of", id="a word for how it was checked"
        ),
        pytest.param(
            ("until: 2024-11-30", "until: 2024-11-29"), "none is in force on 2024-11-30", id="a gap"
        ),
        pytest.param(("authority: faa", "authority: easa"), "make them agree", id="another authority"),
        pytest.param(("says: Training", "tells: Training"), "'tells'", id="an unknown key"),
    ],
)
def test_a_fault_is_told_with_file_and_line(tmp_path: Path, change, told):
    assert change[0] in WHOLE
    (tmp_path / "faa.yaml").write_text(WHOLE.replace(*change, 1), encoding="utf-8")
    with pytest.raises(RuleDataError) as refused:
        instructing.SHAPE.load(tmp_path)
    assert any(told in str(fault) for fault in refused.value.errors)
    assert all(fault.place.startswith("faa.yaml") for fault in refused.value.errors)
