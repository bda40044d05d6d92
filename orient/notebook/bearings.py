"""Bearings as they are written in a notebook: full circle, quadrants, lines from either end."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from orient.tables.cells import Cells, Faults

Array = NDArray[np.float64]
#: How a line's strike is written: full circle (a rule tells its end), or 0 to under 180.
Ends = Literal["full", "half"]

_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]*)?|[+-]?\.[0-9]+")
_QUADRANT = re.compile(r"([NS])\s*([0-9]+(?:\.[0-9]*)?)\s*°?\s*([EW])", re.IGNORECASE)
#: From so many rows on, all under 180 or all under 90 is a habit and no chance.
MANY = 20


def read_bearings(cells: Cells, column: str, faults: Faults) -> Array:
    """A column's bearings, degrees from 0 to under 360, NaN where blank.

    `N45E` and `S 30 W` are read as 45 and 210; `350`, `-10` and `350°` as 350.
    """
    texts = cells.column(column)
    values, wrong = np.full(len(texts), np.nan), []
    known: dict[str, float | None] = {}
    for place, text in enumerate(texts):
        if text not in known:
            known[text] = _bearing(text.replace(",", ".") if cells.decimal_comma else text)
        value = known[text]
        if value is None:
            wrong.append(place)
        else:
            values[place] = value
    faults.add_cells(cells, column, wrong, "a bearing of 0 to 360°, or one such as N45E")
    return values


def _bearing(text: str) -> float | None:
    plain = text.replace("−", "-").replace("°", "").strip()
    if not plain:
        return np.nan
    if _NUMBER.fullmatch(plain):
        value = float(plain)
        return value % 360.0 if -360.0 <= value <= 360.0 else None
    found = _QUADRANT.fullmatch(plain)
    if found is None or float(found[2]) > 90.0:
        return None
    north, east = found[1] in "Nn", found[3] in "Ee"
    angle = float(found[2])
    return ((0.0 if north else 180.0) + (angle if north == east else -angle)) % 360.0


def check_quadrants(cells: Cells, column: str, values: Array, faults: Faults) -> None:
    """Ask about many bearings that all lie within one quadrant's degrees, written as numbers."""
    given = values[np.isfinite(values)]
    lettered = any(_QUADRANT.fullmatch(text.replace("°", "")) for text in set(cells.column(column)))
    if given.size >= MANY and not lettered and given.max() <= 90.0 and np.ptp(given) > 45.0:
        faults.add(
            cells.file, cells.header_row, column,
            f"{given.size} bearings, none above 90°",
            "N45E where these count within quadrants; or --full-circle if they do not",
        )  # fmt: skip


def ends_of(
    cells: Cells, column: str, values: Array, corrected: Array, told: str, faults: Faults
) -> Ends:
    """How a column of strikes is written, so that what is corrected is written so too.

    Strikes above 180° show that a rule tells the end. Many, and none above 180°, are written
    from the northern end. Of few nobody can tell: asked where it matters.
    """
    if told in ("full", "half"):
        return told  # type: ignore[return-value]
    given = values[np.isfinite(values)]
    if given.size == 0 or given.max() >= 180.0:
        return "full"
    if given.size >= MANY:
        return "half"
    over = np.flatnonzero(np.isfinite(values) & (corrected >= 180.0))
    faults.add_cells(
        cells, column, over,
        "--strike full if a rule tells which end is written, --strike half if strikes are "
        "written from 0 to 180: this one passes the end",
        lambda place: f"{values[place]:g}, corrected {corrected[place]:.1f}",
    )  # fmt: skip
    return "full"


def habits(columns: Sequence[str], values: dict[str, Array]) -> list[str]:
    """What is noticed of fore and back bearings in one notebook, in sentences."""
    from orient.numbers.angles import wrap_180

    said = []
    backs = [name for name in columns if "back" in name]
    for back in backs:
        fore = next((name for name in columns if name not in backs), None)
        if fore is None:
            continue
        apart = np.abs(wrap_180(values[back] - values[fore]))
        apart = apart[np.isfinite(apart)]
        if apart.size and np.median(apart) < 20.0:
            said.append(
                f"{back} is written as the forward bearing, the needle's other end read: it "
                f"differs from {fore} by {np.median(apart):.0f}°, not by 180°."
            )
    return said
