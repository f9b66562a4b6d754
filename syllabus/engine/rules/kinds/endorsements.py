"""Endorsements by an instructor: what they name, what they rest on, and the limits a rule puts on them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from syllabus.engine.places.geography import Place
from syllabus.engine.record.record import FLIGHT_INSTRUCTOR, Endorsement, Record
from syllabus.engine.rules import facts
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.kinds import registry, training
from syllabus.engine.rules.kinds.evidence import CONTEXT, Evidence, Names, not_needed, shortened, until
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import reason
from syllabus.engine.rules.rulebook import Requirement, RuleVersion
from syllabus.engine.time import calendar
from syllabus.engine.time.amounts import count
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
        names.word(airport_key(each.airport), airport_key(context.airport), "airport")
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
    no_other_aircraft(names, question, each)
    return names


def no_other_aircraft(names: Names, question: Question, each: Endorsement) -> None:
    """What an endorsement says beside what it must name is not of another category or class."""
    if question.context.aircraft_model is None or question.category is None:
        return
    names.given_word(each.category, question.category)
    if question.klass is not None:
        names.given_word(each.klass, question.klass)


def airport_key(place: Place | None) -> str | None:
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
    start = each.training_date or each.given if rule.get("counts_from") == TRAINING_DATE else each.given
    life = rule.get("life")
    last = shortened(calendar.last_day(start, life) if life else None, each.expires)
    lives = _Life(start, each.given, last, last)
    if rule.get("training") is not None:
        _carried(rule, record, question, each, names, lives)
    days, all_days = Days.between(lives.begins, lives.sure), Days.between(lives.begins, lives.possible)
    if not all_days:
        ended = lives.possible or lives.begins
        found.no(each, reason("endorsement.ended", given=each.given, ended=ended))
        return
    gave = reason("endorsement.given", given=each.given, until=until(lives.sure))
    names.settle(found, days, gave, all_days)
    if not names.wrong and not names.asked and (rest := all_days - days):
        found.maybe(each, rest, reason("endorsement.training-older", start=start))


@dataclass(slots=True)
class _Life:
    """When an endorsement holds: from ``begins`` to the last day for sure, and to the last that may be.

    ``start`` is the day from which its life is counted.
    """

    start: date
    begins: date
    sure: date | None
    possible: date | None


def _carried(
    rule: RuleVersion, record: Record, question: Question, each: Endorsement, names: Names, lives: _Life
) -> None:
    """Shorten a life to what the training on record carries; ``names`` takes what that lacks."""
    asks, life = rule.params["training"], rule.get("life")
    anchor = question.context.application_date if rule.get("window_before") else None
    window: calendar.Length | None = rule.get("window")
    opens = calendar.window_start(anchor, window) if window and anchor else None
    trained = training.behind(asks, record, question, each, opens=opens, closes=anchor)
    for lack in trained.lacks():
        names.answer(lack)
    if anchor is not None:
        lives.begins = max(lives.begins, anchor)
    elif window and trained.possible:
        newest = trained.sure or trained.possible
        lives.sure = shortened(calendar.last_day(newest, window), lives.sure)
        lives.possible = shortened(calendar.last_day(trained.possible, window), lives.possible)
    if life and rule.get("counts_from") == TRAINING_DATE and trained.sure and trained.sure < lives.start:
        # what was certified counts for sure only as long as the training on record carries it
        lives.sure = shortened(calendar.last_day(trained.sure, life), lives.sure)
    names.answer(training.items_behind(asks, record, each))
    if asks.get("on_its_day"):
        names.answer(training.on_the_day(record, each))


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
