"""Angles in degrees: wrapping, averaging round the circle, and writing them for people."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike


def wrap_360(angle_deg: ArrayLike) -> Any:
    """Bring angles in degrees, of any shape, into 0 ≤ angle < 360."""
    wrapped = np.mod(angle_deg, 360.0)
    # np.mod of a tiny negative angle rounds to 360 itself.
    return np.where(wrapped >= 360.0, 0.0, wrapped)[()]


def wrap_180(angle_deg: ArrayLike) -> Any:
    """Bring angles in degrees, of any shape, into −180 ≤ angle < 180."""
    return wrap_360(np.asarray(angle_deg) + 180.0) - 180.0
