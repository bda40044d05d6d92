"""How well a board is set up and marked: the tolerances that every uncertainty comes from."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from orient.numbers.shadow import UNKNOWNS

#: Within so many standard uncertainties lie 95 % of a normal distribution: what people are shown.
COVERAGE_95 = 1.959964

#: How level a board is that was set up by eye, each axis (*common practice, no source*).
UNCHECKED_LEVEL_DEG = 1.0

#: The terms of an error budget, and the unknowns of the board that each speaks for.
#: *marking*, the scatter of single marks, stands beside them.
SHARED_TERMS: dict[str, tuple[str, ...]] = {
    "level": ("slope_x", "slope_y"),
    "foot": ("foot_x_mm", "foot_y_mm"),
    "height": ("height_mm",),
    "watch": ("watch_error_s",),
    "edge": ("edge_rad",),
}


@dataclass(frozen=True)
class Tolerances:
    """Standard uncertainties (1 σ) of a set-up; the defaults hold for careful work by hand.

    `mark_sd_mm`, `plumb_sd_mm` and `level_sd_deg` are for each axis. `edge_sd_deg` is how
    steadily an observer finds the same place in the soft edge of the shadow: 4′ is an
    eighth of its width (*common practice, no source*). `edge_scatter` is how much of the
    edge's width single marks scatter by along the shadow, beside that habit, and
    `time_sd_s` how far each mark's own time may be off, beside the watch's setting: times
    written in whole minutes, say.
    """

    mark_sd_mm: float = 0.7
    level_sd_deg: float = 0.1
    plumb_sd_mm: float = 0.7
    height_sd_mm: float = 0.5
    watch_sd_s: float = 30.0
    edge_sd_deg: float = 4.0 / 60.0
    edge_scatter: float = 0.08
    time_sd_s: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not (np.isfinite(value) and value >= 0):
                raise ValueError(f"{field.name} must be a number of 0 or more, found {value}")

    def prior_sd(self) -> NDArray[np.float64]:
        """The standard uncertainty of each of `shadow.UNKNOWNS` before any mark, shape (9,).

        Infinite for the board azimuth, zero for the latitude, which the site gives.
        """
        slope = np.tan(np.radians(self.level_sd_deg))
        known = {
            "board_azimuth_rad": np.inf,
            "foot_x_mm": self.plumb_sd_mm,
            "foot_y_mm": self.plumb_sd_mm,
            "slope_x": slope,
            "slope_y": slope,
            "height_mm": self.height_sd_mm,
            "watch_error_s": self.watch_sd_s,
            "edge_rad": np.radians(self.edge_sd_deg),
            "latitude_rad": 0.0,
        }
        return np.array([known[name] for name in UNKNOWNS])
