"""Days and hours against an independent library, and what handbooks say of them.

Source of the sun's rising, transit and height: pvlib's implementation of I. Reda and
A. Andreas, NREL/TP-560-34302, whose authors state ±0.0003° for the sun's place.
"""

import numpy as np
import pandas as pd
import pytest
from pvlib import solarposition

from orient.numbers import sun
from orient.planning import hours
from orient.planning.hours import SiteDays
from orient.tables import clock

PLACES = [
    (0.0, -78.0, "America/Guayaquil"),
    (23.0, 90.0, "Asia/Dhaka"),
    (-33.0, 151.0, "Australia/Sydney"),
    (52.0, 13.0, "Europe/Berlin"),
    (64.0, -51.0, "America/Nuuk"),
    (39.5, 76.0, "Asia/Shanghai"),
]
DATES = np.arange("2026-01-05", "2027-01-01", 17, dtype="datetime64[D]")


def site_days(latitude, longitude, zone):
    sites = pd.DataFrame(
        {
            "latitude_deg": [latitude],
            "longitude_deg": [longitude],
            "elevation_m": [0.0],
            "timezone": [zone],
            "pressure_hpa": [1010.0],
            "temperature_c": [10.0],
            "horizon": [""],
        },
        index=pd.Index(["s"], name="site"),
    )
    return SiteDays.of(sites, np.zeros(DATES.size, dtype=np.intp), DATES)


def seconds(times):
    return pd.DatetimeIndex(times).as_unit("ns").astype("int64").to_numpy() / 1e9


@pytest.mark.parametrize("place", PLACES)
def test_noon_and_its_altitude(place):
    days = site_days(*place)
    midday = pd.DatetimeIndex([f"{day} 12:00" for day in DATES]).tz_localize(place[2])
    theirs = solarposition.sun_rise_set_transit_spa(midday, *place[:2])
    assert days.noon_utc_s == pytest.approx(seconds(theirs["transit"]), abs=1.0)
    then = pd.to_datetime(days.noon_utc_s, unit="s", utc=True)
    place_of_sun = solarposition.spa_python(
        then, *place[:2], altitude=0.0, pressure=101000.0, temperature=10.0
    )
    assert days.noon_altitude_deg == pytest.approx(
        place_of_sun["apparent_elevation"].to_numpy(), abs=0.0005
    )


@pytest.mark.parametrize("place", PLACES)
def test_sunrise(place):
    """The half-interval of the upper limb's rising: the centre 50′ under the true horizon,
    as the algorithm has it (A.2.2)."""
    days = site_days(*place)
    apparent = -50.0 / 60.0 + float(sun.refraction_deg(-50.0 / 60.0, 1010.0, 10.0))
    ours = days.noon_utc_s - hours.half_interval_s(days, apparent)
    rising = pd.to_datetime(ours, unit="s", utc=True)
    theirs = solarposition.spa_python(rising, *place[:2], altitude=0.0)
    assert theirs["elevation"].to_numpy() == pytest.approx(-50.0 / 60.0, abs=0.003)
    if -90.0 < place[1] < 30.0:
        # Farther east the library's rising falls on the day of UTC before the one it is asked
        # for, and it then answers with the wrong day's declination.
        sunrise = solarposition.sun_rise_set_transit_spa(rising, *place[:2])["sunrise"]
        assert ours == pytest.approx(seconds(sunrise), abs=10.0)


@pytest.mark.parametrize("place", PLACES)
def test_a_pair_stands_at_one_altitude(place):
    days = site_days(*place)
    every = np.arange(DATES.size)
    for altitude in (12.0, 20.0):
        half_s = hours.half_interval_s(days, altitude)
        pairs = hours.pairs_at(days, every, half_s, hours.Rig())
        high = days.noon_altitude_deg > altitude + 2.0
        assert high.any()
        for at in (days.noon_utc_s - half_s, days.noon_utc_s + pairs.afternoon_s):
            then = pd.to_datetime(at[high], unit="s", utc=True)
            theirs = solarposition.spa_python(
                then, *place[:2], altitude=0.0, pressure=101000.0, temperature=10.0
            )
            assert theirs["apparent_elevation"].to_numpy() == pytest.approx(altitude, abs=0.003)


def test_noon_swings_with_the_equation_of_time():
    """Source: the extreme values as almanacs print them (*from memory*): −14 min 15 s near 11
    February, +16 min 25 s near 3 November; and four minutes of time to a degree."""
    year = np.arange("2026-01-01", "2027-01-01", dtype="datetime64[D]")
    table = hours.plan_table(
        pd.DataFrame(
            {
                "latitude_deg": [40.0],
                "longitude_deg": [15.0],
                "elevation_m": [0.0],
                "timezone": ["UTC"],
                "pressure_hpa": [1010.0],
                "temperature_c": [10.0],
                "horizon": [""],
            },
            index=pd.Index(["s"], name="site"),
        ),
        year,
    )
    mean_noon = clock.utc_s(year, 43200.0 - 15.0 * 240.0, "UTC")
    late = table["noon_utc_s"].to_numpy() - mean_noon
    assert late.max() == pytest.approx(14 * 60 + 15, abs=5)
    assert late.min() == pytest.approx(-(16 * 60 + 25), abs=5)
    assert abs(int(late.argmax()) - 41) <= 2
    assert abs(int(late.argmin()) - 306) <= 2


def test_noon_zenith_distance_at_the_equinox_is_the_latitude():
    """*Common practice, no source*, to a quarter of a degree of the sun's own motion."""
    for latitude in (-40.0, 0.0, 25.0, 60.0):
        sites = site_days(latitude, 0.0, "UTC")
        equinox = int(np.argmin(np.abs(sun.declination_deg(sites.noon_utc_s))))
        declination = sun.declination_deg(sites.noon_utc_s[equinox])
        zenith_distance = 90.0 - sites.noon_altitude_deg[equinox]
        assert zenith_distance == pytest.approx(abs(latitude - declination), abs=0.03)
