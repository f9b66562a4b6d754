"""Logged time: totals of a kind, in a window or for good, with what a training device may add."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from itertools import accumulate
from typing import Any

from syllabus.engine.record.record import TIMES, Flight, Record
from syllabus.engine.rules import conflicts, facts, logged
from syllabus.engine.rules.finding import Finding, Told
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.evidence import ONE_DAY
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.kinds.shares import DEVICE_CREDIT, device_share, doubt, flight_share
from syllabus.engine.rules.kinds.training import PREPARATION
from syllabus.engine.rules.logged import Rows, Share, Wanted
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import Reason, reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import amounts, calendar
from syllabus.engine.time.amounts import Amounts
from syllabus.engine.time.days import Days

COUNTS = (*TIMES, facts.INSTRUMENT)
#: Conditions beside the times themselves that an entry may have to meet.
_CONDITIONS = ("aircraft", "landing_more_than", "prepares_for")

TOTAL_PARAMS = {
    "counts": Param(registry.words(*COUNTS), True),
    "need": Param(registry.time, True),
    "aircraft": Param(registry.word(*facts.AIRCRAFT)),
    "landing_more_than": Param(registry.distance),
    "prepares_for": Param(registry.word()),
    "window": Param(registry.window),
    "device_credit": Param(DEVICE_CREDIT),
}


@kind("total_at_least", **TOTAL_PARAMS)
def total_at_least(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """Add up the time that counts, and say on which days the total was enough.

    ``counts`` names times that must fall together (dual and night: night training). An entry's overlap of
    two such times is only sure as far as they fill the entry; the rest is a question. Logged time is never
    raised: a night or cross-country time computed from the entry stands beside it.
    """
    need: int = rule.params["need"]
    window: calendar.Length | None = rule.get("window")
    cap = rule.params["device_credit"]["at_most"] if rule.get("device_credit") else 0
    rows, on = _rows(rule, record, question), question.on
    sure = _Steps(rows, rows.sure, window, cap)
    most = rows.possible
    possible = sure if most == rows.sure else _Steps(rows, most, window, cap)
    have = sure.at(on)
    differs = logged.log_of(record, question).differs if "night" in rule.params["counts"] else {}
    told = _Told(cap, differs)
    if on in rule.in_force:
        told.tell(rows, calendar.window_start(on, window) if window else date.min, on)
    return told.finding(
        rule,
        sure.days_with(need),
        possible.days_with(need),
        (amounts.time(have),),
        (amounts.time(need),),
        (amounts.time(max(0, need - have)),),
    )


class _Told(Told):
    """What the entries up to a day gave and did not give, under one version of a rule.

    ``differs`` has the notes on entries whose time is night, by their ids.
    """

    def __init__(self, cap: int, differs: Mapping[str, Reason]):
        super().__init__()
        self.cap, self.device_left, self.differs = cap, cap, differs

    def tell(self, rows: Rows, opens: date, on: date) -> None:
        start, end = bisect_left(rows.days, opens), bisect_right(rows.days, on)
        self.not_counted = [
            (flight.id, reason("time.before-window", flown=flight.date, opens=opens))
            for flight, sure in zip(rows.flights[:start], rows.sure[:start], strict=True)
            if sure
        ]
        gave = rows.gave[start:end]
        for index in range(start, end) if self.differs else list(rows.shares):
            if not start <= index < end:
                continue
            flight, share = rows.flights[index], rows.shares.get(index)
            if self.differs and rows.sure[index] and flight.id in self.differs:
                self.notes.append(self.differs[flight.id])
            if share is None:
                continue
            if self.cap and share.device:
                share, gave[index - start] = self._credited(share)
            if share.why:
                self.not_counted.append((flight.id, share.why))
            if share.note:
                self.notes.append(share.note)
            self.ask.extend((flight.id, missing) for missing in share.missing)
        self.counted = [
            (flight.id, amount)
            for flight, amount in zip(rows.flights[start:end], gave, strict=True)
            if amount
        ]

    def _credited(self, share: Share) -> tuple[Share, Amounts]:
        """A session in a device with what is credited of it, as far as the cap lets it count."""
        gave = min(share.sure, self.device_left)
        self.device_left -= gave
        if gave < share.sure:
            over = amounts.time(share.sure - gave)
            why = reason("time.over-device-credit", over=over, most=amounts.time(self.cap))
            share = replace(share, why=why)
        return share, logged.evidence(gave)


class _Steps:
    """A total over the days: each entry adds on its day and, in a window, leaves again after its last."""

    def __init__(self, rows: Rows, given: list[int], window: calendar.Length | None, cap: int):
        self.grows = window is None
        devices = {index for index, share in rows.shares.items() if share.device}
        if self.grows and not devices:
            self.days = rows.days
            self.totals = list(accumulate(given))
            return
        flown: dict[date, int] = {}
        device: dict[date, int] = {}
        for index, (day, amount) in enumerate(zip(rows.days, given, strict=True)):
            if not amount:
                continue
            changes = device if index in devices else flown
            changes[day] = changes.get(day, 0) + amount
            if window:
                gone = calendar.last_day(day, window) + ONE_DAY
                changes[gone] = changes.get(gone, 0) - amount
        in_air = in_device = 0
        self.days, self.totals = sorted(flown.keys() | device.keys()), []
        for day in self.days:
            in_air += flown.get(day, 0)
            in_device += device.get(day, 0)
            self.totals.append(in_air + min(in_device, cap))

    def at(self, day: date) -> int:
        """The total at the end of a day."""
        index = bisect_right(self.days, day)
        return self.totals[index - 1] if index else 0

    def days_with(self, need: int) -> Days:
        if need <= 0:
            return Days.all()
        if self.grows:
            index = bisect_left(self.totals, need)
            return Days.starting(self.days[index] if index < len(self.days) else None)
        spans: list[tuple[date | None, date | None]] = []
        start: date | None = None
        for day, total in zip(self.days, self.totals, strict=True):
            if total >= need and start is None:
                start = day
            elif total < need and start is not None:
                spans.append((start, day - ONE_DAY))
                start = None
        if start is not None:
            spans.append((start, None))
        return Days.of(spans)


def _rows(rule: RuleVersion, record: Record, question: Question) -> Rows:
    """What each entry that has to do with the rule gives, in order of date."""
    flown = logged.rows(record, question, _wanted(rule), lambda: _Closer(rule, record, question))
    devices = facts.flown(record).devices
    if not devices:
        return flown
    doubts = conflicts.conflicts(record, question)
    credit = rule.get("device_credit")
    letters = [paper for paper in record.documents if credit and paper.kind == credit.get("letter")]
    sessions = []
    for flight in devices:
        if share := device_share(rule, question, flight, credit, letters):
            doubt(flight, share, rule, question, doubts)
            sessions.append((flight, share))
    return flown.with_devices(sessions)


def _wanted(rule: RuleVersion) -> Wanted:
    prepares = rule.get("prepares_for")
    return Wanted(
        rule.params["counts"],
        rule.get("aircraft") or facts.ANY,
        PREPARATION + prepares if prepares else "",
        rule.get("landing_more_than"),
    )


class _Closer:
    """Looks at the flights that are not plain."""

    def __init__(self, rule: RuleVersion, record: Record, question: Question):
        self.of, self.doubts = (rule, record, question), conflicts.conflicts(record, question)
        counts, prepares = rule.params["counts"], rule.get("prepares_for")
        alone = counts[0] if len(counts) == 1 else None
        conditions = any(rule.get(name) for name in _CONDITIONS)
        self.plain = None if conditions or alone == "dual" else alone
        self.purpose, self.first = PREPARATION + (prepares or ""), counts[0]
        self.unprepared: Share | None = None
        if prepares and alone:
            self.unprepared = Share(why=reason("time.not-preparation", test=prepares))

    def __call__(self, flight: Flight) -> Share | None:
        rule, record, question = self.of
        if self.unprepared and self.purpose not in flight.purposes and facts.logged(flight, self.first):
            return self.unprepared
        if self.plain is not None:
            amount = facts.logged(flight, self.plain) or 0
            share: Share | None = Share(amount, amount)
        else:
            share = flight_share(rule, record, question, flight)
        if share is not None:
            doubt(flight, share, rule, question, self.doubts)
        return share
