"""A board worked by hand, step by step: one pair, the noon shadow, and the shortest mark alone.

The steps are those of ruler, compasses and a table of the sun's declination, with the board's own
numbers. The tool's adjustment stands beside them and takes no part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.numbers import sun
from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.board import Board
from orient.observation.byhand import best_pair
from orient.observation.reduction import Reduced, halves

Array = NDArray[np.float64]

_WINDOW_S = 6 * 3600.0
_STEP_S = 60.0


@dataclass(frozen=True)
class WorkedPair:
    """One equal-altitude pair, worked with compasses.

    `mark` is the mark that the compasses are set to, `length_mm` its distance from the foot;
    `between` are the two marks of the other half-day between which that circle crosses them, the
    same mark twice on a ring. Board directions and azimuths in degrees. `halving_deg` is the
    halving line, toward the side of the noon shadow. The sun's declination was `declination_deg`
    at the two instants, morning first, `hours` apart; half of that as an angle is
    `hour_angle_deg`. `correction_deg` is the halving line's azimuth from the meridian by the
    declination's change, east plus; `north_deg` the board direction of true north that follows,
    `u_deg` its standard uncertainty.
    """

    mark: int
    between: tuple[int, int]
    length_mm: float
    direction_deg: tuple[float, float]
    halving_deg: float
    declination_deg: tuple[float, float]
    hours: float
    correction_deg: float
    north_deg: float
    u_deg: float

    @property
    def hour_angle_deg(self) -> float:
        return self.hours / 2.0 * 15.0


@dataclass(frozen=True)
class WorkedNoon:
    """The noon shadow worked to a latitude, degrees; `sun_in_south` tells on which side."""

    length_mm: float
    zenith_distance_deg: float
    refraction_deg: float
    edge_deg: float
    declination_deg: float
    sun_in_south: bool
    latitude_deg: float
    u_deg: float


@dataclass(frozen=True)
class ShortestMark:
    """What the single shortest mark says of north, and why it says so little.

    `north_deg` is the board direction of true north if `mark` were the noon shadow, `off_deg` that
    less the adopted one, clockwise plus. `longer_mm` is how much longer it is than the day's
    shortest shadow. Marking tells lengths apart by `tells_mm` (95 %): the
    shadow is within that of its shortest for `minutes` about noon, while its direction turns by
    `turns_deg`. `track` is the day's shadow about noon, (n, 2): degrees from the meridian line and
    length, mm; `marks` the same of the marks, as the adopted line has them.
    """

    mark: int
    north_deg: float
    off_deg: float
    tells_mm: float
    minutes: float
    turns_deg: float
    longer_mm: float
    track: Array
    marks: Array

    @property
    def near_noon(self) -> bool:
        """Whether it lies about noon at all."""
        return abs(self.off_deg) <= self.turns_deg


@dataclass(frozen=True)
class Worksheet:
    """The steps that a board allows, None where it lacks the marks; `toward_north` tells where
    the noon shadow points."""

    pair: WorkedPair | None
    noon: WorkedNoon | None
    shortest: ShortestMark
    toward_north: bool


def worksheet(reduced: Reduced) -> Worksheet:
    """Work a reduced board by hand.

    Args:
        reduced: with a direction (`reduced.determined`).
    """
    board = reduced.board.of(reduced.fit.kept) if reduced.fit.kept.any() else reduced.board
    numbers = np.flatnonzero(reduced.fit.kept) if reduced.fit.kept.any() else np.arange(board.count)
    toward_north = bool(np.cos(board.shadow_azimuth_rad(board.noon_utc_s)) > 0)
    half = halves(reduced.board, reduced.fit)[numbers]
    return Worksheet(
        _pair(board, half, numbers, reduced, toward_north),
        _noon(board, reduced),
        _shortest(board, numbers, reduced, toward_north),
        toward_north,
    )


def _pair(
    board: Board, half: NDArray[np.int8], numbers: NDArray[np.intp], reduced: Reduced, north: bool
) -> WorkedPair | None:
    best = best_pair(board, half)
    if best is None:
        return None
    mark, others, part, u_rad = best.mark, best.others, best.part, best.azimuth_u_rad
    afternoon = half[mark] > 0
    length = float(board.length_mm[mark])
    instants = board.times_of_lengths(np.array([length, length]), np.array([False, True]))
    if not np.isfinite(instants).all():
        return None
    own = float(np.degrees(board.direction_rad[mark]))
    other = _crossing_deg(
        board, others, part, float(instants[0 if afternoon else 1]), not afternoon
    )
    directions = (other, own) if afternoon else (own, other)
    halving = directions[0] + float(wrap_180(directions[1] - directions[0])) / 2.0
    adopted = -reduced.board_azimuth_deg + (0.0 if north else 180.0)
    if abs(float(wrap_180(halving - adopted))) > 90.0:
        halving += 180.0
    declination = sun.declination_deg(instants)
    hours = float(instants[1] - instants[0]) * sun.SUN_RATE_DEG_PER_S / 15.0
    # Equal altitudes: cos a sin A = −cos δ sin t, so that dA = dδ / (cos φ sin t) on either side.
    correction = float(declination[1] - declination[0]) / (
        2.0 * np.cos(np.radians(board.latitude_deg)) * np.sin(np.radians(hours * 7.5))
    )
    return WorkedPair(
        int(numbers[mark]),
        (int(numbers[others[0]]), int(numbers[others[1]])),
        length,
        (float(wrap_360(directions[0])), float(wrap_360(directions[1]))),
        float(wrap_360(halving)),
        (float(declination[0]), float(declination[1])),
        hours,
        correction,
        float(wrap_360(halving - correction - (0.0 if north else 180.0))),
        float(np.degrees(u_rad)),
    )


def _crossing_deg(
    board: Board, others: tuple[int, int], part: float, utc_s: float, afternoon: bool
) -> float:
    """Where a circle crosses the smooth curve of a day's shadow through two marks."""
    instants = board.times_of_lengths(board.length_mm[list(others)], afternoon)
    single = np.degrees(board.shadow_azimuth_rad(instants) - board.direction_rad[list(others)])
    between = single[0] + part * float(wrap_180(single[1] - single[0]))
    return float(np.degrees(board.shadow_azimuth_rad(utc_s)) - between)


def _noon(board: Board, reduced: Reduced) -> WorkedNoon | None:
    noon = reduced.noon_shadow
    if noon is None:
        return None
    edge = float(np.degrees(board.edge_rad))
    altitude = 90.0 - noon.zenith_distance_deg - edge
    lift = float(sun.refraction_deg(altitude, board.pressure_hpa, board.temperature_c))
    declination = float(sun.declination_deg(board.noon_utc_s))
    south = bool(board.light(board.noon_utc_s)[1] < 0)
    zenith = noon.zenith_distance_deg + lift + edge
    latitude = declination + (zenith if south else -zenith)
    return WorkedNoon(
        noon.length_mm,
        noon.zenith_distance_deg,
        lift,
        edge,
        declination,
        south,
        latitude,
        noon.u_deg,
    )


def _shortest(
    board: Board, numbers: NDArray[np.intp], reduced: Reduced, north: bool
) -> ShortestMark:
    mark = int(np.argmin(board.length_mm))
    meridian = 0.0 if north else 180.0
    said = float(np.degrees(board.direction_rad[mark])) - meridian
    track_utc_s = board.noon_utc_s + np.arange(-_WINDOW_S, _WINDOW_S + 1.0, _STEP_S)
    tips = np.stack(board.tips(track_utc_s, reduced.fit.state), axis=-1)
    lengths, lit = np.hypot(*tips.T), board.light(track_utc_s)[2] > 0.02
    turned = _turned_deg(tips, reduced, meridian)
    tells = COVERAGE_95 * board.tolerances.mark_sd_mm
    alike = lit & (lengths <= lengths[lit].min() + tells)
    first, last = np.flatnonzero(alike)[[0, -1]]
    marks_turned = _turned_deg(np.column_stack([board.x_mm, board.y_mm]), reduced, meridian)
    return ShortestMark(
        int(numbers[mark]),
        float(wrap_360(said)),
        float(wrap_180(said + reduced.board_azimuth_deg)),
        tells,
        float(track_utc_s[last] - track_utc_s[first]) / 60.0,
        float(abs(turned[last] - turned[first])),
        float(board.length_mm[mark] - lengths[lit].min()),
        np.column_stack([turned, lengths])[lit],
        np.column_stack([marks_turned, board.length_mm]),
    )


def _turned_deg(tips_mm: Array, reduced: Reduced, meridian_deg: float) -> Array:
    """How far tips lie from the meridian line, degrees clockwise, by the adopted direction."""
    direction = np.degrees(np.arctan2(tips_mm[:, 0], tips_mm[:, 1]))
    return np.asarray(wrap_180(direction + reduced.board_azimuth_deg - meridian_deg))
