"""Moon and stars: against the ephemeris library, pyerfa, astropy and ephem, and by formula.

All with one UT1 − UTC, skyfield's; polar motion is 0 throughout.
"""

import csv
import warnings
from datetime import UTC, datetime, timedelta
from importlib.resources import files

import ephem
import ephem.stars
import erfa
import numpy as np
import pytest
from numpy.testing import assert_allclose
from skyfield.api import Star as SkyfieldStar
from skyfield.api import load, wgs84
from skyfield.jpllib import SpiceKernel

from orient.numbers import bodies, sun
from orient.numbers.angles import wrap_180

#: Years over which places and times are spread; a year's table takes a moment to make.
YEARS = (1972, 1987, 2003, 2016, 2026, 2027, 2038, 2050)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def drawn(count, seed):
    """Random instants of YEARS, and places all over the earth."""
    random = np.random.default_rng(seed)
    start = np.array([f"{y}-01-02" for y in YEARS], dtype="datetime64[s]").astype(float)
    at = random.choice(start, count) + random.uniform(0, 362 * 86400, count)
    latitude = np.degrees(np.arcsin(random.uniform(-1, 1, count)))
    site = latitude, random.uniform(-180, 180, count), random.uniform(-100, 4500, count)
    return random, at, site


def kernel_path():
    return str(files("skyfield_data") / "data" / "de421.bsp")


def times(at):
    scale = load.timescale(builtin=True)
    return scale.from_datetimes([EPOCH + timedelta(seconds=float(each)) for each in at])


def apart_arcsec(azimuth, altitude, place):
    """Arc between two directions."""
    across = wrap_180(azimuth - place.azimuth_deg) * np.cos(np.radians(altitude))
    return np.hypot(across, altitude - place.altitude_deg) * 3600.0


def stars_of(random, count):
    return [bodies.stars()[n] for n in random.integers(0, len(bodies.stars()), count)]


def each_place(chosen, at, site):
    """Every star at its own instant and site."""
    places = bodies.star_places(list(bodies.stars()), at, *site)
    row = [bodies.stars().index(star) for star in chosen]
    pick = np.arange(len(chosen))
    azimuth = np.array([place.azimuth_deg for place in places])[row, pick]
    altitude = np.array([place.altitude_deg for place in places])[row, pick]
    return bodies.Place(azimuth, altitude, 0.0)


@pytest.mark.long
def test_stars_against_skyfield():
    random, at, site = drawn(150, 3)
    chosen = stars_of(random, len(at))
    found = each_place(chosen, at, site)
    earth = SpiceKernel(kernel_path())["earth"]
    off = []
    for n, (star, moment) in enumerate(zip(chosen, times(at), strict=True)):
        target = SkyfieldStar(
            ra_hours=star.right_ascension_deg / 15.0,
            dec_degrees=star.declination_deg,
            ra_mas_per_year=star.pm_ra_cos_dec_mas_per_year,
            dec_mas_per_year=star.pm_declination_mas_per_year,
            parallax_mas=star.parallax_mas,
            epoch=2448349.0625,
        )
        at_site = earth + wgs84.latlon(*(each[n] for each in site))
        altitude, azimuth, _ = at_site.at(moment).observe(target).apparent().altaz()
        mine = bodies.Place(found.azimuth_deg[n], found.altitude_deg[n], 0.0)
        off.append(apart_arcsec(azimuth.degrees, altitude.degrees, mine))
    assert max(off) < 0.02


def test_two_thousand_star_places_against_pyerfa():
    """The IAU's own routines, from catalogue to azimuth and altitude, without air."""
    random, at, site = drawn(2000, 4)
    chosen = stars_of(random, len(at))
    ra, dec, pm_ra, pm_dec, parallax = (
        np.array([getattr(star, name) for star in chosen])
        for name in (
            "right_ascension_deg",
            "declination_deg",
            "pm_ra_cos_dec_mas_per_year",
            "pm_declination_mas_per_year",
            "parallax_mas",
        )
    )
    mas = np.radians(1 / 3.6e6)
    start = np.radians(ra), np.radians(dec), pm_ra * mas / np.cos(np.radians(dec)), pm_dec * mas
    epochs = 2448349.0625, 0.0, 2451545.0, 0.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of distant stars, and of years not yet come
        ra, dec, pm_ra, pm_dec, parallax, radial = erfa.pmsafe(
            *start, parallax / 1000.0, np.zeros(2000), *epochs
        )
        utc = np.full(2000, 2440587.5), at / 86400.0
        dut1 = np.array(times(at).dut1)
        azimuth, zenith, *_ = erfa.atco13(
            ra, dec, pm_ra, pm_dec, parallax, radial, *utc, dut1, np.radians(site[1]),
            np.radians(site[0]), site[2], 0.0, 0.0, 0.0, 10.0, 0.5, 0.55,
        )  # fmt: skip
    off = apart_arcsec(np.degrees(azimuth), 90 - np.degrees(zenith), each_place(chosen, at, site))
    assert off.max() < 0.1


@pytest.mark.long
def test_two_thousand_moon_and_sun_places_against_astropy():
    """The same ephemeris, astropy's own way from there to azimuth and altitude."""
    from astropy import units as u
    from astropy.coordinates import AltAz, EarthLocation, get_body, solar_system_ephemeris
    from astropy.time import Time
    from astropy.utils import iers

    _, at, site = drawn(2000, 5)
    iers.conf.auto_download = False
    moments = Time(at, format="unix", scale="utc")
    moments.delta_ut1_utc = np.array(times(at).dut1)
    where = EarthLocation.from_geodetic(site[1] * u.deg, site[0] * u.deg, site[2] * u.m)
    frame = AltAz(obstime=moments, location=where)
    with warnings.catch_warnings(), solar_system_ephemeris.set(kernel_path()):
        warnings.simplefilter("ignore")  # of years beyond its table of polar motion
        for body in (bodies.MOON, bodies.SUN):
            seen = get_body(body, moments, where).transform_to(frame)
            found = bodies.place(body, at, *site)
            assert apart_arcsec(seen.az.deg, seen.alt.deg, found).max() < 1.0


def test_moon_against_skyfield_and_ephem():
    _, at, site = drawn(60, 6)
    found = bodies.place(bodies.MOON, at, *site)
    kernel = SpiceKernel(kernel_path())
    off, radius_off = [], []
    for n, moment in enumerate(times(at)):
        one = bodies.Place(found.azimuth_deg[n], found.altitude_deg[n], 0.0)
        at_site = kernel["earth"] + wgs84.latlon(*(each[n] for each in site))
        altitude, azimuth, _ = at_site.at(moment).observe(kernel["moon"]).apparent().altaz()
        off.append(apart_arcsec(azimuth.degrees, altitude.degrees, one))
        observer = ephem.Observer()
        observer.lat, observer.lon = np.radians(site[0][n]), np.radians(site[1][n])
        observer.elevation, observer.pressure = site[2][n], 0
        observer.date = EPOCH.replace(tzinfo=None) + timedelta(seconds=float(at[n]))
        moon = ephem.Moon(observer)
        radius_off.append(moon.size / 2 - found.semidiameter_deg[n] * 3600)
        assert_allclose(moon.phase / 100.0, bodies.lit_part(at[n]), atol=0.01)
    assert max(off) < 0.03
    assert np.abs(radius_off).max() < 2.0  # ephem takes a moon of a little more than the IAU


def test_the_table_against_ephem():
    """ephem's stars are of Hipparcos as first published: 1997, another reduction."""
    for name, other in ephem.stars.stars.items():
        star = bodies.find_star(name)
        if star is None:
            continue
        # ephem keeps J2000; both are taken there.
        years = 8.75
        ra = star.right_ascension_deg + star.pm_ra_cos_dec_mas_per_year * years / 3.6e6 / np.cos(
            np.radians(star.declination_deg)
        )
        dec = star.declination_deg + star.pm_declination_mas_per_year * years / 3.6e6
        other.compute("2000/1/1.5", epoch="2000")
        across = (np.degrees(other.a_ra) - ra) * np.cos(np.radians(dec)) * 3600
        apart = np.hypot(across, (np.degrees(other.a_dec) - dec) * 3600)
        assert apart < 1.0, (name, star.name, apart)


def test_polaris_at_greatest_elongation():
    """sin A = cos δ / cos φ, the standard spherical form, with the declination of date."""
    polaris = bodies.find_star("Polaris")
    latitude = np.array([20.0, 45.0, 60.0])
    start = datetime(2026, 11, 20, tzinfo=UTC).timestamp()
    at = start + np.arange(0, 86400, 20.0)
    # At longitude and height zero; the diurnal aberration of 0.3″ is the observer's own.
    found = bodies.place(polaris, at[:, None], latitude[None], 0.0)
    west_and_east = np.abs(wrap_180(found.azimuth_deg)).max(axis=0)
    declination = bodies.declination_deg(polaris, at).mean()
    expected = np.degrees(np.arcsin(np.cos(np.radians(declination)) / np.cos(np.radians(latitude))))
    assert_allclose(west_and_east, expected, atol=1.0 / 3600)


def test_polaris_mean_place_as_published():
    """2h 31m 49.09s, +89° 15′ 50.8″ (ICRS, epoch J2000): Hipparcos, ESA SP-1200 (*from memory*)."""
    polaris = bodies.find_star("α UMi")
    years = 8.75
    dec = polaris.declination_deg + polaris.pm_declination_mas_per_year * years / 3.6e6
    ra = polaris.right_ascension_deg + (
        polaris.pm_ra_cos_dec_mas_per_year * years / 3.6e6 / np.cos(np.radians(dec))
    )
    assert_allclose(ra, 15 * (2 + 31 / 60 + 49.09 / 3600), atol=0.1 / 240)
    assert_allclose(dec, 89 + 15 / 60 + 50.8 / 3600, atol=0.1 / 3600)


@pytest.mark.parametrize(
    ("name", "hip"),
    [
        ("polaris", 11767),
        ("α UMi", 11767),
        ("Alpha UMi", 11767),
        ("HIP 11767", 11767),
        ("hip11767", 11767),
        ("Rigil Kentaurus", 71683),
        ("alpha Cen", 71683),
        ("σ Oct", 104382),
        ("kaus-australis", 90185),
    ],
)
def test_a_star_by_its_names(name, hip):
    assert bodies.find_star(name).hip == hip


def test_a_star_that_is_not_there():
    assert bodies.find_star("Aldermoor") is None
    assert bodies.find_star("") is None


def test_every_night_has_six_well_spread_stars():
    """Any latitude, any sidereal hour: six stars 15–60° up, no two nearer than 30° in azimuth."""
    start = datetime(2026, 3, 1, tzinfo=UTC).timestamp()
    at = start + np.arange(0, 86164, 1200.0)
    for latitude in range(-75, 76, 15):
        places = bodies.star_places(list(bodies.stars()), at, float(latitude), 0.0)
        azimuth = np.array([place.azimuth_deg for place in places])
        altitude = np.array([place.altitude_deg for place in places])
        good = (altitude > 15) & (altitude < 60)
        for moment in range(len(at)):
            taken = []
            for each in np.sort(azimuth[good[:, moment], moment]):
                if not taken or (each - taken[-1] >= 30 and each - taken[0] <= 330):
                    taken.append(each)
            assert len(taken) >= 6, (latitude, moment)


def test_names_are_one_star_s_each():
    with (files("orient") / "data" / "stars.csv").open(encoding="utf-8") as lines:
        rows = list(csv.reader(line for line in lines if not line.startswith("#")))[1:]
    names = [bodies.folded(name) for star in bodies.stars() for name in star.names]
    assert len(set(names)) == len(names)
    assert len(rows) == len(bodies.stars()) >= 195


def test_outside_the_years():
    with pytest.raises(sun.OutsideEphemeris):
        bodies.place(bodies.MOON, 3.0e9, 0.0, 0.0)
    assert np.isnan(bodies.place(bodies.MOON, np.nan, 0.0, 0.0).azimuth_deg)
