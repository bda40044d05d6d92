"""One site, one day, one rod and board: good hours, rings and foot, as every product shows them.

`plan`, `bring` and the sheet ask the same functions with the same rig and limits, so their
figures are the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from orient.planning import bring, hours
from orient.planning.hours import WINDOW_COLUMNS, Limits
from orient.planning.rig import Rig

#: A rod that the tries of `rods_that_work` name is one of these, mm.
RODS_TRIED_MM = (75.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0, 400.0, 500.0)


@dataclass(frozen=True)
class BoardDay:
    """What a board can do on one day.

    Attributes:
        rig: rod, board and care.
        good_utc_s: the good hours, a span before noon and one after it, each (from, to);
            empty where there are none.
        rings: `ring_mm`, `morning_utc_s`, `afternoon_utc_s`, `expected_u_deg`, as `bring`
            draws them; no rows where there are no good hours.
        foot_mm: from the board's lower left corner, +y of the board to north.
        pair_u_deg: of the best pair of the good hours, NaN without.
    """

    rig: Rig
    good_utc_s: tuple[tuple[float, float], ...]
    rings: pd.DataFrame
    foot_mm: tuple[float, float]
    pair_u_deg: float

    @property
    def good_s(self) -> float:
        """How long the good hours are together, seconds."""
        return sum(last - first for first, last in self.good_utc_s)


def board_day(site: pd.Series, date: Any, rig: Rig, limits: Limits | None = None) -> BoardDay:
    """Good hours, rings and foot of one site and day on one board.

    Args:
        site: a row of the sites table, its id as the row's name.
        date: local date.
        rig: rod, board and care.
        limits: what a pair must meet; those of `plan` where left out.

    Raises:
        OutsideEphemeris: a date outside 1900–2050.

    Example:
        >>> from orient.tables.campaign import read_campaign
        >>> site = read_campaign("sites/aldermoor").sites.loc["alderflat"]
        >>> day = board_day(site, "2026-05-04", Rig(rod_mm=300.0))
        >>> day.foot_mm
        (325.0, 40.0)
    """
    limits = limits or Limits()
    frame = _frame(site)
    dates = np.array([np.datetime64(date, "D")])
    plan = hours.plan_table(frame, dates, rig, limits).iloc[0]
    ends = [float(plan[name]) for name in WINDOW_COLUMNS]
    good = () if bool(plan["no-window"]) else ((ends[0], ends[1]), (ends[2], ends[3]))
    return BoardDay(
        rig,
        good,
        bring.ring_crossings(frame, dates, rig, limits),
        rig.foot_mm(_noon_y_mm(frame, dates, rig)),
        float(plan["best_u_deg"]) if good else float("nan"),
    )


def _frame(site: pd.Series) -> pd.DataFrame:
    return pd.DataFrame([site]).infer_objects()


def _noon_y_mm(frame: pd.DataFrame, dates: Any, rig: Rig) -> float:
    days = hours.SiteDays.of(frame, np.zeros(1, dtype=np.intp), dates)
    return float(days.noon_cotangent[0] * rig.rod_mm)


def rods_that_work(
    site: pd.Series,
    date: Any,
    rig: Rig,
    boards_mm: Sequence[tuple[float, float]],
    limits: Limits | None = None,
    advance: Callable[[int], None] = lambda _: None,
) -> Iterator[BoardDay]:
    """For each board the rod with the longest good hours, tried; none where no rod has any.

    Args:
        site, date, limits: as for `board_day`.
        rig: its care is kept, its rod and board replaced.
        boards_mm: width and depth of each board, the width lying east and west.
        advance: told after each board tried.
    """
    limits = limits or Limits()
    frame, dates = _frame(site), np.array([np.datetime64(date, "D")])
    for width, depth in boards_mm:
        rigs = [
            replace(rig, rod_mm=rod, board_width_mm=width, board_depth_mm=depth)
            for rod in RODS_TRIED_MM
        ]
        lengths = [_good_s(frame, dates, tried, limits) for tried in rigs]
        advance(1)
        # Of rods that do equally well to a quarter of an hour, the tallest: its marks tell most.
        best = max(range(len(rigs)), key=lambda number: (round(lengths[number] / 900.0), number))
        if lengths[best] > 0:
            yield board_day(site, date, rigs[best], limits)


def rod_of_best_marks_mm(
    site: pd.Series, date: Any, rig: Rig, boards_mm: Sequence[tuple[float, float]]
) -> float:
    """The rod whose timed marks of the whole day tell north best on one of the boards.

    The shortest where too few fall on any of them. Arguments as for `rods_that_work`.
    """
    frame, dates = _frame(site), np.array([np.datetime64(date, "D")])
    found = {}
    for rod in RODS_TRIED_MM:
        for width, depth in boards_mm:
            tried = replace(rig, rod_mm=rod, board_width_mm=width, board_depth_mm=depth)
            plan = hours.plan_table(frame, dates, tried, Limits(), step_min=20.0).iloc[0]
            found[float(plan["day_u_deg"]), rod] = rod
    known = [key for key in found if np.isfinite(key[0])]
    return found[min(known)] if known else RODS_TRIED_MM[0]


def _good_s(frame: pd.DataFrame, dates: Any, rig: Rig, limits: Limits) -> float:
    plan = hours.plan_table(frame, dates, rig, limits, step_min=20.0).iloc[0]
    if plan["no-window"]:
        return 0.0
    first, last, again, end = (float(plan[name]) for name in WINDOW_COLUMNS)
    return last - first + end - again
