"""How the work grows with its size: twice as many boards or sites should cost twice as much.

Reduces, reports and plans invented campaigns of doubling size in this process, and prints for
each the processor time, the time for one board or site, and the ratio to the size before. A
first small run pays for what is loaded once.

    python tests/benchmarks/bench_size.py [--boards 40] [--sites 100] [--doublings 2]
"""

from __future__ import annotations

import argparse
import io
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import redirect_stdout
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from hostile import MARKS_HEAD, board_rows, csv_bytes, write_campaign

from orient import cli

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


def growth(
    name: str, make: Callable[[Path, int], None], first: int, doublings: int, *words: str
) -> None:
    """Time a command over campaigns of doubling size; `CAMPAIGN` and `OUT` stand in its words."""
    before = None
    for size in [2, *(first * 2**step for step in range(doublings + 1))]:
        with tempfile.TemporaryDirectory() as folder:
            campaign, out = Path(folder) / "camp", Path(folder) / "out"
            make(campaign, size)
            stands = {"CAMPAIGN": str(campaign), "OUT": str(out), "OUT.html": f"{out}.html"}
            begun = time.process_time()
            with redirect_stdout(io.StringIO()):
                status = cli.run([stands.get(word, word) for word in words])
            taken = time.process_time() - begun
            assert status == 0
        if size == 2:
            continue
        ratio = "" if before is None else f", {taken / before:.2f} times the size before"
        print(f"{name:24} {size:6}: {taken:7.2f} s, {1000 * taken / size:6.1f} ms each{ratio}")
        before = taken


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--boards", type=int, default=40)
    parser.add_argument("--sites", type=int, default=100)
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


if __name__ == "__main__":
    main()
