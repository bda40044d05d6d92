"""Cubics between nodes an even step apart, looked up for very many instants at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class EvenSpline:
    """Cubics between even nodes that meet in value and in rate, of several columns.

    The rate at a node is that of the quartic through it and the two nodes on either side, so
    that values err by the fourth power of the step, as those of a spline that is solved for do
    (`tests/test_sun.py`); at the two outer nodes of either end, by the third. The interval is
    found by a division in place of a search, each column is contiguous, and the rates share
    what the values have looked up: several times faster than scipy's, which also takes longer
    to import than a year of the sun to work out.
    """

    def __init__(self, start: float, step: float, values: Array) -> None:
        """From the first node on; `values` of shape (nodes, columns), five nodes at least."""
        self._start, self._step, self._intervals = start, step, len(values) - 1
        rise = np.diff(values, axis=0) / step
        rate = np.gradient(values, step, axis=0, edge_order=2)
        near, far = values[3:-1] - values[1:-3], values[4:] - values[:-4]
        rate[2:-2] = (8.0 * near - far) / (12.0 * step)
        bend = (3.0 * rise - 2.0 * rate[:-1] - rate[1:]) / step
        twist = (rate[:-1] + rate[1:] - 2.0 * rise) / step**2
        powers = np.stack([values[:-1], rate[:-1], bend, twist])
        #: For each column the coefficients, of the lowest power first: (columns, 4, intervals).
        self._columns = np.ascontiguousarray(np.moveaxis(powers, 2, 0))

    def __call__(self, at: Array, with_rate: bool = False) -> Array:
        """The columns at some arguments of shape (n,), and their rates below: (columns, n)."""
        since = at - self._start
        interval = np.clip(since / self._step, 0, self._intervals - 1).astype(np.intp)
        beyond = since - self._step * interval
        square = beyond * beyond
        cube = square * beyond
        count = len(self._columns)
        out = np.empty((2 * count if with_rate else count, at.size))
        for column, powers in enumerate(self._columns):
            a, b, c, d = (power[interval] for power in powers)
            out[column] = a + b * beyond + c * square + d * cube
            if with_rate:
                out[count + column] = b + (2.0 * c) * beyond + (3.0 * d) * square
        return out
