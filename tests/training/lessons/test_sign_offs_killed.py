"""A process that signs is killed at any moment: what it told is there, once, and the ledger fits the rows."""

from __future__ import annotations

import os
import pathlib
import random
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest
from django.db import connection

from tests.support import cast, factories, lessons
from tests.support.cast import Cast
from tests.support.extent import count
from tests.training.lessons.test_sign_offs import whole
from training import models
from training.ledger import models as ledger
from training.services.lessons import lesson_audit

pytestmark = [pytest.mark.reliability, pytest.mark.django_db(transaction=True)]
LESSONS = count(40, 120)
KILLS = count(2, 4)
SEED = 20261125


@pytest.fixture
def committed(transactional_db: None) -> Iterator[Cast]:
    yield cast.cast()
    lessons.take_out()


def begun(todo: pathlib.Path, done: pathlib.Path) -> subprocess.Popen[bytes]:
    """A process that signs what is in ``todo``, in the database of this test."""
    before, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    name = connection.settings_dict["NAME"]
    return subprocess.Popen(
        [sys.executable, "-m", "tests.support.signing_worker", str(todo), str(done)],
        env={**os.environ, "DATABASE_URL": f"{before}/{name}"},
        cwd=pathlib.Path(__file__).resolve().parents[3],
        stderr=subprocess.PIPE,
    )


def test_what_was_told_before_a_kill_is_there_once(committed: Cast, tmp_path: pathlib.Path) -> None:
    drawn = random.Random(SEED)
    students = [factories.student(committed.school, taught_by=committed.ida) for _ in range(10)]
    drafts = [str(lessons.draft(committed, student=students[number % 10]).pk) for number in range(LESSONS)]
    todo, done = tmp_path / "todo", tmp_path / "done"
    done.touch()
    told: dict[str, set[str]] = {}
    killed = 0
    while len(told) < LESSONS:
        # Those told last are sent again too, as by a program that did not hear the answer.
        wanted = [*list(told)[-3:], *(each for each in drafts if each not in told)]
        todo.write_text("\n".join([str(committed.ida.pk), *wanted]))
        size, deadline = done.stat().st_size, time.monotonic() + 60
        process = begun(todo, done)
        while killed < KILLS and done.stat().st_size == size and process.poll() is None:
            assert time.monotonic() < deadline, "the process signs nothing"
            time.sleep(0.005)
        if killed < KILLS:
            time.sleep(drawn.uniform(0, 0.3))
            process.kill()
            killed += process.wait(30) == -9
        _, faults = process.communicate(timeout=60)
        assert process.returncode in (0, -9), faults.decode()
        told = {}
        for line in done.read_text().splitlines():
            key, *answer = line.split()
            told.setdefault(key, set()).add(" ".join(answer))

    assert killed == KILLS
    assert all(len(answers) == 1 for answers in told.values())
    rows = {
        str(lesson): {f"{pk} {index}"}
        for lesson, pk, index in models.SignOff.objects.values_list("lesson_id", "pk", "ledger_index")
    }
    assert rows == told
    assert models.Flight.objects.count() == ledger.Entry.objects.count() == LESSONS
    assert list(lesson_audit.faults(committed.school)) == []
    assert "WHOLE" in whole()
