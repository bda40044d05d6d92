"""Time and memory of the joint adjustment by the number of set-ups, and what the engine takes.

Run: python tests/benchmarks/bench_joint.py [MOST]

Boards are fifty faultless ones again and again; twenty to a site, four to a line, five
watches, rods and observers. Memory is the peak of what the joint adjustment itself allocates.
"""

import sys
import time
import tracemalloc
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from simulated import simulated

from orient.observation.adjustment import adjust
from orient.observation.joint.model import Member
from orient.observation.joint.together import adjust_together
from orient.simulate import TrueBoard

_DIFFERENT = 50


def made():
    """Some boards, and how long the engine takes for one."""
    generator = np.random.default_rng(1)
    boards = [
        simulated(
            generator,
            45.0 + n % 3,
            5.0 + n % 2,
            100 + n,
            truth=TrueBoard(float(generator.uniform(0, 360)), 300.0),
            noise_mm=0.0,
        ).board
        for n in range(_DIFFERENT)
    ]
    start = time.perf_counter()
    fits = [adjust(board) for board in boards]
    return boards, fits, (time.perf_counter() - start) / _DIFFERENT


def members(count, boards, fits):
    found = []
    for number in range(count):
        board, fit = boards[number % _DIFFERENT], fits[number % _DIFFERENT]
        crew, site = number % 5, number // 20
        shares = {
            "timepiece": f"W{crew}",
            "rod": (f"R{crew}", 300.0),
            "observer": (f"O{crew}", "middle"),
            "line": (f"S{site}", f"line {number // 4 % 5}"),
        }
        # Each board drew its line where its own azimuth has it.
        direction = -fit.state.board_azimuth_rad
        found.append(Member(str(number), board, fit, shares, direction, np.radians(0.1)))
    return found


def main():
    boards, fits, engine_s = made()
    print(f"engine: {1e3 * engine_s:.1f} ms a board")
    print("set-ups  joint s  ms a board  peak MB  kB a board")
    most = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    for count in (most // 16, most // 4, most):
        taking = members(count, boards, fits)
        observers = [each.shares["observer"][0] for each in taking]
        start = time.perf_counter()
        adjust_together(taking, {}, observers)
        took = time.perf_counter() - start
        tracemalloc.start()
        adjust_together(taking, {}, observers)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        print(
            f"{count:7d}  {took:7.2f}  {1e3 * took / count:10.2f}  {peak / 1e6:7.0f}  "
            f"{peak / 1e3 / count:10.1f}"
        )


if __name__ == "__main__":
    main()
