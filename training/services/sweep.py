"""The sweep does everything that is due now, whoever starts it and how often. Each step may be killed."""

import datetime as dt
import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from django.db import DatabaseError
from django.utils import timezone

from training.database import note
from training.services import limits
from training.services.operations import clock, heartbeats
from training.services.people import sign_ins
from training.services.records import page_cache
from training.services.reminders import ahead, audits, checkpoints, due, fleet, outbox, standings

log = logging.getLogger(__name__)
#: Students that are read at once.
BATCH = 200
#: Seconds until a sweep leaves the rest to the next; a worker's task may take 45.
SECONDS = 35.0
#: The shares for changed records and for yesterday's standings, so that what is due never waits for them,
#: however many there are.
CHANGED_SHARE, NIGHTLY_SHARE = 0.4, 0.3
#: The part of it that e-mails which wait already may take: a slow mail server keeps nothing else waiting.
MAIL_SHARE = 0.3
#: As many students' pages at most are made ahead at once.
MOST_RENDERED = 50
#: The time after which a failed calculation is tried again.
PARKED_FOR = dt.timedelta(hours=20)


@dataclass
class Swept:
    """What a sweep did, and what it left to the next."""

    worked_out: int = 0
    reminders: int = 0
    renewed: int = 0
    sent: int = 0
    withdrawn: int = 0
    failed: int = 0
    checkpoints: int = 0
    audited: int = 0
    not_audited: int = 0
    rendered: int = 0
    unreachable: str = ""
    faults: list[str] = field(default_factory=list)
    unfinished: bool = False

    def __str__(self) -> str:
        words = [
            f"{self.worked_out} records calculated",
            f"{self.renewed} standings renewed",
            f"{self.reminders} reminders made",
            f"{self.sent} e-mails sent",
            f"{self.withdrawn} withdrawn",
            f"{self.failed} failed",
            f"{self.checkpoints} checkpoints signed",
            f"{self.audited} schools audited",
            f"{self.not_audited} audits failed",
            f"pages of {self.rendered} students rendered",
        ]
        if self.unreachable:
            words.append(f"no e-mail can be sent: {self.unreachable}")
        return ", ".join(words) + (f"; faults: {'; '.join(self.faults)}" if self.faults else "")


def sweep(
    *,
    now: Callable[[], dt.datetime] = timezone.now,
    seconds: float = SECONDS,
    progress: Callable[[str], None] = lambda line: None,
    after_a_break: bool = False,
) -> Swept:
    """Calculate what changed, make what is due, send it; then leave the heartbeat.

    A step that fails is logged and the others go on, but then there is no heartbeat, so that somebody
    notices. If the clock is in doubt before a step, that step and the rest are left out in the same way.
    """
    done, until = Swept(), time.monotonic() + seconds
    steps: list[tuple[str, Callable[[], None]]] = [
        ("what was dated ahead", lambda: _repair(now)),
        ("e-mails that wait", lambda: _send(done, now, _part(MAIL_SHARE, seconds))),
        ("records that changed", lambda: _work_out(done, now, _part(CHANGED_SHARE, seconds), progress)),
        ("reminders", lambda: _make(done, now, until)),
        ("instructors", lambda: _make_for_roles(done, now)),
        ("aircraft", lambda: _make_for_aircraft(done, now)),
        ("e-mails", lambda: _send(done, now, until)),
        ("limits", limits.forget),
        ("checkpoints", lambda: _checkpoints(done, now)),
        ("yesterday's standings", lambda: _renew(done, now, _part(NIGHTLY_SHARE, seconds), progress)),
        ("audits", lambda: _audit(done, now, until, progress)),
        ("pages", lambda: _prepare(done, now, until)),
        ("sign-ins", lambda: sign_ins.sweep(now())),
    ]
    for name, step in steps:
        try:
            if why := clock.doubt(now(), after_a_break=after_a_break):
                log.error("the sweep stops before %s: %s", name, why)
                done.faults.append(f"clock: {why}")
                break
            step()
        except Exception as fault:
            log.exception("the sweep failed at %s", name)
            why = note(fault) if isinstance(fault, DatabaseError) else type(fault).__name__
            done.faults.append(f"{name}: {why}")
    if not done.faults:
        heartbeats.mark(heartbeats.SWEEP, now())
    return done


def _repair(now: Callable[[], dt.datetime]) -> None:
    at = now()
    lag = heartbeats.lags(at)[heartbeats.SWEEP]
    ahead.repair(at, thorough=lag is not None and lag < 0)


def _part(share: float, seconds: float) -> float:
    """The monotonic clock's time at which a part of the sweep that begins now must stop."""
    return time.monotonic() + share * seconds


def _work_out(
    done: Swept, now: Callable[[], dt.datetime], until: float, progress: Callable[[str], None]
) -> None:
    standings.note_new_rules()
    standings.unpark(before=now() - PARKED_FOR)
    seen: set[int] = set()
    while time.monotonic() < until:
        batch = [each for each in standings.changed(BATCH) if each not in seen]
        if not batch:
            return
        for student in batch:
            if time.monotonic() >= until:
                break
            seen.add(student)
            done.worked_out += _one(student, now())
        progress(f"{done.worked_out} records calculated")
    done.unfinished = True


def _one(student: int, at: dt.datetime) -> bool:
    """Compute one student's standing; an error stops no other."""
    if not standings.begin(student, at):
        return False
    try:
        return standings.work_out(student, at)
    except Exception as fault:
        standings.failed(student, fault)
        return False


def _make(done: Swept, now: Callable[[], dt.datetime], until: float) -> None:
    seen: set[int] = set()
    while time.monotonic() < until:
        batch = [each for each in due.waiting(now(), BATCH) if each not in seen]
        if not batch:
            return
        for student in batch:
            seen.add(student)
            done.reminders += len(due.make(student, now()))
    done.unfinished = True


def _make_for_roles(done: Swept, now: Callable[[], dt.datetime]) -> None:
    done.reminders += len(due.make_for_roles(now()))


def _make_for_aircraft(done: Swept, now: Callable[[], dt.datetime]) -> None:
    done.reminders += len(fleet.make(now()))


def _checkpoints(done: Swept, now: Callable[[], dt.datetime]) -> None:
    done.checkpoints = checkpoints.daily(now())


def _audit(
    done: Swept, now: Callable[[], dt.datetime], until: float, progress: Callable[[str], None]
) -> None:
    """Last, in the remaining time. An error stops no other school, and its page shows it."""
    for school in audits.waiting(now()):
        if time.monotonic() >= until:
            done.unfinished = True
            return
        ended = audits.run(school, now(), until)
        done.audited += ended is True
        done.not_audited += ended is False
        progress(f"{done.audited} schools audited")


def _send(done: Swept, now: Callable[[], dt.datetime], until: float) -> None:
    if done.unreachable:
        return  # it was a moment ago
    sent = outbox.send(until=until, now=now)
    done.unreachable = sent.unreachable
    done.sent += sent.sent
    done.withdrawn += sent.withdrawn
    done.failed += sent.failed


def _renew(
    done: Swept, now: Callable[[], dt.datetime], until: float, progress: Callable[[str], None]
) -> None:
    first = True
    while time.monotonic() < until:
        batch = standings.of_yesterday(BATCH, now())
        if not batch:
            return
        if first:
            log.info("%s standings are of yesterday", standings.waiting(now()))
            first = False
        for student in batch:
            if time.monotonic() >= until:
                done.unfinished = True
                break
            if _renewed(student, now()):
                done.renewed += 1
                # at once, while the results are in memory
                done.rendered += page_cache.ahead(student, now())
        progress(f"{done.renewed} standings renewed")
        log.info("%s standings renewed", done.renewed)


def _renewed(student: int, at: dt.datetime) -> bool:
    try:
        return standings.work_out(student, at)
    except Exception as fault:
        standings.not_renewed(student, fault)
        return False


def _prepare(done: Swept, now: Callable[[], dt.datetime], until: float) -> None:
    """Render the pages of students whose record changed, or that another version of the program rendered."""
    for student in page_cache.waiting(MOST_RENDERED):
        if time.monotonic() >= until:
            return
        done.rendered += page_cache.ahead(student, now())
