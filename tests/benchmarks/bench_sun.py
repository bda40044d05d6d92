"""How fast the sun's place is, against skyfield called directly and pvlib, in one run.

Run: python tests/benchmarks/bench_sun.py
"""

import time

import numpy as np
import pandas as pd
from pvlib import solarposition
from skyfield.api import wgs84

from orient.numbers import sun

SITES, INSTANTS = 200, 5000


def seconds_each(work, count):
    """Best of three runs, seconds a position."""
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best / count


def main():
    latitude = np.linspace(-60, 60, SITES)[:, None]
    longitude = np.linspace(-179, 179, SITES)[:, None]
    start_s = np.datetime64("2026-01-01", "s").astype(float)
    utc_s = start_s + np.linspace(0, 364 * 86400.0, INSTANTS)
    sun.place(utc_s[:10], 0.0, 0.0)  # the year's table is made once
    ours = seconds_each(lambda: sun.place(utc_s, latitude, longitude), SITES * INSTANTS)

    timescale, kernel = sun.ephemeris()
    observer = kernel["earth"] + wgs84.latlon(47.0, 8.0, 400.0)
    few = utc_s[:300]
    days = np.floor(few / 86400.0)

    def direct():
        times = timescale.utc(1970, 1, 1 + days, 0, 0, few - 86400.0 * days)
        observer.at(times).observe(kernel["sun"]).apparent().altaz()

    theirs = seconds_each(direct, few.size)
    stamps = pd.DatetimeIndex(pd.to_datetime(utc_s, unit="s", utc=True))
    vectorised = seconds_each(lambda: solarposition.spa_python(stamps, 47.0, 8.0, 400.0), INSTANTS)
    print(f"orient, {SITES} sites x {INSTANTS} instants: {ours * 1e6:.3f} µs a position")
    print(f"skyfield direct, {few.size} instants: {theirs * 1e6:.1f} µs, {theirs / ours:.0f} times")
    print(f"pvlib, {INSTANTS} instants: {vectorised * 1e6:.2f} µs, {vectorised / ours:.0f} times")


if __name__ == "__main__":
    main()
