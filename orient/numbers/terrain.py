"""How high ground stands against the sky, seen from a place: curvature and refraction counted.

Ground at distance d and height difference Δh stands at the altitude

    atan((Δh − d² (1 − k) / 2R) / d),

R being the earth's mean radius and k the coefficient of refraction near the ground, 0.13 in
ordinary air by day (*common practice, no source*).

Accuracy: the formula against spherical geometry with a light ray of curvature k/R, 0.001° to
50 km; what the elevation model lacks (trees, houses, its own error) is not in it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

EARTH_RADIUS_M = 6_371_000.0
REFRACTION = 0.13


def ground_altitude_deg(
    rise_m: ArrayLike, distance_m: ArrayLike, refraction: float = REFRACTION
) -> Any:
    """Altitude at which ground is seen.

    Args:
        rise_m: its height above the eye, both above one datum.
        distance_m: along the ground, above 0; both broadcast.
        refraction: coefficient k of the ray's curvature over the earth's.

    Returns:
        Degrees above the eye's horizontal, in the broadcast shape; NaN where the height is NaN.
    """
    rise, distance = np.asarray(rise_m, dtype=float), np.asarray(distance_m, dtype=float)
    drop = distance**2 * (1.0 - refraction) / (2.0 * EARTH_RADIUS_M)
    return np.degrees(np.arctan2(rise - drop, distance))


def skyline_deg(height_m: ArrayLike, distance_m: ArrayLike, eye_m: float) -> Any:
    """The highest ground along each line of sight.

    Args:
        height_m: of the ground, shape (azimuths, distances); NaN where it is not known.
        distance_m: shape (distances,).
        eye_m: height of the eye above the same datum.

    Returns:
        Degrees, shape (azimuths,); NaN where no ground of the line is known.
    """
    altitude = ground_altitude_deg(np.asarray(height_m) - eye_m, distance_m)
    known = np.isfinite(altitude).any(axis=1)
    highest = np.full(altitude.shape[0], np.nan)
    highest[known] = np.nanmax(altitude[known], axis=1)
    return highest


def fewest_pairs(
    azimuth_deg: ArrayLike, altitude_deg: ArrayLike, within_deg: float
) -> NDArray[np.intp]:
    """Which points of a skyline to keep so that straight lines between them stay close to all.

    Ramer's and Douglas and Peucker's way: the farthest point is kept until none is farther.

    Args:
        azimuth_deg: rising, within one circle, shape (n,).
        altitude_deg: beside them.
        within_deg: how far a point left out may lie from the line.

    Returns:
        Indices, rising; the first point and the last, which join round the circle, are kept.
    """
    azimuth, altitude = np.asarray(azimuth_deg, float), np.asarray(altitude_deg, float)
    kept = {0, azimuth.size - 1}
    open_runs = [(0, azimuth.size - 1)]
    while open_runs:
        first, last = open_runs.pop()
        if last - first < 2:
            continue
        inside = slice(first + 1, last)
        line = np.interp(azimuth[inside], azimuth[[first, last]], altitude[[first, last]])
        away = np.abs(altitude[inside] - line)
        if away.max() > within_deg:
            middle = first + 1 + int(np.argmax(away))
            kept.add(middle)
            open_runs += [(first, middle), (middle, last)]
    return np.array(sorted(kept), dtype=np.intp)
