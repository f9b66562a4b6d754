"""Endorsements for solo cross-country flights: for one flight, standing, or for an airport nearby."""

from __future__ import annotations

from typing import Any

from syllabus.engine.places.geography import Place
from syllabus.engine.record.record import Endorsement, Record
from syllabus.engine.rules import facts, journeys
from syllabus.engine.rules.facts import YES, Fact
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.kinds import registry, training
from syllabus.engine.rules.kinds.endorsements import airport_key, given, no_other_aircraft
from syllabus.engine.rules.kinds.evidence import CONTEXT, Evidence, Names, shortened, until
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Limit, reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import distance
from syllabus.engine.time.days import Days

#: Standing endorsements for flights that stay close to where they begin.
_CLOSE_BY = registry.struct(
    endorsements=Param(registry.words(), True),
    within=Param(registry.distance, True),
    training=Param(training.TRAINING),
)
ORDINARY, REPEATED, NEARBY = "ordinary", "repeated", "nearby"


@kind(
    "cross_country_endorsement",
    given_by=Param(registry.words()),
    for_flight=Param(registry.words(), True),
    repeated=Param(_CLOSE_BY, True),
    nearby=Param(_CLOSE_BY),
)
def cross_country_endorsement(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """One of three: for this very flight, standing for a route that stays close, or for an airport nearby.

    The one for a flight holds on its ``flight_date`` alone, for its route and model; the standing one for the
    same airports, where each lies within ``within`` of the first; the one for an airport where it
    lies within its own ``within`` of where training is given. A question with a path asks for that one alone.
    """
    found = Evidence("endorsement", question)
    if question.path in (None, ORDINARY):
        _for_flight(rule, record, question, found)
    if question.path in (None, REPEATED):
        _repeated(rule, record, question, found)
    if question.path in (None, NEARBY) and rule.get("nearby"):
        _nearby(rule, record, question, found)
    return found.finding(rule)


def _for_flight(rule: RuleVersion, record: Record, question: Question, found: Evidence) -> None:
    for each in given(rule, record, rule.params["for_flight"], found):
        names = Names(each, question)
        names.model(each.aircraft_model)
        no_other_aircraft(names, question, each)
        _route(names, each, question.context.route)
        if each.flight_date is None:
            names.answer((None, reason("named.flight-date")))
            names.settle(found, Days.starting(each.given), NOTHING)
            continue
        days = Days.between(each.given, shortened(each.flight_date, each.expires)) & Days.between(
            each.flight_date, each.flight_date
        )
        if not days:
            found.no(each, reason("endorsement.too-late", given=each.given, flown=each.flight_date))
        else:
            names.settle(found, days, reason("endorsement.for-flight", flown=each.flight_date))


def _repeated(rule: RuleVersion, record: Record, question: Question, found: Evidence) -> None:
    asks = rule.params["repeated"]
    for each in given(rule, record, asks["endorsements"], found):
        names = Names(each, question)
        no_other_aircraft(names, question, each)
        _route(names, each, question.context.route, there_and_back=True)
        if each.aircraft_model is not None:
            names.model(each.aircraft_model)
        names.answer(_within(question.context.route or each.route, asks["within"]))
        _rests_on(names, asks.get("training"), record, question, each)
        standing = reason("endorsement.standing", until=until(each.expires))
        names.settle(found, Days.between(each.given, each.expires), standing)


def _nearby(rule: RuleVersion, record: Record, question: Question, found: Evidence) -> None:
    """Every airport of the route but the first has its own endorsement on the days on which all hold."""
    route = question.context.route
    asks = rule.params["nearby"]
    endorsed = list(given(rule, record, asks["endorsements"], found))
    if not endorsed:
        return
    if route is None:
        for each in endorsed:
            found.maybe(CONTEXT, Days.between(each.given, each.expires), reason("context.route"))
        return
    others = {place.key: place for place in route[1:] if place.key != route[0].key}
    if not others:
        return
    holds, possible = Days.all(), Days.all()
    parts: list[Evidence] = []
    for place in others.values():
        mine = Evidence("endorsement", question)
        for each in endorsed:
            names = Names(each, question)
            names.word(airport_key(each.airport), place.key, "airport")
            no_other_aircraft(names, question, each)
            if each.aircraft_model is not None:
                names.model(each.aircraft_model)
            names.answer(_within((route[0], place), asks["within"]))
            names.answer(_trained_there(record, route[0]))
            _rests_on(names, asks.get("training"), record, question, each, (route[0], place))
            gave = reason("endorsement.for-airport", airport=place.key, until=until(each.expires))
            names.settle(mine, Days.between(each.given, each.expires), gave)
        part = mine.finding(rule)
        holds, possible = holds & part.holds, possible & part.possible
        parts.append(mine)
    for mine in parts:
        found.counted += [(entry, gave, days & holds) for entry, gave, days in mine.counted]
        found.not_counted += mine.not_counted
        found.ask += mine.ask
    found.holds.append(holds)
    found.possible.append(possible)


def _trained_there(record: Record, place: Place) -> Fact:
    """Whether the airport of departure is one where training is given: dual began or ended there."""
    for flight in facts.dual_flights(record):
        if flight.route and place.key in (flight.route[0].key, flight.route[-1].key):
            return YES
    return None, reason("endorsement.home-unknown", airport=place.key)


def _rests_on(
    names: Names,
    asks: dict[str, Any] | None,
    record: Record,
    question: Question,
    each: Endorsement,
    route: tuple[Place, ...] | None = None,
) -> None:
    if asks is None:
        return
    trained = training.behind(asks, record, question, each, route=route)
    for lack in trained.lacks():
        names.answer(lack)


def _route(
    names: Names, each: Endorsement, wanted: tuple[Place, ...] | None, *, there_and_back: bool = False
) -> None:
    """The route, point by point; a standing endorsement for A to B covers the way back to A."""
    if wanted is None:
        names.asked.append((CONTEXT, reason("context.route")))
    elif not each.route:
        names.answer((None, reason("named.route")))
    elif _keys(each.route, there_and_back) != _keys(wanted, there_and_back):
        other = {"given": _keys(each.route, False), "wanted": _keys(wanted, False)}
        names.answer((False, reason("named.other", **{name: "-".join(keys) for name, keys in other.items()})))


def _keys(route: tuple[Place, ...], there_and_back: bool) -> list[str]:
    """The points in order; a standing endorsement for A to B covers the way back to A."""
    keys = [place.key for place in route]
    if there_and_back and len(keys) > 1 and keys[0] == keys[-1]:
        keys.pop()
    return keys


def _within(route: tuple[Place, ...], limit: int) -> Fact:
    """Whether every airport lies within ``limit`` (hundredths of NM) of the first, the limit included."""
    if not route:
        return None, reason("named.route")
    if unlocated := [place for place in route if not place.known]:
        return None, journeys.position_unknown(unlocated)
    far = max(route, key=lambda place: journeys.apart(route[0], place))
    away = journeys.apart(route[0], far)
    if away > limit:
        return False, reason(
            "endorsement.too-far",
            far=far.key,
            distance=distance(away),
            origin=route[0].key,
            limit=Limit(limit),
        )
    return YES
