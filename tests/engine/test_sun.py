"""Twilight and night against published times, an independent ephemeris, and the same question asked
second by second."""

import warnings
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise
from math import cos, radians
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pyproj import Geod
from skyfield import almanac
from skyfield.api import Loader, wgs84
from skyfield_data import get_skyfield_data_path

from syllabus.engine.geography import Place, airports, position
from syllabus.engine.sun import civil_twilight, is_night, night_time, sun_altitude

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its table of the earth's rotation ages: no matter for a second
    LOADED = Loader(get_skyfield_data_path(), verbose=False)
TIMES = LOADED.timescale(builtin=True)
EPHEMERIS = LOADED("de421.bsp")
EARTH, SUN = EPHEMERIS["earth"], EPHEMERIS["sun"]

EDT, MST, EST, CDT = (timezone(timedelta(hours=hours)) for hours in (-4, -7, -5, -5))
ATLANTA = position("Atlanta", 33.8, -84.4)
SECOND, MINUTE = timedelta(seconds=1), timedelta(minutes=1)


def on_day(clock: str, day: date, zone: timezone) -> datetime:
    """06:50 or 06:12:43 on a day."""
    return datetime.fromisoformat(f"{day} {clock}").replace(tzinfo=zone)


# --- Published times ----------------------------------------------------------------------------------------

LIMITS = ("begin_morning", "sunrise", "sunset", "end_evening")
NAVAL_2009 = "Atlanta 2009, Naval Observatory output in an ephemeris library's manual"
COLLEGE = "Decorah, a college's weather page after the Naval Observatory, year and coordinates inferred"


@pytest.mark.parametrize(
    ("where", "zone", "day", "limit", "published", "tolerance"),
    [
        pytest.param((33.8, -84.4), EDT, date(2009, 9, 6), limit, clock, 60, id=f"{limit}, {NAVAL_2009}")
        for limit, clock in zip(LIMITS, ("06:50", "07:15", "19:56", "20:21"), strict=True)
    ]
    + [
        pytest.param(
            (40.9, -74.3), EDT, date(1990, 6, 25), "sunrise", "05:26", 60,
            id="sunrise, Wayne 1990, worked example of the Almanac for Computers, final time from memory",
        ),
        pytest.param(
            (39.742476, -105.1786), MST, date(2003, 10, 17), "sunrise", "06:12:43", 2,
            id="sunrise, Golden 2003, example of the NREL solar position report, from memory, to the second",
        ),
        pytest.param(
            (41.447, -80.391), EST, date(2015, 12, 7), "sunset", "16:51", 120,
            id="sunset, Greenville PA 2015, press article on an accident, coordinates from memory",
        ),
        pytest.param(
            (41.447, -80.391), EST, date(2015, 12, 7), "end_evening", "17:23", 120,
            id="end_evening, Greenville PA 2015, press article on an accident, coordinates from memory",
        ),
    ]
    + [
        pytest.param(
            (43.30, -91.79), CDT, date(2005, 9, day), limit, clock, 120, id=f"{limit} on {day} Sep, {COLLEGE}"
        )
        for day, clocks in [
            (1, ("06:02", "06:32", "19:41", "20:11")),
            (15, ("06:19", "06:47", "19:16", "19:45")),
            (30, ("06:36", "07:04", "18:49", "19:18")),
        ]
        for limit, clock in zip(LIMITS, clocks, strict=True)
    ],
)  # fmt: skip
def test_a_limit_is_at_its_published_time(where, zone, day, limit, published, tolerance):
    found = getattr(civil_twilight(day, *where, zone), limit)

    assert abs(found - on_day(published, day, zone)) <= timedelta(seconds=tolerance)


@pytest.mark.parametrize(
    ("where", "zone", "day", "clocks"),
    [  # computed here with an independent routine and -6 degrees, -34' and the upper limb; not published
        pytest.param(
            (33.8, -84.4), EDT, date(2009, 9, 6), ("06:49:40", "07:14:57", "19:56:10", "20:21:23"),
            id="Atlanta 2009",
        ),
        pytest.param(
            (40.9, -74.3), EDT, date(1990, 6, 25), ("04:52:57", "05:26:32", "20:32:59", "21:06:33"),
            id="Wayne 1990",
        ),
        pytest.param(
            (39.742476, -105.1786), MST, date(2003, 10, 17), ("05:45:29", "06:12:44", "17:18:51", "17:46:04"),
            id="Golden 2003",
        ),
        pytest.param(
            (43.30, -91.79), CDT, date(2005, 9, 15), ("06:18:12", "06:46:52", "19:16:49", "19:45:25"),
            id="Decorah 2005",
        ),
    ],
)  # fmt: skip
def test_all_four_limits_are_within_seconds_of_another_routine(where, zone, day, clocks):
    found = civil_twilight(day, *where, zone)

    limits = (found.begin_morning, found.sunrise, found.sunset, found.end_evening)
    # the Sun's real radius, which the other routine used, moves sunrise and sunset by up to two seconds
    for limit, clock, tolerance in zip(limits, clocks, (1, 2, 2, 1), strict=True):
        assert abs(limit - on_day(clock, day, zone)) <= timedelta(seconds=tolerance)
    assert found.polar is None


def test_the_evening_is_that_of_the_local_day_not_of_the_day_in_utc():
    """A known trap: the sunset of Golden's 17 October given as 17:20:19, which is the 16th's (from
    memory)."""
    golden = (39.742476, -105.1786)

    of_the_16th, of_the_17th = (civil_twilight(date(2003, 10, day), *golden, MST).sunset for day in (16, 17))

    assert abs(of_the_16th - datetime(2003, 10, 16, 17, 20, 19, tzinfo=MST)) <= SECOND
    assert abs(of_the_17th - datetime(2003, 10, 17, 17, 18, 51, tzinfo=MST)) <= SECOND


def test_east_longitude_is_positive():
    """A known trap of formulas that count west positive: Sydney's evening in January comes before 10:00
    UTC."""
    evening = civil_twilight(date(2026, 1, 10), -33.9, 151.2, "Australia/Sydney").end_evening

    assert evening.date() == date(2026, 1, 10)
    assert evening.astimezone(UTC).hour == 9


def test_the_clock_is_the_zones_at_that_date():
    """A known trap: standard against daylight time. One week apart across 1 November 2026, an hour by the
    clock."""
    before, after = (civil_twilight(day, 44.5, -88.1, "America/Chicago").sunset for day in
                     (date(2026, 10, 28), date(2026, 11, 4)))  # fmt: skip

    assert (before.utcoffset(), after.utcoffset()) == (timedelta(hours=-5), timedelta(hours=-6))
    assert (before.hour, after.hour) == (17, 16)


# --- Against an independent ephemeris -----------------------------------------------------------------------

# Years in which UTC ran within half a second of the earth's rotation and is known to the other library.
DAYS = st.dates(date(2010, 1, 1), date(2025, 12, 31))
INSTANTS = st.datetimes(datetime(2010, 1, 1), datetime(2025, 12, 31), timezones=st.just(UTC))


def reference_altitude(at, lat, lon):
    """Degrees by the other ephemeris: the Sun's centre, no refraction."""
    return (EARTH + wgs84.latlon(lat, lon)).at(at).observe(SUN).apparent().altaz()[0].degrees


@given(INSTANTS, st.floats(-90, 90), st.floats(-180, 180))
def test_the_suns_altitude_agrees_with_an_independent_ephemeris(at, lat, lon):
    # the earth turns 15 arcseconds a second: where UTC is half a second off it, that is 0.0021 degrees
    assert sun_altitude(at, lat, lon) == pytest.approx(
        reference_altitude(TIMES.from_datetime(at), lat, lon), abs=0.003
    )


@settings(max_examples=60, deadline=None)
@given(DAYS, st.floats(-65, 65), st.floats(-180, 180))
def test_limits_agree_with_an_independent_ephemeris_to_a_second(day, lat, lon):
    zone = timezone(timedelta(hours=round(lon / 15)))
    found = civil_twilight(day, lat, lon, zone)
    place = wgs84.latlon(lat, lon)
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=zone)
    transits = almanac.meridian_transits(EPHEMERIS, SUN, place)
    around = [TIMES.from_datetime(noon + timedelta(hours=hours)) for hours in (-14, 14)]
    times, upper = almanac.find_discrete(*around, transits)
    span = [at for at, is_upper in zip(times, upper, strict=True) if not is_upper]
    assert len(span) == 2
    twilights, kinds = almanac.find_discrete(*span, almanac.dark_twilight_day(EPHEMERIS, place))
    # 2 is nautical twilight, 3 civil twilight, 4 day
    reference = {"begin_morning": None, "sunrise": None, "sunset": None, "end_evening": None}
    previous = int(almanac.dark_twilight_day(EPHEMERIS, place)(span[0]))
    for at, kind in zip(twilights, kinds, strict=True):
        name = {(2, 3): "begin_morning", (3, 4): "sunrise", (4, 3): "sunset", (3, 2): "end_evening"}.get(
            (previous, kind)
        )
        if name:
            reference[name] = at.utc_datetime()
        previous = int(kind)

    for name, expected in reference.items():
        limit = getattr(found, name)
        if limit is None or expected is None:
            assert limit is expected, name
            continue
        rise = abs(sun_altitude(limit + MINUTE, lat, lon) - sun_altitude(limit - MINUTE, lat, lon)) / 120
        # where the Sun grazes the limit a thousandth of a degree is many seconds
        assert abs((limit - expected).total_seconds()) <= max(1.0, 0.0005 / rise), name


# --- Polar day and night ------------------------------------------------------------------------------------

UTQIAGVIK = (71.29, -156.79)


@pytest.mark.parametrize(
    ("where", "day", "polar", "crosses"),
    [  # computed here; no official polar table at hand
        pytest.param(UTQIAGVIK, date(2026, 6, 21), "day", [], id="Utqiagvik in June: the Sun does not set"),
        pytest.param(
            UTQIAGVIK, date(2026, 12, 21), None, ["begin_morning", "end_evening"],
            id="Utqiagvik in December: twilight but no sunrise",
        ),
        pytest.param((78.22, 15.65), date(2026, 12, 21), "night", [], id="Svalbard in December: no twilight"),
        pytest.param(
            (61.2, -149.8), date(2026, 6, 21), "day", ["sunrise", "sunset"],
            id="Anchorage in June: the Sun sets and it never gets dark",
        ),
        pytest.param(
            (61.2, -149.8), date(2026, 12, 21), None, ["begin_morning", "sunrise", "sunset", "end_evening"],
            id="Anchorage in December: all four",
        ),
        pytest.param((90, 0), date(2026, 6, 21), "day", [], id="the north pole in June"),
        pytest.param((-90, 0), date(2026, 6, 21), "night", [], id="the south pole in June"),
    ],
)  # fmt: skip
def test_a_limit_that_does_not_happen_is_none_and_the_day_says_why(where, day, polar, crosses):
    found = civil_twilight(day, *where, "UTC" if abs(where[0]) == 90 else "America/Anchorage")

    assert [limit for limit in LIMITS if getattr(found, limit)] == crosses
    assert found.polar == polar


def test_on_the_last_evening_with_night_only_one_limit_is_missing():
    """At 61.2 N the season without night begins in May; that day has a morning limit and no evening one."""
    season = [
        civil_twilight(date(2026, 5, 1) + timedelta(days=n), 61.2, -149.8, "America/Anchorage")
        for n in range(45)
    ]

    kinds = [
        (found.begin_morning is not None, found.end_evening is not None, found.polar) for found in season
    ]

    assert kinds[0] == (True, True, None)
    assert kinds[-1] == (False, False, "day")
    assert kinds.count((True, False, None)) == 1
    assert (False, True, None) not in kinds


def test_an_evening_that_ends_after_midnight_belongs_to_the_day_before():
    """Oslo, where civil twilight crosses midnight by the clock on 5 to 6 June 2026 (computed here)."""
    evenings = [civil_twilight(date(2026, 6, day), 59.9, 10.75, "Europe/Oslo").end_evening for day in (5, 6)]

    assert [(evening.day, evening.hour) for evening in evenings] == [(5, 23), (7, 0)]


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


# --- Night in a flight --------------------------------------------------------------------------------------

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


def brute_force(off: datetime, on: datetime, route: list[Place], step: float, *limits: float) -> list[float]:
    """Seconds below each limit, asked of the other ephemeris step by step, moved by the other geodesics."""
    geod = Geod(ellps="WGS84")
    legs = [(a, b, *geod.inv(a.lon, a.lat, b.lon, b.lat)) for a, b in pairwise(route)]
    ends = np.cumsum([0.0] + [leg[4] for leg in legs])
    length = (on - off).total_seconds()
    seconds = np.arange(step / 2, length, step)
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
    start = TIMES.from_datetime(off)
    at = TIMES.tt_jd(start.tt + seconds / 86400)
    altitudes = np.array(reference_altitude(at, lats, lons))
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


@settings(max_examples=40, deadline=None)
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


NOON, NAIVE = datetime(2026, 3, 2, 18, tzinfo=UTC), datetime(2026, 3, 2, 18)


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


def test_an_altitude_needs_an_instant():
    with pytest.raises(ValueError, match="has no offset"):
        sun_altitude(NAIVE, 0, 0)
    with pytest.raises(ValueError, match="has no offset"):
        is_night(NAIVE, ATLANTA)


@pytest.mark.parametrize("at", [datetime.min, datetime.max])
def test_the_ends_of_the_calendar_are_instants_too(at):
    at = at.replace(tzinfo=timezone(timedelta(hours=14 if at.year == 1 else -14)))

    assert -90 <= sun_altitude(at, 40, -100) <= 90
    assert night_time(at, at, [ATLANTA]) == timedelta(0)
