"""Two people replace one record at the same time: one after the other, and both changes are on record."""

import datetime as dt
import threading

import pytest
from django.db import connection, connections

from syllabus.engine import record as engine
from tests import factories
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
