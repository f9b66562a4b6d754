"""Tasks: the beat reaches the sweep, and a broker that is away or silent holds nobody up."""

from __future__ import annotations

import contextlib
import os
import pathlib
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest
from celery import Celery
from django.db import connection
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from tests.support import cast, lessons, reminding, services
from tests.support.cast import Cast
from tests.training.web.test_pages import text_of
from training import models, tasks
from training.config.celery import app
from training.services import sweep as sweeping
from training.services.operations import heartbeats
from training.services.reminders import failures, standings

#: Seconds in which a sign-off is answered, whatever the broker does.
AT_MOST = 1.0


@pytest.fixture(params=["refusing", "silent"])
def broker(request: pytest.FixtureRequest, settings) -> Iterator[str]:
    """The address of a broker that refuses, or takes connections and never says a word."""
    with socket.socket() as silent:
        if request.param == "silent":
            silent.bind(("127.0.0.1", 0))
            silent.listen(50)
            port = silent.getsockname()[1]
        else:
            port = services.free_port()
        settings.CELERY_BROKER_URL = settings.REDIS_URL = f"redis://127.0.0.1:{port}/0"
        yield settings.CELERY_BROKER_URL


@pytest.mark.django_db
def test_a_sign_off_does_not_wait_for_the_broker(people: Cast, broker: str) -> None:
    people.ida.set_password("a fine day for it")
    people.ida.save()
    client = APIClient()
    client.force_login(people.ida, backend="django.contrib.auth.backends.ModelBackend")
    lesson = lessons.draft(people)
    body = {"content_hash": lesson.content_hash, "confirm_password": "a fine day for it"}
    client.get(
        f"/api/v1/students/{people.sam.ref}/lesson-records"
    )  # the program is read at its first request
    began = time.monotonic()
    answer = client.post(
        f"/api/v1/students/{people.sam.ref}/lesson-records/{lesson.pk}/sign", body, format="json"
    )
    assert answer.status_code == 200, answer.content
    assert time.monotonic() - began < AT_MOST
    assert models.SignOff.objects.filter(lesson=lesson).exists()


@pytest.mark.parametrize("broker", ["refusing"], indirect=True)
def test_ringing_a_broker_that_refuses_gives_up_at_once(broker: str) -> None:
    ringing = Celery("ringing")
    ringing.config_from_object("django.conf:settings", namespace="CELERY")
    began = time.monotonic()
    with pytest.raises(Exception, match="refused"):
        ringing.send_task("training.sweep")
    assert time.monotonic() - began < AT_MOST


def test_the_beat_rings_the_sweep_every_minute() -> None:
    entry = app.conf.beat_schedule["sweep"]
    assert entry["task"] == tasks.sweep.name
    assert entry["schedule"].is_due(app.now()).next <= 60
    assert entry["options"]["expires"] < 60
    assert app.conf.timezone == "UTC"


@pytest.fixture
def committed(transactional_db: None) -> Iterator[Cast]:
    yield cast.cast()
    lessons.take_out()


@contextlib.contextmanager
def poisoned(poison: str, redis_url: str, log: pathlib.Path) -> Iterator[Celery]:
    """A real worker of one process with that poison; gives what rings it."""
    before, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    command = [sys.executable, "-m", "celery", "--app", "tests.support.poisoned", "worker"]
    with open(log, "wb") as out:
        worker = subprocess.Popen(
            [*command, "--concurrency", "1", "--loglevel", "ERROR"],
            cwd=pathlib.Path(__file__).resolve().parents[3],
            env={
                **os.environ,
                "DATABASE_URL": f"{before}/{connection.settings_dict['NAME']}",
                "REDIS_URL": redis_url,
                "POISON": poison,
            },
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            preexec_fn=services.die_with_parent(signal.SIGKILL),
        )
    try:
        yield Celery("ringing", broker=redis_url)
    finally:
        os.killpg(worker.pid, signal.SIGKILL)
        worker.wait(30)


@pytest.mark.reliability
def test_a_record_that_ends_its_worker_is_left_after_its_tries_and_seen(
    committed: Cast, redis_url: str, tmp_path: pathlib.Path
) -> None:
    """A real worker, whose process ends at this one record; all others are worked out meanwhile."""
    bad = reminding.sam(committed, reminding.solo("2026-02-01"))
    deadline = time.monotonic() + 120
    log = tmp_path / "worker.log"
    with poisoned(str(bad.pk), redis_url, log) as ringing:
        while not (parked := standings.parked()):
            assert time.monotonic() < deadline, log.read_text()
            ringing.send_task("training.sweep", expires=55)
            time.sleep(3)
    assert [(each.student_id, each.attempts) for each in parked] == [(bad.pk, standings.MOST_ATTEMPTS)]
    assert [each["student"]["name"] for each in failures.records(committed.school)] == ["Sam Example"]
    told = sweeping.sweep()  # another process goes on beside it, and leaves it as it is
    assert (told.worked_out, told.faults) == (0, [])
    client = Client()
    client.force_login(committed.ada, backend="django.contrib.auth.backends.ModelBackend")
    page = text_of(client.get("/reminders/ahead/"))
    assert "Records with errors Sam Example: every try ended its process" in page
    figures = client.get("/metrics").content.decode()
    assert 'training_records{state="given_up"} 1.0' in figures
    assert 'training_records{state="waiting"} 0.0' in figures
    assert models.Standing.objects.filter(student=committed.otto).exists()


@pytest.mark.django_db
def test_the_task_sweeps_and_leaves_its_tick() -> None:
    tasks.sweep()
    assert models.Heartbeat.objects.get(name=heartbeats.SWEEP)


@pytest.mark.reliability
def test_a_sweep_that_ends_its_worker_each_time_is_begun_three_times_and_missed(
    committed: Cast, redis_url: str, tmp_path: pathlib.Path
) -> None:
    """A real worker again: it begins one by itself when it is ready, and what ended it goes no further."""
    noted, log = tmp_path / "noted", tmp_path / "worker.log"
    deadline = time.monotonic() + 120
    with poisoned(str(noted), redis_url, log):
        while begun(noted) < 3:
            assert time.monotonic() < deadline, log.read_text()
            time.sleep(0.5)
        time.sleep(10)  # five times as long as between two tries
        assert begun(noted) == 3
    assert [str(each.name) for each in heartbeats.late(timezone.now())] == [heartbeats.SWEEP]
    assert Client().get("/readyz").status_code == 503


def begun(noted: pathlib.Path) -> int:
    return len(noted.read_text(encoding="ascii").splitlines()) if noted.exists() else 0


def test_a_task_that_its_worker_does_not_outlive_is_begun_three_times_at_most() -> None:
    assert tasks.sweep.max_retries == 2
    assert tasks.sweep.default_retry_delay == 1
    assert app.conf.task_acks_late
    assert app.conf.task_reject_on_worker_lost
    assert app.conf.task_retry_on_worker_lost
    assert app.conf.broker_transport_options["visibility_timeout"] > 2 * app.conf.task_time_limit - 1
