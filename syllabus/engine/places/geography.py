"""Where an airport is, and how far apart two points are.

Distances are geodesics on the WGS 84 ellipsoid (geographiclib, after Karney 2013), one nautical mile
being 1,852 m exactly. The cross-country rules of 14 CFR 61.1 and 61.109 say "straight-line distance" and
name no model of the earth; a sphere of one minute to the mile is off by as much as 0.3 NM in 50, so a
distance that close to a limit is marked by `near_limit` for a person to look at.

Airport positions come from the airportsdata table. They are advisory, not surveyed, and not the
authority's own: a school may override any of them. Where the table holds one field twice under unrelated
identifiers (Nartron Field, Michigan, is both KRCT and MI31) the two stay two places.
"""

import difflib
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any

import airportsdata
from geographiclib.geodesic import Geodesic

from syllabus.engine import effort
from syllabus.engine.errors import EngineError

Degrees = tuple[float, float]
"""Latitude and longitude, north and east positive."""

METRES_PER_NM = 1852
NEAR_LIMIT_NM = 0.3
"""How close to a limit the choice of earth model, or an airport's reference point, can turn the answer."""

_FLOAT_NOISE_NM = 1e-9
_KEY_DECIMALS = 6  # a tenth of a metre: two spellings of one position stay one place
_HINTS = 3
_LOOKALIKE = str.maketrans("OILSBZ", "011582")


@dataclass(frozen=True, slots=True)
class Place:
    """A point on the earth.

    ``key`` is what makes two mentions the same place: the airport's identifier in the table (``KGRB``),
    ``@44.1,-87.9`` for a named position, ``?grass strip`` for a name whose position nobody gave.
    ``lat`` and ``lon`` are degrees WGS 84, north and east positive, both None when unknown.
    ``tz`` is the IANA zone where the table has one.
    """

    key: str
    name: str
    lat: float | None = None
    lon: float | None = None
    tz: str | None = None
    country: str | None = field(default=None, compare=False)  # ISO 3166, where the table has one

    @property
    def known(self) -> bool:
        """Whether the position is known."""
        return self.lat is not None and self.lon is not None


class UnknownAirport(EngineError, LookupError):
    """No airport has this identifier: ``ident`` was asked for, ``hint`` names close ones ("" if none)."""

    def __init__(self, ident: str, hint: str = "") -> None:
        self.ident = ident
        self.hint = hint
        super().__init__(ident, hint)

    def __str__(self) -> str:
        shown = self.ident if len(self.ident) <= 40 else self.ident[:40] + "…"
        hint = f"{self.hint[0].upper()}{self.hint[1:]} " if self.hint else ""
        return f"no airport has the identifier {shown!r}. {hint}Correct it, or give a name with lat and lon."


class Airports:
    """The airport table, by ICAO and United States local identifiers, and a school's changes to it.

    ``overrides`` maps an identifier to the place the school says it is; the identifier may be new or one
    of the table's, in either of its spellings. The place's own ``key`` gives way to the airport's, so
    that every mention of the airport still agrees, and its ``tz`` falls back to the table's.

    Raises: ValueError when two overrides name one airport and differ.
    """

    def __init__(self, overrides: Mapping[str, Place] | None = None) -> None:
        self._found: dict[str, Place] = {}
        self._overrides: dict[str, Place] = {}
        # A record may name one unknown airport twenty thousand times.
        self._hint = lru_cache(maxsize=4096)(self._meant)
        for ident, place in (overrides or {}).items():
            code = _normalised(ident)
            if not code:
                raise ValueError(
                    f"an override needs an identifier of plain letters and digits; got {ident!r}"
                )
            row = _row(code)
            tz = place.tz or (row["tz"] or None if row else None)
            country = place.country or (row["country"] or None if row else None)
            place = replace(place, key=row["icao"] if row else code, tz=tz, country=country)
            if self._overrides.setdefault(place.key, place) != place:
                raise ValueError(f"two overrides name the airport {place.key} and differ; keep one")

    def find(self, ident: str, hint: Callable[[str], bool] = bool) -> Place:
        """The airport with this identifier, whatever its letter case and the space around it.

        An ICAO identifier is tried first, then a local one; an airport that has both is the same place
        under both. ``K`` before a three-character local identifier is the form used in the contiguous
        United States, so ``KM26`` and ``M26`` are one airport. It is not extended to airports whose ICAO
        identifier starts otherwise (Alaska, Hawaii, the islands): ``KANC`` is refused with a hint at
        ``PANC``, for a slip of the pen must not move a flight to Anchorage. Airline (IATA) codes are not
        identifiers: ``ABI`` is Abilene's local identifier, whoever else uses it. ``hint`` says of an unknown
        identifier whether airports that may have been meant are looked for, which is slow.

        Raises: UnknownAirport.
        """
        if (place := self._found.get(ident)) is not None:
            return place
        code = _normalised(ident)
        place = self._own(code)
        if place is None:
            row = _row(code)
            if row is None:
                raise UnknownAirport(ident, self._hint(code) if hint(code) else "")
            place = self._overrides.get(row["icao"]) or _place(row)
        self._found[code] = place
        return place

    def like(self, typed: str, most: int) -> list[Place]:
        """Airports that a few letters may mean: by identifier first, then by a word of the name."""
        wanted = typed.strip().upper()
        if len(wanted) < 2:
            return []
        icao, local, _ = _table()
        codes = {row["icao"] for lid, row in local.items() if lid.startswith(wanted)}
        codes |= {code for code in icao if code.startswith(wanted)}
        found = sorted(codes, key=lambda code: (len(code), code))[:most]
        if len(found) < most and len(wanted) >= 3:
            word = wanted.title()
            named = (code for code, row in icao.items() if word in row["name"].title() and code not in codes)
            found += sorted(named)[: most - len(found)]
        return [self.find(code) for code in found]

    def near(self, place: Place, most: int, within: float = 2.0) -> list[Place]:
        """Airports within about so many degrees of a known place, the nearest first."""
        lat, lon = coordinates(place)
        icao, _, _ = _table()
        close = sorted(
            (abs(row["lat"] - lat) + abs(row["lon"] - lon), code)
            for code, row in icao.items()
            if abs(row["lat"] - lat) <= within and abs(row["lon"] - lon) <= within
        )
        return [self.find(code) for _, code in close[:most]]

    def _own(self, code: str) -> Place | None:
        """The school's own field, absent from the table, under its identifier with or without the K."""
        if place := self._overrides.get(code):
            return place
        if _row(code) is None:
            if len(code) == 4 and code[0] == "K":
                return self._overrides.get(code[1:])
            if len(code) == 3:
                return self._overrides.get("K" + code)
        return None

    def _meant(self, code: str) -> str:
        """Up to three airports that may have been meant, as words; "" when there are none."""
        icao, local, airline = _table()
        if not code:
            return ""
        if code[0] == "K" and (row := local.get(code[1:])):
            return f"did you mean {_shown(row)}?"
        if row := airline.get(code):
            return f"{code} is an airline code; did you mean {_shown(row)}?"
        close: dict[str, str] = {}
        for near in _one_slip_away(code):
            if place := self._overrides.get(near):
                close.setdefault(place.key, f"{place.key} ({place.name})")
            elif row := icao.get(near) or local.get(near):
                close.setdefault(row["icao"], _shown(row))
        same = code.translate(_LOOKALIKE)
        ranked = sorted(
            close,
            key=lambda key: (
                key.translate(_LOOKALIKE) != same,
                -difflib.SequenceMatcher(None, code, key).ratio(),
                key,
            ),
        )
        return f"did you mean {' or '.join(close[key] for key in ranked[:_HINTS])}?" if ranked else ""


@cache
def identifiers() -> tuple[list[str], dict[str, str]]:
    """Every airport's identifier, and what else ``find`` takes for one: ``GRB`` for ``KGRB``."""
    icao, local, _ = _table()
    also = {code: row["icao"] for code, row in local.items() if code not in icao}
    known = [f"K{code}" for code, row in local.items() if len(code) == 3 and row["icao"] == code]
    return sorted(icao), also | {code: code[1:] for code in known if code not in icao and code not in also}


@cache
def airports() -> Airports:
    """The airport table without overrides, shared by the process; the table is read at the first look-up."""
    return Airports()


def position(name: str, lat: float | None, lon: float | None) -> Place:
    """A named place, at ``lat`` and ``lon`` (degrees WGS 84, north and east positive), or at neither.

    A longitude of up to a full turn either way is accepted and brought into -180 < lon <= 180.

    Raises: ValueError, naming the place, when only one coordinate is given, when either is out of range
            or not a finite number, and when there is neither name nor position.
    """
    name = " ".join(name.split())
    if lat is None and lon is None:
        if not name:
            raise ValueError("a point needs a name or a position")
        return Place(key=f"?{name.casefold()}", name=name)
    shown = name or "the unnamed point"
    if lat is None or lon is None:
        given, missing = ("lat", "lon") if lon is None else ("lon", "lat")
        raise ValueError(f"{shown}: {given} is given without {missing}; give both or neither")
    lat, lon = float(lat), float(lon)
    if not (math.isfinite(lat) and abs(lat) <= 90):
        raise ValueError(f"{shown}: latitude {lat:g} is not between -90 and 90 degrees")
    if not (math.isfinite(lon) and abs(lon) <= 360):
        raise ValueError(f"{shown}: longitude {lon:g} is not between -360 and 360 degrees")
    if lon > 180:
        lon -= 360
    elif lon <= -180:
        lon += 360
    key = f"@{_degrees(lat)},{_degrees(lon)}"
    return Place(key=key, name=name or key[1:], lat=lat, lon=lon)


def distance_nm(a: Place, b: Place) -> float:
    """The geodesic between two places on WGS 84, in nautical miles, unrounded; the same both ways.

    Raises: ValueError naming the place whose position is unknown.
    """
    return geodesic_metres(coordinates(a), coordinates(b)) / METRES_PER_NM


def to_hundredth(nm: float) -> Fraction:
    """A distance as it is stored, shown and compared: to the nearest 0.01 NM, exactly.

    So 50.004 NM is 50.00 and not "more than 50": the tenth digit of a float must not decide a
    requirement.
    """
    return Fraction(round(nm * 100), 100)


def near_limit(nm: float, limit: float) -> bool:
    """Whether a distance is within 0.3 NM of a limit, either side and inclusive: a person should look."""
    return abs(nm - limit) <= NEAR_LIMIT_NM + _FLOAT_NOISE_NM


def geodesic_metres(here: Degrees, there: Degrees, ellipsoid: Geodesic = Geodesic.WGS84) -> float:
    """The shortest line between two positions, in metres, the same both ways; nearly opposite points too."""
    return _metres(here, there, ellipsoid) if here <= there else _metres(there, here, ellipsoid)


@lru_cache(maxsize=1 << 12)
def along(here: Degrees, there: Degrees) -> Callable[[float], Degrees]:
    """The WGS 84 geodesic from one position to another, as a function of the share flown (0 to 1)."""
    line = Geodesic.WGS84.InverseLine(
        *here, *there, Geodesic.LATITUDE | Geodesic.LONGITUDE | Geodesic.DISTANCE_IN
    )

    def at(share: float) -> Degrees:
        point = line.Position(share * line.s13, Geodesic.LATITUDE | Geodesic.LONGITUDE)
        return point["lat2"], point["lon2"]

    return at


@lru_cache(maxsize=1 << 15)
def _metres(here: Degrees, there: Degrees, ellipsoid: Geodesic) -> float:
    effort.check()
    return float(ellipsoid.Inverse(*here, *there, Geodesic.DISTANCE)["s12"])


def coordinates(place: Place) -> Degrees:
    if place.lat is None or place.lon is None:
        raise ValueError(f"{place.name}: no position is known, so no distance; give its lat and lon")
    return place.lat, place.lon


def _degrees(value: float) -> str:
    """Six decimals at most and no trailing zeros: 44.1, -87.9, 0."""
    return f"{round(value, _KEY_DECIMALS) + 0.0:.{_KEY_DECIMALS}f}".rstrip("0").rstrip(".")


def _normalised(ident: str) -> str:
    """Upper case without the space around it; "" for anything that is no identifier at all."""
    code = ident.strip()
    return code.upper() if code.isascii() and len(code) <= 8 else ""


@cache
def _table() -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """The airport rows by ICAO, by local and by airline code, from one read of the file."""
    icao: dict[str, Any] = dict(airportsdata.load("ICAO"))
    local = {row["lid"]: row for row in icao.values() if row["lid"]}
    airline = {row["iata"]: row for row in icao.values() if row["iata"]}
    return icao, local, airline


def _row(code: str) -> Any | None:
    """The table's row: by ICAO identifier, by local one, by local one after the contiguous states' K."""
    icao, local, _ = _table()
    if row := icao.get(code) or local.get(code):
        return row
    if len(code) == 4 and code[0] == "K" and (row := local.get(code[1:])) and row["icao"] == code[1:]:
        return row
    return None


def _place(row: Any) -> Place:
    return Place(row["icao"], row["name"], row["lat"], row["lon"], row["tz"] or None, row["country"] or None)


def _shown(row: Any) -> str:
    return f"{row['icao']} ({row['name']})"


def _one_slip_away(code: str) -> Iterator[str]:
    """Every identifier one wrong, missing, surplus or swapped character away, each at least three long."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    for i in range(len(code) + 1):
        before, after = code[:i], code[i:]
        if len(code) < 4:
            yield from (before + letter + after for letter in letters)
        if after:
            yield from (before + letter + after[1:] for letter in letters if letter != after[0])
            if len(code) > 3:
                yield before + after[1:]
        if len(after) > 1 and after[0] != after[1]:
            yield before + after[1] + after[0] + after[2:]
