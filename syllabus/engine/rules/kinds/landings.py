"""Takeoffs and landings with properties, added up; full-stop landings at different points of one flight."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from syllabus.engine.record.record import Flight, Landings, Record
from syllabus.engine.rules import conflicts, facts
from syllabus.engine.rules.facts import YES, Fact
from syllabus.engine.rules.finding import Finding, Told
from syllabus.engine.rules.journeys import Journey
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.occupancy import DUAL, SOLO, Plainly, occupied
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import Reason, reason, several
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import Amounts, count
from syllabus.engine.time.days import Days


@kind(
    "landings_at_least",
    occupancy=Param(registry.word(DUAL, SOLO), True),
    takeoffs=Param(registry.number, True),
    landings=Param(registry.number, True),
    aircraft=Param(registry.word(*facts.AIRCRAFT)),
    period=Param(registry.word("night", "day")),
    full_stop=Param(registry.flag),
    pattern=Param(registry.flag),
    towered=Param(registry.flag),
)
def landings_at_least(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """So many takeoffs and so many landings with the properties asked for."""
    need = rule.params["takeoffs"], rule.params["landings"]
    have = most = shown = (0, 0)
    first: date | None = None
    maybe: date | None = None
    told = Told()
    for flight, landed in _landed(rule, record, question):
        have, most = _sum(have, landed.sure), _sum(most, landed.possible)
        if first is None and have[0] >= need[0] and have[1] >= need[1]:
            first = flight.date
        if maybe is None and most[0] >= need[0] and most[1] >= need[1]:
            maybe = flight.date
        if flight.date <= question.on:
            shown = have
            if landed.gave:
                told.counted.append((flight.id, landed.gave))
            if landed.whys or landed.missing:
                told.not_counted += [(flight.id, why) for why in landed.whys]
                told.ask += [(flight.id, each) for each in landed.missing]
    remaining = _both(max(0, need[0] - shown[0]), max(0, need[1] - shown[1]))
    return told.finding(
        rule, Days.starting(first), Days.starting(maybe), _both(*shown), _both(*need), remaining
    )


@dataclass(slots=True)
class _Landed:
    """The takeoffs and landings of a flight that count for sure and that may count, and what is said."""

    sure: tuple[int, int] = (0, 0)
    possible: tuple[int, int] = (0, 0)
    whys: list[Reason] = field(default_factory=list)
    missing: list[Reason] = field(default_factory=list)
    gave: Amounts = ()


def _landed(rule: RuleVersion, record: Record, question: Question) -> Iterator[tuple[Flight, _Landed]]:
    """What each flight gives; those that logged the same and leave nothing else open are judged once."""
    occupancy = rule.params["occupancy"]
    plainly = Plainly(rule, record, question)
    of_interest: dict[int, bool] = {}
    judged: dict[int, _Landed] = {}
    for flight in record.flights:
        if not flight.landings or not flight.times.get(occupancy):
            continue
        key = id(flight.landings)
        if key not in of_interest:
            of_interest[key] = any(_of_interest(rule, each) for each in flight.landings)
        if not of_interest[key]:
            continue
        if not plainly.flown(flight):
            yield flight, _judged(rule, record, question, flight)
            continue
        if key not in judged:
            judged[key] = _judged(rule, record, question, flight)
        yield flight, judged[key]


def _judged(rule: RuleVersion, record: Record, question: Question, flight: Flight) -> _Landed:
    landed = _Landed()
    made = [each for each in flight.landings if (each.takeoffs or each.landings) and _of_interest(rule, each)]
    if made and flight.aircraft.device:
        landed.whys.append(reason("landing.in-device"))
        return landed
    of_flight = _of_flight(rule, record, question, flight) if made else []
    for each in made:
        answers = [*of_flight, *_conflicts(rule, flight, each)]
        for takeoff, amount in ((True, each.takeoffs), (False, each.landings)):
            if not amount:
                continue
            fits, why = _worst([*answers, *_properties(rule, each, takeoff)])
            added = (amount, 0) if takeoff else (0, amount)
            if fits:
                landed.sure = _sum(landed.sure, added)
            if fits is not False:
                landed.possible = _sum(landed.possible, added)
            if fits is None and why not in landed.missing:
                landed.missing.append(why)
            if fits is False and why not in landed.whys:
                landed.whys.append(why)
    if any(landed.sure):
        landed.gave = _both(*landed.sure)
    return landed


def _sum(one: tuple[int, int], other: tuple[int, int]) -> tuple[int, int]:
    return one[0] + other[0], one[1] + other[1]


def _of_interest(rule: RuleVersion, each: Landings) -> bool:
    """Whether the log does not say that they are by day where the rule says night, or at no tower."""
    period = rule.get("period")
    if period and each.period is not None and each.period != period:
        return False
    return not (rule.get("towered") and each.towered is False)


def _both(takeoffs: int, landings: int) -> Amounts:
    return count(takeoffs, "takeoff"), count(landings, "landing")


def _of_flight(rule: RuleVersion, record: Record, question: Question, flight: Flight) -> list[Fact]:
    """Whether any takeoff or landing of a flight counts."""
    answers = [
        occupied(flight, rule.params["occupancy"]),
        facts.suits(flight, rule.get("aircraft") or facts.ANY, question.models),
    ]
    if conflict := conflicts.conflicts(record, question).get(flight.id):
        answers.append((None, conflict))
    return answers


def _conflicts(rule: RuleVersion, flight: Flight, each: Landings) -> Iterable[Fact]:
    """What on record contradicts these takeoffs and landings."""
    if conflict := conflicts.landing_conflict(flight, each):
        yield None, conflict
    if rule.get("period") == "night" and (conflict := conflicts.night_landing_conflict(flight, each)):
        yield None, conflict


def _worst(answers: list[Fact]) -> Fact:
    """A "no" with all that is wrong, else all that is missing, else a yes."""
    for met in (False, None):
        if found := [why for answer, why in answers if answer is met]:
            return met, several(found)
    return YES


def _properties(rule: RuleVersion, each: Landings, takeoff: bool) -> Iterable[Fact]:
    """What is wrong or missing of the properties that the rule wants of takeoffs or landings."""
    what = "takeoff" if takeoff else "landing"

    def said(code: str) -> Reason:
        return reason(f"{code}-at", at=each.at.key) if each.at else reason(code)

    if rule.get("period") and each.period is None:
        yield None, said(f"{what}.period-unknown")
    if rule.get("towered") and each.towered is None:
        yield None, said("landing.tower-unknown")
    if rule.get("full_stop") and not takeoff and not each.full_stop:
        if each.full_stop is None:
            yield None, said("landing.full-stop-unknown")
        else:
            yield False, said("landing.no-full-stop")
    if rule.get("pattern") and not each.pattern:
        if each.pattern is None:
            yield None, said(f"{what}.pattern-unknown")
        else:
            yield False, said("landing.no-pattern")


def full_stops(journey: Journey, need: int) -> Fact:
    """Full-stop landings at ``need`` different points, the one of return included.

    An entry ends with the airplane at rest, so its last point is a full stop unless the log says otherwise.
    """
    sure, open_ = _stops(journey)
    asked = [each for key, each in open_.items() if key not in sure]
    if len(sure) >= need:
        return YES
    if len(sure) + len(asked) >= need:
        return None, several(asked)
    if not sure:
        return False, reason("stop.none", need=need)
    places = tuple(sorted(sure))
    if len(sure) == 1:
        return False, reason("stop.one", places=places, need=need)
    return False, reason("stop.too-few", stops=len(sure), places=places, need=need)


def _stops(journey: Journey) -> tuple[set[str], dict[str, Reason]]:
    """The points of full-stop landings that are certain, and what is asked about the others."""
    sure: set[str] = set()
    open_: dict[str, Reason] = {}
    for entry in journey.entries:
        for index, place in enumerate(entry.route[1:], start=1):
            stopped = [
                each.full_stop
                for each in entry.landings
                if each.landings and each.at is not None and each.at.key == place.key
            ]
            if any(stopped) or (not stopped and index == len(entry.route) - 1):
                sure.add(place.key)
            elif None in stopped:
                open_[place.key] = reason("stop.full-unknown", at=place.key)
            elif not stopped:
                open_[place.key] = reason("stop.landing-unknown", at=place.key)
    return sure, open_
