"""The law as rows: each case of ``tests/cases`` asks the real rulebook one question."""

from collections import Counter

import pytest
from pyproj import Geod

from syllabus.law import rulebook
from tests.support.rows import over_rows
from tests.syllabus.engine.building import HOME, Case, cases, points, read_yaml


@over_rows("case", cases, ids=lambda case: f"{case.requirement or case.milestone}: {case.id}")
def test_the_rulebook_answers_as_the_source_has_it(case: Case) -> None:
    problems = case.problems(rulebook.current())

    assert not problems, f"{case.file} ({case.source}):\n" + "\n".join(problems)


def test_every_case_names_where_its_answer_stands() -> None:
    assert all(case.source.strip() for case in cases())


def test_no_two_cases_are_called_the_same() -> None:
    names = Counter((case.requirement, case.id) for case in cases())

    assert [name for name, times in names.items() if times > 1] == []


def test_every_requirement_has_cases_that_are_met_and_cases_that_are_not() -> None:
    wanted = {
        each.id for milestone in rulebook.current().milestones.values() for each in milestone.requirements
    }

    for answer in (True, False):
        assert wanted == {case.requirement for case in cases() if case.requirement
                          and case.expect.get("met", "unsaid") is answer}  # fmt: skip


@over_rows(("a", "b", "nm"), lambda: read_yaml(HOME / "points.yaml")["distances"])
def test_the_points_of_the_cases_lie_where_their_names_say(a: str, b: str, nm: float) -> None:
    """By a geodesic library other than the engine's."""
    here, there = points()[a], points()[b]
    _, _, metres = Geod(ellps="WGS84").inv(here["lon"], here["lat"], there["lon"], there["lat"])

    assert metres / 1852 == pytest.approx(nm, abs=0.001)
