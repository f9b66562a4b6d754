"""Endorsements by an instructor: what they name, what they rest on, and the limits a rule puts on them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from typing import Any

from syllabus.engine.places.geography import Place
from syllabus.engine.record.record import FLIGHT_INSTRUCTOR, Endorsement, Record
from syllabus.engine.rules import facts, journeys
from syllabus.engine.rules.facts import YES, Fact
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.kinds import registry, training
from syllabus.engine.rules.kinds.evidence import CONTEXT, Evidence, Names, not_needed, shortened, until
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Limit, reason
from syllabus.engine.rules.rulebook import Requirement, RuleVersion
from syllabus.engine.time import calendar
from syllabus.engine.time.amounts import count, distance
from syllabus.engine.time.days import Days

TRAINING_DATE, GIVEN = "training_date", "given"
APPLICATION = "application"
#: What a rule may ask an endorsement to name, beside the test and the route of one flight.
NAMED = ("aircraft_model", "category", "class", "airport", "area")


def by_itself(requirement: Requirement) -> Requirement:
    """The requirement as far as an endorsement alone can satisfy it: without the training it rests on.

    Where the training decides how long it holds (``window``), the requirement as it is.
    """

    def bare(params: Mapping[str, Any]) -> dict[str, Any]:
        kept = {key: value for key, value in params.items() if key not in ("training", "after_test")}
        return {key: bare(value) if isinstance(value, dict) else value for key, value in kept.items()}

    return replace(
        requirement,
        versions=tuple(
            each if "window" in each.params else replace(each, params=bare(each.params))
            for each in requirement.versions
        ),
    )


def given(
    rule: RuleVersion,
    record: Record,
    kinds: Iterable[str],
    found: Evidence,
    allowed: Collection[str] | None = None,
) -> Iterable[Endorsement]:
    """Endorsements of these kinds by an instructor who may give them; any other is noted and left out.

    An instructor's authority that the record does not show is not asked for; it counts against an
    endorsement where the entry or the school says that it was missing on that day.
    """
    allowed = allowed or rule.get("given_by") or (FLIGHT_INSTRUCTOR,)
    for each in record.endorsements:
        if each.kind not in kinds:
            continue
        who = each.instructor
        if who is None:
            found.no(each, reason("instructor.none"))
        elif who.kind not in allowed:
            found.no(each, reason("instructor.may-not-give", instructor=who.kind))
        elif each.given in found.question.settings.lacks_authority(who):
            found.no(each, reason("instructor.no-authority", name=who.name, day=each.given))
        else:
            yield each


@kind(
    "endorsement",
    endorsements=Param(registry.words(), True),
    given_by=Param(registry.words()),
    names=Param(registry.words(*NAMED)),
    test=Param(registry.word()),
    category=Param(registry.word()),
    classes=Param(registry.words()),
    only_with=Param(registry.word("airport")),
    life=Param(registry.length),
    counts_from=Param(registry.word(TRAINING_DATE, GIVEN)),
    training=Param(training.TRAINING),
    window=Param(registry.window),
    window_before=Param(registry.word(APPLICATION)),
    after_test=Param(registry.word()),
)
def endorsement(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """An endorsement is on record, names what is asked about, and rests on training that came before it.

    ``names`` must be named and equal; ``test``, ``category`` and ``classes`` must be equal where they are
    named. The life counts from the training or from the endorsement, as ``counts_from`` says: from the
    training on record where that is older than the endorsement says. An instructor's ``expires`` only
    shortens. ``only_with`` asks for nothing where the question does not have that key. ``window`` is the time
    before the application within which the training lies.
    """
    only = rule.get("only_with")
    if only and getattr(question.context, only) is None:
        return not_needed(rule, "endorsement", reason(f"needed.with-{only}"))
    found = Evidence("endorsement", question)
    for each in given(rule, record, rule.params["endorsements"], found):
        names = named(rule, question, each)
        if (
            record.student.name
            and each.instructor
            and facts.same(each.instructor.name) == facts.same(record.student.name)
        ):
            names.answer((None, reason("endorsement.own")))
        if needed := rule.get("after_test"):
            _after_test(names, record, question, each, needed)
        _live(rule, record, question, each, names, found)
    return found.finding(rule)


def named(rule: RuleVersion, question: Question, each: Endorsement) -> Names:
    """What an endorsement names, compared with what the rule ties it to and the question asks about."""
    names = Names(each, question)
    wanted, context = rule.get("names") or (), question.context
    if "aircraft_model" in wanted:
        names.model(each.aircraft_model)
    if "category" in wanted:
        names.word(each.category, question.category, "category")
    if "class" in wanted:
        names.word(each.klass, question.klass, "class")
    if "airport" in wanted:
        names.word(_key(each.airport), _key(context.airport), "airport")
    if "area" in wanted:
        names.word(each.area, context.area, "area")
    if test := rule.get("test"):
        names.given_word(each.test, test)
    if category := rule.get("category"):
        names.given_word(each.category, category)
    if classes := rule.get("classes"):
        names.given_word(each.klass, (question.klass in classes and question.klass) or classes[0])
    if not {"aircraft_model", "category"} & set(wanted) and each.aircraft_model and context.aircraft_model:
        names.model(each.aircraft_model)
    _no_other_aircraft(names, question, each)
    return names


def _no_other_aircraft(names: Names, question: Question, each: Endorsement) -> None:
    """What an endorsement says beside what it must name is not of another category or class."""
    if question.context.aircraft_model is None or question.category is None:
        return
    names.given_word(each.category, question.category)
    if question.klass is not None:
        names.given_word(each.klass, question.klass)


def _key(place: Place | None) -> str | None:
    return place.key if place is not None else None


def _after_test(names: Names, record: Record, question: Question, each: Endorsement, needed: str) -> None:
    """The instructor's own test comes before the endorsement that rests on it."""
    passed = [
        test.date
        for test in record.tests
        if test.kind == needed
        and test.result == "pass"
        and test.aircraft_model is not None
        and question.context.aircraft_model is not None
        and question.models.same(test.aircraft_model, question.context.aircraft_model)
    ]
    if passed and min(passed) > each.given:
        names.answer((None, reason("endorsement.test-later", given=each.given, passed=min(passed))))


def _live(
    rule: RuleVersion, record: Record, question: Question, each: Endorsement, names: Names, found: Evidence
) -> None:
    """Count an endorsement for its life, as far as the training on record carries it."""
    asks, life = rule.get("training"), rule.get("life")
    start = each.training_date or each.given if rule.get("counts_from") == TRAINING_DATE else each.given
    sure = possible = shortened(calendar.last_day(start, life) if life else None, each.expires)
    begins = each.given
    if asks is not None:
        anchor = question.context.application_date if rule.get("window_before") else None
        window: calendar.Length | None = rule.get("window")
        opens = calendar.window_start(anchor, window) if window and anchor else None
        trained = training.behind(asks, record, question, each, opens=opens, closes=anchor)
        if trained.possible is None:
            names.answer((False, trained.why))
        elif trained.sure is None:
            for missing in trained.asked:
                names.answer((None, missing))
        if anchor is not None:
            begins = max(begins, anchor)
        elif window and trained.possible:
            sure = shortened(calendar.last_day(trained.sure or trained.possible, window), sure)
            possible = shortened(calendar.last_day(trained.possible, window), possible)
        if life and rule.get("counts_from") == TRAINING_DATE and trained.sure and trained.sure < start:
            # what was certified counts for sure only as long as the training on record carries it
            sure = shortened(calendar.last_day(trained.sure, life), sure)
        names.answer(training.items_behind(asks, record, each))
        if asks.get("on_its_day"):
            names.answer(training.on_the_day(record, each))
    days, all_days = Days.between(begins, sure), Days.between(begins, possible)
    if not all_days:
        found.no(each, reason("endorsement.ended", given=each.given, ended=possible or begins))
        return
    names.settle(found, days, reason("endorsement.given", given=each.given, until=until(sure)), all_days)
    if not names.wrong and not names.asked and (rest := all_days - days):
        found.maybe(each, rest, reason("endorsement.training-older", start=start))


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
        _no_other_aircraft(names, question, each)
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
        _no_other_aircraft(names, question, each)
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
            names.word(_key(each.airport), place.key, "airport")
            _no_other_aircraft(names, question, each)
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
    if trained.possible is None:
        names.answer((False, trained.why))
    elif trained.sure is None:
        for missing in trained.asked:
            names.answer((None, missing))


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


@kind("airport_open", closed=Param(registry.table(registry.word(), registry.word()), True))
def airport_open(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """The airport asked about is none of those where the rule bars solo flight by a student."""
    airport = question.context.airport
    if airport is None:
        return not_needed(rule, "airport", reason("needed.with-airport"))
    none, one = (count(0, "airport"),), (count(1, "airport"),)
    closed = rule.params["closed"].get(airport.key)
    if closed is not None:
        why = reason("airport.closed", airport=airport.key, place=closed)
        return Finding(rule, Days.none(), Days.none(), none, one, one, not_counted=((CONTEXT, why),))
    return Finding(
        rule, rule.in_force, rule.in_force, one, one, none,
        counted=((CONTEXT, reason("airport.open", airport=airport.key)),),
    )  # fmt: skip
