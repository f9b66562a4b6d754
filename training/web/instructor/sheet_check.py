"""Checks a sheet while it is filled in: errors by field, warnings, and calculated values."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from syllabus.engine.errors import Error, NotInForce
from syllabus.engine.places.geography import distance_nm
from syllabus.engine.record import record as engine
from syllabus.engine.rules import facts, journeys
from syllabus.engine.rules.rulebook import Milestone, Requirement
from syllabus.engine.time.units import MINUTE, format_nm, format_time
from training.models import LessonRecord
from training.reports import progress
from training.services.endorsements import signing_authority
from training.services.lessons import (
    lesson_content,
    lesson_findings,
    lesson_hints,
    lesson_plans,
    lesson_records,
)
from training.services.lessons.lesson_content import Content, LessonError
from training.services.lessons.lesson_findings import Findings
from training.web.instructor import sheet, sheet_rules
from training.web.instructor.opening import Taught

_TIMES = tuple(f"t-{key}" for key in engine.TIMES)


@dataclass
class Look:
    """The result of a check: ``errors``, ``warnings`` and ``hints`` by field name."""

    typed: sheet.Typed
    content: Content | None = None
    errors: dict[str, list[str]] = field(default_factory=dict)
    warnings: dict[str, list[str]] = field(default_factory=dict)
    hints: dict[str, lesson_hints.Hint] = field(default_factory=dict)
    findings: Findings = field(default_factory=list)
    #: Identifiers by how the route was typed: ``KFLD`` for ``FLD``.
    places: dict[str, str] = field(default_factory=dict)
    distance: str = ""
    night: str = ""
    cross_country: str = ""

    def as_json(self) -> dict[str, Any]:
        return {
            "errors": self.errors,
            "warnings": self.warnings,
            "hints": {
                key: {name: each[name] for name in ("words", "inside", "caution")}
                for key, each in self.hints.items()
            },
            "findings": self.findings,
            "places": self.places,
            "distance": self.distance,
            "night": self.night,
            "cross_country": self.cross_country,
        }


def look(
    taught: Taught, record: LessonRecord | None, given: Mapping[str, str], adding: Iterable[str] = ()
) -> Look:
    """Read what was typed and check it; saves nothing. ``adding``: items to add to the sheet."""
    kept = record.content if record else {}
    typed = sheet.content_of(given, taught.zone, kept, taught.fleet)
    known = {each["item"] for each in typed.content["items"]}
    typed.content["items"] += [
        {"item": each, "grade": sheet.NOT_OBSERVED} for each in adding if each and each not in known
    ]
    found = Look(typed)
    for name, message in typed.wrong.items():
        found.errors.setdefault(name, []).append(message)
    try:
        found.content = lesson_content.read(typed.content)
    except LessonError as wrong:
        place_errors(found, wrong.errors, given)
        return found
    _not_in_the_future(found, taught.today)
    beside(found, taught, record, given)
    return found


def _not_in_the_future(found: Look, today: dt.date) -> None:
    """The sign-off would refuse it later."""
    assert found.content is not None
    for name, entry in (("date", found.content.flight), ("ground-date", found.content.ground)):
        if entry is not None and entry.date > today:
            says = sheet_rules.in_the_future(entry.date.isoformat(), today.isoformat())
            found.errors.setdefault(name, []).append(says)


def place_errors(found: Look, errors: Iterable[Error], given: Mapping[str, str]) -> None:
    for error in errors:
        name = sheet.field_of(error.place, found.typed.rows, given)
        message = error.message[:1].upper() + error.message[1:]
        if message not in found.errors.setdefault(name, []):
            found.errors[name].append(message)


@signing_authority.read_once()
def beside(found: Look, taught: Taught, record: LessonRecord | None, given: Mapping[str, str]) -> None:
    """Warnings, hints and proposed values for a readable content."""
    content = found.content
    assert content is not None
    draft = _as_draft(taught, record, content)
    unsaid = _not_said_yet(content)
    for each in lesson_records.warnings(draft, content, taught.user):
        if each["kind"] in unsaid:
            continue
        name = sheet.field_of(each["place"], found.typed.rows, given)
        found.warnings.setdefault(name, []).append(each["message"])
    for hint in lesson_hints.hints(content.plain, lesson_hints.outline_of(draft)):
        found.hints[sheet.field_of(hint["place"], found.typed.rows, given)] = hint
    audited(found, lesson_findings.of(draft, content, taught.user, taught.at))
    flight = content.flight
    if flight is not None:
        worked_out = lesson_records.computed(flight)
        found.distance = _legs(flight)
        found.night = "" if worked_out.night is None else format_time(worked_out.night)
        found.cross_country = _farthest(flight, progress.test_of(taught.student, taught.today))[0]
        craft = flight.aircraft.registration
        if craft and taught.fleet and craft.upper() not in taught.fleet:
            says = _("%(craft)s is not one of the school's aircraft. Check it, and enter its model.")
            found.warnings.setdefault("registration", []).append(says % {"craft": craft})
        typed = sheet.points(given.get("route", ""))
        found.places = {each: place.key for each, place in zip(typed, flight.route, strict=False)}


#: The field that a kind of finding is shown beside; others are in the summary only.
_BESIDE = {
    "solo-first": "flown",
    "solo-unreleased": "flown",
    "solo-cross-country": "route",
    "solo-night": "t-night",
    "solo-class-b": "route",
    "school-minimum": "flown",
    "training-hours": "t-dual",
    "training-ratings": "registration",
    "aircraft-grounded": "registration",
    "aircraft-papers": "registration",
    "two-places": "off",
}
#: About facts that may not be typed yet; the page before the signature shows it.
_LATER = "entry-incomplete"


def audited(found: Look, findings: Findings) -> None:
    """What the audit finds of the lesson: in the summary, and beside the fields."""
    found.findings = [each for each in findings if each["kind"] != _LATER]
    for each in found.findings:
        if each["kind"] in _BESIDE:
            found.warnings.setdefault(_BESIDE[each["kind"]], []).append(each["says"])


def _not_said_yet(content: Content) -> set[str]:
    """Warnings about facts that may not be typed yet; the page before the signature shows them."""
    flight = content.flight
    found: set[str] = set()
    if flight is not None:
        if not (flight.aircraft.registration or flight.aircraft.model):
            found.add("ratings-not-known")
        if flight.off is None or flight.on is None:
            found.add("hours-not-known")
    return found


def _as_draft(taught: Taught, record: LessonRecord | None, content: Content) -> LessonRecord:
    """The record with this content, unsaved."""
    draft = LessonRecord(
        school_id=taught.student.school_id,
        student=taught.student,
        content=content.plain,
        content_hash="",
        first_hash="",
        corrects_id=record.corrects_id if record else None,
    )
    if record is not None:
        draft.pk = record.pk
    pinned = record.course_version if record and record.corrects_id else None
    draft.course_version = pinned or lesson_plans.version_of(taught.student, content, taught.at)
    flight = content.flight
    draft.off_at = flight.off.astimezone(dt.UTC) if flight and flight.off else None
    draft.on_at = flight.on.astimezone(dt.UTC) if flight and flight.on else None
    draft.aircraft_registration = (flight.aircraft.registration if flight else None) or ""
    return draft


def _legs(flight: engine.Flight) -> str:
    """``KGRB – KMTW 33.10 NM, …; 66.20 NM in all``; empty if a position is not known."""
    legs = list(zip(flight.route, flight.route[1:], strict=False))
    if not legs or not all(place.known for place in flight.route):
        return ""
    apart = [distance_nm(*leg) for leg in legs]
    said = [f"{a.key} – {b.key} {format_nm(nm)}" for (a, b), nm in zip(legs, apart, strict=True)]
    if len(legs) == 1:
        return said[0]
    return _("%(legs)s; %(distance)s total") % {"legs": ", ".join(said), "distance": format_nm(sum(apart))}


def proposals(taught: Taught, record: LessonRecord | None, given: Mapping[str, str]) -> dict[str, str]:
    """The values that follow from what was typed, by field, whether or not others were typed there."""
    typed = sheet.content_of(given, taught.zone, record.content if record else {}, taught.fleet)
    try:
        flight = lesson_content.read(typed.content).flight
    except LessonError:
        return {}
    if flight is None:
        return {}
    _words, beyond = _farthest(flight, progress.test_of(taught.student, taught.today))
    night = lesson_records.computed(flight).night
    return _times(flight, night, given, beyond) | _periods(typed, flight)


def filled_in(taught: Taught, record: LessonRecord, given: Mapping[str, str]) -> dict[str, str]:
    """The fields with proposed values where nobody typed others.

    A saved value that is what the saved flight proposes follows the clock again; one that was cleared stays
    blank.
    """
    before: dict[str, str] = {}
    proposed: dict[str, str] = {}
    if record.content.get("flight"):
        before = sheet.values(record.content, taught.zone, None)
        proposed = proposals(taught, record, {**before, **dict.fromkeys(_TIMES, "")})
    live = {key for key, value in proposed.items() if before.get(key) == given.get(key) == value}
    blank = {key for key, value in given.items() if not value and key not in proposed}
    left = {key: "" if key in live else value for key, value in given.items()}
    found = proposals(taught, record, left)
    return {**left, **{key: value for key, value in found.items() if key in live | blank}}


def _times(
    flight: engine.Flight, night: int | None, given: Mapping[str, str], cross_country: bool
) -> dict[str, str]:
    """The times that follow from the clock and the route, whether or not others were typed.

    A student who flies solo is pilot in command (14 CFR 61.51(e)(4)).
    """
    found: dict[str, str] = {}
    total = flight.times.get("total")
    if (clock := lesson_records.clocked(flight)) is not None:
        clock = round(clock / MINUTE) * MINUTE
        found["t-total"] = format_time(clock)
        total = clock if total is None else total
    if not total:
        return found
    flown = given.get("flown", "")
    kinds = {sheet.DUAL: ("dual",), sheet.SOLO: ("solo", "pic")}.get(flown, ())
    others = {"dual", "solo"} - {*kinds}
    if not any(flight.times.get(each) for each in others):
        found |= {f"t-{each}": format_time(total) for each in kinds}
    if night:
        found["t-night"] = format_time(min(night, total))
    if cross_country:
        found["t-cross_country"] = format_time(total)
    return found


def _periods(typed: sheet.Typed, flight: engine.Flight) -> dict[str, str]:
    """Day or night of landings by the Sun at their airports, where it was one of them throughout."""
    if flight.off is None or flight.on is None:
        return {}
    whole = round((flight.on - flight.off).total_seconds() * 1_000_000)
    found: dict[str, str] = {}
    for number, row in zip(typed.rows, flight.landings, strict=True):
        night = facts.night_between(flight.off, flight.on, (row.at,)) if row.at and row.at.known else None
        if night in (0, whole):
            found[f"landing-{number}-period"] = "night" if night else "day"
    return found


def _farthest(flight: engine.Flight, test: Milestone) -> tuple[str, bool]:
    """The distance of the farthest landing from the first takeoff, in words, and whether it exceeds the
    rule's.
    """
    points = [place for place in flight.route[1:] if place.known]
    asked = _cross_country(test)
    if not points or not flight.route[0].known or asked is None:
        return "", False
    try:
        rule = asked.on(flight.date)
    except NotInForce:
        return "", False
    limit = rule.params["landing_more_than"]
    far = max(points, key=lambda place: journeys.apart(flight.route[0], place))
    away = journeys.apart(flight.route[0], far)
    said = (
        _("%(far)s is %(distance)s from %(first)s, more than %(limit)s (%(citation)s)")
        if away > limit
        else _("%(far)s is %(distance)s from %(first)s, not more than %(limit)s (%(citation)s)")
    ) % {
        "far": far.key,
        "distance": journeys.in_nm(away),
        "first": flight.route[0].key,
        "limit": journeys.limit_nm(limit),
        "citation": rule.cite.section,
    }
    if journeys.close(away, limit):
        said = _("%(said)s, close to the limit: check it") % {"said": said}
    return said, away > limit


def _cross_country(test: Milestone) -> Requirement | None:
    """The first rule of the practical test with a distance for cross-country time."""
    far = (each for each in test.requirements if all(one.get("landing_more_than") for one in each.versions))
    return next(far, None)
