"""When the shadow of a plumb line checks a compass best: the hours in which it turns slowest.

The shadow's true direction is known from the time; what the watch is off by, it puts into that
direction at the rate at which the sun moves in azimuth. Low, the sun moves slowest, and the
shadow is long; near noon it races.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from orient.numbers import sun
from orient.numbers.angles import wrap_180
from orient.numbers.horizon import horizon_altitude_deg, parse_horizon
from orient.numbers.tolerances import COVERAGE_95
from orient.tables import clock

#: The sun no lower, for the air bends and dims it, and no higher, for the shadow grows short.
LOWEST_DEG, HIGHEST_DEG = 5.0, 40.0
#: Hours in which the shadow turns at most so much faster than at its slowest.
_NEARLY = 1.25
#: Degrees a minute, or so slow: half a minute of the watch is then a twentieth of a degree.
_SLOW = 0.1
_STEP_S = 60.0


@dataclass(frozen=True)
class ShadowBearing:
    """One spell of a day: from and to, POSIX seconds, and the fastest turn in it, °/min."""

    from_utc_s: float
    to_utc_s: float
    rate_deg_per_min: float


def best_spells(site: pd.Series, date: Any) -> list[ShadowBearing]:
    """The spells of a day in which a shadow bearing checks a compass best, morning first.

    Args:
        site: a row of the sites table.
        date: local date.

    Returns:
        At most one spell before local noon and one after; none where the sun does not stand
        between 5° and 40°, above the skyline.
    """
    midnight_s = float(clock.utc_s(np.datetime64(date, "D"), 0.0, str(site["timezone"])))
    at = midnight_s + np.arange(0.0, 86400.0, _STEP_S)
    where = tuple(float(site[name]) for name in ("latitude_deg", "longitude_deg", "elevation_m"))
    seen = sun.place(np.append(at, at[-1] + _STEP_S), *where)
    azimuth, altitude = np.asarray(seen.azimuth_deg), np.asarray(seen.altitude_deg)[:-1]
    rate = np.abs(wrap_180(np.diff(azimuth)))
    usable = (altitude > LOWEST_DEG) & (altitude < HIGHEST_DEG)
    skyline = parse_horizon(str(site.get("horizon", "")))
    if skyline is not None:
        usable &= altitude > horizon_altitude_deg(skyline, azimuth[:-1]) + 0.5
    late = sun.hour_angle_deg(at, where[1]) > 0
    spells = [_slowest(at, rate, usable & half) for half in (~late, late)]
    return [spell for spell in spells if spell is not None]


def _slowest(at: Any, rate: Any, usable: Any) -> ShadowBearing | None:
    """The unbroken spell about the slowest moment."""
    if not usable.any():
        return None
    slow = usable & (rate <= max(_NEARLY * rate[usable].min(), _SLOW))
    best = int(np.argmin(np.where(usable, rate, np.inf)))
    before, after = np.flatnonzero(~slow[:best]), np.flatnonzero(~slow[best:])
    first = before[-1] + 1 if before.size else 0
    last = best + after[0] - 1 if after.size else len(at) - 1
    return ShadowBearing(float(at[first]), float(at[last]), float(rate[first : last + 1].max()))


def sentence(site: pd.Series, date: Any, watch_sd_s: float) -> str:
    """The same in words for people.

    Args:
        site, date: as for `best_spells`.
        watch_sd_s: how well the time is known, one standard uncertainty.
    """
    spells = best_spells(site, date)
    if not spells:
        return "The sun stands at no height at which a shadow checks a compass well."
    zone = str(site["timezone"])
    hours = " and ".join(
        f"{clock.local_clock(each.from_utc_s, zone)}–{clock.local_clock(each.to_utc_s, zone)}"
        for each in spells
    )
    fastest = max(each.rate_deg_per_min for each in spells)
    late = COVERAGE_95 * fastest * watch_sd_s / 60.0
    return (
        f"A compass is checked best by the shadow of a plumb line at {hours}: it then turns "
        f"{fastest:.2f}° a minute or less, and a watch good to {watch_sd_s:g} s leaves "
        f"±{late:.2f}° (95 %)."
    )
