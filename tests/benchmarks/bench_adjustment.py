"""Time of an adjustment by the number of marks, as a ratio to scipy's own least squares.

Run: python tests/benchmarks/bench_adjustment.py
"""

import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

sys.path.insert(0, str(Path(__file__).parents[1]))
from simulated import simulated

from orient.numbers.shadow import BoardState
from orient.observation.adjustment import adjust


def general_solver(board):
    """The same board by a general solver with numeric derivatives, no robust weights."""
    prior_sd = board.tolerances.prior_sd()
    free = [0, 1, 2, 3, 4, 5, 6, 7]
    prior = np.asarray(board.nominal())
    prior_sd[0] = 10.0
    start = prior[free].copy()
    azimuth = board.shadow_azimuth_rad(board.watch_utc_s)
    start[0] = np.angle(np.mean(np.exp(1j * (azimuth - board.direction_rad))))

    scale = np.array([1e-3, 1, 1, 1e-3, 1e-3, 1, 10, 1e-3])

    def residual(unknown):
        values = start + (unknown - 10.0) * scale
        state = BoardState(*values, 0.0)
        x, y = board.tips(board.watch_utc_s - state.watch_error_s, state)
        marks = np.concatenate([board.x_mm - x, board.y_mm - y]) / board.tolerances.mark_sd_mm
        return np.concatenate([marks, (values - prior[free]) / prior_sd[free]])

    # Unknowns near 10 and a large step: instants are good to a quarter of a microsecond only.
    found = least_squares(residual, np.full(8, 10.0), diff_step=1e-4)
    return start[0] + (found.x[0] - 10.0) * scale[0]


def best_of(work, runs=5):
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main():
    print("marks  ours ms  general solver ms  ratio  apart arc-seconds")
    for count in (6, 12, 25, 50, 100, 200, 400):
        made = simulated(np.random.default_rng(count), 47.0, 8.0, 120, step_s=11 * 3600 / count)
        ours = best_of(lambda board=made.board: adjust(board))
        theirs = best_of(lambda board=made.board: general_solver(board))
        apart = adjust(made.board).state.board_azimuth_rad - general_solver(made.board) % (
            2 * np.pi
        )
        print(
            f"{made.board.count:5d} {ours * 1e3:8.2f} {theirs * 1e3:18.2f} {theirs / ours:6.1f} "
            f"{np.degrees(apart) * 3600:18.2f}"
        )


if __name__ == "__main__":
    main()
