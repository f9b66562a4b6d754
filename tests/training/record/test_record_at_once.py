"""Several people at one record at the same time: changes come one after the other, readers see one state."""

import datetime as dt
import threading

import pytest
from django.db import connection, connections

from syllabus.engine.record import record as engine
from tests.support import factories
from training import models, record


def with_tests(*names: str) -> engine.Record:
    day = dt.date(2026, 3, 1)
    return engine.Record(
        student=engine.Student("Sam Example"),
        tests=tuple(engine.Test(name, "pre-solo-knowledge", day, "pass") for name in names),
    )


@pytest.mark.django_db(transaction=True)
def test_replacements_at_once_leave_one_whole_record_and_every_change():
    student = factories.student(name="Sam Example", birth_date=None)
    wanted = [with_tests(*(f"t{number}-{entry}" for entry in range(5))) for number in range(6)]
    ready, failures = threading.Barrier(len(wanted)), []

    def replace(found: engine.Record) -> None:
        try:
            own = models.Student.objects.get(pk=student.pk)
            ready.wait(timeout=10)
            record.store(own, found, by=None, at=dt.datetime.now(dt.UTC))
        except Exception as failure:
            failures.append(failure)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=replace, args=[each]) for each in wanted]
    for each in threads:
        each.start()
    for each in threads:
        each.join(timeout=60)

    assert failures == []
    assert record.of(student) in wanted
    changes = list(models.RecordChange.objects.filter(student=student).order_by("pk"))
    assert len(changes) == len(wanted)
    # A chain: what one change left is what the next one found.
    assert [each.before for each in changes[1:]] == [each.after for each in changes[:-1]]
    assert changes[-1].after == record.fingerprint(record.of(student))
    assert connection.in_atomic_block is False


def with_landings(number: int) -> engine.Record:
    """Landings and a certificate, first and last of what a reading asks for, that must be of one state."""
    day = dt.date(2026, 3, 1)
    return engine.Record(
        student=engine.Student("Sam Example"),
        certificates=(engine.Certificate("c1", "student", day + dt.timedelta(days=number)),),
        flights=(engine.Flight("f1", day, landings=(engine.Landings(None, number, number),)),),
    )


@pytest.mark.django_db(transaction=True)
def test_readers_see_one_state_while_a_writer_writes():
    student = factories.student(name="Sam Example", birth_date=None)
    states = [with_landings(number) for number in range(2)]
    record.store(student, states[0], by=None, at=factories.NOON)
    done, failures, seen = threading.Event(), [], []

    def write() -> None:
        try:
            own = models.Student.objects.get(pk=student.pk)
            for number in range(1, 40):
                record.store(own, states[number % 2], by=None, at=dt.datetime.now(dt.UTC))
        except Exception as failure:
            failures.append(failure)
        finally:
            done.set()
            connections.close_all()

    writer = threading.Thread(target=write)
    writer.start()
    while not done.is_set() or not seen:
        seen.append(record.of(models.Student.objects.get(pk=student.pk)))
    writer.join(timeout=60)

    assert failures == []
    assert all(found in states for found in seen)
