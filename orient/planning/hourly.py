"""Hour by hour on the local clock: what a pair with a mark made then would be worth."""

from __future__ import annotations

from enum import IntEnum
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers.light import HALF_DAY_S, light_altitude_deg, light_at_board
from orient.planning.hours import Limits, SiteDays, clearance_deg, pairs_at
from orient.planning.rig import Rig
from orient.tables import clock

Array = NDArray[np.float64]


class Hour(IntEnum):
    """Whether the shadow can be marked at an hour, or what hinders it."""

    MARKS = 0
    TOO_LOW = 1  # below the lower altitude limit, or behind the skyline
    TOO_HIGH = 2
    OFF_BOARD = 3


class HourlyPairs(NamedTuple):
    """Slots of the local day, arrays of shape (sites, dates, slots).

    `u_deg` is the standard uncertainty of the equal-altitude pair that a mark in the middle
    of the slot belongs to: infinite where no mark on the other side of noon has that
    altitude, NaN where `hour` is not `Hour.MARKS`.
    """

    slot_min: int
    hour: NDArray[np.uint8]
    u_deg: Array


def hourly_pairs(
    sites: pd.DataFrame, dates: Any, rig: Rig, limits: Limits, slot_min: int = 30
) -> HourlyPairs:
    """What the pairs of each site, day and slot of the local clock are worth.

    Args:
        sites: the sites table.
        dates: local dates, datetime64[D].
        rig, limits: what is carried; of the limits, the altitudes count, not the target.
        slot_min: minutes a slot, a divisor of a day's.

    Returns:
        The slots, counted from local midnight. A pair stands under both its marks.
    """
    days_of = np.asarray(dates, dtype="datetime64[D]")
    middle_s = (np.arange(1440 // slot_min) + 0.5) * slot_min * 60.0
    shape = (len(sites), days_of.size, middle_s.size)
    site, date, slot = (axis.ravel() for axis in np.indices(shape))
    days = SiteDays.of(
        sites,
        np.repeat(np.arange(len(sites)), days_of.size),
        np.tile(days_of, len(sites)),
    )
    day = site * days_of.size + date
    instants = clock.utc_s(days_of[date], middle_s[slot], sites["timezone"].to_numpy()[site])
    from_noon_s = instants - days.noon_utc_s[day]
    light = light_at_board(instants, days.places.take(day))
    altitude = light_altitude_deg(light)
    hour = np.full(day.size, Hour.MARKS, dtype=np.uint8)
    hour[altitude > limits.max_altitude_deg] = Hour.TOO_HIGH
    lit = (altitude >= limits.min_altitude_deg) & (clearance_deg(days, day, light, altitude) >= 0)
    hour[~lit | (np.abs(from_noon_s) > HALF_DAY_S)] = Hour.TOO_LOW
    u_deg = np.full(day.size, np.nan)
    tried = np.flatnonzero(hour == Hour.MARKS)
    u_deg[tried], on_board = _pair_u_deg(days, day[tried], from_noon_s[tried], rig)
    hour[tried[~on_board]] = Hour.OFF_BOARD
    return HourlyPairs(slot_min, hour.reshape(shape), u_deg.reshape(shape))


def _pair_u_deg(
    days: SiteDays, day: NDArray[np.intp], from_noon_s: Array, rig: Rig
) -> tuple[Array, NDArray[np.bool_]]:
    """Uncertainty of the pairs that marks belong to, and which marks are on the board."""
    half_s, later = np.abs(from_noon_s), from_noon_s > 0
    # An afternoon mark's partner is not its mirror: the sun's declination changes meanwhile.
    mirrored = pairs_at(days, day, half_s, rig)
    half_s = np.where(later, np.clip(2 * half_s - mirrored.afternoon_s, 0.0, HALF_DAY_S), half_s)
    pairs = pairs_at(days, day, half_s, rig)
    on_board = pairs.room_mm[later.astype(int), np.arange(day.size)] >= 0
    possible = pairs.usable_margin() >= 0
    return np.where(on_board, np.where(possible, pairs.u_deg, np.inf), np.nan), on_board
