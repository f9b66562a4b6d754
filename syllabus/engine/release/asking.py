"""The question of a release: the flight, what is known of it, and the lines that several rules share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone, tzinfo
from fractions import Fraction
from zoneinfo import ZoneInfo

from syllabus.engine.places.geography import Place
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.quantities import said
from syllabus.engine.record.record import Record
from syllabus.engine.release import weather as reports
from syllabus.engine.release.answers import CONFIRM, Law, Line, have_of, line_of
from syllabus.engine.release.facts import AircraftFacts
from syllabus.engine.release.flight import PlannedFlight
from syllabus.engine.release.weather import Known, Seen
from syllabus.engine.rules.reasons import Reason, reason
from syllabus.engine.rules.rulebook import Rulebook, RuleVersion
from syllabus.engine.rules.settings import Settings
from syllabus.engine.time import sun


def zone_of(place: Place) -> tzinfo | None:
    """The zone of a place; by its longitude where the table has none, None where the place is not known.

    A flight may be written in any offset, so that does not say which day it is there.
    """
    if place.tz:
        return ZoneInfo(place.tz)
    return None if place.lon is None else timezone(timedelta(hours=round(place.lon / 15)))


@dataclass
class Asking:
    rulebook: Rulebook
    law: Mapping[str, Law]
    record: Record
    flight: PlannedFlight
    now: datetime
    aircraft: AircraftFacts | None
    school: Limits
    confirmed: frozenset[str]
    settings: Settings
    lasts: timedelta | None
    ends: list[datetime] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.places = tuple({each.key: each for each in self.flight.route}.values())
        self.home = self.flight.route[0]
        self.zone = zone_of(self.home) or self.flight.off.tzinfo
        self.day = self.flight.off.astimezone(self.zone).date()
        #: A flight that lasts beyond midnight needs everything on both days.
        self.days = sorted({self.day, self.flight.on.astimezone(self.zone).date()})
        self.dark = sun.night_time(self.flight.off, self.flight.on, self.flight.route)
        self.weather: Known = reports.known(
            self.flight.weather, self.places, self.flight.off, self.flight.on, self.now
        )
        if self.weather.until is not None:
            self.ends.append(self.weather.until)
        light = self.light()
        if light is not None and light.end_evening is not None and self.night is False:
            self.ends.append(light.end_evening)

    def light(self) -> sun.Twilight | None:
        """The Sun's limits where the flight ends, on the day of the takeoff; None where that is unknown."""
        back = self.flight.route[-1]
        zone = zone_of(back)
        if zone is None or back.lat is None or back.lon is None:
            return None
        return sun.civil_twilight(self.flight.off.astimezone(zone).date(), back.lat, back.lon, zone)

    @property
    def night(self) -> bool | None:
        return None if self.dark is None else self.dark > timedelta(0)

    @property
    def away(self) -> bool:
        """Whether the plan lands anywhere else than where it begins."""
        return len(self.places) > 1

    def least_of(
        self,
        id: str,
        group: str,
        place: Place,
        element: str,
        least: float,
        unit: str,
        rule: RuleVersion | None = None,
    ) -> Line:
        """A line on the least visibility or ceiling that anything says of a place."""
        seen = self.weather.at(place)
        stated = [(getattr(each, element), each) for each in seen if element in each.stated]
        lowest = min(stated, key=lambda pair: pair[0], default=None)
        low = lowest is not None and lowest[0] < least
        asks = self.unknown(place, seen, element)
        told = reason(
            f"release.{element}",
            place=place.key,
            need=said(Fraction(least), unit),
            have=have_of(lowest[0] if lowest else None, unit),
            source=lowest[1].source if lowest else "-",
        )
        return line_of(id, group, False if low else None if asks else True, told, rule, () if low else asks)

    def unknown(self, place: Place, seen: Sequence[Seen], element: str) -> tuple[Reason, ...]:
        """What is missing to know an element at a place: any report, or a part of one."""
        if not any(not each.temporary for each in seen):
            return (reason("release.ask-weather", place=place.key),)
        return tuple(
            reason("release.ask-element", element=element, report=each.source)
            for each in seen
            if element in each.unknown()
        )

    def confirm(self, id: str, told: Reason, rule: RuleVersion | None) -> Line:
        """A line that is met once the instructor confirmed it."""
        name = f"confirm.{id}"
        met = True if name in self.confirmed else None
        asks = () if met else (reason("release.ask-confirm"),)
        return line_of(name, CONFIRM, met, told, rule, asks)
