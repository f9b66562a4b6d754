"""An independent ephemeris for the tests of the Sun and the night, and the place and clock they share."""

import warnings
from datetime import UTC, date, datetime, timedelta, timezone

from hypothesis import strategies as st
from skyfield.api import Loader, wgs84
from skyfield_data import get_skyfield_data_path

from syllabus.engine.places.geography import position

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its table of the earth's rotation ages: no matter for a second
    LOADED = Loader(get_skyfield_data_path(), verbose=False)
TIMES = LOADED.timescale(builtin=True)
EPHEMERIS = LOADED("de421.bsp")
EARTH, SUN = EPHEMERIS["earth"], EPHEMERIS["sun"]

EDT = timezone(timedelta(hours=-4))
ATLANTA = position("Atlanta", 33.8, -84.4)
SECOND, MINUTE = timedelta(seconds=1), timedelta(minutes=1)
# Years in which UTC kept well within a second of the earth's rotation, as the other library knows it.
DAYS = st.dates(date(2010, 1, 1), date(2025, 12, 31))
INSTANTS = st.integers(0, 16 * 365 * 86_400).map(lambda s: datetime(2010, 1, 1, tzinfo=UTC) + s * SECOND)


def on_day(clock: str, day: date, zone: timezone) -> datetime:
    """06:50 or 06:12:43 on a day."""
    return datetime.fromisoformat(f"{day} {clock}").replace(tzinfo=zone)


def reference_altitude(at, lat, lon):
    """Degrees by the other ephemeris: the Sun's centre, no refraction."""
    return (EARTH + wgs84.latlon(lat, lon)).at(at).observe(SUN).apparent().altaz()[0].degrees
