"""How likely one reading of a record is against another, and which readings are alive.

A reading's *evidence* is −2 log of the likelihood of the marks under it, what it leaves open
integrated out (Laplace's approximation), and of how common the mistake is. Readings are
compared by it on equal terms: one that frees a statement pays for the freedom, one that
leaves a mark out pays what a mark anywhere on the board is worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from orient.numbers.tolerances import COVERAGE_95
from orient.observation.adjustment import Fit
from orient.observation.board import Board
from orient.observation.mistakes.record import Array, Mask, Meant
from orient.observation.solver import AZIMUTH

#: A reading whose evidence is worse than the best by more than this is out of the question: one
#: in a thousand. Prices are judgements, and marks that fit two readings alike leave both alive.
ALIVE = 14.0
#: The same for one mark of few being wrong, which nothing else on the board would show.
ALIVE_MARK = 20.0

# A mark that is wrong: one in fifty (common practice, no source).
_WRONG_MARK = 7.8
# How far it lies off where it is not just anywhere.
_NEARBY_MM = 15.0
# Near noon nobody can say which half of the day a mark belongs to.
_ABOUT_NOON_S = 600.0
# A half told wrong, and at most all of them the wrong way round.
_HALF, _HALVES = 8.0, 22.0
# Marks are written as they are made, save once in fifty.
_BACKWARDS, _SHUFFLED, _IN_ORDER = 8.0, 3.0, 0.8


@dataclass(frozen=True)
class Weighed:
    """A reading with its fit and evidence; the less, the likelier."""

    meant: Meant
    fit: Fit
    evidence: float

    def apart_rad(self, azimuth_rad: float) -> float:
        """The farthest that it may turn the board from an azimuth, at most π."""
        turn = self.fit.state.board_azimuth_rad - azimuth_rad
        return float(min(np.pi, abs(np.angle(np.exp(1j * turn))) + self.meant.open_rad))


def weighed(meant: Meant, fit: Fit, span_mm: float) -> Weighed:
    """A reading with its evidence; infinite where it rests on too few of the marks.

    Args:
        meant: the reading.
        fit: its adjustment.
        span_mm: how wide the board is, over which a wrong mark may lie anywhere.
    """
    if not fit.bears or not np.isfinite(fit.cost):
        return Weighed(meant, fit, np.inf)
    board = meant.board
    timed = np.isfinite(board.watch_utc_s) & (board.watch != "none") & meant.by_time
    value = fit.kept_cost + fit.scale_cost + fit.open_cost
    value += float(np.sum(_wrong_marks(fit, timed, span_mm)))
    value += sense_cost(board, fit) + meant.extra_cost + meant.price
    value += closing_cost(board, meant.turn_rad)
    value -= 4.0 * board.count * np.log(meant.scale)
    if not meant.by_time:
        # Times without sense could have stood anywhere along the track.
        some = np.isfinite(board.watch_utc_s) & (board.watch != "none") & fit.kept
        value += float(np.count_nonzero(some)) * 2.0 * np.log(span_mm / np.sqrt(2.0 * np.pi))
    return Weighed(meant, fit, value)


def _wrong_marks(fit: Fit, timed: Mask, span_mm: float) -> Array:
    """What each mark left out costs: a slip of some millimetres, or a mark anywhere at all."""
    miss = np.hypot(*fit.residual_mm[~fit.kept].T)
    coordinates = np.where(timed, 2.0, 1.0)[~fit.kept]
    anywhere = 2.0 * np.log(span_mm / np.sqrt(2.0 * np.pi))
    nearby = 2.0 * np.log(_NEARBY_MM) + np.nan_to_num(miss / _NEARBY_MM, nan=np.inf) ** 2
    return _WRONG_MARK + coordinates * np.minimum(anywhere, nearby)


def sense_cost(board: Board, fit: Fit) -> float:
    """What it costs that marks stand on another side of noon than told, or run backwards."""
    from_noon = fit.utc_s - board.noon_utc_s
    contrary = (board.half != 0) & (board.half * from_noon < -_ABOUT_NOON_S) & fit.kept
    told = min(_HALF * float(np.count_nonzero(contrary)), _HALVES)
    return told + _order_cost(board, fit)


def closing_cost(board: Board, turn_rad: float = 0.0) -> float:
    """What it costs that the reference line drawn again at the end lies elsewhere."""
    if not np.isfinite(board.closing_turn_rad):
        return 0.0
    apart = np.angle(np.exp(1j * (board.closing_turn_rad - turn_rad)))
    return float((apart / board.closing_sd_rad) ** 2)


def _order_cost(board: Board, fit: Fit) -> float:
    untimed = fit.kept & ~(np.isfinite(board.watch_utc_s) & (board.watch != "none"))
    instants = fit.utc_s[untimed]
    if instants.size < 3:
        return 0.0
    later = np.sign(instants[None, :] - instants[:, None])
    agreement = float(later[np.triu_indices(instants.size, 1)].mean())
    if agreement >= _IN_ORDER:
        return 0.0
    return _BACKWARDS if agreement <= -_IN_ORDER else _SHUFFLED


def alive(readings: list[Weighed]) -> list[Weighed]:
    """The readings that are not out of the question, likeliest first."""
    ordered = sorted(readings, key=lambda each: each.evidence)
    best = ordered[0].evidence
    return [
        each
        for each in ordered
        if each.evidence <= best + (ALIVE_MARK if each.meant.kind == "mark" else ALIVE)
    ]


def covering_u_rad(adopted: Weighed, living: list[Weighed]) -> float:
    """Standard uncertainty of the adopted azimuth that covers every reading alive.

    The variance over all of them, each as likely as its evidence makes it; and never less
    than that the 95 % figure reaches each.
    """
    azimuth = adopted.fit.state.board_azimuth_rad
    best = min(each.evidence for each in living)
    share = np.exp([-(each.evidence - best) / 2.0 for each in living])
    apart = np.array([each.apart_rad(azimuth) for each in living])
    own: Array = np.array([each.fit.covariance[AZIMUTH, AZIMUTH] for each in living])
    mixed = float(np.sqrt(np.sum(share * (apart**2 + own)) / np.sum(share)))
    # Where a mark may be wrong the rest do not bear each other out: their own spread counts too.
    spare = np.array([each.meant.kind == "mark" for each in living])
    reach = np.where(apart > np.sqrt(own), apart, 0.0)
    reach = np.where(spare, np.hypot(apart, np.sqrt(own)), reach) / COVERAGE_95
    return float(max(mixed, reach.max()))
