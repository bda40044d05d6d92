"""The world's land at a small scale, for maps that want a shore to look at.

Source: Natural Earth, land, 1:110 million, public domain; islands under some 50 km are left out,
and a shore may be off by 10 km. Nothing is measured from it.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SOURCE = "Coastline: Natural Earth, 1:110 million, public domain"


class Shore(NamedTuple):
    """A closed shore: `points` (n, 2), longitude and latitude in degrees, without a jump at the
    180th meridian; `is_lake` where the land is outside."""

    points: Array
    is_lake: bool


@lru_cache(maxsize=1)
def _all_shores() -> tuple[Shore, ...]:
    text = (files("orient") / "data" / "land-110m.txt").read_text(encoding="ascii")
    lines = [line for line in text.splitlines() if line[:1] in "+-"]
    return tuple(
        Shore(_whole(np.array(line[1:].split(), dtype=float).reshape(-1, 2)), line[0] == "-")
        for line in lines
    )


def _whole(ring: Array) -> Array:
    """A ring that goes on over the 180th meridian; one round a pole is closed at the pole."""
    longitude = np.unwrap(ring[:, 0], period=360.0)
    ring = np.column_stack([longitude, ring[:, 1]])
    if abs(longitude[-1] - longitude[0]) < 180.0:
        return ring
    pole = 90.0 * np.sign(ring[:, 1].mean())
    return np.vstack([ring, [longitude[-1], pole], [longitude[0], pole]])


def shores(west_deg: float, south_deg: float, east_deg: float, north_deg: float) -> list[Shore]:
    """The shores that may touch an area, moved by whole turns so that they lie in its longitudes.

    Args:
        west_deg, east_deg: east is greater; beyond 180 where the area crosses that meridian.
    """
    found = []
    for shore in _all_shores():
        low, high = shore.points.min(axis=0), shore.points.max(axis=0)
        if high[1] < south_deg or low[1] > north_deg:
            continue
        found += [
            Shore(shore.points + np.array([turn, 0.0]), shore.is_lake)
            for turn in (-720.0, -360.0, 0.0, 360.0, 720.0)
            if high[0] + turn >= west_deg and low[0] + turn <= east_deg
        ]
    return found
