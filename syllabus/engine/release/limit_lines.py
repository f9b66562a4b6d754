"""The lines of limits: those of the endorsements that bind a flight, and the school's."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any

from syllabus.engine.places.geography import Place, distance_nm
from syllabus.engine.record.limits import Limits
from syllabus.engine.record.quantities import said
from syllabus.engine.record.record import Endorsement
from syllabus.engine.release.answers import Line, have_of
from syllabus.engine.release.asking import Asking
from syllabus.engine.release.weather import CEILING, VISIBILITY, WIND, Seen
from syllabus.engine.release.wind import true_bearings, worst
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.reasons import Reason, reason


def binding(asking: Asking) -> Iterator[Endorsement]:
    """The endorsements whose limits and conditions bind this flight, ended ones aside."""
    keys = {each.key for each in asking.places}
    for each in asking.record.endorsements:
        model = asking.flight.aircraft.model
        if each.given > asking.day or (each.expires and each.expires < asking.day):
            continue
        if each.aircraft_model and model and same(each.aircraft_model) != same(model):
            continue
        if each.airport is not None and each.airport.key not in keys:
            continue
        if each.flight_date is not None and each.flight_date != asking.day:
            continue
        if each.limits or (each.conditions and each.kind.startswith("solo")):
            yield each


@dataclass
class Limited:
    """The lines of one set of limits: an endorsement's or the school's."""

    asking: Asking
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
                    yield asking.least_of(id, self.group, place, element, float(least), unit)
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
        asks = self.asking.unknown(place, seen, WIND)
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
            have = have_of(max(known, default=None), "kt")
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
        limit = said(margin, "min")
        twilight = asking.light()
        if twilight is None:
            return self._line("daylight-margin", None, reason("release.ask-position"), limit=limit, have="-")
        if twilight.end_evening is None:
            met: bool | None = twilight.polar == "day"
            return self._line("daylight-margin", met, limit=limit, have="-")
        by = twilight.end_evening - timedelta(minutes=float(margin))
        asking.ends.append(by)
        return self._line(
            "daylight-margin", asking.flight.on <= by, limit=limit, have=self._clock(asking.flight.on)
        )
