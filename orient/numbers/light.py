"""The sun's light as it reaches the boards of many sites: refracted, with its rate."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from orient.numbers import sun
from orient.numbers.shadow import raise_light

if TYPE_CHECKING:
    import pandas as pd

Light = tuple[Any, Any, Any]

#: The light's lowest altitude for which a shadow is computed, degrees.
LOWEST_LIGHT_DEG = 0.5
HALF_DAY_S = 43200.0


class Places(NamedTuple):
    """Where boards stand, one value each or arrays that broadcast together.

    Degrees north and east plus, metres above the ellipsoid, hPa and °C of the air.
    """

    latitude_deg: ArrayLike
    longitude_deg: ArrayLike
    elevation_m: ArrayLike
    pressure_hpa: ArrayLike
    temperature_c: ArrayLike

    @classmethod
    def of(cls, sites: pd.DataFrame) -> Places:
        """The places of a sites table, arrays of shape (sites,)."""
        return cls(*(sites[name].to_numpy(dtype=float) for name in cls._fields))

    def take(self, index: Any) -> Places:
        """The places of some of the boards; every field an array."""
        return Places(*(np.asarray(field)[index] for field in self))


def light_altitude_deg(light: Light) -> Any:
    """Altitude in degrees of a direction (east, north, up)."""
    # Not np.hypot, which takes eight times as long, for vectors that are neither huge nor tiny.
    return np.degrees(np.arctan2(light[2], np.sqrt(light[0] ** 2 + light[1] ** 2)))


def light_at_board(utc_s: ArrayLike, places: Places) -> Light:
    """Unit vector toward the sun as the shadow shows it, refraction included.

    Args:
        utc_s: POSIX seconds, any shape that broadcasts with the places.
        places: of the boards.

    Returns:
        (east, north, up), each of the broadcast shape; within 0.1′ above 5° of altitude,
        the limit being the refraction of `sun.refraction_deg`.

    Raises:
        OutsideEphemeris: an instant outside 1900–2050.
    """
    east, north, up, _ = sun.direction(utc_s, *places[:3])
    return refracted((east, north, up), places)


def refracted(light: Light, places: Places) -> Light:
    """Lift an unrefracted light by the air of the places; shapes broadcast."""
    lift_deg = sun.refraction_deg(
        light_altitude_deg(light), places.pressure_hpa, places.temperature_c
    )
    return raise_light(*light, np.radians(lift_deg))
