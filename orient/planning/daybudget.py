"""One day's error budget laid out: each pair, each timed mark, the whole day."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from orient.numbers import budget, sun
from orient.numbers.budget import TERMS, PlannedMarks
from orient.numbers.light import HALF_DAY_S, light_altitude_deg, light_at_board
from orient.planning import hours
from orient.planning.hours import Limits, SiteDays
from orient.planning.remedies import GOOD_WATCH_S
from orient.planning.rig import Rig
from orient.tables import clock


def day_budget(
    site: pd.DataFrame, date: Any, rig: Rig, limits: Limits, step_min: float = 30.0
) -> pd.DataFrame:
    """The expected uncertainty of every kind of work on one day, its terms apart.

    Args:
        site: the one row of the sites table.
        date: local date.
        rig, limits: what is carried; of the limits, the altitudes count, not the target.
        step_min: minutes between the half-intervals of the pairs.

    Returns:
        `site`, `date`, `method` (`pair` at each half-interval, `timed` for a single mark
        by a trusted watch at each full hour, `day` for marks every 20 minutes adjusted
        together, and what would better that: `compared`, the watch compared once with a time
        signal; `shared`, a second board that day with the same watch, rod and observer;
        `one-line`, that board on the same line), `half_interval_min`, `morning` and
        `afternoon` (local ISO text, "" where there is no such mark), `altitude_deg`,
        `shadow_mm`, `on_board`, a standard uncertainty `<term>_u_deg` for each of
        `budget.TERMS`, and `expected_u_deg`; NaN where there is none.
    """
    day = np.datetime64(date, "D")
    days = SiteDays.of(site, np.zeros(1, dtype=np.intp), np.array([day]))
    timezone = str(site["timezone"].iloc[0])
    parts = [
        _pairs(days, timezone, rig, limits, step_min),
        _timed(days, day, timezone, rig, limits),
        *_whole_day(days, rig, limits),
    ]
    table = pd.concat([part for part in parts if len(part)], ignore_index=True)
    table.insert(0, "site", site.index[0])
    table.insert(1, "date", str(day))
    return table


def _pairs(
    days: SiteDays, timezone: str, rig: Rig, limits: Limits, step_min: float
) -> pd.DataFrame:
    half_s = np.arange(step_min * 60.0, HALF_DAY_S + 1.0, step_min * 60.0)
    pairs = hours.pairs_at(days, np.zeros(half_s.size, dtype=np.intp), half_s, rig)
    noon = days.noon_utc_s[0]
    table = _laid_out(
        pairs.terms,
        method="pair",
        half_interval_min=half_s / 60.0,
        morning=clock.local_iso(noon - pairs.half_s, timezone),
        afternoon=clock.local_iso(noon + pairs.afternoon_s, timezone),
        altitude_deg=pairs.altitude_deg,
        shadow_mm=pairs.shadow_mm,
        on_board=(pairs.room_mm >= 0).all(axis=0),
    )
    real = np.isfinite(pairs.u_deg) & (pairs.clear_deg >= 0).all(axis=0)
    return table[real & _lit(pairs.altitude_deg, limits)]


def _timed(
    days: SiteDays, day: np.datetime64, timezone: str, rig: Rig, limits: Limits
) -> pd.DataFrame:
    place, noon = days.places.take(0), days.noon_utc_s[0]
    midnight, next_midnight = clock.utc_s(np.array([day, day + 1]), 0.0, timezone)
    instants = np.arange(midnight, next_midnight, 3600.0)
    light = light_at_board(instants, place)
    altitude = light_altitude_deg(light)
    clear = hours.clearance_deg(days, np.zeros(instants.size, dtype=np.intp), light, altitude)
    lit = _lit(altitude, limits) & (clear >= 0)
    instants, altitude = instants[lit], altitude[lit]
    light = tuple(component[lit] for component in light)
    rate = sun.direction_rate(instants, *place[:2])
    marks = PlannedMarks.under(light, rate, rig.rod_mm)
    local = clock.local_iso(instants, timezone)
    noon_y = days.noon_cotangent[0] * rig.rod_mm
    return _laid_out(
        budget.timed_terms(marks, rig.tolerances),
        method="timed",
        half_interval_min=np.nan,
        morning=np.where(instants <= noon, local, ""),
        afternoon=np.where(instants > noon, local, ""),
        altitude_deg=altitude,
        shadow_mm=marks.shadow_mm,
        on_board=rig.room_mm(marks.x_mm, marks.y_mm, noon_y) >= 0,
    )


def _whole_day(days: SiteDays, rig: Rig, limits: Limits) -> list[pd.DataFrame]:
    """All the day's marks together; with a time signal; with a second board, on two lines and one.

    The joint equations of the reduction, before a mark is made: what boards of a crew have in
    common is solved for from both.
    """
    information = hours.day_information(days, rig, limits)
    compared = replace(rig.tolerances, watch_sd_s=min(GOOD_WATCH_S, rig.tolerances.watch_sd_s))
    told = budget.board_information(information, rig.tolerances)
    together = {"shared": told + budget.without_line(told), "one-line": told + told}
    nothing = dict.fromkeys(TERMS, np.full(1, np.nan))
    rows = [
        _of_day("day", budget.day_terms(information, rig.tolerances)),
        _of_day("compared", budget.day_terms(information, compared)),
    ]
    for method, both in together.items():
        u_deg = budget.joint_u_deg(both, rig.tolerances)
        rows.append(
            _of_day(method, nothing).assign(expected_u_deg=np.where(u_deg < np.inf, u_deg, np.nan))
        )
    return rows


def _of_day(method: str, terms: budget.Terms) -> pd.DataFrame:
    return _laid_out(
        terms,
        method=method,
        half_interval_min=np.nan,
        morning="",
        afternoon="",
        altitude_deg=np.nan,
        shadow_mm=np.nan,
        on_board=True,
    )


def _lit(altitude_deg: Any, limits: Limits) -> Any:
    return (altitude_deg >= limits.min_altitude_deg) & (altitude_deg <= limits.max_altitude_deg)


def _laid_out(terms: budget.Terms, **lead: Any) -> pd.DataFrame:
    expected = pd.Series(budget.expected_u_deg(terms))
    shares = {f"{name}_u_deg": np.degrees(np.sqrt(terms[name])) for name in TERMS}
    table = pd.DataFrame({**shares, "expected_u_deg": expected})
    columns = pd.DataFrame(lead, index=table.index)
    return pd.concat([columns, table.where(np.isfinite(table))], axis=1)
