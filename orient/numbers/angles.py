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


def most_agreed(angle_deg: ArrayLike, u_deg: ArrayLike, near: float) -> int:
    """Which of several angles the others lie nearest to, the far ones without a say.

    Args:
        angle_deg, u_deg: (n,) angles of one line and their standard uncertainties.
        near: standard uncertainties beyond which an angle counts no more.
    """
    angle, u = np.asarray(angle_deg, dtype=float), np.asarray(u_deg, dtype=float)
    away = np.abs(wrap_180(angle[:, None] - angle[None, :])) / u[None, :]
    return int(np.argmin(np.minimum(away, near).sum(axis=1)))


def wrap_180(angle_deg: ArrayLike) -> Any:
    """Bring angles in degrees, of any shape, into −180 ≤ angle < 180."""
    return wrap_360(np.asarray(angle_deg) + 180.0) - 180.0
