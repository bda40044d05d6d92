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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from orient.numbers.shadow import UNKNOWNS, BoardState
from orient.numbers.tolerances import SHARED_TERMS
from orient.observation.board import Board
from orient.observation.solver import (
    AZIMUTH,
    MOST_BLUNDERS,
    SCALE,
    WATCH,
    Array,
    Batch,
    Linear,
    Mask,
    Problem,
    adjust_from,
    batch,
    linearise,
    misfits,
    normal,
    prior_misfits,
    solve_robustly,
)
from orient.observation.starts import starts

# A reading of the board is out of the question when its sum of squares is this much greater.
_UNLIKELY_COST = 12.0
# A stated quantity is tested only as far as the marks take away this part of its variance.
_LEAST_TAKEN = 0.05
# So many marks, padding too, are worked on at a time: the memory of a batch does not grow.
_BATCH_MARKS = 4096


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
    and edge; `worst_pull` is the most of it that lies along one direction. `scale_cost` is
    the sum of the logarithms of the kept marks' variances, and `open_cost` of how much of
    what was known before the marks have left open: with `cost` they make −2 log of the
    evidence for one reading of the board against another.
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
    converged: bool
    pulls_cost: float = 0.0
    pulls_freedom: int = 0
    worst_pull: float = 0.0
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

    @property
    def doubtful(self) -> bool:
        """Whether they do so, or scatter so, as one board in a hundred does."""
        scatters = self.freedom > 0 and self.kept_cost > _doubtful_cost(self.freedom, 0.01)
        return scatters or self.pulls_cost > _doubtful_cost(self.pulls_freedom, 0.01)


@dataclass(frozen=True)
class Asked:
    """A board to be adjusted, and how; as the arguments of `adjust`."""

    board: Board
    free_watch: bool = False
    free_height: bool = False
    free_latitude: bool = False
    by_time: bool = True
    near: Fit | None = None

    def problem(self) -> Problem:
        return Problem.of(
            self.board, self.free_watch, self.free_height, self.free_latitude, self.by_time
        )

    def starts(self, problem: Problem) -> list[tuple[Array, Array]]:
        if self.near is None:
            return starts(problem)
        return [(np.asarray(self.near.state), self.near.utc_s)]


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
    asked = Asked(board, free_watch, free_height, free_latitude, by_time, near)
    return adjust_all([asked])[0]


def adjust_all(asked: Sequence[Asked]) -> list[Fit]:
    """Adjust many boards at once, each as `adjust` does, in a third of its time or less a board.

    Raises:
        numpy.linalg.LinAlgError, ArithmeticError: one board's figures cannot be borne; which
            one is not told.
    """
    fits: dict[int, Fit] = {}
    for some in _batches(asked):
        fits |= zip(some, _adjusted([asked[number] for number in some]), strict=True)
    return [fits[number] for number in range(len(asked))]


def _batches(asked: Sequence[Asked]) -> Iterator[list[int]]:
    """Boards by their number of marks, few enough at a time and little padding among them."""
    some: list[int] = []
    for number in sorted(range(len(asked)), key=lambda number: asked[number].board.count):
        if some and (len(some) + 1) * asked[number].board.count > _BATCH_MARKS:
            yield some
            some = []
        some.append(number)
    if some:
        yield some


def _adjusted(asked: Sequence[Asked]) -> list[Fit]:
    problems = [each.problem() for each in asked]
    begun = [each.starts(problem) for each, problem in zip(asked, problems, strict=True)]
    owner = np.repeat(np.arange(len(asked)), [len(each) for each in begun])
    many = batch([problems[number] for number in owner])
    flat = [start for each in begun for start in each]
    utc_s = many.long.noon_utc_s + np.zeros(many.there.shape)
    utc_s[many.there] = np.concatenate([start[1] for start in flat])
    values, utc_s, weight, cost = solve_robustly(many, np.stack([s[0] for s in flat]), utc_s)
    least = np.full(len(asked), np.inf)
    np.minimum.at(least, owner, cost)
    likely = np.flatnonzero(cost <= least[owner] + 2 * _UNLIKELY_COST)
    many, found = many.of(likely), (values[likely], utc_s[likely], weight[likely])
    fits: list[list[Fit]] = [[] for _ in asked]
    rows = [problems[owner[row]] for row in likely]
    for row, fit in zip(likely, _finish(many, rows, *adjust_from(many, *found)), strict=True):
        fits[owner[row]].append(fit)
    return [_best(each) for each in fits]


def _best(fits: list[Fit]) -> Fit:
    fits = sorted(fits, key=lambda fit: fit.cost)
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


def linearised(board: Board, fit: Fit) -> tuple[Array, Array, Array, Array, Array]:
    """The board as stated, linear about a fit of it.

    Returns:
        Residuals (n, 2) and their design (n, 2, unknowns), both in standard uncertainties,
        what turns millimetres into these (n, 2, 2), the normal matrix of all the marks, and
        the pull of the priors; zero in all of them, and one on the matrix's diagonal, for
        what is fixed.
    """
    many = batch([Problem.of(board)])
    values = np.asarray(fit.state)[None]
    linear = linearise(many, values, fit.utc_s[None])
    ones = np.ones((1, board.count))
    matrix = normal(many, linear, values, ones)[0]
    pulls = normal(many, linear.where(ones < 1), values, ones)[1]
    return linear.told[0], linear.design[0], linear.whiten[0], matrix[0], pulls[0]


@lru_cache(maxsize=1024)
def _doubtful_cost(freedom: int, chance: float = 1 / 300) -> float:
    """Sum of squares that a board of so many degrees of freedom exceeds with that chance."""
    from scipy.special import chdtri

    return float(chdtri(max(freedom, 1), chance))


def _finish(
    many: Batch, problems: Sequence[Problem], values: Array, utc_s: Array, kept: Mask, settled: Mask
) -> Iterator[Fit]:
    seen = linearise(many, values, utc_s)
    linear = seen.where(kept)
    matrix, _ = normal(many, linear, values, kept.astype(float))
    free = many.free[:, :, None] & many.free[:, None, :]
    covariance = np.where(free, np.linalg.inv(matrix) * np.outer(SCALE, SCALE), 0.0)
    misfit = prior_misfits(many, values)
    of_kept = np.sum(np.where(kept, misfits(linear) ** 2, 0.0), axis=1) + np.sum(misfit**2, axis=1)
    lost = np.sum(np.where(many.there & ~kept, many.threshold, 0.0), axis=1)
    flat = np.count_nonzero(many.free & ~many.stated, axis=1)
    freedom = np.sum(np.where(kept, many.each, 0.0), axis=1).astype(int) - flat
    terms = _terms(many, linear, covariance, kept)
    pulls, pulls_freedom = _pulls(many, covariance, misfit)
    instants = np.where(many.timed, many.long.watch_utc_s - values[:, [WATCH]], utc_s)
    known = np.where(many.free, np.log(np.where(many.free, many.prior_sd, 1.0) / SCALE), 0.0)
    open_cost = np.linalg.slogdet(matrix)[1] + 2.0 * np.sum(known, axis=1)
    scale_cost = np.sum(np.where(kept, linear.scatter, 0.0), axis=1)
    values = values.copy()
    values[:, AZIMUTH] = np.mod(values[:, AZIMUTH], 2 * np.pi)
    for row, problem in enumerate(problems):
        marks = slice(problem.board.count)
        spread = 1.0
        if freedom[row] > 0 and of_kept[row] > _doubtful_cost(int(freedom[row])):
            spread = float(np.sqrt(of_kept[row] / freedom[row]))
        yield Fit(
            state=BoardState(*values[row].tolist()),
            covariance=covariance[row] * spread**2,
            residual_mm=seen.residual[row, marks].copy(),
            kept=kept[row, marks].copy(),
            utc_s=instants[row, marks].copy(),
            cost=float(of_kept[row] + lost[row]),
            kept_cost=float(of_kept[row]),
            freedom=int(freedom[row]),
            spread=spread,
            terms={name: float(np.sqrt(term[row])) * spread for name, term in terms.items()},
            converged=bool(settled[row]),
            pulls_cost=float(pulls[row].sum()),
            pulls_freedom=int(pulls_freedom[row]),
            worst_pull=float(pulls[row].max()),
            scale_cost=float(scale_cost[row]),
            open_cost=float(open_cost[row]),
        )


def _pulls(many: Batch, covariance: Array, misfit: Array) -> tuple[Array, Array]:
    """Chi-squares of what was stated against what the marks alone say, and how many.

    One a direction, (r, 9): zero where nothing can be said.

    The marks pull each stated quantity; a pull's variance is the part of the prior's that
    the marks have taken away. Directions that the marks hardly fix are left out.
    """
    per_sd = np.divide(1.0, many.prior_sd, out=np.zeros_like(misfit), where=many.stated)
    left = covariance * per_sd[:, :, None] * per_sd[:, None, :]
    # What was not stated has nothing taken away.
    taken, axes = np.linalg.eigh(many.stated[:, None, :] * np.eye(len(UNKNOWNS)) - left)
    known = taken > _LEAST_TAKEN
    along = np.einsum("rik,ri->rk", axes, np.where(many.stated, misfit, 0.0))
    pulls = np.where(known, along**2 / np.where(known, taken, 1.0), 0.0)
    return pulls, np.count_nonzero(known, axis=1)


def _terms(many: Batch, linear: Linear, covariance: Array, kept: Mask) -> dict[str, Array]:
    """The azimuth's variance by where it comes from, rad², (r,) each: they add up to it."""
    gain = covariance[:, AZIMUTH]
    response = np.einsum("rnik,rk->rni", linear.design, gain / SCALE)
    terms = {"marking": np.sum(np.where(kept[..., None], response**2, 0.0), axis=(1, 2))}
    shares = np.divide(gain, many.prior_sd, out=np.zeros_like(gain), where=many.free) ** 2
    for term, names in SHARED_TERMS.items():
        terms[term] = np.sum(shares[:, [UNKNOWNS.index(name) for name in names]], axis=1)
    return terms
