"""Twilight, sunrise and sunset against published times and an independent ephemeris."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skyfield import almanac
from skyfield.api import wgs84

from syllabus.engine.time.sun import civil_twilight, sun_altitude
from tests.support.extent import count
from tests.support.rows import over_rows
from tests.syllabus.engine.ephemeris import (
    DAYS,
    EDT,
    EPHEMERIS,
    INSTANTS,
    MINUTE,
    SECOND,
    SUN,
    TIMES,
    on_day,
    reference_altitude,
)

MST, EST, CDT = (timezone(timedelta(hours=hours)) for hours in (-7, -5, -5))

# --- Published times ----------------------------------------------------------------------------------------

LIMITS = ("begin_morning", "sunrise", "sunset", "end_evening")
NAVAL_2009 = "Atlanta 2009, Naval Observatory output in an ephemeris library's manual"
COLLEGE = "Decorah, a college's weather page after the Naval Observatory, year and coordinates inferred"


@over_rows(
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


@given(INSTANTS, st.floats(-90, 90), st.floats(-180, 180))
def test_the_suns_altitude_agrees_with_an_independent_ephemeris(at, lat, lon):
    # the earth turns 0.0042 degrees a second, and UTC is off it by up to 0.7 of a second
    assert sun_altitude(at, lat, lon) == pytest.approx(
        reference_altitude(TIMES.from_datetime(at), lat, lon), abs=0.003
    )


@settings(max_examples=count(15, 60), deadline=None)
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
