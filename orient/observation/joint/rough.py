"""Boards read again with what their observer's marks really scatter.

Marks twice as coarse as was stated make a board contradict its watch or its rod, though nothing
is wrong with either. The residuals of all the boards of one observer tell how coarse the marks
are; where that is clearly more than was stated, the boards in doubt are read again with it.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace

import numpy as np

from orient.observation.board import Board
from orient.observation.reduction import Reduced, reduce_board

#: Marks coarser than stated by less than this do no harm: the widening of a board covers them.
_CLEARLY = 1.3
#: So many marks are needed to say so.
_ENOUGH_MARKS = 40
# Median length of a standard normal residual in two dimensions and in one; and what fitting a
# board's unknowns takes away from it (about seven of forty).
_MEDIAN_TIMED, _MEDIAN_UNTIMED, _TAKEN = 1.177, 0.674, 0.91


def reread(
    reduced: Sequence[Reduced | None],
    observers: Sequence[Hashable | None],
    doubtful: Sequence[bool],
) -> dict[int, tuple[Reduced, float]]:
    """Read again the doubtful boards of observers whose marks are coarser than stated.

    Args:
        reduced: of each set-up, by itself.
        observers: who made its marks, None where nobody is named.
        doubtful: whether its own record is in doubt.

    Returns:
        The new reduction of each board read again, and the factor on its stated scatter.
    """
    found: dict[int, tuple[Reduced, float]] = {}
    for observer in {each for each in observers if each is not None}:
        own = [n for n, each in enumerate(observers) if each == observer and reduced[n] is not None]
        factor = _coarseness([reduced[n] for n in own])
        if factor < _CLEARLY:
            continue
        for number in own:
            each = reduced[number]
            if doubtful[number] and each is not None:
                found[number] = reduce_board(_coarser(each.board, factor)), factor
    return found


def _coarseness(reduced: Sequence[Reduced | None]) -> float:
    """How many times the stated tolerance an observer's marks scatter, by their median."""
    lengths = [_lengths(each) for each in reduced if each is not None]
    if sum(each.size for each in lengths) < _ENOUGH_MARKS:
        return 1.0
    # The median of the boards' own medians: no bad board has more than one voice.
    return float(np.median([np.median(each) for each in lengths if each.size])) / _TAKEN


def _lengths(reduced: Reduced) -> np.ndarray:
    board, fit = reduced.board, reduced.fit
    timed = np.isfinite(board.watch_utc_s) & (board.watch != "none")
    expected = np.where(timed, _MEDIAN_TIMED, _MEDIAN_UNTIMED) * board.tolerances.mark_sd_mm
    return (np.hypot(*fit.residual_mm.T) / expected)[fit.kept]


def _coarser(board: Board, factor: float) -> Board:
    stated = board.tolerances
    coarser = replace(
        stated,
        mark_sd_mm=stated.mark_sd_mm * factor,
        edge_scatter=stated.edge_scatter * factor,
    )
    return replace(board, tolerances=coarser)
