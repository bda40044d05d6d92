"""Invented boards: where the marks of a day would fall, with every fault of a real set-up.

This is the counterpart that the reductions are tried on. It shares nothing with them: the
sun comes from skyfield called directly, the shadow from a ray traced in three dimensions
with rotation matrices. It makes the demo campaign and the boards of the Monte Carlo tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import as_file, files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class TrueBoard:
    """A board as it really stood, which its crew knows only within their tolerances.

    Tilts are turns about the board's own x and y axes, degrees, plus by the right-hand
    rule. `foot_*_mm` is where the crew marked the foot, less where it really was.
    `watch_fast_s` is what the watch showed less the truth. `edge_lift_deg` is how much
    higher than the sun's centre the light of the marked edge comes from.
    """

    board_azimuth_deg: float
    height_mm: float
    tilt_x_deg: float = 0.0
    tilt_y_deg: float = 0.0
    foot_x_mm: float = 0.0
    foot_y_mm: float = 0.0
    watch_fast_s: float = 0.0
    edge_lift_deg: float = 0.0


@lru_cache(maxsize=1)
def _ephemeris() -> tuple[Any, Any]:
    from skyfield.api import load
    from skyfield.jpllib import SpiceKernel

    with as_file(files("skyfield_data") / "data" / "de421.bsp") as path:
        return load.timescale(builtin=True), SpiceKernel(str(path))


def _nutate(times: Any) -> None:
    """Give a day's instants their nutation by a polynomial: most of the work, and smooth."""
    from skyfield.nutationlib import iau2000a_radians

    if times.tt.size > 8 and np.ptp(times.tt) < 2.0:
        nodes = np.linspace(times.tt.min(), times.tt.max(), 5)
        angles = iau2000a_radians(times.ts.tt_jd(nodes))
        times._nutation_angles_radians = tuple(
            np.polynomial.Polynomial.fit(nodes, angle, 4)(times.tt) for angle in angles
        )


def sun_seen(
    utc_s: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float = 0.0,
    pressure_hpa: float = 0.0,
    temperature_c: float = 10.0,
) -> tuple[Array, Array, Array]:
    """Azimuth, refracted altitude (degrees) and distance (au) of the sun, from skyfield."""
    from skyfield.api import wgs84

    timescale, kernel = _ephemeris()
    seconds = np.atleast_1d(np.asarray(utc_s, dtype=float))
    days = np.floor(seconds / 86400.0)
    times = timescale.utc(1970, 1, 1 + days, 0, 0, seconds - 86400.0 * days)
    _nutate(times)
    observer = kernel["earth"] + wgs84.latlon(latitude_deg, longitude_deg, elevation_m)
    apparent = observer.at(times).observe(kernel["sun"]).apparent(deflectors=())
    altitude, azimuth, distance = apparent.altaz(
        temperature_C=temperature_c, pressure_mbar=pressure_hpa
    )
    return azimuth.degrees, altitude.degrees, distance.au


def shadow_tips(azimuth_deg: ArrayLike, altitude_deg: ArrayLike, board: TrueBoard) -> Array:
    """The tips' places as measured from the marked foot, mm, shape (n, 2); NaN without sun."""
    azimuth = np.radians(np.atleast_1d(azimuth_deg))
    altitude = np.radians(np.atleast_1d(altitude_deg) + board.edge_lift_deg)
    # Axes east, north, up. The columns of `axes` are the board's x, y and normal.
    sun = np.stack(
        [
            np.cos(altitude) * np.sin(azimuth),
            np.cos(altitude) * np.cos(azimuth),
            np.sin(altitude),
        ],
        axis=-1,
    )
    axes = (
        _turn(2, -board.board_azimuth_deg) @ _turn(0, board.tilt_x_deg) @ _turn(1, board.tilt_y_deg)
    )
    rod_tip = np.array([0.0, 0.0, board.height_mm])
    normal = axes[:, 2]
    reach = (rod_tip @ normal) / (sun @ normal)
    on_board = rod_tip - reach[:, None] * sun
    tips = on_board @ axes[:, :2] - np.array([board.foot_x_mm, board.foot_y_mm])
    return np.where((reach > 0)[:, None], tips, np.nan)


def _turn(axis: int, angle_deg: float) -> Array:
    cosine, sine = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    first, second = [(1, 2), (2, 0), (0, 1)][axis]
    matrix = np.eye(3)
    matrix[first, first] = matrix[second, second] = cosine
    matrix[first, second], matrix[second, first] = -sine, sine
    return matrix


def random_board(
    generator: np.random.Generator,
    height_mm: float = 300.0,
    level_sd_deg: float = 0.1,
    plumb_sd_mm: float = 0.7,
    height_sd_mm: float = 0.5,
    watch_sd_s: float = 30.0,
    edge_sd_deg: float = 4.0 / 60.0,
) -> TrueBoard:
    """A board with errors drawn from the stated tolerances, at any azimuth."""
    tilt_x, tilt_y = generator.normal(0.0, level_sd_deg, 2)
    foot_x, foot_y = generator.normal(0.0, plumb_sd_mm, 2)
    return TrueBoard(
        board_azimuth_deg=float(generator.uniform(0.0, 360.0)),
        height_mm=height_mm + float(generator.normal(0.0, height_sd_mm)),
        tilt_x_deg=float(tilt_x),
        tilt_y_deg=float(tilt_y),
        foot_x_mm=float(foot_x),
        foot_y_mm=float(foot_y),
        watch_fast_s=float(generator.normal(0.0, watch_sd_s)),
        edge_lift_deg=float(generator.normal(0.0, edge_sd_deg)),
    )


def star_seen(
    utc_s: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    right_ascension_deg: float,
    declination_deg: float,
    pm_ra_cos_dec_mas_per_year: float = 0.0,
    pm_declination_mas_per_year: float = 0.0,
) -> tuple[Array, Array]:
    """Azimuth and unrefracted altitude, degrees, of a star given for ICRS and J1991.25."""
    from skyfield.api import Star, wgs84

    timescale, kernel = _ephemeris()
    seconds = np.atleast_1d(np.asarray(utc_s, dtype=float))
    days = np.floor(seconds / 86400.0)
    times = timescale.utc(1970, 1, 1 + days, 0, 0, seconds - 86400.0 * days)
    star = Star(
        ra_hours=right_ascension_deg / 15.0,
        dec_degrees=declination_deg,
        ra_mas_per_year=pm_ra_cos_dec_mas_per_year,
        dec_mas_per_year=pm_declination_mas_per_year,
        epoch=2448349.0625,
    )
    observer = kernel["earth"] + wgs84.latlon(latitude_deg, longitude_deg, elevation_m)
    altitude, azimuth, _ = observer.at(times).observe(star).apparent().altaz()
    return azimuth.degrees, altitude.degrees
