"""Age, certificates, documents and medicals."""

from __future__ import annotations

from datetime import date
from typing import Any

from syllabus.engine.record.record import Certificate, Document, Record
from syllabus.engine.record.vocabulary import CERTIFICATES, MEDICAL_CLASSES
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.evidence import ONE_DAY, STUDENT, Evidence, shortened, until
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import calendar
from syllabus.engine.time.amounts import count
from syllabus.engine.time.days import Days

HELD_BY_A_STUDENT = "student"
_BORN = reason("student.birth-date")


@kind(
    "age_at_least",
    need=Param(registry.age, True),
    by_category=Param(registry.table(registry.word(), registry.age)),
)
def age_at_least(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """The person has reached an age: ``need``, or the own age of the category asked about."""
    need: int = (rule.get("by_category") or {}).get(question.category, rule.params["need"])
    born = record.student.birth_date
    needs = (count(need, "year"),)
    if born is None:
        return Finding(rule, Days.none(), rule.in_force, (), needs, (), ask=((STUDENT, _BORN),))
    have = max(0, calendar.age(born, question.on))
    holds = Days.starting(calendar.birthday(born, need)) & rule.in_force
    return Finding(
        rule, holds, holds, (count(have, "year"),), needs, (count(max(0, need - have), "year"),),
        counted=((STUDENT, reason("student.born", born=born)),) if question.on in holds else (),
    )  # fmt: skip


@kind("document", document=Param(registry.word(), True), life=Param(registry.length))
def document(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """A document of a kind is on record, from its issue on, for ``life`` or for good."""
    found = Evidence("document", question)
    for paper in record.documents:
        if paper.kind == rule.params["document"]:
            last = calendar.last_day(paper.issued, rule.params["life"]) if rule.get("life") else None
            last = shortened(last, paper.expires)
            found.yes(paper, Days.between(paper.issued, last), until(last))
    return found.finding(rule)


_LIFE = registry.struct(
    together=(("young_under", "young_life"),),
    issued_before=Param(registry.day),
    life=Param(registry.length),
    young_under=Param(registry.age),
    young_life=Param(registry.length),
)


@kind(
    "certificate",
    document=Param(registry.word(), True),
    lives=Param(registry.list_of(_LIFE), True),
    certificates=Param(registry.words(*CERTIFICATES), True),
)
def certificate(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """A pilot certificate is held: a document with a life by its day of issue, or one of ``certificates``.

    ``lives`` is in order of ``issued_before``; the first row whose day lies after the issue applies. A row
    with ``young_under`` needs the age on the day of issue.
    """
    found = Evidence("certificate", question)
    for paper in record.documents:
        if paper.kind == rule.params["document"]:
            _student_certificate(found, rule, record, paper, paper.expires)
    for held in record.certificates:
        if held.kind not in rule.params["certificates"]:
            wanted = tuple(rule.params["certificates"])
            found.no(held, reason("certificate.other", kind=held.kind, wanted=wanted))
        elif held.kind == HELD_BY_A_STUDENT:
            _student_certificate(found, rule, record, held, None)
        else:
            found.yes(held, Days.starting(held.issued), until(None))
    return found.finding(rule)


def _student_certificate(
    found: Evidence, rule: RuleVersion, record: Record, entry: Certificate | Document, expires: date | None
) -> None:
    """Count a student certificate for the life that the row of its day of issue gives."""
    rows, issued = rule.params["lives"], entry.issued
    row = next((row for row in rows if "issued_before" not in row or issued < row["issued_before"]), None)
    if row is None:
        found.no(entry, reason("certificate.no-life", issued=issued))
        return
    last = calendar.last_day(issued, row["life"]) if "life" in row else None
    if "young_under" in row:
        longer = calendar.last_day(issued, row["young_life"])
        born = record.student.birth_date
        if born is None:
            found.maybe(STUDENT, Days.between(issued, shortened(longer, expires)), _BORN)
        elif calendar.age(born, issued) < row["young_under"]:
            last = longer
    last = shortened(last, expires)
    found.yes(entry, Days.between(issued, last), until(last))


_LOOK_BACK = registry.struct(issued_before=Param(registry.day, True), young_life=Param(registry.length, True))
_BASICMED = registry.struct(
    course=Param(registry.word(), True),
    course_life=Param(registry.length, True),
    examination=Param(registry.word(), True),
    examination_life=Param(registry.length, True),
    held_after=Param(registry.day, True),
    look_back=Param(_LOOK_BACK),
    license=Param(registry.word()),
)


@kind(
    "medical",
    at_least=Param(registry.word(*MEDICAL_CLASSES), True),
    young_under=Param(registry.age, True),
    young_life=Param(registry.length, True),
    life=Param(registry.length, True),
    basicmed=Param(_BASICMED),
)
def medical(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """A medical certificate of a class or better, its life by the age on the day of the examination.

    A document's own ``expires`` only shortens. Where the version has ``basicmed``, a course and an
    examination within their lives do as well, for a person who held a medical at some time after
    ``held_after`` (by its life when it was issued, which ``look_back`` gives) and who shows the ``license``.
    """
    found = Evidence("medical", question)
    accepted = MEDICAL_CLASSES[: MEDICAL_CLASSES.index(rule.params["at_least"]) + 1]
    held: list[Days] = []
    for paper in record.documents:
        if paper.kind != "medical":
            continue
        sure, longest = _medical_ends(rule, record, paper)
        held.append(Days.between(paper.issued, _life_at_issue(rule, record, paper, sure)))
        if paper.klass not in accepted:
            least = rule.params["at_least"]
            found.no(paper, reason("medical.class-too-low", held=str(paper.klass), wanted=least))
            continue
        if longest > sure:
            found.maybe(STUDENT, Days.between(paper.issued, longest), _BORN)
        found.yes(paper, Days.between(paper.issued, sure), until(sure))
    if basic := rule.get("basicmed"):
        _basicmed(found, basic, record, Days.union(held))
    return found.finding(rule)


def _medical_ends(rule: RuleVersion, record: Record, paper: Document) -> tuple[date, date]:
    """The last day that is certain, and the last one possible where the age is not known."""
    short = calendar.last_day(paper.issued, rule.params["life"])
    long = calendar.last_day(paper.issued, rule.params["young_life"])
    born = record.student.birth_date
    if born is None:
        ends = (min(short, long), max(short, long))
    elif calendar.age(born, paper.issued) < rule.params["young_under"]:
        ends = (long, long)
    else:
        ends = (short, short)
    return (shortened(ends[0], paper.expires) or ends[0], shortened(ends[1], paper.expires) or ends[1])


def _life_at_issue(rule: RuleVersion, record: Record, paper: Document, sure: date) -> date:
    """The last day under the life in force on the day of the examination, where that was a shorter one."""
    before = (rule.get("basicmed") or {}).get("look_back")
    if before is None or paper.issued >= before["issued_before"]:
        return sure
    short = calendar.last_day(paper.issued, rule.params["life"])
    return min(sure, max(short, calendar.last_day(paper.issued, before["young_life"])))


def _basicmed(found: Evidence, basic: dict[str, Any], record: Record, held: Days) -> None:
    courses = [paper for paper in record.documents if paper.kind == basic["course"]]
    exams = [paper for paper in record.documents if paper.kind == basic["examination"]]
    if not courses and not exams:
        return
    # from the first day after the limit on which a medical was held, the look-back is met for good
    first = (held & Days.starting(basic["held_after"] + ONE_DAY)).from_day(date.min)
    if first is None:
        for paper in (*courses, *exams):
            found.no(paper, reason("basicmed.no-medical", day=basic["held_after"]))
        return
    since = Days.starting(first[0])
    licensed = _licensed(basic, record)
    taken = [(paper, _lived(paper, basic["course_life"])) for paper in courses]
    examined = [(paper, _lived(paper, basic["examination_life"])) for paper in exams]
    for papers, other, missing in ((taken, examined, "examination"), (examined, taken, "course")):
        for paper, days in papers:
            both = since & days & Days.union(theirs for _, theirs in other)
            if not both:
                found.no(paper, reason(f"basicmed.no-{missing}"))
                continue
            if with_license := both & licensed:
                last = until(list(with_license)[-1][1])
                found.yes(paper, with_license, reason("basicmed.holds", until=last))
            if without := both - licensed:
                found.maybe(paper, without, reason("basicmed.license-unknown", document=basic["license"]))
    found.notes.append(reason("basicmed.withdrawn-unknown"))


def _licensed(basic: dict[str, Any], record: Record) -> Days:
    """The days on which the license that the rule asks for is on record; every day where it asks for none."""
    if "license" not in basic:
        return Days.all()
    return Days.union(
        Days.between(paper.issued, paper.expires)
        for paper in record.documents
        if paper.kind == basic["license"]
    )


def _lived(paper: Document, life: calendar.Length) -> Days:
    return Days.between(paper.issued, shortened(calendar.last_day(paper.issued, life), paper.expires))
