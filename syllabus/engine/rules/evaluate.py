"""Ask the rulebook: may this person, on this day, with what is on record?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

from syllabus.engine import effort
from syllabus.engine.record.record import Record
from syllabus.engine.rules import facts
from syllabus.engine.rules.aircraft_models import Models
from syllabus.engine.rules.finding import Answer, Finding
from syllabus.engine.rules.kinds import KINDS
from syllabus.engine.rules.kinds.evidence import waived
from syllabus.engine.rules.question import Context, Question
from syllabus.engine.rules.reasons import Named, NotCovered, Reason, reason
from syllabus.engine.rules.report import Report
from syllabus.engine.rules.rulebook import Milestone, Path, Requirement, Rulebook, RuleVersion, Scope
from syllabus.engine.rules.settings import DEFAULT, Settings


def evaluate(
    rulebook: Rulebook,
    record: Record,
    milestone: str,
    on: date,
    *,
    known_at: datetime | None = None,
    context: Context | None = None,
    settings: Settings = DEFAULT,
) -> Report:
    """The eligibility report for one milestone.

    ``on`` is the day asked about, and the versions of the rules in force on it answer. ``known_at`` leaves
    out what was recorded later. The report's ``holds`` cover every day, under the versions of that day.
    ``settings`` are the school's; without them every entry is judged as if true.

    Raises: UnknownMilestone; NotInForce where a requirement has no version for ``on``; NotCovered where the
            rules that are written do not cover the category, class, model, path or person asked about.
    """
    wanted = rulebook.milestone(milestone)
    known = record.as_known_at(known_at)
    question = Question(on, context or Context(), settings, _models(rulebook, settings, known))
    answer = _Asking(rulebook, known, question).milestone(milestone)
    return Report(wanted, question, known_at, rulebook.id, answer, known)


def _models(rulebook: Rulebook, settings: Settings, record: Record) -> Models:
    """The models of the rules and of the school, joined once for a record: what it derived is by them."""
    kept = record.memo.get("models")
    if kept is None or kept[0] is not rulebook.models or kept[1] is not settings.models:
        kept = record.memo["models"] = (
            rulebook.models,
            settings.models,
            rulebook.models | settings.models,
        )
    return kept[2]


class _Asking:
    """One question put to every requirement, nested milestones included."""

    def __init__(self, rulebook: Rulebook, record: Record, question: Question):
        self.rulebook, self.record, self.question = rulebook, record, question

    def milestone(self, name: str) -> Answer:
        """The answer of a milestone, by the way that comes nearest where there are several.

        Raises: as ``evaluate``.
        """
        wanted = self.rulebook.milestone(name)
        question = covered(wanted, self.record, self.question, self.rulebook.paths)
        ways = [each for each in wanted.paths if question.context.path in (None, each.id)]
        if not ways:
            return self._answer(wanted, question, None)
        answers = [self._answer(wanted, replace(question, path=way.id), way) for way in ways]
        return Answer.of_ways(answers, question.on)

    def _answer(self, wanted: Milestone, question: Question, way: Path | None) -> Answer:
        asking = _Asking(self.rulebook, self.record, question)
        findings = []
        for each in wanted.requirements:
            if way is not None and each.id.rpartition(".")[2] in way.waives:
                findings.append(waived(each, way, question.on))
            else:
                findings.append(asking.requirement(each))
        return Answer.of(findings, way.id if way else None)

    def _matters(self, version: RuleVersion) -> bool:
        """Whether a version can hold on any day: only an age holds before the first entry on record."""
        if version.last is None or not KINDS[version.kind].rests_on_entries:
            return True
        return self.record.first_day is not None and self.record.first_day <= version.last

    def requirement(self, requirement: Requirement) -> Finding:
        """The finding of the version in force on the day, with the days of every version joined."""
        effort.check()
        judge = KINDS[requirement.kind].judge
        current = requirement.on(self.question.on)
        found = judge(current, self.record, self.question, self.milestone)
        if len(requirement.versions) > 1:
            others = [
                judge(version, self.record, self.question, self.milestone)
                for version in requirement.versions
                if version is not current and self._matters(version)
            ]
            found = found.joined(others)
        return found


def covered(wanted: Milestone, record: Record, question: Question, paths: frozenset[str]) -> Question:
    """The question with the category and class it is about, where the milestone's rules cover them.

    ``paths`` are those of every milestone: one of another milestone's decides nothing here.

    Raises: NotCovered, which names what they do not cover.
    """
    scope, context = wanted.scope, question.context
    _refuse_unwritten(wanted, question)
    _refuse_path(wanted, context.path, paths)
    _refuse_holder(wanted, record, question)
    category, klass = _craft(record, question)
    question = replace(question, country=scope.country or question.country)
    if not scope.classes:
        return replace(question, category=category, klass=klass)
    category = _covered_category(wanted, record, question, category, klass)
    classes = scope.classes[category]
    if klass is None:
        klass = classes[0] if classes else None
    elif classes and klass not in classes:
        key = "class" if context.klass else "aircraft_model"
        raise _outside(wanted, key, _said(question, key) or klass, f"{category}, {klass}")
    return replace(question, category=category, klass=klass)


def _covered_category(
    wanted: Milestone, record: Record, question: Question, category: str | None, klass: str | None
) -> str:
    """The category asked about, else that of the class, else the first of the rules.

    Raises: NotCovered where the rules do not cover it.
    """
    covers = wanted.scope.classes
    of_model = _of_model(record, question)[0]
    if category is not None and of_model is not None and of_model not in covers:
        # the model is what is flown: a category beside it that it does not have is not believed
        category = of_model
    if category is None:
        category = _category_of(klass, wanted.scope) or next(iter(covers))
    if category not in covers:
        said = question.context.category == category
        key = "category" if said else "aircraft_model" if of_model else "class"
        raise _outside(wanted, key, _said(question, key) or category, category)
    return category


def _refuse_path(wanted: Milestone, path: str | None, paths: frozenset[str]) -> None:
    """Refuse a path that the milestone does not have; one without paths leaves alone those of others."""
    written = [each.id for each in wanted.paths]
    if path is None or path in (written or paths):
        return
    named = Named(wanted.id)
    raise NotCovered(
        wanted.id,
        "path",
        path,
        reason("scope.no-path", milestone=named, path=path, written=tuple(written))
        if written
        else reason("scope.one-way", milestone=named, path=path),
    )


def _refuse_unwritten(wanted: Milestone, question: Question) -> None:
    """Refuse what the data names as not written: a model under rules of its own, a kind of school."""
    for each in wanted.scope.unwritten:
        said = _said(question, each.key)
        if said is None:
            continue
        same = (
            question.models.same(said, each.value)
            if each.key == "aircraft_model"
            else facts.same(said) == facts.same(each.value)
        )
        if same:
            why = reason("scope.unwritten", milestone=Named(wanted.id), value=said, why=each.why)
            raise NotCovered(wanted.id, each.key, said, why)


def _said(question: Question, key: str) -> str | None:
    """What the context says under a key that a scope is told by."""
    context = question.context
    return {
        "category": context.category,
        "class": context.klass,
        "aircraft_model": context.aircraft_model,
        "path": context.path,
    }.get(key)


def _refuse_holder(wanted: Milestone, record: Record, question: Question) -> None:
    """Refuse the holder of a certificate that these rules are not about."""
    if wanted.scope.holders is None:
        return
    for held in record.certificates:
        if held.issued <= question.on and held.kind not in wanted.scope.holders:
            why: str | Reason = next(
                (each.why for each in wanted.scope.unwritten
                 if each.key == "certificate" and each.value in (held.kind, "*")),
                reason("scope.holder-unwritten"),
            )  # fmt: skip
            raise NotCovered(
                wanted.id,
                "certificate",
                held.kind,
                reason(
                    "scope.holder", milestone=Named(wanted.id), certificate=held.kind, entry=held.id, why=why
                ),
            )


def _craft(record: Record, question: Question) -> tuple[str | None, str | None]:
    """The category and class asked about: by the context, else by its model."""
    context = question.context
    category, klass = context.category, context.klass
    of_model = _of_model(record, question)
    return category or of_model[0], klass or of_model[1]


def _of_model(record: Record, question: Question) -> tuple[str | None, str | None]:
    """The category and class of the model asked about: as it is linked, else as an entry flown in it says."""
    model = question.context.aircraft_model
    if model is None:
        return None, None
    if known := question.models.find(model):
        return known.category, known.klass
    for flight in record.flights:
        craft = flight.aircraft
        if craft.model and craft.category and question.models.same(craft.model, model):
            return craft.category, craft.klass
    return None, None


def _category_of(klass: str | None, scope: Scope) -> str | None:
    return next((name for name, classes in scope.classes.items() if klass in classes), None)


def _outside(wanted: Milestone, key: str, value: str, what: str) -> NotCovered:
    covers = tuple(
        reason("scope.classes", category=category, classes=classes)
        if classes
        else reason("scope.category", category=category)
        for category, classes in wanted.scope.classes.items()
    )
    named = value if value == what else reason("scope.named", value=value, what=what)
    why = reason("scope.outside", milestone=Named(wanted.id), covers=covers, value=named)
    return NotCovered(wanted.id, key, value, why)
