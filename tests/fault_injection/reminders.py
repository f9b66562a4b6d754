"""Workers, beat and broker are killed by ``kill -9`` while reminders fall due: each is sent, none doubled."""

from __future__ import annotations

import collections
import contextlib
import copy
import datetime as dt
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator

from tests.fault_injection import sign_offs
from tests.fault_injection.servers import ROOT, Servers, children, kill, kill_all
from tests.support import services
from tests.support.smtp import Sink

#: What is killed, and how often of a hundred times; ``children`` are the processes that do a worker's work.
TARGETS = {"children": 45, "worker": 25, "beat": 15, "broker": 15}
#: Seconds that a mail takes: a kill should find one on its way now and then.
MAIL_TAKES = 0.02
#: Seconds after the last kill in which everything must be sent: a tick, a lease of the broker, slow machines.
WITHIN = 240
#: Seconds in which reminders go out after the broker is back.
AFTER_BROKER = 90
#: Seconds in which a sign-off is answered while there is no broker; and, where so much else runs that a
#: server beside, which was told of no broker, is not as quick either, how much longer it may take than there.
SIGN_OFF_WITHIN, MORE_THAN_BESIDE, SIGN_OFFS = 1.0, 0.5, 3
REFUSING, UNREACHABLE, SILENT = "refuses", "cannot be reached", "says nothing"
LEAD = 14


def sign_off_may_take(beside: float) -> float:
    """Seconds; where much else runs, as many as on the server beside, and what two of them may differ by."""
    return max(SIGN_OFF_WITHIN, beside + max(MORE_THAN_BESIDE, beside / 2))


def listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Broker:
    """A Valkey or Redis with its append-only file, on one port, that is killed and started again."""

    def __init__(self, running: Servers):
        self.account = services.unprivileged_account()
        self.folder = services.own_folder(running.stack, self.account)
        self.port = services.free_port()
        self.url = f"redis://127.0.0.1:{self.port}/0"
        running.stack.callback(lambda: kill_all(self.process))
        self.start()

    def start(self) -> None:
        log = self.folder / "redis.log"
        with open(log, "ab") as out:
            self.process = subprocess.Popen(
                [
                    *(services.redis_binary(), "--port", str(self.port), "--bind", "127.0.0.1"),
                    *("--appendonly", "yes", "--save", "", "--dir", str(self.folder)),
                ],
                cwd=self.folder,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                preexec_fn=services.die_with_parent(signal.SIGKILL),
                **self.account,
            )
        services.wait_for("the broker", self.process, log, lambda: listens(self.port))


@contextlib.contextmanager
def unreachable(port: int) -> Iterator[None]:
    """On a port where nothing listens: meanwhile whoever connects to it is neither taken nor refused."""
    with contextlib.ExitStack() as held:
        closed = held.enter_context(socket.socket())
        closed.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        closed.bind(("127.0.0.1", port))
        closed.listen(0)
        try:
            for _ in range(100):  # until the queue of those who wait to be taken is full
                held.enter_context(socket.create_connection(("127.0.0.1", port), timeout=0.3))
            raise AssertionError(f"port {port} goes on taking connections")
        except TimeoutError:
            yield


class Celery:
    """A worker or a beat: a process with children that is killed and started again."""

    def __init__(self, running: Servers, what: str, *options: str):
        self.running, self.what, self.options = running, what, options
        running.stack.callback(lambda: kill_all(self.process))
        self.start()

    def start(self) -> None:
        with open(self.running.folder / f"{self.what}.log", "ab") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "celery", "--app", "training.config.celery", self.what, *self.options],
                cwd=ROOT,
                env={**os.environ, **self.running.environment},
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                preexec_fn=services.die_with_parent(signal.SIGKILL),
            )


class Storm:
    """The processes, the people, and what was asked of them."""

    def __init__(self, running: Servers, sink: Sink, number: int, seed: int):
        self.running, self.sink, self.number = running, sink, number
        self.drawn = random.Random(seed)
        self.kills: collections.Counter[str] = collections.Counter()
        self.ended: collections.Counter[str] = collections.Counter()
        self.students: list[int] = []
        #: Seconds that each sign-off took, by what the broker did; and the one after it on the server beside.
        self.signed: collections.defaultdict[str, list[tuple[float, float]]] = collections.defaultdict(list)

    def start(self) -> None:
        """Broker first: the others find it by its address."""
        self.broker = Broker(self.running)
        self.running.environment["REDIS_URL"] = self.broker.url
        self.running.serve()
        self.running.stack.callback(self.running.stop_web)
        self.beside = copy.copy(self.running)
        self.beside.port = services.free_port()
        self.beside.environment = {**self.running.environment, "REDIS_URL": ""}
        self.beside.serve()
        self.running.stack.callback(self.beside.stop_web)
        self.sign_offs("answers")  # the program is read at its first requests
        options = ("--loglevel", "ERROR")
        self.worker = Celery(self.running, "worker", "--concurrency", "2", *options)
        # Without a file: one that a killed beat left behind would keep the next from starting.
        self.beat = Celery(self.running, "beat", "--pidfile", "", *options)

    def prepare(self) -> None:
        """A school whose instructor wants no mail, so that each reminder is one mail to one student."""
        from django.core.management import call_command

        from tests.support import factories
        from training import models

        call_command("migrate", verbosity=0, interactive=False)
        self.school = factories.school(time_zone="UTC")
        self.today = self.school.day(dt.datetime.now(dt.UTC))
        self.instructor = factories.instructor(self.school, certificate="0000001CFI")
        models.ReminderPreferences.objects.create(user=self.instructor, email=False)
        self.lessons = sign_offs.school(2 * 4 * SIGN_OFFS, self.drawn)

    def sign_offs(self, broker: str) -> None:
        """Sign lessons over HTTP while the broker does this: one by one, by turns on both servers."""
        for _ in range(SIGN_OFFS):
            took = []
            for server in (self.running, self.beside):
                clients = sign_offs.Clients(server.port, [self.lessons.pop()], self.drawn.getrandbits(32))
                clients.join()
                assert not clients.faults, clients.faults
                took.append(clients.slowest["sign"])
            self.signed[broker].append((took[0], took[1]))

    def fall_due(self, count: int) -> None:
        """So many students whose solo endorsement ends in exactly the lead time."""
        from syllabus.engine.record import record as engine
        from tests.support import factories
        from tests.support.reminding import taught
        from training import models

        count = min(count, self.number - len(self.students))
        given = self.today + dt.timedelta(days=LEAD - 90)
        for _ in range(count):
            user = factories.user()
            midnight = dt.time()
            models.ReminderPreferences.objects.create(user=user, quiet_from=midnight, quiet_until=midnight)
            student = factories.student(self.school, user=user, training_model="C172")
            models.Enrolment.objects.create(school=self.school, student=student, starts=factories.LONG_AGO)
            solo = engine.Endorsement(
                "e1",
                "solo-90-day",
                given,
                engine.Instructor(self.instructor.name, "0000001CFI"),
                aircraft_model="C172",
                training_date=given,
            )
            parts = {"endorsements": (solo,), "flights": taught((solo,))}
            factories.recorded(student, **parts, at=dt.datetime.now(dt.UTC))
            self.students.append(student.pk)

    def supervise(self) -> None:
        """Start again what ended by itself, as whatever runs these processes does: a worker that loses all of
        its children while it starts gives up, and so does one that finds no broker at the wrong moment.
        """
        for name, process in (("worker", self.worker), ("beat", self.beat)):
            if process.process.poll() is not None:
                self.ended[name] += 1
                process.start()

    def kill_one(self) -> None:
        """Wait until mails go out or none is due, and kill somebody a moment later; start it again.

        On a busy machine a worker starts slowly: it is killed at its work all the same, not before.
        """
        [target] = self.drawn.choices(list(TARGETS), list(TARGETS.values()))
        before, began = self.sink.total, time.monotonic()
        while self.sink.total == before and self.is_due():
            self.wait_a_moment(began, 0.02)
        time.sleep(self.drawn.uniform(0, 3 * MAIL_TAKES))
        self.kills[target] += 1
        if target == "children":
            for pid in children(self.worker.process.pid):
                kill(pid)
            return
        targets: dict[str, Celery | Broker] = {
            "worker": self.worker,
            "beat": self.beat,
            "broker": self.broker,
        }
        kill_all(targets[target].process)
        targets[target].start()

    def is_due(self) -> bool:
        """Whether anything is still to be worked out or to be sent."""
        from training import models

        return (
            models.Stale.objects.exists()
            or models.Reminder.objects.count() < len(self.students)
            or models.Delivery.objects.filter(state="pending").exists()
        )

    def wait_a_moment(self, began: float, seconds: float) -> None:
        """Raises: AssertionError where that has gone on for too long."""
        if time.monotonic() - began > WITHIN:
            raise AssertionError(f"not everything was sent within {WITHIN} s: {self.figures()}")
        self.supervise()
        time.sleep(seconds)

    def wait_for_rest(self) -> float:
        """Seconds until everything that is due is sent. Raises: AssertionError where it takes too long."""
        began = time.monotonic()
        while self.is_due():
            self.wait_a_moment(began, 0.2)
        return time.monotonic() - began

    def figures(self) -> dict[str, object]:
        from django.db.models import Count

        from training import models

        rows = models.Delivery.objects.values("state").annotate(number=Count("pk"))
        return {
            "students": len(self.students),
            "stale": models.Stale.objects.count(),
            "reminders": models.Reminder.objects.count(),
            "deliveries": {each["state"]: each["number"] for each in rows},
            "mails": self.sink.total,
            "kills": dict(self.kills),
            "ended by themselves": dict(self.ended),
        }

    def faults(self) -> list[str]:
        """What does not hold; empty where all does."""
        from training import models

        found = []
        last = self.today + dt.timedelta(days=LEAD)
        told = collections.Counter(models.Reminder.objects.values_list("student", "last_day", "lead_days"))
        expected = {(student, last, LEAD): 1 for student in self.students}
        if dict(told) != expected:
            found.append(f"{len(expected)} reminders are due, and there are {told.total()}")
        sent = {
            f"<{pk}@localhost>"
            for pk in models.Delivery.objects.filter(state="sent").values_list("pk", flat=True)
        }
        if len(sent) != len(expected) or models.Delivery.objects.exclude(state="sent").exists():
            found.append(f"{len(expected)} mails are to be sent, and {len(sent)} are")
        if missing := sent - set(self.sink.taken):
            found.append(f"{len(missing)} are called sent and did not arrive")
        if strange := set(self.sink.taken) - sent:
            found.append(f"{len(strange)} arrived under a Message-ID of no delivery")
        extra = self.sink.total - len(self.sink.taken)
        if extra > self.kills.total():
            found.append(f"{extra} mails came again after {self.kills.total()} kills")
        return found

    def broker_returns(self, *, silent: bool) -> float:
        """Seconds until reminders that fell due without a broker are sent once it is back.

        One that is killed refuses, then cannot be reached at all; one that is stopped takes connections and
        says nothing. Lessons are signed meanwhile.
        """
        if silent:
            self.broker.process.send_signal(signal.SIGSTOP)
        else:
            kill_all(self.broker.process)
            self.kills["broker"] += 1
        self.number += 5
        self.fall_due(5)
        until = time.monotonic() + self.drawn.uniform(20, 40)
        if silent:
            self.sign_offs(SILENT)
            time.sleep(max(0.0, until - time.monotonic()))
            self.broker.process.send_signal(signal.SIGCONT)
        else:
            self.sign_offs(REFUSING)
            with unreachable(self.broker.port):
                self.sign_offs(UNREACHABLE)
                time.sleep(max(0.0, until - time.monotonic()))
            self.broker.start()
        return self.wait_for_rest()


def run(running: Servers, number: int, kills: int, seed: int, say: Callable[[str], None] = print) -> int:
    """0 where everything holds, 1 where not; says the figures."""
    from django.db import connections

    with contextlib.ExitStack() as stack:
        sink = stack.enter_context(Sink(MAIL_TAKES))
        running.environment["EMAIL_URL"] = f"smtp://127.0.0.1:{sink.port}"
        storm = Storm(running, sink, number, seed)
        storm.prepare()
        storm.fall_due(number // 5)
        storm.start()
        began = time.monotonic()
        try:
            for turn in range(kills):
                storm.fall_due(-(-(number - len(storm.students)) // (kills - turn)))
                storm.kill_one()
                if turn % 20 == 19:
                    say(f"{time.monotonic() - began:.0f} s: {storm.figures()}")
            storm.fall_due(number)
            rest = storm.wait_for_rest()
            back = [storm.broker_returns(silent=silent) for silent in (False, True)]
            faults = storm.faults()
        except AssertionError as fault:
            faults, rest, back = [str(fault)], 0.0, [0.0, 0.0]
        finally:
            connections.close_all()
    extra = sink.total - len(sink.taken)
    say(f"{storm.figures()}")
    say(
        f"{storm.kills.total()} kills, {len(storm.students)} reminders, {sink.total} mails, {extra} of them "
        f"again; all sent {rest:.1f} s after the last kill, {back[0]:.1f} s after a dead broker's return "
        f"and {back[1]:.1f} s after a silent one's"
    )
    for broker, signed in storm.signed.items():
        took, beside = map(statistics.median, zip(*signed, strict=True))
        say(f"broker {broker}: {len(signed)} sign-offs, {took:.2f} s in the middle; beside {beside:.2f} s")
        if took > sign_off_may_take(beside):
            faults.append(f"sign-offs took {took:.2f} s while the broker {broker}")
    if max(back) > AFTER_BROKER:
        faults.append(f"after the broker's return it took {max(back):.0f} s, more than {AFTER_BROKER}")
    for each in faults:
        say(f"ERROR: {each}")
    connections.close_all()
    return 1 if faults else 0
