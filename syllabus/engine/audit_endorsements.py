"""Endorsements without the training, recommendations with a gap, and results nobody noted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date

from syllabus.engine import calendar
from syllabus.engine.audit import (
    A_NOTE,
    CORRECTION,
    INCOMPLETE,
    NOTHING,
    SERIOUS,
    Audited,
    AuditRules,
    Found,
    KindOfEndorsement,
    Otherwise,
    Unmet,
    named,
)
from syllabus.engine.errors import NotInForce
from syllabus.engine.evaluate import evaluate
from syllabus.engine.finding import Finding
from syllabus.engine.kinds.papers import same
from syllabus.engine.question import Context
from syllabus.engine.record import Endorsement, Flight, GroundLesson, Instructor, Record, Test
from syllabus.engine.rulebook import Milestone, Rulebook

#: Endorsements for a test, and how the kinds of the tests they are for begin.
FOR_TESTS = {"knowledge-test": "knowledge:", "practical-test": "practical:"}
#: Endorsements after training on the ground as well as in flight.
_GROUND_COUNTS = ("retest",)
_ASKED = "recommendation"
_WORDS = {True: "On record since", False: "Not met", None: "Not known"}


def findings(
    audited: Audited, rulebook: Rulebook, rules: AuditRules, kinds: Mapping[str, KindOfEndorsement]
) -> Iterator[Found]:
    """What each endorsement on record shows."""
    for each in audited.record.endorsements:
        kind = kinds.get(each.kind)
        if kind is None:
            continue
        if kind.trained and each.instructor is not None and not trained(audited.record, each):
            yield _untrained(each, kind, rules)
        if each.kind in FOR_TESTS:
            yield from _recommended(audited, each, kind, kinds, rulebook)
            yield from _without_result(audited, each, kind, rules)


def is_same(one: Instructor, other: Instructor | None) -> bool:
    """Whether two entries mean the same instructor: by the number, else by the name."""
    if other is None:
        return False
    if one.certificate and other.certificate:
        return same(one.certificate) == same(other.certificate)
    return one.name == other.name


def trained(record: Record, given: Endorsement) -> bool:
    """Whether training by whoever endorsed is on record: before it, in its model, on the day it names."""
    lessons: Iterable[Flight | GroundLesson] = (
        flight
        for flight in record.flights
        if flight.times.get("dual") and _in_model(flight, given.aircraft_model)
    )
    if given.kind in _GROUND_COUNTS:
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


def _untrained(given: Endorsement, kind: KindOfEndorsement, rules: AuditRules) -> Found:
    rule = rules.near("training-first", given.given)
    when = f" on {given.training_date}" if given.training_date else ""
    craft = f" in the {given.aircraft_model}" if given.aircraft_model else ""
    return Found(
        kind="endorsement-untrained",
        severity=SERIOUS,
        about=(given.id,),
        day=given.given,
        entries=(given.id,),
        says=f"{kind.title}, given {given.given} by {named(given.instructor)}: no training{when}{craft} by"
        " that instructor is on record by then.",
        citations=tuple(dict.fromkeys((kind.cite.section, rule.cite.section))),
        mend=CORRECTION,
        way="If the training was given, put the lesson on record; else note it, and endorse after training.",
        verified=rule.verified,
    )


def _recommended(
    audited: Audited,
    given: Endorsement,
    kind: KindOfEndorsement,
    kinds: Mapping[str, KindOfEndorsement],
    rulebook: Rulebook,
) -> Iterator[Found]:
    """The gap of a recommendation on its day: of all that the test asks but what the endorsement proves."""
    milestone = next((name for name in kind.rests_on if name in rulebook.milestones), None)
    if milestone is None:
        return
    proved = set(kind.proves)
    whole = rulebook.milestone(milestone)
    some = tuple(each for each in whole.requirements if each.id not in proved)
    put = Rulebook(
        rulebook.id,
        {**rulebook.milestones, _ASKED: Milestone(_ASKED, whole.title, whole.says, whole.context, some)},
    )
    otherwise = audited.otherwise(given.given, audited.then(given), Record.PARTS)
    context = Context(aircraft_model=given.aircraft_model, application_date=given.given)

    def asked(record: Record) -> list[Finding]:
        return list(evaluate(put, record, _ASKED, given.given, context=context).leaves())

    try:
        now = asked(audited.record)
        then = asked(audited.as_it_was(otherwise)) if otherwise != Otherwise() else now
    except NotInForce:
        return
    unmet = []
    for leaf, before in zip(now, then, strict=True):
        met, was = leaf.met(given.given), before.met(given.given)
        if not (met and was):
            unmet.append(
                Unmet(leaf.rule.id, leaf.rule.says, leaf.rule.cite.section, leaf.rule.verified, met, was)
            )
    if not unmet:
        return
    answers_now, answers_then = [each.now for each in unmet], [each.then for each in unmet]
    held_now = False if False in answers_now else None if None in answers_now else True
    held_then = False if False in answers_then else None if None in answers_then else True
    severity, mend = (SERIOUS, NOTHING) if held_now is False else (INCOMPLETE, CORRECTION)
    if held_now is True:
        mend = A_NOTE
    known = (
        ""
        if held_now == held_then
        else (
            " What is on record now shows it, what was on record then did not."
            if held_now
            else " What was on record then answers otherwise."
        )
    )
    yield Found(
        kind="recommendation-gap",
        severity=severity,
        about=(given.id,),
        day=given.given,
        entries=(given.id,),
        says=f"{kind.title}, endorsed {given.given} by {named(given.instructor)} with a gap:{known} "
        + " ".join(f"{_WORDS[each.now]}: {each.says} ({each.citation})." for each in unmet),
        citations=tuple(dict.fromkeys((kind.cite.section, *(each.citation for each in unmet)))),
        mend=mend,
        way="If something is missing on record, put it there with its own day; else note what was done.",
        verified=kind.verified,
        unmet=tuple(unmet),
        two_times=True,
        now=held_now,
        then=held_then,
    )


def result_of(record_tests: Iterable[Test], given: Endorsement) -> Test | None:
    """The first test that an endorsement can have been for, taken on its day or later."""
    begins = FOR_TESTS.get(given.kind)
    if begins is None:
        return None
    taken = [each for each in record_tests if each.kind.startswith(begins) and each.date >= given.given]
    return min(taken, key=lambda each: (each.date, each.id), default=None)


def told_from(given: date, rules: AuditRules) -> date:
    """The last day on which a missing result is not yet told."""
    wait: calendar.Length = rules.near("own-record-tests", given).params["wait"]
    return calendar.last_day(given, wait)


def _without_result(
    audited: Audited, given: Endorsement, kind: KindOfEndorsement, rules: AuditRules
) -> Iterator[Found]:
    if given.instructor is None or result_of(audited.record.tests, given) is not None:
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
        f" instructor has no result of a test since. It is told after {waits}.",
        citations=(rule.cite.section,),
        mend=CORRECTION,
        way="Put the test with its result on record; if none was taken, note that.",
        verified=rule.verified,
    )
