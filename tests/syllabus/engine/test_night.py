"""The night of a flight against the published day, and the same question asked step by step of an independent
ephemeris and geodesic library."""

from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise
from math import cos, radians
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pyproj import Geod

from syllabus.engine.places.geography import Place, airports, position
from syllabus.engine.time.sun import civil_twilight, is_night, night_time, sun_altitude
from tests.support.extent import count
from tests.syllabus.engine.ephemeris import (
    ATLANTA,
    DAYS,
    EDT,
    INSTANTS,
    SECOND,
    TIMES,
    on_day,
    reference_altitude,
)

NIGHT_FROM, NIGHT_UNTIL = (
    "20:21:23",
    "06:49:40",
)  # Atlanta 2009-09-06 by computing; the published table: 20:21, 06:50


@pytest.mark.parametrize(
    ("off", "on", "begins", "ends"),
    [  # computed here, from the published Atlanta day
        pytest.param("20:00", "21:00", NIGHT_FROM, "21:00", id="20:00 to 21:00 has 38 minutes 37 seconds"),
        pytest.param("06:30", "06:49", "06:30", "06:49", id="06:30 to 06:49 is night, 40 seconds to spare"),
        pytest.param("06:30", "06:50", "06:30", NIGHT_UNTIL, id="06:30 to 06:50 outlasts the night"),
        pytest.param("19:00", "20:21", "20:21", "20:21", id="on at 20:21 has no night, 23 seconds early"),
        pytest.param("20:22", "20:57", "20:22", "20:57", id="off at 20:22 is all night"),
        pytest.param("12:00", "13:00", "13:00", "13:00", id="noon is day"),
        pytest.param("04:00", "22:00", None, None, id="one that spans the day has both ends of it"),
    ],
)
def test_the_night_of_a_local_flight_is_from_limit_to_limit(off, on, begins, ends):
    off, on, begins, ends = (
        clock and on_day(clock, date(2009, 9, 6), EDT) for clock in (off, on, begins, ends)
    )
    expected = ends - begins if begins else (
        on_day(NIGHT_UNTIL, off.date(), EDT) - off + (on - on_day(NIGHT_FROM, off.date(), EDT))
    )  # fmt: skip

    assert abs(night_time(off, on, [ATLANTA]) - expected) <= SECOND
    assert night_time(off, on, [ATLANTA, ATLANTA]) == night_time(off, on, [ATLANTA])


@pytest.mark.parametrize(
    ("clock", "night"),
    [  # computed here, from the published Atlanta day
        pytest.param("20:21", False, id="landing at 20:21, the published minute, is 23 seconds before night"),
        pytest.param("20:21:24", True, id="landing at 20:21:24 is night"),
        pytest.param("20:25", True, id="landing at 20:25 is night"),
        pytest.param("20:57", True, id="landing at 20:57 is night"),
        pytest.param("06:49:39", True, id="takeoff at 06:49:39 is night"),
        pytest.param("06:49:42", False, id="takeoff at 06:49:42 is day"),
    ],
)
def test_whether_a_landing_is_at_night(clock, night):
    assert is_night(on_day(clock, date(2009, 9, 6), EDT), ATLANTA) is night


@pytest.mark.parametrize(
    ("clock", "within"),
    [
        pytest.param("20:21", False, id="20:21"),
        pytest.param("20:56", False, id="20:56, ten seconds early"),
        pytest.param("20:56:15", True, id="20:56:15"),
        pytest.param("20:57", True, id="20:57"),
    ],
)
def test_an_hour_after_sunset_is_later_than_the_end_of_twilight(clock, within):
    """14 CFR 61.57(b) counts from an hour after sunset; it is not the night of 14 CFR 1.1."""
    sunset = civil_twilight(date(2009, 9, 6), 33.8, -84.4, EDT).sunset

    assert (on_day(clock, date(2009, 9, 6), EDT) >= sunset + timedelta(hours=1)) is within


def test_a_long_twilight_is_not_night_for_lack_of_sun():
    """Anchorage in June, sunset to sunrise: the Sun is down for hours and 14 CFR 1.1 counts none of them."""
    anchorage = airports().find("PANC")
    sunset = civil_twilight(date(2026, 6, 21), anchorage.lat, anchorage.lon, anchorage.tz).sunset

    assert night_time(sunset, sunset + timedelta(hours=4), [anchorage]) == timedelta(0)


@pytest.mark.parametrize(
    ("lat", "month", "share"),
    [
        pytest.param(78.22, 12, 1.0, id="in the polar night it is night at noon"),
        pytest.param(78.22, 6, 0.0, id="in the polar day it is day at midnight"),
        pytest.param(90.0, 12, 1.0, id="at the pole in winter"),
        pytest.param(-90.0, 12, 0.0, id="at the other pole"),
    ],
)
def test_a_polar_flight_is_all_night_or_none(lat, month, share):
    off = datetime(2026, month, 21, 0, 30, tzinfo=UTC)

    night = night_time(off, off + timedelta(hours=24), [position("far north", lat, 15.65)])

    assert night == timedelta(hours=24) * share


def brute_force(off: datetime, on: datetime, route: list[Place], step: float, *limits: float) -> list[float]:
    """Seconds below each limit, asked of the other ephemeris step by step, moved by the other geodesics.

    Asked first at every fortieth step: what lies between cannot be on the other side of a limit that is
    further off than the Sun and the flight together move in forty steps.
    """
    geod = Geod(ellps="WGS84")
    legs = [(a, b, *geod.inv(a.lon, a.lat, b.lon, b.lat)) for a, b in pairwise(route)]
    ends = np.cumsum([0.0] + [leg[4] for leg in legs])
    length = (on - off).total_seconds()
    seconds = np.arange(step / 2, length, step)
    start = TIMES.from_datetime(off)

    def altitudes_at(seconds: np.ndarray) -> np.ndarray:
        if ends[-1] == 0:
            lats, lons = np.full(seconds.shape, route[0].lat), np.full(seconds.shape, route[0].lon)
        else:
            flown = seconds / length * ends[-1]
            which = np.clip(np.searchsorted(ends, flown, side="right") - 1, 0, len(legs) - 1)
            start_lon, start_lat = (
                np.array([getattr(leg[0], axis) for leg in legs])[which] for axis in ("lon", "lat")
            )
            azimuth = np.array([leg[2] for leg in legs])[which]
            lons, lats, _ = geod.fwd(start_lon, start_lat, azimuth, flown - ends[which])
        return np.array(reference_altitude(TIMES.tt_jd(start.tt + seconds / 86400), lats, lons))

    many = 40
    moved = many * step * (1.1 * 360 / 86400 + ends[-1] / length / 110_000)  # degrees
    altitudes = np.repeat(altitudes_at(seconds[::many]), many)[: len(seconds)]
    close = np.min([abs(altitudes - limit) for limit in limits], axis=0) <= moved
    if close.any():
        altitudes[close] = altitudes_at(seconds[close])
    return [float((altitudes < limit).sum() * step) for limit in limits]


def at_fields(*idents: str) -> list[Place]:
    return [airports().find(ident) for ident in idents]


@pytest.mark.parametrize(
    ("off", "minutes", "route"),
    [
        pytest.param(
            "2026-03-02T17:20:00-06:00", 84, at_fields("KGRB", "KMTW", "KGRB"), id="there and back at dusk"
        ),
        pytest.param("2026-03-02T05:20:00-06:00", 84, at_fields("KGRB"), id="local at dawn"),
        pytest.param(
            "2025-09-10T18:00:00-05:00", 180, at_fields("KATW", "KMSP", "KDLH"), id="westbound after the Sun"
        ),
        pytest.param(
            "2025-09-10T18:00:00-05:00", 180, at_fields("KMSP", "KGRB", "KGRR"), id="eastbound into the dark"
        ),
        pytest.param(
            "2025-12-20T12:30:00-09:00", 240, at_fields("PAFA", "PABR"), id="north into the polar dusk"
        ),
        pytest.param("2025-06-24T06:00:00+00:00", 300, at_fields("NFFN", "NSTU"), id="across the date line"),
        pytest.param(
            "2025-03-20T17:00:00+00:00", 600, at_fields("EGLL", "KJFK"), id="one that chases the terminator"
        ),
        pytest.param(
            "2025-03-20T00:00:00+00:00",
            5760,
            [position("50 N", 50, 0), position("50 S", -50, 1)],
            id="four days by balloon across the equator",
        ),
        pytest.param(
            "2025-03-19T22:00:00+00:00", 1500, at_fields("CYVR"), id="a whole day round, two limits"
        ),
    ],
)
def test_the_night_along_a_route_is_what_asking_step_by_step_gives(off, minutes, route):
    off = datetime.fromisoformat(off)
    on = off + timedelta(minutes=minutes)

    found = night_time(off, on, route)

    step = max(1.0, minutes / 200)
    (expected,) = brute_force(off, on, route, step, -6.0)
    assert found.total_seconds() == pytest.approx(expected, abs=1 + step)


def test_the_routes_of_the_last_test_do_meet_a_limit():
    off = datetime.fromisoformat("2025-09-10T18:00:00-05:00")
    west, east = (night_time(off, off + timedelta(hours=3), at_fields(*route)) for route in
                  (("KATW", "KMSP", "KDLH"), ("KMSP", "KGRB", "KGRR")))  # fmt: skip

    assert timedelta(minutes=30) < west < east < timedelta(hours=2)


FLIGHT = st.tuples(
    INSTANTS,
    st.integers(0, 6 * 3600),
    st.lists(st.tuples(st.floats(-80, 80), st.floats(-180, 180)), min_size=1, max_size=4),
)


def near_first(points: list[tuple[float, float]]) -> list[Place]:
    """A route of an hour or two: every point within some two degrees of the first."""
    (lat, lon), *others = points
    rest = [(lat + more / 40, lon + 2 * further / 180 / cos(radians(lat))) for more, further in others]
    return [position(f"p{n}", *point) for n, point in enumerate([(lat, lon), *rest])]


@settings(max_examples=count(10, 40), deadline=None)
@given(FLIGHT)
def test_the_night_of_any_flight_is_what_asking_every_four_seconds_gives(flight):
    off, seconds, points = flight
    route, on = near_first(points), off + timedelta(seconds=seconds)
    assume(seconds >= 60)

    found = night_time(off, on, route)

    assert timedelta(0) <= found <= on - off
    # Where the Sun grazes the limit, a thousandth of a degree is many seconds: so the reference brackets it.
    least, most = brute_force(off, on, route, 4.0, -6.003, -5.997)
    assert least - 8 <= found.total_seconds() <= most + 8


@settings(deadline=None)
@given(FLIGHT, st.floats(0, 1))
def test_night_adds_up_when_a_local_flight_is_cut_in_two(flight, share):
    off, seconds, points = flight
    on, place = off + timedelta(seconds=seconds), position("home", *points[0])
    cut = off + timedelta(seconds=round(seconds * share))

    whole = night_time(off, on, [place])

    assert abs(night_time(off, cut, [place]) + night_time(cut, on, [place]) - whole) <= 2 * SECOND


@settings(deadline=None)
@given(DAYS, st.floats(-60, 60), st.floats(-180, 180))
def test_a_flight_round_the_clock_has_the_night_between_two_noons(day, lat, lon):
    zone = timezone(timedelta(hours=round(lon / 15)))
    today, tomorrow = (civil_twilight(day + timedelta(days=n), lat, lon, zone) for n in (0, 1))
    assume(today.end_evening and tomorrow.begin_morning)
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=zone)

    night = night_time(noon, noon + timedelta(days=1), [position("home", lat, lon)])

    assert abs(night - (tomorrow.begin_morning - today.end_evening)) <= 2 * SECOND


def test_the_clocks_going_back_in_flight_neither_make_nor_lose_night():
    """Green Bay, 1 November 2026: 01:30 daylight time to 01:30 standard time is an hour's flight by
    night."""
    chicago = ZoneInfo("America/Chicago")
    off = datetime(2026, 11, 1, 1, 30, tzinfo=chicago)
    on = datetime(2026, 11, 1, 1, 30, fold=1, tzinfo=chicago)

    assert night_time(off, on, at_fields("KGRB")) == timedelta(hours=1)
    assert night_time(off, off, at_fields("KGRB")) == timedelta(0)


def test_the_offset_in_which_a_time_is_written_changes_nothing():
    off, on = (datetime(2026, 3, 2, hour, 40, tzinfo=UTC) for hour in (23, 1))
    on += timedelta(days=1)
    route = at_fields("KGRB", "KMTW", "KGRB")

    elsewhere = [at.astimezone(timezone(timedelta(hours=hours))) for at, hours in ((off, -6), (on, 14))]

    assert night_time(*elsewhere, route) == night_time(off, on, route) > timedelta(minutes=30)


def test_part_of_a_second_by_night_is_not_rounded_past_the_flight():
    off = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)

    assert night_time(off, off + timedelta(seconds=59.7), at_fields("KGRB")) == timedelta(seconds=59.7)
    assert night_time(off, off, at_fields("KGRB")) == timedelta(0)


@pytest.mark.parametrize(
    "route",
    [
        pytest.param([], id="no route"),
        pytest.param([position("grass strip", None, None)], id="one place nobody located"),
        pytest.param([ATLANTA, position("grass strip", None, None), ATLANTA], id="a stop nobody located"),
    ],
)
def test_night_is_not_known_where_a_position_is_not(route):
    off = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)

    assert night_time(off, off + timedelta(hours=1), route) is None


def test_whether_it_is_night_at_a_place_nobody_located_is_not_known():
    assert is_night(datetime(2026, 3, 2, 4, 0, tzinfo=UTC), position("grass strip", None, None)) is None


NOON, NAIVE = datetime(2026, 3, 2, 18, tzinfo=UTC), datetime(2026, 3, 2, 18)  # noqa: DTZ001


@pytest.mark.parametrize(
    "route", [[ATLANTA], [position("grass strip", None, None)]], ids=["located", "not located"]
)
@pytest.mark.parametrize(
    ("off", "on", "message"),
    [
        pytest.param(NAIVE, NOON, r"off \(2026-03-02T18:00:00\) has no offset", id="off without an offset"),
        pytest.param(NOON, NAIVE, r"on \(2026-03-02T18:00:00\) has no offset", id="on without an offset"),
        pytest.param(NOON, NOON - SECOND, "is before off", id="on a second before off"),
        pytest.param(NOON, NOON + timedelta(days=31, seconds=1), "more than 31 days", id="a slip of a month"),
    ],
)
def test_times_that_cannot_be_are_refused(off, on, message, route):
    with pytest.raises(ValueError, match=message):
        night_time(off, on, route)


def test_a_flight_of_31_days_is_still_one():
    assert night_time(NOON, NOON + timedelta(days=31), [ATLANTA]) > timedelta(days=10)


def test_an_altitude_needs_an_instant():
    with pytest.raises(ValueError, match="has no offset"):
        sun_altitude(NAIVE, 0, 0)
    with pytest.raises(ValueError, match="has no offset"):
        is_night(NAIVE, ATLANTA)


@pytest.mark.parametrize(
    "at",
    [
        datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14))),
        datetime(9999, 12, 31, 23, 59, tzinfo=timezone(timedelta(hours=-14))),
    ],
)
def test_the_ends_of_the_calendar_are_instants_too(at):
    assert -90 <= sun_altitude(at, 40, -100) <= 90
    assert night_time(at, at, [ATLANTA]) == timedelta(0)
