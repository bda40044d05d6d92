"""Sights as crews would have read them, made without any of the reduction's own code.

Stars come through pyerfa from the catalogue's own numbers, the sun through astropy's built-in
ephemeris; errors and blunders are drawn here. UT1 − UTC is taken as 0: at most 0.9 s, 14″.
"""

import csv
import warnings
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.resources import files

import erfa
import numpy as np

SITE_COUNT = 12
LEANING_SD, INDEX_SD = {"sights": 0.1, "plumb": 0.02}, 0.1


@dataclass(frozen=True)
class Kind:
    """A way of working: what is sighted, how often, and how well."""

    name: str
    aid: str
    sky: int
    line_readings: int
    reading_sd: float
    watch_sd: float
    watch: str = "trusted"
    altitudes: bool = False
    by_compass: bool = False


KINDS = (
    Kind("compass", "plumb", 6, 0, 0.5, 30.0, by_compass=True),
    Kind("alidade", "sights", 8, 2, 0.1, 20.0),
    Kind("plumb lines", "plumb", 6, 3, 0.03, 10.0),
    Kind("altitudes", "sights", 6, 2, 0.1, 600.0, "running", altitudes=True),
)


def catalogue():
    """Right ascension, declination, proper motions (rad, rad a year), names, at J2000."""
    text = (files("orient") / "data" / "stars.csv").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if float(row["magnitude"]) <= 2.7]
    ra, dec, pm_ra, pm_dec, parallax = (
        np.array([float(row[name]) for row in rows])
        for name in (
            "right_ascension_deg",
            "declination_deg",
            "pm_ra_cos_dec_mas_per_year",
            "pm_declination_mas_per_year",
            "parallax_mas",
        )
    )
    mas = np.radians(1 / 3.6e6)
    ra, dec = np.radians(ra), np.radians(dec)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        moved = erfa.pmsafe(
            ra, dec, pm_ra * mas / np.cos(dec), pm_dec * mas, parallax / 1000, np.zeros(len(ra)),
            2448349.0625, 0.0, 2451545.0, 0.0,
        )  # fmt: skip
    return moved, [f"HIP {row['hip']}" for row in rows]


def stars_seen(utc_s, latitude, longitude, height, pressure):
    """Azimuth and refracted altitude, degrees, of every star of `catalogue` at every instant."""
    (ra, dec, pm_ra, pm_dec, parallax, radial), _ = catalogue()
    days = np.asarray(utc_s)[:, None] / 86400.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        azimuth, zenith, *_ = erfa.atco13(
            ra, dec, pm_ra, pm_dec, parallax, radial, 2440587.5, days, 0.0,
            np.radians(longitude)[:, None], np.radians(latitude)[:, None], height, 0.0, 0.0,
            pressure, 10.0, 0.5, 0.55,
        )  # fmt: skip
    return np.degrees(azimuth), 90.0 - np.degrees(zenith)


def sun_seen(utc_s, latitude, longitude):
    """Azimuth and altitude, degrees, of the sun at every instant and place."""
    from astropy import units as u
    from astropy.coordinates import AltAz, EarthLocation, get_sun
    from astropy.time import Time
    from astropy.utils import iers

    iers.conf.auto_download = False
    moments = Time(utc_s, format="unix", scale="utc")
    moments.delta_ut1_utc = 0.0
    where = EarthLocation.from_geodetic(longitude * u.deg, latitude * u.deg)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        seen = get_sun(moments).transform_to(AltAz(obstime=moments, location=where))
    return seen.az.deg, seen.alt.deg


def simulate(kind, trials, seed, blunders=0.05):
    """Sites, rows of sights.csv, and what is true of each circle.

    Returns:
        (site rows, sight rows, truth): truth maps a circle's name to the true azimuth of its
        zero and of its line.
    """
    random = np.random.default_rng(seed)
    latitude = random.uniform(-58, 58, SITE_COUNT).round(4)
    longitude = random.uniform(-170, 170, SITE_COUNT).round(4)
    sites = [
        {"site": f"p{n}", "latitude_deg": a, "longitude_deg": b, "timezone": zone(b)}
        for n, (a, b) in enumerate(zip(latitude, longitude, strict=True))
    ]
    site = np.arange(trials) % SITE_COUNT
    start = sight_hours(kind, random, latitude[site], longitude[site])
    moments = start[:, None] + np.sort(random.uniform(0, 5400, (trials, kind.sky)), axis=1)
    # What the watch shows is a whole second.
    fast = random.normal(0, kind.watch_sd, trials)
    shown = np.round(moments + fast[:, None])
    moments = shown - fast[:, None]
    flat = moments.ravel()
    where = np.repeat(latitude[site], kind.sky), np.repeat(longitude[site], kind.sky)
    if kind.by_compass:
        azimuth, altitude = sun_seen(flat, *where)
        azimuth, names = azimuth + 180.0, ["shadow"] * len(flat)
    else:
        azimuth, altitude, names = some_star(kind, random, flat, *where)
    azimuth, altitude = azimuth.reshape(moments.shape), altitude.reshape(moments.shape)
    zero, line = random.uniform(0, 360, trials), random.uniform(0, 360, trials)
    if kind.by_compass:
        # A usual compass's own error is 2°.
        zero = declination(latitude, longitude)[site] + random.normal(0, 2.0, trials)
    leaning = random.normal(0, LEANING_SD[kind.aid], (2, trials, 1))
    steep = 0.0 if kind.by_compass else np.tan(np.radians(altitude))
    turned = steep * (
        leaning[0] * np.sin(np.radians(azimuth)) + leaning[1] * np.cos(np.radians(azimuth))
    )
    reading = slipped(
        random, azimuth - zero[:, None] + turned, kind.reading_sd, blunders, trials, kind.sky
    )
    to_line = slipped(
        random, (line - zero)[:, None], kind.reading_sd, blunders, trials, kind.line_readings
    )
    height = (
        altitude + random.normal(0, INDEX_SD, (trials, 1)) + random.normal(0, 0.1, altitude.shape)
    )
    height += np.where(random.random(altitude.shape) < blunders, random.choice([-5, 5, 10]), 0.0)
    rows, truth = [], {}
    for n in range(trials):
        circle = f"c{n}"
        truth[circle] = zero[n], line[n]
        date = local(start[n], longitude[site[n]])
        own = {"site": f"p{site[n]}", "circle": circle, "reading_sd_deg": kind.reading_sd}
        for m in range(kind.sky):
            at = local(shown[n, m], longitude[site[n]])
            rows.append(own | {
                "date": f"{at:%Y-%m-%d}", "time": f"{at:%H:%M:%S}", "watch": kind.watch,
                "watch_sd_s": kind.watch_sd, "target": names[n * kind.sky + m], "aid": kind.aid,
                "reading_deg": f"{reading[n, m] % 360:.3f}",
                "altitude_deg": f"{np.clip(height[n, m], 0, 90):.3f}" if kind.altitudes else "",
                "compass": circle if kind.by_compass else "",
            })  # fmt: skip
        toward = own | {"date": f"{date:%Y-%m-%d}", "target": f"beacon {n}"}
        rows += [toward | {"reading_deg": f"{each % 360:.3f}"} for each in to_line[n]]
    return sites, rows, truth


def declination(latitude, longitude):
    """Magnetic declination at each place in the middle of 2026, by a reference library."""
    from pygeomag import GeoMag

    field = GeoMag()
    places = zip(latitude, longitude, strict=True)
    return np.array([field.calculate(glat=a, glon=b, alt=0, time=2026.5).d for a, b in places])


def hours_ahead(longitude):
    return round(longitude / 15.0)


def zone(longitude):
    """A zone of whole hours; its name has the sign of the old custom, west plus."""
    return f"Etc/GMT{-hours_ahead(longitude):+d}"


def local(utc_s, longitude):
    return datetime(1970, 1, 1) + timedelta(seconds=float(utc_s), hours=hours_ahead(longitude))


def sight_hours(kind, random, latitude, longitude):
    """When each crew began: by day with a low sun, or at night; 2026, any day."""
    day = datetime(2026, 1, 5, tzinfo=UTC).timestamp() + 86400.0 * random.integers(
        0, 350, len(latitude)
    )
    if not kind.by_compass:
        return day + np.mod(random.uniform(72000, 93600, len(day)) - longitude * 240.0, 86400.0)
    tries = day[:, None] + np.arange(0, 86400, 1800.0)
    shape = tries.shape
    sun = sun_seen(tries.ravel(), np.repeat(latitude, shape[1]), np.repeat(longitude, shape[1]))[
        1
    ].reshape(shape)
    later = sun_seen(
        tries.ravel() + 5400, np.repeat(latitude, shape[1]), np.repeat(longitude, shape[1])
    )[1].reshape(shape)
    good = (np.minimum(sun, later) > 4) & (np.maximum(sun, later) < 55)
    good[~good.any(axis=1)] = np.minimum(sun, later)[~good.any(axis=1)] > 1
    chance = random.random(shape) * good
    return tries[np.arange(len(day)), chance.argmax(axis=1)]


def some_star(kind, random, utc_s, latitude, longitude):
    """For each instant a star well up: azimuth, refracted altitude and name of each."""
    azimuth, altitude = stars_seen(utc_s, latitude, longitude, 0.0, 1013.25)
    low, high = (12, 40) if kind.altitudes else (12, 65)
    good = (altitude > low) & (altitude < high)
    if kind.altitudes:
        # Near the meridian an altitude says little of the time.
        good &= np.abs(np.sin(np.radians(azimuth))) > 0.6
    pick = (random.random(good.shape) * good).argmax(axis=1)
    at = np.arange(len(pick))
    names = catalogue()[1]
    return azimuth[at, pick], altitude[at, pick], [names[n] for n in pick]


def slipped(random, true, sd, blunders, trials, count):
    """Readings with their errors; one in so many with a slip: by tens, by degrees, or reversed."""
    shape = trials, count
    slip = np.choose(
        random.integers(0, 3, shape),
        [
            random.choice([-10.0, 10.0], shape),
            random.uniform(-30, 30, shape),
            np.full(shape, 180.0),
        ],
    )
    wrong = random.random(shape) < blunders
    return true + random.normal(0, sd, shape) + np.where(wrong, slip, 0.0)
