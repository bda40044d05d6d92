"""What the marks of each observer really scatter: a variance component, and how well known.

The sum of squares of an observer's residuals over their redundancy estimates how many times the
stated variance his marks have (Helmert's simple estimate; F. R. Helmert, Die Ausgleichungs-
rechnung, 1924). Few marks say little: below `ENOUGH` degrees of freedom the estimate is of all
observers together, and what these want too is filled up with what was stated.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.numbers.tolerances import COVERAGE_95
from orient.observation.joint.model import Model
from orient.observation.joint.solve import Solved

Array = NDArray[np.float64]

#: Degrees of freedom from which an observer's marks speak for themselves.
ENOUGH = 12.0


@dataclass(frozen=True)
class Scatter:
    """How many times the stated tolerance marks scatter, and from how many degrees of freedom."""

    factor: float
    freedom: float

    @property
    def widening(self) -> float:
        """What a standard uncertainty grows by, for 95 % to lie within 1.96 of it (Student)."""
        from scipy.special import stdtrit

        return -float(stdtrit(self.freedom, 0.025)) / COVERAGE_95


def scatter(
    model: Model, solved: Solved, observers: Sequence[Hashable | None], sd_factor: Array
) -> dict[Hashable, Scatter]:
    """Estimate the scatter of each observer's marks.

    Args:
        model, solved: the adjustment, made with `sd_factor`.
        observers: of each board, None where none is named.
        sd_factor: (B,) how many times the stated tolerance was taken.
    """
    used = np.einsum("bij,bji->b", solved.covariance, solved.marks.matrix)
    squares = solved.marks.misfit * sd_factor**2
    freedom = np.maximum(solved.marks.count - used, 0.0)
    numbers: dict[Hashable, list[int]] = {}
    for number, observer in enumerate(observers):
        if observer is not None:
            numbers.setdefault(observer, []).append(number)
    everyone = [n for members in numbers.values() for n in members]
    pooled = _filled(float(squares[everyone].sum()), float(freedom[everyone].sum()))
    found = {}
    for observer, members in numbers.items():
        own = float(freedom[members].sum())
        alone = _filled(float(squares[members].sum()), own)
        found[observer] = alone if own >= ENOUGH else pooled
    return found


def _filled(squares: float, freedom: float) -> Scatter:
    lacking = max(0.0, ENOUGH - freedom)
    total = freedom + lacking
    return Scatter(float(np.sqrt((squares + lacking) / total)), total)
