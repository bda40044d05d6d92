"""The sun's light as it reaches a board: refracted, with its rate."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from orient import sun
from orient.shadow import raise_light

Light = tuple[Any, Any, Any]


def light_at_board(
    utc_s: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike,
    pressure_hpa: ArrayLike,
    temperature_c: ArrayLike,
) -> Light:
    """Unit vector toward the sun as the shadow shows it, refraction included.

    Args:
        utc_s: POSIX seconds, any shape that broadcasts with the others.
        latitude_deg, longitude_deg, elevation_m: the site, as for `sun.direction`.
        pressure_hpa, temperature_c: of the air at the site.

    Returns:
        (east, north, up), each of the broadcast shape; within 0.1′ above 5° of altitude,
        the limit being the refraction of `sun.refraction_deg`.

    Raises:
        OutsideEphemeris: an instant outside 1900–2050.
    """
    east, north, up, _ = sun.direction(utc_s, latitude_deg, longitude_deg, elevation_m)
    lift_deg = sun.refraction_deg(altitude_deg((east, north, up)), pressure_hpa, temperature_c)
    return raise_light(east, north, up, np.radians(lift_deg))


def altitude_deg(light: Light) -> Any:
    """Altitude in degrees of a unit vector (east, north, up), any shape."""
    # Rounding may carry the third component past one at the zenith.
    return np.degrees(np.arcsin(np.clip(light[2], -1.0, 1.0)))


def azimuth_deg(light: Light) -> Any:
    """True azimuth in degrees, −180 to 180, of a vector (east, north, up), any shape."""
    return np.degrees(np.arctan2(light[0], light[1]))
