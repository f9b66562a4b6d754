"""How long records are kept: each number with its published source, and faults of the data by their place."""

from __future__ import annotations

import datetime as dt

import pytest

from syllabus.engine.errors import RuleDataError
from syllabus.law import retention

TODAY = dt.date(2026, 11, 25)
WHOLE = (retention.SHAPE.home / "faa.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("counts_from", "years", "section"),
    [
        # eCFR text, currency April and June 2026: "at least 3 years".
        pytest.param("endorsement", 3, "14 CFR 61.189(c)", id="an instructor's endorsements: 61.189(c)"),
        pytest.param("test", 3, "14 CFR 61.189(c)", id="tests endorsed for: 61.189(c)"),
        # Text checked against the eCFR in April and June 2026: "at least 1 year".
        pytest.param(
            "end-of-training", 1, "14 CFR 141.101(d)", id="a certificated school's record: 141.101(d)"
        ),
    ],
)
def test_each_number_is_that_of_its_source(counts_from, years, section) -> None:
    (rule,) = [each for each in retention.on(TODAY) if each.params["counts_from"] == counts_from]
    assert (rule.params["years"], rule.cite.section, rule.verified) == (years, section, "read")


@pytest.mark.parametrize(
    ("day", "until"),
    [
        pytest.param(dt.date(2026, 3, 3), dt.date(2029, 3, 3), id="three years to the day"),
        pytest.param(dt.date(2024, 2, 29), dt.date(2027, 2, 28), id="a leap day is held back"),
    ],
)
def test_the_last_day_is_the_same_day_years_on(day, until) -> None:
    rule = next(each for each in retention.on(TODAY) if each.params["years"] == 3)
    assert retention.keep_until(rule, day) == until


def test_before_the_first_day_no_rule_is_in_force() -> None:
    assert retention.on(dt.date(1997, 8, 3)) == []
    assert len(retention.on(dt.date(1997, 8, 4))) == 3


@pytest.mark.parametrize(
    ("day", "years"),
    [
        # 89 FR 35580 puts the record of citizenship into 49 CFR 1552.15(c) from 30 July 2024 on.
        pytest.param(dt.date(2024, 7, 29), [], id="the day before the section"),
        pytest.param(dt.date(2024, 7, 30), [5], id="its first day; the years are from memory"),
    ],
)
def test_the_record_of_citizenship(day, years) -> None:
    found = [each for each in retention.on(day) if each.params["counts_from"] == "citizenship"]
    assert [each.params["years"] for each in found] == years
    assert all((each.cite.section, each.verified) == ("49 CFR 1552.15(c)", "memory") for each in found)


@pytest.mark.parametrize(
    ("part_141", "binds"),
    [
        pytest.param(True, True, id="a certificated school"),
        pytest.param(None, True, id="a school of which nobody recorded it"),
        pytest.param(False, False, id="a school that is not certificated"),
    ],
)
def test_the_rules_of_part_141_bind_certificated_schools(part_141, binds) -> None:
    bound = {each.id for each in retention.on(TODAY) if retention.binds(each, part_141)}
    assert ("school-training-record" in bound) is binds
    assert {"instructor-record-endorsements", "instructor-record-tests", "citizenship-record"} <= bound


@pytest.mark.parametrize(
    ("change", "place"),
    [
        pytest.param(("years: 3", "years: 0"), "0 years", id="no time at all"),
        pytest.param(
            ("counts_from: test", "counts_from: tests"), "'tests' is not one of", id="an unknown day"
        ),
        pytest.param(("verified: read", "verified: seen"), "'seen' is not one of", id="an unknown status"),
        pytest.param(("        years: 3\n", "        yeers: 3\n"), "yeers", id="an unknown key"),
        pytest.param(
            ("certificated_only: true", "certificated_only: part-61"),
            "'part-61' is neither true nor false",
            id="which schools",
        ),
    ],
)
def test_a_fault_of_the_data_is_named(tmp_path, change, place) -> None:
    (tmp_path / "faa.yaml").write_text(WHOLE.replace(*change, 1), encoding="utf-8")
    with pytest.raises(RuleDataError, match=r"faa\.yaml:\d+") as told:
        retention.SHAPE.load(tmp_path)
    assert place in str(told.value)
