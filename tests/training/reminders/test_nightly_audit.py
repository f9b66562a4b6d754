"""Every night each school is audited by the sweep; a failure is one school's alone, and seen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import pytest

from syllabus.engine.record import record as engine
from tests.support import factories
from tests.support.cast import Cast
from tests.support.reminding import at, sweep
from training import models
from training.reports import audit as reports
from training.services.audit import findings
from training.services.operations import metrics
from training.services.reminders import audits
from training.services.sweep import Swept

FLOWN = engine.Flight(
    id="f1", date=factories.NOON.date(), aircraft=engine.Aircraft("N00XY", "C172"), times={"solo": 1}
)


def sweep_and_audit(when: str, **more: Any) -> Swept:
    return sweep(when, audits=True, **more)


@pytest.fixture
def school(people: Cast) -> models.School:
    """Sam flew alone without an endorsement, in the only school that is not empty."""
    factories.recorded(people.sam, flights=(FLOWN,))
    return people.school


def runs(school: models.School) -> list[dt.date]:
    return list(models.AuditRun.objects.filter(school=school).order_by("pk").values_list("on", flat=True))


def breaking(monkeypatch: pytest.MonkeyPatch, slug: str) -> None:
    told = reports.by_student

    def broken(school: models.School, *given: Any, **more: Any) -> Iterator[Any]:
        if school.slug == slug:
            raise ArithmeticError("no such day")
        return told(school, *given, **more)

    monkeypatch.setattr(reports, "by_student", broken)


@pytest.mark.any_database  # others here and test_search make these queries on SQLite
def test_a_school_is_audited_once_a_day_from_its_own_midnight_on(school: models.School) -> None:
    sweep_and_audit("2026-04-18 14:00")
    sweep_and_audit("2026-04-18 14:01")
    sweep_and_audit("2026-04-19 04:59")  # not midnight yet in Chicago
    assert runs(school) == [dt.date(2026, 4, 18)]
    sweep_and_audit("2026-04-19 05:00")
    assert runs(school) == [dt.date(2026, 4, 18), dt.date(2026, 4, 19)]


def test_what_it_finds_is_kept_as_the_command_keeps_it_and_no_reading_is_noted(school: models.School) -> None:
    read = models.AccessLog.objects.count()
    sweep_and_audit("2026-04-18 14:00")
    kept = {(each.key, each.digest): each for each in models.Finding.objects.filter(school=school)}
    assert {each.kind for each in kept.values()} == {"solo-first", "entry-incomplete"}
    assert models.AccessLog.objects.count() == read

    then = at("2026-04-18 15:00")
    done = findings.recompute(school, school.day(then), at=then, by=None, via="command")
    assert (done.new, done.returned, done.gone) == (0, 0, 0)
    assert {(each.key, each.digest) for each in done.standing} == set(kept)
    assert {each.first_seen for each in models.Finding.objects.all()} == {at("2026-04-18 14:00")}


def test_a_finding_that_is_mended_is_gone_the_next_night(school: models.School, people: Cast) -> None:
    sweep_and_audit("2026-04-18 14:00")
    factories.recorded(people.sam, flights=())
    sweep_and_audit("2026-04-19 14:00")
    assert {each.gone_at for each in models.Finding.objects.filter(kind="entry-incomplete")} == {
        at("2026-04-19 14:00")
    }


def test_a_failure_is_one_schools_alone_is_seen_and_is_tried_thrice_a_day(
    school: models.School, people: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = factories.school(slug="hill")
    with monkeypatch.context() as broken:
        breaking(broken, "lakeside")
        first = sweep_and_audit("2026-04-18 14:00")
        rest = [sweep_and_audit(f"2026-04-18 14:0{minute}") for minute in range(1, 5)]

    assert (first.audited, first.not_audited) == (models.School.objects.count() - 1, 1)
    assert [each.not_audited for each in rest] == [1, 1, 0, 0]
    assert "1 audits failed" in str(first)
    assert (runs(school), runs(other)) == ([], [dt.date(2026, 4, 18)])
    night = models.NightlyAudit.objects.get(school=school)
    assert (night.tries, night.done, night.fault) == (3, False, "ArithmeticError: no such day")
    assert metrics.FIGURES["nightly_audits"].read(at("2026-04-18 14:05")) == {
        "audited": models.School.objects.count() - 1,
        "failed": 1,
    }

    sweep_and_audit("2026-04-19 14:00")
    night.refresh_from_db()
    assert (night.tries, night.done, night.fault) == (1, True, "")
    assert runs(school) == [dt.date(2026, 4, 19)]


def test_one_that_does_not_fit_into_a_sweep_keeps_nothing_and_says_so(school: models.School) -> None:
    then = at("2026-04-18 14:00")
    assert audits.run(school, then, until=0) is False
    assert not models.Finding.objects.exists()
    assert "run manage.py audit, which has no time limit" in models.NightlyAudit.objects.get().fault


def test_without_time_left_none_is_begun(school: models.School) -> None:
    done = sweep_and_audit("2026-04-18 14:00", seconds=0)
    assert (done.audited, done.unfinished) == (0, True)
    assert not models.NightlyAudit.objects.exists()
