"""The sweep by hand, in the server's own process, and what it costs where nothing is due."""

from __future__ import annotations

import datetime as dt
import io
import logging
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
import time_machine
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.support import factories
from tests.support.cast import Cast, cast
from tests.support.reminding import at, on_record, sam, solo, sweep, told
from training import models
from training.management import clock
from training.services import sweep as sweeping
from training.services.operations import demo, heartbeats
from training.services.records import page_cache
from training.services.reminders import audits, standings
from training.services.sweep import Swept

#: 14 days before the last day of a solo endorsement of 1 February; in the afternoon everywhere in America.
THE_DAY = at("2026-04-18 18:00")


def ran(*words: str) -> str:
    out = io.StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.django_db
def test_by_hand_it_is_done_once_and_said(people: Cast) -> None:
    sam(people, solo("2026-02-01"))
    with time_machine.travel(THE_DAY):
        said = ran("send_reminders")
        assert "2 records calculated, 0 standings renewed, 1 reminders made, 2 e-mails sent" in said
        assert "0 reminders made, 0 e-mails sent" in ran("send_reminders")
    assert len(mail.outbox) == 2


@pytest.mark.django_db
def test_a_record_that_was_left_is_named_and_tried_again_when_asked(people: Cast, monkeypatch) -> None:
    sam(people, solo("2026-02-01"))
    with time_machine.travel(THE_DAY):
        models.Stale.objects.filter(student_id=people.sam.pk).update(parked_at=THE_DAY, fault="Oops: no")
        said = ran("send_reminders")
        assert f"failed: student {people.sam.pk} of Lakeside Flying: Oops: no" in said
        assert "2 records calculated" not in said
        assert "1 records calculated" in ran("send_reminders", "--retry")


@pytest.mark.django_db
def test_a_sweep_that_fails_in_part_says_so_does_the_rest_and_leaves_no_tick(
    people: Cast, monkeypatch
) -> None:
    def broken(*_: object) -> None:
        raise ArithmeticError

    monkeypatch.setattr("training.services.reminders.due.make_for_roles", broken)
    sam(people, solo("2026-02-01"))
    with time_machine.travel(THE_DAY), pytest.raises(CommandError, match="Some jobs failed"):
        ran("send_reminders")
    assert len(mail.outbox) == 2
    assert not models.Heartbeat.objects.filter(name=heartbeats.SWEEP).exists()


@pytest.mark.any_database  # others here and test_tasks make these queries on SQLite
@pytest.mark.django_db
def test_the_clock_of_a_single_process_goes_on_after_a_fault(people: Cast, monkeypatch) -> None:
    # The test's own connection stays: the clock closes those of its thread.
    monkeypatch.setattr(clock, "close_old_connections", lambda: None)
    monkeypatch.setattr(clock.connections, "close_all", lambda: None)
    sam(people, solo("2026-02-01"))
    with time_machine.travel(THE_DAY):
        with monkeypatch.context() as broken:
            broken.setattr(clock, "sweep", lambda: 1 / 0)
            clock.tick()
        clock.tick()
    assert len(mail.outbox) == 2
    assert models.Heartbeat.objects.get(name=heartbeats.SWEEP)


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.django_db
def test_it_asks_no_more_where_more_is_stored(people: Cast) -> None:
    """Where nothing is due the same questions are asked, whatever is stored."""

    def asked() -> list[str]:
        sweep("2026-04-01 12:00", audits=True)
        with CaptureQueriesContext(connection) as queries:
            sweep("2026-04-01 12:01", audits=True)
        return [each["sql"] for each in queries]

    few = asked()
    for number in range(12):
        student = factories.student(people.school, taught_by=people.ida)
        on_record(student, endorsements=(solo("2026-03-01", f"e{number}"),))
    assert len(asked()) == len(few)
    assert not any("training_endorsement" in sql for sql in few)


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
@pytest.mark.django_db
def test_a_backlog_is_worked_off_in_parts(people: Cast) -> None:
    for _ in range(4):
        on_record(factories.student(people.school), endorsements=(solo("2026-02-01"),))
    done = sweep("2026-04-18 14:00", seconds=0)
    assert (done.worked_out, done.unfinished) == (0, True)
    assert sweep("2026-04-18 14:00").worked_out == 6
    assert standings.changed(10) == []
    assert len(told(kind="endorsement")) == 4


@pytest.mark.django_db
def test_the_demo_goes_back_to_its_first_day(monkeypatch) -> None:
    assert ran("reset_demo") == "No demo school here. Nothing changed.\n"
    monkeypatch.setenv("DEMO_PASSWORD", "a-fine-day-for-it")
    loaded = demo.load(dt.date(2026, 3, 2), password="x")
    lena = models.Student.objects.get(ref=demo.ref("lena"))
    sweep("2026-03-02 22:00")
    assert models.Reminder.objects.filter(student=lena).exists()
    said = ran("reset_demo")
    assert said == f"{loaded.school.name} was reset, with {len(loaded.students)} students.\n"
    assert not models.Reminder.objects.exists()
    assert models.Stale.objects.count() == len(loaded.students)
    assert models.Student.objects.get(ref=demo.ref("lena")).pk != lena.pk
    monkeypatch.delenv("DEMO_PASSWORD")
    with pytest.raises(CommandError, match="Set DEMO_PASSWORD"):
        ran("reset_demo")


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_sweeps_at_once_log_no_error(
    transactional_db: None, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    people = cast()
    for _ in range(12):
        student = factories.student(people.school, taught_by=people.ida)
        on_record(student, endorsements=(solo("2026-02-01"),))
    monkeypatch.setattr(page_cache, "PAGES", {})
    together = threading.Barrier(2)

    def work(_: int) -> Swept:
        try:
            together.wait(30)
            return sweeping.sweep(now=lambda: THE_DAY)
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        done = list(pool.map(work, range(2)))
    assert [each.faults for each in done] == [[], []]
    assert sum(each.worked_out for each in done) >= 12
    assert [each.not_audited for each in done] == [0, 0]
    assert [each for each in caplog.records if each.levelno >= logging.WARNING] == []
    assert models.Reminder.objects.count() == 12


@pytest.mark.django_db
def test_a_record_that_another_sweep_did_meanwhile_is_no_error(
    people: Cast, caplog: pytest.LogCaptureFixture
) -> None:
    models.Stale.objects.all().delete()
    assert standings.begin(people.sam.pk, THE_DAY) is False
    assert caplog.records == []


@pytest.mark.django_db
def test_an_audit_that_another_sweep_did_meanwhile_is_no_failed_one(people: Cast) -> None:
    models.NightlyAudit.objects.create(school=people.school, on=people.school.day(THE_DAY), done=True)
    assert audits.run(people.school, THE_DAY, 0.0) is None
