"""Lessons signed over HTTP while audits of their school run one after the other, and nothing is killed.

So nothing explains an answer of 500 or 503, an audit that ends without its findings, or a deadlock.
"""

from __future__ import annotations

import collections
import io
import random
import threading
import time

from django.core.management import call_command
from django.db import connection

from tests.fault_injection import sign_offs
from tests.fault_injection.servers import Servers
from training import models
from training.management.commands import audit


class Audits:
    """A thread that audits a school again and again, as the command does; ``ended`` counts how."""

    def __init__(self, slug: str) -> None:
        self.slug, self.over = slug, threading.Event()
        self.ended: collections.Counter[str] = collections.Counter()
        self.thread = threading.Thread(target=self._work)
        self.thread.start()

    def _work(self) -> None:
        while not self.over.is_set():
            self.ended[self._once()] += 1
        connection.close()

    def _once(self) -> str:
        try:
            call_command("audit", school=self.slug, json=True, stdout=io.StringIO())
        except SystemExit as ended:
            return "whole" if ended.code == audit.FOUND else f"dead: exit code {ended.code}"
        except Exception as fault:  # whatever it is, the loop goes on and says it at the end
            return f"dead: {type(fault).__name__}: {fault}"
        return "whole"

    def stop(self) -> None:
        self.over.set()
        self.thread.join()


def deadlocks() -> int:
    """How many the server counted in this database; it counts them with a delay of a second."""
    if connection.vendor != "postgresql":
        return 0
    time.sleep(1.5)
    with connection.cursor() as cursor:
        cursor.execute("SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()")
        return int(cursor.fetchone()[0])


def run(running: Servers, number: int, seed: int) -> int:
    """Sign them all; 0 where none was refused, lost or doubled, no audit died, and nothing deadlocked."""
    drawn = random.Random(seed)
    call_command("migrate", verbosity=0, interactive=False)
    wanted = sign_offs.school(number, drawn)
    slug = models.School.objects.get().slug
    connection.close()
    running.serve()
    audits = Audits(slug)
    began = time.monotonic()
    try:
        clients = sign_offs.Clients(running.port, wanted, drawn.getrandbits(32))
        clients.join()
    finally:
        audits.stop()
        running.stop_web()
    took = time.monotonic() - began
    dead = sum(count for how, count in audits.ended.items() if how != "whole")
    refused = {
        what: count for what, count in clients.tries.items() if what.split()[-1] not in ("200", "201", "429")
    }
    locked = deadlocks()
    lost = sign_offs.faults(wanted)
    wrong = [
        *clients.faults,
        *(f"{count} x {how}" for how, count in audits.ended.items() if how != "whole"),
        *lost,
    ]
    wrong += [f"{count} x {what}" for what, count in refused.items()]
    print(
        f"{clients.acknowledged} sign-offs acknowledged in {took:.0f} s, beside {audits.ended.total()} audits"
    )
    for fault in wrong:
        print(f"  {fault}")
    print(
        f"{locked} deadlocks, {dead} dead audits, {sum(refused.values())} refused requests,"
        f" {len(lost)} sign-offs lost or doubled"
    )
    return 1 if wrong or locked else 0
