"""How the work grows with its size: twice as many boards or sites should cost twice as much.

Reduces, reports and plans invented campaigns of doubling size, and marks beside tables of doubling
size. Prints for each the processor time beyond a run of size 2, the time for one board, site or
row, the largest memory, and the ratio to the size before. `bench_plan.py`, `bench_sun.py` and
`bench_magnetic.py` have the ratios to independent libraries.

    python tests/benchmarks/bench_size.py [--boards 40] [--sites 100] [--rows 1000] [--doublings 2]
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from hostile import MARKS_HEAD, board_rows, csv_bytes, write_campaign

PLACE = (46.5, 8.25, "Europe/Zurich")


def boards(folder: Path, count: int) -> None:
    """A campaign of so many boards, five at a site."""
    generator = np.random.default_rng(9)
    sites = [["site", "latitude_deg", "longitude_deg", "timezone"]]
    setups = [
        ["setup", "site", "date", "gnomon_height_mm", "reference_name", "reference_angle_deg"]
    ]
    marks = [MARKS_HEAD]
    for number in range(count):
        day = f"2026-{4 + number % 5:02d}-{1 + number % 28:02d}"
        if number % 5 == 0:
            sites.append([f"S{number // 5}", *map(str, PLACE)])
        setups.append([f"B{number}", f"S{number // 5}", day, "300", f"cairn {number}", "40"])
        marks += board_rows(f"B{number}", PLACE, day, generator)
    tables = {"sites": sites, "setups": setups, "marks": marks}
    write_campaign(folder, {f"{name}.csv": csv_bytes(rows) for name, rows in tables.items()})


def places(folder: Path, count: int) -> None:
    """A campaign of so many sites."""
    generator = np.random.default_rng(10)
    rows = [["site", "latitude_deg", "longitude_deg", "timezone"]]
    for number in range(count):
        latitude, longitude = generator.uniform(-55, 55), generator.uniform(-170, 170)
        rows.append([f"S{number}", f"{latitude:.5f}", f"{longitude:.5f}", "UTC"])
    write_campaign(folder, {"sites.csv": csv_bytes(rows)})


class Cost(NamedTuple):
    """What a run of the program took, all its processes together."""

    cpu_s: float
    peak_mb: float  # of its largest process


def cost(words: Sequence[str], typed: str = "") -> Cost:
    """Run a command in a process of its own."""
    with tempfile.TemporaryFile("w+") as keyboard:
        keyboard.write(typed)
        keyboard.seek(0)
        child = subprocess.Popen(
            [sys.executable, "-m", "orient", *words], stdin=keyboard, stdout=subprocess.DEVNULL
        )
        _, status, used = os.wait4(child.pid, 0)
    assert status == 0
    return Cost(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def growth(
    name: str,
    make: Callable[[Path, int], None],
    first: int,
    doublings: int,
    *words: str,
    typed: str = "",
) -> None:
    """Run a command over campaigns of doubling size; `CAMPAIGN` and `OUT` stand in its words.

    Printed is what each takes more than one of size 2, which pays for what is loaded once.
    """
    start, before = None, None
    for size in [2, *(first * 2**step for step in range(doublings + 1))]:
        with tempfile.TemporaryDirectory() as folder:
            campaign, out = Path(folder) / "camp", Path(folder) / "out"
            make(campaign, size)
            stands = {"CAMPAIGN": str(campaign), "OUT": str(out), "OUT.html": f"{out}.html"}
            taken = cost([stands.get(word, word) for word in words], typed)
        if start is None:
            start = taken
            continue
        more = max(taken.cpu_s - start.cpu_s, 1e-3)
        ratio = "" if before is None else f", {more / before:.2f} times the size before"
        memory = f"{taken.peak_mb:.0f} MB (+ {taken.peak_mb - start.peak_mb:.0f})"
        print(
            f"{name:24} {size:6}: {more:7.2f} s, {1000 * more / size:7.2f} ms each, {memory}{ratio}"
        )
        before = more


def rows(folder: Path, count: int) -> None:
    """A campaign of eight boards, with so many marks on seven of them."""
    days = [f"2026-06-{day:02d}" for day in range(1, 9)]
    sites = [["site", "latitude_deg", "longitude_deg", "timezone"], ["S", *map(str, PLACE)]]
    setups = [["setup", "site", "date", "gnomon_height_mm"]]
    setups += [[f"B{number}", "S", day, "300"] for number, day in enumerate(days)]
    marks = [["setup", "x_mm", "y_mm"]]
    marks += [[f"B{1 + n % 7}", f"{n / 10:.1f}", "200"] for n in range(count)]
    tables = {"sites": sites, "setups": setups, "marks": marks}
    write_campaign(folder, {f"{name}.csv": csv_bytes(table) for name, table in tables.items()})


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--boards", type=int, default=40)
    parser.add_argument("--sites", type=int, default=100)
    parser.add_argument("--rows", type=int, default=1000)
    parser.add_argument("--doublings", type=int, default=2)
    asked = parser.parse_args()
    more = asked.doublings
    as_json = ("--format", "json")
    growth("reduce, boards", boards, asked.boards, more, "reduce", "CAMPAIGN", *as_json)
    growth("report, boards", boards, asked.boards, more, "report", "CAMPAIGN", "-o", "OUT")
    day = ("--from", "2026-06-01")
    growth(
        "plan page, sites",
        places,
        asked.sites,
        more,
        "plan",
        "CAMPAIGN",
        *day,
        "--page",
        "OUT.html",
    )
    year = ("--from", "2026-01-01", "--to", "2026-12-31", "--workers", "1", "--format", "csv")
    growth("plan a year, sites", places, asked.sites // 4, more, "plan", "CAMPAIGN", *year)
    fifty = "".join(f"- {n / 10:.1f} 250\n" for n in range(50))
    growth("50 marks, rows there", rows, asked.rows, more, "mark", "CAMPAIGN", "B0", typed=fifty)


if __name__ == "__main__":
    main()
