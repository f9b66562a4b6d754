"""The lines of a release: each met, not met or unknown, with its citation. It decides nothing.

Only what is certain is met. What nothing on record can answer, the instructor confirms line by line.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction

from syllabus.engine.errors import NotInForce
from syllabus.engine.places.geography import Place
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.quantities import said
from syllabus.engine.record.record import Record
from syllabus.engine.release import aircraft_lines, limit_lines
from syllabus.engine.release.answers import (
    ENDORSEMENT,
    LAW,
    SCHOOL,
    WEATHER,
    Law,
    Line,
    Release,
    have_of,
    line_of,
    midnight_after,
)
from syllabus.engine.release.asking import Asking
from syllabus.engine.release.facts import AircraftFacts
from syllabus.engine.release.flight import PlannedFlight
from syllabus.engine.release.weather import CEILING, VISIBILITY
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered, reason
from syllabus.engine.rules.rulebook import (
    SOLO,
    SOLO_CLASS_B,
    SOLO_CROSS_COUNTRY,
    SOLO_NIGHT,
    Milestone,
    Rulebook,
    RuleVersion,
)
from syllabus.engine.rules.settings import DEFAULT, Settings

#: What the id of a school's own minimum has.
_OWN = ".school."


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
    asking = _Lines(
        rulebook, law, record, flight, now, aircraft, school or Limits(),
        frozenset((*flight.confirmed, *confirmed)), settings, lasts,
    )  # fmt: skip
    lines: dict[str, Line] = {}
    for each in asking.lines():
        lines.setdefault(each.id, each)
    return Release(tuple(lines.values()), min(asking.ends, default=None), rulebook.id)


class _Lines(Asking):
    """Every line of one question."""

    def lines(self) -> Iterator[Line]:
        yield self._when()
        milestones = [
            *self._asked(SOLO),
            *(self._asked(SOLO_CROSS_COUNTRY) if self.away else ()),
            *(self._asked(SOLO_NIGHT) if self.night is not False else ()),
        ]
        for milestone, context in milestones:
            yield from self._milestone(milestone, context)
        for authority in dict.fromkeys(each.authority for each in self.rulebook.in_role(SOLO)):
            law = self.law.get(authority)
            if law is None:
                yield Line(authority, LAW, None, reason("release.no-law", authority=authority))
                continue
            yield from self._class_b(law)
            yield from self._of_the_day(law)
            yield from aircraft_lines.papers(self, law)
        yield from aircraft_lines.groundings(self)
        yield from self._weather_asks()
        for given in limit_lines.binding(self):
            yield from limit_lines.Limited(self, ENDORSEMENT, given.limits or Limits(), given.id).lines()
            if given.conditions:
                told = reason("release.conditions", day=given.given, conditions=given.conditions)
                yield self.confirm(f"conditions:{given.id}", told, None)
        yield from limit_lines.Limited(self, SCHOOL, self.school, "school").lines()

    def _when(self) -> Line:
        """A plan for a day that is over cannot be released."""
        if self.flight.off < self.now - timedelta(minutes=15):
            return Line("when", SCHOOL, False, reason("release.over"))
        if self.lasts is not None and self.flight.off >= self.now + self.lasts:
            return Line("when", SCHOOL, False, reason("release.early"))
        return Line("when", SCHOOL, True, reason("release.not-over"))

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
            self.ends.append(midnight_after(span[1], self.zone))
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
                yield self.confirm(name, reason("release.says", says=rule.says), rule)
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
            return line_of(rule.id, LAW, False, told, rule)
        if None in where or not where:
            return self.confirm(rule.id, told, rule)
        return line_of(rule.id, LAW, True, told, rule)

    def _least(self, rule: RuleVersion) -> Fraction:
        """The least visibility by the Sun along the plan; where that is not known, that of the night."""
        least: Fraction = rule.params["day" if self.night is False else "night"]
        return least

    def _visibility(self, rule: RuleVersion) -> Iterator[Line]:
        least = self._least(rule)
        for place in self.places:
            yield self.least_of(f"{rule.id}:{place.key}", LAW, place, VISIBILITY, float(least), "SM", rule)
        # Where nobody tells the visibility in flight, the instructor confirms it with the weather on the way.
        told = [have for _, have in self.weather.in_flight]
        if told:
            words = reason("release.flight-visibility", need=said(least, "SM"), have=have_of(min(told), "SM"))
            yield line_of(f"{rule.id}:flight", LAW, min(told) >= least, words, rule)

    def _surface(self, rule: RuleVersion, place: Place) -> Iterator[Line]:
        """Ceiling and visibility of a controlled surface area; at an airport without one, not asked."""
        surface = (self.flight.surface or {}).get(place.key)
        if surface is not None and surface not in rule.params["surface"]:
            return
        lines = (
            self.least_of(
                f"{rule.id}-ceiling:{place.key}",
                LAW,
                place,
                CEILING,
                float(rule.params["ceiling"]),
                "ft",
                rule,
            ),
            self.least_of(
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

    def _weather_asks(self) -> Iterator[Line]:
        for number, ask in enumerate(self.weather.asks, start=1):
            yield Line(f"weather.{number}", WEATHER, None, reason("release.weather"), ask=(ask,))
