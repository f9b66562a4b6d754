"""An instructor's own record: results, first attempts, and how long each line is kept."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from syllabus.engine.record import record as engine
from tests.support import audits, factories
from tests.support.cast import Cast
from tests.training.reports.test_audit import ON, D, evening, stored
from training import models
from training.reports import own_record

pytestmark = pytest.mark.django_db
IDA = engine.Instructor("Ida Example", "0000001CFI")


def endorsed(kind: str, given: dt.date, by: engine.Instructor = IDA, **more: Any) -> engine.Endorsement:
    return engine.Endorsement(f"{kind}-{given}", kind, given, by, **more)


def test_the_own_record_gives_results_and_first_attempts(people: Cast) -> None:
    stored(
        people,
        endorsements=(
            endorsed("solo-90-day", D(2025, 1, 10), aircraft_model="C172"),
            endorsed("practical-test", D(2026, 1, 10)),
            endorsed("practical-test", D(2026, 3, 10)),
            endorsed("knowledge-test", D(2026, 1, 5)),
        ),
        tests=(
            engine.Test("t1", "practical:private-airplane", D(2026, 1, 12), "fail"),
            engine.Test("t2", "practical:private-airplane", D(2026, 3, 12), "pass"),
        ),
    )
    role = models.Role.objects.get(pk=audits.idas_role(people))
    kept = own_record.own_record(role, D(2026, 3, 31))
    told = [(line.kind, line.result and (line.result.result, line.first_attempt)) for line in kept.lines]
    assert told == [
        ("practical-test", ("pass", False)),
        ("practical-test", ("fail", True)),
        ("knowledge-test", None),
        ("solo-90-day", None),
    ]
    assert [line.missing for line in kept.lines] == [False, False, False, False]
    assert (kept.practical.applicants, kept.practical.passed, kept.practical.enough) == (1, 0, False)
    # 61.189(c): three years, of a test from its result where that is later.
    assert [line.keep_until for line in kept.lines] == [
        D(2029, 3, 12), D(2029, 1, 12), D(2029, 1, 5), D(2028, 1, 10),
    ]  # fmt: skip
    later = own_record.own_record(role, D(2026, 4, 1))
    assert [line.missing for line in later.lines] == [False, False, True, False]


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
@pytest.mark.parametrize(
    ("passed", "failed", "enough"),
    [
        pytest.param(4, 1, True, id="four of five, just 80 %"),
        pytest.param(4, 0, False, id="four applicants are too few"),
        pytest.param(3, 2, False, id="three of five"),
        pytest.param(5, 2, False, id="five of seven, 71 %"),
    ],
)
def test_first_attempts_as_the_rule_counts_them(people: Cast, passed: int, failed: int, enough: bool) -> None:
    for number in range(passed + failed):
        student = factories.student(people.school)
        result = "pass" if number < passed else "fail"
        test = engine.Test("t", "practical:private-airplane", D(2026, 5, 2), result)
        given = endorsed("practical-test", D(2026, 5, 1))
        factories.attested(
            student,
            engine.Record(
                engine.Student(student.name, student.birth_date), tests=(test,), endorsements=(given,)
            ),
            at=evening(ON),
        )
    role = models.Role.objects.get(pk=audits.idas_role(people))
    assert own_record.own_record(role, ON).practical.enough is enough
    # Of the window of 24 calendar months the test has gone with the end of May 2028.
    assert own_record.own_record(role, D(2028, 5, 31)).practical.applicants == passed + failed
    assert own_record.own_record(role, D(2028, 6, 1)).practical.applicants == 0
