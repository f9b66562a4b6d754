"""What is on record for one planned solo flight: each line met, not met, unknown, or to be confirmed.

The milestones come from the rules, the aircraft from the school. Nothing here reads weather: its lines, like
all that no record answers, are confirmed by the instructor one by one.
"""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from django.utils.translation import gettext

from syllabus.engine.audit.solo_flights import IN_CLASS_B, class_b
from syllabus.engine.record.planned import PlannedFlight
from syllabus.engine.record.record import Flight
from syllabus.engine.rules.facts import computed_night, night_unknown
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.rulebook import SOLO, SOLO_CLASS_B, SOLO_CROSS_COUNTRY, SOLO_NIGHT, Rulebook
from syllabus.engine.time.sun import civil_twilight
from syllabus.law import airworthiness, auditing
from training.models import Aircraft, Grounding, Student
from training.presenters.days import day as day_in_words
from training.presenters.reasons import PAGE
from training.reports import authorities
from training.reports.airworthiness import held
from training.reports.eligibility import report_of, rules_of

LAW, SCHOOL, AIRCRAFT, CONFIRM = GROUPS = ("law", "school", "aircraft", "confirm")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a check. ``met`` is None if it is unknown or not yet confirmed."""

    id: str
    group: str
    met: bool | None
    text: str
    citation: str | None = None
    ask: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Check:
    """All lines, and the instant at which a line that is met now ends; None if none does."""

    lines: tuple[Line, ...]
    ends: dt.datetime | None = None

    @property
    def met(self) -> bool:
        """Whether every line is met."""
        return all(each.met is True for each in self.lines)


def check(
    student: Student, planned: PlannedFlight, *, at: dt.datetime, confirmed: Iterable[str] = ()
) -> Check:
    """Check a planned flight as of an instant. ``confirmed`` are the lines that the instructor confirmed.

    Raises: NotInForce; NotCovered.
    """
    school = student.school
    on = school.day(planned.off)
    found = dict[str, Finding]()
    lines = list(_plan(planned, at, school.release_hours))
    for role, milestone, context in _asked(student, planned, on):
        report = report_of(rules_of(student, on), student, milestone, on, context)
        for each in report.leaves():
            plain = found.get(each.rule.id)
            if plain is None or role == SOLO:
                found.setdefault(each.rule.id, each)
            elif plain.met(on) != each.met(on):  # another milestone may ask it in another context
                found[f"{role}.{each.rule.id}"] = each
    lines += [_of_rule(name, each, on) for name, each in found.items()]
    lines += _night(planned, on)
    aircraft, confirm = _aircraft(student, planned, on)
    lines += aircraft
    kept = set(confirmed)
    lines += [replace(each, met=True if each.id in kept else None) for each in (*_confirm(), *confirm)]
    ends = [end for each in found.values() if (end := _last(each, on)) is not None]
    midnights = [dt.datetime.combine(each + dt.timedelta(days=1), dt.time(), school.zone) for each in ends]
    return Check(tuple(lines), min([*midnights, *_daylight(planned, on)], default=None))


def _daylight(planned: PlannedFlight, on: dt.date) -> Iterator[dt.datetime]:
    """The end of evening civil twilight where a flight by day ends."""
    flight, last = _flight(planned, on), planned.route[-1]
    if (
        last.lat is not None
        and last.lon is not None
        and not night_unknown(flight)
        and not computed_night(flight)
    ):
        evening = civil_twilight(on, last.lat, last.lon, planned.off.tzinfo or dt.UTC).end_evening
        if evening is not None and evening >= planned.on:
            yield evening


def _plan(planned: PlannedFlight, at: dt.datetime, hours: int) -> Iterator[Line]:
    """A plan that a release signed now could not be for."""
    if planned.on <= at:
        yield Line("plan.past", SCHOOL, False, gettext("The planned return is in the past."))
    if planned.off >= at + dt.timedelta(hours=hours):
        says = gettext("A release signed now expires before the planned takeoff.")
        yield Line("plan.early", SCHOOL, False, says)


def _flight(planned: PlannedFlight, on: dt.date) -> Flight:
    return replace(planned.as_flight(IN_CLASS_B), date=on)


def _asked(student: Student, planned: PlannedFlight, on: dt.date) -> Iterator[tuple[str, str, Context]]:
    """The milestones for this flight: role, id and context."""
    rules: Rulebook = rules_of(student, on)
    flight, craft = _flight(planned, on), planned.aircraft
    model = Context(aircraft_model=craft.model, category=craft.category, klass=craft.klass)
    theirs = {each.id for each in authorities.asked(student, rules)}

    def of(*roles: str) -> list[str]:
        return [each.id for each in rules.in_role(*roles) if each.id in theirs]

    for each in of(SOLO):
        yield SOLO, each, model
    if len({place.key for place in planned.route}) > 1:
        for each in of(SOLO_CROSS_COUNTRY):
            yield SOLO_CROSS_COUNTRY, each, replace(model, route=planned.route)
    if night_unknown(flight) or computed_night(flight):
        for place in dict.fromkeys(planned.route):
            for each in of(SOLO_NIGHT):
                yield f"{SOLO_NIGHT}.{place.key}", each, replace(model, airport=place)
    for authority in authorities.of(student):
        for area, _ in class_b(flight, auditing.current()[authority]):
            for each in of(SOLO_CLASS_B):
                yield f"{SOLO_CLASS_B}.{area}", each, replace(model, area=area)


def _of_rule(name: str, finding: Finding, on: dt.date) -> Line:
    met = finding.met(on)
    ask = tuple(dict.fromkeys(PAGE.words(what) for _, what in finding.ask)) if met is not True else ()
    return Line(name, LAW, met, finding.rule.says, finding.rule.cite.section, ask)


def _last(finding: Finding, on: dt.date) -> dt.date | None:
    """The last day on which a requirement that is met on a day stays met."""
    for first, last in finding.holds:
        if (first is None or first <= on) and (last is None or on <= last):
            return last
    return None


def _night(planned: PlannedFlight, on: dt.date) -> Iterator[Line]:
    flight = _flight(planned, on)
    if why := night_unknown(flight):
        says = gettext("Day or night: unknown.")
        yield Line("plan.night", LAW, None, says, ask=(PAGE.words(why),))


def _aircraft(student: Student, planned: PlannedFlight, on: dt.date) -> tuple[list[Line], list[Line]]:
    """The lines about the aircraft, and those about it that a person confirms."""
    name = planned.aircraft.registration or ""
    rows = Aircraft.objects.filter(school=student.school_id, device="", registration__iexact=name)
    craft = rows.first()
    if craft is None:
        says = gettext("The aircraft %(name)s is not on the school's list: nothing is on record of it.")
        return [Line("aircraft.listed", AIRCRAFT, None, says % {"name": name})], []
    lines = []
    if planned.aircraft.model and planned.aircraft.model != craft.model:
        says = gettext("The school has %(name)s on record as a %(model)s.")
        said = says % {"name": name, "model": craft.model}
        lines.append(Line("aircraft.model", AIRCRAFT, False, said))
    open_now = Grounding.objects.filter(aircraft=craft, ended_at__isnull=True)
    for each in open_now:
        says = (
            gettext("Grounded: %(why)s")
            if each.kind == each.Kind.GROUNDED
            else gettext("Open defect: %(why)s")
        )
        lines.append(Line(f"aircraft.grounding-{each.pk}", AIRCRAFT, False, says % {"why": each.reason}))
    if not open_now:
        says = gettext("No grounding and no open defect of %(name)s on record.") % {"name": name}
        lines.append(Line("aircraft.grounded", AIRCRAFT, True, says))
    kinds = {
        each.version.id: each for each in held([student.school_id], on) if each.check.aircraft_id == craft.pk
    }
    lacking = []
    for version in airworthiness.current().in_force(on):
        known, cite = kinds.get(version.id), version.cite.section
        if known is None and version.get("always"):  # every flight needs it
            says = gettext("%(what)s: nothing on record") % {"what": version.params["title"]}
            lines.append(Line(f"aircraft.{version.id}", AIRCRAFT, None, says, cite))
        elif known is None:
            lacking.append(version.params["title"])
        if known is None:
            continue
        named = {"what": known.says, "day": day_in_words(known.last)}
        words = (
            gettext("%(what)s: valid through %(day)s")
            if known.last >= on
            else gettext("%(what)s: expired %(day)s")
        )
        lines.append(Line(f"aircraft.{version.id}", AIRCRAFT, known.last >= on, words % named, cite))
    if not lacking:
        return lines, []
    says = gettext("I checked in the aircraft's documents what is not on record here: %(what)s.")
    return lines, [Line("confirm.documents", CONFIRM, None, says % {"what": ", ".join(lacking)})]


def _confirm() -> Iterator[Line]:
    """What nothing on record can answer, for the instructor to confirm."""
    for name, says in (
        (
            "weather",
            gettext(
                "Weather, daylight and wind for the whole flight: within the regulations, the limits in the"
                " endorsements, and the school's minimums."
            ),
        ),
        ("notams", gettext("NOTAMs and temporary flight restrictions along the route were read.")),
        ("fuel", gettext("Fuel: enough for the flight with its reserve.")),
        ("weight-and-balance", gettext("Weight and balance, and takeoff and landing distances.")),
        (
            "fitness",
            gettext("The student is fit to fly, with certificate, medical, identification and logbook."),
        ),
    ):
        yield Line(f"confirm.{name}", CONFIRM, None, says)


def in_json(line: Line) -> dict[str, Any]:
    """A line as stored and answered."""
    return {
        "id": line.id,
        "group": line.group,
        "met": line.met,
        "text": line.text,
        "citation": line.citation,
        "ask": list(line.ask),
    }
