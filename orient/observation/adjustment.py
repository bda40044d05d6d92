"""The least-squares adjustment of a board: every mark, every tolerance, one azimuth.

Unknowns are those of `shadow.UNKNOWNS`. All but the board azimuth carry their stated
tolerance as a prior observation; residuals are millimetres on the board. A mark with a
trusted or a running watch gives two residuals. A mark without one gives a single residual,
across the shadow's track: its instant is a nuisance unknown, solved for with the rest.

A mark scatters by the marking tolerance each way, along the shadow by a part of the day's
own soft edge too, whose width grows with the square of the light's path, and along the track
by what its time is worth. Residuals and partials are divided by that scatter ("whitened").

The standard uncertainty is propagated from the tolerances (in the sense of JCGM 100:2008,
5.1.2), and widened where the marks scatter beyond what they allow.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.numbers import sun
from orient.numbers.light import HALF_DAY_S, LOWEST_LIGHT_DEG, light_altitude_deg
from orient.numbers.propagation import edge_scatter_mm
from orient.numbers.shadow import UNKNOWNS, BoardState
from orient.numbers.tolerances import SHARED_TERMS
from orient.observation.board import Board

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

AZIMUTH, WATCH = UNKNOWNS.index("board_azimuth_rad"), UNKNOWNS.index("watch_error_s")
HEIGHT, LATITUDE = UNKNOWNS.index("height_mm"), UNKNOWNS.index("latitude_rad")

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
FLAT_LATITUDE_RAD = 1.0
_STEPS = 40
# What one mark can cost at most while starts are sought.
_WORST_MISS_MM = 15.0
# A reading of the board is out of the question when its sum of squares is this much greater.
_UNLIKELY_COST = 12.0
_ROBUST_STEPS = 12
# A stated quantity is tested only as far as the marks take away this part of its variance.
_LEAST_TAKEN = 0.05


@dataclass(frozen=True)
class Fit:
    """An adjusted board.

    `state` and `covariance` are in the order of `shadow.UNKNOWNS` (fixed ones have no
    variance). `residual_mm` (n, 2) is observed less adjusted, for every mark, rejected
    ones too. `kept` tells which marks the result rests on. `cost` is the sum of squared
    standardised residuals, of marks and priors, each rejected mark costing the threshold
    of its test, and `kept_cost` that of the kept ones and priors alone. `spread` is the
    factor by which the covariance was widened.

    `pulls_cost` is the chi-square, of `pulls_freedom` degrees, of everything stated: how
    much the sum of squares falls where the marks alone decide of level, foot, height, watch
    and edge. `scale_cost` is the sum of the logarithms of the kept marks' variances, and
    `open_cost` of how much of what was known before the marks have left open: with `cost`
    they make −2 log of the evidence for one reading of the board against another.
    `rivals` are fits of the same board from other starts that fit hardly worse.
    """

    state: BoardState
    covariance: Array
    residual_mm: Array
    kept: Mask
    utc_s: Array
    cost: float
    freedom: int
    spread: float
    terms: dict[str, float]
    prior_misfit: Array
    converged: bool
    pulls_cost: float = 0.0
    pulls_freedom: int = 0
    scale_cost: float = 0.0
    open_cost: float = 0.0
    kept_cost: float = 0.0
    rivals: tuple[Fit, ...] = ()

    @property
    def azimuth_u_rad(self) -> float:
        return float(np.sqrt(self.covariance[AZIMUTH, AZIMUTH]))

    @property
    def bears(self) -> bool:
        """Whether it rests on two thirds of the marks: those at night count as left out."""
        return bool(np.mean(~self.kept) <= MOST_BLUNDERS)

    @property
    def pulled(self) -> bool:
        """Whether the marks contradict what was stated as one board in 300 does by chance."""
        return self.pulls_cost > _doubtful_cost(self.pulls_freedom)


@dataclass(frozen=True)
class _Problem:
    """A board with what is free in it and how the marks are tied to the sky."""

    board: Board
    timed: Mask
    prior: Array
    prior_sd: Array
    stated: Mask

    @property
    def free(self) -> Mask:
        return self.prior_sd > 0

    @property
    def each(self) -> Array:
        """Residuals each mark gives: two with a time, one without."""
        return np.where(self.timed, 2.0, 1.0)

    @property
    def threshold(self) -> Array:
        """Squared standardised residual of each mark that a clean board hardly has."""
        one, two = _thresholds(self.board.count)
        return np.where(self.timed, two, one)


@dataclass(frozen=True)
class _Linear:
    """A board's residuals about some state of it, and how the unknowns would change them."""

    residual: Array  # (n, 2) mm, the part that tells something
    told: Array  # (n, 2), the same in standard uncertainties; one number without a time
    design: Array  # (n, 2, free), of `told`, in units of the unknowns' natural scales
    whiten: Array  # (n, 2, 2), from mm to standard uncertainties
    scatter: Array  # (n,) logarithm of the variance of what is told
    whole: Array  # (n, 2) mm
    partials: Array  # (n, 2, free), of the whole
    along: Array  # (n, 2) mm/s, velocity of the tip

    @property
    def lit(self) -> Mask:
        return np.asarray(np.isfinite(self.residual).all(axis=1))

    def where(self, usable: Mask) -> _Linear:
        """The same with the other marks' entries zero."""
        if usable.all():
            return self
        parts = (getattr(self, field.name) for field in fields(self))
        return _Linear(
            *(np.where(usable.reshape(-1, *[1] * (part.ndim - 1)), part, 0.0) for part in parts)
        )


def adjust(
    board: Board,
    free_watch: bool = False,
    free_height: bool = False,
    free_latitude: bool = False,
    by_time: bool = True,
    near: Fit | None = None,
) -> Fit:
    """Adjust a board to its marks.

    Args:
        board: with at least one mark.
        free_watch, free_height, free_latitude: forget what was stated of the watch's
            setting, the rod's height, the site's latitude, and solve for it.
        by_time: whether marks are tied to the sky by their watch times, where they have
            them; by default where the watch is not `none`.
        near: a fit of the same marks to begin from, where the answer is known to lie near it.

    Returns:
        The best fit found; `converged` is False where the last step was not yet small.
    """
    problem = _problem(board, free_watch, free_height, free_latitude, by_time)
    starts = _starts(problem) if near is None else [(np.asarray(near.state), near.utc_s)]
    tries = [_solve_robustly(problem, *start) for start in starts]
    costs = [_robust_cost(problem, *each) for each in tries]
    likely = [
        each
        for each, cost in zip(tries, costs, strict=True)
        if cost <= min(costs) + 2 * _UNLIKELY_COST
    ]
    fits = sorted((_adjust_from(problem, *each) for each in likely), key=lambda fit: fit.cost)
    best = _widened(fits[0], fits[1:])
    rivals = tuple(fit for fit in fits[1:] if fit.cost - best.cost < 2 * _UNLIKELY_COST)
    return replace(best, rivals=rivals)


def _widened(best: Fit, others: list[Fit]) -> Fit:
    """The best fit, its azimuth as uncertain as others that fit the marks hardly worse make it.

    With a single mark, say, morning and afternoon may both be possible. Each reading has the
    likelihood that its sum of squares gives it; the variance is taken over all of them.
    """
    likelihood, square = 1.0, 0.0
    for other in others:
        apart = np.angle(
            np.exp(1j * (other.state.board_azimuth_rad - best.state.board_azimuth_rad))
        )
        worse = other.cost - best.cost
        if worse < _UNLIKELY_COST and abs(apart) > 3.0 * best.azimuth_u_rad:
            likelihood += float(np.exp(-worse / 2.0))
            square += float(np.exp(-worse / 2.0) * apart**2)
    covariance = best.covariance.copy()
    covariance[AZIMUTH, AZIMUTH] += square / likelihood
    return replace(best, covariance=covariance) if square else best


def _problem(
    board: Board, free_watch: bool, free_height: bool, free_latitude: bool, by_time: bool
) -> _Problem:
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
    return _Problem(board, np.asarray(timed), np.asarray(board.nominal()), prior_sd, stated)


def _linearise(problem: _Problem, values: Array, utc_s: Array) -> _Linear:
    board, state, timed = problem.board, BoardState(*values), problem.timed
    instants = np.where(timed, board.watch_utc_s - values[WATCH], utc_s)
    tips, partials = board.tips_and_partials(instants, state)
    # Light that grazes the board throws the tip beyond what a linear step can follow.
    tips[np.hypot(*tips.T) > board.height_mm / np.tan(np.radians(LOWEST_LIGHT_DEG))] = np.nan
    whole = np.stack([board.x_mm, board.y_mm], axis=-1) - tips
    along = -partials[..., WATCH]
    # Without a time, only what lies across the track tells anything.
    across = np.stack([-along[:, 1], along[:, 0]], axis=-1) / np.hypot(*along.T)[:, None]
    by_time = timed[:, None]
    residual = np.where(by_time, whole, across * np.sum(across * whole, axis=1)[:, None])
    whiten, scatter = _whitening(problem, along, across)
    partials = partials[..., problem.free]
    return _Linear(
        residual,
        np.squeeze(whiten @ whole[..., None], -1),
        whiten @ (partials * _scale(problem)),
        whiten,
        scatter,
        whole,
        partials,
        along,
    )


def _whitening(problem: _Problem, along: Array, across: Array) -> tuple[Array, Array]:
    """What turns each mark's millimetres into standard uncertainties, (n, 2, 2), and the
    logarithm of its variance: of both coordinates, or of what lies across the track."""
    board, tolerances = problem.board, problem.board.tolerances
    length = board.length_mm
    outward = np.stack([board.x_mm, board.y_mm], axis=-1) / np.maximum(length, 1e-9)[:, None]
    soft = edge_scatter_mm(length, board.height_mm, tolerances)
    own = tolerances.mark_sd_mm**2
    late = np.where(problem.timed, tolerances.time_sd_s, 0.0)[:, None] * np.nan_to_num(along)
    spread = soft[:, None] * outward
    xx = own + spread[:, 0] ** 2 + late[:, 0] ** 2
    xy = spread[:, 0] * spread[:, 1] + late[:, 0] * late[:, 1]
    yy = own + spread[:, 1] ** 2 + late[:, 1] ** 2
    # The inverse of the lower Cholesky factor of each mark's 2 × 2 covariance.
    first = 1.0 / np.sqrt(xx)
    second = 1.0 / np.sqrt(yy - xy**2 / xx)
    whiten = np.zeros((board.count, 2, 2))
    whiten[:, 0, 0], whiten[:, 1, 1] = first, second
    whiten[:, 1, 0] = -second * xy / xx
    scatter = -2.0 * np.log(first * second)
    if not problem.timed.all():
        seen = own + np.sum(across * spread, axis=1) ** 2
        single = np.stack([across / np.sqrt(seen)[:, None], np.zeros_like(across)], axis=1)
        whiten = np.where(problem.timed[:, None, None], whiten, single)
        scatter = np.where(problem.timed, scatter, np.log(seen))
    return whiten, scatter


def linearised(board: Board, fit: Fit) -> tuple[Array, Array, Array, Array, Array]:
    """The board as stated, linear about a fit of it.

    Returns:
        Residuals (n, 2) and their design (n, 2, unknowns), both in standard uncertainties,
        what turns millimetres into these (n, 2, 2), the normal matrix of all the marks, and
        the pull of the priors.
    """
    problem = _problem(board, False, False, False, True)
    values = np.asarray(fit.state)
    linear = _linearise(problem, values, fit.utc_s)
    nothing = linear.where(np.zeros(board.count, dtype=bool))
    ones = np.ones(board.count)
    pulls = _normal(problem, nothing, values, ones)[1]
    return (
        linear.told,
        linear.design,
        linear.whiten,
        _normal(problem, linear, values, ones)[0],
        pulls,
    )


def _normal(problem: _Problem, linear: _Linear, values: Array, weight: Array) -> tuple[Array, Any]:
    """Normal matrix and right-hand side in units of the unknowns' own scales."""
    free = problem.free
    scale = _scale(problem)
    design = linear.design.reshape(-1, scale.size)
    weighted = (design * np.repeat(weight, 2)[:, None]).T
    matrix = weighted @ design
    right = weighted @ linear.told.ravel()
    pull = (scale / problem.prior_sd[free]) ** 2
    matrix[np.diag_indices_from(matrix)] += pull
    right += pull * (problem.prior[free] - values[free]) / scale
    return matrix, right


def _scale(problem: _Problem) -> Array:
    """Sizes of step natural to each free unknown, which keep the normal matrix well scaled."""
    natural = np.array([1e-3, 1.0, 1.0, 1e-3, 1e-3, 1.0, 10.0, 1e-3, 1e-3])
    return natural[problem.free]


def _step(
    problem: _Problem, values: Array, utc_s: Array, weight: Array
) -> tuple[Array, Array, float]:
    """One Gauss–Newton step: the new unknowns and instants, and the step's natural size."""
    linear = _linearise(problem, values, utc_s)
    if not linear.lit.all():
        # A mark whose light is under the board just now has no say in this step.
        weight = np.where(linear.lit, weight, 0.0)
        linear = linear.where(linear.lit)
    matrix, right = _normal(problem, linear, values, weight)
    move = np.linalg.solve(matrix, right)
    reach = np.abs(move)
    # Steps no longer than the linear form can be trusted for: 0.2 rad, half an hour.
    limits = np.array([200.0, 50.0, 50.0, 50.0, 50.0, 0.1 * problem.prior[HEIGHT], 180, 50, 100])
    move = move * min(1.0, float(np.min(limits[problem.free] / np.maximum(reach, 1e-12))))
    new = values.copy()
    new[problem.free] += move * _scale(problem)
    new[HEIGHT] = max(new[HEIGHT], SHORTEST_ROD * problem.prior[HEIGHT])
    if problem.timed.all():
        return new, utc_s, float(reach.max())
    left = linear.whole - linear.partials @ (move * _scale(problem))
    speed_2 = np.einsum("ni,ni->n", linear.along, linear.along)
    shift = np.einsum("ni,ni->n", linear.along, left) / np.maximum(speed_2, 1e-12)
    first, last = _daylight(problem.board)
    moved = np.clip(utc_s + np.clip(shift, -1200.0, 1200.0), first, last)
    stride = np.abs(np.where(problem.timed, 0.0, moved - utc_s)).max()
    return new, moved, float(max(reach.max(), stride / 10.0))


def _solve(
    problem: _Problem, values: Array, utc_s: Array, weight: Array
) -> tuple[Array, Array, bool]:
    size = np.inf
    for _ in range(_STEPS):
        values, utc_s, size = _step(problem, values, utc_s, weight)
        if size < 1e-7:
            break
    return values, utc_s, size < 1e-3


def _solve_robustly(problem: _Problem, values: Array, utc_s: Array) -> tuple[Array, Array, Array]:
    """Iterate with weights that fall with the misfit (Huber), so that no blunder steers."""
    weight = np.ones(problem.board.count)
    for _ in range(_ROBUST_STEPS):
        values, utc_s, size = _step(problem, values, utc_s, weight)
        misfit = _misfit(problem, _linearise(problem, values, utc_s))
        new_weight = np.minimum(1.0, 1.5 * _noise(problem, misfit) / np.maximum(misfit, 1e-9))
        settled = size < 1e-3 and np.abs(new_weight - weight).max() < 0.01
        weight = new_weight
        if settled:
            break
    return values, utc_s, weight


def _misfit(problem: _Problem, linear: _Linear) -> Array:
    """Length of each mark's residual in units of its scatter; huge without light."""
    length = np.sqrt(np.sum(linear.told**2, axis=1))
    return np.where(np.isfinite(length), length, 1e6)


def _noise(problem: _Problem, misfit: Array) -> float:
    """How many times the stated tolerance the marks scatter, from their median; at least 1."""
    # Medians of the length of a standard normal residual in one and in two dimensions.
    expected = np.where(problem.timed, 1.177, 0.674)
    known = (misfit / expected)[np.isfinite(misfit)]
    return max(1.0, float(np.median(known))) if known.size else 1.0


def _robust_cost(problem: _Problem, values: Array, utc_s: Array, _: Array) -> float:
    """Sum of squares in which no mark counts for more than a rejected one."""
    misfit = _misfit(problem, _linearise(problem, values, utc_s))
    if not np.isfinite(values).all():
        return np.inf
    return float(
        np.sum(np.minimum(misfit**2, problem.threshold))
        + np.sum(_prior_misfit(problem, values) ** 2)
    )


def _prior_misfit(problem: _Problem, values: Array) -> Array:
    """How far each unknown went from what was stated, in its tolerance; 0 where fixed."""
    misfit = np.zeros(len(UNKNOWNS))
    free = problem.free
    misfit[free] = (values[free] - problem.prior[free]) / problem.prior_sd[free]
    return misfit


def _adjust_from(problem: _Problem, values: Array, utc_s: Array, weight: Array) -> Fit:
    everything = np.ones(problem.board.count, dtype=bool)
    kept = _judge(problem, values, utc_s, weight, everything)
    converged = False
    for _ in range(6):
        values, utc_s, converged = _solve(problem, values, utc_s, kept.astype(float))
        verdict = _judge(problem, values, utc_s, kept.astype(float), kept)
        if (verdict == kept).all():
            break
        kept = verdict
    return _finish(problem, values, utc_s, kept, converged)


def _judge(problem: _Problem, values: Array, utc_s: Array, weight: Array, included: Mask) -> Mask:
    """Which marks agree with all the others, each tested against a fit without it."""
    seen = _linearise(problem, values, utc_s)
    misfit = np.where(included, _misfit(problem, seen), np.nan)
    spread = _noise(problem, misfit)
    linear = seen.where(seen.lit)
    covariance = np.linalg.inv(_normal(problem, linear, values, weight)[0])
    of_fit = np.einsum("nik,kl,njl->nij", linear.design, covariance, linear.design)
    # A mark that took part has drawn the fit toward itself: its residual is the smaller.
    share = np.where(included, -np.minimum(weight, 1.0), 1.0)[:, None, None]
    # A mark that alone fixes an unknown cannot be tested: its variance stays above zero.
    variance = spread**2 * (np.eye(2) + share * of_fit) + 0.01 * np.eye(2)
    weighted = np.linalg.solve(variance, linear.told[..., None])[..., 0]
    test = np.einsum("ni,ni->n", linear.told, weighted)
    good = np.asarray(seen.lit & (test < problem.threshold))
    return good if np.mean(~good) <= MOST_BLUNDERS else seen.lit


@lru_cache(maxsize=1024)
def _thresholds(count: int) -> tuple[float, float]:
    """Squares of a standardised residual, in one and two dimensions, that mark a blunder."""
    from scipy.stats import chi2

    return float(chi2.isf(FALSE_ALARM / count, 1)), float(chi2.isf(FALSE_ALARM / count, 2))


@lru_cache(maxsize=1024)
def _doubtful_cost(freedom: int) -> float:
    """Sum of squares that a board of so many degrees of freedom exceeds once in 300."""
    from scipy.stats import chi2

    return float(chi2.isf(1 / 300, max(freedom, 1)))


def _finish(problem: _Problem, values: Array, utc_s: Array, kept: Mask, converged: bool) -> Fit:
    board, free, scale = problem.board, problem.free, _scale(problem)
    seen = _linearise(problem, values, utc_s)
    linear = seen.where(kept)
    matrix, _ = _normal(problem, linear, values, kept.astype(float))
    scaled = np.linalg.inv(matrix)
    covariance = np.zeros((len(UNKNOWNS), len(UNKNOWNS)))
    covariance[np.ix_(free, free)] = scaled * np.outer(scale, scale)
    prior_misfit = _prior_misfit(problem, values)
    of_kept = float(np.sum(_misfit(problem, linear) ** 2) + np.sum(prior_misfit**2))
    flat = int(np.count_nonzero(free & ~problem.stated))
    freedom = int(problem.each[kept].sum()) - flat
    spread = 1.0
    if freedom > 0 and of_kept > _doubtful_cost(freedom):
        spread = float(np.sqrt(of_kept / freedom))
    terms = _terms(problem, linear, covariance, kept)
    pulls_cost, pulls_freedom = _pulls(problem, covariance, prior_misfit)
    instants = np.where(problem.timed, board.watch_utc_s - values[WATCH], utc_s)
    values = values.copy()
    values[AZIMUTH] = np.mod(values[AZIMUTH], 2 * np.pi)
    return Fit(
        state=BoardState(*values.tolist()),
        covariance=covariance * spread**2,
        residual_mm=seen.residual,
        kept=kept,
        utc_s=instants,
        cost=of_kept + float(problem.threshold[~kept].sum()),
        kept_cost=of_kept,
        freedom=freedom,
        spread=spread,
        terms={name: float(np.sqrt(term)) * spread for name, term in terms.items()},
        prior_misfit=prior_misfit,
        converged=converged,
        pulls_cost=pulls_cost,
        pulls_freedom=pulls_freedom,
        scale_cost=float(linear.scatter[kept].sum()),
        open_cost=float(
            np.linalg.slogdet(matrix)[1] + 2.0 * np.sum(np.log(problem.prior_sd[free] / scale))
        ),
    )


def _pulls(problem: _Problem, covariance: Array, misfit: Array) -> tuple[float, int]:
    """Chi-square of what was stated against what the marks alone say, and its freedom.

    The marks pull each stated quantity; a pull's variance is the part of the prior's that
    the marks have taken away. Directions that the marks hardly fix are left out.
    """
    stated = problem.stated
    if not stated.any():
        return 0.0, 0
    left = covariance[np.ix_(stated, stated)] / np.outer(
        problem.prior_sd[stated], problem.prior_sd[stated]
    )
    taken, axes = np.linalg.eigh(np.eye(left.shape[0]) - left)
    known = taken > _LEAST_TAKEN
    along = axes[:, known].T @ misfit[stated]
    return float(np.sum(along**2 / taken[known])), int(np.count_nonzero(known))


def _terms(problem: _Problem, linear: _Linear, covariance: Array, kept: Mask) -> dict[str, float]:
    """The azimuth's variance by where it comes from, rad²: the terms add up to it."""
    gain = covariance[AZIMUTH]
    response = linear.design @ (gain[problem.free] / _scale(problem))
    marking = np.sum(response[kept] ** 2)
    terms = {"marking": float(marking)}
    for term, names in SHARED_TERMS.items():
        columns = [UNKNOWNS.index(name) for name in names]
        shares = [
            (gain[column] / problem.prior_sd[column]) ** 2
            for column in columns
            if problem.prior_sd[column] > 0
        ]
        terms[term] = float(np.sum(shares))
    return terms


# Where to begin -------------------------------------------------------------------------


def _starts(problem: _Problem) -> list[tuple[Array, Array]]:
    """Unknowns and instants to begin from, each near one possible reading of the board."""
    if not problem.timed.any():
        return _starts_by_shape(problem)
    if problem.prior_sd[WATCH] == FLAT_WATCH_S:
        return _starts_by_offset(problem)
    board, watch_error_s = problem.board.of(problem.timed), problem.prior[WATCH]
    azimuth = board.shadow_azimuth_rad(board.watch_utc_s - watch_error_s)
    turn = np.exp(1j * (azimuth - board.direction_rad))
    # The median of the angles about their mean: one blunder does not move it.
    middle = np.angle(np.mean(turn))
    middle += np.median(np.angle(turn * np.exp(-1j * middle)))
    return [_start(problem, float(middle), float(watch_error_s))]


def _start(problem: _Problem, azimuth_rad: float, watch_error_s: float) -> tuple[Array, Array]:
    board = problem.board
    values = problem.prior.copy()
    values[AZIMUTH], values[WATCH] = azimuth_rad, watch_error_s
    utc_s = board.watch_utc_s - watch_error_s
    if not problem.timed.all():
        nearest = nearest_on_track(board, np.array([azimuth_rad]))[1][0]
        utc_s = np.where(problem.timed, utc_s, nearest)
    return values, utc_s


def _starts_by_offset(problem: _Problem) -> list[tuple[Array, Array]]:
    """Try every setting of the watch, two minutes apart, and keep the best few."""
    board = problem.board.of(problem.timed)
    offset = board.watch_error_s + np.arange(-15 * 3600.0, 15 * 3600.0, 120.0)
    level = replace(board.nominal(), watch_error_s=0.0)
    x, y = board.tips(board.watch_utc_s - offset[:, None], level)
    predicted = x + 1j * y
    marked = board.x_mm + 1j * board.y_mm
    # A board direction is turned back by β: in the complex plane, marked = predicted · e^{iβ}.
    lit = np.isfinite(predicted)
    predicted = np.where(lit, predicted, 0.0)
    turn = np.angle(np.sum(marked * np.conj(predicted), axis=1))
    miss = np.abs(marked - predicted * np.exp(1j * turn)[:, None])
    cost = np.sum(np.where(lit, np.minimum(miss, _WORST_MISS_MM), _WORST_MISS_MM) ** 2, axis=1)
    # In half a step of the watch, a minute, the sun turns by 0.25° and the tip runs thus far.
    missed = np.radians(0.25) * (board.length_mm**2 + board.height_mm**2) / board.height_mm
    coarse = 20.0 + float(np.sum(np.minimum(missed, _WORST_MISS_MM) ** 2))
    minima = _best_minima(cost, 5, coarse)
    return [_start(problem, float(turn[best]), float(offset[best])) for best in minima]


def _starts_by_shape(problem: _Problem) -> list[tuple[Array, Array]]:
    """Lay the day's track over the marks, turned two degrees at a time; keep the best few."""
    azimuth = np.radians(np.arange(0.0, 360.0, 2.0))
    miss, instants = nearest_on_track(problem.board, azimuth)
    cost = np.sum(np.minimum(miss, _WORST_MISS_MM) ** 2, axis=1)
    # Half a step of azimuth throws a mark off by this much at its own distance.
    missed = np.minimum(np.radians(1.0) * problem.board.length_mm, _WORST_MISS_MM)
    coarse = 20.0 + float(np.sum(missed**2))
    starts = []
    for best in _best_minima(cost, 3, coarse, around=True):
        values = problem.prior.copy()
        values[AZIMUTH] = azimuth[best]
        starts.append((values, instants[best]))
    return starts


def nearest_on_track(board: Board, azimuth_rad: Array) -> tuple[Array, Array]:
    """How far each mark lies from the day's track, and when the tip passed there.

    Args:
        board: its marks, n of them; a known half of the day is kept to.
        azimuth_rad: board azimuths to try, shape (m,).

    Returns:
        Millimetres and POSIX seconds, each (m, n).
    """
    from scipy.spatial import cKDTree

    first, last = _daylight(board)
    instants = np.arange(first, last + 60.0, 60.0)
    track = np.stack(board.tips(instants, board.nominal()), axis=-1)
    direction = board.direction_rad + azimuth_rad[:, None]
    marks = np.stack(
        [board.length_mm * np.sin(direction), board.length_mm * np.cos(direction)], axis=-1
    )
    miss = np.full(direction.shape, np.inf)
    nearest = np.full(direction.shape, board.noon_utc_s)
    lit = np.isfinite(track).all(axis=1)
    for side in (-1, 1):
        there = np.flatnonzero(lit & (side * (instants - board.noon_utc_s) >= 0))
        allowed = board.half != -side
        if not there.size or not allowed.any():
            continue
        distance, number = cKDTree(track[there]).query(marks[:, allowed])
        closer = distance < miss[:, allowed]
        miss[:, allowed] = np.where(closer, distance, miss[:, allowed])
        nearest[:, allowed] = np.where(closer, instants[there[number]], nearest[:, allowed])
    return miss, nearest


def _best_minima(cost: Array, reach: int, coarse: float, around: bool = False) -> list[int]:
    """Indices of up to three low minima, lowest first, each the least within its reach.

    `coarse` is how much the cost may be too high between two tries that both missed the best.
    """
    from scipy.ndimage import minimum_filter1d

    least = minimum_filter1d(cost, 2 * reach + 1, mode="wrap" if around else "nearest")
    minima = np.flatnonzero((cost <= least) & (cost <= 4.0 * cost.min() + coarse))
    return minima[np.argsort(cost[minima], kind="stable")][:3].tolist()


@lru_cache(maxsize=256)
def _daylight_of(
    latitude_deg: float, longitude_deg: float, noon_utc_s: float, lowest_deg: float
) -> tuple[float, float]:
    instants = noon_utc_s + np.arange(-HALF_DAY_S, HALF_DAY_S + 1.0, 60.0)
    up = light_altitude_deg(sun.direction(instants, latitude_deg, longitude_deg)[:3]) > lowest_deg
    if not up.any():
        return noon_utc_s, noon_utc_s
    return float(instants[up][0]), float(instants[up][-1])


def _daylight(board: Board) -> tuple[float, float]:
    """First and last instant of the day with light enough for a shadow."""
    return _daylight_of(board.latitude_deg, board.longitude_deg, board.noon_utc_s, LOWEST_LIGHT_DEG)
