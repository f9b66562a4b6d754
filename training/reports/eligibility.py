"""Reports about a stored record: one milestone in full, or all of them. Reads only."""

import dataclasses
import datetime as dt
import json
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from django.db.models import Exists, OuterRef

from syllabus.courses import outlines
from syllabus.engine.record.record import Record
from syllabus.engine.rules.evaluate import covered, evaluate
from syllabus.engine.rules.question import Context, Question
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.report import Report
from syllabus.engine.rules.rulebook import Milestone, Rulebook
from syllabus.law import rulebook
from syllabus.models import CourseVersion
from syllabus.models.courses import PUBLISHED
from training import record
from training.models import CourseMove, Enrolment, School, Student
from training.reports import authorities, settings
from training.reports.settings import Chosen


@dataclass(frozen=True)
class _State:
    """One state of a student's record: a cache key for reports.

    The version changes with every change of the record and is never reused, so no cached report outlives its
    state, not even after a rollback. ``known`` tells apart equal instants with different UTC offsets, because
    the report repeats the offset.
    """

    pk: int
    version: uuid.UUID
    name: str
    birth_date: dt.date | None
    known: str
    known_at: dt.datetime | None
    student: Student = field(compare=False, repr=False)

    @classmethod
    def of(cls, student: Student, known_at: dt.datetime | None) -> "_State":
        known = known_at.isoformat() if known_at else ""
        return cls(student.pk, student.version, student.name, student.birth_date, known, known_at, student)


@lru_cache(maxsize=32)
def _record(state: _State) -> Record:
    return record.of(state.student, known_at=state.known_at)


@lru_cache(maxsize=32)
def _provenance(state: _State) -> Mapping[str, str]:
    """The provenance of each entry of the record, by id."""
    known = _record(state)
    return {each.id: each.provenance for part in Record.PARTS for each in getattr(known, part)}


def record_of(student: Student) -> Record:
    """A stored student's record, read once for each state of it. Queries: those of ``record.of``, or none."""
    return _record(_State.of(student, None))


@dataclass(frozen=True)
class _Rules:
    """A rulebook, compared by its id alone."""

    id: str
    book: Rulebook = field(compare=False, repr=False)


class _Moved(Exception):
    """The rules changed while they were read, so they are not those of the requested state."""

    def __init__(self, book: Rulebook):
        self.book = book


@lru_cache(maxsize=256)
def _rules(_law: str, slug: str, state: uuid.UUID | None, on: dt.date, course: int | None) -> Rulebook:
    """The law with a school's minimums and a course's, for one state of the school's rules.

    Without a state the school never had a minimum. Raises: _Moved.
    """
    version = CourseVersion.objects.select_related("course").get(pk=course) if course else None
    book = outlines.rulebook_for(slug if state else None, on, version)
    if state and School.objects.values_list("rules_version", flat=True).filter(slug=slug).first() != state:
        raise _Moved(book)
    return book


@lru_cache(maxsize=1 << 10)
def _course(student: int, state: uuid.UUID, on: dt.date) -> int | None:
    """The version of the course in which a student is enrolled on a day; of several, the newest.

    ``state`` is the version of the student's record, which changes with an enrollment.
    """
    held = enrolled(student, state, on)
    return held.course_version_id if held else None


@lru_cache(maxsize=32)
def enrolled(student: int, state: uuid.UUID, on: dt.date) -> Enrolment | None:
    """The enrollment of a day in a published course, with the course; read once for each state of the record.

    ``has_moves`` says whether the student was moved between versions. Queries: one, or none.
    """
    held = Enrolment.objects.filter(
        Enrolment.in_force(on), student_id=student, course_version__state=PUBLISHED
    ).annotate(has_moves=Exists(CourseMove.objects.filter(enrolment=OuterRef("pk"))))
    return held.select_related("course_version__course").order_by("-starts", "-pk").first()


def rules_of(student: Student, on: dt.date, *, with_course: bool = True) -> Rulebook:
    """The requirements of a student on a day: the law, and the school's own minimums of that day.

    With ``course``, also the requirements of the student's course, as a milestone of its own
    (``course.<code>``). Whatever is not law says whose it is, in its id and in place of a citation.

    Queries: one for the course, two if the school has minimums, more if the course has; none if nothing
             changed since the last call.
    """
    school = student.school
    course = _course(student.pk, student.version, on) if with_course else None
    try:
        return _rules(rulebook.current().id, school.slug, school.rules_version, on, course)
    except _Moved as moved:
        return moved.book


@lru_cache(maxsize=256)
def _report(
    rules: _Rules, state: _State, chosen: Chosen, milestone: str, on: dt.date, context: Context
) -> Report:
    """The report, computed once for each question."""
    return evaluate(
        rules.book,
        _record(state),
        milestone,
        on,
        known_at=state.known_at,
        context=context,
        settings=chosen.settings,
    )


def report_of(rules: Rulebook, student: Student, milestone: str, on: dt.date, context: Context) -> Report:
    """The report of a milestone of these rules for a student's current record, computed once.

    Queries, raises: as ``eligibility``.
    """
    chosen = settings.chosen(student.school)
    return _report(_Rules(rules.id, rules), _State.of(student, None), chosen, milestone, on, context)


def eligibility(
    student: Student,
    milestone: str,
    on: dt.date,
    *,
    known_at: dt.datetime | None = None,
    context: Context | None = None,
) -> Report:
    """The eligibility report of a stored student; the default aircraft model is the student's usual one.

    Queries: those of ``record.of`` and of ``rules_of``, with the course only for a milestone of a course;
             none if nothing changed since the last call.
    Raises: UnknownMilestone; NotInForce; NotCovered.
    """
    return _report(*_question(student, milestone, on, known_at, context))


def eligibility_json(
    student: Student,
    milestone: str,
    on: dt.date,
    *,
    known_at: dt.datetime | None = None,
    context: Context | None = None,
) -> bytes:
    """The same report as JSON text, written once for each state of the record.

    Queries, raises: as ``eligibility``.
    """
    return _written(*_question(student, milestone, on, known_at, context))


def _question(
    student: Student, milestone: str, on: dt.date, known_at: dt.datetime | None, context: Context | None
) -> tuple[_Rules, _State, Chosen, str, dt.date, Context]:
    """Everything that an answer depends on, as a cache key."""
    book = rules_of(student, on, with_course=milestone.startswith(outlines.OF_A_COURSE))
    rules, state, chosen = (
        _Rules(book.id, book),
        _State.of(student, known_at),
        settings.chosen(student.school),
    )
    return rules, state, chosen, milestone, on, _about(rules, state, chosen, milestone, on, context)


@lru_cache(maxsize=256)
def _written(
    rules: _Rules, state: _State, chosen: Chosen, milestone: str, on: dt.date, context: Context
) -> bytes:
    report = _report(rules, state, chosen, milestone, on, context)
    return json.dumps(report.as_json(), ensure_ascii=False, separators=(",", ":")).encode()


def _about(
    rules: _Rules, state: _State, chosen: Chosen, milestone: str, on: dt.date, context: Context | None
) -> Context:
    """The question's context, with the student's usual model if the milestone depends on the model.

    If it depends on the category alone, the model is added only if its rules do not cover that model: an
    ordinary model changes nothing, and an endorsement need not name it.
    """
    asked, model = context or Context(), state.student.training_model
    if asked.aircraft_model is not None or not model:
        return asked
    with_model = dataclasses.replace(asked, aircraft_model=model)
    if "aircraft_model" in rules.book.milestone(milestone).context:
        return with_model
    if asked.category or asked.klass or not _ends_with(rules, state, chosen, milestone, on, with_model):
        return asked
    return with_model


@lru_cache(maxsize=1 << 10)
def _ends_with(
    rules: _Rules, state: _State, chosen: Chosen, milestone: str, on: dt.date, context: Context
) -> bool:
    """Whether a milestone for some categories does not cover the model of a context."""
    wanted, book = rules.book.milestone(milestone), rules.book
    if not wanted.scope.classes:
        return False
    question = Question(on, context, chosen.settings, book.models | chosen.settings.models)
    try:
        covered(wanted, _record(state), question, book.paths)
    except NotCovered as refused:
        return refused.key == "aircraft_model"
    return False


def reports_of(
    book: Rulebook, student: Student, on: dt.date, known_at: dt.datetime | None, context: Context | None
) -> Iterator[tuple[Milestone, Report | NotCovered]]:
    """Each milestone of the student with its report, or why the rules do not cover it.

    Queries: those of ``record.of``.
    """
    rules, state = _Rules(book.id, book), _State.of(student, known_at)
    chosen = settings.chosen(student.school)
    for milestone in authorities.asked(student, book):
        try:
            asked = _about(rules, state, chosen, milestone.id, on, context)
            yield milestone, _report(rules, state, chosen, milestone.id, on, asked)
        except NotCovered as refused:
            yield milestone, refused


def provenance_of(student: Student, known_at: dt.datetime | None) -> Mapping[str, str]:
    """The provenance of each entry of the record, by id."""
    return _provenance(_State.of(student, known_at))
