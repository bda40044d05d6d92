"""The error budget: how good a direction a rig will give, before a mark is made.

The same geometry as the reduction's, through `orient.numbers.propagation`: an
equal-altitude pair, a single timed mark, and a day's marks adjusted together. A planned
board is level, plumb and turned to true north; what it may be off by is in the tolerances.

Every function returns the variance of the azimuth by where it comes from, rad²: `marking`,
`level`, `foot`, `height`, `watch`, `edge`, which add up. `expected_u_deg` sums them.

Accuracy: first order in the tolerances; within 10 % of Monte Carlo (`tests/test_budget.py`)
while the standard uncertainty stays under about 5°. The rate of refraction is left out of
the sun's: under 1 % of the marking term above 12°.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations_with_replacement
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.numbers import shadow
from orient.numbers.light import Light
from orient.numbers.propagation import (
    altitude_gain,
    edge_scatter_mm,
    timed_sensitivity,
    variance_terms,
)
from orient.numbers.shadow import UNKNOWNS, BoardState
from orient.numbers.tolerances import SHARED_TERMS, Tolerances

Array = NDArray[np.float64]
Terms = dict[str, Any]

TERMS = ("marking", *SHARED_TERMS)
_AZIMUTH = UNKNOWNS.index("board_azimuth_rad")


@dataclass(frozen=True)
class PlannedMarks:
    """Marks to be made: where the tip's shadow falls, and the light that it falls by.

    `x_mm`, `y_mm` of shape S, +y to true north; `light` and `rate` as for
    `shadow.tip_partials`, three of shape S each.
    """

    x_mm: Array
    y_mm: Array
    light: Light
    rate: Light
    rod_mm: float

    @classmethod
    def under(cls, light: Light, rate: Light, rod_mm: float) -> PlannedMarks:
        """The marks of a level board under a refracted light and its rate per second."""
        with np.errstate(invalid="ignore", divide="ignore"):
            reach = np.where(light[2] > 0.0, rod_mm / light[2], np.nan)
        return cls(-reach * light[0], -reach * light[1], light, rate, rod_mm)

    @cached_property
    def shadow_mm(self) -> Array:
        return np.sqrt(self.x_mm**2 + self.y_mm**2)

    @cached_property
    def velocity(self) -> tuple[Array, Array]:
        """Of the tip along x and y, mm per second."""
        east, north, up = self.light
        with np.errstate(invalid="ignore", divide="ignore"):
            reach, shrinking = self.rod_mm / up, self.rate[2] / up
        return (
            reach * (east * shrinking - self.rate[0]),
            reach * (north * shrinking - self.rate[1]),
        )

    def along_mm(self) -> dict[str, Any]:
        """How far a unit of some unknowns moves the tip along its shadow, and nowhere else, mm.

        On a level board the slopes, the rod's height and the eye's place in the soft edge do no
        more than lengthen the shadow.
        """
        length = self.shadow_mm
        lengthened = length / self.rod_mm
        return {
            "slope_x": -self.x_mm * lengthened,
            "slope_y": -self.y_mm * lengthened,
            "height_mm": lengthened,
            "edge_rad": -(self.rod_mm + length * lengthened),
        }

    def partials(self) -> Array:
        """Of `shadow.tip_partials`, S + (2, 9)."""
        board = BoardState(height_mm=self.rod_mm)
        return np.asarray(shadow.tip_partials(self.light, self.rate, board))

    def take(self, index: Any) -> PlannedMarks:
        """Some of the marks, by their numbers along the last axis."""
        parts = (self.x_mm, self.y_mm, *self.light, *self.rate)
        x, y, *lights = (np.take(part, index, axis=-1) for part in parts)
        return PlannedMarks(x, y, tuple(lights[:3]), tuple(lights[3:]), self.rod_mm)


def pair_terms(pair: PlannedMarks, tolerances: Tolerances) -> Terms:
    """Budget of equal-altitude pairs.

    Args:
        pair: marks at the same altitude of the sun, shape (2, …): morning and afternoon.
        tolerances: of the set-up.

    Returns:
        The variance terms, each of shape (…); infinite or NaN where the shadow's length
        stands still, as at noon. The watch has no part: its error moves both marks alike.
    """
    prior_sd = dict(zip(UNKNOWNS, tolerances.prior_sd(), strict=True))
    with np.errstate(invalid="ignore", over="ignore"):
        gain_x, gain_y = altitude_gain(pair.x_mm, pair.y_mm, pair.velocity)
        gain_along = (gain_x * pair.x_mm + gain_y * pair.y_mm) / pair.shadow_mm
        response = {
            "foot_x_mm": gain_x,
            "foot_y_mm": gain_y,
            **{name: gain_along * moved_mm for name, moved_mm in pair.along_mm().items()},
        }
        scatter = gain_x * gain_x + gain_y * gain_y
        terms = {"marking": tolerances.mark_sd_mm**2 * _mean(scatter) / 2.0}
        for term, names in SHARED_TERMS.items():
            if term != "watch":
                terms[term] = sum((prior_sd[name] * _mean(response[name])) ** 2 for name in names)
    terms["watch"] = np.zeros_like(terms["marking"])
    return terms


def _mean(of_pair: Array) -> Any:
    return 0.5 * (of_pair[0] + of_pair[1])


def timed_terms(marks: PlannedMarks, tolerances: Tolerances) -> Terms:
    """Budget of single marks with a trusted watch: the terms, each of the marks' shape."""
    sensitivity = timed_sensitivity(marks.x_mm, marks.y_mm)[..., None, :]
    return variance_terms(
        [1.0], sensitivity, marks.partials()[..., None, :, :], tolerances, by_watch=True
    )


def day_terms(information: Array, tolerances: Tolerances) -> Terms:
    """Budget of a day's timed marks, adjusted together with the tolerances as priors.

    Args:
        information: sum over the day's marks of `mark_information`, shape S + (9, 9).
        tolerances: of the set-up.

    Returns:
        The terms, each of shape S: the share of the marks, and of each prior, in the
        variance of the azimuth that the inverse of the normal matrix gives; the marking
        infinite where there are no marks.
    """
    prior_sd = tolerances.prior_sd()
    free = prior_sd > 0
    weight = 1.0 / prior_sd[free] ** 2
    # Scaled by the priors, so that the matrix is well conditioned; the azimuth by a milliradian.
    scale = np.where(np.isfinite(prior_sd), prior_sd, 1e-3)[free]
    marks_say = information[..., free, :][..., free] * np.outer(scale, scale)
    # An azimuth known to 10 rad tells nothing, and keeps a day without marks solvable.
    prior = np.diag(np.where(weight > 0, weight, 1e-2) * scale**2)
    azimuth = np.zeros((scale.size, 1))
    azimuth[_AZIMUTH] = scale[_AZIMUTH]
    gain = np.linalg.solve(marks_say + prior, azimuth)
    marking = (np.swapaxes(gain, -1, -2) @ marks_say @ gain)[..., 0, 0]
    gain = gain[..., 0]
    nothing = information[..., _AZIMUTH, _AZIMUTH] == 0
    terms: Terms = {"marking": np.where(nothing, np.inf, marking)}
    shares = np.zeros((*gain.shape[:-1], len(UNKNOWNS)))
    shares[..., free] = (gain * scale) ** 2 * weight
    for term, names in SHARED_TERMS.items():
        terms[term] = shares[..., [UNKNOWNS.index(name) for name in names]].sum(axis=-1)
    return terms


#: What boards of one crew have in common beside the line: the rod, the watch and the eye.
_COMMON = tuple(
    UNKNOWNS.index(name) for name in ("board_azimuth_rad", "height_mm", "watch_error_s", "edge_rad")
)
_OWN = tuple(UNKNOWNS.index(name) for name in ("foot_x_mm", "foot_y_mm", "slope_x", "slope_y"))


def board_information(information: Array, tolerances: Tolerances) -> Array:
    """What one board tells of the line and of what it shares with others; adds up over boards.

    Args:
        information: sum over the board's marks of `mark_information`, shape S + (9, 9).
        tolerances: of the set-up; its foot and its level are each board's own.

    Returns:
        Shape S + (4, 4): the azimuth, the rod's height, the watch's error and the eye's place
        in the soft edge.
    """
    prior_sd = tolerances.prior_sd()
    own = [place for place in _OWN if prior_sd[place] > 0]
    between = information[..., own, :][..., _COMMON]
    of_own = information[..., own, :][..., own] + np.diag(1.0 / prior_sd[own] ** 2)
    of_common = information[..., _COMMON, :][..., _COMMON]
    taken: Array = np.swapaxes(between, -1, -2) @ np.linalg.solve(of_own, between)
    return np.asarray(of_common - taken)


def without_line(information: Array) -> Array:
    """What a board tells of what it shares, its own line being another's: (…, 4, 4).

    Args:
        information: of `board_information`, shape S + (4, 4).
    """
    line = information[..., :1, :]
    known = np.maximum(information[..., :1, :1], 1e-300)
    return np.asarray(information - np.swapaxes(line, -1, -2) * line / known)


def joint_u_deg(information: Array, tolerances: Tolerances) -> Array:
    """Expected standard uncertainty, degrees, of a line that boards share.

    Args:
        information: sum over the boards of `board_information`, shape S + (4, 4).
        tolerances: of what the boards have in common: one rod, one watch, one observer.

    Returns:
        Shape S; of a single board the same as `day_terms` add up to, infinite without marks.
        How well the line is drawn on each board comes on top.
    """
    prior_sd = tolerances.prior_sd()[list(_COMMON)]
    free = prior_sd > 0
    scale = np.where(np.isfinite(prior_sd), prior_sd, 1e-3)[free]
    prior = np.where(np.isfinite(prior_sd[free]), 1.0, 1e-8)
    told = information[..., free, :][..., free] * np.outer(scale, scale) + np.diag(prior)
    u_rad = np.sqrt(np.linalg.inv(told)[..., 0, 0]) * scale[0]
    return np.where(information[..., 0, 0] == 0, np.inf, np.degrees(u_rad))


def mark_information(marks: PlannedMarks, tolerances: Tolerances) -> Array:
    """What each mark tells of the unknowns, shape S + (9, 9); sums over marks."""
    return _information(marks.x_mm.shape, mark_rows(marks, tolerances), lambda each: each)


def information_of_runs(
    marks: PlannedMarks, told: NDArray[np.bool_], start: NDArray[np.intp], tolerances: Tolerances
) -> Array:
    """`mark_information` summed up, of runs of marks.

    Args:
        marks: of both halves of the day, shape (2, n).
        told: which of them count, (2, n).
        start: where each run begins, rising, (runs,); the last goes on to the end.
        tolerances: of the set-up.

    Returns:
        Shape (runs, 9, 9).
    """
    rows = [
        {name: np.where(told, part, 0.0) for name, part in row.items()}
        for row in mark_rows(marks, tolerances)
    ]
    return _information(start.shape, rows, lambda each: np.add.reduceat(each[0] + each[1], start))


def _information(
    shape: tuple[int, ...], rows: Iterable[dict[str, Array]], summed: Callable[[Array], Array]
) -> Array:
    """The products of every two parts of each row, summed up, shape + (9, 9)."""
    out = np.zeros((*shape, len(UNKNOWNS), len(UNKNOWNS)))
    for row in rows:
        for (one, first), (other, second) in combinations_with_replacement(row.items(), 2):
            told, i, j = summed(first * second), UNKNOWNS.index(one), UNKNOWNS.index(other)
            out[..., i, j] += told
            if i != j:
                out[..., j, i] += told
    return out


def mark_rows(marks: PlannedMarks, tolerances: Tolerances) -> tuple[dict[str, Array], ...]:
    """The partials of each mark along the shadow, and those across it, over their scatter.

    Products summed up are `mark_information`. Along the shadow a mark tells less than across:
    its edge is soft there. An unknown that is left out of a row moves no mark that way; the
    latitude is left out of both, for a plan knows it.

    Returns:
        Two mappings of some of `UNKNOWNS`, each of the marks' shape S.
    """
    outward_x, outward_y = marks.x_mm / marks.shadow_mm, marks.y_mm / marks.shadow_mm
    soft = edge_scatter_mm(marks.shadow_mm, marks.rod_mm, tolerances.edge_scatter)
    sure_along = 1.0 / np.sqrt(soft**2 + tolerances.mark_sd_mm**2)
    sure_across = 1.0 / tolerances.mark_sd_mm
    later_x, later_y = marks.velocity
    along = {
        "foot_x_mm": outward_x,
        "foot_y_mm": outward_y,
        **marks.along_mm(),
        "watch_error_s": -(outward_x * later_x + outward_y * later_y),
    }
    across = {
        "board_azimuth_rad": marks.shadow_mm,
        "foot_x_mm": -outward_y,
        "foot_y_mm": outward_x,
        "watch_error_s": outward_y * later_x - outward_x * later_y,
    }
    return (
        {name: part * sure_along for name, part in along.items()},
        {name: part * sure_across for name, part in across.items()},
    )


def expected_u_deg(terms: Terms) -> Any:
    """Standard uncertainty in degrees that the terms add up to; infinite where undefined."""
    variance = sum(terms[name] for name in TERMS)
    with np.errstate(invalid="ignore"):
        u_deg = np.degrees(np.sqrt(variance))
    return np.where(np.isnan(u_deg), np.inf, u_deg)
