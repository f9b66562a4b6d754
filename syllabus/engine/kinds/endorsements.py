"""Endorsements by an instructor, with the limits a rule or the instructor puts on them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from syllabus.engine import calendar
from syllabus.engine.days import Days
from syllabus.engine.facts import apart, in_nm, limit_nm
from syllabus.engine.finding import Finding
from syllabus.engine.geography import Place
from syllabus.engine.kinds import registry
from syllabus.engine.kinds.papers import Evidence, match_model, match_word, shortened, until
from syllabus.engine.kinds.registry import Param, kind
from syllabus.engine.question import Question
from syllabus.engine.record import Endorsement, Record
from syllabus.engine.rulebook import RuleVersion

TRAINING_DATE, GIVEN = "training_date", "given"


def given(record: Record, kinds: Iterable[str], found: Evidence) -> Iterable[Endorsement]:
    """Endorsements of these kinds by a named instructor; one without is noted and left out."""
    for each in record.endorsements:
        if each.kind in kinds:
            if each.instructor is None:
                found.no(each.id, "no instructor is named")
            else:
                yield each


@kind(
    "endorsement",
    endorsements=Param(registry.words(), True),
    for_model=Param(registry.flag),
    at_airport=Param(registry.flag),
    in_area=Param(registry.flag),
    life=Param(registry.length),
    counts_from=Param(registry.word(TRAINING_DATE, GIVEN)),
)
def endorsement(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """An endorsement is on record, for what the context names, within its life.

    The life counts from the training or from the endorsement, as ``counts_from`` says; the endorsement
    itself stands from the day it was given. An instructor's ``expires`` shortens it and never lengthens it.
    """
    found = Evidence("endorsement")
    for each in given(record, rule.params["endorsements"], found):
        last = None
        if life := rule.get("life"):
            start = (
                each.training_date or each.given if rule.get("counts_from") == TRAINING_DATE else each.given
            )
            last = calendar.last_day(start, life)
        last = shortened(last, each.expires)
        days = Days.between(each.given, last)
        gave = f"given {each.given}, {until(last)}"
        if not days:
            found.no(each.id, f"given {each.given}, after it had ended on {last}")
            continue
        _match(rule, each, question, days, gave, found)
    return found.finding(rule, question.on)


def _match(
    rule: RuleVersion, each: Endorsement, question: Question, days: Days, gave: str, found: Evidence
) -> None:
    """Count it if everything the rule ties it to is what was asked about; any one that differs decides."""
    tried: list[Evidence] = []
    if rule.get("for_model"):
        tried.append(Evidence(""))
        match_model(tried[-1], each.id, each.aircraft_model, question, days, gave)
    if rule.get("at_airport"):
        tried.append(Evidence(""))
        here, there = each.airport, question.context.airport
        match_word(
            tried[-1],
            each.id,
            here.key if here else None,
            there.key if there else None,
            days,
            gave,
            "airport",
            "airport",
        )
    if rule.get("in_area"):
        tried.append(Evidence(""))
        match_word(tried[-1], each.id, each.area, question.context.area, days, gave, "area", "airspace area")
    if wrong := [no for one in tried for no in one.not_counted]:
        found.no(each.id, "; ".join(why for _, why in wrong))
    elif asked := [ask for one in tried for ask in one.ask]:
        for entry, missing, span in asked:
            found.maybe(entry, span, missing)
    else:
        found.yes(each.id, days, gave)


@kind(
    "cross_country_endorsement",
    for_flight=Param(registry.words(), True),
    repeated=Param(registry.words(), True),
    repeated_within=Param(registry.distance, True),
)
def cross_country_endorsement(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """An endorsement for this very flight, or a standing one for a route that stays close.

    The one for a flight holds on its ``flight_date`` alone, for its route; the standing one for the same
    airports, where each lies within ``repeated_within`` of the first.
    """
    found = Evidence("endorsement")
    wanted = question.context.route
    for each in given(record, rule.params["for_flight"], found):
        if _other_route(found, each, wanted):
            continue
        if each.flight_date is None:
            found.maybe(each.id, Days.starting(each.given), "the date of the flight it is for")
            continue
        days = Days.between(each.given, shortened(each.flight_date, each.expires)) & Days.between(
            each.flight_date, each.flight_date
        )
        if not days:
            found.no(each.id, f"given {each.given}, not in time for the flight of {each.flight_date}")
        else:
            _routed(found, each, wanted, days, f"for the flight of {each.flight_date}")
    for each in given(record, rule.params["repeated"], found):
        if _other_route(found, each, wanted, there_and_back=True):
            continue
        days = Days.between(each.given, each.expires)
        route = wanted or each.route
        near, why = _within(route, rule.params["repeated_within"])
        if near is False:
            found.no(each.id, why)
        elif near is None:
            found.maybe(each.id, days, why)
        else:
            _routed(found, each, wanted, days, f"standing, {until(each.expires)}")
    return found.finding(rule, question.on)


def _other_route(
    found: Evidence, each: Endorsement, wanted: tuple[Place, ...] | None, *, there_and_back: bool = False
) -> bool:
    """Whether it is for another route than the one asked about, which no further fact could mend."""
    if not wanted or not each.route or _keys(each.route, there_and_back) == _keys(wanted, there_and_back):
        return False
    shown = "-".join(place.key for place in each.route)
    found.no(each.id, f"for {shown}, asked about is {'-'.join(place.key for place in wanted)}")
    return True


def _routed(
    found: Evidence, each: Endorsement, wanted: tuple[Place, ...] | None, days: Days, gave: str
) -> None:
    """Count it for its route, where both it and the question name one."""
    if wanted is None:
        found.maybe("context", days, "route: the airports of the flight asked about")
    elif not each.route:
        found.maybe(each.id, days, "the route it is for")
    else:
        found.yes(each.id, days, gave)


def _keys(route: tuple[Place, ...], there_and_back: bool) -> list[str]:
    """The points in order; a standing endorsement for A to B covers the way back to A."""
    keys = [place.key for place in route]
    if there_and_back and len(keys) > 1 and keys[0] == keys[-1]:
        keys.pop()
    return keys


def _within(route: tuple[Place, ...], limit: int) -> tuple[bool | None, str]:
    """Whether every airport lies within ``limit`` (hundredths of NM) of the first, the limit included."""
    if not route:
        return None, "the route it is for"
    unlocated = [place.name for place in route if not place.known]
    if unlocated:
        return None, f"the position of {', '.join(unlocated)}"
    far = max(route, key=lambda place: apart(route[0], place))
    away = apart(route[0], far)
    if away > limit:
        return False, (
            f"{far.key} is {in_nm(away)} from {route[0].key};"
            f" a standing endorsement reaches {limit_nm(limit)}"
        )
    return True, ""
