"""What a student pilot's flights were: alone, at night and where, in Class B airspace."""

from collections.abc import Iterable, Iterator

from syllabus.engine.places.geography import Place
from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules.facts import computed_night, night_unknown, same
from syllabus.engine.rules.rulebook import Rules

#: What a flight was in, where its entry says so: ``class-b:chicago``.
IN_CLASS_B = "class-b:"
#: A student pilot's certificate does not end the rules for student pilots.
_STUDENT = "student"


def flown_alone(record: Record, rules: Rules) -> Iterator[tuple[Flight, str]]:
    """Flights in an aircraft without anybody beside the student, each with what it is called."""
    higher = [each.issued for each in record.certificates if each.kind != _STUDENT]
    pilot = min(higher, default=None)
    for flight in record.flights:
        called = _called(flight, rules)
        if not called or flight.aircraft.device or flight.aircraft.model is None:
            continue
        if pilot is None or flight.date < pilot:
            yield flight, called


def _called(flight: Flight, rules: Rules) -> str:
    """What a flight without anybody beside the student is called; empty for one that is none.

    A student pilot is pilot in command alone, so that a flight logged so, with no instructor, was solo.
    """
    times = flight.times
    if times.get("solo"):
        return "a solo flight"
    if times.get("pic") and not times.get("dual") and flight.instructor is None:
        section = rules.near("pilot-alone", flight.date).cite.section
        return f"a flight as pilot in command, which for a student pilot means solo ({section}),"
    return ""


def at_night(flight: Flight, rules: Rules) -> tuple[Place, ...]:
    """The airports at which a flight was at night, of those that a rule could ask about."""
    dark = {
        each.at.key: each.at for each in flight.landings if each.period == "night" and each.at is not None
    }
    if dark:
        return tuple(dark.values())
    logged = flight.times.get("night")
    if logged is None:
        night = None if night_unknown(flight) else computed_night(flight)
    else:
        apart_by = rules.near("night-as-computed", flight.date).params["apart"]
        night = logged or ((computed_night(flight) or 0) > apart_by)
    return flight.route[:1] if night else ()


def class_b(flight: Flight, rules: Rules) -> Iterable[tuple[str, str]]:
    """The Class B areas that a flight was in: by its own words, and by the airports it was at."""
    areas = {}
    for purpose in flight.purposes:
        if purpose.startswith(IN_CLASS_B):
            area = purpose.removeprefix(IN_CLASS_B)
            areas[same(area)] = (area, area)
    inside = rules.near("class-b-airport", flight.date).params["airports"]
    for place in flight.route:
        if area := inside.get(place.key):
            areas.setdefault(same(area), (area, f"{area}, {place.key}"))
    return areas.values()
