"""Where the tip of the shadow was: the day's track laid on the marks of a board."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from orient.numbers import shadow, sun
from orient.numbers.light import Places, light_at_board
from orient.numbers.shadow import BoardState
from orient.photo.reading import Mark
from orient.tables import clock

Array = NDArray[np.float64]
_STEP_S = 240.0
#: From here to the equator the tip runs along a nearly straight line, and where the noon sun stands
#: near the zenith or beyond it, not steadily round the foot.
_STRAIGHT_DEG = 34.0
#: Lower than this the tip runs away.
_LOWEST = np.sin(np.radians(4.0))


def tips(utc_s: ArrayLike, site: pd.Series, height_mm: float) -> Array:
    """The tip on a level board turned true, mm, shape (n, 2); nan with the sun too low."""
    place = Places(*(float(site[name]) for name in Places._fields))
    light = light_at_board(np.asarray(utc_s, dtype=float), place)
    at = np.stack(shadow.tip(*light, BoardState(height_mm=height_mm)), axis=-1)
    at[np.asarray(light[2]) < _LOWEST] = np.nan
    return at


def turned(points: Array, turn_rad: float) -> Array:
    """Points turned clockwise about the foot."""
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    x, y = points[:, 0], points[:, 1]
    return np.stack([x * cos + y * sin, y * cos - x * sin], axis=-1)


def in_order(marks: Sequence[Mark], site: pd.Series, date: str, height_mm: float) -> list[Mark]:
    """Marks as the tip came to them.

    Args:
        marks: of one board.
        site: a row of the sites table.
        date: local date.
        height_mm: tip above the board.
    """
    if len(marks) < 2:
        return list(marks)
    at = np.array([(mark.x_mm, mark.y_mm) for mark in marks])
    if abs(site["latitude_deg"]) <= _STRAIGHT_DEG:
        order = _along(at, day_track(marks, site, date, height_mm))
    else:
        order = _round_the_foot(at, _clockwise(site, date))
    return [marks[number] for number in order]


def _along(at: Array, track: Sequence[tuple[float, float, str]]) -> NDArray[np.intp]:
    """The order along the marks' own line, from the end to which the day's track comes first."""
    across = np.linalg.svd(at - at.mean(axis=0))[2][0]
    along = at @ across
    places = np.array([(x, y) for x, y, _ in track])
    apart = np.hypot(*(at[:, None] - places[None]).transpose(2, 0, 1))
    backwards = bool(np.polyfit(along, apart.argmin(axis=1), 1)[0] < 0) if len(track) else False
    return np.argsort(-along if backwards else along)


def _round_the_foot(at: Array, clockwise: bool) -> NDArray[np.intp]:
    """The order round the foot, from the end of the widest gap."""
    turn = np.arctan2(*at.T)
    turn = turn if clockwise else -turn
    order = np.argsort(turn)
    gaps = np.diff(np.append(turn[order], turn[order[0]] + 2 * np.pi))
    return np.roll(order, -(int(np.argmax(gaps)) + 1) % len(order))


def _clockwise(site: pd.Series, date: str) -> bool:
    """Whether the tip runs clockwise about the foot: where the noon sun stands in the south."""
    noon = clock.utc_s(np.datetime64(date, "D"), 43200.0, str(site["timezone"]))
    return float(site["latitude_deg"]) >= float(np.ravel(sun.declination_deg(noon))[0])


def day_track(
    marks: Sequence[Mark], site: pd.Series, date: str, height_mm: float, fast_s: float = 0.0
) -> list[tuple[float, float, str]]:
    """The day's track turned as it lies best on the marks: x, y and the watch's time.

    Args:
        marks: of one board; without two of them nothing is known of its turn, and the track
            is empty.
        site: a row of the sites table.
        date: local date.
        height_mm: tip above the board.
        fast_s: watch minus true.
    """
    if len(marks) < 2:
        return []
    timezone = str(site["timezone"])
    start_s = float(clock.utc_s(np.datetime64(date, "D"), 0.0, timezone))
    instants = start_s + np.arange(0.0, 86400.0, _STEP_S)
    at = tips(instants, site, height_mm)
    marked = np.array([(mark.x_mm, mark.y_mm) for mark in marks])
    near = np.hypot(*at.T) < 1.3 * np.hypot(*marked.T).max()
    if not near.any():
        return []
    at = turned(at[near], _turn_onto(at[near], marked))
    told = clock.local_iso(instants[near] + fast_s, timezone)
    return [(float(x), float(y), str(time)[11:16]) for (x, y), time in zip(at, told, strict=True)]


def _turn_onto(track: Array, marked: Array) -> float:
    """The turn at which the track passes nearest to most marks."""
    best = 0.0
    for reach, step in ((180.0, 2.0), (2.0, 0.1)):
        tried = best + np.radians(np.arange(-reach, reach, step))
        apart = [np.median(_from_track(turned(track, turn), marked)) for turn in tried]
        best = float(tried[int(np.argmin(apart))])
    return best


def _from_track(track: Array, marked: Array) -> Array:
    return np.asarray(np.hypot(*(marked[:, None] - track[None]).transpose(2, 0, 1)).min(axis=1))
