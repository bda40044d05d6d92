"""The sun as a table that a page without astronomy can look up.

For each site the unit vector toward the unrefracted sun, (east, north, up), every ten
minutes of UTC while it is up or nearly so. Components run smoothly where the azimuth does
not: near the zenith an azimuth turns through half a circle in minutes, while a cubic through
four samples of a component stays within 9·10⁻⁸ of it (9/384 · h⁴, h being ten minutes of the
sun's turning in radians). They are rounded to 24 bits, 6·10⁻⁸.

So a direction looked up is good to 1.5·10⁻⁷ rad across and the azimuth to that over the
length of the shadow of a rod of 1: 0.02° at `SHORTEST_SHADOW`, 0.0001° at a tenth of the rod.
Refraction, which bends too sharply near the horizon for samples ten minutes apart, the page
finds by the formula of `sun.refraction_deg`, from the site's air.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.numbers import sun
from orient.tables import clock

Array = NDArray[np.float64]

STEP_S = 600
#: What a component of 1 is written as.
SCALE = 2**23 - 1
#: In lengths of the rod: of a shorter shadow the table does not tell the direction.
SHORTEST_SHADOW = 0.0005
# The refracted sun may be seen while the true one is so far below the horizon.
_LOWEST_DEG = -1.0
# A change of offset is looked for every minute.
_MINUTE_S = 60


def site_table(
    site: pd.Series[Any], first: np.datetime64, last: np.datetime64, margin_s: int = 0
) -> dict[str, Any]:
    """One site's sun from local midnight to the midnight after the last date.

    Args:
        site: row of the sites table; its latitude and longitude are where the plumb line
            points, if that is what the page is to reduce boards with.
        first, last: local dates.
        margin_s: so much more of the sun before the first midnight and after the last.

    Returns:
        `span_utc_s` (start, end); `offsets`, [utc_s, offset_s] from each instant on;
        `runs`, [number, text], `number` counting steps of `STEP_S` from 1970 to the first
        sample and `text` the samples in base 64: east, north and up of each, 24 bits, two's
        complement, the highest byte first; `pressure_hpa` and `temperature_c` of the air. A
        run reaches a sample beyond the interval it is needed for, both ways.
    """
    timezone = str(site["timezone"])
    start, end = (float(clock.utc_s(day, 0.0, timezone)) for day in (first, last + 1))
    return {
        "span_utc_s": [int(start), int(end)],
        "offsets": offset_steps(start - margin_s, end + margin_s, timezone),
        "runs": [
            [number, packed(samples)]
            for number, samples in _runs(site, start - margin_s, end + margin_s)
        ],
        "pressure_hpa": round(float(site["pressure_hpa"]), 3),
        "temperature_c": float(site["temperature_c"]),
    }


def offset_steps(start_utc_s: float, end_utc_s: float, timezone: str) -> list[list[int]]:
    """The offset of civil time at the start of a span, and each later one with its instant."""
    instants = np.arange(start_utc_s, end_utc_s + _MINUTE_S, _MINUTE_S)
    offset = clock.offset_s(instants, timezone)
    at = np.flatnonzero(np.diff(offset, prepend=np.nan) != 0)
    return [[int(instants[n]), int(offset[n])] for n in at]


def packed(directions: Array) -> str:
    """Unit vectors, shape (n, 3), as text: three 24-bit numbers each."""
    whole = np.rint(directions * SCALE).astype(">i4")
    # Of each number's four bytes the first only repeats the sign.
    return base64.b64encode(whole.view(np.uint8).reshape(-1, 4)[:, 1:].tobytes()).decode("ascii")


def _runs(site: pd.Series[Any], start: float, end: float) -> Iterator[tuple[int, Array]]:
    """First number and samples of each stretch of day."""
    numbers = np.arange(int(start // STEP_S) - 1, int(end // STEP_S) + 3)
    east, north, up, _ = sun.direction(
        numbers * float(STEP_S),
        *(float(site[name]) for name in ("latitude_deg", "longitude_deg", "elevation_m")),
    )
    lit = np.flatnonzero(up > np.sin(np.radians(_LOWEST_DEG)))
    wanted = np.zeros(numbers.size, dtype=bool)
    for beside in (-2, -1, 0, 1, 2):
        wanted[np.clip(lit + beside, 0, numbers.size - 1)] = True
    edges = np.flatnonzero(np.diff(wanted, prepend=False, append=False))
    for begin, stop in zip(edges[::2], edges[1::2], strict=True):
        samples = np.stack([component[begin:stop] for component in (east, north, up)], axis=-1)
        yield int(numbers[begin]), samples
