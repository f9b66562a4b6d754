"""Logged time: totals of a kind, in a window or for good, with what a training device may add."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import accumulate
from typing import Any, Final

from syllabus.engine.record.record import DEVICES, TIMES, Document, Flight, Record
from syllabus.engine.rules import conflicts, facts, journeys, logged
from syllabus.engine.rules.finding import Counted, Finding
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.evidence import ONE_DAY
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.kinds.training import PREPARATION
from syllabus.engine.rules.logged import LOGBOOK_STEP, Row, Wanted
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Limit, Named, Reason, WholeMinutes, reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import amounts, calendar
from syllabus.engine.time.days import Days

COUNTS = (*TIMES, facts.INSTRUMENT)
#: Where a row of a total has what is sure, what is possible, and what was found where it is not plain.
SURE: Final = 1
POSSIBLE: Final = 2
SHARE: Final = 4

DEVICE_CREDIT = registry.struct(
    together=(("by_letter", "letter"),),
    devices=Param(registry.words(*DEVICES), True),
    by_letter=Param(registry.words(*DEVICES)),
    letter=Param(registry.word()),
    at_most=Param(registry.time, True),
)

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


@dataclass(slots=True)
class Share:
    """What one entry gives: for sure, at most, and why not more."""

    flight: Flight
    sure: int = 0
    possible: int = 0
    device: bool = False
    why: Reason = NOTHING
    note: Reason = NOTHING
    missing: tuple[Reason, ...] = ()


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
    counts, prepares = rule.params["counts"], rule.get("prepares_for")
    wanted = Wanted(
        counts,
        rule.get("aircraft") or facts.ANY,
        PREPARATION + prepares if prepares else "",
        rule.get("landing_more_than"),
    )
    plain = len(counts) == 1 and not any(rule.get(name) for name in _CONDITIONS) and counts[0] != "dual"
    doubts = conflicts.conflicts(record, question)
    unprepared = reason("time.not-preparation", test=prepares) if prepares and len(counts) == 1 else None

    def closer(flight: Flight) -> Share | None:
        if unprepared and wanted.purpose not in flight.purposes and facts.logged(flight, counts[0]):
            return Share(flight, why=unprepared)
        if plain:
            amount = facts.logged(flight, counts[0]) or 0
            share: Share | None = Share(flight, amount, amount)
        else:
            share = _flight_share(rule, record, question, flight)
        if share is not None:
            _doubt(share, rule, question, doubts)
        return share

    flown = logged.rows(record, question, wanted, closer)
    devices = facts.in_devices(record)
    if not devices:
        return flown
    credit = rule.get("device_credit")
    letters = [paper for paper in record.documents if credit and paper.kind == credit.get("letter")]
    rows = list(flown)
    for flight in devices:
        if share := _device_share(rule, question, flight, credit, letters):
            _doubt(share, rule, question, doubts)
            rows.append((flight, share.sure, share.possible, None, share))
    return sorted(rows, key=lambda row: row[0].order)


def _doubt(share: Share, rule: RuleVersion, question: Question, doubts: Mapping[str, Reason]) -> None:
    """Take from what is sure the hours that another fact on record contradicts; they stay possible."""
    flight = share.flight
    if not share.sure:
        return
    if doubt := doubts.get(flight.id):
        share.sure = 0
        share.missing += (doubt,)
        return
    if "night" in rule.params["counts"] and (by_day := conflicts.night_conflict(flight)):
        share.sure = 0
        share.missing += (by_day,)
        return
    bound = conflicts.hours_bound(flight, question.settings)
    if bound is not None and share.sure > bound:
        logged = amounts.time(share.sure)
        share.sure = bound
        share.missing += (reason("time.over-clock", logged=logged, most=amounts.time(bound)),)


def _device_share(
    rule: RuleVersion,
    question: Question,
    flight: Flight,
    credit: dict[str, Any] | None,
    letters: list[Document],
) -> Share | None:
    """Time in a device: never flight time; a rule may credit instruction in it, up to a cap."""
    counts = rule.params["counts"]
    logged = [facts.logged(flight, name) or 0 for name in counts]
    device = flight.aircraft.device or ""
    if credit is None:
        if not min(logged):
            return None
        return Share(flight, why=reason("device.no-flight-time", device=device))
    dual = flight.times.get("dual", 0)
    if not dual:
        if not min(logged):
            return None
        return Share(flight, why=reason("device.no-training", device=device))
    by_instructor, why = facts.taught(flight)
    if not by_instructor:
        return Share(flight, why=why)
    category, klass = question.models.kind_of(flight.aircraft)
    if klass is not None and question.klass is not None and klass.split()[0] != question.klass.split()[0]:
        other = reason("device.other-class", represents=klass, credited=question.klass)
        return Share(flight, why=other)
    if category is not None and question.category is not None and category != question.category:
        other = reason("device.other-category", represents=category, credited=question.category)
        return Share(flight, why=other)
    if device in credit["devices"]:
        share = Share(flight, dual, dual, device=True)
        if category is None:
            share.sure, share.missing = 0, (reason("device.category-unknown"),)
        return share
    if device in credit.get("by_letter", ()):
        model = flight.aircraft.model or ""
        if any(_authorizes(letter, model, flight.date) for letter in letters):
            return Share(flight, dual, dual, device=True)
        return Share(
            flight, 0, dual, device=True, why=reason("device.no-letter", device=device),
            missing=(reason("device.letter-unknown", device=device, document=credit["letter"]),),
        )  # fmt: skip
    return Share(flight, why=reason("device.no-credit", device=device))


def _authorizes(letter: Document, model: str, day: date) -> bool:
    """Whether a letter names the device's model and was in force on the day it was used."""
    named = letter.aircraft_model is not None and facts.same(letter.aircraft_model) == facts.same(model)
    return named and day in Days.between(letter.issued, letter.expires)


def _flight_share(rule: RuleVersion, record: Record, question: Question, flight: Flight) -> Share | None:
    """What a flight gives; None where it has nothing to do with the rule."""
    counts = rule.params["counts"]
    if len(counts) == 1 and counts[0] != "night":
        amount = facts.logged(flight, counts[0]) or 0
        return _limited(rule, record, question, Share(flight, amount, amount))
    amounts = {name: facts.logged(flight, name) for name in counts}
    unknown = NOTHING
    if "night" in amounts and amounts["night"] is None:
        unknown = facts.night_unknown(flight)
        if unknown:
            del amounts["night"]
    at_most = min(amount or 0 for amount in (amounts or {"total": flight.times.get("total")}).values())
    if not at_most:
        return _unlogged_night(flight, amounts)
    share = Share(flight, at_most, at_most)
    if len(amounts) > 1:
        whole = flight.times.get("total") or max(amount or 0 for amount in amounts.values())
        beside = sum(amount or 0 for amount in amounts.values()) - (len(amounts) - 1) * whole
        share.sure = min(at_most, max(0, beside))
        if share.sure < at_most:
            together = " and ".join(map(_worded, amounts))
            share.missing = (reason("time.overlap-unknown", times=together),)
    if unknown:
        share.sure = 0
        share.missing += (unknown,)
    return _limited(rule, record, question, share)


def _unlogged_night(flight: Flight, amounts: dict[str, int | None]) -> Share | None:
    """An entry flown at night, by its off and on, whose night nobody logged: gives nothing, and says so."""
    others = [amount for name, amount in amounts.items() if name != "night"]
    if "night" not in amounts or amounts["night"] is not None or not others or not all(others):
        return None
    if not (computed := facts.computed_night(flight)):
        return None
    minutes = WholeMinutes(facts.minutes(computed))
    return Share(flight, why=reason("time.night-not-logged", computed=minutes))


def _worded(name: str) -> str:
    return name.replace("_", "-")


def _limited(rule: RuleVersion, record: Record, question: Question, share: Share) -> Share:
    """The share, less what the rule's other conditions do not let count."""
    flight, params = share.flight, rule.params
    prepares = params.get("prepares_for")
    if prepares and PREPARATION + prepares not in flight.purposes:
        return Share(flight, why=reason("time.not-preparation", test=prepares))
    if "dual" in params["counts"]:
        by_instructor, why = facts.taught(flight)
        if not by_instructor:
            return Share(flight, why=why)
    fits, why = facts.suits(flight, params.get("aircraft") or facts.ANY, question.models)
    if fits is False:
        return Share(flight, why=why)
    if fits is None:
        share.sure = 0
        share.missing += (why,)
    if limit := params.get("landing_more_than"):
        journey = journeys.over_route(record, flight)
        beyond, why = journey.lands_beyond(limit)
        far = journey.farthest
        note = NOTHING
        if far and journeys.close(far[0], limit):
            note = reason(
                "route.landing-near-limit",
                flight=Named(flight.id),
                place=far[1].key,
                distance=amounts.distance(far[0]),
                limit=Limit(limit),
            )
        if beyond is False:
            return Share(flight, why=why, note=note)
        share.note = note
        if beyond is None:
            share.sure = 0
            share.missing += (why,)
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
