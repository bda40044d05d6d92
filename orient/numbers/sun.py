"""The sun as seen from any place at any instant of 1900–2050.

The sun's Greenwich hour angle, declination and distance come from the DE421 ephemeris
through skyfield, at six-hour nodes of UT1 joined by cubic splines, one table a calendar
year. Every site then shares the table: parallax and diurnal aberration are added in
closed form. Polar motion (under 0.5″) and the deflection of light by the earth
(under 0.001″) are left out.

Accuracy: within 0.01″ of skyfield's own apparent topocentric altitude and azimuth
(`tests/test_sun.py`), azimuth counted on the sky as arc.

Instants are `utc_s`: seconds of UTC since 1970-01-01, leap seconds not counted (POSIX).
Before 1972, when civil time followed the earth's rotation, UTC is taken for UT1.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from importlib.resources import as_file, files
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.splines import EvenSpline

Array = NDArray[np.float64]

FIRST_YEAR, LAST_YEAR = 1900, 2050
#: Local dates that lie inside those years with the days beside them, whatever the zone.
FIRST_DATE, LAST_DATE = date(FIRST_YEAR, 1, 3), date(LAST_YEAR, 12, 29)
SOLAR_DAY_S = 86400.0
SUN_RATE_DEG_PER_S = 15.0 / 3600.0

_NODE_S = 21600.0
_BLOCK = 16384
_AU_KM = 149597870.7
_WGS84_RADIUS_KM = 6378.137
_WGS84_FLATTENING = 1 / 298.257223563
_EARTH_ROTATION_RAD_PER_S = 7.292115e-5
_LIGHT_KM_PER_S = 299792.458
_TT_MINUS_TAI_S = 32.184
_UNIX_EPOCH_JD = 2440587.5
_UNIX_EPOCH = datetime(1970, 1, 1)
_UTC_BEGINS_S = float(np.datetime64("1972-01-01", "s").astype(np.int64))


class OutsideEphemeris(ValueError):
    """An instant lies outside the years that the bundled ephemeris is used for."""


@dataclass(frozen=True)
class SunPlace:
    """The sun's place in a site's sky, unrefracted, each array of the broadcast shape.

    Azimuth is in degrees clockwise from true north, 0 ≤ A < 360; altitude in degrees;
    distance from the observer in astronomical units.
    """

    azimuth_deg: Any
    altitude_deg: Any
    distance_au: Any


class _YearTable(NamedTuple):
    start_s: float
    place: EvenSpline  # of hour angle (rad), declination (rad), distance (au), over UT1 seconds
    delta_t_s: EvenSpline  # of TT − UT1, one column


@lru_cache(maxsize=1)
def ephemeris() -> tuple[Any, Any]:
    """The time scale and the kernel DE421, read once."""
    from skyfield.api import load
    from skyfield.jpllib import SpiceKernel

    # The path is taken from the package itself: asking skyfield_data for it also checks
    # the age of files that are not used here, and warns.
    with as_file(files("skyfield_data") / "data" / "de421.bsp") as path:
        return load.timescale(builtin=True), SpiceKernel(str(path))


@lru_cache(maxsize=LAST_YEAR - FIRST_YEAR + 1)
def _year_table(year: int, delta_t_s: float | None = None) -> _YearTable:
    from skyfield.api import load
    from skyfield.nutationlib import iau2000a_radians

    timescale, kernel = ephemeris()
    if delta_t_s is not None:
        timescale = load.timescale(delta_t=delta_t_s)
    start_s = float(np.datetime64(f"{year}-01-01", "s").astype(np.int64))
    end_s = float(np.datetime64(f"{year + 1}-01-01", "s").astype(np.int64))
    node_s = np.arange(start_s - 2 * SOLAR_DAY_S, end_s + 2 * SOLAR_DAY_S, _NODE_S)
    nodes = timescale.ut1_jd(_UNIX_EPOCH_JD + node_s / SOLAR_DAY_S)
    # Nutation is most of the work, and smooth: a spline through each day's is the same within
    # 0.0002″ at every node of a year.
    days_s = np.arange(node_s[0] - 2 * SOLAR_DAY_S, node_s[-1] + 3 * SOLAR_DAY_S, SOLAR_DAY_S)
    daily = timescale.ut1_jd(_UNIX_EPOCH_JD + days_s / SOLAR_DAY_S)
    nutation = EvenSpline(days_s[0], SOLAR_DAY_S, np.stack(iau2000a_radians(daily), axis=-1))
    nodes._nutation_angles_radians = tuple(nutation(node_s))
    sun = kernel["earth"].at(nodes).observe(kernel["sun"]).apparent()
    right_ascension, declination, distance = sun.radec("date")
    hour_angle = np.unwrap(np.radians(15.0 * nodes.gast) - right_ascension.radians)
    columns = np.stack([hour_angle, declination.radians, distance.au], axis=-1)
    place = EvenSpline(node_s[0] - start_s, _NODE_S, columns)
    return _YearTable(start_s, place, delta_t_spline(node_s - start_s, nodes))


def delta_t_spline(node_s: Array, nodes: Any) -> EvenSpline:
    """TT − UT1 over seconds of a year, one column, from skyfield's times at even nodes."""
    delta_t_s = np.broadcast_to(nodes.delta_t, node_s.shape)
    return EvenSpline(node_s[0], node_s[1] - node_s[0], delta_t_s[:, None])


@lru_cache(maxsize=1)
def _leap_seconds() -> tuple[Array, Array]:
    timescale, _ = ephemeris()
    dates_s = (np.asarray(timescale.leap_dates) - _UNIX_EPOCH_JD) * SOLAR_DAY_S
    offsets_s = np.asarray(timescale.leap_offsets, dtype=float)
    return dates_s, np.concatenate([[offsets_s[0] - 1.0], offsets_s])


def ut1_s(utc_s: Array, table: _YearTable) -> Array:
    """Seconds of UT1, counted as `utc_s` is, of instants that a year's table covers."""
    dates_s, offsets_s = _leap_seconds()
    # Instants of one call mostly lie between the same two leap seconds.
    span = np.searchsorted(dates_s, [utc_s.min(), utc_s.max()], side="right")
    leap_s: Any = offsets_s[span[0]]
    if span[0] != span[1]:
        leap_s = offsets_s[np.searchsorted(dates_s, utc_s, side="right")]
    dut1_s = _TT_MINUS_TAI_S + leap_s - table.delta_t_s(utc_s - table.start_s)[0]
    return utc_s + np.where(utc_s >= _UTC_BEGINS_S, dut1_s, 0.0)


def _tabulated(
    utc_s: ArrayLike, with_rate: bool = False, delta_t_s: float | None = None
) -> list[Array]:
    """Geocentric hour angle (rad), declination (rad), distance (au); then their rates per s."""
    instants = np.asarray(utc_s, dtype=float)
    flat = np.atleast_1d(instants).ravel()
    known = np.isfinite(flat)
    seconds = flat if known.all() else flat[known]
    found = np.empty((6 if with_rate else 3, seconds.size))
    if seconds.size:
        first, last = _year_of(seconds.min()), _year_of(seconds.max())
        if first == last:
            found = _of_year(first, seconds, with_rate, delta_t_s)
        else:
            years = seconds.astype("datetime64[s]").astype("datetime64[Y]").astype(int) + 1970
            for year in np.unique(years).tolist():
                chosen = years == year
                found[:, chosen] = _of_year(year, seconds[chosen], with_rate, delta_t_s)
    if seconds.size < flat.size:
        of_known, found = found, np.full((found.shape[0], flat.size), np.nan)
        found[:, known] = of_known
    return [column.reshape(instants.shape) for column in found]


def _year_of(utc_s: float) -> int:
    if not -2.3e9 < utc_s < 2.6e9:
        raise OutsideEphemeris(_outside("an instant far outside"))
    year = (_UNIX_EPOCH + timedelta(seconds=float(np.floor(utc_s)))).year
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise OutsideEphemeris(_outside(f"the year {year}"))
    return year


def _of_year(year: int, utc_s: Array, with_rate: bool, delta_t_s: float | None) -> Array:
    table = _year_table(year, delta_t_s)
    # With ΔT given by the caller, the instants are UT1 themselves.
    argument = (utc_s if delta_t_s is not None else ut1_s(utc_s, table)) - table.start_s
    return table.place(argument, with_rate)


def _outside(found: str) -> str:
    return f"the sun's place is known for {FIRST_YEAR}–{LAST_YEAR}; found {found}"


def geocentric(utc_s: ArrayLike) -> tuple[Array, Array, Array]:
    """Greenwich hour angle and declination (radians) and distance (au) from the earth's centre.

    Each of the shape of `utc_s`; hour angles of one year run on without a jump.
    """
    hour_angle, declination, distance = _tabulated(utc_s)
    return hour_angle, declination, distance


def direction(
    utc_s: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike = 0.0,
    delta_t_s: float | None = None,
) -> tuple[Any, Any, Any, Any]:
    """Unit vector to the apparent topocentric sun, unrefracted, in the site's own axes.

    Args:
        utc_s: POSIX seconds, any shape that broadcasts with the others; NaN gives NaN.
        latitude_deg, longitude_deg: WGS 84, north and east plus.
        elevation_m: metres above the ellipsoid.
        delta_t_s: for checks against worked examples: a fixed TT − UT1, and `utc_s`
            then counts UT1.

    Returns:
        (east, north, up, distance_au), each of the broadcast shape.

    Raises:
        OutsideEphemeris: an instant outside 1900–2050.
    """
    hour_angle, declination, distance = _tabulated(utc_s, delta_t_s=delta_t_s)
    axes = SiteAxes.at(latitude_deg, longitude_deg, elevation_m)
    return toward(axes, _Turned.to(hour_angle, declination), distance)


def motion(
    utc_s: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike = 0.0,
) -> tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]]:
    """The unit vector of `direction`, and its change per second of time.

    Returns:
        ((east, north, up), (east, north, up)), each of the broadcast shape. Parallax and
        aberration are left out of the rate: a part in 10⁴ of it.
    """
    axes = SiteAxes.at(latitude_deg, longitude_deg, elevation_m)
    hour_angle, declination, distance, turning, climbing, _ = _tabulated(utc_s, with_rate=True)
    turned = _Turned.to(hour_angle, declination)
    east, north, up, _ = toward(axes, turned, distance)
    x = -turned.sin_d * turned.cos_h * climbing - turned.cos_d * turned.sin_h * turning
    y = turned.sin_d * turned.sin_h * climbing - turned.cos_d * turned.cos_h * turning
    return (east, north, up), axes.level(x, y, turned.cos_d * climbing)


def direction_rate(
    utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike
) -> tuple[Any, Any, Any]:
    """The second part of `motion` alone: the change of the unit vector per second of time."""
    return motion(utc_s, latitude_deg, longitude_deg)[1]


class _Turned(NamedTuple):
    sin_h: Any
    cos_h: Any
    sin_d: Any
    cos_d: Any

    @classmethod
    def to(cls, hour_angle_rad: Array, declination_rad: Array) -> _Turned:
        return cls(*sine_and_cosine(hour_angle_rad), *sine_and_cosine(declination_rad))


def sine_and_cosine(angle_rad: ArrayLike) -> tuple[Any, Any]:
    """Both of an angle in radians, of any shape, within a few units of the last place.

    By the tangent of half the angle: numpy works it out several times faster than either.
    """
    tangent = np.tan(0.5 * np.asarray(angle_rad))
    square = tangent * tangent
    part = 1.0 / (1.0 + square)
    return 2.0 * tangent * part, (1.0 - square) * part


def toward(axes: SiteAxes, turned: _Turned, distance_au: Array) -> tuple[Any, Any, Any, Any]:
    """Unit vector (east, north, up) and distance."""
    east, north, up, range_au = _unscaled(axes, *turned, distance_au)
    norm = np.sqrt(east**2 + north**2 + up**2)
    return east / norm, north / norm, up / norm, range_au


def _unscaled(
    axes: SiteAxes, sin_h: Any, cos_h: Any, sin_d: Any, cos_d: Any, distance_au: Any
) -> tuple[Any, Any, Any, Any]:
    """The sun as seen from the site in its own axes, of no particular length, and its distance."""
    equatorial = distance_au * cos_d
    x = equatorial * cos_h - axes.position_au[0]
    y = -equatorial * sin_h - axes.position_au[1]
    z = distance_au * sin_d - axes.position_au[2]
    range_au = np.sqrt(x**2 + y**2 + z**2)
    # Diurnal aberration: the observer moves east with the turning earth.
    east, north, up = axes.level(x, y, z)
    return east + axes.speed_over_light * range_au, north, up, range_au


@dataclass(frozen=True)
class SiteAxes:
    """Where sites lie and how their axes are turned: what the sun's motion needs of them."""

    sin_latitude: Any
    cos_latitude: Any
    sin_longitude: Any
    cos_longitude: Any
    position_au: tuple[Any, Any, Any]
    speed_over_light: Any

    @classmethod
    def at(
        cls, latitude_deg: ArrayLike, longitude_deg: ArrayLike, elevation_m: ArrayLike
    ) -> SiteAxes:
        latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
        sin_p, cos_p = np.sin(latitude), np.cos(latitude)
        sin_l, cos_l = np.sin(longitude), np.cos(longitude)
        eccentricity_2 = _WGS84_FLATTENING * (2 - _WGS84_FLATTENING)
        prime_vertical = _WGS84_RADIUS_KM / np.sqrt(1 - eccentricity_2 * sin_p**2)
        height = np.asarray(elevation_m, dtype=float) / 1000.0
        axis_distance = (prime_vertical + height) * cos_p
        polar = (prime_vertical * (1 - eccentricity_2) + height) * sin_p
        return cls(
            sin_p,
            cos_p,
            sin_l,
            cos_l,
            (axis_distance * cos_l / _AU_KM, axis_distance * sin_l / _AU_KM, polar / _AU_KM),
            _EARTH_ROTATION_RAD_PER_S * axis_distance / _LIGHT_KM_PER_S,
        )

    def block(self, block: Any, shape: tuple[int, ...]) -> SiteAxes:
        """The sites of a block of the broadcast shape."""
        x, y, z = (_cut(part, block, shape) for part in self.position_au)
        return SiteAxes(
            _cut(self.sin_latitude, block, shape),
            _cut(self.cos_latitude, block, shape),
            _cut(self.sin_longitude, block, shape),
            _cut(self.cos_longitude, block, shape),
            (x, y, z),
            _cut(self.speed_over_light, block, shape),
        )

    def level(self, x: Any, y: Any, z: Any) -> tuple[Any, Any, Any]:
        """Turn an earth-fixed vector into the site's east, north and up."""
        outward = self.cos_longitude * x + self.sin_longitude * y
        east = self.cos_longitude * y - self.sin_longitude * x
        north = self.cos_latitude * z - self.sin_latitude * outward
        up = self.sin_latitude * z + self.cos_latitude * outward
        return east, north, up


def place(
    utc_s: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike = 0.0,
    pressure_hpa: ArrayLike | None = None,
    temperature_c: ArrayLike = 10.0,
    delta_t_s: float | None = None,
) -> SunPlace:
    """The sun's azimuth, altitude and distance for any broadcast of sites and instants.

    Args:
        utc_s, latitude_deg, longitude_deg, elevation_m, delta_t_s: as for `direction`.
        pressure_hpa: where given, the altitude is refracted; None leaves it geometric.
        temperature_c: air temperature, °C.

    Accuracy: within 0.01″ of skyfield's `apparent().altaz()`, unrefracted.
    """
    hour_angle, declination, distance = _tabulated(utc_s, delta_t_s=delta_t_s)
    turned = _Turned.to(hour_angle, declination)
    axes = SiteAxes.at(latitude_deg, longitude_deg, elevation_m)
    shape = np.broadcast_shapes(distance.shape, np.shape(axes.position_au[0]))
    azimuth, altitude, range_au = np.empty(shape), np.empty(shape), np.empty(shape)
    # Blocks small enough for the processor's cache: twice as fast as whole arrays.
    for block in _blocks(shape):
        part = axes.block(block, shape)
        toward = _unscaled(part, *(_cut(each, block, shape) for each in (*turned, distance)))
        east, north, up, range_au[block] = toward
        altitude[block] = np.arctan2(up, np.hypot(east, north))
        azimuth[block] = np.arctan2(east, north)
    np.degrees(altitude, out=altitude)
    if pressure_hpa is not None:
        altitude = altitude + refraction_deg(altitude, pressure_hpa, temperature_c)
    return SunPlace(wrap_360(np.degrees(azimuth)), altitude[()], range_au[()])


def _blocks(shape: tuple[int, ...]) -> Iterator[Any]:
    """Slices of the first axis, each of about `_BLOCK` elements; all there is for a scalar."""
    if not shape:
        yield ()
        return
    each = max(1, _BLOCK * shape[0] // max(1, int(np.prod(shape))))
    for start in range(0, shape[0], each):
        yield slice(start, start + each)


def _cut(array: Any, block: Any, shape: tuple[int, ...]) -> Any:
    """The part of an array that broadcasts with a block of the whole shape."""
    array = np.asarray(array)
    return array[block] if shape and array.ndim == len(shape) and array.shape[0] > 1 else array


def refraction_deg(
    altitude_deg: ArrayLike, pressure_hpa: ArrayLike, temperature_c: ArrayLike = 10.0
) -> Any:
    """How much the air lifts a body of true altitude `altitude_deg` (degrees, any shape).

    Saemundsson's formula, as in the NREL solar position algorithm, eq. 42: within 0.1′ of
    the Bennett form above 5°, doubtful below. Zero more than 1° under the horizon.
    """
    altitude = np.asarray(altitude_deg, dtype=float)
    above = np.maximum(altitude, -1.0)
    lift_arcmin = 1.02 / np.tan(np.radians(above + 10.3 / (above + 5.11)))
    density = np.asarray(pressure_hpa) / 1010.0 * (283.0 / (273.0 + np.asarray(temperature_c)))
    return np.where(altitude >= -1.0, density * lift_arcmin / 60.0, 0.0)[()]


def standard_pressure_hpa(elevation_m: ArrayLike) -> Any:
    """Pressure of the ICAO standard atmosphere at a height in metres, any shape."""
    height = np.clip(np.asarray(elevation_m, dtype=float), -1000.0, 11000.0)
    return 1013.25 * (1.0 - 2.25577e-5 * height) ** 5.25588


def semidiameter_deg(distance_au: ArrayLike) -> Any:
    """The sun's angular radius in degrees: 959.63″ at one astronomical unit (IAU)."""
    return 959.63 / 3600.0 / np.asarray(distance_au)


def declination_deg(utc_s: ArrayLike) -> Any:
    """The sun's apparent geocentric declination in degrees, north plus, any shape."""
    return np.degrees(_tabulated(utc_s)[1])


def hour_angle_deg(utc_s: ArrayLike, longitude_deg: ArrayLike) -> Any:
    """The sun's local hour angle in degrees, −180 ≤ t < 180, plus after noon."""
    return wrap_180(np.degrees(_tabulated(utc_s)[0]) + np.asarray(longitude_deg))


def transit(utc_s_near: ArrayLike, longitude_deg: ArrayLike) -> Any:
    """The instant of local apparent noon (upper transit) nearest to `utc_s_near`, POSIX seconds.

    Broadcasts; within 0.1 s of the zero of the sun's azimuth from the meridian.
    """
    instant = np.asarray(utc_s_near, dtype=float)
    for _ in range(4):
        instant = instant - hour_angle_deg(instant, longitude_deg) / SUN_RATE_DEG_PER_S
    return instant


def time_of_altitude(
    altitude_deg: ArrayLike,
    transit_utc_s: ArrayLike,
    afternoon: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike = 0.0,
) -> Any:
    """The instant at which the sun's unrefracted altitude has a given value, one side of noon.

    Args:
        altitude_deg: the wanted altitudes, any shape that broadcasts with the others.
        transit_utc_s: local noon of the day, POSIX seconds.
        afternoon: True for the afternoon crossing, False for the morning one.
        latitude_deg, longitude_deg, elevation_m: the site.

    Returns:
        POSIX seconds, NaN where the sun does not reach that altitude that half-day;
        within 0.001 s, but for altitudes within about 0.001° of the noon altitude.
    """
    wanted = np.radians(np.asarray(altitude_deg, dtype=float))
    side = np.where(np.asarray(afternoon, dtype=bool), 1.0, -1.0)
    noon = np.asarray(transit_utc_s, dtype=float)
    latitude = np.radians(latitude_deg)
    instant = noon + side * 0.0 * wanted
    for _ in range(5):
        declination = np.radians(declination_deg(instant))
        with np.errstate(invalid="ignore", divide="ignore"):
            cosine = (np.sin(wanted) - np.sin(latitude) * np.sin(declination)) / (
                np.cos(latitude) * np.cos(declination)
            )
        # Parallax may lift the cosine of a noon altitude just past one.
        cosine = np.where(np.abs(cosine) < 1 + 1e-4, np.clip(cosine, -1.0, 1.0), np.nan)
        hour_angle = side * np.degrees(np.arccos(cosine))
        before, instant = instant, noon + hour_angle / SUN_RATE_DEG_PER_S
        if not np.any(np.abs(instant - before) > 1.0):
            break
    for _ in range(6):
        (_, _, up), (_, _, climbing) = motion(instant, latitude_deg, longitude_deg, elevation_m)
        with np.errstate(invalid="ignore", divide="ignore"):
            step = (up - np.sin(wanted)) / climbing
        instant = instant - np.clip(step, -600.0, 600.0)
        # Newton's steps shrink as their squares do: the next would be under a microsecond.
        if not np.any(np.abs(step) > 1e-3):
            break
    _, _, up, _ = direction(instant, latitude_deg, longitude_deg, elevation_m)
    good = (np.abs(up - np.sin(wanted)) < 1e-9) & (side * (instant - noon) > -60.0)
    return np.where(good, instant, np.nan)[()]
