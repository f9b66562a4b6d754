"""Lessons drafted and signed over HTTP, each until it is acknowledged, while the servers are killed.

A lesson record keeps its UUID however often it is sent. At the end every sign-off that was acknowledged must
be in the database as it was told, none twice, and the ledger and the rows must fit each other.
"""

from __future__ import annotations

import collections
import datetime as dt
import http.client
import io
import json
import queue
import random
import threading
import time
import uuid
from dataclasses import dataclass, field
from typing import Any

from django.contrib.auth.hashers import make_password
from django.core.management import CommandError, call_command
from django.db import connection

from tests.fault_injection.servers import Servers
from tests.support import factories, lessons
from training import models
from training.ledger import models as ledger
from training.services.lessons import lesson_audit

CLIENTS = 6
#: One kill for so many sign-offs.
WEB_KILL, DATABASE_KILL = 15, 20
#: An instructor may confirm 30 signatures a minute; so there are as many as a school of that size has.
LESSONS_EACH = 10
#: Of the acknowledged ones, the share that is sent again, as by a program that did not hear the answer.
SENT_AGAIN = 0.1
FIRST_DAY = dt.date(2025, 1, 1)
PASSWORD = "quite long and good for nothing else"
#: Longer than this without an acknowledgement, and the storm is given up: seconds.
STILL = 60.0


class Wrong(Exception):
    """An answer that no kill explains."""


class Later(Exception):
    """The instructor confirmed too many signatures of late: come again after so many seconds."""

    def __init__(self, wait: float):
        self.wait = wait
        super().__init__()


@dataclass
class Lesson:
    """One lesson to sign, and what was told about it."""

    id: uuid.UUID
    student: uuid.UUID
    token: str
    day: dt.date
    told: list[dict[str, Any]] = field(default_factory=list)
    #: When the request began whose answer was heard first, and how many of its kind were lost before.
    heard: dt.datetime | None = None
    lost: int = 0


class Clients:
    """Threads that sign until everything is acknowledged; ``faults`` are answers that no kill explains."""

    def __init__(self, port: int, wanted: list[Lesson], seed: int):
        self.port, self.seed = port, seed
        #: With the time before which it is not worth sending.
        self.wanted: queue.SimpleQueue[tuple[float, Lesson]] = queue.SimpleQueue()
        for each in wanted:
            self.wanted.put((0.0, each))
        self.acknowledged = 0
        self.faults: list[str] = []
        self.tries: collections.Counter[str] = collections.Counter()
        #: Seconds that the slowest acknowledged request of its kind took.
        self.slowest: collections.defaultdict[str, float] = collections.defaultdict(float)
        self.lock = threading.Lock()
        self.threads = [threading.Thread(target=self._work, args=(number,)) for number in range(CLIENTS)]
        for thread in self.threads:
            thread.start()

    @property
    def busy(self) -> bool:
        return any(thread.is_alive() for thread in self.threads) and not self.faults

    def join(self) -> None:
        for thread in self.threads:
            thread.join()

    def _work(self, number: int) -> None:
        drawn = random.Random(f"{self.seed} client {number}")
        try:
            while not self.faults:
                try:
                    after, lesson = self.wanted.get_nowait()
                except queue.Empty:
                    return
                if after > time.monotonic():
                    self.wanted.put((after, lesson))
                    time.sleep(0.05)
                    continue
                try:
                    self._lesson(lesson, again=drawn.random() < SENT_AGAIN)
                except Later as later:
                    self.wanted.put((time.monotonic() + later.wait, lesson))
        except Exception as fault:
            self.faults.append(f"client {number}: {fault!r}")

    def _lesson(self, lesson: Lesson, *, again: bool) -> None:
        path = f"/api/v1/students/{lesson.student}/lesson-records"
        flight = {
            **lessons.CONTENT["flight"],
            # each student's own aircraft: none is in two places at once
            "aircraft": {
                **lessons.CONTENT["flight"]["aircraft"],
                "registration": f"N{lesson.student.hex[:4]}",
            },
            "date": f"{lesson.day}",
            "off": f"{lesson.day}T13:00:00-06:00",
            "on": f"{lesson.day}T14:24:00-06:00",
        }
        said = lessons.content(flight=flight, ground={**lessons.CONTENT["ground"], "date": f"{lesson.day}"})
        drafted = self._until(lesson, path, {"id": str(lesson.id), "lesson": "S1-L3", "content": said}, 201)
        signs = {"content_hash": drafted["content_hash"], "confirm_password": PASSWORD}
        for _ in range(1 + again):
            lesson.told.append(self._until(lesson, f"{path}/{lesson.id}/sign", signs, 200))
        with self.lock:
            self.acknowledged += 1

    def _until(self, lesson: Lesson, path: str, body: dict[str, Any], wanted: int) -> dict[str, Any]:
        """Send the same again until it is acknowledged. Raises: Wrong for what no kill explains."""
        what = "sign" if wanted == 200 else "draft"
        pause = 0.05  # seconds, and longer from try to try: others must not be kept out by it
        while not self.faults:
            began, clock = dt.datetime.now(dt.UTC), time.monotonic()
            try:
                status, answer, wait = self._send(lesson.token, path, body)
            except (OSError, http.client.HTTPException, ValueError):
                status, answer, wait = 0, {}, 0.0
            with self.lock:
                self.tries[f"{what} {status or 'unheard'}"] += 1
                if status == wanted:
                    self.slowest[what] = max(self.slowest[what], time.monotonic() - clock)
            if status == wanted:
                if what == "sign" and lesson.heard is None:
                    lesson.heard = began
                return answer
            if status == 429:
                raise Later(wait)
            if status not in (0, 500, 502, 503):
                raise Wrong(f"{what} of {lesson.id}: {status} {answer}")
            if what == "sign" and not lesson.told:
                lesson.lost += 1
            time.sleep(pause)
            pause = min(2 * pause, 1.0)
        raise Wrong(f"{what} of {lesson.id}: given up")

    def _send(self, token: str, path: str, body: dict[str, Any]) -> tuple[int, dict[str, Any], float]:
        """One request; returns status, answer, and the seconds after which to come again."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            headers = {"Authorization": f"Token {token}", "Content-Type": "application/json"}
            line.request("POST", path, json.dumps(body), headers)
            heard = line.getresponse()
            return heard.status, json.loads(heard.read()), float(heard.getheader("Retry-After") or 0)
        finally:
            line.close()


def school(number: int, drawn: random.Random) -> list[Lesson]:
    """A school with its instructors and students in the database, and so many lessons to sign."""
    from knox.models import AuthToken

    here = factories.school(name="Lakeside Flying", slug="lakeside")
    hashed = make_password(PASSWORD)
    pairs = []
    for each in range(-(-number // LESSONS_EACH)):
        instructor = factories.instructor(here, certificate=f"{each:07}CFI")
        models.User.objects.filter(pk=instructor.pk).update(password=hashed)
        student = factories.student(here, taught_by=instructor)
        pairs.append((student.ref, AuthToken.objects.create(instructor)[1]))
    return [
        Lesson(uuid.UUID(int=drawn.getrandbits(128), version=4), *pairs[each % len(pairs)],
               FIRST_DAY + dt.timedelta(days=each // len(pairs)))
        for each in range(number)
    ]  # fmt: skip


def storm(running: Servers, wanted: list[Lesson], who: str, drawn: random.Random) -> Clients:
    """Sign them all, with a kill at drawn moments: so many acknowledgements on, and an instant more."""
    kill, each = (
        (running.kill_web, WEB_KILL) if who == "web" else (running.kill_database, DATABASE_KILL)
    )  # fmt: skip
    moments = sorted(drawn.sample(range(len(wanted) * 9 // 10), max(1, len(wanted) // each)))
    clients = Clients(running.port, wanted, drawn.getrandbits(32))
    killed: collections.Counter[str] = collections.Counter()
    began = last = time.monotonic()
    seen = 0
    try:
        while clients.busy:
            if clients.acknowledged != seen:
                seen, last = clients.acknowledged, time.monotonic()
            if time.monotonic() - last > STILL:
                clients.faults.append(f"nothing was acknowledged for {STILL:.0f} s, after {seen}")
            if moments and seen >= moments[0]:
                del moments[0]
                time.sleep(drawn.uniform(0, 0.2))
                killed[kill(drawn)] += 1
            time.sleep(0.003)
    except BaseException:
        clients.faults.append("the storm was broken off")
        raise
    finally:
        clients.join()
    if moments:
        clients.faults.append(f"{len(moments)} kills never came")
    took = time.monotonic() - began
    kills = ", ".join(f"{count} x {name}" for name, count in sorted(killed.items()))
    tries = ", ".join(f"{name}: {count}" for name, count in sorted(clients.tries.items()))
    print(f"{who}: {clients.acknowledged} acknowledged in {took:.0f} s; killed {kills}; requests {tries}")
    return clients


def faults(wanted: list[Lesson]) -> list[str]:
    """Everything in the database that does not fit what was told."""
    found = []
    rows = collections.defaultdict(list)
    for row in models.SignOff.objects.select_related("lesson"):
        rows[row.lesson_id].append(row)
    leaves = {
        (entry.tree, entry.index): entry.kept.value
        for entry in ledger.Entry.objects.filter(kind="lesson.signed").select_related("kept")
    }
    for lesson in wanted:
        if not lesson.told:
            found.append(f"{lesson.id} was never acknowledged")
            continue
        told, *again = lesson.told
        found += [f"{lesson.id}: told {told}, then {other}" for other in again if other != told]
        place = (told["ledger"]["tree"], told["ledger"]["index"])
        there = rows.pop(lesson.id, [])
        if [(row.ledger_tree, row.ledger_index, row.content_hash) for row in there] != [
            (*place, told["content_hash"])
        ]:
            found.append(f"{lesson.id}: told {told}, and there is {there or 'nothing'}")
        leaf = leaves.pop(place, None)
        if leaf is None or (leaf["lesson_record"], leaf["content_hash"]) != (
            str(lesson.id),
            told["content_hash"],
        ):
            found.append(f"{lesson.id}: told entry {place}, which says {leaf}")
    found += [f"{lesson} is signed, and nobody asked for it" for lesson in rows]
    found += [f"entry {place} is of no lesson that was asked for" for place in leaves]
    for model in (models.Flight, models.GroundLesson, models.Notice, models.LessonRecord):
        if (count := model._default_manager.count()) != len(wanted):
            found.append(f"{count} rows of {model._meta.db_table} for {len(wanted)} lessons")
    for each in models.School.objects.all():
        found += lesson_audit.faults(each)
    return found + ledger_faults()


def ledger_faults() -> list[str]:
    out = io.StringIO()
    try:
        call_command("verify_ledger", stdout=out, stderr=out)
    except (CommandError, SystemExit) as fault:
        out.write(f"{fault!r}\n")
    said = out.getvalue().splitlines()
    return [] if said[-1] == "WHOLE" else [f"verify_ledger: {line}" for line in said]


def unheard(wanted: list[Lesson]) -> int:
    """How many were committed by a request whose answer was lost: sealed before the one that was answered."""
    sealed = dict(models.SignOff.objects.values_list("lesson_id", "at"))
    return sum(
        1
        for each in wanted
        if each.lost and each.heard and each.id in sealed and sealed[each.id] < each.heard
    )


def run(running: Servers, number: int, seed: int) -> int:
    """The storm and its judgement; returns the exit code."""
    drawn = random.Random(seed)
    call_command("migrate", verbosity=0, interactive=False)
    wanted = school(number, drawn)
    connection.close()  # it would not outlive the storm
    parts = [("web", wanted)]
    if running.on == "postgresql":
        parts = [("web", wanted[: number // 2]), ("database", wanted[number // 2 :])]
    print(f"{number} sign-offs on {running.on}, seed {seed}", flush=True)
    wrong: list[str] = []
    running.serve()
    try:
        for who, part in parts:
            wrong += storm(running, part, who, drawn).faults
            if wrong:
                break
    finally:
        running.stop_web()
    wrong += faults(wanted)
    lost = sum(1 for each in wanted if each.lost)
    again = sum(len(each.told) > 1 for each in wanted)
    print(
        f"{lost} sign-offs had an answer lost, {unheard(wanted)} of them were committed all the same;"
        f" {again} were sent once more after their answer; {running.recoveries} recoveries of the database"
    )
    for fault in wrong:
        print(f"  {fault}")
    print(f"{len(wrong)} FAULTS" if wrong else "WHOLE: every acknowledged sign-off is there, and none twice")
    return 1 if wrong else 0
