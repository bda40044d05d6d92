"""What a year of plans costs beside one independent library's sun positions alone.

Plans 1,000 invented sites for 365 days at 10-minute steps through the command line, budget
included, and prints wall time, the largest memory of all its processes together, the time
of half as many sites (it should be half), and the time that pvlib's `spa_python` (numpy)
takes for the same number of positions, measured on a part of them and scaled up.

    python tests/benchmarks/bench_plan.py [--sites 1000] [--days 365]
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import threading
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

STEPS_A_DAY = 144
PART_SITES, PART_DAYS = 4, 30


def invented_sites(folder: Path, count: int) -> None:
    generator = np.random.default_rng(4)
    latitude = np.degrees(np.arcsin(generator.uniform(-0.94, 0.94, count)))
    table = pd.DataFrame(
        {
            "site": [f"s{number}" for number in range(count)],
            "latitude_deg": latitude.round(5),
            "longitude_deg": generator.uniform(-180, 180, count).round(5),
        }
    )
    table.to_csv(folder / "sites.csv", index=False)


def tree_memory_mb(root: int) -> float:
    """Resident memory of a process and all under it, MB; 0 where the system does not tell."""
    parents, sizes = {}, {}
    for status in Path("/proc").glob("[0-9]*/status"):
        try:
            lines = dict(
                line.split(":", 1) for line in status.read_text().splitlines() if ":" in line
            )
        except OSError:
            continue
        pid = int(lines["Pid"])
        parents[pid] = int(lines["PPid"])
        sizes[pid] = int(lines.get("VmRSS", "0 kB").split()[0]) / 1024
    wanted, total = {root}, 0.0
    while wanted:
        total += sum(sizes.get(pid, 0.0) for pid in wanted)
        wanted = {pid for pid, parent in parents.items() if parent in wanted}
    return total


def plan_once(sites: int, days: int) -> tuple[float, float]:
    """Wall seconds and peak memory of one run, and a check that every row came."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        invented_sites(folder, sites)
        first = date(2026, 1, 1)
        span = ["--from", str(first), "--to", str(first + timedelta(days=days - 1))]
        command = [sys.executable, "-c", "from orient.cli import main; main()", "plan", name]
        output = folder / "plan.csv"
        with output.open("wb") as sink:
            start = time.perf_counter()
            run = subprocess.Popen([*command, *span, "--format", "csv"], stdout=sink)
            peak = [0.0]

            def watch() -> None:
                while run.poll() is None:
                    peak[0] = max(peak[0], tree_memory_mb(run.pid))
                    time.sleep(0.2)

            watcher = threading.Thread(target=watch)
            watcher.start()
            status = run.wait()
            took = time.perf_counter() - start
            watcher.join()
        rows = sum(1 for _ in output.open("rb")) - 1
        if status or rows != sites * days:
            sys.exit(f"the run failed: status {status}, {rows} rows")
    return took, peak[0]


def peer_seconds(sites: int, days: int) -> float:
    """pvlib's time for the same number of positions, from a part of them."""
    from pvlib import solarposition

    times = pd.date_range("2026-01-01", periods=PART_DAYS * STEPS_A_DAY, freq="10min", tz="UTC")
    solarposition.spa_python(times[:10], 0.0, 0.0, how="numpy")
    start = time.perf_counter()
    for latitude in np.linspace(-60.0, 60.0, PART_SITES):
        solarposition.spa_python(times, latitude, 10.0, how="numpy")
    a_position = (time.perf_counter() - start) / (PART_SITES * len(times))
    return a_position * sites * days * STEPS_A_DAY


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--sites", type=int, default=1000)
    parser.add_argument("--days", type=int, default=365)
    wanted = parser.parse_args()
    took, memory = plan_once(wanted.sites, wanted.days)
    half, _ = plan_once(wanted.sites // 2, wanted.days)
    peer = peer_seconds(wanted.sites, wanted.days)
    positions = wanted.sites * wanted.days * STEPS_A_DAY
    print(f"{wanted.sites} sites × {wanted.days} days, {positions / 1e6:.1f} million steps")
    print(f"plan, budget included:   {took:7.1f} s, {memory:.0f} MB in all processes")
    print(f"half the sites:          {half:7.1f} s, {half / took:.2f} of the whole")
    print(
        f"pvlib, positions alone:  {peer:7.1f} s on one core "
        f"(scaled from {PART_SITES * PART_DAYS * STEPS_A_DAY:,} positions)"
    )
    print(f"ratio: {peer / took:.1f}")


if __name__ == "__main__":
    main()
