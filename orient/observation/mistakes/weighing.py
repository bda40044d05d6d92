"""A board that contradicts its record, read in every way that it may have been meant.

Each statement is set free, alone and then together; each slip of the catalogue is put right;
each place of a break is tried; and all are weighed on one scale before anything is blamed.
What is adopted is the likeliest reading of the marks as they stand. A slip is never adopted:
a person puts the table right. Until then the uncertainty covers every reading that is alive.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from orient.observation.adjustment import Asked, Fit
from orient.observation.board import Board
from orient.observation.mistakes.catalogue import Explanation, explanation_of
from orient.observation.mistakes.evidence import (
    Weighed,
    alive,
    closing_cost,
    covering_u_rad,
    sense_cost,
    weighed,
)
from orient.observation.mistakes.moved import (
    CLEAR_CLOSING,
    clearly_moved,
    in_time,
    moved,
    unseen,
)
from orient.observation.mistakes.record import AS_STATED, FEWEST_MARKS, Meant, Record
from orient.observation.mistakes.search import slips
from orient.observation.mistakes.statements import (
    Statement,
    freed,
    from_elsewhere,
    statements,
    without_marks,
)
from orient.observation.mistakes.trials import Trial, Work, together
from orient.observation.solver import AZIMUTH

#: Readings are told of where their evidence is within this of the best.
ALIKE = 6.0
#: A line is given only where marks scatter less than this many times what the best reading allows.
WORST_SPREAD = 4.0
#: The largest of a board's pulls, squared, that a sound board in twenty exceeds, and the usual one.
STRAINED, _USUAL_PULL = 6.63, 2.2

# A turn or a slide that gains so much less than a clear one is weighed.
_NEARLY = 5.0
# Enough marks to tell readings apart; a board of more is thinned while it is read.
_ENOUGH = 48
_BEST_TO_JOIN = 4


@dataclass(frozen=True)
class Verdict:
    """What is adopted of a board that contradicts its record.

    `fit` is the adjustment adopted, its azimuth as uncertain as the readings alive are
    apart; `adopted` how it reads the board; `living` all readings alive, likeliest first;
    `explanation` the mistakes that would explain the marks, where any does clearly better
    than the record as it stands. `unexplained` tells that no reading fits the marks, `plain`
    that they contradict the record and do not only strain it.
    """

    fit: Fit
    adopted: Meant
    living: tuple[Weighed, ...]
    explanation: Explanation | None
    unexplained: bool
    own_u_rad: float = 0.0
    plain: bool = True


def spared(board: Board, fit: Fit) -> Work[list[Weighed]]:
    """The board as stated, and with few marks without each that may be wrong unseen."""
    span = _span_mm(board)
    own = weighed(_stated(board, fit), fit, span)
    (fewer,) = yield from together(without_marks(board, fit))
    return alive([own, *_weighed(fewer, span)])


def contradicts(board: Board, fit: Fit, readings: list[Weighed]) -> bool:
    """Whether the marks contradict anything that was stated of the board.

    A board without a mistake does so a few times in a hundred: to weigh it accuses nothing.

    Args:
        board: as recorded.
        fit: its adjustment as stated.
        readings: what `spared` gives.
    """
    if _plainly(board, fit) or fit.doubtful:
        return True
    return clearly_moved(board, fit, _NEARLY) or readings[0].meant.kind == "mark"


def _plainly(board: Board, fit: Fit) -> bool:
    """Whether they do so as hardly any board without a mistake: then slips are asked about."""
    if _too_many_spoilt(board, fit) or fit.pulled or fit.spread > 1.0:
        return True
    if not (fit.converged and fit.bears) or sense_cost(board, fit) > 5.0:
        return True
    return closing_cost(board) > CLEAR_CLOSING or clearly_moved(board, fit)


def _too_many_spoilt(board: Board, fit: Fit) -> bool:
    rejected = int(np.count_nonzero(~fit.kept))
    if board.count <= 8:
        return rejected > 0
    spoilt = ~fit.kept[in_time(board)]
    in_a_row = bool(np.any(spoilt[1:] & spoilt[:-1]))
    return in_a_row or rejected > max(1, board.count // 8)


def honest_u_rad(fit: Fit, readings: list[Weighed]) -> float:
    """Standard uncertainty of an azimuth that does not contradict its record outright.

    Where the marks pull what was stated farther than chance often does, the stated tolerances
    are taken to be too narrow by as much: which of them is, the marks cannot tell. Of few
    marks each may be wrong, and the figure reaches what the others say.

    Args:
        fit: the adjustment adopted.
        readings: what `spared` gives, or only the reading adopted.
    """
    u_rad = strained_u_rad(fit, fit.azimuth_u_rad)
    return max(u_rad, covering_u_rad(readings[0], readings)) if readings[1:] else u_rad


def strained_u_rad(fit: Fit, u_rad: float) -> float:
    """An azimuth's standard uncertainty with what was stated as wide as the marks pull it."""
    if fit.worst_pull <= STRAINED:
        return u_rad
    stated = sum(term**2 for name, term in fit.terms.items() if name != "marking")
    return float(np.sqrt(u_rad**2 + (fit.worst_pull / _USUAL_PULL - 1.0) * stated))


def weigh(record: Record, stated: Fit) -> Work[Verdict]:
    """Weigh every reading of a board that contradicts its record.

    Args:
        record: of the board.
        stated: its adjustment as stated.
    """
    whole = record.board
    if whole.count > _ENOUGH:
        chosen = np.unique(np.linspace(0, whole.count - 1, _ENOUGH).astype(int))
        record = replace(
            record,
            board=whole.of(chosen),
            labels=tuple(record.label(number) for number in chosen),
            chosen=chosen,
        )
        (stated,) = yield [Asked(record.board)]
    board, span = record.board, _span_mm(record.board)
    as_stated = [_stated(board, fit) for fit in (stated, *stated.rivals)]
    own = [weighed(meant, meant.fit or stated, span) for meant in as_stated]
    near = replace(stated, rivals=())
    single = [freed(board, [statement], near) for statement in statements(board)]
    single += from_elsewhere(board, stated) + without_marks(board)
    # A slip does not merely strain what was stated.
    another = slips(record) if _plainly(board, stated) else []
    mine, slipped = yield from together(single, moved(record, stated) + another)
    own += _weighed(mine, span)
    others = _weighed(slipped + unseen(board, stated), span)
    best = _least(own + others)
    if best is None or not _sound(best):
        (joined,) = yield from together(_joined(board, own, near))
        own += _weighed(joined, span)
    return (yield from _verdict(whole, record, own, others))


def _stated(board: Board, fit: Fit) -> Meant:
    words = "the marks were written from the last to the first, or the half of the day is wrong"
    return Meant(words, board, price=0.0, fit=fit, kind=AS_STATED)


def _span_mm(board: Board) -> float:
    return float(2.0 * max(np.median(board.length_mm), board.height_mm, 1.0))


def _weighed(readings: Iterable[Meant], span_mm: float) -> list[Weighed]:
    return [weighed(each, each.fit, span_mm) for each in readings if each.fit is not None]


def _joined(board: Board, own: list[Weighed], near: Fit) -> list[Trial]:
    """The statements that did best, two together; then everything at once."""
    known = {(each.kind, each.price): each for each in statements(board)}
    order = sorted(
        known.values(),
        key=lambda each: min(
            (w.evidence for w in own if w.meant.kind == each.kind), default=np.inf
        ),
    )
    single: list[Statement] = []
    for each in order:
        if each.by_time and all(each.kind != other.kind for other in single):
            single.append(each)
    everything = [each for each in single if each.kind not in ("marking", "edge", "rounding")]
    coarse = [each for each in known.values() if each.kind == "marking"][-1:]
    chosen = [*combinations(single[:_BEST_TO_JOIN], 2), everything, everything + coarse]
    return [freed(board, each, near) for each in chosen]


def _least(readings: list[Weighed]) -> Weighed | None:
    finite = [each for each in readings if np.isfinite(each.evidence)]
    return min(finite, key=lambda each: each.evidence) if finite else None


def _sound(reading: Weighed) -> bool:
    fit = reading.fit
    return fit.converged and fit.spread == 1.0 and not fit.pulled


def _verdict(
    whole: Board, record: Record, own: list[Weighed], others: list[Weighed]
) -> Work[Verdict]:
    best = _least(own + others)
    stated = [each for each in own if each.meant.kind == AS_STATED]
    plain = _plainly(record.board, own[0].fit)
    better = best is not None and _better(record.board, best, stated)
    # What the marks only strain is not set aside.
    adopted = _least(own if plain or better else stated)
    if adopted is None or best is None:
        fit = own[0].fit
        return Verdict(opened(fit, np.pi), own[0].meant, (), None, True)
    living = alive([each for each in own + others if np.isfinite(each.evidence)])
    u_rad = covering_u_rad(adopted, living)
    unexplained = best.fit.spread > 1.0 or not best.fit.converged
    if not adopted.meant.by_time:
        # Times without sense are no explanation: something else may be wrong.
        u_rad = max(u_rad, own[0].apart_rad(adopted.fit.state.board_azimuth_rad))
    if best.fit.spread > WORST_SPREAD:
        u_rad = np.pi
    told: list[Weighed] = []
    alike = [each for each in living if each.evidence <= best.evidence + ALIKE]
    torn = plain and covering_u_rad(adopted, alike) > 1.5 * adopted.fit.azimuth_u_rad
    if (better or torn) and not unexplained and _tells(record.board):
        told = _told(alike, best, better)
    explanation = explanation_of(own[0].fit, told) if told else None
    fit, meant = adopted.fit, adopted.meant
    if record.chosen is not None:
        fit, meant = yield from _of_all(whole, record.chosen, adopted)
    return Verdict(
        opened(fit, u_rad),
        meant,
        tuple(living),
        explanation,
        unexplained,
        fit.azimuth_u_rad,
        plain or better,
    )


def _better(board: Board, best: Weighed, stated: list[Weighed]) -> bool:
    """Whether a reading does clearly better than the record as it stands."""
    least = min(each.evidence for each in stated)
    return least > best.evidence + ALIKE or _backwards(board, best)


def _backwards(board: Board, best: Weighed) -> bool:
    return best.meant.kind == AS_STATED and sense_cost(board, best.fit) > 5.0


def _told(alike: list[Weighed], best: Weighed, better: bool) -> list[Weighed]:
    """The readings that are said, of those as likely as the best, or nearly so."""
    told = [each for each in alike if each.meant.kind != "mark"]
    if not _backwards(best.meant.board, best):
        told = [each for each in told if each.meant.kind != AS_STATED]
    # Where what was stated explains the marks as well, only a slip can be asked about.
    return told if better else [each for each in told if not each.meant.sets_aside]


def _tells(board: Board) -> bool:
    """Whether marks are enough, and far enough apart, to accuse anything: else all would fit."""
    apart_mm = float(np.hypot(np.ptp(board.x_mm), np.ptp(board.y_mm)))
    return board.count >= FEWEST_MARKS and apart_mm > board.tolerances.mark_sd_mm


def opened(fit: Fit, u_rad: float) -> Fit:
    """The fit, its azimuth no better known than that."""
    covariance = fit.covariance.copy()
    covariance[AZIMUTH, AZIMUTH] = max(covariance[AZIMUTH, AZIMUTH], u_rad**2)
    return replace(fit, covariance=covariance)


def _of_all(whole: Board, chosen: np.ndarray, adopted: Weighed) -> Work[tuple[Fit, Meant]]:
    """The adopted reading of a thinned board, adjusted to all its marks."""
    meant = adopted.meant
    read = replace(whole, tolerances=meant.board.tolerances)
    order = np.searchsorted(chosen, np.arange(whole.count)).clip(0, len(chosen) - 1)
    near = replace(adopted.fit, utc_s=adopted.fit.utc_s[order])
    latitude = "latitude" in meant.sets_aside
    asked = Asked(read, meant.free_watch, meant.free_height, latitude, meant.by_time, near)
    (fit,) = yield [asked]
    return fit, replace(meant, board=read, fit=fit)
