"""The printed targets: black and white squares of the open AprilTag 36h11 family.

A target is eight cells wide: a black frame one cell thick around six by six cells that tell
its number. `orient/data/apriltag36h11.txt` holds the family, a line of nine hexadecimal
digits for each number: 36 cells row by row from the top left, 1 for white.

Source: E. Olson, "AprilTag: A robust and flexible visual fiducial system", ICRA 2011; the
order of the numbers is that of the reference release, as general image libraries have it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

FAMILY_SIZE = 587
CELLS = 8
#: White around a target, in cells.
QUIET_CELLS = 1.0


@dataclass(frozen=True)
class Target:
    """A target on a page: its number, its top left corner and its side, page millimetres."""

    id: int
    left_mm: float
    top_mm: float
    side_mm: float

    @property
    def corners_mm(self) -> list[tuple[float, float]]:
        """Top left, top right, bottom right, bottom left; right and down plus."""
        right, bottom = self.left_mm + self.side_mm, self.top_mm + self.side_mm
        return [(self.left_mm, self.top_mm), (right, self.top_mm), (right, bottom),
                (self.left_mm, bottom)]  # fmt: skip


@lru_cache(maxsize=1)
def _family() -> tuple[int, ...]:
    text = files("orient").joinpath("data/apriltag36h11.txt").read_text("ascii")
    return tuple(int(line, 16) for line in text.split())


def black_cells(number: int) -> NDArray[np.bool_]:
    """Which of the 8 × 8 cells of a target are black, row by row from the top."""
    bits = np.array([int(bit) for bit in f"{_family()[number]:036b}"], dtype=bool)
    cells = np.ones((CELLS, CELLS), dtype=bool)
    cells[1:-1, 1:-1] = ~bits.reshape(6, 6)
    return cells
