"""All expirations of a stored record: each requirement's last day, and the milestones that expire with it.

The days come from the findings' ``holds`` alone. Since ``holds`` covers every day, the result stays right
until the record or the rules change. A school's own minimums are those of the day of the question, so it is
calculated again every night.
"""

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from syllabus.engine.record.record import Record
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.report import Report
from syllabus.engine.rules.rulebook import Milestone, RuleVersion
from syllabus.engine.time.days import Days
from training.models import Student
from training.reports import authorities
from training.reports.eligibility import record_of, report_of, rules_of

ENDORSEMENT, MEDICAL, DOCUMENT, CERTIFICATE, TEST, TRAINING = (
    "endorsement",
    "medical",
    "document",
    "certificate",
    "test",
    "training",
)
#: The kind of thing that expires, by the kind of its requirement; all others are recent training.
KINDS: Mapping[str, str] = {
    "endorsement": ENDORSEMENT,
    "cross_country_endorsement": ENDORSEMENT,
    "endorsement_with_training": ENDORSEMENT,
    "medical": MEDICAL,
    "document": DOCUMENT,
    "certificate": CERTIFICATE,
    "test_passed": TEST,
    "deficiencies_reviewed": TEST,
}
#: The parts of a question that distinguish expirations, where a rule is tied to them.
_TIES = ("aircraft_model", "airport", "area")


@dataclass(frozen=True, slots=True)
class Whole:
    """A milestone that expires: its title with the context, as ``Solo flight in the C172``."""

    milestone: str
    title: str

    def as_json(self) -> dict[str, str]:
        return {"milestone": self.milestone, "title": self.title}


@dataclass(frozen=True, slots=True)
class Ending:
    """An expiration on ``last``; ``first`` is the first day of its span, None if open.

    ``what`` identifies it for every question; rules that the same thing satisfies until the same day are one.
    ``ends`` are the milestones that expire with it on that day.
    """

    what: str
    kind: str
    first: dt.date | None
    last: dt.date
    says: str
    model: str
    requirements: tuple[str, ...]
    citations: tuple[str, ...]
    ends: tuple[Whole, ...]


def endings(student: Student, on: dt.date) -> tuple[Ending, ...]:
    """Expirations on ``on`` or later, sorted by day; for every model, place and route on record.

    Queries: those of ``record.of`` and of ``rules_of``, or none.
    Raises: NotInForce if a rule has no version on the day.
    """
    found: dict[tuple[str, dt.date], Ending] = {}
    for report in _reports(student, on):
        whole = {last for _, last in report.holds if last and last >= on}
        for finding in report.leaves():
            for first, last in finding.holds:
                if last is None or last < on:
                    continue
                ends = (_whole(report),) if last in whole else ()
                made = _ending(finding, report.question.context, first, last, ends)
                key = made.what, last
                found[key] = _joined(found[key], made) if key in found else made
    return tuple(sorted(found.values(), key=lambda each: (each.last, each.what)))


def _reports(student: Student, on: dt.date) -> Iterator[Report]:
    """The reports of each milestone for everything in the record that it may depend on."""
    rules, contexts = rules_of(student, on), list(_contexts(record_of(student), student.training_model))
    for milestone in authorities.asked(student, rules):
        asked: dict[object, Context] = {}
        for context in contexts:
            its = _of_milestone(context, milestone)
            asked.setdefault(_key(its), its)
        for context in asked.values():
            try:
                yield report_of(rules, student, milestone.id, on, context)
            except NotCovered:  # what no rule covers has no last day
                continue


def _contexts(known: Record, model: str) -> Iterator[Context]:
    yield Context(aircraft_model=model or None)
    for each in known.endorsements:
        yield Context(
            aircraft_model=each.aircraft_model or model or None,
            airport=each.airport,
            area=each.area,
            route=each.route or None,
        )
    models = [each.aircraft_model for each in known.tests] + [each.aircraft_model for each in known.documents]
    for named in models:
        if named:
            yield Context(aircraft_model=named)


def _of_milestone(context: Context, milestone: Milestone) -> Context:
    """The context without what the milestone does not depend on."""
    unused = {"aircraft_model", "airport", "area", "route"} - set(milestone.context)
    return replace(context, **dict.fromkeys(unused))


def _key(context: Context) -> object:
    """A key under which contexts that differ only in spelling are equal."""
    return (
        same(context.aircraft_model or ""),
        context.airport and context.airport.key,
        same(context.area or ""),
        tuple(place.key for place in context.route or ()),
    )


def _whole(report: Report) -> Whole:
    context = report.question.context
    words = [
        f" in the {context.aircraft_model}" if context.aircraft_model else "",
        f" at {context.airport.key}" if context.airport else "",
        f" in the area {context.area}" if context.area else "",
        f" on {'-'.join(place.key for place in context.route)}" if context.route else "",
    ]
    return Whole(report.milestone.id, report.milestone.title + "".join(words))


def _ending(
    finding: Finding, context: Context, first: dt.date | None, last: dt.date, ends: tuple[Whole, ...]
) -> Ending:
    rule = finding.rule
    tied = _tied(rule)
    model = context.aircraft_model or "" if "aircraft_model" in tied else ""
    return Ending(
        what=_what(rule, context, tied),
        kind=KINDS.get(rule.kind, TRAINING),
        first=first,
        last=last,
        says=rule.says,
        model=model,
        requirements=(rule.id,),
        citations=(rule.cite.section,),
        ends=ends,
    )


def _tied(rule: RuleVersion) -> set[str]:
    """The parts of the question that a rule requires an endorsement, or a test, to match."""
    named = {*(rule.get("names") or ()), *(("aircraft_model",) if rule.get("for_model") else ())}
    return named.intersection(_TIES)


def _what(rule: RuleVersion, context: Context, tied: Iterable[str]) -> str:
    """The id of what expires: the document, test or endorsement itself if the rule is about one."""
    match rule.kind:
        case "medical":
            name = MEDICAL
        case "document" | "certificate":
            name = f"{KINDS[rule.kind]}:{rule.params['document']}"
        case "test_passed" | "deficiencies_reviewed":
            name = f"{TEST}:{rule.params['test']}"
        case "endorsement":
            name = f"{ENDORSEMENT}:{'+'.join(sorted(rule.params['endorsements']))}"
        case _:
            name = rule.id
    if "aircraft_model" in tied:
        name += f"@{same(context.aircraft_model or '')}"
    if "airport" in tied and context.airport:
        name += f"@{context.airport.key}"
    if "area" in tied:
        name += f"@{same(context.area or '')}"
    if rule.kind == "cross_country_endorsement":
        name += f"@{'-'.join(place.key for place in context.route or ())}"
    return name


def _joined(one: Ending, other: Ending) -> Ending:
    """The same thing under several rules as one: valid from the first day of any of them."""
    [(first, _)] = Days.union([Days.between(one.first, one.last), Days.between(other.first, other.last)])
    return replace(
        one,
        first=first,
        requirements=_distinct(one.requirements, other.requirements),
        citations=_distinct(one.citations, other.citations),
        ends=tuple(dict.fromkeys((*one.ends, *other.ends))),
    )


def _distinct(one: tuple[str, ...], other: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*one, *other)))
