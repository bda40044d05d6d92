"""Marks that stand in the table twice: one board entered again under a second id."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import pandas as pd

#: A board is a copy where so many marks, and this part of them, are another's to 0.01 mm.
_LEAST, _PART = 4, 0.8


def copies(marks: Sequence[pd.DataFrame]) -> dict[int, int]:
    """Which set-ups hold the marks of an earlier one.

    Args:
        marks: of each set-up, in the order of the table.

    Returns:
        The number of each copy, and that of the set-up it copies.
    """
    first: dict[tuple[float, float], int] = {}
    found: dict[int, int] = {}
    for number, frame in enumerate(marks):
        points = list(
            dict.fromkeys(zip(frame["x_mm"].round(2), frame["y_mm"].round(2), strict=True))
        )
        seen = Counter(first[point] for point in points if point in first)
        for point in points:
            first.setdefault(point, number)
        if seen:
            other, count = seen.most_common(1)[0]
            if count >= max(_LEAST, _PART * len(points)):
                found[number] = other
    return found
