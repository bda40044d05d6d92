"""Where an adjustment begins: near each possible reading of a board."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from orient.observation.board import Board
from orient.observation.solver import (
    AZIMUTH,
    FARTHEST_WATCH_S,
    FLAT_WATCH_S,
    WATCH,
    Array,
    Problem,
    daylight,
)

# What one mark can cost at most while starts are sought.
_WORST_MISS_MM = 15.0


def starts(problem: Problem) -> list[tuple[Array, Array]]:
    """Unknowns and instants to begin from, each near one possible reading of the board."""
    if not problem.timed.any():
        return _starts_by_shape(problem)
    if problem.prior_sd[WATCH] == FLAT_WATCH_S:
        return _starts_by_offset(problem)
    board, watch_error_s = problem.board.of(problem.timed), problem.prior[WATCH]
    azimuth = board.shadow_azimuth_rad(board.watch_utc_s - watch_error_s)
    turn = np.exp(1j * (azimuth - board.direction_rad))
    # The median of the angles about their mean: one blunder does not move it.
    middle = np.angle(np.mean(turn))
    middle += np.median(np.angle(turn * np.exp(-1j * middle)))
    return [_start(problem, float(middle), float(watch_error_s))]


def _start(problem: Problem, azimuth_rad: float, watch_error_s: float) -> tuple[Array, Array]:
    board = problem.board
    values = problem.prior.copy()
    values[AZIMUTH], values[WATCH] = azimuth_rad, watch_error_s
    utc_s = board.watch_utc_s - watch_error_s
    if not problem.timed.all():
        nearest = nearest_on_track(board, np.array([azimuth_rad]))[1][0]
        utc_s = np.where(problem.timed, utc_s, nearest)
    return values, utc_s


def _starts_by_offset(problem: Problem) -> list[tuple[Array, Array]]:
    """Try every setting of the watch, two minutes apart, and keep the best few."""
    board = problem.board.of(problem.timed)
    offset = board.watch_error_s + np.arange(-FARTHEST_WATCH_S, FARTHEST_WATCH_S, 120.0)
    level = replace(board.nominal(), watch_error_s=0.0)
    x, y = board.tips(board.watch_utc_s - offset[:, None], level)
    predicted = x + 1j * y
    marked = board.x_mm + 1j * board.y_mm
    # A board direction is turned back by β: in the complex plane, marked = predicted · e^{iβ}.
    lit = np.isfinite(predicted)
    predicted = np.where(lit, predicted, 0.0)
    turned = marked * np.conj(predicted)
    middle = np.angle(np.sum(turned, axis=1))
    # The median of the angles about their mean: one wild mark of a few does not move it.
    each = np.where(lit, np.angle(turned * np.exp(-1j * middle)[:, None]), 0.0)
    turn = np.stack([middle, middle + np.median(each, axis=1)])
    miss = np.abs(marked - predicted * np.exp(1j * turn)[..., None])
    costs = np.sum(np.where(lit, np.minimum(miss, _WORST_MISS_MM), _WORST_MISS_MM) ** 2, axis=-1)
    turn, cost = np.where(costs[1] < costs[0], turn[1], turn[0]), costs.min(axis=0)
    # In half a step of the watch, a minute, the sun turns by 0.25° and the tip runs thus far.
    missed = np.radians(0.25) * (board.length_mm**2 + board.height_mm**2) / board.height_mm
    coarse = 20.0 + float(np.sum(np.minimum(missed, _WORST_MISS_MM) ** 2))
    minima = _best_minima(cost, 5, coarse)
    return [_start(problem, float(turn[best]), float(offset[best])) for best in minima]


def _starts_by_shape(problem: Problem) -> list[tuple[Array, Array]]:
    """Lay the day's track over the marks, turned two degrees at a time; keep the best few."""
    azimuth = np.radians(np.arange(0.0, 360.0, 2.0))
    miss, instants = nearest_on_track(problem.board, azimuth)
    cost = np.sum(np.minimum(miss, _WORST_MISS_MM) ** 2, axis=1)
    # Half a step of azimuth throws a mark off by this much at its own distance.
    missed = np.minimum(np.radians(1.0) * problem.board.length_mm, _WORST_MISS_MM)
    coarse = 20.0 + float(np.sum(missed**2))
    starts = []
    for best in _best_minima(cost, 3, coarse, around=True):
        values = problem.prior.copy()
        values[AZIMUTH] = azimuth[best]
        starts.append((values, instants[best]))
    return starts


def nearest_on_track(board: Board, azimuth_rad: Array) -> tuple[Array, Array]:
    """How far each mark lies from the day's track, and when the tip passed there.

    Args:
        board: its marks, n of them; a known half of the day is kept to.
        azimuth_rad: board azimuths to try, shape (m,).

    Returns:
        Millimetres and POSIX seconds, each (m, n).
    """
    from scipy.spatial import cKDTree

    first, last = daylight(board)
    instants = np.arange(first, last + 60.0, 60.0)
    track = np.stack(board.tips(instants, board.nominal()), axis=-1)
    direction = board.direction_rad + azimuth_rad[:, None]
    marks = np.stack(
        [board.length_mm * np.sin(direction), board.length_mm * np.cos(direction)], axis=-1
    )
    miss = np.full(direction.shape, np.inf)
    nearest = np.full(direction.shape, board.noon_utc_s)
    lit = np.isfinite(track).all(axis=1)
    for side in (-1, 1):
        there = np.flatnonzero(lit & (side * (instants - board.noon_utc_s) >= 0))
        allowed = board.half != -side
        if not there.size or not allowed.any():
            continue
        distance, number = cKDTree(track[there]).query(marks[:, allowed])
        closer = distance < miss[:, allowed]
        miss[:, allowed] = np.where(closer, distance, miss[:, allowed])
        nearest[:, allowed] = np.where(closer, instants[there[number]], nearest[:, allowed])
    return miss, nearest


def _best_minima(cost: Array, reach: int, coarse: float, around: bool = False) -> list[int]:
    """Indices of up to three low minima, lowest first, each the least within its reach.

    `coarse` is how much the cost may be too high between two tries that both missed the best.
    """
    from scipy.ndimage import minimum_filter1d

    least = minimum_filter1d(cost, 2 * reach + 1, mode="wrap" if around else "nearest")
    minima = np.flatnonzero((cost <= least) & (cost <= 4.0 * cost.min() + coarse))
    return minima[np.argsort(cost[minima], kind="stable")][:3].tolist()
