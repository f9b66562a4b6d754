"""Wind on a runway, magnetic north, and what reports say, held against published figures."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from pygeomag import GeoMag

from syllabus.engine.places.geography import Place, airports
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import shape_of
from syllabus.engine.release import weather
from syllabus.engine.release.flight import Runway, Weather
from syllabus.engine.release.wind import components, declination, true_bearings, worst

NOW = dt.datetime(2026, 12, 1, 18, tzinfo=dt.UTC)
OFF, ON = NOW + dt.timedelta(minutes=30), NOW + dt.timedelta(hours=2)
KGRB = airports().find("KGRB")
HIGH = 10_000 / 1609.344


@pytest.mark.parametrize(
    ("wind_from", "speed", "runway", "head", "cross"),
    [
        # Pilot's Handbook of Aeronautical Knowledge (FAA-H-8083-25), chapter on performance, sample problem
        # of the crosswind component chart, read to the whole knot; from memory
        (140, 25, 170, 22, 13),
        # the chart's lines: 30 degrees give a half, 60 turn it round, 90 are all crosswind
        (30, 40, 360, 35, 20),
        (60, 40, 360, 20, 35),
        (90, 20, 360, 0, 20),
        (180, 20, 360, -20, 0),
    ],
)
def test_components_are_those_of_the_published_chart(
    wind_from: float, speed: float, runway: float, head: float, cross: float
) -> None:
    found = components(wind_from, speed, runway)
    assert (found.head, found.cross) == (pytest.approx(head, abs=0.51), pytest.approx(cross, abs=0.51))


@pytest.mark.parametrize(
    ("wind_from", "spread", "cross", "head"),
    [
        (None, 0, 20, -20),  # variable: all of it across, and all of it from behind
        (270, 0, 1.743, 19.924),  # five degrees off the number
        (270, 40, 14.142, 14.142),
        (0, 0, 20, -1.743),  # across, whatever the last degrees are
    ],
)
def test_the_worst_of_what_a_runways_number_and_a_variable_wind_allow_counts(
    wind_from: float | None, spread: float, cross: float, head: float
) -> None:
    found = worst(wind_from, 20, (265, 275), spread)
    assert (found.cross, found.head) == (pytest.approx(cross, abs=0.001), pytest.approx(head, abs=0.001))


@pytest.mark.parametrize(
    ("year", "lat", "lon", "east"),
    [
        # NOAA NCEI, WMM2025 test values (WMM2025_TEST_VALUES.txt, 2024-12), at height 0
        (2025.0, 80, 0, 1.28),
        (2025.0, 0, 120, -0.16),
        (2025.0, -80, 240, 68.78),
        (2027.5, 80, 0, 2.59),
        (2027.5, 0, 120, -0.24),
        (2027.5, -80, 240, 68.49),
    ],
)
def test_magnetic_north_is_that_of_the_published_model(
    year: float, lat: float, lon: float, east: float
) -> None:
    assert round(GeoMag().calculate(glat=lat, glon=lon, alt=0, time=year).d, 2) == east


def test_a_day_that_the_model_does_not_cover_has_no_magnetic_north() -> None:
    assert declination(Place("@80,0", "x", 80, 0), dt.datetime(2025, 1, 1, tzinfo=dt.UTC)) == pytest.approx(
        1.28, abs=0.005
    )
    for day in (dt.datetime(2024, 12, 31, tzinfo=dt.UTC), dt.datetime(2030, 1, 1, tzinfo=dt.UTC)):
        assert declination(KGRB, day) is None
        assert true_bearings(Runway("18"), KGRB, day) is None
        assert true_bearings(Runway("18", 177), KGRB, day) == (177, 177)  # type: ignore[arg-type]
    assert declination(Place("?strip", "strip"), NOW) is None


@pytest.mark.parametrize("name", ["0", "37", "North", ""])
def test_a_runway_without_a_number_has_no_bearing(name: str) -> None:
    assert true_bearings(Runway(name), KGRB, NOW) is None


def test_a_runways_number_is_magnetic_and_good_to_five_degrees() -> None:
    north = declination(KGRB, NOW)
    assert north is not None
    assert -5 < north < -3  # west of true north in Wisconsin
    assert true_bearings(Runway("36L"), KGRB, NOW) == (pytest.approx(355 + north), pytest.approx(365 + north))


def known(metars: tuple[str, ...] = (), tafs: tuple[str, ...] = (), **more: Any) -> weather.Known:
    return weather.known(Weather(metars, tafs, **more), [KGRB], OFF, ON, NOW)


def only(text: str) -> weather.Seen:
    [found] = known((text,)).seen
    return found


@pytest.mark.parametrize(
    ("report", "stated", "wind", "visibility", "ceiling"),
    [
        ("27015G25KT 10SM FEW030 BKN045", "all", (15, 25, 270), 10, 4500),
        ("VRB05KT 1 1/2SM -RA BR OVC007", "all", (5, 0, None), 1.5, 700),
        ("00000KT M1/4SM FG VV001", "all", (0, 0, 0), 0, 100),
        ("27010KT P6SM SKC", "all", (10, 0, 270), 6, weather.NO_CEILING),
        ("AUTO 27010KT 10SM CLR", "all", (10, 0, 270), 10, weather.NO_CEILING),
        ("27010KT 9999 SCT020", "all", (10, 0, 270), HIGH, weather.NO_CEILING),
        ("27008MPS CAVOK", "all", (15.55, 0, 270), HIGH, 5000),
        ("27010KT 3000 1500SW BR BKN012", "all", (10, 0, 270), 1500 / 1609.344, 1200),
        ("27010KT 10SM BKN020 OVC008", "all", (10, 0, 270), 10, 800),
        # what is missing, or is none of it, is unknown
        ("AUTO /////KT ////SM //////", "", (0, 0, None), 0, 0),
        ("27015KT 10SM NSC", "all", (15, 0, 270), 10, 5000),
        ("27010KT 10SM", "wind visibility", (10, 0, 270), 10, 0),
    ],
)
def test_what_a_report_says_is_read_and_what_it_does_not_say_is_unknown(
    report: str, stated: str, wind: tuple[float, float, float | None], visibility: float, ceiling: float
) -> None:
    found = only(f"METAR KGRB 011753Z {report} 02/01 A2992 RMK AO2")
    assert found.stated == set(weather.ELEMENTS if stated == "all" else stated.split())
    assert (round(found.speed, 2), found.gust, found.wind_from) == wind
    assert (found.visibility, found.ceiling) == (pytest.approx(visibility), ceiling)


@pytest.mark.parametrize(
    "report",
    [
        "27O15KT 10SM CLR", "27015KT 10SM BKN///", "27015KT 1/4SM FG VV///", "27015KT 10SM FEW020 ///015",
        "27015KT 10SM SCT020 //////", "27015KT 10SM FEW020 //////CB", "27015KT 10SM SCT020 0VC005",
        "27015KT 10SM FEW020 TEMPO OVC///", "27015G//KT 10SM CLR", "27005G4OKT 10SM CLR",
        "27010GP99KT 10SM CLR", "27005KT/34040KT 10SM CLR", "27008KT 11/2SM CLR", "27010G15 10SM CLR",
        "27010KT 10SM BKN0O5 OVC030",
    ],
)  # fmt: skip
def test_half_a_group_or_a_slip_of_the_pen_makes_all_of_a_report_unknown(report: str) -> None:
    assert not only(f"METAR KGRB 011753Z {report} 02/01 A2992 RMK AO2 SLP123 T00170011").stated


@pytest.mark.parametrize(
    "group",
    ["FEW020CB", "BKN100", "R18L/2400V3000FT/U", "-SHRA BR", "+TSRA", "VCTS", "M02/M05", "Q0998", "NOSIG"],
)
def test_other_groups_of_a_report_take_nothing_from_it(group: str) -> None:
    assert only(f"METAR KGRB 011753Z AUTO 27010KT 10SM OVC020 {group} A2992 RMK AO2").stated == {
        *weather.ELEMENTS
    }


def test_a_wind_that_is_read_otherwise_than_it_is_written_is_unknown() -> None:
    """The library reads the first two digits of a wind of a hundred knots."""
    found = only("KGRB 011753Z 270100KT 10SM CLR")
    assert weather.WIND not in found.stated
    assert weather.WIND in found.unknown()


def test_a_wind_that_varies_between_directions_may_come_from_each() -> None:
    assert only("KGRB 011753Z 27015KT 240V330 10SM CLR").spread == 60


@pytest.mark.parametrize(
    ("report", "code"),
    [
        ("no report at all", "release.weather-unreadable"),
        ("METAR KMTW 011753Z 27010KT 10SM CLR", "release.weather-elsewhere"),
        ("METAR KGRB 011640Z 27010KT 10SM CLR", "release.weather-old"),
        ("METAR KGRB 011815Z 27010KT 10SM CLR", "release.weather-ahead"),
        ("METAR KGRB 301753Z 27010KT 10SM CLR", "release.weather-old"),
    ],
)
def test_a_report_that_does_not_serve_is_a_question_and_counts_for_nothing(report: str, code: str) -> None:
    found = known((report,))
    assert [each.code for each in found.asks] == [code]
    assert not found.seen


@pytest.mark.parametrize("minutes", [0, 75])
def test_a_report_serves_for_seventy_five_minutes(minutes: int) -> None:
    at = NOW - dt.timedelta(minutes=minutes)
    found = known((f"KGRB {at:%d%H%M}Z 27010KT 10SM CLR",))
    assert len(found.seen) == 1
    assert found.until == at + dt.timedelta(minutes=75)


FORECAST = (
    "TAF KGRB 011720Z 0118/0218 27012G20KT P6SM BKN035 TEMPO 0118/0120 2SM -SN OVC008"
    " PROB30 0119/0121 1/2SM FG VV002 FM011930 30008KT P6SM SCT040 BECMG 0121/0123 VRB03KT"
)


def test_of_a_forecast_each_group_counts_while_it_holds() -> None:
    found = known((), (FORECAST,))
    said = {each.source.partition(", ")[2]: each for each in found.seen}
    assert set(said) == {"", "TEMPO", "PROB30", "FM"}
    assert not found.asks
    assert (said[""].ceiling, said["TEMPO"].ceiling, said["PROB30"].ceiling) == (3500, 800, 200)
    assert said["FM"].ceiling == weather.NO_CEILING
    assert said["TEMPO"].unknown() == ()  # the wind stays as it is


def test_what_becomes_keeps_what_it_does_not_say() -> None:
    late = dt.datetime(2026, 12, 1, 21, 30, tzinfo=dt.UTC)
    found = weather.known(Weather((), (FORECAST,)), [KGRB], late, late + dt.timedelta(hours=1), NOW)
    became = next(each for each in found.seen if "BECMG" in each.source)
    assert (became.wind_from, became.speed, became.ceiling) == (None, 3, weather.NO_CEILING)
    assert became.unknown() == ()


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("TAF KGRB 011720Z 0112/0119 27012KT P6SM SKC", "release.forecast-ends"),
        ("TAF KMTW 011720Z 0118/0218 27012KT P6SM SKC", "release.weather-elsewhere"),
        ("TAF KGRB 011720Z NIL", "release.weather-unreadable"),
        ("TAF KGRB 011720Z 0118/0218 CNL", "release.weather-unreadable"),
        ("TAF", "release.weather-unreadable"),
    ],
)
def test_a_forecast_that_does_not_serve_is_a_question(text: str, code: str) -> None:
    assert [each.code for each in known((), (text,)).asks] == [code]


def typed(**given: Any) -> Weather:
    errors = Errors()
    said = {"at": "KGRB", "observed": "2026-12-01T17:50:00Z", **given}
    found: Weather = shape_of(Weather).read(errors, {"typed": [said]}, "weather")
    assert not list(errors), list(errors)
    return found


def test_a_typed_wind_says_from_which_north_it_is() -> None:
    [told] = weather.known(typed(wind=10, wind_from=270, wind_reference="true"), [KGRB], OFF, ON, NOW).seen
    [tower] = weather.known(
        typed(wind=10, wind_from=270, wind_reference="magnetic"), [KGRB], OFF, ON, NOW
    ).seen
    assert told.wind_from == 270
    assert tower.wind_from == pytest.approx(270 + (declination(KGRB, NOW) or 0))


@pytest.mark.parametrize(
    ("given", "place"),
    [
        ({"wind_from": 270}, "weather.typed[0].wind_reference"),
        ({"ceiling": 3000, "no_ceiling": True}, "weather.typed[0].no_ceiling"),
        ({"wind": 10, "gust": 5}, "weather.typed[0].gust"),
        ({"visibility": "3 kt"}, "weather.typed[0].visibility"),
    ],
)
def test_typed_weather_that_contradicts_itself_is_refused_at_its_place(given: Any, place: str) -> None:
    errors = Errors()
    said = {"at": "KGRB", "observed": "2026-12-01T17:50:00Z", **given}
    shape_of(Weather).read(errors, {"typed": [said]}, "weather")
    assert [each.place for each in errors] == [place]
