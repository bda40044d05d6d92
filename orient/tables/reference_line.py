"""The reference line of a set-up: by its angle on the board, or by a point on it.

The line is drawn through the foot toward the far mark. A protractor gives its board direction,
or a ruler the place of a point on it; drawn again when the marks are done, it tells whether the
board has moved meanwhile.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from orient.numbers.angles import wrap_180
from orient.tables.cells import Cells, Faults
from orient.tables.columns import ANGLE_SD_DEG

#: An angle and a point that differ by more than so many standard uncertainties contradict.
_CONTRADICTION = 4.0


class _Columns(NamedTuple):
    """The columns of one drawing of the line."""

    angle: str
    x: str
    y: str


_OPENING = _Columns("reference_angle_deg", "reference_x_mm", "reference_y_mm")
_CLOSING = _Columns("reference_close_deg", "reference_close_x_mm", "reference_close_y_mm")


def check_lines(cells: Cells, frame: pd.DataFrame, faults: Faults) -> None:
    """Check the reference lines of the set-ups table.

    Args:
        cells: the text of the table.
        frame: its values, cells at fault blank.
        faults: takes half a point, a point on the foot, a point that contradicts the angle,
            a closing line without a first one, a compass reading without its line.
    """
    for columns in (_OPENING, _CLOSING):
        _check_point(cells, frame, columns, faults)
    opened, closed = (
        np.any([cells.given(name) for name in columns], axis=0) for columns in (_OPENING, _CLOSING)
    )
    given = [np.array(cells.given(name)) for name in _CLOSING]
    for name, of_this in zip(_CLOSING, given, strict=True):
        unopened = np.flatnonzero(closed & ~opened & of_this)
        wanted = "blank, or the direction of the line as first drawn, in reference_angle_deg"
        faults.add_cells(cells, name, unopened, wanted)
    unaimed = np.flatnonzero(cells.given("compass_reading_deg") & ~opened)
    wanted = (
        "the board direction of the line that the compass was read toward, or a point on it in "
        "reference_x_mm and reference_y_mm; a reading of a line that another set-up has drawn "
        "goes in readings.csv"
    )
    faults.add_cells(cells, _OPENING.angle, unaimed, wanted)


def _check_point(cells: Cells, frame: pd.DataFrame, columns: _Columns, faults: Faults) -> None:
    for name, other in ((columns.x, columns.y), (columns.y, columns.x)):
        lone = np.flatnonzero(~cells.given(name) & cells.given(other))
        faults.add_cells(cells, name, lone, f"it, as {other} is given")
    x, y = (frame[name].to_numpy(float) for name in (columns.x, columns.y))
    on_foot = np.flatnonzero((x == 0) & (y == 0))
    faults.add_cells(cells, columns.x, on_foot, "a point away from the foot, at 0, 0")
    by_point = _direction_deg(x, y)
    angle = frame[columns.angle].to_numpy(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        allowed = _CONTRADICTION * np.hypot(_point_sd_deg(frame, columns), ANGLE_SD_DEG)
        apart = np.abs(wrap_180(angle - by_point))
        against = np.flatnonzero((apart > allowed) & ((x != 0) | (y != 0)))
    faults.add_cells(
        cells,
        columns.angle,
        against,
        lambda place: (
            f"the direction of the point ({columns.x}, {columns.y}), {by_point[place]:.2f}°; "
            "or leave one of them blank"
        ),
    )


def called(setups: pd.DataFrame) -> pd.Series:
    """What the line of each set-up is called; without a name it is no other set-up's."""
    named = setups["reference_name"]
    return named.where(named != "", "reference of " + setups["setup"].astype(str))


def with_lines(frame: pd.DataFrame) -> pd.DataFrame:
    """The set-ups table with its lines as directions.

    Args:
        frame: the checked table.

    Returns:
        The same with `reference_angle_deg`, `reference_close_deg` (of the point where there
        is one, the ruler being the finer tool), `reference_sd_deg` filled in by how each line
        was got, and one column more, `reference_close_sd_deg`. NaN where there is no line.
    """
    stated = frame["reference_sd_deg"].to_numpy(float)
    filled: dict[str, Any] = {}
    for columns, sd_name in ((_OPENING, "reference_sd_deg"), (_CLOSING, "reference_close_sd_deg")):
        x, y, angle = (
            frame[name].to_numpy(float) for name in (columns.x, columns.y, columns.angle)
        )
        by_point = _direction_deg(x, y)
        filled[columns.angle] = np.where(np.isnan(by_point), angle, by_point)
        own = np.where(np.isnan(by_point), ANGLE_SD_DEG, _point_sd_deg(frame, columns))
        filled[sd_name] = np.where(np.isnan(stated), own, stated)
    lineless = np.isnan(filled[_CLOSING.angle])
    filled["reference_close_sd_deg"] = np.where(lineless, np.nan, filled["reference_close_sd_deg"])
    return frame.assign(**filled)


def as_drawn(frame: pd.DataFrame) -> pd.DataFrame:
    """The table with each line told once: by its point where it has one."""
    for columns in (_OPENING, _CLOSING):
        if columns.x in frame and columns.angle in frame:
            by_point = frame[columns.x].notna() & frame[columns.y].notna()
            frame = frame.assign(**{columns.angle: frame[columns.angle].mask(by_point)})
    return frame


def _direction_deg(x_mm: Any, y_mm: Any) -> Any:
    """Board direction of a point, 0 to 360°; NaN without one, or on the foot."""
    direction = np.degrees(np.arctan2(x_mm, y_mm)) % 360.0
    return np.where((x_mm == 0) & (y_mm == 0), np.nan, direction)


def _point_sd_deg(frame: pd.DataFrame, columns: _Columns) -> Any:
    """How well a line through the foot and a point is known: each end by its own tolerance."""
    distance = np.hypot(frame[columns.x].to_numpy(float), frame[columns.y].to_numpy(float))
    return drawn_sd_deg(
        frame["mark_sd_mm"].to_numpy(float), frame["plumb_sd_mm"].to_numpy(float), distance
    )


def drawn_sd_deg(mark_sd_mm: Any, plumb_sd_mm: Any, distance_mm: Any) -> Any:
    """Standard uncertainty, degrees, of a line through the foot and a point so far from it."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.minimum(np.degrees(np.hypot(mark_sd_mm, plumb_sd_mm) / distance_mm), 45.0)
