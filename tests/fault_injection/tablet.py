"""Lessons written and signed on a tablet whose network, page, login and server go away at drawn moments.

A real Chromium with an authenticator of its own, the project's own modules, and the real server. What is told
to be on the tablet must in the end be in the school's ledger: nothing lost, nothing doubled, in order.
"""

from __future__ import annotations

import collections
import contextlib
import datetime as dt
import os
import random
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Browser, Error, Route, sync_playwright

from tests.fault_injection.servers import Servers
from tests.run import chromium as system_chromium

PASSWORD = "a fine day for it"
#: Longer than this until everything is sent, and the storm is given up: seconds.
STILL = 600.0
#: Puts one lesson into the queue, a change of it where wanted, and a signature by passkey; gives the hash.
WRITE = """async ({ user, ref, key, number, day, changed, signed, again }) => {
  const queue = await import("/static/training/tablet/queue.js");
  const { hashOf } = await import("/static/training/tablet/content.js");
  const { confirm, statement } = await import("/static/training/passkeys.js");
  const store = await import("/static/training/tablet/store.js");
  const nonce = signed ? await store.nonce() : "-";
  if (!nonce) return null;
  queue.setUp({ token: "/tablet/token/", user });
  const data = { corrects: null, reason: "", course: null };
  const content = {
    flight: null, ground: { date: day, time: "0.5 h", topic: `lesson ${number}` }, items: [],
    comments: "", next: "",
  };
  const item = { student: ref, record: key, lesson: "", version: null, words: `lesson ${number}` };
  let hash = await hashOf("", content, data);
  if (!again) await queue.add({ ...item, act: "draft", content: { ...content }, hash });
  if (changed) {
    content.comments = `changed ${number}`;
    hash = await hashOf("", content, data);
    await queue.add({ ...item, act: "change", content, hash });
  }
  if (!signed) return { hash };
  const said = statement({ kind: "lesson.signed", subject: ref, about: key, hash });
  const passkey = await confirm(said, { nonce });
  const performed_at = new Date().toISOString();
  await queue.add({
    act: "sign", student: ref, record: key, words: `lesson ${number}`, hash, passkey, performed_at,
  });
  return { hash, nonce: passkey.nonce };
}"""
#: An entry that an old release of the program left in the queue.
LEFT_OVER = """async ({ user, ref, key }) => {
  const queue = await import("/static/training/tablet/queue.js");
  queue.setUp({ token: "/tablet/token/", user });
  await queue.add({ act: "stamp", student: ref, record: key, words: "of an old release" });
}"""
#: Decides on the first entry that was refused, as the page for it does; gives what came of it, null for none.
DECIDE = """async ({ user, how, number }) => {
  const queue = await import("/static/training/tablet/queue.js");
  const { onward } = await import("/static/training/tablet/entry.js");
  const { hashOf } = await import("/static/training/tablet/content.js");
  const { confirm, statement } = await import("/static/training/passkeys.js");
  queue.setUp({ token: "/tablet/token/", user });
  const item = (await queue.items()).find((each) => each.state === "parked" && each.owner === user);
  if (!item) return null;
  const whole = await queue.ofLesson(item);
  const content = [...whole].reverse().find((each) => each.content)?.content || item.there?.content;
  if (how === "discarded" || !content) {
    await queue.decide(item, "discarded", `of ${number}`);
    return { was: item.record, fault: item.fault };
  }
  const ways = onward(item, whole, item.there?.state === "signed" ? "signed meanwhile" : "");
  const fixed = { ...content, comments: `again ${number}` };
  const hash = await hashOf("", fixed, { ...ways, course: null });
  const act = ways.version ? "change" : ways.corrects ? "correct" : "draft";
  const common = { student: item.student, lesson: "", words: `again ${number}`, content: fixed, hash };
  const said = statement({ kind: "lesson.signed", subject: item.student, about: ways.record, hash });
  const passkey = await confirm(said);
  await queue.decide(item, "corrected", "", { ...common, ...ways, act });
  const performed_at = new Date().toISOString();
  await queue.add({ ...common, act: "sign", record: ways.record, passkey, performed_at });
  return { was: item.record, key: ways.record, hash, fault: item.fault };
}"""
FLUSH = """async (user) => {
  const queue = await import("/static/training/tablet/queue.js");
  queue.setUp({ token: "/tablet/token/", user });
  queue.flush();
}"""
WAITING = """async () => {
  const queue = await import("/static/training/tablet/queue.js");
  const items = await queue.items();
  const parked = items.filter((each) => each.state === "parked");
  return { number: items.length, parked, says: queue.state.says };
}"""


@dataclass
class Written:
    """A lesson that was told to be on the tablet: its key and hash; ``before`` what they were at first.

    ``ended`` where it was discarded, ``first`` the key under which it was begun.
    """

    key: str
    hash: str
    first: str = ""
    before: list[tuple[str, str]] = field(default_factory=list)
    ended: bool = False


@dataclass
class Tablet:
    """A browser with a passkey that outlives its pages; ``lose`` answers of the API are thrown away."""

    browser: Browser
    at: str
    user: str
    ref: str
    day: str
    lose: int = 0
    lost: int = 0
    written: list[Written] = field(default_factory=list)
    decided: int = 0
    known: list[dict[str, Any]] = field(default_factory=list)
    said: collections.Counter[str] = field(default_factory=collections.Counter)

    def __post_init__(self) -> None:
        self.context = self.browser.new_context()
        self.context.route("**/api/v1/**", self._route)
        self.open()

    def _route(self, route: Route) -> None:
        # The server may be gone, or the page that asked.
        with contextlib.suppress(Error):
            if self.lose:
                self.lose -= 1
                route.fetch()
                self.lost += 1
                route.abort()
            else:
                route.continue_()

    def open(self) -> None:
        """A new page with the same authenticator."""
        self.page = self.context.new_page()
        self.session = self.context.new_cdp_session(self.page)
        self.session.send("WebAuthn.enable")
        options = {"protocol": "ctap2", "transport": "internal", "automaticPresenceSimulation": True}
        options |= {"hasResidentKey": True, "hasUserVerification": True, "isUserVerified": True}
        made = self.session.send("WebAuthn.addVirtualAuthenticator", {"options": options})
        self.device = made["authenticatorId"]
        for each in self.known:
            self.session.send("WebAuthn.addCredential", {"authenticatorId": self.device, "credential": each})

    def remember(self) -> None:
        """What the authenticator knows, so that it outlives the page."""
        found = self.session.send("WebAuthn.getCredentials", {"authenticatorId": self.device})["credentials"]
        kept = ("credentialId", "isResidentCredential", "rpId", "privateKey", "userHandle", "signCount")
        self.known = [{key: each[key] for key in kept if key in each} for each in found]

    def go(self, path: str = "/today/") -> None:
        """Open a page; without a network the tablet's own stands there."""
        deadline = time.monotonic() + 30
        while True:
            try:
                self.page.goto(self.at + path)
                return
            except Error:
                if time.monotonic() > deadline:
                    raise
                self.page.wait_for_timeout(200)

    def sign_in(self) -> None:
        """By the passkey; the page for the ramp is on the tablet afterwards."""
        for _ in range(5):
            self.go("/login/")
            try:
                self.page.get_by_role("button", name="Use a passkey").click(timeout=4000)
            except Error:  # a late answer brought the other account's cookie back
                self.context.clear_cookies()
                continue
            # A request of the page before may have brought another token meanwhile: then once more.
            with contextlib.suppress(Error):
                self.page.get_by_role("button", name="Sign out").wait_for(timeout=5000)
                self.remember()
                return
            self.remember()
            self.said[f"login once more ({self.page.locator('h1').inner_text()})"] += 1
        raise AssertionError(f"no login: {self.page.locator('main').inner_text()[:300]}")

    def write(self, number: int, changed: bool, *, key: str = "", signed: bool = True) -> Any:
        """A lesson on the tablet; with a key, a change of one that the school has."""
        asked = {"user": self.user, "ref": self.ref, "key": key or str(uuid.uuid4()), "number": number}
        asked |= {"changed": changed, "signed": signed, "again": bool(key), "day": self.day}
        while (told := self.page.evaluate(WRITE, asked)) is None:
            self.said["nothing to sign with: Today once more"] += 1
            self.context.set_offline(False)
            self.go()
            self.page.wait_for_timeout(1000)
        if not key:
            self.written.append(Written(asked["key"], told["hash"], asked["key"]))
        self.remember()
        return told

    def decide(self, how: str, number: int) -> bool:
        """Decide on an entry that the school refused, if there is one."""
        told = self.page.evaluate(DECIDE, {"user": self.user, "how": how, "number": number})
        if told is None:
            return False
        self.remember()
        self.decided += 1
        made = "key" in told
        self.said[f"{'signed again' if made else 'discarded'}: {told['fault'][:40]}"] += 1
        for each in self.written:
            if each.key == told["was"]:
                each.before.append((each.key, each.hash))
                each.ended = not made
                if made:
                    each.key, each.hash = told["key"], told["hash"]
        return True

    def flush(self) -> None:
        self.page.evaluate(FLUSH, self.user)

    def kill(self) -> None:
        """The tab is gone, whatever it was at."""
        self.page.close()
        self.open()
        self.go()


class Storm:
    """Cycles of writing, with something that goes wrong in each. ``kill_server`` is None where it cannot."""

    def __init__(self, tablet: Tablet, drawn: random.Random, kill_server: Callable[[], Any] | None = None):
        self.tablet, self.drawn, self.kill_server = tablet, drawn, kill_server

    def run(self, cycles: int) -> None:
        for number in range(cycles):
            self.cycle(number)
        self.settle()

    def cycle(self, number: int) -> None:
        tablet, drawn = self.tablet, self.drawn
        offline = drawn.random() < 0.5
        tablet.context.set_offline(offline)
        if drawn.random() < 0.3:
            tablet.go()
        self.last = tablet.write(number, drawn.random() < 0.3)
        kinds = ["nothing", "reload", "kill", "answer lost", "network broken"]
        kinds += ["nonce spent", "student reassigned", "left over", "another account"]
        kinds += [] if offline else ["signed meanwhile"]
        kinds += ["login ended"] if drawn.random() < 0.5 and not offline else []
        kinds += ["server killed"] if self.kill_server else []
        kind = drawn.choice(kinds)
        tablet.said[f"{kind}{', offline' if offline else ''}"] += 1
        getattr(self, kind.replace(" ", "_"))()
        if drawn.random() < 0.5:
            tablet.context.set_offline(False)
            self.decide_all(number)

    def decide_all(self, number: int) -> None:
        """What the school refused so far; a signature needs a nonce, and so the network and a login."""
        for _ in range(20):
            with contextlib.suppress(Error):  # the server may be starting, or the login have ended
                if not self.tablet.decide(self.drawn.choice(["corrected", "corrected", "discarded"]), number):
                    return

    def pause(self) -> None:
        self.tablet.page.wait_for_timeout(self.drawn.uniform(0, 250))

    def nothing(self) -> None:
        self.tablet.flush()
        self.pause()

    def reload(self) -> None:
        self.tablet.flush()
        self.pause()
        self.tablet.go()

    def kill(self) -> None:
        self.tablet.flush()
        self.pause()
        self.tablet.kill()

    def answer_lost(self) -> None:
        self.tablet.lose = self.drawn.randint(1, 3)
        self.tablet.context.set_offline(False)
        self.tablet.flush()
        self.pause()

    def network_broken(self) -> None:
        self.tablet.context.set_offline(False)
        self.tablet.flush()
        self.pause()
        self.tablet.context.set_offline(True)

    def login_ended(self) -> None:
        self.tablet.context.clear_cookies()
        self.tablet.flush()
        self.pause()
        self.tablet.sign_in()

    def nonce_spent(self) -> None:
        """What the last signature was to spend is spent already."""
        from training.models import SpentNonce

        if self.last.get("nonce"):
            drawn = self.last["nonce"].partition(":")[0]
            SpentNonce.objects.get_or_create(nonce=drawn, defaults={"at": dt.datetime.now(dt.UTC)})
        self.nothing()

    def student_reassigned(self) -> None:
        from training.models import Assignment

        given = Assignment.objects.filter(student__ref=self.tablet.ref)
        before = list(given.values_list("pk", "starts"))
        later = dt.datetime.now(dt.UTC).date() + dt.timedelta(days=9)
        given.update(starts=later)
        try:
            self.nothing()
            self.pause()
        finally:
            for pk, starts in before:
                Assignment.objects.filter(pk=pk).update(starts=starts)

    def left_over(self) -> None:
        asked = {"user": self.tablet.user, "ref": self.tablet.ref, "key": str(uuid.uuid4())}
        self.tablet.page.evaluate(LEFT_OVER, asked)
        self.nothing()

    def another_account(self) -> None:
        """Somebody else signs in on the tablet; then the instructor does again."""
        from tests.support.browsing import add_session
        from training.models import User

        tablet = self.tablet
        tablet.context.set_offline(False)
        tablet.context.clear_cookies()
        add_session(tablet.page, tablet.at, User.objects.get(email="olaf@hilltop.example"))
        tablet.flush()
        self.pause()
        tablet.context.clear_cookies()
        tablet.sign_in()

    def signed_meanwhile(self) -> None:
        """The school's draft is signed elsewhere while the tablet changes and signs it, too."""
        from training.models import LessonRecord, SignOff, User
        from training.services.lessons import sign_offs

        tablet = self.tablet
        number = len(tablet.written)
        told = tablet.write(number, False, signed=False)
        key = tablet.written[-1].key
        for _ in range(20):
            tablet.flush()
            tablet.page.wait_for_timeout(100)
            if LessonRecord.objects.filter(pk=key).exists():
                break
        else:
            tablet.said["signed meanwhile, not reached"] += 1
            tablet.written[-1].ended = True  # a draft, which nobody signed
            return
        tablet.context.set_offline(True)
        tablet.write(number, True, key=key)
        at, by = dt.datetime.now(dt.UTC), User.objects.get(pk=tablet.user)
        sign_offs.sign_off(uuid.UUID(key), by=by, content_hash=told["hash"], at=at, via="web")
        assert SignOff.objects.filter(lesson=key).exists()
        tablet.context.set_offline(False)
        self.nothing()

    def server_killed(self) -> None:
        assert self.kill_server is not None
        self.tablet.flush()
        self.pause()
        self.tablet.said[f"killed {self.kill_server()}"] += 1

    def settle(self) -> None:
        """The network is back for good: wait until everything is sent."""
        tablet = self.tablet
        tablet.lose = 0
        tablet.context.set_offline(False)
        tablet.go()
        deadline = time.monotonic() + STILL
        while True:
            tablet.flush()
            tablet.page.wait_for_timeout(500)
            told = tablet.page.evaluate(WAITING)
            if not told["number"]:
                return
            self.decide_all(-1)
            assert time.monotonic() < deadline, f"{told['number']} still wait: {told['says']}"


def faults(tablet: Tablet) -> list[str]:
    """Everything in the database that is not as it was told on the tablet."""
    from training import models
    from training.services.lessons import lesson_audit

    signed = list(models.SignOff.objects.order_by("ledger_index").select_related("lesson"))
    there = [(str(each.lesson_id), each.content_hash) for each in signed]
    told = [(each.key, each.hash) for each in tablet.written if not each.ended]
    every = {pair for each in tablet.written for pair in (*each.before, (each.key, each.hash))}
    found = [f"lost: {key}" for key, digest in told if (key, digest) not in there]
    found += [f"never told: {each}" for each in there if each not in every]
    found += [f"doubled: {each}" for each, count in collections.Counter(there).items() if count > 1]
    corrected = {str(each) for each in models.Correction.objects.values_list("lesson_id", flat=True)}
    of = {key: each.first for each in tablet.written for key, _ in (*each.before, (each.key, each.hash))}
    newest = collections.Counter(of.get(key, key) for key, _ in there if key not in corrected)
    found += [f"one lesson signed {count} times: {key}" for key, count in newest.items() if count > 1]
    straight = [(each.key, each.hash) for each in tablet.written if not each.before and not each.ended]
    if not found and [each for each in there if each in straight] != straight:
        found.append("the order of the signing was not kept")
    drafts = {str(each) for each in models.LessonRecord.objects.values_list("pk", flat=True)}
    found += [f"a lesson record of nobody's: {each}" for each in drafts - set(of)]
    logged = models.AccessLog.objects.filter(what__startswith="tablet entry ")
    if logged.count() != tablet.decided:
        found.append(f"{logged.count()} decisions logged of {tablet.decided}")
    for school in models.School.objects.all():
        found += [str(each) for each in lesson_audit.faults(school)]
    return found


def begin(browser: Browser, at: str, people: Any) -> Tablet:
    """A tablet with a passkey of the instructor's, signed in, and the page for the ramp on it."""
    from tests.support.browsing import sign_in
    from tests.training.web.accounts.test_passkeys_in_a_browser import add_passkey

    day = people.school.day(dt.datetime.now(dt.UTC))
    tablet = Tablet(browser, at, str(people.ida.pk), str(people.sam.ref), f"{day}")
    sign_in(tablet.page, at)
    add_passkey(tablet.page, at)
    tablet.remember()
    tablet.go()
    tablet.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    tablet.go()
    return tablet


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """The system's Chromium, without the calls home that a closed network refuses."""
    flags = ["--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
    flags += ["--disable-component-update", "--disable-sync"]
    if os.geteuid() == 0:
        flags.append("--no-sandbox")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=system_chromium(), args=flags)
        yield browser
        browser.close()


def run(running: Servers, cycles: int, seed: int) -> int:
    """The storm and its judgement; returns the exit code."""
    from django.core.management import call_command
    from django.db import connection

    from tests.fault_injection.sign_offs import ledger_faults
    from tests.support.cast import cast

    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # the driver runs a loop in this thread
    running.environment["ALLOWED_HOSTS"] = "127.0.0.1,localhost"  # a passkey needs a name
    call_command("migrate", verbosity=0, interactive=False)
    people = cast()
    people.ida.set_password(PASSWORD)
    people.ida.save()
    connection.close()
    drawn = random.Random(seed)
    print(f"{cycles} cycles of a tablet on {running.on}, seed {seed}", flush=True)
    running.serve()
    began = time.monotonic()
    with chromium() as browser:
        tablet = begin(browser, f"http://localhost:{running.port}", people)
        try:
            Storm(tablet, drawn, lambda: running.kill_web(drawn)).run(cycles)
        finally:
            running.stop_web()
    wrong = [*faults(tablet), *ledger_faults()]
    what = ", ".join(f"{count} x {name}" for name, count in sorted(tablet.said.items()))
    print(f"{len(tablet.written)} lessons signed on the tablet in {time.monotonic() - began:.0f} s: {what}")
    print(f"{tablet.lost} answers were thrown away after the server had acted; {tablet.decided} decisions")
    for fault in wrong:
        print(f"  {fault}")
    print(
        f"{len(wrong)} FAULTS"
        if wrong
        else "WHOLE: 0 lost, 0 doubled, 0 dead ends, in the order of the signing"
    )
    return 1 if wrong else 0
