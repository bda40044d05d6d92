"""A board that turned or slid between two marks: when, and by how much."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from orient.observation.adjustment import Asked, Fit, linearised
from orient.observation.board import Board
from orient.observation.mistakes.evidence import closing_cost
from orient.observation.mistakes.record import Array, Mask, Meant, Numbers, Record, timed_marks
from orient.observation.mistakes.trials import Trial

#: A board without a mistake hardly ever gains so much by one turn or one shift.
CLEAR_TURN, CLEAR_SHIFT = 16.0, 19.0
#: Nor does its closing sight differ so much: one board in a hundred.
CLEAR_CLOSING = 6.63
_FEWEST, _FEWEST_STANDING = 6, 4
# How far a board that moved has moved, by experience: degrees, and millimetres.
_TURN_RAD, _SHIFT_MM = np.radians(1.5), 8.0
_PRICE = 9.0


@dataclass(frozen=True)
class Break:
    """Marks from `later` on lie moved by `size`: a turn in radians, or a shift in mm."""

    later: Numbers
    gain: float
    size: Array
    u: Array
    turn: bool


def clearly_moved(board: Board, fit: Fit, short: float = 0.0) -> bool:
    """Whether a turn or a slide between two marks explains what chance hardly ever does.

    `short` is how much less than a clear gain will do.

    The kept marks are asked, then all: a break may spare marks that were left out, and gains
    the price of leaving them out. On each side of it a kept mark stands: a wild mark at the
    end is no sign of a board that moved.
    """
    both = breaks(board.of(fit.kept), replace(fit, utc_s=fit.utc_s[fit.kept]))
    if _clear(both, -short):
        return True
    return not fit.kept.all() and _clear(breaks(board, fit, fit.kept), _forced(board, fit) - short)


def _clear(both: tuple[Break, Break] | None, less: float) -> bool:
    if both is None:
        return False
    return both[0].gain - less > CLEAR_TURN or both[1].gain - less > CLEAR_SHIFT


def _forced(board: Board, fit: Fit) -> float:
    """How much more the sum of squares is with the marks left out than at their price."""
    kept = board.of(fit.kept), replace(fit, utc_s=fit.utc_s[fit.kept])
    return _least_squares(board, fit) - _least_squares(*kept) - (fit.cost - fit.kept_cost)


def _least_squares(board: Board, fit: Fit) -> float:
    """The least sum of squares, linear about the fit, but for a constant."""
    told, design, _, normal, pulls = linearised(board, fit)
    right = np.einsum("nik,ni->k", design, told) + pulls
    return float(np.sum(told**2) - right @ np.linalg.solve(normal, right))


def breaks(board: Board, fit: Fit, standing: Mask | None = None) -> tuple[Break, Break] | None:
    """The turn, and the shift, between two marks that would lower the sum of squares most.

    Linear about the fit, every mark having its say. None with few marks, or one at night.
    On each side of a break stands one of the marks `standing`, of all where not given.
    """
    standing = np.ones(board.count, dtype=bool) if standing is None else standing
    if board.count < _FEWEST or np.count_nonzero(standing) < _FEWEST_STANDING:
        return None
    order = in_time(board)
    told, design, whiten, normal, pulls = linearised(board, fit)
    if not np.isfinite(told).all():
        return None
    first, last = np.flatnonzero(standing[order])[[0, -1]]
    places = np.arange(first + 1, last + 1)
    # What is left of the residuals when the unknowns have followed them.
    step = np.linalg.solve(normal, np.einsum("nik,ni->k", design, told) + pulls)
    left = told - design @ step
    turn = np.stack([board.y_mm, -board.x_mm], axis=-1)[..., None]
    return (
        _best(order, places, whiten @ turn, left, design, normal, True),
        _best(order, places, whiten, left, design, normal, False),
    )


def in_time(board: Board) -> Numbers:
    """The marks in the order in which they were made: by their times, else as written."""
    if timed_marks(board).all():
        return np.argsort(board.watch_utc_s, kind="stable")
    return np.arange(board.count)


def _best(
    order: Numbers,
    places: Numbers,
    column: Array,
    left: Array,
    design: Array,
    normal: Array,
    turn: bool,
) -> Break:
    """The best of the places for a break, by sums over the marks after each."""
    column, left, design = column[order], left[order], design[order]

    def after(part: Array) -> Array:
        return np.cumsum(part[::-1], axis=0)[::-1]

    right = after(np.einsum("nij,ni->nj", column, left))
    square = after(np.einsum("nij,nik->njk", column, column))
    shared = after(np.einsum("nij,nik->njk", column, design))
    free = square - shared @ np.linalg.solve(normal, np.swapaxes(shared, 1, 2))
    # A turn shows in a single mark, first or last: only along its circle. A slide does not.
    if not turn:
        places = places[(places >= 2) & (places <= len(order) - 2)]
    free = free[places] + 1e-9 * (1.0 + np.trace(square[0])) * np.eye(free.shape[-1])
    size = np.linalg.solve(free, right[places][..., None])[..., 0]
    gain = np.einsum("nj,nj->n", size, right[places])
    best = int(np.argmax(gain))
    u = np.sqrt(np.maximum(np.diag(np.linalg.inv(free[best])), 0.0))
    return Break(order[places[best] :], float(gain[best]), size[best], u, turn)


def moved(record: Record, fit: Fit) -> list[Trial]:
    """The board turned, or slid, between two marks."""
    return [_put_back(record, record.board, fit, turn) for turn in (True, False)]


def unseen(board: Board, fit: Fit) -> list[Meant]:
    """The closing sight alone tells of a turn: no mark was made after it, or none before."""
    if closing_cost(board) <= CLEAR_CLOSING:
        return []
    turn = board.closing_turn_rad
    words = (
        f"the board was turned by {abs(np.degrees(turn)):.1f}° before its first mark or after its "
        "last, or the reference line was drawn wrong once, at the start or at the end"
    )
    return [Meant(words, board, _PRICE, open_rad=abs(turn), turn_rad=turn, fit=fit, kind="moved")]


def _put_back(record: Record, board: Board, fit: Fit, turn: bool) -> Trial:
    both = breaks(board, fit)
    if both is None:
        return []
    first = each = both[0] if turn else both[1]
    if first.gain < (CLEAR_TURN if turn else CLEAR_SHIFT) / 2:
        return []
    total = np.zeros_like(first.size)
    for _ in range(4):
        total = total + each.size
        mended = _without(board, first.later, total)
        fit = yield Asked(mended, near=fit)
        lit = np.isfinite(fit.residual_mm).all()
        if np.all(np.abs(each.size) < 0.1 * first.u) or not lit:
            break
        each = _again(mended, fit, first.later, turn)
    return [_meant(record, board, mended, fit, first.later, total, first.u)]


def _again(board: Board, fit: Fit, later: Numbers, turn: bool) -> Break:
    """What is still left of a break at a place already found."""
    told, design, whiten, normal, pulls = linearised(board, fit)
    step = np.linalg.solve(normal, np.einsum("nik,ni->k", design, told) + pulls)
    left = told - design @ step
    column = whiten @ np.stack([board.y_mm, -board.x_mm], axis=-1)[..., None] if turn else whiten
    chosen = np.zeros(board.count, dtype=bool)
    chosen[later] = True
    column = np.where(chosen[:, None, None], np.nan_to_num(column), 0.0)
    right = np.einsum("nij,ni->j", column, np.nan_to_num(left))
    shared = np.einsum("nij,nik->jk", column, np.nan_to_num(design))
    free = np.einsum("nij,nik->jk", column, column) - shared @ np.linalg.solve(normal, shared.T)
    free += 1e-9 * np.eye(len(free))
    size = np.linalg.solve(free, right)
    return Break(later, float(size @ right), size, np.zeros(len(size)), turn)


def _without(board: Board, later: Numbers, size: Array) -> Board:
    """The board with its later marks put back."""
    x, y = board.x_mm.copy(), board.y_mm.copy()
    if size.size == 2:
        x[later], y[later] = x[later] - size[0], y[later] - size[1]
    else:
        cosine, sine = np.cos(size[0]), np.sin(size[0])
        x[later], y[later] = (
            board.x_mm[later] * cosine - board.y_mm[later] * sine,
            board.y_mm[later] * cosine + board.x_mm[later] * sine,
        )
    return replace(board, x_mm=x, y_mm=y)


def _meant(
    record: Record, board: Board, mended: Board, fit: Fit, later: Numbers, size: Array, u: Array
) -> Meant:
    earlier = int(np.setdiff1d(in_time(board), later, assume_unique=True)[-1])
    between = f"between mark {record.label(earlier)} and mark {record.label(int(later[0]))}"
    if size.size == 2:
        words = f"the board slid, or the rod was pushed, by {np.hypot(*size):.1f} mm {between}"
        open_rad, wide, turn_rad = 0.0, _SHIFT_MM, 0.0
    else:
        words = f"the board was turned by {abs(np.degrees(size[0])):.1f}° {between}"
        open_rad, wide = float(abs(size[0])), float(_TURN_RAD)
        turn_rad = float(size[0])
    # A freedom found among so many places, and how closely the marks fix it.
    freedom = 2.0 * float(np.sum(np.log(wide / np.maximum(u, 1e-6))))
    freedom += float(np.sum((size / wide) ** 2))
    price = _PRICE + freedom + 2.0 * np.log(max(1, board.count - 3))
    return Meant(words, mended, price, open_rad=open_rad, turn_rad=turn_rad, fit=fit, kind="moved")
