"""What would make a line better, tried before it is said.

Each improvement is put into the adjustment's normal equations, about the state that the marks
gave, and the uncertainty that comes out is what is told: first order in the tolerances, the
marks where they are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from orient.numbers.shadow import UNKNOWNS
from orient.numbers.tolerances import COVERAGE_95, Tolerances
from orient.observation.adjustment import Fit
from orient.observation.board import Board
from orient.observation.solver import AZIMUTH, WATCH

Array = NDArray[np.float64]

#: What a telephone that has had the network, or a time signal, gives without trouble.
GOOD_WATCH_S = 1.0
#: A watch is the least work of all: it is named first where it does nearly as much as the best.
_NEARLY_AS_MUCH = 1.15
#: An improvement that takes off less than this part is not worth a sentence.
_LEAST_GAIN = 0.05


class Improvement(NamedTuple):
    """One thing to do better: in words, and the standard uncertainty that it would give."""

    name: str
    words: str
    u_deg: float


def would_help(board: Board, fit: Fit, reference_u_deg: float = 0.0) -> list[Improvement]:
    """What could be done better next time, the greatest gain first.

    Args:
        board: with the marks that the fit was made from.
        fit: the adopted fit.
        reference_u_deg: standard uncertainty of the reference line's own board direction, 0
            where the board's azimuth alone counts.

    Returns:
        Improvements that gain 5 % and more over the azimuth as it is now; none where the
        marks fix no direction. A watch set to the second stands first where nothing else
        does much better.
    """
    kept = fit.kept & np.isfinite(fit.utc_s)
    if not kept.any():
        return []
    stated = board.tolerances
    by_time = np.isfinite(board.watch_utc_s) & (board.watch != "none")
    partials = board.tips_and_partials(fit.utc_s[kept], fit.state)[1]
    running = board.watch == "running"
    now = replace(stated, watch_sd_s=86400.0) if running else stated
    halved = [replace(now, **{name: getattr(now, name) / 2}) for name in _TWICE_AS_WELL]
    present, *better = _azimuth_u_rad(partials, by_time[kept], [now, *halved])
    if not np.isfinite(present) or present == 0.0:
        return []
    scale = np.degrees(fit.azimuth_u_rad) / present
    good_watch = replace(now, watch_sd_s=min(GOOD_WATCH_S, stated.watch_sd_s))
    by_good_watch = _azimuth_u_rad(partials, np.ones(kept.sum(), dtype=bool), [good_watch])
    words = {"watch": _watch_words(board)} | _TWICE_AS_WELL
    tried = zip(words.items(), [*by_good_watch, *better], strict=True)
    found = [
        Improvement(name, said, float(np.hypot(scale * u, reference_u_deg)))
        for (name, said), u in tried
    ]
    whole = float(np.hypot(np.degrees(fit.azimuth_u_rad), reference_u_deg))
    if reference_u_deg > 0.0:
        drawn = float(np.hypot(np.degrees(fit.azimuth_u_rad), reference_u_deg / 2))
        found.append(Improvement("reference", _REFERENCE_WORDS, drawn))
    return _in_order(found, whole)


_TWICE_AS_WELL = {
    "mark_sd_mm": "marks twice as fine, or four times as many",
    "level_sd_deg": "a board levelled twice as well, the level turned end for end",
    "plumb_sd_mm": "a foot found twice as closely, by a finer plumb line",
    "height_sd_mm": "a rod's height measured twice as closely",
    "edge_sd_deg": "the same place of the soft edge marked twice as steadily",
}
_COMPARED_WORDS = "the watch compared with a time signal, and that written in watches.csv"
_REFERENCE_WORDS = "a reference line drawn twice as closely: longer on the sheet, read finer"


def _watch_words(board: Board) -> str:
    if np.isfinite(board.watch_utc_s).any() and board.watch != "none":
        return "a watch set to the second by a time signal"
    return "the time of each mark, by a watch set to the second"


def _in_order(found: list[Improvement], whole_u_deg: float) -> list[Improvement]:
    """Those that are worth a sentence, the greatest gain first."""
    worthwhile = [each for each in found if each.u_deg < (1.0 - _LEAST_GAIN) * whole_u_deg]
    ordered = sorted(worthwhile, key=lambda each: each.u_deg)
    if not ordered:
        return []
    limit = _NEARLY_AS_MUCH * ordered[0].u_deg
    return sorted(ordered, key=lambda each: each.name != "watch" or each.u_deg > limit)


def _azimuth_u_rad(
    partials: Array, timed: NDArray[np.bool_], tolerances: Sequence[Tolerances]
) -> Array:
    """Standard uncertainty of the azimuth that these marks give with each of the priors."""
    speed = -partials[..., WATCH]
    across = np.stack([-speed[:, 1], speed[:, 0]], axis=-1)
    across /= np.maximum(np.hypot(*speed.T), 1e-12)[:, None]
    design = np.where(
        timed[:, None, None], partials, across[:, :, None] * (across[:, None, :] @ partials)
    )
    flat = design.reshape(-1, len(UNKNOWNS))
    mark_sd_mm = np.array([each.mark_sd_mm for each in tolerances])
    told = flat.T @ flat / mark_sd_mm[:, None, None] ** 2
    prior_sd = np.stack([each.prior_sd() for each in tolerances])
    prior_sd[:, AZIMUTH] = 10.0
    free = (prior_sd > 0) & (timed.any() | (np.arange(len(UNKNOWNS)) != WATCH))
    # Scaled by the priors, so that the matrices are well conditioned; one for what is fixed.
    scale = np.where(free, np.minimum(prior_sd, 1e3), 0.0)
    matrix = told * scale[:, :, None] * scale[:, None, :]
    diagonal = np.arange(len(UNKNOWNS))
    matrix[:, diagonal, diagonal] += np.where(free, scale / np.where(free, prior_sd, 1.0), 1.0) ** 2
    return np.asarray(scale[:, AZIMUTH] * np.sqrt(np.linalg.inv(matrix)[:, AZIMUTH, AZIMUTH]))


def advice(board: Board, fit: Fit, reference_u_deg: float = 0.0) -> str:
    """The improvement worth most in a sentence for people; "" where none is worth one.

    Args:
        board, fit, reference_u_deg: as for `would_help`.
    """
    whole = float(np.hypot(np.degrees(fit.azimuth_u_rad), reference_u_deg))
    return _sentence(would_help(board, fit, reference_u_deg), whole)


def advice_together(factors: Mapping[str, float], whole_u_deg: float) -> str:
    """The same of a set-up that was adjusted as one with others.

    Args:
        factors: by the name of an improvement of the whole crew's work, what the uncertainty
            would be multiplied with.
        whole_u_deg: standard uncertainty of the line as it is.
    """
    words = {"watch": _COMPARED_WORDS, "reference": _REFERENCE_WORDS} | _TWICE_AS_WELL
    found = [Improvement(name, words[name], each * whole_u_deg) for name, each in factors.items()]
    return _sentence(_in_order(found, whole_u_deg), whole_u_deg)


def _sentence(found: list[Improvement], whole: float) -> str:
    if not found:
        return ""
    best = found[0]
    return (
        f"What would help most: {best.words}. The line would then be good to "
        f"±{COVERAGE_95 * best.u_deg:.2f}° in place of ±{COVERAGE_95 * whole:.2f}° (95 %)."
    )
