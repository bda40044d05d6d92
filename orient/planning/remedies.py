"""What would make a day without good hours work: each thing is planned before it is named."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from orient.planning import hours
from orient.planning.bring import COMMON_BOARDS_MM
from orient.planning.hours import Limits
from orient.planning.rig import Rig

#: Rods tried, mm: what can be carried.
RODS_MM = (75.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0, 400.0, 500.0, 600.0, 800.0, 1000.0)
#: Lower suns that may be marked by where the air is clear; below them refraction is not known.
LOW_SUNS_DEG = (8.0, 5.0)
#: Higher suns, for whom the shadow is short and turns fast.
HIGH_SUNS_DEG = (70.0, 80.0)
#: What a time signal, or a telephone that had the network today, gives.
GOOD_WATCH_S = 1.0


class Remedy(NamedTuple):
    """One change that was planned and meets the target: in words, and how good the line is.

    `kind` is `rod`, `board`, `low-sun`, `high-sun` or `watch`. `u_deg` is the standard
    uncertainty of the best pair or, as the words then say, of all the day's marks together.
    """

    kind: str
    words: str
    u_deg: float


def remedies(site: pd.DataFrame, date: Any, rig: Rig, limits: Limits) -> list[Remedy]:
    """What meets the target on a day where no pair does.

    Args:
        site: the one row of the sites table.
        date: local date.
        rig, limits: what is carried and what is asked for.

    Returns:
        For each kind of change the smallest that works: the rod nearest to the one carried, the
        next larger board, the least change of the sun's limits, a watch set to the second.
        Empty where none of them does.
    """
    day = np.array([np.datetime64(date, "D")])
    found: list[Remedy] = []
    as_it_is = hours.plan_table(site, day, rig, limits).iloc[0]
    enough_together = bool(as_it_is["day_u_deg"] <= limits.target_deg)
    for kind, changes in _changes(rig, limits):
        for words, changed_rig, changed_limits in changes:
            plan = hours.plan_table(site, day, changed_rig, changed_limits).iloc[0]
            by_pair = not plan["no-window"] and kind != "watch"
            if enough_together and not by_pair:
                continue
            u_deg = float(plan["best_u_deg" if by_pair else "day_u_deg"])
            if u_deg <= limits.target_deg and not _no_better(kind, u_deg, found):
                with_all = "" if by_pair or kind == "watch" else ", all the day's marks together"
                found.append(Remedy(kind, words + with_all, u_deg))
                break
    return found


def _no_better(kind: str, u_deg: float, found: list[Remedy]) -> bool:
    """Whether another rod alone, which is less trouble, does as much."""
    return kind.endswith("sun") and any(
        each.kind == "rod" and u_deg > 0.9 * each.u_deg for each in found
    )


Change = tuple[str, Rig, Limits]


def _changes(rig: Rig, limits: Limits) -> Iterator[tuple[str, Iterator[Change]]]:
    yield "rod", _rods(rig, limits)
    if rig.reach_mm is None:
        yield "board", _boards(rig, limits)
    yield "low-sun", _suns(rig, limits, "min_altitude_deg", LOW_SUNS_DEG)
    yield "high-sun", _suns(rig, limits, "max_altitude_deg", HIGH_SUNS_DEG)
    if rig.tolerances.watch_sd_s > GOOD_WATCH_S:
        tolerances = replace(rig.tolerances, watch_sd_s=GOOD_WATCH_S)
        words = "marks all day with a watch set to the second"
        yield "watch", iter([(words, replace(rig, tolerances=tolerances), limits)])


def _rods(rig: Rig, limits: Limits) -> Iterator[Change]:
    """The other rods, those nearest in size first."""
    others = [rod for rod in RODS_MM if rod != rig.rod_mm]
    for rod in sorted(others, key=lambda rod: abs(np.log(rod / rig.rod_mm))):
        yield f"a rod of {rod:g} mm", replace(rig, rod_mm=rod), limits


def _boards(rig: Rig, limits: Limits) -> Iterator[Change]:
    for width, depth in COMMON_BOARDS_MM:
        if width > rig.board_width_mm and depth > rig.board_depth_mm:
            larger = replace(rig, board_width_mm=width, board_depth_mm=depth)
            yield f"a board of {width:g} × {depth:g} mm", larger, limits


def _suns(rig: Rig, limits: Limits, name: str, altitudes: tuple[float, ...]) -> Iterator[Change]:
    lower = name.startswith("min")
    for altitude in altitudes:
        now = getattr(limits, name)
        if (altitude < now) if lower else (altitude > now):
            words = f"marks by a sun {'down' if lower else 'up'} to {altitude:g}° high"
            changed = replace(limits, **{name: altitude})
            yield words, rig, changed
            for rod_words, other, _ in _rods(rig, limits):
                yield f"{words} and {rod_words}", other, changed
