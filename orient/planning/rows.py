"""Plans as rows: in local time for machines, in sentences and summaries for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from orient.defaults import MIN_ALTITUDE_DEG
from orient.planning.hours import DAY_FLAGS
from orient.planning.remedies import Remedy
from orient.tables import clock
from orient.text import at_95, minute_text, within_95

Row = Mapping[str, Any]

_TIMES = {
    "noon_local": "noon_utc_s",
    "morning_from": "morning_from_utc_s",
    "morning_to": "morning_to_utc_s",
    "afternoon_from": "afternoon_from_utc_s",
    "afternoon_to": "afternoon_to_utc_s",
    "best_morning": "best_morning_utc_s",
    "best_afternoon": "best_afternoon_utc_s",
}


def local_table(plan: pd.DataFrame, sites: pd.DataFrame) -> pd.DataFrame:
    """A plan in the local time of its sites, one flat row a site-day.

    Args:
        plan: of `hours.plan_chunk`.
        sites: the sites table that it was made from.

    Returns:
        `site`, `date`, `noon_local`, `noon_altitude_deg`, `morning_from`, `morning_to`,
        `afternoon_from`, `afternoon_to`, `best_morning`, `best_afternoon`,
        `best_altitude_deg`, `best_shadow_mm`, `best_expected_u_deg`,
        `day_expected_u_deg`, `flags`: times as local ISO text, "" where there is none;
        numbers NaN; flags a list of codes.
    """
    timezone = sites["timezone"].reindex(plan["site"]).to_numpy()
    instants = plan[list(_TIMES.values())].to_numpy().T
    local = dict(zip(_TIMES, clock.local_iso(instants, timezone), strict=True))
    marked = plan[list(DAY_FLAGS)].to_numpy()
    # Few combinations of flags occur: each list is made once.
    code = marked @ (1 << np.arange(len(DAY_FLAGS)))
    lists = {
        int(c): [f for n, f in enumerate(DAY_FLAGS) if int(c) >> n & 1] for c in np.unique(code)
    }
    return pd.DataFrame(
        {
            "site": plan["site"].to_numpy(),
            "date": np.datetime_as_string(plan["date"].to_numpy(dtype="datetime64[D]")),
            "noon_local": local["noon_local"],
            "noon_altitude_deg": plan["noon_altitude_deg"].round(4).to_numpy(),
            **{name: local[name] for name in list(_TIMES)[1:]},
            "best_altitude_deg": plan["best_altitude_deg"].round(4).to_numpy(),
            "best_shadow_mm": plan["best_shadow_mm"].round(2).to_numpy(),
            "best_expected_u_deg": plan["best_u_deg"].round(6).to_numpy(),
            "day_expected_u_deg": plan["day_u_deg"].round(6).to_numpy(),
            "flags": pd.Series([lists[int(c)] for c in code], dtype=object),
        }
    )


def plan_rows(plan: pd.DataFrame, sites: pd.DataFrame) -> list[dict[str, Any]]:
    """A plan as nested rows: windows as `{"from", "to"}`, the best pair as its own mapping.

    Args:
        plan, sites: as for `local_table`.

    Returns:
        Rows with the keys `site date noon_local noon_altitude_deg morning afternoon best
        flags day_expected_u_deg`; what there is none of is None.
    """
    flat = local_table(plan, sites)
    names = [str(name) for name in flat]
    values = zip(*(flat[name].tolist() for name in names), strict=True)
    return [_nested(dict(zip(names, row, strict=True))) for row in values]


def _nested(row: Row) -> dict[str, Any]:
    day_u_deg = row["day_expected_u_deg"]
    return {
        "site": row["site"],
        "date": row["date"],
        "noon_local": row["noon_local"],
        "noon_altitude_deg": row["noon_altitude_deg"],
        "morning": _span(row["morning_from"], row["morning_to"]),
        "afternoon": _span(row["afternoon_from"], row["afternoon_to"]),
        "best": {
            "morning": row["best_morning"],
            "afternoon": row["best_afternoon"],
            "altitude_deg": row["best_altitude_deg"],
            "shadow_mm": row["best_shadow_mm"],
            "expected_u_deg": row["best_expected_u_deg"],
        }
        if row["best_morning"]
        else None,
        "flags": row["flags"],
        "day_expected_u_deg": day_u_deg if day_u_deg == day_u_deg else None,
    }


def _span(start: str, stop: str) -> dict[str, str] | None:
    return {"from": start, "to": stop} if start else None


def window_text(window: Mapping[str, str] | None) -> str:
    """A window of a row as hours and minutes, or a dash."""
    return f"{minute_text(window['from'])}–{minute_text(window['to'])}" if window else "–"


def sentence(
    row: Row, what_would_do: Sequence[Remedy] = (), min_altitude_deg: float = MIN_ALTITUDE_DEG
) -> str:
    """What a row of `plan_rows` tells a person to do, in one sentence of plain words.

    Args:
        row: of `plan_rows`.
        what_would_do: what was found to work instead, of `remedies.remedies`.
        min_altitude_deg: the lowest sun to mark by, of the plan's limits.
    """
    altitude, best = row["noon_altitude_deg"], row["best"]
    noon_sun = f"noon sun {altitude:.0f}° up".replace("-", "−")
    if "sun-too-low" in row["flags"]:
        if altitude < 0:
            return "the sun does not rise to noon: no marks this day"
        lowest = f"the lowest sun to mark by, {min_altitude_deg:g}°"
        why = f"below {lowest}, all day"
        if altitude >= min_altitude_deg:
            why = f"behind the skyline whenever it is above {lowest}"
        return f"{noon_sun}: {why}{_remedies_said(what_would_do)}"
    if row["morning"] is None:
        said = f"{_why_no_window(row, noon_sun)}{_figures(row)}"
        return f"{said}{_remedies_said(what_would_do)}"
    start, stop = minute_text(row["morning"]["from"]), minute_text(row["morning"]["to"])
    again, end = minute_text(row["afternoon"]["from"]), minute_text(row["afternoon"]["to"])
    if "sun-too-high" in row["flags"]:
        return f"{noon_sun}: no marks between {stop} and {again}; begin at {start}"
    first, second = minute_text(best["morning"]), minute_text(best["afternoon"])
    return (
        f"{noon_sun}: mark {start}–{stop} and {again}–{end}; best pair {first} and {second}, "
        f"ring of {best['shadow_mm']:.0f} mm"
    )


def _why_no_window(row: Row, noon_sun: str) -> str:
    if "off-board" in row["flags"]:
        return f"{noon_sun}: every good shadow runs off the board"
    if row["best"] is None:
        return f"{noon_sun}: no pair of marks before and after noon can be made"
    return f"{noon_sun}: no pair meets the target"


def _remedies_said(what_would_do: Sequence[Remedy]) -> str:
    if not what_would_do:
        return ""
    each = [f"{remedy.words}: ±{at_95(remedy.u_deg)}" for remedy in what_would_do]
    return f". What would do: {'; or '.join(each)}"


def _figures(row: Row) -> str:
    parts = ""
    if row["best"] is not None:
        parts += f"; best pair {within_95(row['best']['expected_u_deg'])}"
    if row["day_expected_u_deg"] is not None:
        parts += f"; all marks with a good watch {within_95(row['day_expected_u_deg'])}"
    return parts


#: The columns of a plan that `season` sums up.
SUMMED = ["site", "best_u_deg", "day_u_deg", *DAY_FLAGS]


def season(plan: pd.DataFrame) -> pd.DataFrame:
    """A plan summed up by site.

    Args:
        plan: of `hours.plan_chunk`, any number of chunks; at least its columns `SUMMED`.

    Returns:
        One row a site, in the order of the plan: `site`, `days`, `good_days` (with a
        window), `median_u_deg` and `least_u_deg` of the best pairs of the good days,
        `median_day_u_deg` of all days that allow marks, and the number of days under each
        of `DAY_FLAGS`.
    """
    good = ~plan["no-window"]
    of_good = plan["best_u_deg"].where(good)
    table = plan.assign(good_days=good, median_u_deg=of_good, least_u_deg=of_good)
    grouped = table.groupby("site", sort=False)
    counts = grouped[["good_days", *DAY_FLAGS]].sum().astype(int)
    counts.insert(0, "days", grouped.size())
    counts.insert(2, "median_u_deg", grouped["median_u_deg"].median())
    counts.insert(3, "least_u_deg", grouped["least_u_deg"].min())
    counts.insert(4, "median_day_u_deg", grouped["day_u_deg"].median())
    return counts.reset_index()
