"""Checks an endorsement: what it relies on, what the rule forbids, its last day. Reads only."""

import dataclasses
import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import rfc8785

from syllabus.engine.record import record as engine
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.reading import write_point
from syllabus.engine.record.shapes import shape_of
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.finding import Counted, Finding
from syllabus.engine.rules.kinds.endorsements import by_itself
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered, Parameter, Reason, reason
from syllabus.engine.rules.report import CAUTION, Report
from syllabus.engine.rules.rulebook import Milestone, Requirement, Rulebook, RuleVersion
from syllabus.engine.rules.settings import DEFAULT, Settings
from syllabus.engine.time.amounts import count, time
from syllabus.engine.time.days import Days
from syllabus.law import auditing, endorsements, instructing, rulebook
from syllabus.law.endorsements import Kind
from training import models, record, reports
from training.models import Student, User
from training.presenters import entry
from training.reports import settings
from training.services.endorsements import signing_authority
from training.services.endorsements.signing_authority import Refusal

ASKED = "endorsement"
TRAINED = "training-by-the-signer"
_SAYS = "Given by the instructor who gave the training"
#: Kinds of requirement about the endorsement alone; one that meets none of them is forbidden.
_ALONE = ("endorsement", "cross_country_endorsement")


@dataclass(frozen=True)
class Checked:
    """An endorsement before it is given, with everything to check."""

    kind: Kind
    endorsement: engine.Endorsement
    report: Report
    warnings: tuple[str, ...]
    refusals: tuple[Refusal, ...]
    wording: str
    last_day: dt.date | None

    @property
    def digest(self) -> str:
        """``sha256:…`` over everything that was checked and answered, in its canonical form (RFC 8785)."""
        return "sha256:" + hashlib.sha256(rfc8785.dumps(self.as_json())).hexdigest()

    def as_json(self) -> dict[str, Any]:
        """Plain JSON values."""
        told = self.report.as_json()
        return {
            "kind": self.kind.kind,
            "title": self.kind.title,
            "citation": self.kind.cite.section,
            "verified": self.kind.verified,
            "on": told["on"],
            "given": self.endorsement.given.isoformat(),
            "context": told["context"],
            "rulebook": told["rulebook"],
            "rests_on": told["requirements"],
            "warnings": list(self.warnings),
            "refusals": [each.as_json() for each in self.refusals],
            "may_be_given": not self.refusals,
            "wording": self.wording,
            "last_day": self.last_day and self.last_day.isoformat(),
            "life": self.kind.life,
            "caution": CAUTION,
        }


def checked(
    student: Student,
    asked: engine.Endorsement,
    *,
    by: User,
    at: dt.datetime,
    known: engine.Record | None = None,
) -> Checked:
    """Check an endorsement that ``by`` is about to give. Raises: NotInForce; NotCovered.

    ``known`` is the student's record if the caller has read it.
    """
    listed, kind = endorsements.current(), endorsements.current().kinds[asked.kind]
    signed = dataclasses.replace(asked, instructor=signing_authority.signature(by, student))
    known = known or record.of(student)
    on = signed.flight_date or signed.given
    rules = reports.rules_of(student, on, with_course=False)
    context, chosen = _context(student, signed), settings.of(student.school)
    rests_on = () if kind.is_about_another(signed) else listed.rests_on(kind, rules)
    report = _asked(rules, rests_on, kind, known, on, context, chosen)
    trained = _trained(kind, signed, known) if kind.trained else None
    rule_last, useless = _rule_last(_proved(rules, kind, known, signed, context), signed)
    refusals = [
        *signing_authority.refusals(by, student, signed.given),
        *_not_theirs(kind, signed),
        *_missing(kind, signed),
        *useless,
        *_days(kind, signed, student.school.day(at), rule_last),
    ]
    warnings = _warnings(student, kind, signed, by, at, report, trained)
    ends = [each for each in (rule_last, signed.expires) if each]
    return Checked(
        kind,
        signed,
        _with(report, trained),
        tuple(warnings),
        tuple(dict.fromkeys(refusals)),
        filled(student, kind, signed),
        min(ends, default=None),
    )


def last_day(student: Student, known: engine.Record, given: engine.Endorsement) -> dt.date | None:
    """The last day of an endorsement on record; None if it has none, or the rules do not know its kind."""
    listed, rules = endorsements.current(), rulebook.current()
    kind = listed.kinds.get(given.kind)
    last = None
    if kind is not None:
        try:
            last, _ = _rule_last(_proved(rules, kind, known, given, _context(student, given)), given)
        except NotCovered:  # no rule limits it
            pass
    return min((each for each in (last, given.expires) if each), default=None)


#: The placeholders about the endorsement itself.
_FILLED = (*endorsements.FIELDS, "given", "conditions")


def _text(value: Any) -> str:
    """A field in a wording: a waypoint by its name, several as a list."""
    if isinstance(value, tuple):
        return " - ".join(map(_text, value))
    return "" if value is None else str(getattr(value, "key", value))


def filled(student: Student, kind: Kind, given: engine.Endorsement) -> str:
    """The wording, the school's own if it has one, with the endorsement's fields filled in."""
    own = models.EndorsementWording.objects.filter(school_id=student.school_id, kind=kind.kind)
    wording = own.values_list("wording", flat=True).first() or kind.wording
    values = {name: _text(getattr(given, {"class": "klass"}.get(name, name))) for name in _FILLED}
    values |= {"student": student.name, "test": _for_test(kind, given)}
    text = kind.filled(wording, values)
    if given.similar_model and "{similar_model}" not in wording:
        text += f" The training was in the {given.similar_model}, which I find similar."
    if given.limits:
        text += f" Limits: {entry.limits(shape_of(Limits).write(given.limits))}."
    return f"{text} {given.conditions}" if given.conditions and "{conditions}" not in wording else text


def _for_test(kind: Kind, given: engine.Endorsement) -> str:
    """The test in words, with category and class; empty if none is named."""
    meant = kind.meant(given)
    if "test" not in meant:
        return ""
    test = endorsements.called(meant["test"])
    beside = [meant[field] for field in ("category", "class") if field in meant and meant[field] not in test]
    return f"{test} ({', '.join(beside)})" if beside else test


#: The rule about instructors that forbids an endorsement, by the kind of instructor.
_LIMITED = {"ground": "ground-instructor", "foreign": "training-only", "armed-forces": "training-only"}


def _not_theirs(kind: Kind, given: engine.Endorsement) -> list[Refusal]:
    """Why the signer's kind of instructor may not give it; empty if they may.

    If it depends on a test that is not named, the missing test is reported instead.
    """
    signer, test = given.instructor, kind.meant(given).get("test")
    if signer is None or kind.may_be_given_by(signer.kind, test):
        return []
    if signer.kind in kind.given_by and test is None:
        return []
    rule = instructing.current()[kind.authority].near(_LIMITED.get(signer.kind, "authorized"), given.given)
    may = " or ".join(f"a {each}" for each in kind.given_by if kind.may_be_given_by(each, test))
    return [
        Refusal(
            "instructor",
            f"{signer.name} signs as a {signer.kind} instructor; {may} instructor must sign this."
            f" {rule.says}",
            rule.cite.section,
        )
    ]


def _context(student: Student, given: engine.Endorsement) -> Context:
    return Context(
        aircraft_model=given.aircraft_model or student.training_model or None,
        category=given.category,
        klass=given.klass,
        route=given.route or None,
        airport=given.airport,
        area=given.area,
    )


def _asked(
    rules: Rulebook,
    requirements: Sequence[Requirement],
    kind: Kind,
    known: engine.Record,
    on: dt.date,
    context: Context,
    chosen: Settings = DEFAULT,
) -> Report:
    """The report on a list of requirements, as if they were a milestone."""
    milestone = Milestone(ASKED, kind.title, kind.title, (), tuple(requirements))
    put = rules.with_milestone(milestone)
    return evaluate(put, known, ASKED, on, context=context, settings=chosen)


def _proved(
    rules: Rulebook, kind: Kind, known: engine.Record, given: engine.Endorsement, context: Context
) -> tuple[Finding, ...]:
    """The findings of the requirements it meets with only this endorsement on record, not shortened.

    It meets none if it names another test than theirs.
    """
    proves = () if kind.is_about_another(given) else endorsements.current().proves(kind, rules)
    bare = dataclasses.replace(
        given, expires=None, instructor=given.instructor or engine.Instructor("the signer", None)
    )
    alone, on = dataclasses.replace(known, endorsements=(bare,)), given.flight_date or given.given
    return _asked(rules, [by_itself(each) for each in proves], kind, alone, on, context).findings


def _rule_last(proved: Sequence[Finding], given: engine.Endorsement) -> tuple[dt.date | None, list[Refusal]]:
    """The rule's own last day; and why the endorsement meets no rule, if so."""
    holds, useless = Days.all(), []
    for finding in proved:
        if finding.holds:
            holds &= finding.holds
        elif finding.rule.kind in _ALONE and not finding.possible and not finding.rule.get("window"):
            useless += [
                Refusal(_place(given), str(why), finding.rule.cite.section)
                for entry, why in finding.not_counted
                if entry == given.id
            ]
    span = holds.from_day(given.given)
    return (span[1] if span else None), useless


def _place(given: engine.Endorsement) -> str:
    return next((name for name in ("training_date", "flight_date", "route") if getattr(given, name)), "given")


def _missing(kind: Kind, given: engine.Endorsement) -> list[Refusal]:
    return [
        Refusal(name, "is missing; this endorsement must name it", kind.cite.section)
        for name in kind.required
        if not endorsements.named(given, name)
    ]


def _days(kind: Kind, given: engine.Endorsement, today: dt.date, rule_last: dt.date | None) -> list[Refusal]:
    day, found = given.given, []
    if day > today:
        found.append(("given", f"{day} is in the future; today is {today}"))
    if given.training_date and given.training_date > day:
        says = f"{given.training_date} is after the endorsement, given {day}; the training comes first"
        found.append(("training_date", says))
    if given.expires and given.expires < day:
        found.append(("expires", f"{given.expires} is before the endorsement, given {day}"))
    if given.expires and rule_last and given.expires > rule_last:
        says = f"{given.expires} is after {rule_last}, the rule's own last day; a limit may be shortened and"
        found.append(("expires", f"{says} never lengthened. Leave expires out, or name an earlier day"))
    return [Refusal(place, says, kind.cite.section) for place, says in found]


def _trained(kind: Kind, given: engine.Endorsement, known: engine.Record) -> Finding:
    """Whether training by the signer is on record: on the training date, in the model named."""
    counted: list[Counted] = []
    others: list[tuple[str, Reason]] = []
    lessons: list[engine.Flight | engine.GroundLesson] = [
        flight
        for flight in known.flights
        if flight.times.get("dual") and _in_model(flight, given.aircraft_model)
    ]
    if kind.ground_counts:
        lessons += known.ground
    for lesson in lessons:
        if given.training_date and lesson.date != given.training_date:
            continue
        if lesson.date > given.given or lesson.instructor is None:
            continue
        amount = lesson.times["dual"] if isinstance(lesson, engine.Flight) else lesson.time
        gave: dict[str, Parameter] = {"time": time(amount or 0), "day": lesson.date}
        if _is(lesson.instructor, given.instructor):
            counted.append((lesson.id, reason("signer.gave", **gave)))
        else:
            others.append(
                (lesson.id, reason("signer.gave-another", **gave, instructor=lesson.instructor.name))
            )
    one = (count(1, "lesson"),)
    return Finding(
        RuleVersion(TRAINED, TRAINED, given.given, None, _SAYS, kind.cite, kind.verified, "", {}),
        holds=Days.all() if counted else Days.none(),
        possible=Days.all(),
        have=(count(len(counted), "lesson"),),
        need=one,
        remaining=(count(0, "lesson"),) if counted else one,
        counted=tuple(counted),
        not_counted=tuple(others),
        ask=() if counted else (("flights", _no_lesson(given)),),
    )


def _no_lesson(given: engine.Endorsement) -> Reason:
    named: dict[str, Parameter] = {}
    on = in_ = ""
    if given.training_date:
        on, named["day"] = "-on", given.training_date
    if given.aircraft_model:
        in_, named["model"] = "-in", given.aircraft_model
    return reason(f"signer.no-lesson{on}{in_}", **named)


def _with(report: Report, trained: Finding | None) -> Report:
    """The report with the training by the signer first."""
    if trained is None:
        return report
    answer = report.answer
    return dataclasses.replace(
        report, answer=dataclasses.replace(answer, findings=(trained, *answer.findings))
    )


def _in_model(flight: engine.Flight, model: str | None) -> bool:
    return model is None or (flight.aircraft.model is not None and same(flight.aircraft.model) == same(model))


def _is(one: engine.Instructor, signer: engine.Instructor | None) -> bool:
    if signer is None:
        return False
    if one.certificate and signer.certificate:
        return same(one.certificate) == same(signer.certificate)
    return one.name == signer.name


def _warnings(
    student: Student,
    kind: Kind,
    given: engine.Endorsement,
    by: User,
    at: dt.datetime,
    report: Report,
    trained: Finding | None,
) -> list[str]:
    found: list[str] = []
    for finding in report.unmet():
        met = finding.met(report.question.on)
        word = "Not known" if met is None else "Not met"
        found.append(f"{word} on {report.question.on}: {finding.rule.says} ({finding.rule.cite.section}).")
    for _, missing in trained.ask if trained else ():
        found.append(f"Not on record: {missing} ({kind.cite.section}).")
    today = student.school.day(at)
    if given.given < today:
        found.append(f"It is dated {given.given} and signed here on {today}.")
    if given.flight_date and given.flight_date > given.given:
        existing = auditing.current()[kind.authority].near("existing-conditions", given.given)
        found.append(
            f"The flight is on {given.flight_date} and the endorsement is dated {given.given}. It is about"
            f" the conditions on the day it is given ({existing.cite.section})."
        )
    unlocated = [write_point(place) for place in given.route if not place.known]
    if unlocated:
        found.append(
            f"The position of {', '.join(map(str, unlocated))} is not known, so no distance is measured."
        )
    role = by.roles.filter(school_id=student.school_id, role=models.Role.Kind.INSTRUCTOR).first()
    if role and role.recent_experience_until is None:
        cite = instructing.current()[kind.authority].near("recent-experience", today).cite.section
        found.append(f"The school has no last day of recent experience on record for {by} ({cite}).")
    found += signing_authority.endorsement_cautions(
        by, student, given.category, given.aircraft_model, given.given
    )
    return found
