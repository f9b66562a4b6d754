"""One flight that has every property a rule wants of it at once."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from syllabus.engine import effort
from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules import conflicts, facts, journeys
from syllabus.engine.rules.facts import YES, Fact
from syllabus.engine.rules.finding import Finding, Told
from syllabus.engine.rules.journeys import Journey
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.landings import full_stops
from syllabus.engine.rules.kinds.occupancy import DUAL, SOLO, Plainly, occupied
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Limit, Named, Reason, WholeMinutes, reason, several
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import Amounts, count, distance
from syllabus.engine.time.days import Days

FAILS, REVIEW = "fails", "review"


@kind(
    "one_flight",
    occupancy=Param(registry.word(DUAL, SOLO), True),
    aircraft=Param(registry.word(*facts.AIRCRAFT)),
    at_night=Param(registry.flag),
    total_more_than=Param(registry.distance),
    total_at_least=Param(registry.distance),
    leg_more_than=Param(registry.distance),
    leg_at_least=Param(registry.distance),
    landing_more_than=Param(registry.distance),
    landing_short=Param(registry.word(FAILS, REVIEW)),
    defined_in=Param(registry.word()),
    full_stops=Param(registry.number),
)
def one_flight(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """One flight, an entry or a trip of several, has every property at once.

    Distances are straight lines between the points of the route, to 0.01 NM. ``landing_more_than`` is the
    distance of a landing from the original point of departure; where the rule's own distances are met and
    only that is not, ``landing_short: review`` leaves it to a person, by the definition ``defined_in``.
    """
    first: date | None = None
    maybe: date | None = None
    told = Told()
    for entries, day, (wrong, missing, gave, notes) in _Judge(rule, record, question):
        if day <= question.on:
            told.notes += notes
        if wrong:
            if day <= question.on:
                told.not_counted += [(entry.id, wrong) for entry in entries]
        elif missing:
            maybe = min(maybe or day, day)
            if day <= question.on:
                told.ask += [(entries[-1].id, each) for each in missing]
        else:
            first = min(first or day, day)
            if day <= question.on:
                told.counted += [(entry.id, gave) for entry in entries]
    holds = Days.starting(first)
    done = question.on in holds & rule.in_force
    have, remaining = (count(int(done), "flight"),), (count(int(not done), "flight"),)
    return told.finding(rule, holds, Days.starting(maybe), have, (count(1, "flight"),), remaining)


class _Judge:
    """The journeys worth a word with their days, each judged once; so are those that differ in nothing.

    Those do not that go over one route, logged the same landings and leave nothing else open.
    """

    def __init__(self, rule: RuleVersion, record: Record, question: Question):
        self.of = rule, record, question
        self.plainly = None if rule.get("at_night") else Plainly(rule, record, question)
        self.judged: dict[tuple[int, int], _Judged] = {}

    def __iter__(self) -> Iterator[tuple[tuple[Flight, ...], date, _Judged]]:
        rule, record, _ = self.of
        away: dict[int, bool] = {}  # by the route itself, which many flights share
        trips: set[int] = set()
        for flight in facts.flown(record).logging[rule.params["occupancy"]]:
            if flight.trip is None:
                if (leaves := away.get(id(flight.route))) is None:
                    leaves = away[id(flight.route)] = len({place.key for place in flight.route}) > 1
                if _relevant(rule, (flight,), leaves):
                    yield (flight,), flight.date, self._alone(flight)
                continue
            journey = journeys.journey(record, flight)
            if id(journey) not in trips and _relevant(rule, journey.entries, journey.leaves_home):
                trips.add(id(journey))
                yield journey.entries, journey.day, _judge(*self.of, journey)

    def _alone(self, flight: Flight) -> _Judged:
        """Judge a flight that is a journey of its own."""
        if self.plainly is None or not self.plainly.flown(flight):
            return _judge(*self.of, journeys.journey(self.of[1], flight))
        key = id(flight.route), id(flight.landings)
        if (found := self.judged.get(key)) is None:
            found = _judge(*self.of, journeys.journey(self.of[1], flight))
            if not found[3]:  # a note names its flight
                self.judged[key] = found
        return found


def _relevant(rule: RuleVersion, entries: tuple[Flight, ...], leaves_home: bool) -> bool:
    """Away from the field or logged as cross-country, and by night where the rule says so."""
    away = leaves_home or any(entry.times.get("cross_country") for entry in entries)
    if not away or not rule.get("at_night"):
        return away
    return any(
        entry.times.get("night") or facts.night_unknown(entry) or facts.computed_night(entry)
        for entry in entries
    )


_Judged = tuple[Reason, list[Reason], Amounts, list[Reason]]
"""What is wrong with a journey, what is missing, what it gave, and what is to be noted."""


class _Verdict:
    """What is wrong with a journey and what is missing to judge it, each named once."""

    def __init__(self) -> None:
        self.wrong: list[Reason] = []
        self.missing: list[Reason] = []

    def take(self, answer: Fact) -> None:
        met, why = answer
        if met is False and why not in self.wrong:
            self.wrong.append(why)
        if met is None and why not in self.missing:
            self.missing.append(why)


def _judge(rule: RuleVersion, record: Record, question: Question, journey: Journey) -> _Judged:
    """Judge a journey; one whose entries may stand in several orders, in each of them."""
    effort.check()
    if journey.readings:
        answers = [_judge(rule, record, question, reading) for reading in journey.readings]
        if len({(bool(wrong), bool(missing)) for wrong, missing, *_ in answers}) > 1:
            return NOTHING, [journey.doubt], (), []
        return answers[0]
    if journey.broken:
        return journey.broken, [], (), []
    verdict, notes = _Verdict(), list[Reason]()
    for entry in journey.entries:
        _entry(rule, record, question, entry, verdict)
    if rule.get("at_night"):
        verdict.take(_at_night(journey, notes))
    if journey.doubt or not journey.points:
        verdict.take((None, journey.doubt or reason("route.unknown")))
        return several(verdict.wrong), verdict.missing, (), notes
    total = _distances(rule, journey, verdict, notes)
    if stops := rule.get("full_stops"):
        verdict.take(full_stops(journey, stops))
    if limit := rule.get("landing_more_than"):
        _landing(rule, journey, limit, verdict, notes)
    return several(verdict.wrong), verdict.missing, (distance(total),), notes


def _entry(rule: RuleVersion, record: Record, question: Question, entry: Flight, verdict: _Verdict) -> None:
    """Judge an entry by itself: who flew it and in what, and what on record contradicts it."""
    verdict.take(occupied(entry, rule.params["occupancy"]))
    verdict.take(facts.suits(entry, rule.get("aircraft") or facts.ANY, question.models))
    if conflict := conflicts.conflicts(record, question).get(entry.id):
        verdict.take((None, conflict))
    for each in entry.landings:
        if off_route := conflicts.landing_conflict(entry, each):
            verdict.take((None, off_route))
    if rule.get("at_night") and (by_day := conflicts.night_conflict(entry)):
        verdict.take((None, by_day))


def _landing(rule: RuleVersion, journey: Journey, limit: int, verdict: _Verdict, notes: list[Reason]) -> None:
    """Judge how far from the original point of departure the journey landed."""
    beyond, why = journey.lands_beyond(limit)
    if beyond is not False or rule.get("landing_short") != REVIEW:
        verdict.take((beyond, why))
    elif not verdict.wrong:
        verdict.take((None, _unclear(rule, why)))
    far = journey.farthest
    _close(far and far[0], limit, "landing", journey, notes)


def _unclear(rule: RuleVersion, why: Reason) -> Reason:
    """A landing too near for a cross-country flight, which the rule leaves to a person."""
    if defined := rule.get("defined_in"):
        return reason("flight.cross-country-unclear-under", why=why, citation=defined)
    return reason("flight.cross-country-unclear", why=why)


def _at_night(journey: Journey, notes: list[Reason]) -> Fact:
    logged = sum(entry.times.get("night", 0) for entry in journey.entries)
    if logged:
        total = sum(entry.times.get("total", 0) for entry in journey.entries)
        if logged < total:
            night, all_of_it = (WholeMinutes(facts.minutes(each)) for each in (logged, total))
            flight = Named(journey.last.id)
            notes.append(reason("flight.part-at-night", flight=flight, night=night, total=all_of_it))
        return YES
    for entry in journey.entries:
        if unknown := facts.night_unknown(entry):
            return None, unknown
    return False, reason("flight.no-night")


def _distances(rule: RuleVersion, journey: Journey, verdict: _Verdict, notes: list[Reason]) -> int:
    """Judge the distances; the total in hundredths of a nautical mile."""
    legs = [leg for leg, _, _ in journey.legs]
    total, longest = sum(legs), max(legs, default=0)
    for name, value, what in (
        ("total_more_than", total, "total"),
        ("total_at_least", total, "total"),
        ("leg_more_than", longest, "leg"),
        ("leg_at_least", longest, "leg"),
    ):
        limit = rule.params.get(name)
        if limit is None:
            continue
        if value < limit or (value == limit and name.endswith("more_than")):
            code = name.replace("_", "-")
            short = reason(f"flight.{code}", distance=distance(value), limit=Limit(limit))
            lost = journey.unlocated
            verdict.take((None, journeys.position_unknown(lost)) if lost else (False, short))
        _close(value, limit, what, journey, notes)
    return total


def _close(value: int | None, limit: int, what: str, journey: Journey, notes: list[Reason]) -> None:
    if value is not None and journeys.close(value, limit):
        flight, away = Named(journey.last.id), distance(value)
        notes.append(reason(f"flight.{what}-near-limit", flight=flight, distance=away, limit=Limit(limit)))
