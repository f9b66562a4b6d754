"""A clock that is off: nothing is made or sent by it, and what an earlier one dated ahead is repaired."""

from __future__ import annotations

import datetime as dt
import io

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.test import Client

from tests.support import factories
from tests.support.cast import Cast
from tests.support.reminding import on_record, solo, sweep, told
from training import database
from training.ledger.models import Entry
from training.models import AuditRun, Delivery, Heartbeat, Lapse, Notice, Reminder, Standing, StandingChange
from training.services import sweep as sweeping
from training.services.audit import findings
from training.services.operations import clock, heartbeats, inspection
from training.services.signing import seals

pytestmark = pytest.mark.django_db
DAY = dt.timedelta(days=1)
AHEAD = 60 * DAY
DOUBT = clock.doubt


def now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)


@pytest.fixture
def strict(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock is held against the others, as outside the tests."""
    monkeypatch.setattr(clock, "doubt", DOUBT)


@pytest.fixture
def sam(people: Cast) -> Cast:
    """Sam may fly alone for 80 days more, and Ida's recent experience ends in 70."""
    given = people.school.day(now()) - 10 * DAY
    on_record(people.sam, endorsements=(solo(given.isoformat()),))
    sweep(now())
    mail.outbox.clear()
    return people


def due() -> list[tuple[str, dt.datetime | None, int | None]]:
    return list(Lapse.objects.order_by("pk").values_list("what", "due_at", "due_lead"))


@pytest.mark.parametrize("off", [AHEAD, -AHEAD, dt.timedelta(minutes=2)], ids=str)
def test_a_sweep_by_a_clock_that_is_off_does_nothing(
    sam: Cast, strict: None, off: dt.timedelta, caplog: pytest.LogCaptureFixture
) -> None:
    before, last = due(), Heartbeat.objects.get().at
    done = sweeping.sweep(now=lambda: now() + off)
    [fault] = done.faults
    assert fault.startswith("clock: this process's clock is ")
    assert fault.endswith("ahead of the database's" if off > dt.timedelta() else "behind the database's")
    assert "the sweep stops before what was dated ahead" in caplog.text
    assert (due(), Reminder.objects.count(), mail.outbox) == (before, 0, [])
    assert Heartbeat.objects.get().at == last


def test_a_clock_that_jumps_during_a_sweep_stops_it(sam: Cast, strict: None) -> None:
    before, asked = due(), []

    def jumping() -> dt.datetime:
        asked.append(1)
        return now() + (AHEAD if len(asked) > 4 else dt.timedelta())

    assert sweeping.sweep(now=jumping).faults != []
    assert (due(), Reminder.objects.count(), mail.outbox) == (before, 0, [])


def test_a_clock_that_agrees_may_sweep(sam: Cast, strict: None) -> None:
    assert sweeping.sweep(now=lambda: now() + dt.timedelta(seconds=20)).faults == []


def test_after_a_long_break_somebody_has_to_say_that_it_was_one(sam: Cast, strict: None, settings) -> None:
    settings.CLOCK_GAP = 30 * DAY
    heartbeats.mark(heartbeats.SWEEP, now() - 31 * DAY)
    out = io.StringIO()
    with pytest.raises(CommandError, match="Some jobs failed"):
        call_command("send_reminders", stdout=out)
    assert "31 days before this clock" in out.getvalue()
    assert "send_reminders --after-a-break" in out.getvalue()
    call_command("send_reminders", "--after-a-break", stdout=io.StringIO())
    call_command("send_reminders", stdout=io.StringIO())


@pytest.mark.parametrize(("gap", "days"), [(30, 29), (0, 400)])
def test_a_break_that_is_no_jump(sam: Cast, strict: None, settings, gap: int, days: int) -> None:
    settings.CLOCK_GAP = gap * DAY
    heartbeats.mark(heartbeats.SWEEP, now() - days * DAY)
    assert clock.doubt(now()) == ""


def test_what_a_clock_ahead_left_is_repaired_by_the_next_sound_sweep(sam: Cast) -> None:
    before = due()
    assert all(at for _, at, _ in before)
    sweep(now() + 2 * AHEAD)  # every lapse is over by then
    assert [at for _, at, _ in due()] == [None] * len(before)
    sweep((now() + 75 * DAY).replace(hour=18))  # told too early, and not at night
    assert Reminder.objects.count() == len(mail.outbox) - 1 == 1

    sweep(now())
    assert due() == before
    assert told() == []
    today = sam.school.day(now())
    assert list(Standing.objects.filter(on__gt=today)) == []
    assert list(StandingChange.objects.filter(on__gt=today)) == []
    assert list(Notice.objects.filter(at__gt=now())) == []
    assert Heartbeat.objects.get().at <= now()
    # And the warning comes at its time.
    [(what, at, lead)] = before
    assert at is not None
    sweep(at)
    assert told() == [(what, Lapse.objects.get(gone_at=None).last_day, lead, "due")]


def test_a_mail_that_a_clock_ahead_put_off_is_tried_again(sam: Cast) -> None:
    waiting = Delivery.objects.create(
        school=sam.school, kind="notice", key="k", user=sam.ida, text="Hello", attempts=1,
        send_after=now() + AHEAD, created_at=now(),
    )  # fmt: skip
    heartbeats.mark(heartbeats.SWEEP, now() + AHEAD)
    Standing.objects.update(on=sam.school.day(now() + AHEAD))
    sweep(now())
    waiting.refresh_from_db()
    assert waiting.send_after <= now()


def test_an_audit_dated_ahead_does_not_keep_the_next_one_out(people: Cast) -> None:
    then, today = now() + AHEAD, people.school.day(now())
    ahead = findings.recompute(people.school, people.school.day(then), at=then, by=None, via="test")
    assert ahead.kept
    done = findings.recompute(people.school, today, at=now(), by=None, via="test")
    assert done.kept
    assert AuditRun.objects.count() == 2


def test_it_is_told_to_whoever_watches(client: Client, db: None, settings, monkeypatch) -> None:
    settings.METRICS_TOKEN = "a-token-of-some-length-here"
    bearer = {"Authorization": f"Bearer {settings.METRICS_TOKEN}"}
    heartbeats.mark(heartbeats.SWEEP, now())
    real = database.now
    monkeypatch.setattr(database, "now", lambda: real() - AHEAD)
    answer = client.get("/readyz", headers=bearer)
    assert answer.status_code == 503
    assert answer.json()["checks"]["clock"].endswith("ahead of the database's")
    text = client.get("/metrics", headers=bearer).content.decode()
    [line] = [each for each in text.splitlines() if each.startswith("training_clock_difference_seconds ")]
    assert AHEAD.total_seconds() - 60 < float(line.split()[1]) < AHEAD.total_seconds() + 60


def test_entries_whose_dates_run_backwards_are_a_caution_and_no_error(people: Cast) -> None:
    moments = [
        factories.NOON,
        factories.NOON + AHEAD,
        factories.NOON + DAY,
        factories.NOON + DAY - DAY / 9999,
    ]
    for number, moment in enumerate(moments):
        seals.seal(people.sam, "note", {"number": number}, at=moment)
    out = io.StringIO()
    call_command("verify_ledger", stdout=out)
    cautions = [each for each in out.getvalue().splitlines() if each.startswith("CAUTION")]
    tree = Entry.objects.first().tree  # type: ignore[union-attr]
    [caution] = cautions
    assert caution.startswith(f"CAUTION ledger {tree}: entry 2 is dated ")
    assert "WHOLE" in out.getvalue()
    assert any("entry 2 is dated" in each for each in inspection.look().cautions)
