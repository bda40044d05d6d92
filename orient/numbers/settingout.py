"""Setting out: from a reference line of known azimuth to pegs on the ground.

A *reference line* runs from the station (the point under the rod) to the reference mark.
Angles turn from it, and offsets leave it, to the right (clockwise) or to the left. Every
uncertainty is first-order propagation of the azimuth's own and of the taping's, the errors
of single tape lengths taken as independent: pull, sag and slope differ from lay to lay.

Source: plane geometry, checked by simulated pegs in `tests/test_settingout.py`. The taping
tolerances are *common practice, no source*.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.tolerances import COVERAGE_95

DISTANCES_M = (5.0, 10.0, 20.0, 30.0, 50.0)
CHECK_RADII_M = (5.0, 10.0, 20.0)
#: The same for all six checks of a closure at once: 0.95^(1/6) each (Šidák's inequality).
SIX_AT_95 = NormalDist().inv_cdf(0.5 + 0.95 ** (1 / 6) / 2)

CARDINALS = ("north", "east", "south", "west")
_PEGS = ("N", "E", "S", "W")


@dataclass(frozen=True)
class ReferenceLine:
    """The line from a station to a reference mark, and what its place adds to it.

    Angles in degrees, standard uncertainties 1 σ. Convergence and declination, east plus,
    may be NaN where they are not known; what needs them is then left out.
    """

    setup: str
    site: str
    reference_name: str
    true_azimuth_deg: float
    true_azimuth_u_deg: float
    convergence_deg: float = np.nan
    declination_deg: float = np.nan
    declination_u_deg: float = np.nan

    def __post_init__(self) -> None:
        if not np.isfinite(self.true_azimuth_deg):
            raise ValueError("a reference line needs a finite true azimuth")
        if not 0 <= self.true_azimuth_u_deg < np.inf:
            raise ValueError("an azimuth's uncertainty must be a finite number of 0 or more")


@dataclass(frozen=True)
class Taping:
    """How well a tape is laid, standard uncertainties.

    `reading_sd_mm` is for each length, plumbing and reading at both ends; `proportion_sd`
    for pull, sag, slope and warmth, in parts of the length; `lining_sd_mm` for a peg put
    into line by eye. *Common practice, no source*: a steel or glass-fibre tape on level
    ground, pulled by hand.
    """

    reading_sd_mm: float = 3.0
    proportion_sd: float = 1.0 / 5000.0
    lining_sd_mm: float = 3.0

    def sd_mm(self, length_m: ArrayLike) -> Any:
        """Standard uncertainty in millimetres of lengths in metres, any shape."""
        return np.hypot(self.reading_sd_mm, self.proportion_sd * 1000.0 * np.asarray(length_m))


def wanted_lines(line: ReferenceLine) -> pd.DataFrame:
    """The directions that can be wanted at a station, by name.

    Returns:
        `north` (`true`, `grid`, `magnetic`), `cardinal`, `true_azimuth_deg`, and
        `own_u_deg`, what that direction adds to the reference line's own uncertainty.
    """
    rows = [
        (north, cardinal, wrap_360(turn_deg + 90.0 * number), own_u_deg)
        for north, turn_deg, own_u_deg in (
            ("true", 0.0, 0.0),
            ("grid", line.convergence_deg, 0.0),
            ("magnetic", line.declination_deg, line.declination_u_deg),
        )
        for number, cardinal in enumerate(CARDINALS)
        if np.isfinite(turn_deg) and (north != "magnetic" or cardinal == "north")
    ]
    return pd.DataFrame(rows, columns=["north", "cardinal", "true_azimuth_deg", "own_u_deg"])


def turns(line: ReferenceLine) -> pd.DataFrame:
    """The angle to turn from the reference mark to each wanted line.

    Returns:
        One row a line: `north`, `cardinal`, `true_azimuth_deg`, `clockwise_deg` (0 ≤ a < 360),
        `side` (`right` or `left`) and `turn_deg` (0 to 180) the short way, `turn_u_deg`, the
        standard uncertainty of the line so found; an instrument's own comes on top.
    """
    return _turned(line).copy()


@lru_cache(maxsize=8)
def _turned(line: ReferenceLine) -> pd.DataFrame:
    table = wanted_lines(line)
    clockwise = wrap_360(table["true_azimuth_deg"].to_numpy() - line.true_azimuth_deg)
    short = _short_way(clockwise)
    return pd.DataFrame(
        {
            "north": table["north"],
            "cardinal": table["cardinal"],
            "true_azimuth_deg": table["true_azimuth_deg"],
            "clockwise_deg": clockwise,
            "side": _side(short),
            "turn_deg": np.abs(short),
            "turn_u_deg": np.hypot(line.true_azimuth_u_deg, table["own_u_deg"]),
        }
    )


def offsets(
    line: ReferenceLine,
    taping: Taping | None = None,
    distances_m: Sequence[float] = DISTANCES_M,
) -> pd.DataFrame:
    """Pegs on the nearest true and grid cardinal line, by tape from the reference line.

    Two ways to the same line, which is never more than 45° away. By *offset*: tape
    `distance_m` from the station toward the reference mark, raise a right angle, tape
    `offset_mm`; the peg then stands `along_m` from the station. By *chord*: swing
    `distance_m` from the station and `chord_mm` from the point at `distance_m` on the
    reference line; better than a long offset, whose right angle is hard to raise.

    Args:
        line: the reference line.
        taping: how well the tape is laid; careful work by hand when None.
        distances_m: along the reference line.

    Returns:
        One row a north and distance: `north`, `cardinal`, `distance_m`, `side`, `offset_mm`,
        `along_m`, `azimuth_u_mm` (what the azimuth's uncertainty makes at the offset peg,
        across the wanted line), `peg_u_mm` (with the taping), `chord_mm`, `chord_peg_u_mm`.
    """
    return _pegs(line, taping or Taping(), tuple(distances_m)).copy()


@lru_cache(maxsize=8)
def _pegs(line: ReferenceLine, taping: Taping, distances_m: tuple[float, ...]) -> pd.DataFrame:
    table = _turned(line)
    table = table[table["north"] != "magnetic"]
    nearest = table.loc[table.groupby("north", sort=False)["turn_deg"].idxmin()]
    rows = nearest.loc[nearest.index.repeat(len(distances_m))].reset_index(drop=True)
    distance_m = np.tile(np.asarray(distances_m, dtype=float), len(nearest))
    angle = np.radians(rows["turn_deg"].to_numpy())
    azimuth_u = np.radians(rows["turn_u_deg"].to_numpy())
    offset_m, along_m = distance_m * np.tan(angle), distance_m / np.cos(angle)
    chord_m = 2 * distance_m * np.sin(angle / 2)
    square_u = np.radians(default_right_angle_u_deg(taping))
    by_offset = (
        np.sin(angle) * taping.sd_mm(distance_m),
        np.cos(angle) * taping.sd_mm(offset_m),
        np.sin(angle) * square_u * offset_m * 1000.0,
    )
    by_chord = (
        taping.sd_mm(chord_m) / np.cos(angle / 2),
        np.sqrt(2) * np.tan(angle / 2) * taping.sd_mm(distance_m),
    )
    azimuth_u_mm = azimuth_u * along_m * 1000.0
    return pd.DataFrame(
        {
            "north": rows["north"],
            "cardinal": rows["cardinal"],
            "distance_m": distance_m,
            "side": rows["side"],
            "offset_mm": offset_m * 1000.0,
            "along_m": along_m,
            "azimuth_u_mm": azimuth_u_mm,
            "peg_u_mm": _root_sum_square(azimuth_u_mm, *by_offset),
            "chord_mm": chord_m * 1000.0,
            "chord_peg_u_mm": _root_sum_square(azimuth_u * distance_m * 1000.0, *by_chord),
        }
    )


def right_angles(taping: Taping | None = None) -> pd.DataFrame:
    """A right angle raised at the station with a tape alone, and how well it does.

    *3-4-5*: a peg `on_line_m` along the line; the wanted peg lies `across_m` from the station
    and `swing_m` from that peg. *Equal chords*: two pegs, `on_line_m` either way from the
    station; equal arcs of `swing_m` from both meet on the perpendicular, `across_m` out.

    Returns:
        `method`, `on_line_m`, `across_m`, `swing_m`, `u_deg`: standard uncertainty of the
        right angle, the line's pegs put in by eye.
    """
    taping = taping or Taping()
    unit_m = np.array([1.0, 2.0, 3.0])
    across, on_line, swing = 3 * unit_m, 4 * unit_m, 5 * unit_m
    triangle_u = _root_sum_square(
        swing * taping.sd_mm(swing) / (across * on_line),
        taping.sd_mm(across) / on_line,
        taping.sd_mm(on_line) / across,
        taping.lining_sd_mm / on_line,
    )
    half, radius, reach = 3 * unit_m, 5 * unit_m, 4 * unit_m
    chords_u = _root_sum_square(
        np.sqrt(2) * radius / (2 * half) * taping.sd_mm(radius) / reach,
        taping.sd_mm(half) / np.sqrt(2) / reach,
        np.sqrt(2) * taping.lining_sd_mm / (2 * half),
    )
    return pd.concat(
        [
            _right_angle_rows("3-4-5", on_line, across, swing, triangle_u),
            _right_angle_rows("equal chords", half, reach, radius, chords_u),
        ],
        ignore_index=True,
    )


def _right_angle_rows(method: str, on_line: Any, across: Any, swing: Any, u: Any) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": method,
            "on_line_m": on_line,
            "across_m": across,
            "swing_m": swing,
            # Millimetres over metres are milliradians.
            "u_deg": np.degrees(u / 1000.0),
        }
    )


@lru_cache(maxsize=16)
def default_right_angle_u_deg(taping: Taping) -> float:
    """Of equal chords of 10 m, the better of the two ways at a size that fits most ground."""
    table = right_angles(taping)
    chosen = (table["method"] == "equal chords") & (table["swing_m"] == 10.0)
    return float(table.loc[chosen, "u_deg"].iloc[0])


def closing_check(
    taping: Taping | None = None, radii_m: Sequence[float] = CHECK_RADII_M
) -> pd.DataFrame:
    """The tape lengths that close the four pegs, and the misclosure to accept.

    The north peg is taped out first; the south peg is put in line with it through the
    station; the east peg is put in line with a right angle raised by equal chords of 10 m,
    the west peg in line with it.
    The common azimuth cancels: the check speaks for the taping and the right angle alone.

    Args:
        taping: how well the tape is laid; careful work by hand when None.
        radii_m: of the pegs from the station.

    Returns:
        Six rows a radius: `radius_m`, `check` (`N–E` … `E–W`), `length_m`, `length_u_mm`,
        `accept_mm` (95 % of honest single checks are within), `accept_all_mm` (all six are
        within, at 95 % or better).
    """
    taping = taping or Taping()
    tables = [_closing_rows(radius_m, taping) for radius_m in radii_m]
    return pd.concat(tables, ignore_index=True)


@lru_cache(maxsize=16)
def _closing_rows(radius_m: float, taping: Taping) -> pd.DataFrame:
    # Columns: how each check answers to the pegs' four distances from the station, and to
    # the three angles: the direction of E, the lining of S, the lining of W.
    half = np.sqrt(0.5)
    arc = radius_m * 1000.0 * half
    response = np.array(
        [
            [half, half, 0, 0, arc, 0, 0],
            [0, half, half, 0, -arc, arc, 0],
            [0, 0, half, half, arc, -arc, arc],
            [half, 0, 0, half, -arc, 0, -arc],
            [1, 0, 1, 0, 0, 0, 0],
            [0, 1, 0, 1, 0, 0, 0],
        ]
    )
    lining_u = taping.lining_sd_mm / (radius_m * 1000.0)
    east_u = np.hypot(np.radians(default_right_angle_u_deg(taping)), lining_u)
    sd = np.array([taping.sd_mm(radius_m)] * 4 + [east_u, lining_u, lining_u])
    length_m = np.array([radius_m * np.sqrt(2)] * 4 + [radius_m * 2] * 2)
    length_u = np.hypot(np.sqrt((response**2) @ sd**2), taping.sd_mm(length_m))
    pairs = [*zip(_PEGS, (*_PEGS[1:], _PEGS[0]), strict=True), ("N", "S"), ("E", "W")]
    return pd.DataFrame(
        {
            "radius_m": radius_m,
            "check": [f"{first}–{second}" for first, second in pairs],
            "length_m": length_m,
            "length_u_mm": length_u,
            "accept_mm": COVERAGE_95 * length_u,
            "accept_all_mm": SIX_AT_95 * length_u,
        }
    )


def grid_north_offsets(
    line: ReferenceLine, distances_m: Sequence[float] = DISTANCES_M
) -> pd.DataFrame:
    """From a peg on the true-north line square across to grid north.

    Returns:
        `distance_m` from the station on the true-north line, `side` (facing north) and
        `offset_mm`; no rows where the convergence is not known.
    """
    if not np.isfinite(line.convergence_deg):
        return pd.DataFrame({"distance_m": [], "side": [], "offset_mm": []})
    distance_m = np.asarray(distances_m, dtype=float)
    offset_mm = distance_m * 1000.0 * np.tan(np.radians(line.convergence_deg))
    return pd.DataFrame(
        {"distance_m": distance_m, "side": _side(offset_mm), "offset_mm": np.abs(offset_mm)}
    )


def compass_should_read(line: ReferenceLine) -> tuple[float, float]:
    """Magnetic bearing of the reference line and its standard uncertainty, degrees."""
    bearing = wrap_360(line.true_azimuth_deg - line.declination_deg)
    return float(bearing), float(np.hypot(line.true_azimuth_u_deg, line.declination_u_deg))


def _short_way(clockwise_deg: Any) -> Any:
    """Right plus, left minus, −180 < a ≤ 180."""
    return -wrap_180(-np.asarray(clockwise_deg))


def _side(right_plus: Any) -> Any:
    return np.where(np.asarray(right_plus) < 0, "left", "right")


def _root_sum_square(*terms: Any) -> Any:
    return np.sqrt(sum(np.square(term) for term in terms))
