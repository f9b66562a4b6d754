"""METAR and TAF text, and typed weather, as what is seen at an airport in a span of time.

A maintained library reads the text (``metar_taf_parser``); what it cannot read is unknown, never good.
Written reports give winds from true north (FMH-1, ICAO Annex 3).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

from metar_taf_parser.model.enum import WeatherChangeType
from metar_taf_parser.parser.parser import MetarParser, TAFParser

from syllabus.engine.places.geography import Place, UnknownAirport, airports
from syllabus.engine.release.flight import MAGNETIC, Typed, Weather
from syllabus.engine.release.wind import declination
from syllabus.engine.rules.reasons import Reason, reason

#: A METAR is issued hourly, and a quarter of an hour is left for it to come in: common practice.
OLDEST = timedelta(minutes=75)
#: A clock on a report may be ahead by so much.
AHEAD = timedelta(minutes=10)
WIND, VISIBILITY, CEILING = "wind", "visibility", "ceiling"
ELEMENTS = (WIND, VISIBILITY, CEILING)
NO_CEILING = math.inf
_METERS = 1609.344  # in a statute mile
_KNOTS = {"KT": 1.0, "MPS": 3600 / 1852, "KMH": 1000 / 1852}
_WIND = re.compile(r"(?:VRB|[0-9]{3})P?([0-9]{2,3})(?:GP?([0-9]{2,3}))?(KT|MPS|KMH)", re.ASCII)
_STARTS = re.compile(r"^\s*(?:METAR|SPECI)\s+", re.ASCII)
_TYPES = {"BKN", "OVC"}
#: Of clouds above it, CAVOK and NSC say nothing (ICAO Annex 3, appendix 3).
_NO_CLOUD_BELOW = 5000.0
#: Every group that a report or forecast may have. The library drops others, or reads a part of them; where
#: there is one, nothing that was read is taken for known.
_PHENOMENA = "DZ|RA|SN|SG|IC|PL|GR|GS|UP|BR|FG|FU|VA|DU|SA|HZ|PY|PO|SQ|FC|SS|DS"
_GROUP = re.compile(
    r"TAF|AMD|COR|AUTO|NSW|NOSIG|CAVOK|TEMPO|BECMG|PROB[34]0|FM[0-9]{6}|[0-9]{4}/[0-9]{4}|[0-9]{6}Z"
    r"|([0-9]{3}|VRB)[0-9]{2,3}(G[0-9]{2,3})?(KT|MPS|KMH)|[0-9]{3}V[0-9]{3}"
    r"|[PM]?[0-9]{1,2}SM|M?[0-9]/[0-9]{1,2}SM|[0-9]|[0-9]{4}(NDV|[NSEW]{1,2})?|R[0-9]{2}[LCR]?/[0-9A-Z/]+"
    rf"|(\+|-|VC|RE)?(MI|PR|BC|DR|BL|SH|TS|FZ)?({_PHENOMENA})+|(\+|-|VC|RE)?(TS|SH)"
    r"|(FEW|SCT|BKN|OVC)[0-9]{3}(CB|TCU)?|VV[0-9]{3}|CLR|SKC|NSC|NCD"
    r"|M?[0-9]{2}/(M?[0-9]{2})?|[AQ][0-9]{4}|QNH[0-9]{4}INS|T[XN]M?[0-9]{2}/[0-9]{4}Z"
    r"|WS[0-9]{3}/[0-9]{5}KT|[56][0-9]{5}|[0-9]{5}KT",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Seen:
    """Weather at an airport for some time. Knots, statute miles, feet above the ground; degrees from true
    north, ``wind_from`` None for a variable wind, which may be ``spread`` degrees off either way.

    ``stated`` are the elements that it says; ``temporary`` leaves others as they are.
    """

    at: str
    source: str
    first: datetime
    last: datetime
    speed: float = 0
    gust: float = 0
    wind_from: float | None = None
    spread: float = 0
    visibility: float = 0
    ceiling: float = 0
    stated: frozenset[str] = frozenset()
    temporary: bool = False

    @property
    def most_wind(self) -> float:
        return max(self.speed, self.gust)

    def unknown(self) -> tuple[str, ...]:
        return () if self.temporary else tuple(each for each in ELEMENTS if each not in self.stated)


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the weather of a flight: by airport, with the questions that are left.

    ``until``: when the first of the reports is too old. ``in_flight``: visibilities in flight, by source.
    """

    seen: tuple[Seen, ...]
    asks: tuple[Reason, ...]
    until: datetime | None
    in_flight: tuple[tuple[str, float], ...]

    def at(self, place: Place) -> tuple[Seen, ...]:
        return tuple(each for each in self.seen if each.at == place.key)


def known(
    weather: Weather | None, places: Iterable[Place], off: datetime, on: datetime, now: datetime
) -> Known:
    """What reports, forecasts and typed weather say of these places between takeoff and landing.

    A report of another airport, of the future, or older than ``OLDEST`` counts for nothing and is a question.
    """
    here = {each.key: each for each in places}
    seen: list[Seen] = []
    asks: list[Reason] = []
    fresh: list[datetime] = []
    given = weather or Weather()
    for text in given.metars:
        for each in _metar(text, now):
            _take(each, here, now, seen, asks, fresh)
    for typed in given.typed:
        _take(_typed(typed, here), here, now, seen, asks, fresh)
    for text in given.tafs:
        found = _taf(text, now)
        if isinstance(found, Reason):
            asks.append(found)
            continue
        if found and found[0].at not in here:
            asks.append(reason("release.weather-elsewhere", report=found[0].source))
            continue
        within = [each for each in found if each.first < on and each.last > off]
        if not any(not each.temporary for each in within) or max(each.last for each in within) < on:
            asks.append(reason("release.forecast-ends", report=found[0].source if found else text[:30]))
        seen += within
    return Known(
        tuple(seen),
        tuple(asks),
        min(fresh, default=None),
        tuple(
            (f"{each.at.key}, typed", float(each.flight_visibility))
            for each in given.typed
            if each.flight_visibility is not None and now - OLDEST <= each.observed <= now + AHEAD
        ),
    )


def _take(
    found: Seen | Reason,
    here: dict[str, Place],
    now: datetime,
    seen: list[Seen],
    asks: list[Reason],
    fresh: list[datetime],
) -> None:
    """Add a report to what is seen, or what is wrong with it to the questions."""
    if isinstance(found, Reason):
        asks.append(found)
    elif found.at not in here:
        asks.append(reason("release.weather-elsewhere", report=found.source))
    elif found.first < now - OLDEST:
        asks.append(reason("release.weather-old", report=found.source))
    elif found.first > now + AHEAD:
        asks.append(reason("release.weather-ahead", report=found.source))
    else:
        seen.append(found)
        fresh.append(found.first + OLDEST)


def _typed(given: Typed, here: dict[str, Place]) -> Seen | Reason:
    stated = set()
    source = f"{given.at.key}, typed"
    wind_from = None if given.wind_from is None else float(given.wind_from)
    if wind_from is not None and given.wind_reference == MAGNETIC:
        north = declination(here.get(given.at.key, given.at), given.observed)
        if north is None:
            return reason("release.no-declination", place=given.at.key)
        wind_from = (wind_from + north) % 360
    if given.wind is not None:
        stated.add(WIND)
    if given.visibility is not None:
        stated.add(VISIBILITY)
    if given.no_ceiling or given.ceiling is not None:
        stated.add(CEILING)
    return Seen(
        given.at.key,
        source,
        given.observed,
        given.observed + OLDEST,
        float(given.wind or 0),
        float(given.gust or 0),
        wind_from,
        visibility=float(given.visibility or 0),
        ceiling=NO_CEILING if given.no_ceiling else float(given.ceiling or 0),
        stated=frozenset(stated),
    )


def _metar(text: str, now: datetime) -> Iterator[Seen | Reason]:
    words = _STARTS.sub("", text.strip().rstrip("="))
    shown = " ".join(words.split()[:2])[:30]
    try:
        found = MetarParser().parse(words)
        at = _near(now, found.day, found.time.hour, found.time.minute)
        place = _key(found.station)
    except Exception:  # whatever the library meets in text that is no report
        yield reason("release.weather-unreadable", report=shown or text.strip()[:30])
        return
    name = f"METAR {shown}"
    base = Seen(place, name, at, at + OLDEST)
    if _strange(words):
        yield base
        return
    yield _filled(base, found, words.split(" RMK")[0])
    for trend in found.trends:
        yield replace(_filled(base, trend, ""), source=f"{name}, {_of(trend)}", temporary=True)


def _strange(words: str) -> bool:
    """Whether a text has a group, other than its airport, that neither a report nor a forecast has."""
    groups = words.split(" RMK")[0].split()
    return sum(_GROUP.fullmatch(each) is None for each in groups) > 1


def _taf(text: str, now: datetime) -> list[Seen] | Reason:
    """The groups of a forecast, each with its span; temporary ones beside what prevails."""
    words = " ".join(text.strip().rstrip("=").split())
    words = words if words.startswith("TAF") else f"TAF {words}"
    shown = words[:30]
    if re.search(r"\b(NIL|CNL)\b", words):
        return reason("release.weather-unreadable", report=shown)
    try:
        found = TAFParser().parse(words)
        place = _key(found.station)
        first, last = _span(found.validity, now)
        groups = [(each, *_span(each.validity, now, last)) for each in found.trends]
    except Exception:  # as above
        return reason("release.weather-unreadable", report=shown)
    name = f"TAF {found.station}"
    if _strange(words):
        return [Seen(place, name, first, last)]
    prevailing = [_filled(Seen(place, name, first, last), found, "")]
    beside: list[Seen] = []
    for group, begins, ends in groups:
        made = _filled(Seen(place, f"{name}, {_of(group)}", begins, ends), group, "")
        kind = group.type
        if kind == WeatherChangeType.FM:
            prevailing[-1] = replace(prevailing[-1], last=min(prevailing[-1].last, begins))
            prevailing.append(replace(made, last=last))
        elif kind == WeatherChangeType.BECMG:
            before = prevailing[-1]
            prevailing[-1] = replace(before, last=min(before.last, ends))
            prevailing.append(replace(_over(before, made), last=last))
        else:
            beside.append(replace(made, temporary=True))
    return prevailing + beside


def _over(before: Seen, made: Seen) -> Seen:
    """What becomes: the elements that are stated, the others as before."""
    if WIND not in made.stated:
        wind = (before.speed, before.gust, before.wind_from, before.spread)
        made = replace(made, speed=wind[0], gust=wind[1], wind_from=wind[2], spread=wind[3])
    if VISIBILITY not in made.stated:
        made = replace(made, visibility=before.visibility)
    if CEILING not in made.stated:
        made = replace(made, ceiling=before.ceiling)
    return replace(made, stated=made.stated | before.stated)


def _of(group: Any) -> str:
    chance = f"PROB{group.probability} " if getattr(group, "probability", None) else ""
    kind = "" if chance and group.type.name == "PROB" else group.type.name
    return f"{chance}{kind}".strip()


def _filled(base: Seen, found: Any, words: str) -> Seen:
    """``base`` with what the library found. ``words``: the report, to hold its wind against."""
    stated: set[str] = set()
    more: dict[str, Any] = {}
    if (wind := _wind(found.wind, words)) is not None:
        stated.add(WIND)
        more |= wind
    if found.cavok:
        stated |= {VISIBILITY, CEILING}
        more |= {"visibility": 10_000 / _METERS, "ceiling": _NO_CLOUD_BELOW}
    if (visibility := _visibility(found.visibility)) is not None:
        stated.add(VISIBILITY)
        more["visibility"] = visibility
    if (ceiling := _ceiling(found)) is not None:
        stated.add(CEILING)
        more["ceiling"] = ceiling
    return replace(base, stated=frozenset(stated), **more)


def _wind(wind: Any, words: str) -> dict[str, Any] | None:
    """Knots and degrees; None where there is none, or where the library read another speed than is there."""
    if wind is None or wind.speed is None or wind.unit not in _KNOTS:
        return None
    if words:
        said = _WIND.search(words)
        if said is None or int(said[1]) != wind.speed or int(said[2] or 0) != (wind.gust or 0):
            return None
    factor = _KNOTS[wind.unit]
    wind_from, spread = wind.degrees, 0.0
    if wind.min_variation is not None and wind.max_variation is not None and wind_from is not None:
        ends = (wind.min_variation, wind.max_variation)
        spread = max(abs((each - wind_from + 180) % 360 - 180) for each in ends)
    return {
        "speed": wind.speed * factor,
        "gust": (wind.gust or 0) * factor,
        "wind_from": None if wind_from is None else float(wind_from),
        "spread": float(spread),
    }


def _visibility(found: Any) -> float | None:
    """Statute miles; of ``M1/4SM``, which is less than a quarter, nothing, and of ``P6SM`` the six."""
    if found is None or found.distance is None:
        return None
    text = str(found.distance).strip()
    if text.startswith("M"):
        return 0.0
    try:
        value = float(sum(Fraction(each) for each in text.lstrip("P>").split()))
    except (ValueError, ZeroDivisionError):
        return None
    if found.min_distance is not None:
        value = min(value, float(found.min_distance))
    unit = getattr(found.unit, "value", found.unit)
    if unit == "SM":
        return value
    meters = value * 1000 if unit == "KM" else value
    return meters / _METERS


def _ceiling(found: Any) -> float | None:
    """The lowest broken or overcast layer, or the vertical visibility; None where it does not say."""
    if found.vertical_visibility is not None:
        return float(found.vertical_visibility)
    if not found.clouds:
        return None
    layers = [each for each in found.clouds if each.quantity.name in _TYPES]
    if any(each.height is None for each in layers):
        return None
    if any(each.quantity.name == "NSC" for each in found.clouds):
        return _NO_CLOUD_BELOW
    return float(min((each.height for each in layers), default=NO_CEILING))


def _key(station: str) -> str:
    try:
        return airports().find(station).key
    except UnknownAirport:
        return station


def _span(validity: Any, now: datetime, last: datetime | None = None) -> tuple[datetime, datetime]:
    first = _near(now, validity.start_day, validity.start_hour, getattr(validity, "start_minutes", 0) or 0)
    if getattr(validity, "end_day", None) is None:
        assert last is not None
        return first, last
    return first, _near(now, validity.end_day, validity.end_hour, 0)


def _near(now: datetime, day: int, hour: int, minute: int) -> datetime:
    """The instant of that day of a month and that hour, in UTC, that is nearest to ``now``."""
    middle = now.astimezone(UTC)
    found = []
    for offset in range(-40, 41):
        each = middle + timedelta(days=offset)
        if each.day == day:
            start = each.replace(hour=0, minute=0, second=0, microsecond=0)
            found.append(start + timedelta(hours=hour, minutes=minute))
    if not found or not 0 <= hour <= 24 or not 0 <= minute < 60:
        raise ValueError("no such day or hour")
    return min(found, key=lambda each: abs(each - now))
