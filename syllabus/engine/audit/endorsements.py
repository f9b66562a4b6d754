"""Endorsements without the training, recommendations with a gap, and results nobody noted."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from types import MappingProxyType

from syllabus.engine.audit.audit import (
    A_NOTE,
    CORRECTION,
    INCOMPLETE,
    NOTE,
    NOTHING,
    SERIOUS,
    TEST,
    Audited,
    Found,
    KindOfEndorsement,
    Minimums,
    Otherwise,
    Unmet,
    below_the_schools,
    in_force,
    named,
)
from syllabus.engine.errors import NotInForce
from syllabus.engine.record.record import Endorsement, Flight, GroundLesson, Instructor, Record, Test
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.rulebook import (
    ITEMS_AT_STANDARD,
    SOLO_ROLES,
    Milestone,
    Requirement,
    Rulebook,
    Rules,
)
from syllabus.engine.time import calendar

_ASKED = "endorsement"
_WORDS = {True: "On record since", False: "Not met", None: "Not known"}


def findings(
    audited: Audited,
    rulebook: Rulebook,
    rules: Rules,
    kinds: Mapping[str, KindOfEndorsement],
    minimums: Minimums = MappingProxyType({}),
) -> Iterator[Found]:
    """What each endorsement on record shows."""
    for each in audited.record.endorsements:
        kind = kinds.get(each.kind)
        if kind is None:
            continue
        if each.instructor is not None:
            gave = not kind.trained or trained(audited.record, each, ground=kind.ground_counts)
            yield from _untrained(audited, each, kind, rules, rulebook, gave)
            yield from _early(each, kind, rules)
        if kind.about == TEST:
            if not kind.is_about_another(each):
                yield from _recommended(audited, each, kind, rulebook, minimums)
            yield from _without_result(audited, each, kind, rules)


def is_same(one: Instructor, other: Instructor | None) -> bool:
    """Whether two entries mean the same instructor: by the number, else by the name."""
    if other is None:
        return False
    if one.certificate and other.certificate:
        return same(one.certificate) == same(other.certificate)
    return one.name == other.name


def trained(record: Record, given: Endorsement, *, ground: bool) -> bool:
    """Whether training by whoever endorsed is on record: before it, in its model, on the day it names.

    ``ground``: whether training on the ground counts as well.
    """
    lessons: Iterable[Flight | GroundLesson] = (
        flight
        for flight in record.flights
        if flight.times.get("dual") and _in_model(flight, given.aircraft_model)
    )
    if ground:
        lessons = (*lessons, *record.ground)
    return any(
        lesson.instructor is not None
        and lesson.date <= given.given
        and (given.training_date is None or lesson.date == given.training_date)
        and is_same(lesson.instructor, given.instructor)
        for lesson in lessons
    )


def _in_model(flight: Flight, model: str | None) -> bool:
    return model is None or (flight.aircraft.model is not None and same(flight.aircraft.model) == same(model))


def _untrained(
    audited: Audited,
    given: Endorsement,
    kind: KindOfEndorsement,
    rules: Rules,
    rulebook: Rulebook,
    gave: bool,
) -> Iterator[Found]:
    """Without the training on record: no lesson by whoever endorsed, or items that were not at standard.

    The items are those that an endorsement for solo flight rests on itself; what a test asks for is told with
    its recommendation.
    """
    rule = rules.near("training-first", given.given)
    listed = tuple(each for each in _items(rulebook) if each.id in kind.rests_on)
    unmet = _unmet(audited, given, kind.title, listed, rulebook) if listed else []
    if gave and not unmet:
        return
    when = f" on {given.training_date}" if given.training_date else ""
    craft = f" in the {given.aircraft_model}" if given.aircraft_model else ""
    held_now, held_then = _together(unmet)
    says = "" if gave else f" No training{when}{craft} by that instructor was on record then."
    yield Found(
        kind="endorsement-untrained",
        severity=SERIOUS if not gave else INCOMPLETE,
        about=(given.id,),
        day=given.given,
        entries=(given.id,),
        says=f"{kind.title}, given {given.given} by {named(given.instructor)}, without the training on"
        " record."
        f"{says}{_said(unmet, held_now, held_then)}",
        citations=tuple(
            dict.fromkeys((kind.cite.section, rule.cite.section, *(each.citation for each in unmet)))
        ),
        mend=A_NOTE if gave and held_now is True else CORRECTION,
        way="If the training was given, add it with its own date; otherwise note it, and endorse after the"
        " training.",
        verified=rule.verified,
        unmet=tuple(unmet),
        two_times=bool(unmet),
        now=held_now if unmet else None,
        then=held_then if unmet else None,
    )


def _items(rulebook: Rulebook) -> Iterator[Requirement]:
    """The requirements of solo flight that are items to be at standard."""
    for milestone in rulebook.in_role(*SOLO_ROLES):
        yield from (each for each in milestone.requirements if each.kind == ITEMS_AT_STANDARD)


def _early(given: Endorsement, kind: KindOfEndorsement, rules: Rules) -> Iterator[Found]:
    """One flight was endorsed so long before it that nobody could know the conditions."""
    if given.flight_date is None:
        return
    rule = rules.near("existing-conditions", given.given)
    ahead: calendar.Length = rule.params["ahead"]
    if given.flight_date <= calendar.last_day(given.given, ahead):
        return
    yield Found(
        kind="endorsement-early",
        severity=NOTE,
        about=(given.id,),
        day=given.given,
        entries=(given.id,),
        says=f"{kind.title}, given {given.given} by {named(given.instructor)} for a flight on"
        f" {given.flight_date}, before the conditions of that day were known.",
        citations=(rule.cite.section,),
        mend=A_NOTE,
        way="Note what was known of the conditions, and who checked them on the day.",
        verified=rule.verified,
    )


def _unmet(
    audited: Audited,
    given: Endorsement,
    title: str,
    requirements: tuple[Requirement, ...],
    rulebook: Rulebook,
) -> list[Unmet]:
    """What of some requirements did not hold on an endorsement's day, as known now or as known then."""
    put = rulebook.with_milestone(Milestone(_ASKED, title, title, (), requirements))
    otherwise = audited.otherwise(given.given, audited.then(given), Record.PARTS)
    context = Context(aircraft_model=given.aircraft_model, application_date=given.given)

    def asked(record: Record) -> list[Finding]:
        # a failure on its day or later is what came of the endorsement
        tests = tuple(each for each in record.tests if each.result != "fail" or each.date < given.given)
        record = replace(record, tests=tests)
        report = evaluate(put, record, _ASKED, given.given, context=context, settings=audited.settings)
        return list(report.leaves())

    try:
        now = asked(audited.record)
        then = asked(audited.as_it_was(otherwise)) if otherwise != Otherwise() else now
    except (NotInForce, NotCovered):
        return []
    answers = (
        (leaf.rule, leaf.met(given.given), before.met(given.given))
        for leaf, before in zip(now, then, strict=True)
    )
    return [
        Unmet(rule.id, rule.says, rule.cite.section, rule.verified, met, was)
        for rule, met, was in answers
        if not (met and was)
    ]


def _together(unmet: list[Unmet]) -> tuple[bool | None, bool | None]:
    """Whether all of it held, as known now, and as known then."""

    def every(answers: list[bool | None]) -> bool | None:
        return False if False in answers else None if None in answers else True

    return every([each.now for each in unmet]), every([each.then for each in unmet])


def _said(unmet: list[Unmet], now: bool | None, then: bool | None) -> str:
    known = ""
    if now != then:
        known = (
            " The record shows it now, but did not then."
            if now
            else " The record as it was then gives another answer."
        )
    return known + "".join(f" {_WORDS[each.now]}: {each.says} ({each.citation})." for each in unmet)


def _recommended(
    audited: Audited,
    given: Endorsement,
    kind: KindOfEndorsement,
    rulebook: Rulebook,
    minimums: Minimums,
) -> Iterator[Found]:
    """The gap of a recommendation on its day: of all that the test asks but what the endorsement proves."""
    milestone = next((name for name in kind.rests_on if name in rulebook.milestones), None)
    if milestone is None:
        return
    here = in_force(minimums.get(milestone, ()), given.given)
    asked = tuple(Requirement(each.id, each.kind, (each,)) for each in here)
    if below := _unmet(audited, given, kind.title, asked, rulebook):
        what = f"{kind.title}, endorsed {given.given} by {named(given.instructor)}"
        yield below_the_schools(what, given.given, below, (given.id,), (given.id,))
    proved, whole = set(kind.proves), rulebook.milestone(milestone)
    some = tuple(each for each in whole.requirements if each.id not in proved)
    unmet = _unmet(audited, given, whole.title, some, rulebook)
    if not unmet:
        return
    held_now, held_then = _together(unmet)
    severity, mend = (SERIOUS, NOTHING) if held_now is False else (INCOMPLETE, CORRECTION)
    if held_now is True:
        mend = A_NOTE
    yield Found(
        kind="recommendation-gap",
        severity=severity,
        about=(given.id,),
        day=given.given,
        entries=(given.id,),
        says=f"{kind.title}, endorsed {given.given} by {named(given.instructor)} with a gap:"
        f"{_said(unmet, held_now, held_then)}",
        citations=tuple(dict.fromkeys((kind.cite.section, *(each.citation for each in unmet)))),
        mend=mend,
        way="If something is missing from the record, add it with its own date; otherwise note"
        " what was done.",
        verified=kind.verified,
        unmet=tuple(unmet),
        two_times=True,
        now=held_now,
        then=held_then,
    )


def result_of(record_tests: Iterable[Test], given: Endorsement, kind: KindOfEndorsement) -> Test | None:
    """The first test that an endorsement can have been for, taken on its day or later."""
    if kind.about != TEST:
        return None
    taken = [
        each
        for each in record_tests
        if each.date >= given.given
        and (each.kind.startswith(given.test) if given.test else is_of_sort(each, kind.tests))
    ]
    return min(taken, key=lambda each: (each.date, each.id), default=None)


def is_of_sort(test: Test, sorts: Iterable[str]) -> bool:
    """Whether a test is of one of these sorts, with which its kind begins: ``practical:private-glider``."""
    return test.kind.partition(":")[0] in sorts


def told_from(given: date, rules: Rules) -> date:
    """The last day on which a missing result is not yet told."""
    wait: calendar.Length = rules.near("own-record-tests", given).params["wait"]
    return calendar.last_day(given, wait)


def _without_result(
    audited: Audited, given: Endorsement, kind: KindOfEndorsement, rules: Rules
) -> Iterator[Found]:
    if given.instructor is None or result_of(audited.record.tests, given, kind) is not None:
        return
    waits = told_from(given.given, rules)
    if audited.on <= waits:
        return
    rule = rules.near("own-record-tests", given.given)
    yield Found(
        kind="result-missing",
        severity=INCOMPLETE,
        about=(given.id,),
        day=given.given,
        entries=(given.id,),
        says=f"{kind.title}, endorsed {given.given} by {named(given.instructor)}: the record of the"
        f" instructor has no test result since then. This is reported after {waits}.",
        citations=(rule.cite.section,),
        mend=CORRECTION,
        way="Add the test with its result; if none was taken, note that.",
        verified=rule.verified,
    )
