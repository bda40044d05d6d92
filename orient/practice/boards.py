"""Boards as a crew would have marked them, of any site and day: the table cells and the truth.

The marks come from `orient.simulate`, which shares nothing with the reductions.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient import simulate
from orient.numbers.horizon import horizon_altitude_deg, parse_horizon
from orient.numbers.tolerances import Tolerances

Array = NDArray[np.float64]
Cells = dict[str, Any]

#: Marks and rulers are read to this, mm; watches to this, s.
_ROUNDED_MM, _ROUNDED_S = 0.5, 1
_OFF_THE_MINUTE_S = 17.0
#: A mark after rounding scatters as was stated: the rounding's own share is taken off.
_ROUNDING_SD_MM = _ROUNDED_MM / np.sqrt(12.0)


#: Nearer the edge of a sheet nothing is marked, mm; a sheet is turned to north by guess, degrees.
_MARGIN_MM, _TURNED_SD_DEG = 8.0, 3.0


@dataclass(frozen=True)
class OnSheet:
    """A sheet of paper to mark on: its board, and the foot from the board's lower left corner."""

    board_mm: tuple[float, float]
    foot_mm: tuple[float, float]

    def holds(self, tips_mm: Array) -> NDArray[np.bool_]:
        """Which tips, (n, 2) mm from the foot, can be marked."""
        at = tips_mm + np.array(self.foot_mm)
        return np.all((at >= _MARGIN_MM) & (at <= np.array(self.board_mm) - _MARGIN_MM), axis=1)

    def edge_mm(self, angle_deg: float) -> float:
        """How far from the foot a line of a board direction stays on the sheet."""
        way = np.array([np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))])
        high = np.array(self.board_mm) - _MARGIN_MM - np.array(self.foot_mm)
        low = np.array(self.foot_mm) - _MARGIN_MM
        room = np.where(way >= 0, high, low) / np.maximum(np.abs(way), 1e-9)
        return float(room.min())


@dataclass(frozen=True)
class Work:
    """What a crew sets out to do.

    `every_min` is the time between marks, `lowest_deg` the lowest sun to mark by, `reach_mm` the
    longest shadow that the board holds. `line_mm` is how far out on the reference line its
    point is measured. On a `sheet` the marks and the line end at its edge, and the board is
    turned to north within a few degrees.
    """

    rod_mm: float = 300.0
    every_min: float = 20.0
    lowest_deg: float = 12.0
    reach_mm: float = 600.0
    watch: str = "trusted"
    tolerances: Tolerances = field(default_factory=Tolerances)
    reference_name: str = "mast"
    line_mm: float = 440.0
    sheet: OnSheet | None = None

    def drawn_line_mm(self, angle_deg: float) -> float:
        """How long the line is drawn in a board direction."""
        return min(self.line_mm, self.sheet.edge_mm(angle_deg)) if self.sheet else self.line_mm


@dataclass
class PracticeBoard:
    """A board of the tables: its row of `setups.csv`, its rows of `marks.csv`, and the truth.

    `true_utc_s` are the instants of the marks, `pencil_mm` where they stand on the board, as a
    ruler reads them, shape (n, 2), and `line_mm` the end of the reference line. The mistakes change
    cells and marks in place; `mistake` is what was made of it in words, "" for a sound board.
    """

    setup: Cells
    marks: list[Cells]
    truth: simulate.TrueBoard
    line_azimuth_deg: float
    true_utc_s: Array
    pencil_mm: Array
    line_mm: tuple[float, float]
    mistake: str = ""

    def keep(self, which: NDArray[np.bool_]) -> None:
        """Leave out the other marks."""
        self.marks = [mark for mark, kept in zip(self.marks, which, strict=True) if kept]
        self.true_utc_s, self.pencil_mm = self.true_utc_s[which], self.pencil_mm[which]


class Sky:
    """Where the sun stands at a site on a day, for boards of any kind."""

    def __init__(self, site: pd.Series, date: str) -> None:
        self.site, self.date = site, date
        self.zone = ZoneInfo(str(site["timezone"]))
        midnight = datetime.fromisoformat(date).replace(tzinfo=self.zone)
        following = midnight + timedelta(days=1)
        self.first_utc_s, self.last_utc_s = midnight.timestamp(), following.timestamp()
        self.horizon = parse_horizon(str(site["horizon"]))

    def seen(self, utc_s: Array) -> tuple[Array, Array]:
        """Azimuth and refracted altitude, degrees, for the plumb line of the site."""
        xi, eta = (np.nan_to_num(float(self.site[name])) for name in ("xi_arcsec", "eta_arcsec"))
        latitude = float(self.site["latitude_deg"])
        azimuth, altitude, _ = simulate.sun_seen(
            utc_s,
            latitude + xi / 3600.0,
            float(self.site["longitude_deg"]) + eta / 3600.0 / np.cos(np.radians(latitude)),
            float(self.site["elevation_m"]),
            float(self.site["pressure_hpa"]),
            float(self.site["temperature_c"]),
        )
        return azimuth, altitude

    def tips(self, utc_s: Array, truth: simulate.TrueBoard, work: Work) -> Array:
        """The tips from the marked foot, (n, 2) mm; NaN where nothing can be marked."""
        azimuth, altitude = self.seen(utc_s)
        tips = simulate.shadow_tips(azimuth, altitude, truth)
        lit = (altitude >= work.lowest_deg) & (np.hypot(*tips.T) <= work.reach_mm)
        if work.sheet is not None:
            lit &= work.sheet.holds(tips)
        if self.horizon is not None:
            lit &= altitude >= horizon_altitude_deg(self.horizon, azimuth)
        return np.where(lit[:, None], tips, np.nan)

    def watch_time(self, watch_utc_s: float) -> str:
        """The time of day that a watch on the site's clock shows, to the second."""
        moment = datetime.fromtimestamp(round(watch_utc_s / _ROUNDED_S) * _ROUNDED_S, self.zone)
        return f"{moment:%H:%M:%S}"


def practice_board(
    name: str,
    sky: Sky,
    work: Work,
    generator: np.random.Generator,
    line_azimuth_deg: float,
    truth: simulate.TrueBoard | None = None,
) -> PracticeBoard:
    """One board of a day, marked by a careful crew with the stated tolerances.

    Args:
        name: the id of the set-up.
        sky: the site and the day.
        work: what the crew does.
        generator: of the random numbers, which alone decide what comes out.
        line_azimuth_deg: true azimuth of the reference line.
        truth: how the board really stands; drawn from the tolerances if None.

    Raises:
        ValueError: fewer than three marks can be made that day.
    """
    truth = truth or drawn(generator, work)
    step = work.every_min * 60.0
    start = sky.first_utc_s + generator.uniform(0.0, step)
    # Times that are whole minutes all of them would be taken for rounded ones.
    start += _OFF_THE_MINUTE_S * (round(start + truth.watch_fast_s) % 60 == 0)
    utc_s = np.arange(start, sky.last_utc_s, step)
    tips = sky.tips(utc_s, truth, work)
    seen = np.isfinite(tips[:, 0])
    if np.count_nonzero(seen) < 3:
        raise ValueError(f"{sky.site.name}, {sky.date}: fewer than three marks can be made")
    utc_s, tips = utc_s[seen], tips[seen]
    scatter = np.sqrt(max(work.tolerances.mark_sd_mm**2 - _ROUNDING_SD_MM**2, 0.0))
    tips = tips + generator.normal(0.0, scatter, tips.shape)
    marks = [
        {"setup": name, "time": sky.watch_time(instant + truth.watch_fast_s)}
        | {"x_mm": to_ruler(x), "y_mm": to_ruler(y)}
        for instant, (x, y) in zip(utc_s, tips, strict=True)
    ]
    if work.watch == "none":
        marks = [{**mark, "time": ""} for mark in marks]
    line = _line(generator, work, line_azimuth_deg - truth.board_azimuth_deg)
    setup = _setup_cells(name, sky, work) | line
    pencil = np.array([[float(mark["x_mm"]), float(mark["y_mm"])] for mark in marks])
    end = float(line["reference_x_mm"]), float(line["reference_y_mm"])
    return PracticeBoard(setup, marks, truth, line_azimuth_deg, utc_s, pencil, end)


def drawn(generator: np.random.Generator, work: Work) -> simulate.TrueBoard:
    """A board with errors drawn from the stated tolerances, at any azimuth."""
    stated = work.tolerances
    truth = simulate.random_board(
        generator,
        work.rod_mm,
        stated.level_sd_deg,
        stated.plumb_sd_mm,
        stated.height_sd_mm,
        stated.watch_sd_s,
        stated.edge_sd_deg,
    )
    if work.sheet is not None:
        truth = replace(truth, board_azimuth_deg=float(generator.normal(0.0, _TURNED_SD_DEG)))
    if work.watch == "running":
        truth = replace(truth, watch_fast_s=float(generator.uniform(-3600.0, 3600.0)))
    return truth


def _setup_cells(name: str, sky: Sky, work: Work) -> Cells:
    stated = work.tolerances
    standard = Tolerances()
    cells: Cells = {
        "setup": name,
        "site": str(sky.site.name),
        "date": sky.date,
        "gnomon_height_mm": f"{work.rod_mm:g}",
        "watch": work.watch,
        "reference_name": work.reference_name,
    }
    for column in ("height_sd_mm", "mark_sd_mm", "level_sd_deg", "plumb_sd_mm", "watch_sd_s"):
        if getattr(stated, column) != getattr(standard, column):
            cells[column] = f"{getattr(stated, column):g}"
    return cells


def _line(generator: np.random.Generator, work: Work, angle_deg: float) -> Cells:
    """A point far out on the reference line, as drawn and measured by ruler."""
    stated = work.tolerances
    across = generator.normal(0.0, np.hypot(stated.mark_sd_mm, stated.plumb_sd_mm))
    length = work.drawn_line_mm(angle_deg)
    drawn_rad = np.radians(angle_deg) + across / length
    return {
        "reference_x_mm": to_ruler(length * float(np.sin(drawn_rad))),
        "reference_y_mm": to_ruler(length * float(np.cos(drawn_rad))),
    }


def to_ruler(millimetres: float) -> str:
    """A length as read from a ruler."""
    return f"{round(float(millimetres) / _ROUNDED_MM) * _ROUNDED_MM + 0.0:.1f}"
