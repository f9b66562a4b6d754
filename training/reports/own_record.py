"""An instructor's own record: who was endorsed for what, when, with what result (14 CFR 61.189)."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from syllabus.engine.audit.audit import OTHER, SOLO, TEST
from syllabus.engine.audit.endorsements import is_of_sort, result_of, told_from
from syllabus.engine.record import vocabulary
from syllabus.engine.record.record import Endorsement as Given
from syllabus.engine.record.record import Test
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.rulebook import Rules, RuleVersion
from syllabus.engine.time import calendar
from syllabus.law import auditing, endorsements
from training.models import Endorsement, Role, Student
from training.models import Test as TestRow
from training.reports import authorities

PRACTICAL, KNOWLEDGE = "practical", "knowledge"


@dataclass(frozen=True)
class Line:
    """One endorsement, and for a test its result.

    ``about`` is solo, test or other. ``result`` is the first test that it can have been for; ``missing``:
    whether the result is reported missing on the day. ``keep_until``: the last day of retention.
    """

    student: Student
    kind: str
    title: str
    about: str
    given: dt.date
    aircraft_model: str | None
    entry: str
    ended: bool
    result: Test | None
    first_attempt: bool | None
    missing: bool
    keep_until: dt.date
    test: str | None = None

    @property
    def kind_of_test(self) -> str | None:
        """The sort of test (14 CFR 61.189(b)(2)): the one that the endorsement names, else the one that was
        taken.
        """
        if self.about != TEST:
            return None
        return self.test or (self.result.kind if self.result else None)


@dataclass(frozen=True)
class FirstAttempts:
    """First attempts of applicants whom the instructor endorsed for a practical test, since a day.

    ``enough``: whether their number and pass rate reach the rule's way to recent experience; None if no such
    rule was in force.
    """

    since: dt.date
    applicants: int
    passed: int
    rule: RuleVersion | None

    @property
    def enough(self) -> bool | None:
        if self.rule is None:
            return None
        share = self.passed * 100 >= self.rule.params["per_cent"] * self.applicants
        return self.applicants >= self.rule.params["applicants"] and share


@dataclass(frozen=True)
class OwnRecord:
    """One instructor's own record, as far as this school's records show it."""

    role: Role
    rules: Rules
    on: dt.date
    lines: tuple[Line, ...]
    practical: FirstAttempts
    knowledge: FirstAttempts

    @property
    def kept_by(self) -> RuleVersion:
        """The rule that requires the record."""
        return self.rules.near("own-record-kept", self.on)


def own_record(role: Role, on: dt.date) -> OwnRecord:
    """The record of an instructor of a school, newest endorsement first. Queries: 3 and those of roles.

    A first attempt is the first test of its kind on the student's record here; it counts for the instructor
    of the last endorsement before it. Attempts that are on no record here are unknown.
    """
    theirs = Q(instructor_user_id=role.user_id)
    if role.certificate:
        theirs |= Q(instructor_certificate=role.certificate)
    rows = list(
        Endorsement.objects.filter(theirs, school_id=role.school_id, retired_at__isnull=True, given__lte=on)
        .select_related("student")
        .order_by("-given", "-pk")
    )
    students = {row.student_id for row in rows}
    tests = _tests(role, students, on)
    firsts = _first_attempts(role, students, tests, on)
    lines = tuple(_line(row, tests[row.student_id], on) for row in rows)
    rules = auditing.current()[authorities.of(role.school)[0]]
    rule = next((each for each in rules["first-attempts"] if on in each.in_force), None)
    window: calendar.Length = rules.near("first-attempts", on).params["window"]
    since = calendar.window_start(on, window)
    return OwnRecord(
        role,
        rules,
        on,
        lines,
        _counted(firsts[PRACTICAL], since, rule),
        _counted(firsts[KNOWLEDGE], since, None),
    )


def _tests(role: Role, students: Iterable[int], on: dt.date) -> dict[int, list[Test]]:
    """The tests of these students, by student."""
    found: dict[int, list[Test]] = defaultdict(list)
    rows = TestRow.objects.filter(
        school_id=role.school_id, student_id__in=list(students), retired_at__isnull=True, date__lte=on
    )
    for student, entry, kind, day, result in rows.order_by("date", "entry_id").values_list(
        "student_id", "entry_id", "kind", "date", "result"
    ):
        found[student].append(Test(entry, kind, day, result))
    return found


def _first_attempts(
    role: Role, students: Iterable[int], tests: dict[int, list[Test]], on: dt.date
) -> dict[str, list[Test]]:
    """First attempts that the instructor endorsed last, by the sort of test."""
    for_tests = {kind.kind: kind for kind in endorsements.current().kinds.values() if kind.about == TEST}
    found: dict[str, list[Test]] = {PRACTICAL: [], KNOWLEDGE: []}
    given: dict[tuple[int, str], list[Endorsement]] = defaultdict(list)
    rows = Endorsement.objects.filter(
        school_id=role.school_id,
        student_id__in=list(students),
        kind__in=list(for_tests),
        retired_at__isnull=True,
        given__lte=on,
    )
    for row in rows.order_by("given", "pk"):
        given[row.student_id, row.kind].append(row)
    for (student, kind), endorsed in given.items():
        attempts: dict[str, Test] = {}
        for test in tests.get(student, ()):
            if is_of_sort(test, for_tests[kind].tests):
                attempts.setdefault(test.kind, test)
        for first in attempts.values():
            before = [
                each for each in endorsed if each.given <= first.date and each.test in (None, first.kind)
            ]
            if before and _by(before[-1], role):
                found.setdefault(endorsements.sort_of(first.kind), []).append(first)
    return found


def _by(row: Endorsement, role: Role) -> bool:
    number = row.instructor_certificate
    return row.instructor_user_id == role.user_id or bool(
        number and role.certificate and same(number) == same(role.certificate)
    )


def _counted(attempts: Iterable[Test], since: dt.date, rule: RuleVersion | None) -> FirstAttempts:
    within = [each for each in attempts if each.date >= since]
    return FirstAttempts(since, len(within), sum(each.result == "pass" for each in within), rule)


def _line(row: Endorsement, tests: list[Test], on: dt.date) -> Line:
    kind = endorsements.current().kinds.get(row.kind)
    about = kind.about if kind else SOLO if row.kind.startswith(tuple(vocabulary.SOLO_STEMS)) else OTHER
    rules = auditing.current()[kind.authority if kind else authorities.of(row.student)[0]]
    result = result_of(tests, Given(row.entry_id, row.kind, row.given, test=row.test), kind) if kind else None
    first = None
    if result is not None:
        earlier = [each for each in tests if each.kind == result.kind and each.date < result.date]
        first = not earlier
    keep: calendar.Length = rules.near("own-record-kept", row.given).params["keep"]
    last = max(row.given, result.date) if result else row.given
    return Line(
        student=row.student,
        kind=row.kind,
        title=kind.title if kind else row.kind,
        about=about,
        given=row.given,
        aircraft_model=row.aircraft_model,
        entry=row.entry_id,
        ended=row.ended_by_id is not None,
        result=result,
        first_attempt=first,
        missing=about == TEST and result is None and on > told_from(row.given, rules),
        keep_until=calendar.last_day(last, keep),
        test=row.test,
    )
