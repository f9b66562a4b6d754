"""Distances against published geodesics and an independent library; identifiers over the whole airport
table."""

from fractions import Fraction
from math import pi

import airportsdata
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import example, given
from hypothesis import strategies as st
from pyproj import Geod

from syllabus.engine.places.geography import (
    METRES_PER_NM,
    Airports,
    Place,
    UnknownAirport,
    airports,
    along,
    distance_nm,
    geodesic_metres,
    near_limit,
    position,
    to_hundredth,
)
from tests.support.rows import over_rows

MILLIMETRE = 0.001
LATITUDES = st.floats(-90, 90)
LONGITUDES = st.floats(-180, 180)


def dms(degrees: int, minutes: float = 0, seconds: float = 0, sign: int = 1) -> float:
    return sign * (degrees + minutes / 60 + seconds / 3600)


def metres(a: Place, b: Place) -> float:
    return distance_nm(a, b) * METRES_PER_NM


# --- Published distances ------------------------------------------------------------------------------------

GEODESIC_TEST_SET = "geodesic test set shipped with a geodesic library"


@pytest.mark.parametrize(
    ("start", "end", "published", "tolerance"),
    [
        pytest.param((lat1, lon1), (lat2, lon2), s12, MILLIMETRE, id=f"{name} of the {GEODESIC_TEST_SET}")
        for name, lat1, lon1, lat2, lon2, s12 in [
            ("row 1", 35.60777, -139.44815, -11.17491, -69.95921, 8935244.5604818305),
            ("row 2, longitude over 180,", 55.52454, 106.05087, 77.03196, 197.18234, 4105086.1713924406),
            ("row 3", -21.97856, 142.59065, 41.84138, 98.56635, 8394328.894657671),
            ("row 4, longitude over 180,", -66.99028, 112.2363, -12.70631, 285.90344, 11150344.2312080241),
            ("row 5", -17.42761, 173.34268, -15.84784, 5.93557, 16076603.1631180673),
            ("row 6, longitude over 180,", 32.84994, 48.28919, -56.28556, 202.29132, 16727068.9438164461),
        ]
    ]
    + [
        pytest.param(
            (-41.32, 174.81), (40.96, -5.50), 19959679.267, MILLIMETRE,
            id="Wellington to Salamanca, nearly opposite, from a geodesic library's documentation",
        ),
        pytest.param(
            (40.6, -73.8), (51.6, -0.5), 5551759.400, MILLIMETRE,
            id="New York to London by rounded coordinates, a library's example, distance from memory",
        ),
        pytest.param(
            (dms(40, 38, 23), dms(73, 46, 44, -1)), (dms(1, 21, 33), dms(103, 59, 22)), 15347628, 0.5,
            id="New York to Singapore, a library's example, from memory, to the metre",
        ),
    ],
)  # fmt: skip
def test_a_distance_on_wgs84_is_the_published_one(start, end, published, tolerance):
    a, b = position("start", *start), position("end", *end)

    assert metres(a, b) == pytest.approx(published, abs=tolerance, rel=0)


BESSEL = Geodesic(6377397.155, 1 / 299.1528128)
INTERNATIONAL = Geodesic(6378388, 1 / 297)
GRS80 = Geodesic(6378137, 1 / 298.257222101)
MINUTE_SPHERE = Geodesic(60 * 180 / pi * METRES_PER_NM, 0)  # one minute of arc is one nautical mile
MEAN_SPHERE = Geodesic(6371008.8, 0)


@pytest.mark.parametrize(
    ("ellipsoid", "start", "end", "published"),
    [
        # T. Vincenty, "Direct and inverse solutions of geodesics on the ellipsoid", Survey Review 1975, table
        # of test lines: values from memory, each reproduced by computing. Two are nearly antipodal.
        pytest.param(
            BESSEL, (dms(55, 45), 0), (dms(33, 26, sign=-1), dms(108, 13)),
            14110526.170,
            id="Vincenty 1975 line a, from memory",
        ),
        pytest.param(
            INTERNATIONAL, (dms(37, 19, 54.95367), 0), (dms(26, 7, 42.83946), dms(41, 28, 35.50729)),
            4085966.703,
            id="Vincenty 1975 line b, from memory",
        ),
        pytest.param(
            INTERNATIONAL, (dms(35, 16, 11.24862), 0), (dms(67, 22, 14.77638), dms(137, 47, 28.31435)),
            8084823.839,
            id="Vincenty 1975 line c, from memory",
        ),
        pytest.param(
            INTERNATIONAL, (1, 0), (dms(0, 59, 53.83076, -1), dms(179, 17, 48.02997)), 19960000.000,
            id="Vincenty 1975 line d, nearly antipodal, from memory",
        ),
        pytest.param(
            INTERNATIONAL, (1, 0), (dms(1, 1, 15.18952), dms(179, 46, 17.84244)), 19780006.558,
            id="Vincenty 1975 line e, nearly antipodal, from memory",
        ),
        pytest.param(
            GRS80,
            (dms(37, 57, 3.72030, -1), dms(144, 25, 29.52440)),
            (dms(37, 39, 10.15610, -1), dms(143, 55, 35.38390)),
            54972.271,
            id="Flinders Peak to Buninyong, Australian geodetic datum manual, from memory",
        ),
    ],
)  # fmt: skip
def test_the_method_gives_the_published_length_on_other_ellipsoids(ellipsoid, start, end, published):
    assert geodesic_metres(start, end, ellipsoid) == pytest.approx(published, abs=MILLIMETRE, rel=0)


def test_the_great_circle_example_of_the_aviation_formulary_is_a_sphere_and_six_miles_short():
    """Los Angeles to New York: 0.623585 rad, 2,144 NM on the sphere (from memory); WGS 84 computed here."""
    los_angeles, new_york = (dms(33, 57), dms(118, 24, sign=-1)), (dms(40, 38), dms(73, 47, sign=-1))

    on_sphere = geodesic_metres(los_angeles, new_york, MINUTE_SPHERE) / METRES_PER_NM

    assert on_sphere / 60 * pi / 180 == pytest.approx(0.623585, abs=5e-7)
    assert round(on_sphere) == 2144
    assert geodesic_metres(los_angeles, new_york) / METRES_PER_NM == pytest.approx(2149.89, abs=0.005)


def test_a_direct_geodesic_ends_at_the_published_point_and_the_shortest_way_back_is_another_one():
    """From 32.06 S 115.74 E, azimuth 225, 20,000 km: end point from a geodesic library's documentation."""
    start, end = (-32.06, 115.74), (32.11195529, -63.95925278)

    flown = Geodesic.WGS84.Direct(*start, 225, 20e6)

    assert (flown["lat2"], flown["lon2"]) == pytest.approx(end, abs=5e-9)
    assert geodesic_metres(start, end) < 20e6


# --- Limits: 50 NM and its neighbours -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("end", "sphere_nm"),
    [  # computed here: points 92,600 m from 40 N 100 W on WGS 84, and the same points on a one-minute sphere
        pytest.param((40.8339137, -100.0), 50.0348, id="north"),
        pytest.param((40.5871099, -99.2265614), 49.9374, id="north-east"),
        pytest.param((39.9949274, -98.9156664), 49.8413, id="east"),
        pytest.param((39.4077565, -99.2397540), 49.9425, id="south-east"),
        pytest.param((39.1659659, -100.0), 50.0420, id="south"),
    ],
)
def test_exactly_50_nm_is_not_more_than_50_nm_whichever_way_one_flies(end, sphere_nm):
    nm = distance_nm(position("start", 40, -100), position("end", *end))

    assert nm == pytest.approx(50, abs=1e-5)
    assert to_hundredth(nm) == 50
    assert near_limit(nm, 50)
    assert geodesic_metres((40, -100), end, MINUTE_SPHERE) / METRES_PER_NM == pytest.approx(
        sphere_nm, abs=5e-5
    )


@pytest.mark.parametrize(
    ("end"),
    [
        pytest.param((62.0309458, -149.8), id="due north"),
        pytest.param((61.1890575, -148.0781506), id="due east"),
    ],
)
def test_exactly_50_nm_in_alaska_is_50_nm(end):  # computed here, from 61.2 N 149.8 W
    assert to_hundredth(distance_nm(position("Anchorage", 61.2, -149.8), position("end", *end))) == 50


@pytest.mark.parametrize(
    ("start", "end", "nm", "over", "over_on_a_mean_sphere"),
    [  # computed here: fifty minutes of arc, which a one-minute sphere calls exactly 50 NM
        pytest.param((0, 0), (dms(0, 50), 0), 49.7545, False, True, id="north from the equator"),
        pytest.param((25, 0), (dms(25, 50), 0), 49.8466, False, True, id="north from 25 N"),
        pytest.param((40, 0), (dms(40, 50), 0), 49.9652, False, True, id="north from 40 N"),
        pytest.param((45, 0), (dms(45, 50), 0), 50.0090, True, True, id="north from 45 N"),
        pytest.param((60, 0), (dms(60, 50), 0), 50.1347, True, True, id="north from 60 N"),
        pytest.param((0, 0), (0, dms(0, 50)), 50.0898, True, True, id="east along the equator"),
    ],
)
def test_fifty_minutes_of_arc_are_over_or_under_50_nm_by_where_they_lie(
    start, end, nm, over, over_on_a_mean_sphere
):
    found = distance_nm(position("start", *start), position("end", *end))

    assert found == pytest.approx(nm, abs=5e-5)
    assert (to_hundredth(found) > 50) is over
    assert near_limit(found, 50)
    assert geodesic_metres(start, end, MINUTE_SPHERE) / METRES_PER_NM == pytest.approx(50, abs=1e-9)
    assert (geodesic_metres(start, end, MEAN_SPHERE) / METRES_PER_NM > 50) is over_on_a_mean_sphere


@pytest.mark.parametrize(
    ("nm", "hundredths", "more_than_50"),
    [
        pytest.param(49.99, "49.99", False, id="a hundredth short is short"),
        pytest.param(50.0, "50", False, id="50.00 is not more than 50"),
        pytest.param(50.0000001, "50", False, id="a float's last digits decide nothing"),
        pytest.param(50.0049, "50", False, id="under half a hundredth over is still 50.00"),
        pytest.param(50.0051, "50.01", True, id="over half a hundredth over is 50.01"),
        pytest.param(50.01, "50.01", True, id="a hundredth over is more than 50"),
    ],
)
def test_a_distance_is_compared_to_the_hundredth(nm, hundredths, more_than_50):
    """More than 50 NM: 14 CFR 61.1(b) cross-country time, 61.109(a)(5)(ii) the long segment."""
    assert to_hundredth(nm) == Fraction(hundredths)
    assert (to_hundredth(nm) > 50) is more_than_50


@pytest.mark.parametrize("limit", [100, 150, 250, 300])
def test_a_distance_of_exactly_the_limit_is_at_least_it_and_not_more_than_it(limit):
    """More than 100 NM: 14 CFR 61.109(a)(2)(i); 150 NM or more in total: 61.109(a)(5)(ii)."""
    assert to_hundredth(limit + 1e-9) >= limit
    assert not to_hundredth(limit + 1e-9) > limit
    assert not to_hundredth(limit - 0.01) >= limit


@pytest.mark.parametrize(
    ("nm", "limit", "near"),
    [
        pytest.param(49.69, 50, False, id="0.31 short"),
        pytest.param(49.7, 50, True, id="0.30 short"),
        pytest.param(50.0, 50, True, id="on the limit"),
        pytest.param(50.3, 50, True, id="0.30 over"),
        pytest.param(50.31, 50, False, id="0.31 over"),
        pytest.param(300.3, 300, True, id="0.30 over, where floats say 0.30000000000001"),
    ],
)
def test_a_distance_within_three_tenths_of_a_limit_is_marked(nm, limit, near):
    assert near_limit(nm, limit) is near


# --- Against an independent library -------------------------------------------------------------------------

PROJ_WGS84 = Geod(ellps="WGS84")


@given(LATITUDES, LONGITUDES, LATITUDES, LONGITUDES)
@example(1, 0, -0.9983, 179.2967)  # nearly antipodal
@example(90, 12, -90, 77)
@example(0, -180, 0, 180)
@example(44.484634, -88.129713, 44.484634, -88.129713)
def test_a_distance_agrees_with_an_independent_library_to_the_millimetre(lat1, lon1, lat2, lon2):
    a, b = position("a", lat1, lon1), position("b", lat2, lon2)

    assert metres(a, b) == pytest.approx(PROJ_WGS84.inv(lon1, lat1, lon2, lat2)[2], abs=MILLIMETRE, rel=0)
    assert distance_nm(a, b) == distance_nm(b, a)


@given(LATITUDES, LONGITUDES, LATITUDES, LONGITUDES, st.floats(0, 1))
def test_a_point_along_a_leg_divides_it_by_the_share_flown(lat1, lon1, lat2, lon2, share):
    whole = PROJ_WGS84.inv(lon1, lat1, lon2, lat2)[2]

    lat, lon = along((lat1, lon1), (lat2, lon2))(share)

    assert PROJ_WGS84.inv(lon1, lat1, lon, lat)[2] == pytest.approx(share * whole, abs=MILLIMETRE, rel=0)
    assert PROJ_WGS84.inv(lon, lat, lon2, lat2)[2] == pytest.approx(
        (1 - share) * whole, abs=MILLIMETRE, rel=0
    )


def test_a_distance_to_a_place_without_a_position_names_the_place():
    with pytest.raises(ValueError, match="grass strip: no position is known"):
        distance_nm(airports().find("KGRB"), position("grass strip", None, None))


# --- Positions ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "lat", "lon", "key", "shown", "normalised"),
    [
        pytest.param("grass strip", 44.1, -87.9, "@44.1,-87.9", "grass strip", -87.9, id="a named position"),
        pytest.param(
            " grass  strip ", 44.1, -87.9, "@44.1,-87.9", "grass strip", -87.9, id="space is tidied"
        ),
        pytest.param("", 44.1, -87.9, "@44.1,-87.9", "44.1,-87.9", -87.9, id="a position is its own name"),
        pytest.param("k", 44, 272.1, "@44,-87.9", "k", -87.9, id="over 180 east is west"),
        pytest.param("k", 44, 180.5, "@44,-179.5", "k", -179.5, id="a little over 180 east is west too"),
        pytest.param("k", 44, -190, "@44,170", "k", 170, id="over 180 west is east"),
        pytest.param("k", 0, -180, "@0,180", "k", 180, id="180 west is 180 east"),
        pytest.param("k", 0, 180, "@0,180", "k", 180, id="180 east stays"),
        pytest.param("k", -0.0, 360, "@0,0", "k", 0, id="a full turn is none, and no zero is negative"),
        pytest.param("k", 90, 0, "@90,0", "k", 0, id="the pole is a place"),
        pytest.param("k", 44.10000004, 10, "@44.1,10", "k", 10, id="a millimetre apart is the same place"),
    ],
)
def test_a_position_is_brought_into_one_form(name, lat, lon, key, shown, normalised):
    place = position(name, lat, lon)

    assert (place.key, place.name) == (key, shown)
    assert (place.lat, place.lon) == pytest.approx((lat, normalised))
    assert place.known


def test_a_name_without_a_position_is_a_place_that_is_not_known():
    assert position("Grass Strip", None, None) == Place("?grass strip", "Grass Strip")
    assert position("grass  strip", None, None).key == position("Grass Strip", None, None).key
    assert not position("grass strip", None, None).known


@pytest.mark.parametrize(
    ("name", "lat", "lon", "message"),
    [
        pytest.param("strip", 90.1, 0, "strip: latitude 90.1 is not between", id="north of the pole"),
        pytest.param("strip", -91, 0, "strip: latitude -91 is not between", id="south of the pole"),
        pytest.param("strip", float("nan"), 0, "strip: latitude nan", id="a latitude that is no number"),
        pytest.param("strip", 0, 360.5, "strip: longitude 360.5 is not between", id="more than a full turn"),
        pytest.param("strip", 0, float("inf"), "strip: longitude inf", id="an endless longitude"),
        pytest.param("strip", 44.1, None, "strip: lat is given without lon", id="only a latitude"),
        pytest.param("strip", None, -87.9, "strip: lon is given without lat", id="only a longitude"),
        pytest.param("", 99, 0, "the unnamed point: latitude", id="no name to blame"),
        pytest.param("  ", None, None, "needs a name or a position", id="nothing at all"),
    ],
)
def test_a_position_that_is_none_says_which_point_it_is(name, lat, lon, message):
    with pytest.raises(ValueError, match=message):
        position(name, lat, lon)


# --- Identifiers --------------------------------------------------------------------------------------------


@over_rows(
    ("idents", "key"),
    [
        pytest.param(["KM26", "M26", "m26", " km26 "], "KM26", id="K and local are one airport, in any case"),
        pytest.param(["KGRB", "GRB"], "KGRB", id="letters only"),
        pytest.param(["K4G1", "4G1"], "K4G1", id="a digit first"),
        pytest.param(["PANC", "ANC"], "PANC", id="Alaska by its own prefix"),
        pytest.param(["PAAO", "Z55"], "PAAO", id="Alaska, local code unlike the ICAO one"),
        pytest.param(["PHNL", "HNL"], "PHNL", id="Hawaii"),
        pytest.param(["TJSJ", "SJU"], "TJSJ", id="Puerto Rico"),
        pytest.param(["PAAD", "37AA"], "PAAD", id="a local code of four characters beside an ICAO one"),
        pytest.param(["00AA"], "00AA", id="a private strip has its local code alone"),
        pytest.param(["EGLL"], "EGLL", id="abroad, no local code"),
        # PA08 is a private strip in Pennsylvania, A08 a field in Alabama
        pytest.param(["KA08", "A08"], "KA08", id="a local code"),
        pytest.param(["PA08"], "PA08", id="the same characters after a P are another airport"),
        # PATL is Tatalina, Alaska; ATL is Atlanta
        pytest.param(["KATL", "ATL"], "KATL", id="Atlanta"),
        pytest.param(["PATL", "TLJ"], "PATL", id="not Atlanta"),
        # ABI is Abilene's local code and is nobody's ICAO code; PABI is Allen Army Air Field
        pytest.param(["KABI", "ABI"], "KABI", id="Abilene"),
    ],
)
def test_every_mention_of_an_airport_is_the_same_place(idents, key):
    found = {airports().find(ident) for ident in idents}

    assert [place.key for place in found] == [key]


def test_icao_and_local_identifiers_agree_over_the_whole_table():
    table = airportsdata.load("ICAO")
    find = airports().find
    assert len(table) > 28_000

    for icao, row in table.items():
        place = find(icao)
        assert (place.key, place.lat, place.lon) == (icao, row["lat"], row["lon"])
        if local := row["lid"]:
            assert find(local) is place or find(local) == place, (icao, local)


def test_k_before_a_local_identifier_never_names_a_different_airport_over_the_whole_table():
    """The K form is the airport itself, or is refused where the airport's own prefix is another."""
    found, refused = [], []
    for row in airportsdata.load("LID").values():
        try:
            found.append((airports().find("K" + row["lid"]).key, row))
        except UnknownAirport as unknown:
            refused.append((unknown.hint, row))

    assert len(found) > 4_000
    assert all(key == row["icao"] for key, row in found)
    assert all(f"{row['icao']} (" in hint for hint, row in refused)

    # Alaska, Hawaii and the Pacific (P), American Samoa (N), Puerto Rico and the Virgin Islands (T); a local
    # identifier of four characters takes no prefix at all.
    assert {row["icao"][0] for _, row in refused if len(row["lid"]) == 3} == set("NPT")


@pytest.mark.parametrize(
    ("ident", "hint"),
    [
        pytest.param("KANC", "did you mean PANC (Ted Stevens", id="K before an Alaskan code"),
        pytest.param("K00AA", "did you mean 00AA (Aero B Ranch", id="K before a private strip"),
        pytest.param(
            "LHR", "LHR is an airline code; did you mean EGLL (London Heathrow", id="an airline code"
        ),
        pytest.param("K0SH", "did you mean KOSH (Wittman", id="zero for O"),
        pytest.param("KMTWW", "did you mean KMTW (Manitowoc", id="a letter too many"),
        pytest.param("K-?!", "", id="nothing close"),
        pytest.param("", "", id="blank"),
        pytest.param("KGRB→", "", id="not plain letters"),
        pytest.param("K" * 500, "", id="very long"),
    ],
)
def test_an_unknown_identifier_is_refused_with_what_may_have_been_meant(ident, hint):
    with pytest.raises(UnknownAirport) as refused:
        airports().find(ident)

    assert refused.value.ident == ident
    assert refused.value.hint.startswith(hint)
    assert bool(refused.value.hint) is bool(hint)
    assert "no airport has the identifier" in str(refused.value)
    assert "lat and lon" in str(refused.value)
    assert len(str(refused.value)) < 400


def test_a_letter_that_only_upper_cases_to_a_plain_one_is_not_it():
    with pytest.raises(UnknownAirport):
        airports().find("M\u0131C")  # a dotless i, which upper-cases to I: KMIC


@pytest.mark.parametrize("given_as", ["KM26", "m26"])
@pytest.mark.parametrize("asked_as", ["KM26", "M26"])
def test_a_school_overrides_an_airport_under_all_its_identifiers(given_as, asked_as):
    school = Airports({given_as: Place("ours", "Drummond", 46.6, -113.2)})

    assert school.find(asked_as) == Place("KM26", "Drummond", 46.6, -113.2, "America/Denver")
    assert airports().find(asked_as).lat == 46.620762


@pytest.mark.parametrize(
    ("given_as", "asked_as"), [("Y0Y", "KY0Y"), ("KY0Y", "Y0Y"), ("Y0Y", "y0y"), ("HOME", "home")]
)
def test_a_school_adds_a_field_that_the_table_lacks(given_as, asked_as):
    strip = Place("ours", "Aunt Ada's strip", 44.1, -87.9, "America/Chicago")

    found = Airports({given_as: strip}).find(asked_as)

    assert (found.key, found.name, found.lat, found.tz) == (given_as, strip.name, 44.1, "America/Chicago")
    with pytest.raises(UnknownAirport):
        airports().find(asked_as)


def test_a_schools_own_field_is_among_the_hints():
    with pytest.raises(UnknownAirport) as refused:
        Airports({"QQ0Q": Place("ours", "Aunt Ada's strip", 44.1, -87.9)}).find("QQOQ")

    assert refused.value.hint.startswith("did you mean QQ0Q (Aunt Ada's strip)")


def test_two_overrides_of_one_airport_that_differ_are_refused():
    here, there = Place("a", "Drummond", 46.6, -113.2), Place("b", "Drummond", 46.7, -113.2)

    assert Airports({"KM26": here, "M26": here}).find("M26").lat == 46.6
    with pytest.raises(ValueError, match="two overrides name the airport KM26"):
        Airports({"KM26": here, "M26": there})


@pytest.mark.parametrize("ident", ["", "  ", "grass strip", "Zürich"])
def test_an_override_needs_an_identifier(ident):
    with pytest.raises(ValueError, match="an override needs an identifier"):
        Airports({ident: Place("a", "a", 0, 0)})
