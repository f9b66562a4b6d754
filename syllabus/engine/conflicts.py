"""Facts on record that cannot both be true: each is a question that names the two, never hours.

Neither of two facts that disagree is taken for the right one. A flight's night against the Sun, its landings
against its route, its hours against its clock, and two entries at one time.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from syllabus.engine import facts
from syllabus.engine.aircraft_models import Models
from syllabus.engine.question import Question
from syllabus.engine.record import Flight, Landings, Record
from syllabus.engine.settings import Settings
from syllabus.engine.sun import is_night, night_time
from syllabus.engine.units import MINUTE

#: A logbook is kept in tenths of an hour, so that a time on the clock is rounded by half of one.
ROUNDING = 3 * MINUTE
FOREIGN = "foreign"


def on_the_clock(flight: Flight) -> tuple[datetime, datetime] | None:
    """From first movement to rest (14 CFR 1.1), or from takeoff, or to landing, as far as is on record."""
    start, end = flight.out or flight.off, flight.in_ or flight.on
    return None if start is None or end is None else (start, end)


def night_conflict(flight: Flight) -> str:
    """How night on record disagrees with the Sun, where no part of the flight was at night; else empty."""
    logged = flight.times.get("night", 0)
    if not logged and not any(each.period == "night" and _number(each) for each in flight.landings):
        return ""
    clock = on_the_clock(flight)
    if clock is None or not flight.route or not all(place.known for place in flight.route):
        return ""
    dark = night_time(*clock, flight.route)
    if dark is None or dark.total_seconds() > 0:
        return ""
    what = f"{facts.minutes(logged)} min of night are logged" if logged else "night landings are logged"
    start, end = (each.strftime("%H:%M") for each in clock)
    return (
        f"which is right: {what}, and by the Sun it was day from {start} to {end}"
        f" along {'-'.join(place.key for place in flight.route)}"
    )


def _number(each: Landings) -> int:
    return each.takeoffs + each.landings


def landing_conflict(flight: Flight, each: Landings) -> str:
    """How landings on record disagree with the route; empty where they do not."""
    keys = [place.key for place in flight.route]
    if each.at is None or not keys or each.at.key in keys:
        return ""
    return f"which is right: landings at {each.at.key}, and the route {'-'.join(keys)} does not go there"


def night_landing_conflict(flight: Flight, each: Landings) -> str:
    """How night landings disagree with the log's night time or with the Sun; empty where they do not."""
    if each.period != "night":
        return ""
    if said := night_conflict(flight) or _night_without_time(flight, each):
        return said
    keys = [place.key for place in flight.route]
    if each.at is None or each.landings != 1 or not keys or keys[-1] != each.at.key or flight.on is None:
        return ""
    # one landing there, the last: the landing whose instant is on record
    visits = keys.count(each.at.key) - (keys[0] == each.at.key)
    if visits == 1 and is_night(flight.on, each.at) is False:
        at = flight.on.strftime("%H:%M")
        return f"which is right: a night landing at {each.at.key}, and by the Sun it was day there at {at}"
    return ""


def _night_without_time(flight: Flight, each: Landings) -> str:
    """Night landings on an entry whose log says that none of it was at night."""
    if not _number(each) or flight.times.get("night"):
        return ""
    if "night" not in flight.times and facts.computed_night(flight):
        return ""  # the clock and the Sun tell
    return "which is right: takeoffs or landings at night, and no night time logged"


def hours_bound(flight: Flight, settings: Settings) -> int | None:
    """The most flight time that the clock allows, in microseconds; None where it does not tell.

    Flight time runs from first movement to rest (14 CFR 1.1). With takeoff and landing alone, the school's
    taxi allowance is added.
    """
    clock = on_the_clock(flight)
    if clock is None:
        return None
    start, end = clock
    bound = round((end - start).total_seconds() * 1_000_000) + ROUNDING
    return bound if flight.out and flight.in_ else bound + settings.taxi_allowance


def conflicts(record: Record, question: Question) -> Mapping[str, str]:
    """Entry id -> how the entry disagrees with another or with itself, for the flights that do.

    Two facts on record that cannot both be true leave a question; neither is taken for the right one.
    """
    key = (question.settings, question.country)
    kept = record.memo.get("conflicts")
    if kept is None or kept[0] is not question.settings or kept[1] != question.country:
        kept = record.memo["conflicts"] = (*key, _conflicts(record, question))
    return kept[2]


def _abroad(flight: Flight, country: str | None) -> str:
    """How an instructor authorized by another country and a route in this one disagree."""
    if flight.instructor is None or flight.instructor.kind != FOREIGN or country is None:
        return ""
    here = next((place.key for place in flight.route if place.country == country), None)
    if here is None:
        return ""
    return f"which is right: an instructor authorized by another country, and {here}, which is in this one"


def _craft(flight: Flight, models: Models) -> str:
    """How an entry's category or class disagrees with its model's."""
    craft = flight.aircraft
    known = models.find(craft.model) if craft.model and not craft.device else None
    if known is None:
        return ""
    if craft.category and known.category and craft.category != known.category:
        return f"which is right: {craft.category}, and {craft.model}, which is a {known.category}"
    if craft.klass and known.klass and craft.klass.split()[0] != known.klass.split()[0]:
        return f"which is right: {craft.klass}, and {craft.model}, which is {known.klass}"
    return ""


def _conflicts(record: Record, question: Question) -> Mapping[str, str]:
    settings, country, models = question.settings, question.country, question.models
    found: dict[str, str] = {}
    crafts: dict[int, str] = {}  # by the aircraft itself, which many flights share
    for flight in record.flights:
        craft = id(flight.aircraft)
        if craft not in crafts:
            crafts[craft] = _craft(flight, models)
        if said := facts.unvouched(flight, settings) or _abroad(flight, country) or crafts[craft]:
            found[flight.id] = said
    return found | _in_two_places(record)


def _in_two_places(record: Record) -> dict[str, str]:
    """Entry id -> the other flight that the same person was in at one time."""
    found: dict[str, str] = {}
    clocked = sorted(
        (clock[0].timestamp(), flight.id, clock)
        for flight in record.flights
        if (clock := on_the_clock(flight)) is not None
    )
    latest: tuple[str, datetime, datetime] | None = None
    for _, name, (start, end) in clocked:
        if latest is not None and start < latest[2] and start < end:
            for one, other in ((latest, (name, start, end)), ((name, start, end), latest)):
                times = " and ".join(
                    f"{each} {first:%H:%M} to {last:%H:%M}" for each, first, last in (one, other)
                )
                found[one[0]] = f"which is right: nobody is in two places at once ({times})"
        if latest is None or end > latest[2]:
            latest = name, start, end
    return found
