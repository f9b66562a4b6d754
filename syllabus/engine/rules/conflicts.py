"""Facts on record that cannot both be true: each is a question that names the two, never hours.

Neither of two facts that disagree is taken for the right one. A flight's night against the Sun, its landings
against its route, its hours against its clock, and two entries at one time.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from syllabus.engine.record.record import Flight, Landings, Record
from syllabus.engine.rules import facts
from syllabus.engine.rules.aircraft_models import Models
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Named, Reason, WholeMinutes, reason
from syllabus.engine.rules.settings import Settings
from syllabus.engine.time.sun import is_night
from syllabus.engine.time.units import MINUTE

#: A logbook is kept in tenths of an hour, so that a time on the clock is rounded by half of one.
ROUNDING = 3 * MINUTE
_MICROSECOND = timedelta(microseconds=1)
FOREIGN = "foreign"


def on_the_clock(flight: Flight) -> tuple[datetime, datetime] | None:
    """From first movement to rest (14 CFR 1.1), or from takeoff, or to landing, as far as is on record."""
    start, end = flight.out or flight.off, flight.in_ or flight.on
    return None if start is None or end is None else (start, end)


def night_conflict(flight: Flight) -> Reason:
    """How night on record disagrees with the Sun, where no part of the flight was at night; else nothing."""
    found: Reason | None = flight.memo.get("night_conflict")
    if found is None:
        found = flight.memo["night_conflict"] = _night_conflict(flight)
    return found


def _night_conflict(flight: Flight) -> Reason:
    logged = flight.times.get("night", 0)
    if not (logged or any(each.period == "night" and _number(each) for each in flight.landings)):
        return NOTHING
    clock = on_the_clock(flight)
    if clock is None:
        return NOTHING
    moved = flight.out is not None or flight.in_ is not None
    dark = facts.night_between(*clock, flight.route) if moved else facts.computed_night(flight)
    if dark is None or dark > 0:
        return NOTHING
    (start, end), route = clock, "-".join(place.key for place in flight.route)
    if not logged:
        return reason("conflict.night-landings-by-day", start=start, end=end, route=route)
    night = WholeMinutes(facts.minutes(logged))
    return reason("conflict.night-by-day", night=night, start=start, end=end, route=route)


def _number(each: Landings) -> int:
    return each.takeoffs + each.landings


def landing_conflict(flight: Flight, each: Landings) -> Reason:
    """How landings on record disagree with the route; nothing where they do not."""
    keys = [place.key for place in flight.route]
    if each.at is None or not keys or each.at.key in keys:
        return NOTHING
    return reason("conflict.landings-off-route", at=each.at.key, route="-".join(keys))


def night_landing_conflict(flight: Flight, each: Landings) -> Reason:
    """How night landings disagree with the log's night time or with the Sun; nothing where they do not."""
    if each.period != "night":
        return NOTHING
    if said := night_conflict(flight) or _night_without_time(flight, each):
        return said
    if each.at is None or each.landings != 1 or flight.on is None:
        return NOTHING
    # one landing there, the last: the landing whose instant is on record
    keys = [place.key for place in flight.route]
    if not keys or keys[-1] != each.at.key or keys.count(each.at.key) - (keys[0] == each.at.key) != 1:
        return NOTHING
    if is_night(flight.on, each.at) is False:
        return reason("conflict.night-landing-by-day", at=each.at.key, time=flight.on)
    return NOTHING


def _night_without_time(flight: Flight, each: Landings) -> Reason:
    """Night landings on an entry whose log says that none of it was at night."""
    if flight.times.get("night") or not _number(each):
        return NOTHING
    if "night" not in flight.times and facts.computed_night(flight):
        return NOTHING  # the clock and the Sun tell
    return reason("conflict.no-night-time")


def hours_bound(flight: Flight, settings: Settings) -> int | None:
    """The most flight time that the clock allows, in microseconds; None where it does not tell.

    Flight time runs from first movement to rest (14 CFR 1.1). With takeoff and landing alone, the school's
    taxi allowance is added.
    """
    clock = on_the_clock(flight)
    return None if clock is None else bound(flight, *clock, settings)


def bound(flight: Flight, start: datetime, end: datetime, settings: Settings) -> int:
    """The most flight time between two instants of a flight's clock, in microseconds."""
    most = (end - start) // _MICROSECOND + ROUNDING
    return most if flight.out and flight.in_ else most + settings.taxi_allowance


def conflicts(record: Record, question: Question) -> Mapping[str, Reason]:
    """Entry id -> how the entry disagrees with another or with itself, for the flights that do.

    Two facts on record that cannot both be true leave a question; neither is taken for the right one.
    """
    key = (question.settings, question.country)
    kept = record.memo.get("conflicts")
    if kept is None or kept[0] is not question.settings or kept[1] != question.country:
        kept = record.memo["conflicts"] = (*key, _conflicts(record, question))
    return kept[2]


def _abroad(flight: Flight, country: str) -> Reason:
    """How an instructor authorized by another country and a route in this one disagree."""
    here = next((place.key for place in flight.route if place.country == country), None)
    return NOTHING if here is None else reason("conflict.foreign-instructor", place=here)


def _craft(flight: Flight, models: Models) -> Reason:
    """How an entry's category or class disagrees with its model's."""
    craft = flight.aircraft
    known = models.find(craft.model) if craft.model and not craft.device else None
    if known is None or craft.model is None:
        return NOTHING
    if craft.category and known.category and craft.category != known.category:
        return reason("conflict.category", logged=craft.category, model=craft.model, known=known.category)
    if craft.klass and known.klass and craft.klass.split()[0] != known.klass.split()[0]:
        return reason("conflict.class", logged=craft.klass, model=craft.model, known=known.klass)
    return NOTHING


def _conflicts(record: Record, question: Question) -> Mapping[str, Reason]:
    settings, country, flown = question.settings, question.country, facts.flown(record)
    against = {craft: _craft(flight, question.models) for craft, flight in flown.crafts.items()}
    foreign = country is not None and any(
        flight.instructor and flight.instructor.kind == FOREIGN for flight in flown.instructors.values()
    )
    found = _in_two_places(flown)
    if not (foreign or settings.claims_asked or any(against.values())):
        return found
    for flight in record.flights:
        said = against[id(flight.aircraft)]
        if foreign and country and flight.instructor and flight.instructor.kind == FOREIGN:
            said = _abroad(flight, country) or said
        if settings.claims_asked:
            said = facts.unvouched(flight, settings) or said
        if said:
            found.setdefault(flight.id, said)
    return found


def _in_two_places(on_record: facts.Flown) -> dict[str, Reason]:
    """Entry id -> the other flight that the same person was in at one time."""
    found: dict[str, Reason] = {}
    flown = sorted((start.timestamp(), flight.id, (start, end)) for flight, start, end in on_record.clocked)
    latest: tuple[str, datetime, datetime] | None = None
    for _, name, (start, end) in flown:
        if latest is not None and start < latest[2] and start < end:
            for one, other in ((latest, (name, start, end)), ((name, start, end), latest)):
                found[one[0]] = reason(
                    "conflict.two-places",
                    one=Named(one[0]),
                    one_start=one[1],
                    one_end=one[2],
                    other=Named(other[0]),
                    other_start=other[1],
                    other_end=other[2],
                )
        if latest is None or end > latest[2]:
            latest = name, start, end
    return found
