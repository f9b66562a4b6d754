"""For machines that watch: alive, ready, figures; and who may read which."""

from __future__ import annotations

import datetime as dt
import re

import psycopg
import pytest
from django.core import checks
from django.core.management import call_command
from django.db import DatabaseError, OperationalError, connection
from django.test import Client

from tests.support import factories
from tests.support.cast import Cast
from training.models import Delivery, Heartbeat, Stale
from training.services.operations import heartbeats, metrics, readiness
from training.services.signing import seals
from training.triggers import every, sealing

TOKEN = "a-token-of-some-length-here"
BEARER = {"Authorization": f"Bearer {TOKEN}"}
NOW = dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC)


@pytest.fixture
def operator(settings) -> dict[str, str]:
    settings.METRICS_TOKEN = TOKEN
    return BEARER


@pytest.fixture
def ticking(db: None) -> None:
    heartbeats.mark(heartbeats.SWEEP, dt.datetime.now(dt.UTC))


def test_alive_asks_no_database(client: Client) -> None:
    """Without the mark, a query of a test is refused."""
    answer = client.get("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"alive": True})
    assert "no-store" in answer["Cache-Control"]


def test_ready_while_the_sweep_runs(client: Client, ticking: None, operator: dict[str, str]) -> None:
    answer = client.get("/readyz", headers=operator)
    assert answer.status_code == 200
    assert answer.json() == {
        "ready": True,
        "checks": {
            "database": "ok",
            "migrations": "ok",
            "triggers": "ok",
            "clock": "ok",
            "heartbeats": "ok",
            "writing": "ok",
        },
    }


def no_tick() -> str:
    Heartbeat.objects.all().delete()
    return "sweep never ran"


def an_old_tick() -> str:
    heartbeats.mark(heartbeats.SWEEP, NOW)
    return "sweep last ran 2026-11-25 12:00:00 UTC"


def a_migration_undone() -> str:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'training' AND name LIKE '0007%'")
    return "1 to apply, first training.0007_ticks: run manage.py migrate"


def no_seal_triggers() -> str:
    sealing.TRIGGERS.remove(connection)
    lost = ", ".join(sorted(sealing.TRIGGERS.on(connection)))
    return f"{len(sealing.TRIGGERS.on(connection))} missing: {lost}. {every.REPAIR}"


def another_ones_version_trigger() -> str:
    name = "training_flight_version_insert"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"ALTER TABLE training_flight DISABLE TRIGGER {name}")
        else:
            cursor.execute(f"DROP TRIGGER {name}")
            cursor.execute(f"CREATE TRIGGER {name} AFTER INSERT ON training_flight BEGIN SELECT 1; END")
    return f"1 missing: {name}. {every.REPAIR}"


@pytest.mark.parametrize(
    ("break_it", "name"),
    [
        pytest.param(no_tick, "heartbeats", id="the sweep never ran"),
        pytest.param(an_old_tick, "heartbeats", id="the sweep ended long ago"),
        pytest.param(a_migration_undone, "migrations", id="a migration is missing"),
        pytest.param(no_seal_triggers, "triggers", id="nothing keeps sealed rows"),
        pytest.param(another_ones_version_trigger, "triggers", id="a trigger stands and does nothing"),
    ],
)
def test_not_ready_and_an_operator_is_told_why(
    client: Client, ticking: None, operator: dict[str, str], break_it, name: str
) -> None:
    fault = break_it()
    told = client.get("/readyz", headers=operator)
    assert told.status_code == 503
    assert {key: value for key, value in told.json()["checks"].items() if value != "ok"} == {name: fault}
    outsider = client.get("/readyz")
    assert (outsider.status_code, outsider.json()) == (503, {"ready": False})


def test_not_ready_while_the_database_is_away(
    client: Client, db: None, operator: dict[str, str], monkeypatch
) -> None:
    def away(at: dt.datetime) -> str:
        raise DatabaseError("connection to server at 10.0.0.7, user training, failed")

    monkeypatch.setitem(readiness._CHECKS, "database", away)
    monkeypatch.setattr(connection, "close", lambda: None)  # it is the test's own
    answer = client.get("/readyz", headers=operator)
    assert answer.status_code == 503
    assert answer.json()["checks"] == {"database": "unknown (DatabaseError)"}


def test_not_ready_where_the_database_takes_no_writes(
    client: Client, ticking: None, operator: dict[str, str], monkeypatch
) -> None:
    """As a standby, or a primary that was made read-only: every question is answered."""
    monkeypatch.setattr(connection, "close", lambda: None)
    on_postgresql = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL transaction_read_only = on" if on_postgresql else "PRAGMA query_only = ON")
    try:
        checks = client.get("/readyz", headers=operator).json()["checks"]
    finally:
        if not on_postgresql:
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA query_only = OFF")
    wrong = {name: fault for name, fault in checks.items() if fault != "ok"}
    assert list(wrong) == ["writing"]
    assert wrong["writing"].startswith("read-only (")


def test_a_probe_leaves_nothing(client: Client, ticking: None) -> None:
    assert client.get("/readyz").status_code == 200
    assert [each.name for each in Heartbeat.objects.all()] == [heartbeats.SWEEP]


def full_disks(client: Client, operator: dict[str, str]) -> float | None:
    text = client.get("/metrics", headers=operator).content.decode()
    return sample(text, "training_database_errors_total", error="disk full")


def test_a_full_disk_has_its_name_in_readiness_and_metrics(
    client: Client, ticking: None, operator: dict[str, str], monkeypatch
) -> None:
    def full(at: dt.datetime) -> str:
        raise OperationalError("could not extend file") from psycopg.errors.DiskFull("could not extend file")

    monkeypatch.setitem(readiness._CHECKS, "writing", full)
    monkeypatch.setattr(connection, "close", lambda: None)
    before = full_disks(client, operator) or 0
    answer = client.get("/readyz", headers=operator)
    assert answer.json()["checks"]["writing"] == "disk full (OperationalError)"
    assert full_disks(client, operator) == before + 1


@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/metrics"])
def test_a_scraper_asks_by_the_address_that_it_has(
    client: Client, ticking: None, operator: dict[str, str], path: str
) -> None:
    asked = {**operator, "Host": "10.42.0.17:8000"}
    assert client.get(path, headers=asked).status_code == 200
    assert client.get("/login/", headers=asked).status_code == 400


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("headers", "address", "https", "token", "open_"),
    [
        pytest.param({}, "127.0.0.1", False, "", True, id="this machine, where nothing stands before us"),
        pytest.param({}, "::1", False, "", True, id="the same by its other address"),
        pytest.param({}, "192.0.2.7", False, "", False, id="another machine"),
        pytest.param({}, "", False, "", False, id="a socket of unknown end"),
        pytest.param(
            {"X-Forwarded-For": "192.0.2.7"}, "127.0.0.1", False, "", False, id="a proxy that says so"
        ),
        pytest.param({}, "127.0.0.1", True, "", False, id="https, so a proxy that does not"),
        pytest.param(BEARER, "192.0.2.7", True, TOKEN, True, id="another machine with the token"),
        pytest.param({}, "127.0.0.1", False, TOKEN, False, id="this machine without the token that there is"),
        pytest.param(
            {"Authorization": f"Bearer {TOKEN}x"}, "127.0.0.1", False, TOKEN, False, id="a wrong token"
        ),
        pytest.param({"Authorization": "Bearer "}, "192.0.2.7", False, "", False, id="an empty one"),
        pytest.param({"Authorization": "Bearer ÿ"}, "192.0.2.7", False, TOKEN, False, id="one beyond ASCII"),
    ],
)
def test_figures_are_open_to_operators_alone(
    client: Client, ticking: None, settings, headers, address: str, https: bool, token: str, open_: bool
) -> None:
    settings.METRICS_TOKEN, settings.HTTPS, settings.BEHIND_OUR_PROXY = token, https, False
    figures_ = client.get("/metrics", headers=headers, REMOTE_ADDR=address)
    assert figures_.status_code == (200 if open_ else 403)
    assert (b"training_" in figures_.content) == open_
    ready = client.get("/readyz", headers=headers, REMOTE_ADDR=address)
    assert ("checks" in ready.json()) == open_


def test_a_declared_proxy_closes_the_door_of_this_machine(client: Client, settings) -> None:
    settings.METRICS_TOKEN, settings.HTTPS, settings.BEHIND_OUR_PROXY = "", False, True
    assert client.get("/metrics").status_code == 403


@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/metrics"])
def test_machines_inside_ask_over_http_and_nobody_posts(client: Client, settings, path: str) -> None:
    settings.SECURE_SSL_REDIRECT = True
    assert client.post(path).status_code == 405
    assert client.get("/login/").status_code == 301  # while this one would be sent to https


def sample(text: str, name: str, **labels: str) -> float | None:
    wanted = ",".join(f'{key}="{value}"' for key, value in labels.items())
    found = re.search(rf"^{name}{re.escape('{' + wanted + '}') if wanted else ''} (\S+)$", text, re.MULTILINE)
    return float(found.group(1)) if found else None


@pytest.mark.any_database  # others here and test_own_minimums make these queries on SQLite
def test_requests_are_counted_by_route_and_never_by_person(
    client: Client, people: Cast, operator: dict[str, str]
) -> None:
    def seen() -> str:
        return client.get("/metrics", headers=operator).content.decode()

    def count(text: str) -> float:
        return sample(text, "training_requests_total", method="GET", route="student", status="200") or 0

    before = seen()
    client.force_login(people.ida)
    for _ in range(3):
        assert client.get(f"/students/{people.sam.ref}/").status_code == 200
    client.get("/nothing/of/the/kind")
    client.generic("BREW", "/")
    text = seen()
    assert count(text) == count(before) + 3
    assert sample(text, "training_request_seconds_count", method="GET", route="student") >= 3
    assert sample(text, "training_requests_total", method="GET", route="nowhere", status="404") >= 1
    assert sample(text, "training_requests_total", method="other", route="home", status="405") >= 1
    assert str(people.sam.ref) not in text
    assert "BREW" not in text


def test_the_sweeps_lag_and_each_ledgers_length(
    client: Client, people: Cast, operator: dict[str, str]
) -> None:
    heartbeats.mark(heartbeats.SWEEP, dt.datetime.now(dt.UTC) - dt.timedelta(seconds=500))
    for number in range(3):
        seals.seal(people.sam, "note", {"number": number}, at=factories.NOON)
    text = client.get("/metrics", headers=operator).content.decode()
    assert 500 <= sample(text, "training_heartbeat_lag_seconds", work="sweep") < 600
    assert sample(text, "training_ledger_entries", school=str(people.school.pk)) == 3
    assert sample(text, "training_database_answers") == 1


def test_e_mails_due_sent_and_failed_and_records_that_wait(
    client: Client, people: Cast, operator: dict[str, str]
) -> None:
    now = dt.datetime.now(dt.UTC)
    hour = dt.timedelta(hours=1)
    states = ["pending", "pending", "pending", "sent", "sent", "failed", "withdrawn"]
    after = [now - hour, now - hour, now + hour, *[now - hour] * 4]
    for number, (state, send_after) in enumerate(zip(states, after, strict=True)):
        Delivery.objects.create(
            school=people.school,
            kind="digest",
            key=str(number),
            user=people.ida,
            send_after=send_after,
            state=state,
            created_at=now - hour,
            sent_at=now if state == "sent" else None,
        )
    Stale.objects.all().delete()
    Stale.objects.create(student_id=people.sam.pk, school=people.school)
    text = client.get("/metrics", headers=operator).content.decode()
    found = {
        state: sample(text, "training_deliveries", state=state)
        for state in ("due", "later", "sent", "failed", "withdrawn")
    }
    assert found == {"due": 2, "later": 1, "sent": 2, "failed": 1, "withdrawn": 1}
    assert 3600 <= sample(text, "training_deliveries_oldest_seconds") < 3700
    assert sample(text, "training_mail_server") == 1
    assert sample(text, "training_records", state="waiting") == 1
    assert sample(text, "training_records", state="given_up") == 0


def test_a_figure_that_fails_costs_the_others_nothing(
    client: Client, ticking: None, operator: dict[str, str], monkeypatch, caplog
) -> None:
    monkeypatch.setattr(metrics, "FIGURES", dict(metrics.FIGURES))
    metrics.figure("broken", "Divides by nothing.")(lambda at: 1 / 0)
    metrics.figure("whole", "Seven.")(lambda at: 7)
    text = client.get("/metrics", headers=operator).content.decode()
    assert sample(text, "training_whole") == 7
    assert "training_broken" not in text
    assert "Metric broken cannot be read" in caplog.text


def test_without_the_database_the_requests_are_still_told(
    client: Client, db: None, operator: dict[str, str], monkeypatch
) -> None:
    def away(at: dt.datetime) -> float:
        raise DatabaseError

    monkeypatch.setattr(metrics, "FIGURES", {"first": metrics.Figure("first", "None.", "", away)})
    monkeypatch.setattr(connection, "close", lambda: None)
    text = client.get("/metrics", headers=operator).content.decode()
    assert sample(text, "training_database_answers") == 0
    assert "training_requests_total" in text


@pytest.mark.parametrize(
    ("name", "label", "told"),
    [
        pytest.param("Reminders", "", "not a metric name", id="capitals"),
        pytest.param("reminders", "by state", "not a metric name", id="a label with a blank"),
        pytest.param("ledger_entries", "", "there is a figure ledger_entries already", id="a name twice"),
    ],
)
def test_a_figure_that_monitoring_could_not_take_is_refused(name: str, label: str, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        metrics.figure(name, "What it is.", label=label)


@pytest.mark.django_db
def test_the_system_check_names_lost_triggers_and_how_to_restore_them() -> None:
    def said() -> list[str]:
        return [each.msg for each in checks.run_checks(tags=["database"], databases=["default"])]

    assert said() == []
    sealing.TRIGGERS.remove(connection)
    assert said() == [
        f"Triggers that protect signed rows are missing: {len(sealing.TRIGGERS.on(connection))} "
        + f"({', '.join(sorted(sealing.TRIGGERS.on(connection)))})."
    ]
    sealing.TRIGGERS.install(connection)
    assert said() == []


def test_the_command_says_the_same_to_a_process_without_a_port(ticking: None, capsys) -> None:
    call_command("ready")
    assert (
        capsys.readouterr().out
        == "database: ok\nmigrations: ok\ntriggers: ok\nclock: ok\nheartbeats: ok\nwriting: ok\n"
    )
    Heartbeat.objects.all().delete()
    with pytest.raises(SystemExit) as ended:
        call_command("ready")
    assert ended.value.code == 1
    assert "heartbeats: sweep never ran" in capsys.readouterr().out
