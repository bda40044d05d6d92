"""What a board's record may have meant: the record, and its readings, with what each costs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.observation.adjustment import Fit
from orient.observation.board import Board

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Numbers = NDArray[np.intp]

#: What a slip costs, −2 log of how often it is made: one a crew makes once in a hundred and
#: fifty boards, and one that could be many (*common practice, no source*).
SLIP, COMMON_SLIP = 10.0, 15.0
#: The kinds of the record as it stands, and of a reading that puts the site elsewhere.
AS_STATED, PLACE = "as stated", "place"
#: Fewer marks than this fit almost any reading.
FEWEST_MARKS = 4


@dataclass(frozen=True)
class Other:
    """Another set-up of the campaign, to which this one's marks might belong.

    `board` has these marks on the other's site, date and rod; `fit` is the other's own, None
    where its marks do not fit either. `same_day` tells that site and date are the same.
    """

    name: str
    board: Board
    fit: Fit | None
    same_day: bool


@dataclass(frozen=True)
class Record:
    """A board, and what else of its record can be read in another way.

    `labels` are the marks' serials, `by_angle` tells that they were recorded as length and
    angle, `utc_ahead_s` how far the site's clock is ahead of UTC. `date`, with the place, is
    what `rebuilt` makes the board from anew.
    """

    board: Board
    labels: tuple[str, ...] = ()
    by_angle: bool = False
    utc_ahead_s: float = np.nan
    date: str = ""
    latitude_deg: float = np.nan
    longitude_deg: float = np.nan
    rebuilt: Callable[[str, float, float], Board] | None = None
    others: tuple[Other, ...] = ()
    chosen: NDArray[np.intp] | None = None

    def label(self, number: int | np.integer[Any]) -> str:
        """The serial of a mark, as the crew wrote it."""
        return self.labels[number] if self.labels else str(number + 1)


@dataclass(frozen=True)
class Meant:
    """What a record may have meant: the mistake in words, and the board without it.

    `price` is what the reading must gain. `scale` is the size of the marks against those of
    the record: residuals of larger marks are more telling. `extra_cost` is the sum of squares
    of marks that are not on `board`. `open_rad` is how far it leaves open where north lies.
    `turn_rad` is how far the board turned after its first marks under the reading, the reference
    line drawn again lying so far on. `kind` names the reading and `sets_aside` the statements
    that it frees; `by_time`, `free_watch` and `free_height` are as for `adjust`.
    """

    words: str
    board: Board
    price: float = SLIP
    scale: float = 1.0
    extra_cost: float = 0.0
    open_rad: float = 0.0
    turn_rad: float = 0.0
    fit: Fit | None = None
    kind: str = "slip"
    sets_aside: tuple[str, ...] = ()
    by_time: bool = True
    free_watch: bool = False
    free_height: bool = False


def timed_marks(board: Board) -> Mask:
    return np.asarray(np.isfinite(board.watch_utc_s) & (board.watch != "none"))


def laid_over(board: Board) -> tuple[NDArray[np.complex128], float]:
    """Where the tips fall on a board set to north, x + iy, and how it is turned to the marks."""
    x, y = board.tips(board.watch_utc_s - board.watch_error_s, board.nominal())
    predicted = x + 1j * y
    lit = np.isfinite(predicted)
    if not lit.any():
        return predicted, 0.0
    # A board direction is turned back by β: in the complex plane, marked = predicted · e^{iβ}.
    each = np.angle((board.x_mm + 1j * board.y_mm)[lit] * np.conj(predicted[lit]))
    middle = np.angle(np.mean(np.exp(1j * each)))
    turn = middle + np.median(np.angle(np.exp(1j * (each - middle))))
    return predicted, float(turn)


def misfit_on(board: Board, fit: Fit) -> Array:
    """How far marks lie from a board already adjusted, in their tolerance; ∞ without a time."""
    timed = timed_marks(board)
    misfit = np.full(board.count, np.inf)
    if timed.any():
        part = board.of(timed)
        x, y = part.tips(part.watch_utc_s - fit.state.watch_error_s, fit.state)
        length = np.hypot(part.x_mm - x, part.y_mm - y) / part.tolerances.mark_sd_mm
        misfit[timed] = np.where(np.isfinite(length), length, np.inf)
    return misfit


def listed(names: list[str]) -> str:
    if len(names) > 6:
        names = [*names[:3], "…", names[-1]]
    return ", ".join(names)
