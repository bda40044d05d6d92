"""What to ask of a mark while the board still stands: does it fit the sun and the marks before?

A mark is held against the light of its moment, with the tolerances that the set-up states.
The board's azimuth, unknown until the reduction, comes from the marks before; the first mark
is held against the length alone. A mark without a trusted time is held against the whole
track of the day. What does not fit is asked about together with the slip that would explain
it: a clock of twelve hours, another unit, a sign, the two figures in the wrong order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orient.numbers.angles import wrap_180
from orient.numbers.light import HALF_DAY_S, LOWEST_LIGHT_DEG, light_altitude_deg
from orient.numbers.shadow import UNKNOWNS, BoardState, tip, tip_partials
from orient.observation.board import Board
from orient.text import shown_time

Array = NDArray[np.float64]

#: A mark is asked about beyond so many standard uncertainties: of careful marks one in
#: some hundreds (`tests/test_marking.py`).
ASK_BEYOND = 4.5
#: A track is looked at every so many seconds; between them it is as good as straight.
_TRACK_STEP_S = 120.0
#: So many marks settle how a board is turned; of more, an even choice speaks for all.
_ENOUGH_MARKS = 128
#: A mark that runs back by more than this has passed midnight.
_PAST_MIDNIGHT_S = 18 * 3600.0
#: Hours that are read or typed wrong, nearest first.
_HOUR_SLIPS_S = (3600.0, -3600.0)
_WATCH = UNKNOWNS.index("watch_error_s")
_AZIMUTH = UNKNOWNS.index("board_azimuth_rad")


@dataclass(frozen=True)
class Doubt:
    """What is odd about a mark, and the question that would settle it ("" where none is near)."""

    code: str
    found: str
    question: str = ""

    def __str__(self) -> str:
        return f"{self.found}. {self.question}".rstrip()


class _Slip(NamedTuple):
    """A slip of the hand: its question, and the mark as it would have been meant."""

    question: str
    later_s: float
    x_mm: float
    y_mm: float


class _Turned(NamedTuple):
    """The board's azimuth as the marks before give it, and its standard uncertainty."""

    azimuth_rad: float
    azimuth_u_rad: float


def doubts(board: Board, time_s: Array, longest_mm: float = np.inf) -> list[Doubt]:
    """Ask about the last mark of a board what the sun and the marks before it make odd.

    Args:
        board: its marks in the order they were made, the one in question last.
        time_s: watch times as they were written, seconds since midnight, shape (n,), NaN
            for none.
        longest_mm: the longest shadow that the board has room for.

    Returns:
        The doubts, gravest first; none where the mark fits.
    """
    if not board.count:
        return []
    found = [*_order(board, time_s), *_sun_up(board, time_s)]
    if not any(doubt.code == "no-sun" for doubt in found):
        found += _place(board, time_s)
    length = float(board.length_mm[-1])
    if length > longest_mm:
        found.append(
            Doubt(
                "off-board",
                f"the shadow is {length:.0f} mm long, and the board has room for {longest_mm:.0f}",
            )
        )
    return [*found, *_twice(board, time_s), *_ring(board)]


# The clock -------------------------------------------------------------------------------


def _order(board: Board, time_s: Array) -> Iterator[Doubt]:
    earlier = time_s[:-1][np.isfinite(time_s[:-1])]
    if not earlier.size or not np.isfinite(time_s[-1]):
        return
    back_s = earlier[-1] - time_s[-1]
    if not 0.0 < back_s < _PAST_MIDNIGHT_S:
        return
    found = f"{shown_time(time_s[-1])} is before the last mark's {shown_time(earlier[-1])}"
    afternoon = time_s[-1] + HALF_DAY_S
    fits = earlier[-1] < afternoon < 2 * HALF_DAY_S and _lit(board, HALF_DAY_S)
    question = f"Is it {shown_time(afternoon)}?" if fits else ""
    yield Doubt("time-backwards", found, question)


def _sun_up(board: Board, time_s: Array) -> Iterator[Doubt]:
    if not _by_time(board) or _lit(board, 0.0):
        return
    slips = [
        f"Is it {shown_time(time_s[-1] + later_s)}, or does the watch show another zone's time?"
        for later_s in (HALF_DAY_S, -HALF_DAY_S)
        if 0.0 <= time_s[-1] + later_s < 2 * HALF_DAY_S and _lit(board, later_s)
    ]
    question = slips[0] if slips else "Are the date, the site and its time zone right?"
    yield Doubt("no-sun", f"at {shown_time(time_s[-1])} the sun is not up there", question)


def _lit(board: Board, later_s: float) -> bool:
    light = board.light(_true_utc_s(board)[-1] + later_s)
    return bool(light_altitude_deg(light) > LOWEST_LIGHT_DEG)


def _by_time(board: Board) -> bool:
    return board.watch == "trusted" and bool(np.isfinite(board.watch_utc_s[-1]))


def _true_utc_s(board: Board) -> Array:
    return board.watch_utc_s - board.watch_error_s


# The place on the board ------------------------------------------------------------------


def _place(board: Board, time_s: Array) -> Iterator[Doubt]:
    turned = _turned(board.of(np.arange(board.count) < board.count - 1))
    as_typed = _Slip("", 0.0, float(board.x_mm[-1]), float(board.y_mm[-1]))
    misfit, expected = _misfit(board, as_typed, turned)
    if misfit <= ASK_BEYOND:
        return
    fitting = [
        (other, slip)
        for slip in _slips(board, time_s, by_length=turned is None)
        if (other := _misfit(board, slip, turned)[0]) <= ASK_BEYOND
    ]
    question = min(fitting, key=lambda each: each[0])[1].question if fitting else ""
    yield Doubt("tip-jumps", _oddness(board, time_s, turned, expected), question)


def _oddness(board: Board, time_s: Array, turned: _Turned | None, expected: Array) -> str:
    x, y, length = board.x_mm[-1], board.y_mm[-1], board.length_mm[-1]
    at = f"at {shown_time(time_s[-1])}" if _by_time(board) else "nearest to it on that day"
    if turned is None or not np.isfinite(expected).all():
        made = f"{np.hypot(*expected):.0f} mm" if np.isfinite(expected).all() else "none"
        return f"the shadow is {length:.0f} mm long; {at} the sun makes one of {made}"
    apart = float(np.hypot(x - expected[0], y - expected[1]))
    return (
        f"the tip is {apart:.0f} mm from where the sun and the marks before it predict "
        f"{at}: x {expected[0]:.0f}, y {expected[1]:.0f}".replace("-", "−")
    )


def _slips(board: Board, time_s: Array, by_length: bool) -> Iterator[_Slip]:
    """The slips that people make; `by_length` leaves out those that keep the length."""
    x, y = float(board.x_mm[-1]), float(board.y_mm[-1])
    for unit, factor in (("centimetres", 10.0), ("metres", 1000.0), ("inches", 25.4)):
        meant = f"x {factor * x:.5g}, y {factor * y:.5g}, length {factor * np.hypot(x, y):.5g}"
        yield _Slip(f"Is it in {unit}? In mm it is {meant}.", 0.0, factor * x, factor * y)
    if not by_length:
        yield _Slip("Is the sign of x wrong, or the angle counted anticlockwise?", 0.0, -x, y)
        yield _Slip("Is the sign of y wrong?", 0.0, x, -y)
        yield _Slip("Are both signs wrong?", 0.0, -x, -y)
        yield _Slip("Are x and y the wrong way round?", 0.0, y, x)
    if not _by_time(board):
        return
    for later_s in (HALF_DAY_S, -HALF_DAY_S):
        if 0.0 <= time_s[-1] + later_s < 2 * HALF_DAY_S:
            yield _Slip(f"Is it {shown_time(time_s[-1] + later_s)}?", later_s, x, y)
    if _watch_kept(board):
        # The marks before it came at the hours that the same watch showed.
        for later_s in _HOUR_SLIPS_S:
            if 0.0 <= time_s[-1] + later_s < 2 * HALF_DAY_S:
                yield _Slip(f"Is it {shown_time(time_s[-1] + later_s)}?", later_s, x, y)
        return
    for later_s, words in ((-3600.0, "fast"), (3600.0, "slow")):
        error_s = board.watch_error_s - later_s
        yield _Slip(
            f"Is the watch an hour {words} (summer time, or another zone)? Then the set-up's "
            f"watch_error_s is {error_s:.0f}.",
            later_s,
            x,
            y,
        )


def _watch_kept(board: Board) -> bool:
    """Whether the mark before was made with the watch and fits the sun as it was read."""
    timed = np.flatnonzero(np.isfinite(board.watch_utc_s[:-1]))
    if not timed.size:
        return False
    before = board.of(np.arange(board.count) <= timed[-1])
    as_read = _Slip("", 0.0, float(before.x_mm[-1]), float(before.y_mm[-1]))
    turned = _turned(before.of(np.arange(before.count) < before.count - 1))
    return _misfit(before, as_read, turned)[0] <= ASK_BEYOND


def _misfit(board: Board, mark: _Slip, turned: _Turned | None) -> tuple[float, Array]:
    """How many standard uncertainties a mark is from the sun's tip, and where that tip is."""
    if _by_time(board):
        instants = _true_utc_s(board)[-1:] + mark.later_s
        watch_sd_s = board.tolerances.watch_sd_s
    else:
        instants, watch_sd_s = _daylight(board), _TRACK_STEP_S
    if not instants.size:
        return np.inf, np.full(2, np.nan)
    direction = np.arctan2(mark.x_mm, mark.y_mm)
    if turned is None:
        azimuth, azimuth_u = board.shadow_azimuth_rad(instants) - direction, 0.0
    else:
        azimuth, azimuth_u = np.full(instants.shape, turned.azimuth_rad), turned.azimuth_u_rad
    tips, covariance = _expected(board, instants, azimuth, azimuth_u, watch_sd_s)
    apart = np.array([mark.x_mm, mark.y_mm]) - tips
    # Nearest in plain millimetres: near the horizon everything is uncertain and would fit.
    distance_mm = np.hypot(apart[:, 0], apart[:, 1])
    nearest = int(np.argmin(np.where(np.isfinite(distance_mm), distance_mm, np.inf)))
    square = apart[nearest] @ np.linalg.solve(covariance[nearest], apart[nearest])
    return (float(np.sqrt(square)) if np.isfinite(square) else np.inf), tips[nearest]


def _expected(
    board: Board, instants: Array, azimuth_rad: Any, azimuth_u_rad: float, watch_sd_s: float
) -> tuple[Array, Array]:
    """Tips at instants, shape (n, 2), and the covariance of a mark there, (n, 2, 2).

    Instants without light have NaN tips.
    """
    state = replace(board.nominal(), board_azimuth_rad=np.asarray(azimuth_rad))
    tips, partials = _tips_and_partials(board, instants, state)
    sd = replace(board.tolerances, watch_sd_s=watch_sd_s).prior_sd()
    sd[_AZIMUTH] = azimuth_u_rad
    spread = partials * sd
    covariance = np.einsum("nik,njk->nij", spread, spread)
    covariance[:, [0, 1], [0, 1]] += board.tolerances.mark_sd_mm**2
    return tips, covariance


def _tips_and_partials(board: Board, instants: Array, state: BoardState) -> tuple[Array, Array]:
    light, rate = board.light_and_rate(instants)
    lit = light_altitude_deg(light) > LOWEST_LIGHT_DEG
    partials = tip_partials(light, rate, state)
    tips = np.where(lit[:, None], np.stack(tip(*light, state), axis=-1), np.nan)
    return tips, np.where(lit[:, None, None], partials, 0.0)


def _daylight(board: Board) -> Array:
    """Instants of the day at which the sun casts a shadow."""
    instants = board.noon_utc_s + np.arange(-HALF_DAY_S, HALF_DAY_S, _TRACK_STEP_S)
    return instants[light_altitude_deg(board.light(instants)) > LOWEST_LIGHT_DEG]


# How the board is turned -----------------------------------------------------------------


def _turned(board: Board) -> _Turned | None:
    """The azimuth on which most marks agree, None where they do not settle it.

    A mark without a trusted time has its length in the morning and in the afternoon, and
    so speaks for two azimuths.
    """
    azimuth, u, mark = _spoken_for(_thinned(board))
    if not azimuth.size:
        return None
    apart = np.abs(wrap_180(np.degrees(azimuth[:, None] - azimuth[None, :])))
    agree = apart <= np.degrees(2.0 * ASK_BEYOND / np.sqrt(2.0) * np.hypot(u[:, None], u[None, :]))
    of_mark = mark[:, None] == np.unique(mark)
    followers = np.count_nonzero(agree.astype(float) @ of_mark.astype(float), axis=1)
    # Of equally many followers the one that knows best.
    best = int(np.lexsort((u, -followers))[0])
    rivals = (followers == followers[best]) & ~agree[best]
    if rivals.any():
        return None
    chosen = agree[best]
    weight = 1.0 / u[chosen] ** 2
    offset = np.radians(wrap_180(np.degrees(azimuth[chosen] - azimuth[best])))
    middle = azimuth[best] + np.sum(weight * offset) / np.sum(weight)
    # What the marks share, tilt and foot and watch, does not shrink with their number.
    return _Turned(float(middle), float(np.median(u[chosen])))


def _thinned(board: Board) -> Board:
    """A board with an even choice of its marks where they are very many."""
    if board.count <= _ENOUGH_MARKS:
        return board
    chosen = np.linspace(0, board.count - 1, _ENOUGH_MARKS).astype(int)
    return board.of(np.isin(np.arange(board.count), chosen))


def _spoken_for(board: Board) -> tuple[Array, Array, NDArray[np.int64]]:
    """Azimuths that single marks speak for, their standard uncertainties, and whose they are."""
    timed = np.isfinite(board.watch_utc_s) & (board.watch == "trusted")
    numbers = np.arange(board.count)
    by_length = np.repeat(numbers[~timed], 2)
    afternoon = np.tile([False, True], np.count_nonzero(~timed))
    instants = np.concatenate(
        [
            _true_utc_s(board)[timed],
            board.times_of_lengths(board.length_mm[by_length], afternoon),
        ]
    )
    mark = np.concatenate([numbers[timed], by_length])
    known = np.isfinite(instants) & (board.length_mm[mark] > 0.0)
    instants, mark = instants[known], mark[known]
    if not mark.size:
        return np.empty(0), np.empty(0), mark
    azimuth = board.shadow_azimuth_rad(instants) - board.direction_rad[mark]
    u = _direction_u_rad(board, instants, azimuth, timed[mark])
    settled = np.isfinite(u) & (u < np.radians(20.0))
    return azimuth[settled], u[settled], mark[settled]


def _direction_u_rad(board: Board, instants: Array, azimuth: Array, timed: Any) -> Array:
    """How well each mark's direction tells the azimuth, by its time or by its length."""
    watch_sd_s = board.tolerances.watch_sd_s
    tips, covariance = _expected(board, instants, azimuth, 0.0, watch_sd_s)
    state = replace(board.nominal(), board_azimuth_rad=azimuth)
    _, partials = _tips_and_partials(board, instants, state)
    with np.errstate(invalid="ignore", divide="ignore"):
        length = np.hypot(tips[:, 0], tips[:, 1])
        radial = tips / length[:, None]
        across = np.stack([radial[:, 1], -radial[:, 0]], axis=-1)
        run = partials[:, :, _WATCH]
        # By its length: an error along the radius moves the instant, and that the direction.
        follow = np.sum(run * across, axis=-1) / np.sum(run * radial, axis=-1)
        reader = across - np.where(timed, 0.0, follow)[:, None] * radial
        variance = np.einsum("ni,nij,nj->n", reader, covariance, reader)
        return np.sqrt(variance) / length


# The marks before ------------------------------------------------------------------------


def _twice(board: Board, time_s: Array) -> Iterator[Doubt]:
    same = np.hypot(board.x_mm[:-1] - board.x_mm[-1], board.y_mm[:-1] - board.y_mm[-1]) < 0.05
    same &= (time_s[:-1] == time_s[-1]) | ~np.isfinite(time_s[-1])
    if same.any():
        place = int(np.flatnonzero(same)[-1]) + 1
        yield Doubt("typed-twice", f"the board's mark {place} is the same", "Was it typed twice?")


def _ring(board: Board) -> Iterator[Doubt]:
    label, length = board.ring[-1], board.length_mm
    mates = np.flatnonzero(board.ring[:-1] == label)
    if not label or not mates.size:
        return
    radius = float(np.median(length[mates]))
    allowed = ASK_BEYOND * np.sqrt(2.0) * board.tolerances.mark_sd_mm
    # The ring was drawn about the foot as it was then taken to be.
    allowed += 2.0 * board.tolerances.plumb_sd_mm
    if abs(length[-1] - radius) > allowed:
        yield Doubt(
            "ring-differs",
            f"ring {label} had {radius:.1f} mm so far; this mark is {length[-1]:.1f} mm from "
            "the foot",
            "Is it another ring?",
        )
