"""One flight with properties, takeoffs and landings, and a milestone inside a milestone."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from syllabus.engine.record.record import Flight, Landings, Record
from syllabus.engine.rules import conflicts, facts, logged
from syllabus.engine.rules.facts import YES, Fact, Journey
from syllabus.engine.rules.finding import Answer, Counted, Finding
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Limit, Named, Reason, WholeMinutes, reason, several
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import Amounts, count, distance
from syllabus.engine.time.days import Days

DUAL, SOLO = "dual", "solo"
FAILS, REVIEW = "fails", "review"


def occupied(flight: Flight, how: str) -> Fact:
    """Whether the entry is dual with an instructor named, or solo."""
    if not flight.times.get(how):
        return False, reason(f"flight.no-{how}")
    if how == DUAL:
        return facts.taught(flight)
    return YES


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
    counted: list[Counted] = []
    not_counted: list[tuple[str, Reason]] = []
    ask: list[tuple[str, Reason]] = []
    notes: list[Reason] = []
    judge = _Judge(rule, record, question)
    for journey in _candidates(rule, record):
        day = journey.day
        wrong, missing, gave = judge(journey, notes if day <= question.on else [])
        if wrong:
            if day <= question.on:
                not_counted.extend((entry.id, several(wrong)) for entry in journey.entries)
        elif missing:
            maybe = min(filter(None, (maybe, day)))
            if day <= question.on:
                ask.extend((journey.last.id, each) for each in missing)
        else:
            first = min(filter(None, (first, day)))
            if day <= question.on:
                counted.extend((entry.id, gave) for entry in journey.entries)
    holds = Days.starting(first) & rule.in_force
    done = question.on in holds
    return Finding(
        rule=rule,
        holds=holds,
        possible=holds | (Days.starting(maybe) & rule.in_force),
        have=(count(int(done), "flight"),),
        need=(count(1, "flight"),),
        remaining=(count(int(not done), "flight"),),
        counted=tuple(counted),
        not_counted=tuple(not_counted),
        ask=tuple(ask),
        notes=tuple(notes),
    )


def _candidates(rule: RuleVersion, record: Record) -> Iterable[Journey]:
    """The journeys worth a word, with an entry flown the right way, each once."""
    found: dict[int, Journey] = {}
    home: dict[int, bool] = {}  # by the route itself, which many flights share
    for flight in facts.flights_logging(record, rule.params["occupancy"]):
        if flight.trip is None and not flight.times.get("cross_country"):
            route = id(flight.route)
            if route not in home:
                home[route] = len({place.key for place in flight.route}) < 2
            if home[route]:
                continue
        journey = facts.journey(record, flight)
        if _relevant(rule, journey):
            found[id(journey)] = journey
    return found.values()


def _relevant(rule: RuleVersion, journey: Journey) -> bool:
    """Away from the field or logged as cross-country, and by night where the rule says so."""
    if not any(entry.times.get("cross_country") for entry in journey.entries) and not journey.leaves_home:
        return False
    return not rule.get("at_night") or any(
        entry.times.get("night") or facts.night_unknown(entry) or facts.computed_night(entry)
        for entry in journey.entries
    )


class _Judge:
    """Judges journeys; those over one route that logged the same and leave nothing else open, once."""

    def __init__(self, rule: RuleVersion, record: Record, question: Question):
        self.of = rule, record, question
        self.plainly = None if rule.get("at_night") else _Plainly(rule, record, question)
        self.judged: dict[tuple[int, int], _Judged] = {}

    def __call__(self, journey: Journey, notes: list[Reason]) -> _Judged:
        flight = journey.last
        if self.plainly is None or flight.trip is not None or not self.plainly.flown(flight):
            return _judge(*self.of, journey, notes)
        key = id(flight.route), id(flight.landings)
        if key not in self.judged:
            said = len(notes)
            found = _judge(*self.of, journey, notes)
            if len(notes) > said:  # a note names its flight
                return found
            self.judged[key] = found
        return self.judged[key]


_Judged = tuple[list[Reason], list[Reason], Amounts]


def _judge(
    rule: RuleVersion, record: Record, question: Question, journey: Journey, notes: list[Reason]
) -> _Judged:
    """What is wrong with a journey, what is missing, and what it gave."""
    if journey.readings:
        answers = [_judge(rule, record, question, reading, []) for reading in journey.readings]
        if len({(bool(wrong), bool(missing)) for wrong, missing, _ in answers}) > 1:
            return [], [journey.doubt], ()
        return _judge(rule, record, question, journey.readings[0], notes)
    wrong: list[Reason] = []
    missing: list[Reason] = []

    def take(answer: Fact) -> bool:
        met, why = answer
        if met is False and why not in wrong:
            wrong.append(why)
        if met is None and why not in missing:
            missing.append(why)
        return met is True

    if journey.broken:
        take((False, journey.broken))
        return wrong, missing, ()
    for entry in journey.entries:
        take(occupied(entry, rule.params["occupancy"]))
        take(facts.suits(entry, rule.get("aircraft") or facts.ANY, question.models))
        if conflict := conflicts.conflicts(record, question).get(entry.id):
            take((None, conflict))
        for each in entry.landings:
            if off_route := conflicts.landing_conflict(entry, each):
                take((None, off_route))
        if rule.get("at_night") and (by_day := conflicts.night_conflict(entry)):
            take((None, by_day))
    if rule.get("at_night"):
        take(_at_night(journey, notes))
    if journey.doubt:
        take((None, journey.doubt))
        return wrong, missing, ()
    if not journey.points:
        take((None, reason("route.unknown")))
        return wrong, missing, ()
    total = _distances(rule, journey, take, notes)
    if stops := rule.get("full_stops"):
        take(_full_stops(journey, stops))
    if limit := rule.get("landing_more_than"):
        beyond, why = journey.lands_beyond(limit)
        if beyond is False and rule.get("landing_short") == REVIEW:
            if not wrong:
                take((None, _unclear(rule, why)))
        else:
            take((beyond, why))
        far = journey.farthest
        _close(far and far[0], limit, "landing", journey, notes)
    return wrong, missing, (distance(total),)


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


def _distances(rule: RuleVersion, journey: Journey, take: Callable[[Fact], bool], notes: list[Reason]) -> int:
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
            take((None, facts.position_unknown(lost)) if lost else (False, short))
        _close(value, limit, what, journey, notes)
    return total


def _close(value: int | None, limit: int, what: str, journey: Journey, notes: list[Reason]) -> None:
    if value is not None and facts.close(value, limit):
        flight, away = Named(journey.last.id), distance(value)
        notes.append(reason(f"flight.{what}-near-limit", flight=flight, distance=away, limit=Limit(limit)))


def _full_stops(journey: Journey, need: int) -> Fact:
    """Full-stop landings at ``need`` different points, the one of return included.

    An entry ends with the airplane at rest, so its last point is a full stop unless the log says otherwise.
    """
    sure: set[str] = set()
    open_: dict[str, Reason] = {}
    for entry in journey.entries:
        for index, place in enumerate(entry.route[1:], start=1):
            said = [each for each in entry.landings if each.at is not None and each.at.key == place.key]
            said = [each for each in said if each.landings]
            if any(each.full_stop for each in said):
                sure.add(place.key)
            elif any(each.full_stop is None for each in said):
                open_[place.key] = reason("stop.full-unknown", at=place.key)
            elif not said and index == len(entry.route) - 1:
                sure.add(place.key)
            elif not said:
                open_[place.key] = reason("stop.landing-unknown", at=place.key)
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
    counted: list[Counted] = []
    not_counted: list[tuple[str, Reason]] = []
    ask: list[tuple[str, Reason]] = []
    for flight, landed in _landed(rule, record, question):
        have, most = _sum(have, landed.sure), _sum(most, landed.possible)
        if first is None and have[0] >= need[0] and have[1] >= need[1]:
            first = flight.date
        if maybe is None and most[0] >= need[0] and most[1] >= need[1]:
            maybe = flight.date
        if flight.date <= question.on:
            shown = have
            if any(landed.sure):
                counted.append((flight.id, _both(*landed.sure)))
            not_counted.extend((flight.id, why) for why in landed.whys)
            ask.extend((flight.id, each) for each in landed.missing)
    holds = Days.starting(first) & rule.in_force
    return Finding(
        rule=rule,
        holds=holds,
        possible=holds | (Days.starting(maybe) & rule.in_force),
        have=_both(*shown),
        need=_both(*need),
        remaining=_both(max(0, need[0] - shown[0]), max(0, need[1] - shown[1])),
        counted=tuple(counted),
        not_counted=tuple(not_counted),
        ask=tuple(ask),
    )


@dataclass(slots=True)
class _Landed:
    """The takeoffs and landings of a flight that count for sure and that may count, and what is said."""

    sure: tuple[int, int] = (0, 0)
    possible: tuple[int, int] = (0, 0)
    whys: list[Reason] = field(default_factory=list)
    missing: list[Reason] = field(default_factory=list)


def _landed(rule: RuleVersion, record: Record, question: Question) -> Iterator[tuple[Flight, _Landed]]:
    """What each flight gives; those that logged the same and leave nothing else open are judged once."""
    occupancy = rule.params["occupancy"]
    plainly = _Plainly(rule, record, question)
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


class _Plainly:
    """Which flights leave nothing open but what their takeoffs and landings are."""

    def __init__(self, rule: RuleVersion, record: Record, question: Question):
        self.suited = logged.log_of(record, question).suited(rule.get("aircraft") or facts.ANY)
        self.conflicts = conflicts.conflicts(record, question)
        self.occupancy, self.night = rule.params["occupancy"], rule.get("period") == "night"
        self.on_route: dict[tuple[int, int], bool] = {}

    def flown(self, flight: Flight) -> bool:
        where = id(flight.route), id(flight.landings)
        if where not in self.on_route:
            self.on_route[where] = not any(
                conflicts.landing_conflict(flight, each) for each in flight.landings
            )
        return (
            self.on_route[where]
            and id(flight.aircraft) in self.suited
            and not flight.aircraft.device
            and flight.id not in self.conflicts
            and occupied(flight, self.occupancy)[0] is True
            and not (
                self.night and any(conflicts.night_landing_conflict(flight, each) for each in flight.landings)
            )
        )


def _judged(rule: RuleVersion, record: Record, question: Question, flight: Flight) -> _Landed:
    landed = _Landed()
    for each in flight.landings:
        for takeoff, amount in ((True, each.takeoffs), (False, each.landings)):
            if not amount:
                continue
            fits, why = _landing_fits(rule, record, question, flight, each, takeoff)
            added = (amount, 0) if takeoff else (0, amount)
            if fits:
                landed.sure = _sum(landed.sure, added)
            if fits is not False:
                landed.possible = _sum(landed.possible, added)
            if fits is None and why not in landed.missing:
                landed.missing.append(why)
            if fits is False and why and why not in landed.whys:
                landed.whys.append(why)
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


def _landing_fits(
    rule: RuleVersion, record: Record, question: Question, flight: Flight, each: Landings, takeoff: bool
) -> Fact:
    """Whether these takeoffs or landings count. A "no" without words is of no interest to anybody."""
    if not _of_interest(rule, each):
        return False, NOTHING
    period = rule.get("period")
    if flight.aircraft.device:
        return False, reason("landing.in-device")
    answers = [
        occupied(flight, rule.params["occupancy"]),
        facts.suits(flight, rule.get("aircraft") or facts.ANY, question.models),
    ]
    for conflict in (
        conflicts.conflicts(record, question).get(flight.id, NOTHING),
        conflicts.landing_conflict(flight, each),
        conflicts.night_landing_conflict(flight, each) if period == "night" else NOTHING,
    ):
        if conflict:
            answers.append((None, conflict))
    answers += _properties(rule, each, takeoff)
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


@kind("milestone", milestone=Param(registry.word(), True))
def milestone(
    rule: RuleVersion, record: Record, question: Question, nested: Callable[[str], Answer]
) -> Finding:
    """Everything another milestone asks for holds."""
    answer = nested(rule.params["milestone"])
    parts = answer.findings
    holds, possible = answer.holds & rule.in_force, answer.possible & rule.in_force
    met = sum(part.met(question.on) is True for part in parts)
    total = len(parts)
    return Finding(
        rule, holds, possible, (count(met, "requirement"),), (count(total, "requirement"),),
        (count(total - met, "requirement"),), parts=parts,
        ask=tuple(ask for part in parts if part.met(question.on) is None for ask in part.ask),
    )  # fmt: skip
