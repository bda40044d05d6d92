"""Site by day at one glance: how good the best pair of each day is, and why there is none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from orient.numbers.tolerances import COVERAGE_95
from orient.pages.onsite import BOUNDS
from orient.planning.hours import Limits
from orient.planning.rows import window_text

Row = Mapping[str, Any]

#: What an empty cell says, by the first of these flags that the day has.
WHY = (
    ("sun-too-low", "low sun", "the sun stays too low, or behind the skyline"),
    ("off-board", "off board", "every good shadow runs off the board"),
    ("no-window", "no pair", "no pair of marks can be made"),
)


class Cell(NamedTuple):
    """A day of a site: its style, what it shows, what it tells in full, whether it is good."""

    style: str
    text: str
    title: str
    good: bool


def cell(row: Row, limits: Limits) -> Cell:
    """The cell of one row of `plan_rows`."""
    good = row["morning"] is not None
    if row["best"] is None:
        return _empty(row)
    u_deg = row["best"]["expected_u_deg"]
    number = int(np.digitize(u_deg / limits.target_deg, BOUNDS, right=True))
    if not good:
        # A pair can meet the target outside the sun's limits or the board: still not a good day.
        number = max(number, BOUNDS.index(1.0) + 1)
    hours = (
        f"good hours {window_text(row['morning'])} and {window_text(row['afternoon'])}"
        if good
        else _empty(row).title
    )
    text = f"{COVERAGE_95 * u_deg:.2f}°"
    return Cell(f"u{number}", text, f"best pair ±{text}; {hours}", good)


def _empty(row: Row) -> Cell:
    for flag, short, why in WHY:
        if flag in row["flags"]:
            return Cell("none", short, why, False)
    return Cell("none", "–", "no good hours", False)


def best_days(cells: Sequence[Sequence[Cell]], u_deg: Sequence[Sequence[float]]) -> list[int]:
    """Which days serve the most sites; of these the one with the least uncertainty first.

    Args:
        cells: of each site, one a day.
        u_deg: of the best pairs beside them, NaN without one.

    Returns:
        Numbers of the days that serve the most sites, none where no day serves any.
    """
    served = np.array([[each.good for each in row] for row in cells])
    count = served.sum(axis=0)
    if not count.max(initial=0):
        return []
    known = np.where(served, np.asarray(u_deg, dtype=float), np.nan)
    mean = np.array([np.nanmean(day) if np.isfinite(day).any() else np.inf for day in known.T])
    most = np.flatnonzero(count == count.max())
    return [int(day) for day in most[np.argsort(mean[most], kind="stable")]]


def matrix(
    names: Sequence[str],
    rows: Sequence[Sequence[Row]],
    regions: Sequence[str],
    labels: Sequence[str],
    limits: Limits,
) -> dict[str, Any]:
    """What the template needs for the table of sites and days.

    Args:
        names: of the sites.
        rows: of each site, of `plan_rows`, one a day.
        regions: of the sites, to choose by.
        labels: of the days.
        limits: what a pair must meet.
    """
    cells = [[cell(row, limits) for row in site] for site in rows]
    u_deg = [[_u_deg(row) for row in site] for site in rows]
    best = best_days(cells, u_deg)
    served = np.array([[each.good for each in site] for site in cells]).sum(axis=0)
    days = [
        {"label": label, "served": int(count), "best": bool(best) and number == best[0]}
        for number, (label, count) in enumerate(zip(labels, served, strict=True))
    ]
    sites = [
        {
            "name": name,
            "region": region,
            "flags": " ".join(dict.fromkeys(flag for row in site for flag in row["flags"])),
            "cells": own,
            "good": sum(each.good for each in own),
            "least": _least(own, u),
        }
        for name, region, site, own, u in zip(names, regions, rows, cells, u_deg, strict=True)
    ]
    return {"days": days, "sites": sites, "best": days[best[0]] if best else None}


def _u_deg(row: Row) -> float:
    return row["best"]["expected_u_deg"] if row["best"] else float("nan")


def _least(cells: Sequence[Cell], u_deg: Sequence[float]) -> float | None:
    """The least 95 % figure of the good days, degrees."""
    good = [u for each, u in zip(cells, u_deg, strict=True) if each.good]
    return round(COVERAGE_95 * min(good), 4) if good else None
