"""The mistakes crews really make, tried one by one on a board whose marks do not fit.

A hypothesis reads the record in another way: the watch an hour off, the angles counted the
other way round, the marks in centimetres. The board is adjusted anew under each, and the one
whose sum of squares is clearly the least is said. Nothing is adopted: a person puts the table
right. Until then the azimuth is as uncertain as the two readings are apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from orient.observation.adjustment import Fit
from orient.observation.board import Board
from orient.observation.mistakes.evidence import Weighed
from orient.observation.mistakes.record import (
    PLACE,
    Array,
    Record,
    laid_over,
    listed,
    misfit_on,
    timed_marks,
)
from orient.observation.starts import nearest_on_track
from orient.text import signed

# A mark may be this many times its tolerances from a record that is right.
_REACH = 5.0
_FEWEST_IN_REACH = 0.6
_MOST_SAID = 3


@dataclass(frozen=True)
class Explanation:
    """The mistakes that would explain a board's marks, likeliest first.

    `words` says each; `cost_before` and `cost_after` are the sums of squares, of marks and
    tolerances, as recorded and as the first would have them, and `misfit_before_mm` and
    `misfit_after_mm` the marks' root mean square misfits; `dark` counts the marks that stood
    at night as recorded.
    """

    words: tuple[str, ...]
    cost_before: float
    cost_after: float
    misfit_before_mm: float
    misfit_after_mm: float
    dark: int = 0
    kinds: tuple[str, ...] = ()
    sets_aside: tuple[tuple[str, ...], ...] = ()

    @property
    def of_place(self) -> bool:
        """Whether the likeliest reading puts the site elsewhere: all bearings from it are wrong."""
        return PLACE in self.kinds

    @property
    def short(self) -> str:
        """The mistakes alone, in one line."""
        return "; or: ".join(self.words)

    @property
    def sentence(self) -> str:
        """One sentence for people."""
        misfit = f"from {self.misfit_before_mm:.1f} mm to {self.misfit_after_mm:.1f} mm"
        if not np.isfinite(self.misfit_before_mm):
            misfit = f"to {self.misfit_after_mm:.1f} mm"
        gain = f"The usual misfit of a mark then goes {misfit}"
        if self.dark:
            marks, fall = ("mark", "falls") if self.dark == 1 else ("marks", "fall")
            gain += f", and {self.dark} {marks} no longer {fall} at night"
        said = "; or: ".join(self.words)
        return f"This would explain it: {said}. {gain}. The tables were not changed."


def explanation_of(before: Fit, likely: Sequence[Weighed]) -> Explanation:
    """The likeliest readings said, one of each, and what the first makes of the misfit.

    Args:
        before: the board as stated.
        likely: readings, likeliest first.
    """
    told: dict[str, Weighed] = {}
    for each in likely:
        # A watch an hour behind and one 60 min slow are the same: what is set aside is said once.
        told.setdefault("+".join(each.meant.sets_aside) or each.meant.words, each)
    readings = list(told.values())[:_MOST_SAID]
    meant, fit = readings[0].meant, readings[0].fit
    same = fit.kept.size == before.kept.size
    chosen = fit.kept if same else np.ones(before.kept.size, dtype=bool)
    lit = np.isfinite(before.residual_mm).all(axis=1)
    return Explanation(
        words=tuple(each.meant.words for each in readings),
        cost_before=before.cost,
        cost_after=fit.cost + meant.extra_cost,
        misfit_before_mm=_rms(before.residual_mm[chosen & lit]),
        misfit_after_mm=_rms(fit.residual_mm[fit.kept]),
        dark=int(np.count_nonzero(chosen & ~lit)),
        kinds=tuple(each.meant.kind for each in readings),
        sets_aside=tuple(each.meant.sets_aside or (each.meant.kind,) for each in readings),
    )


def _rms(residual_mm: Array) -> float:
    if not residual_mm.size:
        return np.nan
    return float(np.sqrt(np.mean(np.sum(residual_mm**2, axis=1))))


# What can be ruled out at a glance ------------------------------------------------------------


def possible(board: Board) -> bool:
    """Whether most marks lie near enough to where the board as stated would have them.

    A full adjustment of a board that cannot fit is slow, and most readings are such.
    """
    timed = timed_marks(board)
    if not timed.any():
        return _on_track(board)
    part = board.of(timed)
    if board.watch == "running":
        return _on_track_at_some_time(part)
    predicted, turn = laid_over(part)
    miss = np.abs(part.x_mm + 1j * part.y_mm - predicted * np.exp(1j * turn))
    return _enough(miss, _nominal_sd_mm(part))


def _enough(miss_mm: Array, sd_mm: Array) -> bool:
    """Whether in any of many tries, along the first axis, enough marks are in reach."""
    near = np.nan_to_num(miss_mm, nan=np.inf) < _REACH * sd_mm
    return bool(np.mean(near, axis=-1).max() >= _FEWEST_IN_REACH)


def _on_track(board: Board) -> bool:
    """The same without times: the day's track laid over the marks, turned by degrees."""
    miss, _ = nearest_on_track(board, np.radians(np.arange(0.0, 360.0, 3.0)))
    return _enough(miss - np.radians(1.5) * board.length_mm, _nominal_sd_mm(board))


def _on_track_at_some_time(board: Board) -> bool:
    """The same with a watch whose setting is unknown: every ten minutes of the day."""
    offset = np.arange(-54000.0, 54000.0, 600.0)
    x, y = board.tips(board.watch_utc_s - offset[:, None], board.nominal())
    predicted = np.nan_to_num(x + 1j * y, nan=np.inf)
    lit = np.isfinite(predicted)
    marked = board.x_mm + 1j * board.y_mm
    turn = np.angle(np.sum(marked * np.conj(np.where(lit, predicted, 0.0)), axis=1))
    turned = np.where(lit, predicted, 1e9) * np.exp(1j * turn)[:, None]
    wide = replace(board.tolerances, watch_sd_s=max(150.0, board.tolerances.watch_sd_s))
    return _enough(np.abs(marked - turned), _nominal_sd_mm(replace(board, tolerances=wide)))


def _nominal_sd_mm(board: Board) -> Array:
    """About how far a mark may lie from its nominal place by all the tolerances."""
    tolerances, height = board.tolerances, board.height_mm
    length = board.length_mm
    # Along the shadow, a small angle moves the tip by the light's path squared over the height.
    reach = (length**2 + height**2) / height
    angle = np.radians(np.hypot(tolerances.level_sd_deg, tolerances.edge_sd_deg))
    angle = np.hypot(angle, np.radians(tolerances.watch_sd_s / 240.0))
    return np.sqrt(
        tolerances.mark_sd_mm**2
        + tolerances.plumb_sd_mm**2
        + (reach * angle) ** 2
        + (tolerances.height_sd_mm * length / height) ** 2
    )


# One mark at a time ---------------------------------------------------------------------------


def reread(record: Record, fit: Fit) -> list[str]:
    """How marks that were left out would fit: a typing mistake put right, or another set-up.

    Args:
        record: of the board.
        fit: the adjustment adopted, which left marks out.

    Returns:
        A sentence for each mark that just one typing mistake explains, and for each set-up
        whose line some of them fit. Of blunders of 8 to 25 mm any way, about 4 in 100 lie by
        chance where one of the slips would have put them.
    """
    board = record.board
    timed = timed_marks(board)
    said = []
    for number in np.flatnonzero(~fit.kept & timed):
        place = (float(board.x_mm[number]), float(board.y_mm[number]))
        fitting = [
            words
            for words, (x, y), later_s in _slips_of_pen(*place, record.by_angle)
            if _fits(board, fit, int(number), x, y, later_s)
        ]
        if len(fitting) == 1:
            said.append(f"Mark {record.label(number)} would fit if {fitting[0]}.")
    for other in record.others:
        if other.fit is not None:
            theirs = ~fit.kept & (misfit_on(other.board, other.fit) < 3.0)
            if theirs.any():
                names = listed([record.label(number) for number in np.flatnonzero(theirs)])
                said.append(f"Left out: {names} would fit set-up {other.name}, if they are its.")
    return said


def _fits(board: Board, fit: Fit, number: int, x: float, y: float, later_s: float) -> bool:
    instant = board.watch_utc_s[[number]] - fit.state.watch_error_s + later_s
    there = np.concatenate(board.tips(instant, fit.state))
    off = np.hypot(there[0] - x, there[1] - y)
    return bool(off < 3.0 * board.tolerances.mark_sd_mm)


def _slips_of_pen(
    x: float, y: float, by_angle: bool
) -> Iterator[tuple[str, tuple[float, float], float]]:
    for minutes, words in ((60, "1 h"), (10, "10 min")):
        yield f"its time were {words} later", (x, y), minutes * 60.0
        yield f"its time were {words} earlier", (x, y), -minutes * 60.0
    if by_angle:
        length, angle = float(np.hypot(x, y)), float(np.degrees(np.arctan2(x, y)) % 360.0)
        for step in (-100, -10, 10, 100):
            for new_length, new_angle, words in (
                (length + step, angle, f"its length were {length + step:.1f} mm"),
                (length, angle + step, f"its angle were {(angle + step) % 360:.1f}°"),
            ):
                radians = np.radians(new_angle)
                yield words, (new_length * np.sin(radians), new_length * np.cos(radians)), 0.0
        return
    yield f"its x were {signed(-x)} mm", (-x, y), 0.0
    yield f"its y were {signed(-y)} mm", (x, -y), 0.0
    yield "its x and y were swapped", (y, x), 0.0
    for step in (-100, -10, 10, 100):
        yield f"its x were {signed(x + step)} mm", (x + step, y), 0.0
        yield f"its y were {signed(y + step)} mm", (x, y + step), 0.0
