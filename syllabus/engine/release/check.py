"""The lines of a release: each met, not met or unknown, with its citation. It decides nothing.

Only what is certain is met. What nothing on record can answer, the instructor confirms line by line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from syllabus.engine.errors import NotInForce
from syllabus.engine.places.geography import Place, distance_nm
from syllabus.engine.record.quantities import said
from syllabus.engine.record.record import Endorsement, Record
from syllabus.engine.release import weather as reports
from syllabus.engine.release.facts import AircraftFacts, Limits
from syllabus.engine.release.flight import PlannedFlight
from syllabus.engine.release.weather import CEILING, NO_CEILING, VISIBILITY, WIND, Known, Seen
from syllabus.engine.release.wind import true_bearings, worst
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered, Reason, reason
from syllabus.engine.rules.rulebook import (
    SOLO,
    SOLO_CLASS_B,
    SOLO_CROSS_COUNTRY,
    SOLO_NIGHT,
    Milestone,
    Rulebook,
    Rules,
    RuleVersion,
)
from syllabus.engine.rules.settings import DEFAULT, Settings
from syllabus.engine.time import calendar, sun

LAW, ENDORSEMENT, SCHOOL, AIRCRAFT, WEATHER, CONFIRM = (
    "law", "endorsement", "school", "aircraft", "weather", "confirm",
)  # fmt: skip
GROUPS = (LAW, ENDORSEMENT, SCHOOL, AIRCRAFT, WEATHER, CONFIRM)
GROUNDED = "grounded"
#: What the id of a school's own minimum has.
_OWN = ".school."


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that the flight needs. ``met`` is None where something is missing: ``ask`` says what."""

    id: str
    group: str
    met: bool | None
    reason: Reason
    citation: str | None = None
    verified: str | None = None
    ask: tuple[Reason, ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "group": self.group,
            "met": self.met,
            "code": self.reason.code,
            "text": str(self.reason),
            "citation": self.citation,
            "verified": self.verified,
            "ask": [str(each) for each in self.ask],
        }


@dataclass(frozen=True, slots=True)
class Release:
    """The lines, and when this answer ends at the latest; None where nothing ends it."""

    lines: tuple[Line, ...]
    ends: datetime | None
    rulebook: str = ""

    @property
    def met(self) -> bool:
        return bool(self.lines) and all(each.met is True for each in self.lines)

    def as_json(self) -> dict[str, Any]:
        return {
            "met": self.met,
            "lines": [each.as_json() for each in self.lines],
            "ends": self.ends.isoformat() if self.ends else None,
            "rulebook": self.rulebook,
        }


class Law(Protocol):
    """What one authority asks of the day (``syllabus.law.release``)."""

    @property
    def authority(self) -> str: ...
    @property
    def rules(self) -> Rules: ...
    @property
    def auditing(self) -> Rules: ...
    @property
    def papers(self) -> Rules: ...


def check(
    rulebook: Rulebook,
    law: Mapping[str, Law],
    record: Record,
    flight: PlannedFlight,
    *,
    now: datetime,
    aircraft: AircraftFacts | None = None,
    school: Limits | None = None,
    confirmed: Iterable[str] = (),
    settings: Settings = DEFAULT,
    lasts: timedelta | None = None,
) -> Release:
    """Check a planned solo flight as of ``now``.

    ``law`` by authority: a milestone of one that is not among them is refused by its name. ``aircraft``: None
    where nobody keeps its documents here; then its lines are unknown. ``confirmed``: the lines that the
    instructor confirmed, besides those of ``flight``. ``lasts``: how long a release that is signed now does.
    """
    asking = _Asking(
        rulebook, law, record, flight, now, aircraft, school or Limits(),
        frozenset((*flight.confirmed, *confirmed)), settings, lasts,
    )  # fmt: skip
    lines: dict[str, Line] = {}
    for each in asking.lines():
        lines.setdefault(each.id, each)
    return Release(tuple(lines.values()), min(asking.ends, default=None), rulebook.id)


@dataclass
class _Asking:
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
        zone = self.home.tz
        self.zone = ZoneInfo(zone) if zone else self.flight.off.tzinfo
        self.day = self.flight.off.astimezone(self.zone).date()
        #: A flight that lasts beyond midnight needs everything on both days.
        self.days = sorted({self.day, self.flight.on.astimezone(self.zone).date()})
        self.dark = sun.night_time(self.flight.off, self.flight.on, self.flight.route)
        self.weather: Known = reports.known(
            self.flight.weather, self.places, self.flight.off, self.flight.on, self.now
        )
        if self.weather.until is not None:
            self.ends.append(self.weather.until)
        if (dusk := self._dusk()) is not None and self.night is False:
            self.ends.append(dusk)

    def _dusk(self) -> datetime | None:
        """The end of evening civil twilight where the flight ends; None where there is none, or unknown."""
        back = self.flight.route[-1]
        if back.lat is None or back.lon is None:
            return None
        day = self.flight.on.astimezone(self.zone).date()
        return sun.civil_twilight(day, back.lat, back.lon, back.tz or "UTC").end_evening

    @property
    def night(self) -> bool | None:
        return None if self.dark is None else self.dark > timedelta(0)

    def lines(self) -> Iterator[Line]:
        yield self._when()
        milestones = [
            *self._asked(SOLO),
            *(self._asked(SOLO_CROSS_COUNTRY) if self._away() else ()),
            *(self._asked(SOLO_NIGHT) if self.night is not False else ()),
        ]
        for milestone, context in milestones:
            yield from self._milestone(milestone, context)
        for authority in self.rulebook.of_authority:
            law = self.law.get(authority)
            if law is None:
                yield Line(authority, LAW, None, reason("release.no-law", authority=authority))
                continue
            yield from self._class_b(law)
            yield from self._of_the_day(law)
            yield from self._papers(law)
        yield from self._groundings()
        yield from self._weather_asks()
        for given in self._binding():
            yield from _Limited(self, ENDORSEMENT, given.limits or Limits(), given.id).lines()
            if given.conditions:
                told = reason("release.conditions", entry=given.id, conditions=given.conditions)
                yield self._confirm(f"conditions:{given.id}", told, None, None)
        yield from _Limited(self, SCHOOL, self.school, "school").lines()

    def _when(self) -> Line:
        """A plan for a day that is over cannot be released."""
        if self.flight.off < self.now - timedelta(minutes=15):
            return Line("when", SCHOOL, False, reason("release.over"))
        if self.lasts is not None and self.flight.off >= self.now + self.lasts:
            return Line("when", SCHOOL, False, reason("release.early"))
        return Line("when", SCHOOL, True, reason("release.not-over"))

    def _away(self) -> bool:
        return len(self.places) > 1

    def _asked(self, role: str) -> Iterator[tuple[Milestone, Context]]:
        craft = self.flight.aircraft
        context = Context(aircraft_model=craft.model, category=craft.category, klass=craft.klass)
        if role == SOLO_CROSS_COUNTRY:
            context = replace(context, route=self.flight.route)
        for milestone in self.rulebook.in_role(role):
            if role == SOLO_NIGHT:
                for place in self.places:
                    yield milestone, replace(context, airport=place)
            else:
                yield milestone, context

    def _milestone(self, milestone: Milestone, context: Context) -> Iterator[Line]:
        """A line for each requirement; those that several milestones share are told once."""
        about = context.airport.key if context.airport else context.area
        try:
            report = evaluate(
                self.rulebook,
                self.record,
                milestone.id,
                self.day,
                context=context,
                settings=self.settings,
            )
        except (NotCovered, NotInForce) as refused:
            name = f"{milestone.id}:{about}" if about else milestone.id
            yield Line(name, LAW, None, reason("release.not-covered", why=str(refused)))
            return
        own = {each.id for each in milestone.requirements}
        for leaf in report.leaves():
            id = f"{leaf.rule.id}:{about}" if about and leaf.rule.id in own else leaf.rule.id
            yield self._requirement(id, leaf)

    def _requirement(self, id: str, leaf: Finding) -> Line:
        rule, answers = leaf.rule, [leaf.met(day) for day in self.days]
        met = False if False in answers else None if None in answers else True
        if met and (span := leaf.holds.from_day(self.day)) and span[1] is not None:
            self.ends.append(_midnight_after(span[1], self.zone))
        asks = tuple(each for _, each in leaf.ask) if met is None else ()
        told = reason("release.says", says=rule.says)
        group = SCHOOL if _OWN in rule.id else LAW
        return Line(id, group, met, told, rule.cite.section, rule.verified, asks)

    def _class_b(self, law: Law) -> Iterator[Line]:
        inside = law.auditing.near("class-b-airport", self.day).params["airports"]
        areas = [*self.flight.via_class_b, *(inside[each.key] for each in self.places if each.key in inside)]
        craft = self.flight.aircraft
        for area in dict.fromkeys(areas):
            for milestone in self.rulebook.in_role(SOLO_CLASS_B):
                context = Context(
                    aircraft_model=craft.model, category=craft.category, klass=craft.klass, area=area
                )
                yield from self._milestone(milestone, context)

    def _of_the_day(self, law: Law) -> Iterator[Line]:
        for name in law.rules:
            try:
                rule = law.rules.on(name, self.day)
            except NotInForce:
                rule = law.rules[name][-1]
            if (country := rule.get("country")) is not None:
                yield self._within(rule, country)
                continue
            if rule.get("confirm"):
                yield self._confirm(name, reason("release.says", says=rule.says), rule, None)
            elif rule.get("ceiling") is not None:
                for place in self.places:
                    yield from self._surface(rule, place)
            else:
                yield from self._visibility(rule)

    def _within(self, rule: RuleVersion, country: str) -> Line:
        """Whether every airport lies in a country; confirmed where the table has none of one."""
        told = reason("release.says", says=rule.says)
        where = {each.country for each in self.places}
        if where - {None, country}:
            return _line(rule.id, LAW, False, told, rule)
        if None in where or not where:
            return self._confirm(rule.id, told, rule, None)
        return _line(rule.id, LAW, True, told, rule)

    def _least(self, rule: RuleVersion) -> Fraction:
        """The least visibility by the Sun along the plan; where that is not known, that of the night."""
        least: Fraction = rule.params["day" if self.night is False else "night"]
        return least

    def _visibility(self, rule: RuleVersion) -> Iterator[Line]:
        least = self._least(rule)
        for place in self.places:
            yield self._least_of(f"{rule.id}:{place.key}", LAW, place, VISIBILITY, float(least), "SM", rule)
        # Where nobody tells the visibility in flight, the instructor confirms it with the weather on the way.
        told = [have for _, have in self.weather.in_flight]
        if told:
            words = reason("release.flight-visibility", need=said(least, "SM"), have=_have(min(told), "SM"))
            yield _line(f"{rule.id}:flight", LAW, min(told) >= least, words, rule)

    def _surface(self, rule: RuleVersion, place: Place) -> Iterator[Line]:
        """Ceiling and visibility of a controlled surface area; at an airport without one, not asked."""
        surface = (self.flight.surface or {}).get(place.key)
        if surface is not None and surface not in rule.params["surface"]:
            return
        lines = (
            self._least_of(
                f"{rule.id}-ceiling:{place.key}",
                LAW,
                place,
                CEILING,
                float(rule.params["ceiling"]),
                "ft",
                rule,
            ),
            self._least_of(
                f"{rule.id}-visibility:{place.key}",
                LAW,
                place,
                VISIBILITY,
                float(self._least(rule)),
                "SM",
                rule,
            ),
        )
        for line in lines:
            if line.met is False and surface is None:
                ask = reason("release.ask-surface", place=place.key)
                yield replace(line, met=None, ask=(*line.ask, ask))
            else:
                yield line

    def _least_of(
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
        asks = self._unknown(place, seen, element)
        told = reason(
            f"release.{element}",
            place=place.key,
            need=said(Fraction(least), unit),
            have=_have(lowest[0] if lowest else None, unit),
            source=lowest[1].source if lowest else "-",
        )
        return _line(id, group, False if low else None if asks else True, told, rule, () if low else asks)

    def _unknown(self, place: Place, seen: Sequence[Seen], element: str) -> tuple[Reason, ...]:
        """What is missing to know an element at a place: any report, or a part of one."""
        if not any(not each.temporary for each in seen):
            return (reason("release.ask-weather", place=place.key),)
        return tuple(
            reason("release.ask-element", element=element, report=each.source)
            for each in seen
            if element in each.unknown()
        )

    def _confirm(self, id: str, told: Reason, rule: RuleVersion | None, group: str | None) -> Line:
        """A line that is met once the instructor confirmed it."""
        name = f"confirm.{id}"
        met = True if name in self.confirmed else None
        return _line(name, group or CONFIRM, met, told, rule, () if met else (reason("release.ask-confirm"),))

    def _papers(self, law: Law) -> Iterator[Line]:
        """Inspections and documents: those that every flight needs, and those that some flights need."""
        facts = self.aircraft
        for kind in law.papers:
            try:
                rule = law.papers.on(kind, self.day)
            except NotInForce:
                continue
            done = [each for each in facts.checks if each.kind == kind] if facts else []
            done = [each for each in done if each.done <= self.day]
            always = bool(rule.get("always"))
            if not done:
                if always:
                    title = rule.params["title"]
                    asks = (reason("release.ask-paper", title=title),)
                    yield _line(
                        f"paper.{kind}", AIRCRAFT, None, reason("release.says", says=rule.says), rule, asks
                    )
                continue
            yield self._paper(kind, rule, _last_day(rule, done[-1]), always)

    def _paper(self, kind: str, rule: RuleVersion, last: Any, always: bool) -> Line:
        title, id = rule.params["title"], f"paper.{kind}"
        if last is None or last >= self.day:
            if last is not None:
                self.ends.append(_midnight_after(last, self.zone))
            told = (
                reason("release.paper", title=title, day=last)
                if last
                else reason("release.paper-kept", title=title)
            )
            return _line(id, AIRCRAFT, True, told, rule)
        told = reason("release.paper-ended", title=title, day=last)
        if always:
            return _line(id, AIRCRAFT, False, told, rule)
        return self._confirm(id, told, rule, None)

    def _groundings(self) -> Iterator[Line]:
        if self.aircraft is None:
            ask = reason("release.ask-groundings")
            yield Line("groundings", AIRCRAFT, None, reason("release.no-groundings"), ask=(ask,))
            return
        model = self.flight.aircraft.model
        if self.aircraft.model and (not model or same(model) != same(self.aircraft.model)):
            told = reason("release.other-model", model=self.aircraft.model)
            yield Line("aircraft.model", AIRCRAFT, False, told)
        if not self.aircraft.groundings:
            yield Line("groundings", AIRCRAFT, True, reason("release.no-groundings"))
        for number, each in enumerate(self.aircraft.groundings, start=1):
            told = (
                reason("release.grounded", why=each.reason)
                if each.kind == GROUNDED
                else reason("release.defect", why=each.reason)
            )
            yield Line(f"groundings.{number}", AIRCRAFT, False, told)

    def _weather_asks(self) -> Iterator[Line]:
        for number, ask in enumerate(self.weather.asks, start=1):
            yield Line(f"weather.{number}", WEATHER, None, reason("release.weather"), ask=(ask,))

    def _binding(self) -> Iterator[Endorsement]:
        """The endorsements whose limits and conditions bind this flight, ended ones aside."""
        keys = {each.key for each in self.places}
        for each in self.record.endorsements:
            model = self.flight.aircraft.model
            if each.given > self.day or (each.expires and each.expires < self.day):
                continue
            if each.aircraft_model and model and same(each.aircraft_model) != same(model):
                continue
            if each.airport is not None and each.airport.key not in keys:
                continue
            if each.flight_date is not None and each.flight_date != self.day:
                continue
            if each.limits or (each.conditions and each.kind.startswith("solo")):
                yield each


@dataclass
class _Limited:
    """The lines of one set of limits: an endorsement's or the school's."""

    asking: _Asking
    group: str
    limits: Limits
    whose: str

    def lines(self) -> Iterator[Line]:
        asking, limits, off = self.asking, self.limits, self.asking.flight.off
        for place in asking.places:
            for name, element, unit in (("ceiling", CEILING, "ft"), ("visibility", VISIBILITY, "SM")):
                least = getattr(limits, name)
                if least is not None:
                    id = f"{self.whose}.{name}:{place.key}"
                    yield asking._least_of(id, self.group, place, element, float(least), unit)
            yield from self._winds(place)
        if limits.distance is not None:
            yield self._distance(limits.distance)
        if limits.earliest is not None:
            early = off.astimezone(asking.zone).time() < limits.earliest
            yield self._line("earliest", not early, limit=f"{limits.earliest:%H:%M}", have=self._clock(off))
        if limits.latest is not None:
            back = asking.flight.on.astimezone(asking.zone)
            late = back.time() > limits.latest or back.date() > asking.day
            yield self._line("latest", not late, limit=f"{limits.latest:%H:%M}", have=self._clock(back))
        if limits.days_since_dual is not None:
            yield self._since_dual(limits.days_since_dual)
        if limits.daylight_margin is not None:
            yield self._margin(limits.daylight_margin)

    def _clock(self, at: datetime) -> str:
        return f"{at.astimezone(self.asking.zone):%H:%M}"

    def _line(self, name: str, met: bool | None, *asks: Reason, **told: Any) -> Line:
        return Line(
            f"{self.whose}.{name}",
            self.group,
            met,
            reason(f"release.limit-{name.split(':')[0]}", **told),
            ask=asks,
        )

    def _winds(self, place: Place) -> Iterator[Line]:
        seen = self.asking.weather.at(place)
        asks = self.asking._unknown(place, seen, WIND)
        told = [each for each in seen if WIND in each.stated]
        ways: tuple[tuple[str, Callable[[Seen], float | None]], ...] = (
            ("wind", lambda each: each.most_wind),
            ("gust", lambda each: max(each.gust - each.speed, 0.0)),
            ("crosswind", lambda each: self._crosswind(place, each)),
        )
        for name, of in ways:
            most = getattr(self.limits, name)
            if most is None:
                continue
            found = [of(each) for each in told]
            known = [each for each in found if each is not None]
            over = any(each > most for each in known)
            more = asks
            if len(known) < len(found):
                more = (*asks, reason("release.ask-runway", place=place.key))
            have = _have(max(known, default=None), "kt")
            met = False if over else None if more else True
            asked = () if over else more
            yield self._line(
                f"{name}:{place.key}", met, *asked, place=place.key, limit=said(most, "kt"), have=have
            )

    def _crosswind(self, place: Place, seen: Seen) -> float | None:
        """The worst crosswind; without a runway, None, unless the air is still."""
        if seen.most_wind == 0:
            return 0.0
        if seen.wind_from is None:
            return seen.most_wind
        runway = (self.asking.flight.runways or {}).get(place.key)
        bearings = runway and true_bearings(runway, place, self.asking.flight.off)
        if not bearings:
            return None
        return worst(seen.wind_from, seen.most_wind, bearings, seen.spread).cross

    def _distance(self, most: Fraction) -> Line:
        home = self.asking.home
        if not all(each.known for each in self.asking.places):
            return self._line(
                "distance", None, reason("release.ask-position"), limit=said(most, "NM"), have="-"
            )
        far = max(distance_nm(home, each) for each in self.asking.places)
        return self._line("distance", far <= most, limit=said(most, "NM"), have=said(Fraction(far), "NM"))

    def _since_dual(self, most: int) -> Line:
        day = self.asking.day
        days = [
            each.date for each in self.asking.record.flights if each.times.get("dual") and each.date <= day
        ]
        if not days:
            ask = reason("release.ask-dual")
            return self._line("days-since-dual", None, ask, limit=most, have="-")
        since = (day - max(days)).days
        return self._line("days-since-dual", since <= most, limit=most, have=str(since))

    def _margin(self, margin: Fraction) -> Line:
        asking = self.asking
        back = asking.flight.route[-1]
        limit = said(margin, "min")
        if back.lat is None or back.lon is None:
            return self._line("daylight-margin", None, reason("release.ask-position"), limit=limit, have="-")
        twilight = sun.civil_twilight(asking.day, back.lat, back.lon, back.tz or "UTC")
        if twilight.end_evening is None:
            met: bool | None = twilight.polar == "day"
            return self._line("daylight-margin", met, limit=limit, have="-")
        by = twilight.end_evening - timedelta(minutes=float(margin))
        asking.ends.append(by)
        return self._line(
            "daylight-margin", asking.flight.on <= by, limit=limit, have=self._clock(asking.flight.on)
        )


def _line(
    id: str,
    group: str,
    met: bool | None,
    told: Reason,
    rule: RuleVersion | None = None,
    asks: tuple[Reason, ...] = (),
) -> Line:
    if rule is None:
        return Line(id, group, met, told, ask=asks)
    return Line(id, group, met, told, rule.cite.section, rule.verified, asks)


def _have(value: float | None, unit: str) -> str:
    if value is None:
        return "-"
    return "none" if value == NO_CEILING else said(Fraction(value), unit)


def _last_day(rule: RuleVersion, done: Any) -> Any:
    life = rule.get("life")
    lives = None if life is None else calendar.last_day(done.done, life)
    ends = [each for each in (lives, done.expires) if each is not None]
    return min(ends, default=None)


def _midnight_after(day: Any, zone: Any) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone) + timedelta(days=1)
