"""Tests that were passed after a failure without the training and endorsement that the rule puts between."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from syllabus.engine.audit.audit import A_NOTE, SERIOUS, Audited, Found
from syllabus.engine.errors import NotInForce
from syllabus.engine.record.record import Record, Test
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.rulebook import Milestone, Requirement, Rulebook

_RETEST, _ASKED = "retest", "another-try"
_PASS, _FAIL = "pass", "fail"


def findings(audited: Audited, rulebook: Rulebook) -> Iterator[Found]:
    """What each pass after a failure shows. The pass itself stands; what came before it is told."""
    tried: set[str] = set()
    for requirement in _retests(rulebook):
        for passed in audited.record.tests:
            if passed.result != _PASS or passed.id in tried or not _failed_before(audited.record, passed):
                continue
            finding = _asked(audited, rulebook, requirement, passed)
            if finding is None or finding.met(passed.date) is not False:
                continue
            tried.add(passed.id)
            rule = finding.rule
            yield Found(
                kind="retest-unendorsed",
                severity=SERIOUS,
                about=(passed.id,),
                day=passed.date,
                entries=(passed.id, *(entry for entry, _ in finding.not_counted if entry != passed.id)),
                says=f"The test {passed.kind} was passed on {passed.date} after a failure, without what comes"
                f" between: {rule.says} ({rule.cite.section}).",
                citations=(rule.cite.section,),
                mend=A_NOTE,
                way="If the training and the endorsement were given, add them with their own dates;"
                " otherwise note what is known of them.",
                verified=rule.verified,
            )


def _retests(rulebook: Rulebook) -> Iterable[Requirement]:
    for milestone in rulebook.milestones.values():
        yield from (each for each in milestone.requirements if each.kind == _RETEST)


def _failed_before(record: Record, passed: Test) -> bool:
    return any(
        each.kind == passed.kind and each.result == _FAIL and each.date < passed.date for each in record.tests
    )


def _asked(audited: Audited, rulebook: Rulebook, requirement: Requirement, passed: Test) -> Finding | None:
    """The finding of the day of a pass, as if it had not been passed; None where the rule is not about it."""
    before = tuple(
        each
        for each in audited.record.tests
        if each.kind == passed.kind and each.date < passed.date and each.result == _FAIL
    )
    put = rulebook.with_milestone(Milestone(_ASKED, "", "", (), (requirement,)))
    known = replace(audited.record, tests=before)
    try:
        report = evaluate(put, known, _ASKED, passed.date, settings=audited.settings)
    except (NotCovered, NotInForce):
        return None
    [finding] = report.findings
    return finding
