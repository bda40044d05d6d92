"""The sun against skyfield itself, pvlib and ERFA."""

import warnings

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from orient.numbers import sun
from orient.numbers.splines import EvenSpline

SITES = [
    (0.0, 0.0, 0.0),
    (52.3, 13.1, 50.0),
    (-41.2, 174.9, 900.0),
    (71.0, -156.0, 10.0),
    (-89.5, 20.0, 2800.0),
]


def random_instants(count: int, first: str, last: str, seed: int = 1) -> np.ndarray:
    limits = np.array([first, last], dtype="datetime64[s]").astype(float)
    return np.random.default_rng(seed).uniform(*limits, count)


def skyfield_times(utc_s: np.ndarray):
    timescale, _ = sun.ephemeris()
    # Whole days apart from seconds: seconds past 1970 alone would count leap seconds.
    days = np.floor(utc_s / 86400.0)
    return timescale.utc(1970, 1, 1 + days, 0, 0, utc_s - 86400.0 * days)


def arcsec_on_sky(azimuth_a, altitude_a, azimuth_b, altitude_b):
    across = np.radians(azimuth_a - azimuth_b)
    across = np.arctan2(np.sin(across), np.cos(across)) * np.cos(np.radians(altitude_a))
    return np.degrees(across) * 3600, (altitude_a - altitude_b) * 3600


@pytest.mark.long
@pytest.mark.parametrize("site", SITES)
def test_place_agrees_with_skyfield_direct(site):
    """Source: skyfield's apparent().altaz() with the same ephemeris."""
    from skyfield.api import wgs84

    _, kernel = sun.ephemeris()
    utc_s = random_instants(200, "1972-01-02", "2050-12-31")
    times = skyfield_times(utc_s)
    latitude, longitude, elevation = site
    observer = kernel["earth"] + wgs84.latlon(latitude, longitude, elevation)
    altitude, azimuth, distance = observer.at(times).observe(kernel["sun"]).apparent().altaz()
    ours = sun.place(utc_s, *site)
    across, along = arcsec_on_sky(
        ours.azimuth_deg, ours.altitude_deg, azimuth.degrees, altitude.degrees
    )
    assert np.abs(across).max() < 0.01
    assert np.abs(along).max() < 0.01
    assert np.abs(ours.distance_au / distance.au - 1).max() < 1e-8


def test_every_year_of_the_ephemeris_answers():
    utc_s = np.array(
        [
            np.datetime64(f"{y}-06-30T12:00", "s").astype(float)
            for y in (1900, 1935, 1971, 1972, 2050)
        ]
    )
    declination = sun.declination_deg(utc_s)
    assert np.all((declination > 23.0) & (declination < 23.4))


@pytest.mark.parametrize("instant", ["1899-12-31T23:59:59", "2051-01-01", "3000-01-01"])
def test_outside_the_ephemeris_is_a_clear_error(instant):
    with pytest.raises(sun.OutsideEphemeris, match="1900–2050"):
        sun.place(np.datetime64(instant, "s").astype(float), 10.0, 10.0)


def test_place_agrees_with_pvlib():
    """Source: pvlib's own coding of the NREL algorithm, 2″."""
    import pandas as pd
    from pvlib import solarposition

    utc_s = random_instants(400, "2003-01-01", "2023-12-31")
    stamps = pd.DatetimeIndex(pd.to_datetime(utc_s, unit="s", utc=True))
    for latitude, longitude, elevation in SITES[:4]:
        # The library takes UTC for UT1: it is given UT1 here, by its difference from UTC.
        dut1 = skyfield_times(utc_s).dut1
        shifted = stamps + pd.to_timedelta(dut1, unit="s")
        theirs = solarposition.spa_python(shifted, latitude, longitude, elevation, delta_t=None)
        ours = sun.place(utc_s, latitude, longitude, elevation)
        across, along = arcsec_on_sky(
            ours.azimuth_deg,
            ours.altitude_deg,
            theirs["azimuth"].to_numpy(),
            theirs["elevation"].to_numpy(),
        )
        assert np.abs(across).max() < 2.0
        assert np.abs(along).max() < 2.0


def test_declination_and_hour_angle_agree_with_erfa():
    """Source: ERFA (the IAU standards of fundamental astronomy): epv00, pnm06a, gst06a."""
    import erfa

    utc_s = random_instants(50, "1990-01-01", "2025-12-31")
    times = skyfield_times(utc_s)
    earth_helio, earth_bary = erfa.epv00(times.tt, 0.0)
    toward = -earth_helio["p"]
    distance = np.linalg.norm(toward, axis=-1)
    # Light time: the sun as it stood, by its own barycentric motion, and annual aberration.
    unit = toward / distance[:, None]
    velocity = earth_bary["v"] / 173.1446326847
    apparent = unit + velocity
    sun_velocity = earth_bary["v"] - earth_helio["v"]
    apparent -= sun_velocity * (distance / 173.1446326847)[:, None] / distance[:, None]
    true = np.einsum("nij,nj->ni", erfa.pnm06a(times.tt, 0.0), apparent)
    right_ascension = np.arctan2(true[:, 1], true[:, 0])
    declination = np.arctan2(true[:, 2], np.hypot(true[:, 0], true[:, 1]))
    hour_angle = erfa.gst06a(times.ut1, 0.0, times.tt, 0.0) - right_ascension
    ours = np.radians(sun.hour_angle_deg(utc_s, 0.0))
    difference = np.angle(np.exp(1j * (ours - hour_angle)))
    assert np.degrees(np.abs(difference)).max() * 3600 < 0.1
    assert np.abs(sun.declination_deg(utc_s) - np.degrees(declination)).max() * 3600 < 0.1


def test_shapes_broadcast_and_nan_passes_through():
    utc_s = np.array([1.78e9, np.nan])
    place = sun.place(utc_s[:, None], np.array([10.0, 20.0, 30.0]), 5.0)
    assert place.azimuth_deg.shape == (2, 3)
    assert np.isfinite(place.altitude_deg[0]).all()
    assert np.isnan(place.altitude_deg[1]).all()
    assert np.ndim(sun.place(1.78e9, 1.0, 2.0).azimuth_deg) == 0


def test_rate_is_the_derivative_of_the_direction():
    utc_s = random_instants(50, "2026-01-01", "2026-12-31")
    later = sun.direction(utc_s + 10, 40.0, -3.0)[:3]
    sooner = sun.direction(utc_s - 10, 40.0, -3.0)[:3]
    for ours, after, before in zip(
        sun.direction_rate(utc_s, 40.0, -3.0), later, sooner, strict=True
    ):
        # The parallax left out of the rate is 9e-5 rad of a turn of 7.3e-5 rad/s.
        assert np.abs(ours - (after - before) / 20).max() < 1e-8


def test_transit_is_where_the_sun_crosses_the_meridian():
    near = random_instants(40, "2026-01-01", "2026-12-31")
    longitude = np.random.default_rng(2).uniform(-180, 180, 40)
    noon = sun.transit(near, longitude)
    east, _, _, _ = sun.direction(noon, 50.0, longitude)
    assert np.abs(east).max() < 0.1 * 7.3e-5  # a tenth of a second
    assert np.abs(noon - near).max() <= 43300


def test_noon_and_sunrise_agree_with_pvlib():
    """Source: pvlib's sun rise, set and transit by the NREL algorithm, 1 s at noon."""
    import pandas as pd
    from pvlib import solarposition

    days = pd.date_range("2024-01-01", "2024-12-31", freq="7D", tz="UTC")
    theirs = solarposition.sun_rise_set_transit_spa(days, 47.0, 8.0)
    expected = theirs["transit"].dt.as_unit("ns").astype("int64").to_numpy() / 1e9
    ours = sun.transit(days.as_unit("s").astype("int64").to_numpy() + 41000.0, 8.0)
    assert np.abs(ours - expected).max() < 1.0
    rise = theirs["sunrise"].dt.as_unit("ns").astype("int64").to_numpy() / 1e9
    crossing = sun.time_of_altitude(-0.8333, ours, False, 47.0, 8.0)
    assert np.abs(crossing - rise).max() < 3.0


def test_time_of_altitude_finds_the_altitude_on_the_right_side():
    noon = sun.transit(1.79e9, 30.0)
    altitude = np.array([5.0, 20.0, 35.0])
    for afternoon in (False, True):
        instant = sun.time_of_altitude(altitude, noon, afternoon, 25.0, 30.0, 100.0)
        assert np.all((instant > noon) == afternoon)
        assert np.allclose(sun.place(instant, 25.0, 30.0, 100.0).altitude_deg, altitude, atol=1e-7)
    assert np.isnan(sun.time_of_altitude(89.0, noon, True, 60.0, 30.0))


def test_no_warning_reaches_the_user():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        sun.ephemeris.cache_clear()
        sun._year_table.cache_clear()
        sun.place(1.79e9, 10.0, 20.0, pressure_hpa=1010.0)


def test_refraction_agrees_with_the_bennett_form():
    """Source: skyfield.earthlib.refract (Bennett 1982), 0.1′ above 5°."""
    from skyfield.earthlib import refract

    altitude = np.linspace(5.0, 89.0, 200)
    theirs = refract(altitude, 12.0, 990.0) - altitude
    ours = sun.refraction_deg(altitude, 990.0, 12.0)
    assert np.abs(ours - theirs).max() * 60 < 0.1


def test_standard_pressure():
    """Source: ICAO standard atmosphere table: 898.75 hPa at 1 km, 540.20 hPa at 5 km."""
    assert sun.standard_pressure_hpa([0.0, 1000.0, 5000.0]) == pytest.approx(
        [1013.25, 898.75, 540.20], abs=0.05
    )


def test_many_positions_are_as_one_at_a_time():
    """Blocks of a large broadcast leave no seam, whichever axis is long."""
    generator = np.random.default_rng(7)
    utc_s = random_instants(400, "2025-06-01", "2026-06-01")
    latitude, longitude = generator.uniform(-80, 80, (2, 90))
    whole = sun.place(utc_s[:, None], latitude, longitude, pressure_hpa=1000.0)
    turned = sun.place(utc_s, latitude[:, None], longitude[:, None], pressure_hpa=1000.0)
    assert np.array_equal(whole.azimuth_deg, turned.azimuth_deg.T)
    for row, column in ((0, 0), (399, 89), (182, 45), (91, 0)):
        one = sun.place(utc_s[row], latitude[column], longitude[column], pressure_hpa=1000.0)
        assert one.azimuth_deg == pytest.approx(whole.azimuth_deg[row, column], abs=1e-10)
        assert one.altitude_deg == pytest.approx(whole.altitude_deg[row, column], abs=1e-10)
        assert one.distance_au == pytest.approx(whole.distance_au[row, column], abs=1e-14)


def test_the_year_s_table_errs_by_the_fourth_power_of_its_step():
    """Against the function itself, within the bounds of numerical analysis; scipy's spline too.

    Cubics through exact values and rates err by h⁴ / 384 of the fourth derivative; the rates, of
    five nodes, by h⁴ / 30 of the fifth. A spline that is solved for errs by 5 h⁴ / 384.
    """
    step, scale = 21600.0, 3e5
    nodes = np.arange(-4.0, 60.0) * step
    at = np.random.default_rng(4).uniform(nodes[2], nodes[-3], 5000)
    spline = EvenSpline(nodes[0], step, np.stack([np.sin(nodes / scale), nodes / 7e4], axis=-1))
    values = spline(at, with_rate=True)
    part = (step / scale) ** 4
    bound = part / 384 + part / 30 * (step / scale) / 4
    assert 0.3 * bound < np.abs(values[0] - np.sin(at / scale)).max() < bound
    theirs = CubicSpline(nodes, np.sin(nodes / scale))
    assert np.abs(values[0] - theirs(at)).max() < bound + 5 * part / 384
    of_rate = (part * (scale / step) * 3**0.5 / 216 + part / 30) / scale
    assert np.abs(values[2] - np.cos(at / scale) / scale).max() < of_rate
    assert np.abs(values[1] - at / 7e4).max() < 1e-12
    assert np.abs(values[3] - 1 / 7e4).max() < 1e-18
    assert np.array_equal(spline(nodes)[0], np.sin(nodes / scale))
