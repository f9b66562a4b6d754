"""Charts of hours over time: the hours that counted, the required hours, and a forecast.

Plain values in, coordinates out; a template draws them as SVG, with a table of the same numbers beside it.
The pace is the hours that counted in the last weeks, divided by those weeks. A short and a long period give
two paces, which are the edges of the forecast. It is arithmetic about the past and promises nothing.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.utils.formats import date_format

from syllabus.engine.time.units import HOUR

SHORT_WEEKS, LONG_WEEKS = 6, 26
#: A forecast beyond this is not shown.
MOST_DAYS = 3 * 365
#: The most and the least of the future that is drawn.
_DRAWN_DAYS, _LEAST_DAYS = 200, 28
WIDTH, HEIGHT = 360, 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 34, 10, 12, 26
_WEEK = dt.timedelta(days=7)

#: A day, and the microseconds that counted on it.
Counted = tuple[dt.date, int]


@dataclass(frozen=True, slots=True)
class Pace:
    """Microseconds a week over the last ``weeks``; ``reached``: the day on which the rest would be flown."""

    weeks: int
    a_week: Fraction
    reached: dt.date | None

    @property
    def hours(self) -> str:
        return f"{float(self.a_week / HOUR):.1f}"


@dataclass(frozen=True, slots=True)
class Forecast:
    """The two paces, the faster first; equal if training began only recently."""

    faster: Pace
    slower: Pace


def pace(counted: Sequence[Counted], on: dt.date, weeks: int, remaining: int) -> Pace:
    """The pace of the last ``weeks`` weeks through ``on``."""
    since = on - weeks * _WEEK
    a_week = Fraction(sum(time for day, time in counted if since < day <= on), weeks)
    if not a_week:
        return Pace(weeks, a_week, None)
    days = -(-remaining * 7 // a_week)  # round up to whole days
    return Pace(weeks, a_week, on + dt.timedelta(days=int(days)) if days <= MOST_DAYS else None)


def forecast(counted: Sequence[Counted], on: dt.date, remaining: int) -> Forecast | None:
    """The forecast; None if nothing remains, or nothing counted in the longer period.

    If training began within the longer period, the weeks since then take its place, at least the shorter one.
    """
    flown = [day for day, _ in counted if day <= on]
    if remaining <= 0 or not flown:
        return None
    since = (on - min(flown)).days // 7 + 1
    long = min(LONG_WEEKS, max(SHORT_WEEKS, since))
    paces = [pace(counted, on, weeks, remaining) for weeks in (SHORT_WEEKS, long)]
    paces.sort(key=lambda each: each.a_week, reverse=True)
    return Forecast(*paces) if paces[0].a_week else None


@dataclass(frozen=True, slots=True)
class Mark:
    """A tick of an axis with its label."""

    at: str
    text: str


@dataclass(frozen=True, slots=True)
class Chart:
    """Coordinates for the template. ``line`` and ``band`` are the points of a polyline and a polygon."""

    line: str
    band: str
    today: str
    need: str | None
    across: tuple[Mark, ...]
    up: tuple[Mark, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = _LEFT
    right: int = WIDTH - _RIGHT
    top: int = _TOP
    bottom: int = HEIGHT - _BOTTOM


def chart(
    counted: Sequence[Counted], on: dt.date, need: int, led: Forecast | None, begins: dt.date | None = None
) -> Chart:
    """Draw the hours from ``begins`` (by default the first entry) to today, and the forecast from there."""
    total = sum(time for _, time in counted)
    first = min([begins or on, on - dt.timedelta(days=_LEAST_DAYS), *(day for day, _ in counted)])
    ends = [each.reached for each in (led.faster, led.slower) if each.reached] if led else []
    last = on + dt.timedelta(days=_LEAST_DAYS)
    if ends:
        last = max(last, min(max(ends) + _WEEK, on + dt.timedelta(days=_DRAWN_DAYS)))
    step = _step(max(need, total))
    top = -(-max(need, total, HOUR) // step) * step

    def across(day: dt.date) -> float:
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * (day - first).days / (last - first).days

    def up(time: float) -> float:
        return HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * time / top

    points, height = [(across(first), up(0))], 0
    for day, time in sorted(counted):
        points.append((across(day), up(height)))
        height += time
        points.append((across(day), up(height)))
    points.append((across(on), up(height)))
    band = []
    if led:
        band = [(across(on), up(total))]
        band += _ahead(led.faster, total, need, on, last, across, up)
        band += reversed(_ahead(led.slower, total, need, on, last, across, up))
    return Chart(
        line=_points(points),
        band=_points(band),
        today=_number(across(on)),
        need=_number(up(need)) if need else None,
        across=tuple(Mark(_number(across(day)), date_format(day, "M")) for day in _months(first, last)),
        up=tuple(
            Mark(_number(up(step * number)), f"{step * number // HOUR}") for number in range(top // step + 1)
        ),
    )


def _ahead(each: Pace, total, need, on, last, across, up) -> list[tuple[float, float]]:  # type: ignore[no-untyped-def]
    """The points of a pace from today: up to the required hours, then level."""
    if each.reached and each.reached <= last:
        return [(across(each.reached), up(need)), (across(last), up(need))]
    return [(across(last), up(float(min(need, total + each.a_week * (last - on).days / 7))))]


def _step(most: int) -> int:
    """Whole hours between grid lines, so that there are at most five."""
    return next((each for each in (1, 2, 5, 10, 20, 50, 100, 200) if most <= 5 * each * HOUR), 500) * HOUR


def _months(first: dt.date, last: dt.date) -> list[dt.date]:
    """First days of months between two days, at most six."""
    months, day = [], first.replace(day=1)
    while day <= last:
        if day >= first and (last - day).days * 12 > (last - first).days:  # no room for its label
            months.append(day)
        day = (day + dt.timedelta(days=32)).replace(day=1)
    return months[:: -(-len(months) // 6) or 1]


def _points(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in points)


def _number(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")
