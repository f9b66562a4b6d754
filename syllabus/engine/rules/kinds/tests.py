"""Knowledge and practical tests: passed, reviewed where something was missed, taken again after a failure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from syllabus.engine.record.record import Endorsement, Flight, GroundLesson, Record, Test
from syllabus.engine.record.vocabulary import INSTRUCTORS
from syllabus.engine.rules import facts
from syllabus.engine.rules.facts import YES, Fact
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.endorsements import given
from syllabus.engine.rules.kinds.evidence import ONE_DAY, Evidence, Names, not_needed, shortened, until
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Reason, reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import calendar
from syllabus.engine.time.amounts import count
from syllabus.engine.time.days import Days

PASS, FAIL = "pass", "fail"
#: How the kinds of practical tests begin: those that are for a class, too.
PRACTICAL = "practical:"
#: Every answer right: nothing is left to review.
FULL_SCORE = 100


@kind(
    "test_passed",
    test=Param(registry.word(), True),
    for_model=Param(registry.flag),
    life=Param(registry.length),
    passing_score=Param(registry.number),
    given_by=Param(registry.words(*INSTRUCTORS)),
)
def passed_test(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """A test was passed, for the context's model where the rule says so, within its life.

    A result nobody wrote down is a question, and so is a score on the other side of ``passing_score``. With
    ``for_model`` the newest result in the model stands: one failed after one passed leaves a question.
    """
    found = Evidence("test", question)
    tests = [test for test in record.tests if test.kind == rule.params["test"]]
    for test in tests:
        if test.result == FAIL and not _contradicted(test, rule):
            found.no(test, reason("test.failed", day=test.date))
            continue
        allowed = rule.get("given_by")
        if allowed and test.instructor is not None and test.instructor.kind not in allowed:
            found.no(test, reason("instructor.may-not-give", instructor=test.instructor.kind))
            continue
        last = calendar.last_day(test.date, rule.params["life"]) if rule.get("life") else None
        days = Days.between(test.date, last)
        names = Names(test, question)
        if rule.get("for_model"):
            _in_model(test, tests, names, found, _result(test, last))
        if test.result is None:
            names.answer((None, reason("test.result-unknown")))
        elif said := _contradicted(test, rule):
            names.answer((None, said))
        names.settle(found, days, _result(test, last))
    return found.finding(rule)


def _in_model(test: Test, tests: Iterable[Test], names: Names, found: Evidence, gave: Reason) -> None:
    """The model of a test; one failed in it later leaves the days before for sure, and a question after."""
    names.model(test.aircraft_model)
    if later := _failed_later(test, tests, names.question):
        sure = Days.between(test.date, later.date - ONE_DAY)
        if sure and not names.wrong and not names.asked:
            found.yes(test, sure, gave)
        names.answer((None, reason("test.failed-later", day=later.date)))


def _contradicted(test: Test, rule: RuleVersion) -> Reason:
    """How a result and its score disagree; nothing where they do not."""
    least = rule.get("passing_score")
    if least is None or test.score is None or test.result is None:
        return NOTHING
    if (test.score >= least) == (test.result == PASS):
        return NOTHING
    return reason("test.result-or-score", result=test.result, score=test.score, least=least)


def _failed_later(passed: Test, tests: Iterable[Test], question: Question) -> Test | None:
    """The first failure after a test that was passed, in the same model."""
    for test in tests:
        if (
            test.result != FAIL
            or test.date <= passed.date
            or None in (test.aircraft_model, passed.aircraft_model)
        ):
            continue
        if question.models.same(test.aircraft_model or "", passed.aircraft_model or ""):
            return test
    return None


def _result(test: Test, last: date | None) -> Reason:
    if test.score is None:
        return reason("test.passed", day=test.date, until=until(last))
    return reason("test.passed-with-score", day=test.date, score=test.score, until=until(last))


@kind(
    "deficiencies_reviewed",
    test=Param(registry.word(), True),
    life=Param(registry.length, True),
    endorsement=Param(registry.word(), True),
    category=Param(registry.word()),
)
def deficiencies_reviewed(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """Where the passed knowledge test lists deficient codes, an endorsement says they were reviewed.

    The newest passed test that lives on a day decides. Only a full score with no codes needs nothing; a
    missing score, or a lower one without codes, is a question, for every wrong answer has its code.
    """
    found = Evidence("endorsement", question)
    tests = [
        (test, calendar.last_day(test.date, rule.params["life"]))
        for test in record.tests
        if test.kind == rule.params["test"] and test.result != FAIL
    ]
    reviews = list(given(rule, record, [rule.params["endorsement"]], found))
    needed = lives = False
    for index, (test, last) in enumerate(tests):
        newer = [later.date for later, _ in tests[index + 1 :] if later.date > test.date]
        days = Days.between(test.date, shortened(last, min(newer) - ONE_DAY if newer else None))
        lives = lives or question.on in days
        codes = test.deficient_codes
        if missing := _untold(test):
            found.maybe(test, days, missing)
            needed = needed or question.on in days
            continue
        if not codes:
            found.yes(test, days, reason("test.full-score"))
            continue
        needed = needed or question.on in days
        for each in reviews:
            _review(found, rule, each, test, days, codes)
    made = found.finding(rule)
    if not lives:
        made = replace(made, notes=(reason("test.none-lives", day=question.on),))
    elif not needed and made.met(question.on):
        none = (count(0, "endorsement"),)
        made = replace(made, have=none, need=none)
    return made


def _untold(test: Test) -> Reason:
    """What of the result is not on record, without which nobody knows what was to review; else nothing."""
    if test.result is None:
        return reason("test.result-unknown")
    if test.score is None:
        return reason("test.score-unknown")
    if test.score < FULL_SCORE and not test.deficient_codes:
        return reason("test.codes-unknown", score=test.score)
    return NOTHING


def _review(
    found: Evidence,
    rule: RuleVersion,
    each: Endorsement,
    test: Test,
    days: Days,
    codes: Sequence[str],
) -> None:
    if each.given < test.date:
        found.no(each, reason("review.before-test", given=each.given, test=test.date))
        return
    names = Names(each, found.question)
    names.given_word(each.test, rule.params["test"])
    if rule.get("category"):
        names.given_word(each.category, rule.params["category"])
    names.settle(
        found,
        Days.between(each.given, each.expires) & days,
        reason("review.done", codes=tuple(codes)),
    )


@kind(
    "retest",
    tests=Param(registry.table(registry.word(), registry.words(*INSTRUCTORS)), True),
    endorsements=Param(registry.words(), True),
)
def retest(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """After a failed test: further training, and an endorsement by whoever gave it that names the test.

    ``tests`` gives for each test the kinds of instructor who may endorse for it. The days from a failure on
    are closed until both are on record, or until the same test was passed. An
    endorsement of the day of the failure cannot be told to be the later of the two, and is a question.
    """
    failed = [test for test in record.tests if test.kind in rule.params["tests"] and test.result != PASS]
    if not failed:
        return not_needed(rule, "endorsement", reason("needed.after-failure"))
    found = Evidence("endorsement", question)
    holds = possible = rule.in_force
    for test in failed:
        alone = Evidence("endorsement", question, holds=[Days.between(None, test.date - ONE_DAY)])
        allowed = rule.params["tests"][test.kind]
        for each in given(rule, record, rule.params["endorsements"], alone, allowed):
            _trained_again(alone, record, test, each)
        for later in record.tests:
            _passed_since(alone, test, later)
        if test.result is None:
            alone.maybe(test, Days.starting(test.date), reason("test.result-unknown"))
        else:
            alone.no(test, reason("retest.needed", day=test.date))
        mine = alone.finding(rule)
        holds, possible = holds & mine.holds, possible & mine.possible
        found.counted += alone.counted
        if question.on not in mine.holds:
            found.ask += alone.ask
            found.not_counted += alone.not_counted
    done = question.on in holds
    return replace(
        found.finding(rule),
        holds=holds,
        possible=possible,
        have=(count(int(done), "endorsement"),),
        remaining=(count(int(not done), "endorsement"),),
    )


def _passed_since(found: Evidence, failed: Test, later: Test) -> None:
    """Count a pass of the same test after a failure; of one day, which came first is a question."""
    if later.kind != failed.kind or later.result != PASS or later.date < failed.date:
        return
    days = Days.starting(later.date)
    if later.date > failed.date:
        found.yes(later, days, reason("test.passed-since", day=later.date, failed=failed.date))
    else:
        found.maybe(later, days, reason("retest.pass-order-unknown", day=failed.date))


def _trained_again(found: Evidence, record: Record, failed: Test, each: Endorsement) -> None:
    """Count an endorsement for one more try at a test that was failed."""
    if each.given < failed.date:
        found.no(each, reason("retest.before-failure", given=each.given, failed=failed.date))
        return
    names = Names(each, found.question)
    if each.test is None:
        names.answer((None, reason("named.test")))
    else:
        names.given_word(each.test, failed.kind)
    if found.question.category is not None:
        names.given_word(each.category, found.question.category)
    if found.question.klass is not None and failed.kind.startswith(PRACTICAL):
        names.given_word(each.klass, found.question.klass)
    if each.given == failed.date:
        names.answer((None, reason("retest.order-unknown", day=failed.date)))
    names.answer(_training_since(record, found.question, failed, each))
    gave = reason("endorsement.for-test", given=each.given, test=failed.kind)
    names.settle(found, Days.between(each.given, each.expires), gave)


def _of_category(question: Question, flight: Flight) -> bool:
    """Whether a flight may be one in the category asked about: nothing says otherwise."""
    category, _ = question.models.kind_of(flight.aircraft)
    return None in (category, question.category) or category == question.category


def _training_since(record: Record, question: Question, failed: Test, each: Endorsement) -> Fact:
    """Whether whoever endorsed gave training, in flight or on the ground, since the failure."""
    lessons: list[Flight | GroundLesson] = [
        flight for flight in record.flights if flight.times.get("dual") and _of_category(question, flight)
    ]
    lessons += [lesson for lesson in record.ground if lesson.time]
    since = [lesson for lesson in lessons if failed.date <= lesson.date <= each.given]
    if any(facts.same_person(lesson.instructor, each.instructor) for lesson in since):
        return YES
    if not since:
        return False, reason("retest.no-training", failed=failed.date, given=each.given)
    if any(lesson.instructor is None for lesson in since):
        return None, reason("retest.instructor-unknown")
    others = tuple(sorted({lesson.instructor.name for lesson in since if lesson.instructor}))
    return False, reason("retest.other-instructor", instructors=others)
