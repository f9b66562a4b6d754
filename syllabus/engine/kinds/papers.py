"""Age, certificates, documents, medicals and tests."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

from syllabus.engine import calendar
from syllabus.engine.days import Days
from syllabus.engine.finding import Finding
from syllabus.engine.kinds import registry
from syllabus.engine.kinds.registry import Param, kind
from syllabus.engine.question import Question
from syllabus.engine.record import Document, Record, Test
from syllabus.engine.rulebook import RuleVersion
from syllabus.engine.units import count
from syllabus.engine.vocabulary import CATEGORIES, CERTIFICATES, MEDICAL_CLASSES

ONE_DAY = timedelta(days=1)
STUDENT = "student"


@dataclass
class Evidence:
    """What was found for a requirement that one paper, test or endorsement satisfies."""

    thing: str
    holds: list[Days] = field(default_factory=list)
    possible: list[Days] = field(default_factory=list)
    counted: list[tuple[str, str, Days]] = field(default_factory=list)
    not_counted: list[tuple[str, str]] = field(default_factory=list)
    ask: list[tuple[str, str, Days]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def yes(self, entry: str, days: Days, gave: str) -> None:
        self.holds.append(days)
        self.counted.append((entry, gave, days))

    def maybe(self, entry: str, days: Days, missing: str) -> None:
        self.possible.append(days)
        self.ask.append((entry, missing, days))

    def no(self, entry: str, why: str) -> None:
        self.not_counted.append((entry, why))

    def finding(self, rule: RuleVersion, on: date) -> Finding:
        """A finding: one such thing is needed, and there is one on the days on which any of them holds."""
        holds = Days.union(self.holds) & rule.in_force
        possible = holds | (Days.union(self.possible) & rule.in_force)
        held = on in holds
        spent = [(entry, f"{gave}, not on {on}") for entry, gave, days in self.counted if on not in days]
        return Finding(
            rule=rule,
            holds=holds,
            possible=possible,
            have=count(int(held), self.thing),
            need=count(1, self.thing),
            remaining=count(int(not held), self.thing),
            counted=tuple((entry, gave) for entry, gave, days in self.counted if on in days),
            not_counted=tuple(spent + self.not_counted),
            ask=tuple((entry, missing) for entry, missing, days in self.ask if on in days),
            notes=tuple(self.notes),
        )


def until(last: date | None) -> str:
    return f"holds through {last}" if last else "holds with no end date"


def shortened(last: date | None, expires: date | None) -> date | None:
    """The earlier of the rule's own end and the one written on the paper, which never lengthens."""
    ends = [end for end in (last, expires) if end is not None]
    return min(ends) if ends else None


@kind(
    "age_at_least",
    need=Param(registry.age, True),
    by_category=Param(registry.table(registry.word(), registry.age)),
)
def age_at_least(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """The person has reached an age: ``need``, or the category's own where the table has it.

    The category is that of ``_category``.
    """
    need: int = rule.params["need"]
    category = _category(record, question)
    need = (rule.get("by_category") or {}).get(category, need)
    born = record.student.birth_date
    needs = count(need, "year")
    if born is None:
        return Finding(rule, Days.none(), rule.in_force, "", needs, "", ask=(("student", "the birth date"),))
    have = max(0, calendar.age(born, question.on))
    holds = Days.starting(calendar.birthday(born, need)) & rule.in_force
    return Finding(
        rule, holds, holds, count(have, "year"), needs, count(max(0, need - have), "year"),
        counted=(("student", f"born {born}"),) if question.on in holds else (),
    )  # fmt: skip


def _category(record: Record, question: Question) -> str:
    """The context's category, else that of the entries flown in the context's model, else airplane's."""
    if question.context.category:
        return question.context.category
    model = question.context.aircraft_model
    if model is not None:
        wanted = same(model)
        for flight in record.flights:
            if flight.aircraft.model and flight.aircraft.category and same(flight.aircraft.model) == wanted:
                return flight.aircraft.category
    return "airplane"


def same(text: str) -> str:
    """The form in which names of models and areas are compared: ``C-172`` and ``c172`` are one model."""
    return "".join(ch for ch in text.casefold() if ch.isalnum())


@kind("document", document=Param(registry.word(), True), life=Param(registry.length))
def document(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """A document of a kind is on record, from its issue on, for ``life`` or for good."""
    found = Evidence("document")
    for paper in record.documents:
        if paper.kind == rule.params["document"]:
            last = calendar.last_day(paper.issued, rule.params["life"]) if rule.get("life") else None
            last = shortened(last, paper.expires)
            found.yes(paper.id, Days.between(paper.issued, last), until(last))
    return found.finding(rule, question.on)


_LIFE = registry.struct(
    together=(("young_under", "young_life"),),
    issued_before=Param(registry.day),
    categories=Param(registry.words(*CATEGORIES)),
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

    ``lives`` is in order of ``issued_before``; the first row applies whose day lies after the issue and whose
    ``categories`` have the category asked about. A row with ``young_under`` needs the age on the issue day.
    """
    found = Evidence("certificate")
    category = _category(record, question)
    for paper in record.documents:
        if paper.kind == rule.params["document"]:
            _student_certificate(found, rule, record, category, paper.id, paper.issued, paper.expires)
    for held in record.certificates:
        if held.kind not in rule.params["certificates"]:
            wanted = ", ".join(rule.params["certificates"])
            found.no(held.id, f"a {held.kind} certificate; wanted is one of {wanted}")
        elif held.kind == STUDENT:
            _student_certificate(found, rule, record, category, held.id, held.issued, None)
        else:
            found.yes(held.id, Days.starting(held.issued), until(None))
    return found.finding(rule, question.on)


def _student_certificate(
    found: Evidence,
    rule: RuleVersion,
    record: Record,
    category: str,
    entry: str,
    issued: date,
    expires: date | None,
) -> None:
    """Count a student certificate for the life that the row of its day of issue and category gives."""
    row = next(
        (
            row
            for row in rule.params["lives"]
            if ("issued_before" not in row or issued < row["issued_before"])
            and category in row.get("categories", (category,))
        ),
        None,
    )
    if row is None:
        found.no(entry, f"issued {issued}, and the rule says nothing of such a day")
        return
    last = calendar.last_day(issued, row["life"]) if "life" in row else None
    if "young_under" in row:
        longer = calendar.last_day(issued, row["young_life"])
        born = record.student.birth_date
        if born is None:
            found.maybe("student", Days.between(issued, shortened(longer, expires)), "the birth date")
        elif calendar.age(born, issued) < row["young_under"]:
            last = longer
    last = shortened(last, expires)
    found.yes(entry, Days.between(issued, last), until(last))


_BASICMED = registry.struct(
    course=Param(registry.word(), True),
    course_life=Param(registry.length, True),
    examination=Param(registry.word(), True),
    examination_life=Param(registry.length, True),
    held_after=Param(registry.day, True),
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

    A paper's own ``expires`` only shortens. Where the version has ``basicmed``, a course and an examination
    within their lives do as well, for a person who held a medical at some time after ``held_after``.
    """
    found = Evidence("medical")
    accepted = MEDICAL_CLASSES[: MEDICAL_CLASSES.index(rule.params["at_least"]) + 1]
    held: list[Days] = []
    for paper in record.documents:
        if paper.kind != "medical":
            continue
        sure, longest = _medical_ends(rule, record, paper)
        held.append(Days.between(paper.issued, sure))
        if paper.klass not in accepted:
            found.no(paper.id, f"{paper.klass} class; {rule.params['at_least']} class or better is wanted")
            continue
        if longest > sure:
            found.maybe("student", Days.between(paper.issued, longest), "the birth date")
        found.yes(paper.id, Days.between(paper.issued, sure), until(sure))
    if basic := rule.get("basicmed"):
        _basicmed(found, basic, record, Days.union(held))
    return found.finding(rule, question.on)


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


def _basicmed(found: Evidence, basic: dict[str, Any], record: Record, held: Days) -> None:
    courses = [paper for paper in record.documents if paper.kind == basic["course"]]
    exams = [paper for paper in record.documents if paper.kind == basic["examination"]]
    if not courses and not exams:
        return
    # from the first day after the limit on which a medical was held, the look-back is met for good
    first = (held & Days.starting(basic["held_after"] + ONE_DAY)).from_day(date.min)
    if first is None:
        for paper in (*courses, *exams):
            found.no(paper.id, f"BasicMed needs a medical certificate held after {basic['held_after']}")
        return
    since = Days.starting(first[0])
    taken = [(paper, _lived(paper, basic["course_life"])) for paper in courses]
    examined = [(paper, _lived(paper, basic["examination_life"])) for paper in exams]
    for papers, other, missing in ((taken, examined, "examination"), (examined, taken, "course")):
        for paper, days in papers:
            both = since & days & Days.union(theirs for _, theirs in other)
            if both:
                end = list(both)[-1][1]
                found.yes(paper.id, both, f"BasicMed, {until(end)}")
            else:
                found.no(paper.id, f"no BasicMed {missing} lives on the same days")
    found.notes.append(
        "BasicMed also asks for a driver's license and a medical not withdrawn; neither is on record."
    )


def _lived(paper: Document, life: calendar.Length) -> Days:
    return Days.between(paper.issued, shortened(calendar.last_day(paper.issued, life), paper.expires))


@kind(
    "test_passed",
    test=Param(registry.word(), True),
    for_model=Param(registry.flag),
    life=Param(registry.length),
)
def passed_test(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """A test was passed, for the context's model where the rule says so, within its life."""
    found = Evidence("test")
    for test, last in passed(rule, record, found):
        days = Days.between(test.date, last)
        if not rule.get("for_model"):
            found.yes(test.id, days, _result(test, last))
        else:
            match_model(found, test.id, test.aircraft_model, question, days, _result(test, last))
    return found.finding(rule, question.on)


def _result(test: Test, last: date | None) -> str:
    score = f" with {test.score} %" if test.score is not None else ""
    return f"passed {test.date}{score}, {until(last)}"


def passed(rule: RuleVersion, record: Record, found: Evidence) -> Iterable[tuple[Test, date | None]]:
    """Passed tests of the rule's kind with the last day each lives; failed ones are noted."""
    for test in record.tests:
        if test.kind != rule.params["test"]:
            continue
        if test.result != "pass":
            found.no(test.id, f"failed on {test.date}")
            continue
        yield test, calendar.last_day(test.date, rule.params["life"]) if rule.get("life") else None


def match_model(
    found: Evidence, entry: str, model: str | None, question: Question, days: Days, gave: str
) -> None:
    """Count an entry that must be for the model asked about."""
    match_word(
        found, entry, model, question.context.aircraft_model, days, gave, "aircraft_model", "make and model"
    )


def match_word(
    found: Evidence,
    entry: str,
    given: str | None,
    wanted: str | None,
    days: Days,
    gave: str,
    key: str,
    called: str,
) -> None:
    """Count an entry whose ``key`` must be the context's; either one missing is a question."""
    if wanted is None:
        found.maybe("context", days, f"{key}: the {called} asked about")
    elif given is None:
        found.maybe(entry, days, f"the {called} it is for")
    elif same(given) == same(wanted):
        found.yes(entry, days, gave)
    else:
        found.no(entry, f"for {given}, asked about is {wanted}")


@kind(
    "deficiencies_reviewed",
    test=Param(registry.word(), True),
    life=Param(registry.length, True),
    endorsement=Param(registry.word(), True),
)
def deficiencies_reviewed(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """Where the passed knowledge test lists deficient codes, an endorsement says they were reviewed.

    The newest passed test that lives on a day decides. With no codes listed nothing is needed; a score
    under 100 with no list of codes is a question, for every wrong answer has its code.
    """
    found = Evidence("endorsement")
    tests = list(passed(rule, record, Evidence("test")))
    reviews = [
        each
        for each in record.endorsements
        if each.kind == rule.params["endorsement"] and each.instructor is not None
    ]
    for each in record.endorsements:
        if each.kind == rule.params["endorsement"] and each.instructor is None:
            found.no(each.id, "no instructor is named")
    needed = lives = False
    for index, (test, last) in enumerate(tests):
        newer = [later.date for later, _ in tests[index + 1 :] if later.date > test.date]
        days = Days.between(test.date, shortened(last, min(newer) - ONE_DAY if newer else None))
        lives = lives or question.on in days
        codes = test.deficient_codes
        if codes == () or (codes is None and (test.score is None or test.score == 100)):
            found.yes(test.id, days, "lists no deficient codes")
            continue
        if question.on in days:
            needed = True
        reviewed = [
            (each, Days.between(each.given, each.expires) & days)
            for each in reviews
            if each.given >= test.date
        ]
        for each, span in reviewed:
            found.yes(each.id, span, f"reviewed {', '.join(codes or ('the missed areas',))}")
        for each in reviews:
            if each.given < test.date:
                found.no(each.id, f"given {each.given}, before the test of {test.date}")
        if codes is None:
            found.maybe(
                test.id, days, f"the deficient codes (the score is {test.score} %, and none are listed)"
            )
    made = found.finding(rule, question.on)
    if not lives:
        made = replace(
            made, notes=(f"No knowledge test that is passed and still lives on {question.on} is on record.",)
        )
    elif not needed and made.met(question.on):
        made = replace(made, have=count(0, "endorsement"), need=count(0, "endorsement"))
    return made
