"""Contour lines of a quantity over an area, true to the model along their whole length.

A line is first drawn through the lattice, then each of its points is moved on to where the model
has the line's value, and points are put in between until the middle of each piece is right too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.numbers.angles import wrap_180
from orient.numbers.magnetic import UNRELIABLE_HORIZONTAL_NT
from orient.region.lattice import CIRCULAR, QUANTITIES, Lattice

Array = NDArray[np.float64]

#: How far the model's value may be from a line's, as a part of the interval between lines and,
#: for angles, in degrees.
TRUE_TO_PART, TRUE_TO_DEG = 0.02, 0.005
_ROUNDS = 6


@dataclass(frozen=True)
class Contour:
    """A line of equal value: `points` (n, 2), longitude and latitude in degrees."""

    value: float
    points: Array


def interval_of(lattice: Lattice, what: str) -> float:
    """A round interval that gives some ten lines over the area."""
    values = _masked(lattice, what)
    if what in CIRCULAR:
        values = wrap_180(values - np.nanmedian(values))
    low, high = np.nanpercentile(values, [2, 98])
    span = max(float(high - low), 1e-6)
    decade = 10.0 ** np.floor(np.log10(span / 10.0))
    return float(decade * next(part for part in (1, 2, 5, 10) if span / (decade * part) <= 12))


def contours(lattice: Lattice, what: str, interval: float) -> list[Contour]:
    """The lines of a quantity at whole multiples of an interval.

    Where the horizontal field is under 2,000 nT, about a magnetic pole, no lines are drawn: there
    a compass is useless, and all lines of declination run together.
    """
    import contourpy

    values = _masked(lattice, what)
    evaluate = lattice.at(what)
    lines = []
    for level in _levels(values, what, interval):
        off = values - level
        if what in CIRCULAR:
            off = wrap_180(off)
            # The jump from +180 to −180 is no line.
            off = np.where(np.abs(off) > 90.0, np.nan, off)
        drawn = contourpy.contour_generator(
            lattice.longitude_deg, lattice.latitude_deg, np.ma.masked_invalid(off)
        ).lines(0.0)
        lines += [
            Contour(level, line)
            for rough in drawn
            if len(line := _made_true(np.asarray(rough), level, evaluate, what, interval)) > 1
        ]
    return lines


def _masked(lattice: Lattice, what: str) -> Array:
    values = lattice.values[QUANTITIES[what][0]]
    weak = lattice.values["horizontal_intensity_nt"] < UNRELIABLE_HORIZONTAL_NT
    return np.where(weak, np.nan, values) if what not in ("inclination", "horizontal") else values


def _levels(values: Array, what: str, interval: float) -> list[float]:
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    numbers = range(int(np.ceil(low / interval)), int(np.floor(high / interval)) + 1)
    # −180 and +180 are one line.
    return [n * interval for n in numbers if not (what in CIRCULAR and n * interval <= -180.0)]


def _made_true(
    line: Array, level: float, evaluate: Callable[[Array, Array], Array], what: str, interval: float
) -> Array:
    """A line whose points, and the middles between them, have the level's value."""
    allowed = TRUE_TO_PART * interval
    if what != "horizontal":
        allowed = min(allowed, TRUE_TO_DEG)

    def off(points: Array) -> Array:
        value = evaluate(np.clip(points[:, 1], -90.0, 90.0), points[:, 0]) - level
        return np.asarray(wrap_180(value) if what in CIRCULAR else value)

    line = _on_level(line, off)
    for _ in range(_ROUNDS):
        middles = (line[1:] + line[:-1]) / 2.0
        bent = np.abs(off(middles)) > allowed / 2.0
        if not bent.any():
            break
        line = np.insert(line, np.flatnonzero(bent) + 1, _on_level(middles[bent], off), axis=0)
    return line[np.abs(off(line)) < allowed] if len(line) else line


def _on_level(points: Array, off: Callable[[Array], Array]) -> Array:
    """Points moved along the slope to where the value is the level's: three steps of Newton's."""
    small = 1e-4
    for _ in range(3):
        value = off(points)
        slope = np.column_stack(
            [
                (off(points + step) - off(points - step)) / (2.0 * small)
                for step in (np.array([small, 0.0]), np.array([0.0, small]))
            ]
        )
        size = (slope**2).sum(axis=1)
        step = np.where(size > 0, value / np.where(size > 0, size, 1.0), 0.0)[:, None] * slope
        # A step longer than the lattice is no refinement.
        points = points - np.clip(step, -1.0, 1.0)
        points[:, 1] = np.clip(points[:, 1], -90.0, 90.0)
    return points
