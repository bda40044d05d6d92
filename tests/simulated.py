"""Boards made by the simulator, as a crew would have recorded them, for the tests."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.interpolate import CubicSpline

from orient import simulate
from orient.observation.board import Board

YEAR_S = float(np.datetime64("2026-01-01T12:00", "s").astype(float))
PRESSURE_HPA, TEMPERATURE_C = 1013.25, 10.0


@dataclass(frozen=True)
class Simulated:
    board: Board
    truth: simulate.TrueBoard
    blunder: np.ndarray
    true_utc_s: np.ndarray
    by_angle: bool = False

    def error_deg(self, azimuth_rad: float) -> float:
        """A board azimuth's error, degrees within ±180."""
        error = np.degrees(azimuth_rad) - self.truth.board_azimuth_deg
        return float((error + 180.0) % 360.0 - 180.0)


@cache
def _greenwich_noons() -> CubicSpline:
    """When the sun crosses the meridian of Greenwich, over days from the first of the year."""
    days = np.arange(-3, 735)
    instants = YEAR_S + 86400.0 * days[:, None] + np.array([-1200.0, 1200.0])
    # At latitude 89° the sun's bearing from the meridian turns evenly with the hour angle.
    azimuth, _, _ = simulate.sun_seen(instants.ravel(), 89.0, 0.0)
    before, after = (azimuth - 180.0).reshape(-1, 2).T
    return CubicSpline(days, instants[:, 0] - before / (after - before) * 2400.0, extrapolate=False)


def noon_of(longitude_deg: float, day: int) -> float:
    """Local apparent noon, which moves evenly from one day's at Greenwich to the next day's."""
    return float(_greenwich_noons()(day - longitude_deg / 360.0))


def simulated(
    generator: np.random.Generator,
    latitude_deg: float,
    longitude_deg: float,
    day: int,
    *,
    truth: simulate.TrueBoard | None = None,
    utc_s: np.ndarray | None = None,
    step_s: float = 1200.0,
    uneven_s: float = 0.0,
    noise_mm: float = 0.7,
    edge_scatter: float = 0.0,
    blunder_rate: float = 0.0,
    lowest_deg: float = 12.0,
    longest_mm: float = 870.0,
    watch: str = "trusted",
    watch_off_s: float = 0.0,
) -> Simulated:
    """A day's board: marks every `step_s`, and up to `uneven_s` later, while the sun is high
    enough; or at given instants.

    `edge_scatter` is how much of the soft edge's width marks scatter by along the shadow.
    """
    noon = noon_of(longitude_deg, day)
    truth = truth or simulate.random_board(generator)
    if utc_s is None:
        utc_s = noon - 43200.0 + np.arange(generator.uniform(0, step_s), 86400.0, step_s)
        if uneven_s:
            utc_s = utc_s + generator.uniform(0.0, uneven_s, utc_s.size)
    azimuth, altitude, _ = simulate.sun_seen(
        utc_s, latitude_deg, longitude_deg, 0.0, PRESSURE_HPA, TEMPERATURE_C
    )
    tips = simulate.shadow_tips(azimuth, altitude, truth)
    seen = (altitude > lowest_deg) & (np.hypot(*tips.T) < longest_mm)
    tips, times = tips[seen], utc_s[seen]
    if noise_mm:
        tips = tips + generator.normal(0.0, noise_mm, tips.shape)
    if edge_scatter:
        length = np.hypot(*tips.T)
        # The sun's disc is 32′ wide: so wide is the edge across the light, wider on the board.
        width = np.radians(32.0 / 60.0) * (length**2 + 300.0**2) / 300.0
        along = generator.normal(0.0, edge_scatter * width)
        tips = tips + tips / length[:, None] * along[:, None]
    blunder = generator.uniform(size=times.size) < blunder_rate
    angle = generator.uniform(0.0, 2 * np.pi, times.size)
    size = generator.uniform(8.0, 25.0, times.size) * blunder
    tips = tips + np.stack([size * np.cos(angle), size * np.sin(angle)], axis=-1)
    board = Board(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        noon_utc_s=noon,
        height_mm=300.0,
        x_mm=tips[:, 0],
        y_mm=tips[:, 1],
        watch_utc_s=times + truth.watch_fast_s + watch_off_s,
        half=np.zeros(times.size, dtype=np.int8),
        ring=np.full(times.size, ""),
        pressure_hpa=PRESSURE_HPA,
        temperature_c=TEMPERATURE_C,
        watch=watch,
    )
    return Simulated(board, truth, blunder, times)


def random_day(generator: np.random.Generator, **options) -> Simulated:
    """A full-day board anywhere within 60° of the equator, any day of the year."""
    while True:
        made = simulated(
            generator,
            float(generator.uniform(-60, 60)),
            float(generator.uniform(-180, 180)),
            int(generator.integers(0, 365)),
            **options,
        )
        if made.board.count >= 8:
            return made
