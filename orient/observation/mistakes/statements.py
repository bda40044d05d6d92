"""What was stated of a board, set free one by one and together, each at its own price.

Level, foot, height, watch, latitude, marking, edge and times: every statement of a set-up is
freed on equal terms. How far each is off when it is off, and how often, is *common practice,
no source*.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from orient.numbers.shadow import BoardState
from orient.observation.adjustment import Asked, Fit
from orient.observation.board import Board, written_step_s
from orient.observation.mistakes.record import Array, Meant, timed_marks
from orient.observation.mistakes.trials import Trial
from orient.observation.solver import FLAT_LATITUDE_RAD, FLAT_WATCH_S, SHORTEST_ROD
from orient.text import signed

# How far a statement is off when it is: the price of freedom is counted from these.
_LEVEL_DEG, _FOOT_MM, _FAR_FOOT_MM, _CORNER_MM = 1.0, 6.0, 30.0, 250.0
#: So many marks that one of them may be wrong unseen.
FEWEST_TO_SPARE, MOST_TO_SPARE = 3, 7

_WATCH_S, _HEIGHT_PART, _LATITUDE_RAD = 900.0, 0.1, np.radians(1.5)


@dataclass(frozen=True)
class Statement:
    """A statement that may be set free.

    `kind` names it, `price` is −2 log of how often it is wrong, less what the adjustment's
    flat prior costs too much. `wide` are the tolerances that free it. `off` is how far an
    adjustment finds it off where its prior is flat, by how far it is when it is: the larger,
    the dearer, and never out of the question.
    """

    kind: str
    price: float
    wide: Callable[[Board], dict[str, float]] = lambda board: {}
    off: Callable[[Board, BoardState], float] = lambda board, state: 0.0
    free_watch: bool = False
    free_height: bool = False
    free_latitude: bool = False
    by_time: bool = True


def _scatter(times: float) -> Callable[[Board], dict[str, float]]:
    def wide(board: Board) -> dict[str, float]:
        return {
            "mark_sd_mm": times * board.tolerances.mark_sd_mm,
            "edge_scatter": times * board.tolerances.edge_scatter,
        }

    return wide


def statements(board: Board) -> list[Statement]:
    """The statements that this board's record makes."""
    timed = bool(timed_marks(board).any())
    found = [
        Statement("level", 6.0, lambda _: {"level_sd_deg": _LEVEL_DEG}),
        Statement("foot", 6.0, lambda _: {"plumb_sd_mm": _FOOT_MM}),
        Statement("foot", 8.0, lambda _: {"plumb_sd_mm": _FAR_FOOT_MM}),
        Statement(
            "height",
            7.0 - 2.0 * np.log(1.0 / _HEIGHT_PART),
            off=lambda board, state: (state.height_mm / board.height_mm - 1.0) / _HEIGHT_PART,
            free_height=True,
        ),
        Statement(
            "latitude",
            8.0 - 2.0 * np.log(FLAT_LATITUDE_RAD / _LATITUDE_RAD),
            off=lambda _, state: state.latitude_rad / _LATITUDE_RAD,
            free_latitude=True,
        ),
        Statement("marking", 5.0, _scatter(1.6)),
        Statement("marking", 7.0, _scatter(2.4)),
        Statement("marking", 10.0, _scatter(4.0)),
        Statement("edge", 6.0, lambda board: {"edge_scatter": 0.2}),
    ]
    if timed and board.watch == "trusted":
        price = 6.0 - 2.0 * np.log(FLAT_WATCH_S / _WATCH_S)
        found.append(Statement("watch", price, off=_watch_off, free_watch=True))
    if timed:
        found.append(Statement("times", 10.6, by_time=False))
    step_s = _step_s(board)
    if step_s:
        found.append(
            Statement(
                "rounding",
                4.6,
                lambda board: {
                    "time_sd_s": step_s / np.sqrt(12.0),
                    # Cut, not rounded: all of them half a step early.
                    "watch_sd_s": float(np.hypot(board.tolerances.watch_sd_s, step_s / 2)),
                },
            )
        )
    return found


def _step_s(board: Board) -> float:
    return written_step_s(board.watch_utc_s[timed_marks(board)])


def freed(board: Board, chosen: Sequence[Statement], near: Fit) -> Trial:
    """The board with some statements set free, adjusted from a fit already had.

    Args:
        board: as recorded.
        chosen: what is set free.
        near: a fit to begin from; a watch set free is sought over the whole day.
    """
    tolerances = replace(
        board.tolerances, **{k: v for each in chosen for k, v in each.wide(board).items()}
    )
    read = replace(board, tolerances=tolerances)
    watch = any(each.free_watch for each in chosen)
    height = any(each.free_height for each in chosen)
    latitude = any(each.free_latitude for each in chosen)
    by_time = all(each.by_time for each in chosen)
    start = None if watch or not by_time else near
    fit = yield Asked(read, watch, height, latitude, by_time, start)
    if fit.state.height_mm <= 1.01 * SHORTEST_ROD * board.height_mm:
        return []
    kinds = tuple(each.kind for each in chosen)
    meant = Meant(
        words=" and ".join(dict.fromkeys(_words(kind, board, read, fit) for kind in kinds)),
        board=read,
        price=sum(each.price + _size_cost(each.off(board, fit.state)) for each in chosen),
        fit=fit,
        kind="+".join(kinds),
        sets_aside=kinds,
        by_time=by_time,
        free_watch=watch,
        free_height=height,
    )
    return [meant]


def _watch_off(board: Board, state: BoardState) -> float:
    return float(state.watch_error_s - board.watch_error_s) / _WATCH_S


def _size_cost(off: float) -> float:
    """What it costs that a statement is so far off: far ones are rare, but made (heavy-tailed)."""
    return float(2.0 * np.log1p(off**2))


# Words ------------------------------------------------------------------------------------


def _words(kind: str, board: Board, read: Board, fit: Fit) -> str:
    state = fit.state
    if kind == "level":
        tilt = float(np.degrees(np.hypot(state.slope_x, state.slope_y)))
        return f"the board was {tilt:.1f}° out of level"
    if kind in ("foot", "corner"):
        return _foot_words(kind, fit)
    if kind == "height":
        return _height_words(board, float(state.height_mm))
    if kind == "latitude":
        north = board.latitude_deg + float(np.degrees(state.latitude_rad))
        return (
            f"the site's latitude is {north:.1f}°, not {board.latitude_deg:.1f}°, or the date is "
            "another day's"
        )
    if kind == "marking":
        times = read.tolerances.mark_sd_mm / board.tolerances.mark_sd_mm
        return f"the marks scatter about {times:.1f} times as much as mark_sd_mm states"
    if kind == "edge":
        return "the marks scatter along the shadow, where its edge is soft, more than was stated"
    if kind == "rounding":
        return f"the times were rounded or cut to {_step_s(board) / 60:.0f} min"
    if kind == "times":
        return "the times are not those of the marks"
    return _watch_words(board, fit)


def _foot_words(kind: str, fit: Fit) -> str:
    x, y = signed(-fit.state.foot_x_mm, 0), signed(-fit.state.foot_y_mm, 0)
    off_mm = float(np.hypot(fit.state.foot_x_mm, fit.state.foot_y_mm))
    if kind == "corner":
        return (
            f"the marks were not measured from the foot but from a point at x {x}, y {y} mm from "
            "it: the sheet's corner, perhaps"
        )
    return (
        f"the foot was marked {off_mm:.0f} mm from the point plumb under the tip, at x {x}, "
        f"y {y} mm from it, or the rod leaned by as much"
    )


def _height_words(board: Board, height_mm: float) -> str:
    excess_mm = board.height_mm - height_mm
    if 10.0 < excess_mm < 900.0:
        return (
            f"the rod's height was measured from the ground, or from {excess_mm:.0f} mm under "
            f"the board's face: it is {height_mm:.0f} mm"
        )
    return f"the rod's height is {height_mm:.1f} mm, not {board.height_mm:g} mm"


def _watch_words(board: Board, fit: Fit) -> str:
    off_s = float(fit.state.watch_error_s) - board.watch_error_s
    east = signed(off_s / 240.0, 1)
    words = f"the watch was {abs(off_s) / 60:.0f} min {'fast' if off_s > 0 else 'slow'}"
    if abs(off_s) < 1800.0:
        words += f", or the site's longitude is {east}° off"
    return words


# Marks measured from elsewhere ----------------------------------------------------------------

_CORNER = Statement("corner", 9.0, lambda _: {"plumb_sd_mm": _CORNER_MM})


def from_elsewhere(board: Board, stated: Fit) -> list[Trial]:
    """Marks measured from another point than the foot: turned and shifted to fit the track."""
    if board.count < 5:
        return []
    return [freed(board, [_CORNER], start) for start in _shifted_starts(board, stated)]


def _shifted_starts(board: Board, stated: Fit) -> list[Fit]:
    instants = _possible_instants(board)
    x, y = board.tips(instants, board.nominal())
    predicted = x + 1j * y
    usable = np.isfinite(predicted).all(axis=1)
    instants, predicted = instants[usable], predicted[usable]
    if not len(predicted):
        return []
    marked = board.x_mm + 1j * board.y_mm
    centred = predicted - predicted.mean(axis=1, keepdims=True)
    turn = np.angle(np.sum((marked - marked.mean()) * np.conj(centred), axis=1))
    laid = predicted * np.exp(1j * turn)[:, None]
    shift = (marked - laid).mean(axis=1)
    miss = np.sum(np.abs(marked - laid - shift[:, None]) ** 2, axis=1)
    best, chosen = np.argsort(miss, kind="stable"), list[int]()
    for place in best:
        if all(abs(instants[place, 0] - instants[other, 0]) > 1800.0 for other in chosen):
            chosen.append(int(place))
        if len(chosen) == 2:
            break
    starts = []
    for place in chosen:
        timed = timed_marks(board)
        # A direction turned back by β: marked = predicted · e^{iβ}, as in the complex plane.
        offset = np.nanmedian((board.watch_utc_s - instants[place])[timed]) if timed.any() else 0.0
        state = replace(
            BoardState(*np.asarray(stated.state).tolist()),
            board_azimuth_rad=float(turn[place]),
            foot_x_mm=float(shift[place].real),
            foot_y_mm=float(shift[place].imag),
            slope_x=0.0,
            slope_y=0.0,
            height_mm=board.height_mm,
            watch_error_s=float(offset) if timed.any() else board.watch_error_s,
        )
        starts.append(replace(stated, state=state, utc_s=instants[place]))
    return starts


def _possible_instants(board: Board) -> Array:
    """When the marks may have been made, (tries, n): by the watch, or along the day's track."""
    if timed_marks(board).all():
        offsets = np.array([board.watch_error_s])
        if board.watch == "running":
            offsets = board.watch_error_s + np.arange(-12 * 3600.0, 12 * 3600.0, 300.0)
        return board.watch_utc_s - offsets[:, None]
    times = board.noon_utc_s + np.arange(-36000.0, 36001.0, 60.0)
    x, y = board.tips(times, board.nominal())
    lit = np.isfinite(x) & (np.hypot(x, y) < 8.0 * board.height_mm)
    if np.count_nonzero(lit) < 10:
        return np.empty((0, board.count))
    times, x, y = times[lit], x[lit], y[lit]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    marks = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(board.x_mm), np.diff(board.y_mm)))])
    starts = np.arange(0.0, max(along[-1] - marks[-1], 1.0), along[-1] / 300.0)
    forth = np.interp(starts[:, None] + marks, along, times)
    back = np.interp(starts[:, None] + marks[-1] - marks, along, times)
    return np.concatenate([forth, back])


# Marks left out -------------------------------------------------------------------------------


def without_marks(board: Board, near: Fit | None = None) -> list[Trial]:
    """Few marks: each left out in turn, that another may be the wrong one.

    Without a fit to begin from the others may stand at any time of the day, and be read in
    more ways than one.
    """
    if not FEWEST_TO_SPARE <= board.count <= MOST_TO_SPARE:
        return []
    return [_without(board, near, number) for number in range(board.count)]


def _without(board: Board, near: Fit | None, number: int) -> Trial:
    others = np.arange(board.count) != number
    part = None if near is None else replace(near, utc_s=near.utc_s[others])
    best = yield Asked(board.of(others), near=part)
    fits = [spread_over(fit, others) for fit in (best, *best.rivals)]
    for fit in fits:
        fit.residual_mm[number] = _missed(board, fit, number)
    return [Meant(f"mark {number + 1} is wrong", board, fit=fit, kind="mark") for fit in fits]


def _missed(board: Board, fit: Fit, number: int) -> Array:
    """How far a mark lies from where the others have the tip, at its time or ever."""
    one = board.of(np.array([number]))
    if timed_marks(one).all():
        instants = one.watch_utc_s - fit.state.watch_error_s
    else:
        instants = board.noon_utc_s + np.arange(-36000.0, 36001.0, 60.0)
    off = np.stack(board.tips(instants, fit.state), axis=-1) - [one.x_mm[0], one.y_mm[0]]
    off = off[np.isfinite(off).all(axis=1)]
    return off[np.argmin(np.hypot(*off.T))] if len(off) else np.full(2, np.nan)


def spread_over(fit: Fit, chosen: Array) -> Fit:
    """A fit of some of the marks as one of them all, the others left out."""
    size = chosen.size
    kept, utc_s, residual = np.zeros(size, bool), np.full(size, np.nan), np.full((size, 2), np.nan)
    kept[chosen], utc_s[chosen], residual[chosen] = fit.kept, fit.utc_s, fit.residual_mm
    return replace(fit, kept=kept, utc_s=utc_s, residual_mm=residual)
