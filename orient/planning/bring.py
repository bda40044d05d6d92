"""What to bring: the rod and board that give the best result, and the rings to draw."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from orient.planning import hours
from orient.planning.hours import Limits, SiteDays
from orient.planning.rig import Rig
from orient.tables import clock

Array = NDArray[np.float64]
Dates = NDArray[np.datetime64]

#: Drawing boards for sheets A3, A2, A1 and A0: width and depth, mm (*from memory*).
COMMON_BOARDS_MM = ((470.0, 370.0), (650.0, 470.0), (920.0, 650.0), (1270.0, 920.0))
SHORTEST_ROD_MM, ROD_STEP_MM = 50.0, 25.0
#: Rings are rounded to this, mm, and meant to be crossed this far apart.
RING_STEP_MM, RING_INTERVAL_S = 5.0, 1200.0
# So many site-days tell of a span as well as all of them.
_SAMPLE_SITE_DAYS = 240


def compare_rigs(
    sites: pd.DataFrame,
    dates: Dates,
    limits: Limits,
    rig: Rig,
    rods_mm: Sequence[float],
    boards_mm: Sequence[tuple[float, float]],
    advance: Callable[[int], None] = lambda _: None,
) -> pd.DataFrame:
    """How well each board with its best rod serves a span, the best of all first.

    Args:
        sites: the sites table.
        dates: local dates of the span; where they are many, some at even spaces are tried.
        limits: what a pair must meet.
        rig: its tolerances and reach are kept, its rod and board replaced.
        rods_mm, boards_mm: what could be carried; of a board, its width and depth.
        advance: told after each rod tried, for a progress bar.

    Returns:
        One row a board: `rod_mm`, `board_width_mm`, `board_depth_mm`, `good_share` (of the
        site-days, with a window), `median_u_deg` of the best pairs of those days and
        `median_day_u_deg` of all their marks adjusted together (NaN without any). Ranked by
        good share, then by the day's figure, which a single pair at the board's very edge
        does not sway, then by size.
    """
    days = sampled(dates, len(sites))
    rows = []
    for width, depth in boards_mm:
        for rod in rods_mm:
            tried = replace(rig, rod_mm=rod, board_width_mm=width, board_depth_mm=depth)
            plan = hours.plan_table(sites, days, tried, limits)
            good = ~plan["no-window"]
            rows.append(
                {
                    "rod_mm": rod,
                    "board_width_mm": width,
                    "board_depth_mm": depth,
                    "good_share": good.mean(),
                    "median_u_deg": plan["best_u_deg"][good].median(),
                    "median_day_u_deg": plan["day_u_deg"][good].median(),
                }
            )
            advance(1)
    table = pd.DataFrame(rows).sort_values(
        ["good_share", "median_day_u_deg", "board_width_mm", "rod_mm"],
        ascending=[False, True, True, True],
        kind="stable",
    )
    return table.drop_duplicates(["board_width_mm", "board_depth_mm"]).reset_index(drop=True)


def boards_within(max_board_mm: tuple[float, float]) -> list[tuple[float, float]]:
    """The common boards that the limits hold; the limits themselves where they hold none."""
    width, depth = max_board_mm
    return [b for b in COMMON_BOARDS_MM if b[0] <= width and b[1] <= depth] or [(width, depth)]


def rods_within(max_rod_mm: float) -> list[float]:
    """Rods to try, from the shortest up to the limit."""
    rods = np.arange(SHORTEST_ROD_MM, max_rod_mm + 1e-9, ROD_STEP_MM).tolist()
    return rods or [max_rod_mm]


def sampled(dates: Dates, sites: int) -> Dates:
    """Some of the dates, evenly spaced, both ends among them."""
    count = min(len(dates), max(2, _SAMPLE_SITE_DAYS // max(sites, 1)))
    return dates[np.unique(np.linspace(0, len(dates) - 1, count).round().astype(int))]


def rings(
    sites: pd.DataFrame,
    dates: Dates,
    rig: Rig,
    limits: Limits,
    plan: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """The rings to draw at each site, and when the shadow should cross them.

    The rings of a site suit the window of its middle date: about 20 minutes of shadow
    apart, rounded to 5 mm. Crossings are given for the first and the last date.

    Args:
        sites, dates, rig, limits: as for `compare_rigs`; every ring serves the whole span.
        plan: `hours.plan_table` of the sites on the middle date; planned here when None.

    Returns:
        `site`, `date`, `ring_mm`, `morning`, `afternoon` (local ISO text, within a few
        seconds for a board without faults; "" where the shadow never has that length),
        `altitude_deg`, `expected_u_deg` of the pair. No rows for a site without a window.
    """
    table = ring_crossings(sites, dates, rig, limits, plan)
    timezone = sites["timezone"].reindex(table["site"]).to_numpy()
    for half in ("morning_utc_s", "afternoon_utc_s"):
        texts = clock.local_iso(table[half].to_numpy(), timezone)
        table[half] = pd.Series(texts, index=table.index, dtype=object)
    return table.rename(columns={"morning_utc_s": "morning", "afternoon_utc_s": "afternoon"})


def ring_crossings(
    sites: pd.DataFrame,
    dates: Dates,
    rig: Rig,
    limits: Limits,
    plan: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """`rings` with its crossings as instants: `morning_utc_s`, `afternoon_utc_s`, NaN for none."""
    middle = dates[[len(dates) // 2]]
    shown = np.unique(dates[[0, -1]])
    if plan is None:
        plan = hours.plan_table(sites, middle, rig, limits)
    tables = []
    for number in range(len(sites)):
        site = sites.iloc[[number]]
        radii = _radii(site, middle, rig, plan.iloc[number])
        tables.append(_crossings(site, shown, radii, rig))
    return pd.concat([table for table in tables if len(table)] or tables[:1], ignore_index=True)


def _radii(site: pd.DataFrame, date: Dates, rig: Rig, plan: pd.Series[Any]) -> Array:
    """Radii that the morning's shadow crosses at even times, rounded, none twice."""
    if plan["no-window"]:
        return np.zeros(0)
    nearest = plan["noon_utc_s"] - plan["morning_to_utc_s"]
    farthest = plan["noon_utc_s"] - plan["morning_from_utc_s"]
    number = max(3, int((farthest - nearest) / RING_INTERVAL_S) + 1)
    half_s = np.linspace(nearest, farthest, number)
    first = np.zeros(number, dtype=np.intp)
    shadow_mm = hours.pairs_at(SiteDays.of(site, first[:1], date), first, half_s, rig).shadow_mm
    radii = np.round(shadow_mm / RING_STEP_MM) * RING_STEP_MM
    # The end ones are rounded inward, to stay on the board and within the target.
    inside = np.clip(
        radii,
        np.ceil(shadow_mm.min() / RING_STEP_MM) * RING_STEP_MM,
        np.floor(shadow_mm.max() / RING_STEP_MM) * RING_STEP_MM,
    )
    return np.unique(inside)


def _crossings(site: pd.DataFrame, dates: Dates, radii_mm: Array, rig: Rig) -> pd.DataFrame:
    radius = np.tile(radii_mm, len(dates))
    every = np.arange(radius.size)
    day = np.repeat(dates, radii_mm.size)
    days = SiteDays.of(site, np.zeros(radius.size, dtype=np.intp), day)
    altitude = np.degrees(np.arctan2(rig.rod_mm, radius))
    pairs = hours.pairs_at(days, every, hours.half_interval_s(days, altitude), rig)
    reached = days.noon_altitude_deg > altitude
    noon = days.noon_utc_s
    return pd.DataFrame(
        {
            "site": site.index[0],
            "date": np.datetime_as_string(day),
            "ring_mm": radius,
            "morning_utc_s": np.where(reached, noon - pairs.half_s, np.nan),
            "afternoon_utc_s": np.where(reached, noon + pairs.afternoon_s, np.nan),
            "altitude_deg": altitude,
            "expected_u_deg": np.where(reached & np.isfinite(pairs.u_deg), pairs.u_deg, np.nan),
        },
        index=every,
    )
