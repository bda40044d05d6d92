"""Gauss–Newton on many boards at once: each a row of arrays, its marks padded to the longest.

What is solved, and how marks are weighed and judged, is told in `adjustment`; here it is done
for a batch of readings of boards, none of which knows of the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.numbers import sun
from orient.numbers.light import HALF_DAY_S, LOWEST_LIGHT_DEG, light_altitude_deg
from orient.numbers.propagation import edge_scatter_mm
from orient.numbers.shadow import UNKNOWNS, BoardState
from orient.observation.board import Board

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]

AZIMUTH, WATCH = UNKNOWNS.index("board_azimuth_rad"), UNKNOWNS.index("watch_error_s")
HEIGHT, LATITUDE = UNKNOWNS.index("height_mm"), UNKNOWNS.index("latitude_rad")

#: Sizes of step natural to each unknown, which keep the normal matrices well scaled.
SCALE = np.array([1e-3, 1.0, 1.0, 1e-3, 1e-3, 1.0, 10.0, 1e-3, 1e-3])

#: The misfit of a mark at night.
_DARK = 1e6
#: A tip never runs faster than this: beside it, a sun at the horizon has no shadow to mark, mm/s.
_FASTEST_MM_S = 1e6
#: Chance that a clean board has a mark rejected.
FALSE_ALARM = 0.003
#: A part of the marks beyond which misfits are no blunders but a wrong board.
MOST_BLUNDERS = 1 / 3

#: A rod is never found to be so small a part of what was stated: without a height it would
#: fit marks of every kind, all of them being one point.
SHORTEST_ROD = 0.02

# Flat priors, wide enough to tell nothing, that keep the normal matrix regular.
_FLAT_AZIMUTH_RAD = 10.0
FLAT_WATCH_S = 86400.0
#: A watch whose setting is unknown is within this of the site's clock: else the day is another.
FARTHEST_WATCH_S = 15 * 3600.0
FLAT_LATITUDE_RAD = 1.0
_STEPS = 40
_ROBUST_STEPS = 12
_VERDICTS = 6
# Steps no longer than the linear form can be trusted for: 0.2 rad, half an hour; the height's
# is a part of the rod.
_LIMITS = np.array([200.0, 50.0, 50.0, 50.0, 50.0, np.nan, 180.0, 50.0, 100.0])


@dataclass(frozen=True)
class Problem:
    """A board with what is free in it and how the marks are tied to the sky."""

    board: Board
    timed: Mask
    prior: Array
    prior_sd: Array
    stated: Mask

    @classmethod
    def of(
        cls,
        board: Board,
        free_watch: bool = False,
        free_height: bool = False,
        free_latitude: bool = False,
        by_time: bool = True,
    ) -> Problem:
        """The board with some of what was stated of it forgotten, as `adjustment.adjust` has it."""
        timed = np.isfinite(board.watch_utc_s) & (by_time and board.watch != "none")
        prior_sd = board.tolerances.prior_sd()
        prior_sd[AZIMUTH] = _FLAT_AZIMUTH_RAD
        if not timed.any():
            prior_sd[WATCH] = 0.0
        elif free_watch or board.watch == "running":
            prior_sd[WATCH] = FLAT_WATCH_S
        if free_height:
            prior_sd[HEIGHT] = board.height_mm
        if free_latitude:
            prior_sd[LATITUDE] = FLAT_LATITUDE_RAD
        stated = prior_sd > 0
        stated[AZIMUTH] = False
        stated[WATCH] &= not (free_watch or board.watch == "running")
        stated[HEIGHT] &= not free_height
        stated[LATITUDE] = False
        return cls(board, np.asarray(timed), np.asarray(board.nominal()), prior_sd, stated)


@dataclass(frozen=True)
class Batch:
    """Problems as arrays: r rows, each padded to n marks.

    `long` is one board whose figures are (r, 1) and whose marks are (r, n); `there` tells
    marks from padding. `prior`, `prior_sd` and `stated` are (r, 9). `single` and `double` are
    the squares of a standardised residual, in one and in two dimensions, that a clean board
    hardly has; `dawn` and `dusk` the day's first and last light; all (r, 1).
    """

    long: Board
    there: Mask
    timed: Mask
    prior: Array
    prior_sd: Array
    stated: Mask
    mark_sd_mm: Array
    time_sd_s: Array
    edge_scatter: Array
    single: Array
    double: Array
    dawn: Array
    dusk: Array

    @property
    def rows(self) -> int:
        return len(self.there)

    @property
    def free(self) -> Mask:
        return self.prior_sd > 0

    @property
    def untimed(self) -> Mask:
        return self.there & ~self.timed

    @property
    def each(self) -> Array:
        """Residuals each mark gives: two with a time, one without."""
        return np.where(self.timed, 2.0, 1.0)

    @property
    def threshold(self) -> Array:
        """Squared standardised residual of each mark that a clean board hardly has."""
        return np.where(self.timed, self.double, self.single)

    def of(self, rows: Index) -> Batch:
        """Some of the rows."""
        if len(rows) == self.rows:
            return self
        own = {each.name: getattr(self, each.name)[rows] for each in fields(self)[1:]}
        return Batch(
            replace(self.long, **{name: getattr(self.long, name)[rows] for name in _OF_LONG}),
            **own,
        )


_OF_BOARD = (
    "latitude_deg", "longitude_deg", "height_mm", "elevation_m", "pressure_hpa",
    "temperature_c", "noon_utc_s",
)  # fmt: skip
_OF_MARKS = ("x_mm", "y_mm", "watch_utc_s")
_OF_LONG = _OF_BOARD + _OF_MARKS


def batch(problems: Sequence[Problem]) -> Batch:
    """Lay problems side by side, those of few marks padded."""
    boards = [each.board for each in problems]
    counts = np.array([board.count for board in boards])
    there = np.arange(counts.max()) < counts[:, None]

    def column(values: Sequence[float]) -> Array:
        return np.array(values, dtype=float)[:, None]

    def padded(parts: Sequence[Any], filler: Any) -> Any:
        out = np.full(there.shape, filler)
        out[there] = np.concatenate(parts)
        return out

    figures: dict[str, Any] = {
        name: column([getattr(board, name) for board in boards]) for name in _OF_BOARD
    }
    figures |= {name: padded([getattr(b, name) for b in boards], np.nan) for name in _OF_MARKS}
    for name in ("x_mm", "y_mm"):
        figures[name][~there] = 0.0
    limits = [thresholds(board.count) for board in boards]
    days = [
        (board.noon_utc_s, board.noon_utc_s) if each.timed.all() else daylight(board)
        for each, board in zip(problems, boards, strict=True)
    ]
    tolerances = [board.tolerances for board in boards]
    return Batch(
        Board(**figures, half=np.zeros(0, np.int8), ring=np.zeros(0, str)),
        there,
        padded([each.timed for each in problems], False),
        np.stack([each.prior for each in problems]),
        np.stack([each.prior_sd for each in problems]),
        np.stack([each.stated for each in problems]),
        column([each.mark_sd_mm for each in tolerances]),
        column([each.time_sd_s for each in tolerances]),
        column([each.edge_scatter for each in tolerances]),
        column([each[0] for each in limits]),
        column([each[1] for each in limits]),
        column([each[0] for each in days]),
        column([each[1] for each in days]),
    )


@dataclass(frozen=True)
class Linear:
    """Residuals about some state of the boards, and how the unknowns would change them."""

    residual: Array  # (r, n, 2) mm, the part that tells something
    told: Array  # (r, n, 2), the same in standard uncertainties; one number without a time
    design: Array  # (r, n, 2, 9), of `told`, in units of `SCALE`; zero for what is fixed
    whiten: Array  # (r, n, 2, 2), from mm to standard uncertainties
    scatter: Array  # (r, n) logarithm of the variance of what is told
    whole: Array  # (r, n, 2) mm
    partials: Array  # (r, n, 2, 9), of the whole
    along: Array  # (r, n, 2) mm/s, velocity of the tip

    @property
    def lit(self) -> Mask:
        return np.asarray(np.isfinite(self.residual).all(axis=-1))

    def of(self, rows: Mask) -> Linear:
        """Some of the boards."""
        return self if rows.all() else Linear(*(getattr(self, f.name)[rows] for f in fields(self)))

    def where(self, usable: Mask) -> Linear:
        """The same with the other marks' entries zero."""
        if usable.all():
            return self
        parts = (getattr(self, field.name) for field in fields(self))
        return Linear(
            *(np.where(usable.reshape(*usable.shape, *[1] * (p.ndim - 2)), p, 0.0) for p in parts)
        )


def linearise(many: Batch, values: Array, utc_s: Array) -> Linear:
    """The boards about their states (r, 9), untimed marks made at `utc_s` (r, n)."""
    long = many.long
    instants = np.where(many.timed, long.watch_utc_s - values[:, [WATCH]], utc_s)
    tips, partials = long.tips_and_partials(instants, BoardState(*values.T[..., None]))
    # Light that grazes the board throws the tip beyond what a linear step can follow.
    farthest = long.height_mm / np.tan(np.radians(LOWEST_LIGHT_DEG))
    tips[np.hypot(tips[..., 0], tips[..., 1]) > farthest] = np.nan
    whole = np.stack([long.x_mm, long.y_mm], axis=-1) - tips
    along = -partials[..., WATCH]
    # Without a time, only what lies across the track tells anything.
    speed = np.hypot(along[..., 0], along[..., 1])
    across = np.stack([-along[..., 1], along[..., 0]], axis=-1) / speed[..., None]
    residual = whole
    if many.untimed.any():
        only = across * np.sum(across * whole, axis=-1)[..., None]
        residual = np.where(many.timed[..., None], whole, only)
    whiten, scatter = _whitening(many, along, across)
    scaled = partials * np.where(many.free, SCALE, 0.0)[:, None, None, :]
    return Linear(
        residual,
        np.einsum("rnij,rnj->rni", whiten, whole),
        whiten @ scaled,
        whiten,
        scatter,
        whole,
        partials,
        along,
    )


def _whitening(many: Batch, along: Array, across: Array) -> tuple[Array, Array]:
    """What turns each mark's millimetres into standard uncertainties, (r, n, 2, 2), and the
    logarithm of its variance: of both coordinates, or of what lies across the track."""
    long = many.long
    length = long.length_mm
    outward = np.stack([long.x_mm, long.y_mm], axis=-1) / np.maximum(length, 1e-9)[..., None]
    soft = edge_scatter_mm(length, long.height_mm, many.edge_scatter)
    own = many.mark_sd_mm**2
    pace = np.clip(np.nan_to_num(along), -_FASTEST_MM_S, _FASTEST_MM_S)
    late = np.where(many.timed, many.time_sd_s, 0.0)[..., None] * pace
    spread = soft[..., None] * outward
    xx = own + spread[..., 0] ** 2 + late[..., 0] ** 2
    xy = spread[..., 0] * spread[..., 1] + late[..., 0] * late[..., 1]
    twist = spread[..., 0] * late[..., 1] - spread[..., 1] * late[..., 0]
    length_2 = np.sum(spread**2, axis=-1) + np.sum(late**2, axis=-1)
    determinant = own * (own + length_2) + twist**2
    # The inverse of the lower Cholesky factor of each mark's 2 × 2 covariance; the determinant
    # summed, not subtracted, so that it holds where a tip runs far in a second.
    first = 1.0 / np.sqrt(xx)
    second = np.sqrt(xx / determinant)
    whiten = np.zeros((*xx.shape, 2, 2))
    whiten[..., 0, 0], whiten[..., 1, 1] = first, second
    whiten[..., 1, 0] = -second * xy / xx
    scatter = -2.0 * np.log(first * second)
    if many.untimed.any():
        seen = own + np.sum(across * spread, axis=-1) ** 2
        one = np.stack([across / np.sqrt(seen)[..., None], np.zeros_like(across)], axis=-2)
        whiten = np.where(many.timed[..., None, None], whiten, one)
        scatter = np.where(many.timed, scatter, np.log(seen))
    return whiten, scatter


def normal(many: Batch, linear: Linear, values: Array, weight: Array) -> tuple[Array, Array]:
    """Normal matrices (r, 9, 9) and right-hand sides (r, 9) in units of `SCALE`.

    What is fixed has a one on the diagonal and nothing else.
    """
    design = linear.design.reshape(many.rows, -1, len(UNKNOWNS))
    weighted = np.swapaxes(design * np.repeat(weight, 2, axis=1)[..., None], 1, 2)
    matrix = weighted @ design
    right = (weighted @ linear.told.reshape(many.rows, -1, 1))[..., 0]
    with np.errstate(divide="ignore"):
        pull = np.where(many.free, (SCALE / many.prior_sd) ** 2, 0.0)
    right += pull * (many.prior - values) / SCALE
    diagonal = np.arange(len(UNKNOWNS))
    matrix[:, diagonal, diagonal] += np.where(many.free, pull, 1.0)
    return matrix, right


def _step(
    many: Batch, linear: Linear, values: Array, utc_s: Array, weight: Array
) -> tuple[Array, Array, Array]:
    """One Gauss–Newton step: the new unknowns and instants, and the steps' natural sizes."""
    # A mark whose light is under the board just now has no say in this step.
    lit = linear.lit & many.there
    linear = linear.where(lit)
    matrix, right = normal(many, linear, values, np.where(lit, weight, 0.0))
    move = np.linalg.solve(matrix, right[..., None])[..., 0]
    reach = np.abs(move)
    limits = np.broadcast_to(_LIMITS, reach.shape).copy()
    limits[:, HEIGHT] = 0.1 * many.prior[:, HEIGHT]
    least = np.min(limits / np.maximum(reach, 1e-12), axis=1)
    change = move * np.minimum(1.0, least)[:, None] * SCALE
    new = values + change
    new[:, HEIGHT] = np.maximum(new[:, HEIGHT], SHORTEST_ROD * many.prior[:, HEIGHT])
    size = reach.max(axis=1)
    untimed = many.untimed
    if not untimed.any():
        return new, utc_s, size
    left = linear.whole - np.einsum("rnik,rk->rni", linear.partials, change)
    speed_2 = np.sum(linear.along**2, axis=-1)
    shift = np.sum(linear.along * left, axis=-1) / np.maximum(speed_2, 1e-12)
    moved = np.clip(utc_s + np.clip(shift, -1200.0, 1200.0), many.dawn, many.dusk)
    moved = np.where(untimed, moved, utc_s)
    stride = np.where(untimed, np.abs(moved - utc_s), 0.0).max(axis=1)
    return new, moved, np.maximum(size, stride / 10.0)


def _solve(many: Batch, values: Array, utc_s: Array, weight: Array) -> tuple[Array, Array, Mask]:
    """Step until nothing moves; which rows' last step was small."""
    values, utc_s, size = values.copy(), utc_s.copy(), np.full(many.rows, np.inf)
    going = np.arange(many.rows)
    for _ in range(_STEPS):
        part, state = many.of(going), (values[going], utc_s[going])
        step = _step(part, linearise(part, *state), *state, weight[going])
        values[going], utc_s[going], size[going] = step
        going = np.flatnonzero(~(size < 1e-7))
        if not going.size:
            break
    return values, utc_s, np.asarray(size < 1e-3)


def solve_robustly(many: Batch, values: Array, utc_s: Array) -> tuple[Array, Array, Array, Array]:
    """Iterate with weights that fall with the misfit (Huber), so that no blunder steers.

    Returns:
        The unknowns, the instants, the weights, and the sums of squares in which no mark counts
        for more than a rejected one.
    """
    values, utc_s, weight = values.copy(), utc_s.copy(), np.ones(many.there.shape)
    cost, going = np.full(many.rows, np.inf), np.arange(many.rows)
    linear = linearise(many, values, utc_s)
    for _ in range(_ROBUST_STEPS):
        part, before = many.of(going), weight[going]
        state = *_, size = _step(part, linear, values[going], utc_s[going], before)
        linear = linearise(part, *state[:2])
        misfit = misfits(linear)
        new = np.minimum(1.0, 1.5 * _noise(part, misfit)[:, None] / np.maximum(misfit, 1e-9))
        values[going], utc_s[going], weight[going] = *state[:2], new
        cost[going] = _robust_cost(part, misfit, state[0])
        change = np.where(part.there, np.abs(new - before), 0.0).max(axis=1)
        moving = ~((size < 1e-3) & (change < 0.01))
        going, linear = going[moving], linear.of(moving)
        if not going.size:
            break
    return values, utc_s, weight, cost


def misfits(linear: Linear) -> Array:
    """Length of each mark's residual in units of its scatter; huge without light."""
    length = np.sqrt(np.sum(linear.told**2, axis=-1))
    return np.where(np.isfinite(length), length, _DARK)


def _noise(many: Batch, misfit: Array) -> Array:
    """How many times the stated tolerance the marks scatter, from their median; at least 1."""
    # Medians of the length of a standard normal residual in one and in two dimensions.
    scaled = misfit / np.where(many.timed, 1.177, 0.674)
    known = np.isfinite(scaled) & many.there
    ordered = np.sort(np.where(known, scaled, np.inf), axis=1)
    count, rows = known.sum(axis=1), np.arange(many.rows)
    lower, upper = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, misfit.shape[1] - 1)
    middle = (ordered[rows, lower] + ordered[rows, upper]) / 2.0
    return np.maximum(1.0, np.where(count > 0, middle, 1.0))


def prior_misfits(many: Batch, values: Array) -> Array:
    """How far each unknown went from what was stated, in its tolerance; 0 where fixed."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(many.free, (values - many.prior) / many.prior_sd, 0.0)


def _robust_cost(many: Batch, misfit: Array, values: Array) -> Array:
    of_marks = np.sum(np.where(many.there, np.minimum(misfit**2, many.threshold), 0.0), axis=1)
    cost = of_marks + np.sum(prior_misfits(many, values) ** 2, axis=1)
    # Marks at night are no way out: a start that has them there yields to any that has not.
    dark = np.sum(many.there & (misfit >= _DARK), axis=1)
    cost += np.where(dark > MOST_BLUNDERS * many.there.sum(axis=1), _DARK, 0.0)
    # Nor is the next day, whose sun stands almost where this one's does.
    away_s = np.abs(values[:, WATCH] - many.prior[:, WATCH])
    cost += np.where(many.free[:, WATCH] & (away_s > FARTHEST_WATCH_S), _DARK, 0.0)
    return np.where(np.isfinite(values).all(axis=1), cost, np.inf)


def adjust_from(
    many: Batch, values: Array, utc_s: Array, weight: Array
) -> tuple[Array, Array, Mask, Mask]:
    """Adjust to the marks that agree, and judge the marks again, until both hold.

    Returns:
        The unknowns, the instants, the marks kept, and which rows converged.
    """
    kept = _judge(many, values, utc_s, weight, many.there)
    values, utc_s, converged = values.copy(), utc_s.copy(), np.zeros(many.rows, dtype=bool)
    going = np.arange(many.rows)
    for verdict in range(_VERDICTS):
        part, before = many.of(going), kept[going]
        state = _solve(part, values[going], utc_s[going], before.astype(float))
        values[going], utc_s[going], converged[going] = state
        kept[going] = _judge(part, *state[:2], before.astype(float), before)
        # Marks about which nothing settles, four times over, are no reading: that is the end.
        again = (kept[going] != before).any(axis=1) & (converged[going] | (verdict < 3))
        going = going[again]
        if not going.size:
            break
    return values, utc_s, kept, converged


def _judge(many: Batch, values: Array, utc_s: Array, weight: Array, included: Mask) -> Mask:
    """Which marks agree with all the others, each tested against a fit without it."""
    seen = linearise(many, values, utc_s)
    lit = seen.lit & many.there
    spread = _noise(many, np.where(included, misfits(seen), np.nan))
    linear = seen.where(lit)
    covariance = np.linalg.inv(normal(many, linear, values, weight)[0])
    of_fit = linear.design @ covariance[:, None] @ np.swapaxes(linear.design, -1, -2)
    # A mark that took part has drawn the fit toward itself: its residual is the smaller.
    share = np.where(included, -np.minimum(weight, 1.0), 1.0)[..., None, None]
    # A mark that alone fixes an unknown cannot be tested: its variance stays above zero.
    variance = spread[:, None, None, None] ** 2 * (np.eye(2) + share * of_fit) + 0.01 * np.eye(2)
    weighted = np.linalg.solve(variance, linear.told[..., None])[..., 0]
    good = lit & (np.sum(linear.told * weighted, axis=-1) < many.threshold)
    agree = good.sum(axis=1) >= (1.0 - MOST_BLUNDERS) * many.there.sum(axis=1) - 1e-9
    return np.where(agree[:, None], good, lit)


@lru_cache(maxsize=1024)
def thresholds(count: int) -> tuple[float, float]:
    """Squares of a standardised residual, in one and two dimensions, that mark a blunder."""
    # scipy.stats has the same, and takes longer to import than a board to adjust.
    from scipy.special import chdtri

    return float(chdtri(1, FALSE_ALARM / count)), float(chdtri(2, FALSE_ALARM / count))


@lru_cache(maxsize=256)
def _daylight_of(
    latitude_deg: float, longitude_deg: float, noon_utc_s: float, lowest_deg: float
) -> tuple[float, float]:
    instants = noon_utc_s + np.arange(-HALF_DAY_S, HALF_DAY_S + 1.0, 60.0)
    up = light_altitude_deg(sun.direction(instants, latitude_deg, longitude_deg)[:3]) > lowest_deg
    if not up.any():
        return noon_utc_s, noon_utc_s
    return float(instants[up][0]), float(instants[up][-1])


def daylight(board: Board) -> tuple[float, float]:
    """First and last instant of the day with light enough for a shadow."""
    return _daylight_of(board.latitude_deg, board.longitude_deg, board.noon_utc_s, LOWEST_LIGHT_DEG)
