"""Logged time: totals of a kind, in a window or for good, with what a training device may add."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import accumulate
from typing import Any, Final

from syllabus.engine.record.record import TIMES, Flight, Record
from syllabus.engine.rules import conflicts, facts, logged
from syllabus.engine.rules.finding import Counted, Finding
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.evidence import ONE_DAY
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.kinds.shares import DEVICE_CREDIT, Share, device_share, doubt, flight_share
from syllabus.engine.rules.kinds.training import PREPARATION
from syllabus.engine.rules.logged import LOGBOOK_STEP, Row, Wanted
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Named, Reason, WholeMinutes, reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import amounts, calendar
from syllabus.engine.time.days import Days

COUNTS = (*TIMES, facts.INSTRUMENT)
#: Where a row of a total has what is sure, what is possible, and what was found where it is not plain.
SURE: Final = 1
POSSIBLE: Final = 2
SHARE: Final = 4

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
    certain, most = [row[SURE] for row in rows], [row[POSSIBLE] for row in rows]
    devices = bool(facts.in_devices(record))
    sure = _Steps(rows, certain, window, devices, cap)
    possible = _Steps(rows, most, window, devices, cap) if most != certain else sure
    have = sure.at(on)
    holds, could = sure.days_with(need) & rule.in_force, possible.days_with(need) & rule.in_force
    told = _Told(on, window, cap, "night" in rule.params["counts"])
    if on in rule.in_force:
        told.tell(rows)
    return Finding(
        rule=rule,
        holds=holds,
        possible=holds | could,
        have=(amounts.time(have),),
        need=(amounts.time(need),),
        remaining=(amounts.time(max(0, need - have)),),
        counted=tuple(told.counted),
        not_counted=tuple(told.not_counted),
        ask=tuple(told.ask),
        notes=tuple(told.notes),
    )


class _Told:
    """What the entries up to a day gave and did not give, under one version of a rule."""

    def __init__(self, on: date, window: calendar.Length | None, cap: int, night: bool):
        self.on, self.cap, self.device_left, self.night = on, cap, cap, night
        self.opens = calendar.window_start(on, window) if window else date.min
        self.counted: list[Counted] = []
        self.not_counted: list[tuple[str, Reason]] = []
        self.ask: list[tuple[str, Reason]] = []
        self.notes: list[Reason] = []

    def tell(self, rows: Iterable[Row]) -> None:
        for flight, sure, _, gave, share in rows:
            if not self.opens <= flight.date <= self.on:
                if sure and flight.date < self.opens:
                    early = reason("time.before-window", flown=flight.date, opens=self.opens)
                    self.not_counted.append((flight.id, early))
            elif gave is not None:
                self.counted.append(gave)
            else:
                self._tell(flight.id, share)

    def _tell(self, name: str, share: Share) -> None:
        """An entry that needs a word, or made in a device."""
        if share.device and share.sure:
            gave = min(share.sure, self.device_left)
            self.device_left -= gave
            if gave:
                self.counted.append((name, (amounts.time(gave),)))
            if gave < share.sure:
                over = amounts.time(share.sure - gave)
                most = amounts.time(self.cap)
                self.not_counted.append((name, reason("time.over-device-credit", over=over, most=most)))
        elif share.sure:
            self.counted.append((name, (amounts.time(share.sure),)))
            if self.night and (beside := _beside(share.flight)):
                self.notes.append(beside)
        if share.why:
            self.not_counted.append((name, share.why))
        if share.note:
            self.notes.append(share.note)
        self.ask.extend((name, missing) for missing in share.missing)


class _Steps:
    """A total over the days: each entry adds on its day and, in a window, leaves again after its last."""

    def __init__(
        self,
        rows: Sequence[Row],
        given: list[int],
        window: calendar.Length | None,
        devices: bool,
        cap: int,
    ):
        self.grows = window is None
        if self.grows and not devices:
            self.days = [row[0].date for row in rows]
            self.totals = list(accumulate(given))
            return
        flown: dict[date, int] = {}
        device: dict[date, int] = {}
        for row, amount in zip(rows, given, strict=True):
            day, share = row[0].date, row[SHARE]
            if not amount:
                continue
            changes = device if share is not None and share.device else flown
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


def _rows(rule: RuleVersion, record: Record, question: Question) -> Sequence[Row]:
    """What each entry that has to do with the rule gives, in order of date."""
    closer = _Closer(rule, record, question)
    flown = logged.rows(record, question, _wanted(rule), closer)
    devices = facts.in_devices(record)
    if not devices:
        return flown
    credit = rule.get("device_credit")
    letters = [paper for paper in record.documents if credit and paper.kind == credit.get("letter")]
    rows = list(flown)
    for flight in devices:
        if share := device_share(rule, question, flight, credit, letters):
            doubt(share, rule, question, closer.doubts)
            rows.append((flight, share.sure, share.possible, None, share))
    return sorted(rows, key=lambda row: row[0].order)


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
        self.unprepared = reason("time.not-preparation", test=prepares) if prepares and alone else NOTHING

    def __call__(self, flight: Flight) -> Share | None:
        rule, record, question = self.of
        if self.unprepared and self.purpose not in flight.purposes and facts.logged(flight, self.first):
            return Share(flight, why=self.unprepared)
        if self.plain is not None:
            amount = facts.logged(flight, self.plain) or 0
            share: Share | None = Share(flight, amount, amount)
        else:
            share = flight_share(rule, record, question, flight)
        if share is not None:
            doubt(share, rule, question, self.doubts)
        return share


def _beside(flight: Flight) -> Reason:
    """A word where the computed night and the logged one are apart by more than a logbook's tenth."""
    computed = facts.computed_night(flight)
    logged = flight.times.get("night", 0)
    if computed is None or abs(computed - logged) <= LOGBOOK_STEP:
        return NOTHING
    return reason(
        "time.night-differs",
        flight=Named(flight.id),
        logged=WholeMinutes(facts.minutes(logged)),
        computed=WholeMinutes(facts.minutes(computed)),
    )
