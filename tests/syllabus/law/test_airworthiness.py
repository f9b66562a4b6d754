"""What of an aircraft ends on a day: every life with its citation, the days it gives, and every fault."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from syllabus.engine.errors import NotInForce, RuleDataError
from syllabus.engine.time.units import HOUR
from syllabus.law import airworthiness

WHOLE = (airworthiness.SHAPE.home / "faa.yaml").read_text(encoding="utf-8")
TODAY = dt.date(2026, 11, 25)


@pytest.mark.parametrize(
    ("kind", "life", "section", "verified"),
    [
        # An article of November 2002 quotes 91.409(a): "within the preceding 12 calendar months".
        pytest.param(
            "annual-inspection", "12 calendar month", "14 CFR 91.409(a)", "second-hand", id="the annual"
        ),
        # Code of Federal Regulations, 1 January 2024: "within the preceding 24 calendar months".
        pytest.param(
            "altimeter-and-static", "24 calendar month", "14 CFR 91.411(a)", "read", id="the altimeter test"
        ),
        # Code of Federal Regulations, 1 January 2001: "within the preceding 24 calendar months".
        pytest.param(
            "transponder", "24 calendar month", "14 CFR 91.413(a)", "read", id="the transponder test"
        ),
        # Accounts of 91.207(d): "within 12 calendar months after the last inspection".
        pytest.param(
            "elt-inspection", "12 calendar month", "14 CFR 91.207(d)", "second-hand", id="the ELT inspection"
        ),
        # A copy of 91.207(c) of 2019: half of the useful life, which the manufacturer establishes.
        pytest.param("elt-battery", "None", "14 CFR 91.207(c)", "second-hand", id="the battery, as marked"),
        # Accounts of 87 FR 71210: seven years after the last day of the month of issue.
        pytest.param(
            "registration", "84 calendar month", "14 CFR 47.40", "second-hand", id="the registration"
        ),
    ],
)
def test_every_life_has_its_citation_and_says_how_its_text_is_known(kind, life, section, verified):
    rule = airworthiness.current().on(kind, TODAY)
    assert (str(rule.get("life")), rule.cite.section, rule.verified) == (life, section, verified)
    assert rule.cite.source not in ("", "none")


def test_an_inspection_by_hours_in_service_is_cited_and_ends_on_no_day():
    # The review of November 2026 quotes 91.409(b): "within the preceding 100 hours".
    [rule] = airworthiness.by_hours().in_force(TODAY)
    assert (rule.params["in_service"], rule.cite.section) == (100 * HOUR, "14 CFR 91.409(b)")
    assert rule.verified == "second-hand"
    assert rule.id not in airworthiness.current()


def test_these_are_all_and_none_is_counted_in_hours():
    kinds = airworthiness.current()
    assert len(kinds) == 6
    lives = [life for versions in kinds.values() for version in versions if (life := version.get("life"))]
    assert {life.unit for life in lives} == {"calendar month"}


@pytest.mark.parametrize(
    ("kind", "done", "expires", "last"),
    [
        pytest.param(
            "annual-inspection", "2026-03-01", None, "2027-03-31", id="done on the first of a month"
        ),
        pytest.param("annual-inspection", "2026-03-31", None, "2027-03-31", id="done on the last of it"),
        pytest.param("annual-inspection", "2026-04-01", None, "2027-04-30", id="done a day later"),
        pytest.param("annual-inspection", "2027-02-28", None, "2028-02-29", id="through a leap February"),
        pytest.param("annual-inspection", "2028-02-29", None, "2029-02-28", id="from a leap February"),
        pytest.param("transponder", "2026-02-28", None, "2028-02-29", id="24 months into a leap February"),
        pytest.param(
            "altimeter-and-static", "2026-12-31", None, "2028-12-31", id="24 months from a year's end"
        ),
        pytest.param("registration", "2023-02-10", None, "2030-02-28", id="seven years to a month's end"),
        pytest.param("annual-inspection", "2026-03-10", "2026-09-15", "2026-09-15", id="shortened"),
        pytest.param(
            "annual-inspection", "2026-03-10", "2027-03-31", "2027-03-31", id="the same day written"
        ),
        pytest.param("annual-inspection", "2026-03-10", "2027-04-01", "2027-03-31", id="never made longer"),
        pytest.param("elt-battery", "2026-03-10", "2028-02-29", "2028-02-29", id="as marked on the battery"),
    ],
)
def test_the_last_day(kind, done, expires, last):
    rule = airworthiness.current().on(kind, TODAY)
    written = expires and dt.date.fromisoformat(expires)
    assert airworthiness.last_day(rule, dt.date.fromisoformat(done), written) == dt.date.fromisoformat(last)


@pytest.mark.parametrize(
    ("on", "done", "last"),
    [
        # 75 FR 41968: three years from the month of issue, from 1 October 2010 on.
        pytest.param("2010-10-01", "2010-10-01", "2013-10-31", id="the first day of three years"),
        pytest.param(
            "2023-01-22", "2020-02-10", "2023-02-28", id="the last day on which three years are the rule"
        ),
        # 87 FR 71210: seven years, from 23 January 2023 on.
        pytest.param("2023-01-23", "2020-02-10", "2027-02-28", id="the first day of seven years"),
    ],
)
def test_a_registration_lives_by_the_rule_of_the_day_asked_about(on, done, last):
    rule = airworthiness.current().on("registration", dt.date.fromisoformat(on))
    assert rule.verified == "second-hand"
    assert airworthiness.last_day(rule, dt.date.fromisoformat(done), None) == dt.date.fromisoformat(last)


def test_before_october_2010_no_rule_on_registrations_is_known():
    with pytest.raises(NotInForce, match="2010-10-01"):
        airworthiness.current().on("registration", dt.date(2010, 9, 30))


def test_without_a_life_and_a_day_written_on_it_there_is_no_last_day():
    assert airworthiness.last_day(airworthiness.current().on("elt-battery", TODAY), TODAY, None) is None


def test_a_day_before_the_first_rule_is_refused():
    with pytest.raises(NotInForce, match="1990-08-18"):
        airworthiness.current().on("annual-inspection", dt.date(1990, 8, 17))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        pytest.param(
            ("life: 12 calendar month", "life: 12 moons"), "'12 moons' is not a length", id="a life"
        ),
        pytest.param(("life: 12", "lives: 12"), "unknown key 'lives'", id="an unknown key"),
        pytest.param(("id: transponder", "id: registration"), "two of registration", id="a kind twice"),
        pytest.param(("verified: read", "verified: heard"), "'heard' is not one of", id="how it was checked"),
        pytest.param(("authority: faa", "authority: easa"), "make them agree", id="another authority"),
        pytest.param(("title: Transponder test", "title: ''"), "title: '' is not text", id="no title"),
    ],
)
def test_a_fault_is_told_with_file_and_line(tmp_path: Path, change, told):
    assert change[0] in WHOLE
    (tmp_path / "faa.yaml").write_text(WHOLE.replace(*change, 1), encoding="utf-8")
    with pytest.raises(RuleDataError) as refused:
        airworthiness.SHAPE.load(tmp_path)
    assert any(told in str(fault) for fault in refused.value.errors)
    assert all(fault.place.startswith("faa.yaml:") for fault in refused.value.errors)
