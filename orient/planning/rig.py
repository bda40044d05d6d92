"""Where the tip's shadow will run on a board."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from orient import clock, shadow, sun
from orient.angles import wrap_360
from orient.planning.light import altitude_deg, azimuth_deg, light_at_board
from orient.shadow import BoardState


def tip_track(
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    date: Any,
    timezone: str,
    gnomon_height_mm: float,
    pressure_hpa: float,
    temperature_c: float,
    step_min: int = 10,
    min_altitude_deg: float = 5,
) -> pd.DataFrame:
    """Predict the track of the shadow's tip for one site and day, on a level board.

    Args:
        latitude_deg, longitude_deg, elevation_m: the site.
        date: local date, as ISO text, a date or a datetime64.
        timezone: IANA name.
        gnomon_height_mm: tip above the board.
        pressure_hpa, temperature_c: of the air at the site.
        step_min: minutes between instants, counted from local midnight.
        min_altitude_deg: instants of a lower (refracted) sun are left out.

    Returns:
        One row an instant, in order: `utc_s`, `local` (ISO text), `azimuth_deg` and
        `altitude_deg` of the sun (refracted), the tip `x_mm`, `y_mm` in the board frame with
        +y to true north, `shadow_mm`, and `noon`, True for the row of local apparent noon,
        which stands at its own exact instant. Empty where the sun stays too low.

    Raises:
        OutsideEphemeris: a date outside 1900–2050.
    """
    day = np.datetime64(date, "D")
    # From midnight to midnight in true time: a day of 23 or 25 hours has no gap and no repeat.
    midnight, next_midnight = clock.utc_s([day, day + 1], 0.0, timezone)
    noon = sun.transit(clock.utc_s(day, 43200.0, timezone), longitude_deg)
    instants = np.unique(np.append(np.arange(midnight, next_midnight, step_min * 60.0), noon))
    light = light_at_board(
        instants, latitude_deg, longitude_deg, elevation_m, pressure_hpa, temperature_c
    )
    altitude = altitude_deg(light)
    x, y = shadow.tip(*light, BoardState(height_mm=gnomon_height_mm))
    table = pd.DataFrame(
        {
            "utc_s": instants,
            "local": clock.local_iso(instants, timezone),
            "azimuth_deg": wrap_360(azimuth_deg(light)),
            "altitude_deg": altitude,
            "x_mm": x,
            "y_mm": y,
            "shadow_mm": np.hypot(x, y),
            "noon": instants == noon,
        }
    )
    return table[altitude >= min_altitude_deg].reset_index(drop=True)
