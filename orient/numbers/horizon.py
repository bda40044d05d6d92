"""A raised skyline: how high hills or walls stand round a site."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Horizon = tuple[Array, Array]


def parse_horizon(text: str) -> Horizon | None:
    """Read the text of `horizon_deg` as the sites table has checked it.

    Args:
        text: one altitude such as "12", or azimuth:altitude pairs such as "80:5 120:18.5",
            degrees, azimuths true; blank for a level skyline.

    Returns:
        Azimuths and the altitude at each, or None for a level skyline.
    """
    if not text:
        return None
    if ":" not in text:
        return np.zeros(1), np.array([float(text)])
    pairs = np.array([[float(part) for part in pair.split(":")] for pair in text.split()])
    return pairs[:, 0], pairs[:, 1]


def horizon_altitude_deg(horizon: Horizon, azimuth_deg: ArrayLike) -> Any:
    """Altitude of the skyline at true azimuths, degrees, any shape: linear between pairs."""
    azimuths, altitudes = horizon
    return np.interp(np.asarray(azimuth_deg), azimuths, altitudes, period=360.0)
