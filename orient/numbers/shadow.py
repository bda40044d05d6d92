"""The shadow of a rod's tip on a board, level or not.

Board frame: origin at the foot, the point plumb under the tip; +x to the right, +y up the
sheet, millimetres. A board direction counts clockwise from +y. The board azimuth β is the
true azimuth of +y. Light comes from a unit vector (east, north, up).

The board is the plane z = slope_x · x + slope_y · y through the foot, x and y being level
axes turned with the board. Slopes are tangents: 0.1° is 0.001745.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

#: The unknowns of a board, in the order of `BoardState`, of every partial and covariance.
UNKNOWNS = (
    "board_azimuth_rad",
    "foot_x_mm",
    "foot_y_mm",
    "slope_x",
    "slope_y",
    "height_mm",
    "watch_error_s",
    "edge_rad",
    "latitude_rad",
)


@dataclass(frozen=True)
class BoardState:
    """Everything that fixes where a tip's shadow falls on a board.

    `foot_x_mm`, `foot_y_mm`: where the point plumb under the tip really lies, in the frame
    of the marks. `edge_rad`: how much higher than the sun's centre the light comes from
    that the marked edge answers to. `watch_error_s` and `latitude_rad` (a shift of the
    site's latitude) act on the light, before it reaches the board.
    """

    board_azimuth_rad: Any = 0.0
    foot_x_mm: Any = 0.0
    foot_y_mm: Any = 0.0
    slope_x: Any = 0.0
    slope_y: Any = 0.0
    height_mm: Any = 1.0
    watch_error_s: Any = 0.0
    edge_rad: Any = 0.0
    latitude_rad: Any = 0.0

    @property
    def level_to_north(self) -> bool:
        """Whether the board's axes are those of the site, as a planned board's are."""
        turned = (self.board_azimuth_rad, self.slope_x, self.slope_y)
        return all(np.ndim(angle) == 0 and angle == 0.0 for angle in turned)

    def __array__(self, dtype: Any = None, copy: Any = None) -> Any:
        return np.array(astuple(self), dtype=dtype or float)


def raise_light(
    east: ArrayLike, north: ArrayLike, up: ArrayLike, lift_rad: ArrayLike
) -> tuple[Any, Any, Any]:
    """Lift a direction in altitude by an angle in radians, azimuth kept; any shapes."""
    east, north, up = np.asarray(east), np.asarray(north), np.asarray(up)
    level = np.sqrt(east**2 + north**2)
    # By the tangent, which numpy works out several times faster than sine and cosine.
    tangent = np.tan(lift_rad)
    cosine = 1.0 / np.sqrt(1.0 + tangent**2)
    with np.errstate(invalid="ignore", divide="ignore"):
        stretch = np.where(level > 0, cosine * (1.0 - tangent * up / level), 1.0)
    return east * stretch, north * stretch, cosine * (up + tangent * level)


def shift_latitude(
    east: ArrayLike, north: ArrayLike, up: ArrayLike, shift_rad: ArrayLike
) -> tuple[Any, Any, Any]:
    """The same light in the axes of a site whose latitude is greater by `shift_rad`."""
    cos_shift, sin_shift = np.cos(shift_rad), np.sin(shift_rad)
    north, up = np.asarray(north), np.asarray(up)
    return np.asarray(east), north * cos_shift - up * sin_shift, up * cos_shift + north * sin_shift


def tip(east: ArrayLike, north: ArrayLike, up: ArrayLike, state: BoardState) -> tuple[Any, Any]:
    """Where the tip's shadow falls on the board, in millimetres of the board frame.

    Args:
        east, north, up: unit vector toward the light as it reaches the board, refraction,
            edge, watch and latitude already in it; any shape.
        state: the board; its fields broadcast with the light.

    Returns:
        (x_mm, y_mm); NaN where the light does not come from above the board.
    """
    right, ahead, reach = _to_board(east, north, up, state)
    x, y = -reach * right, -reach * ahead
    z = state.slope_x * x + state.slope_y * y
    # Lengths are measured along the board: its own axes, +y over the level +y.
    y_norm = np.sqrt(1.0 + np.square(state.slope_y))
    x_norm = y_norm * np.sqrt(1.0 + np.square(state.slope_x) + np.square(state.slope_y))
    along_y = (y + state.slope_y * z) / y_norm
    along_x = (
        (1.0 + np.square(state.slope_y)) * x - state.slope_x * state.slope_y * y + state.slope_x * z
    ) / x_norm
    return state.foot_x_mm + along_x, state.foot_y_mm + along_y


def _to_board(
    east: ArrayLike, north: ArrayLike, up: ArrayLike, state: BoardState
) -> tuple[Any, Any, Any]:
    """The light in axes turned with the board, and the reach of its ray from tip to board."""
    east, north, up = np.asarray(east), np.asarray(north), np.asarray(up)
    right, ahead, drop = east, north, up
    if not state.level_to_north:
        cos_b, sin_b = np.cos(state.board_azimuth_rad), np.sin(state.board_azimuth_rad)
        right = east * cos_b - north * sin_b
        ahead = east * sin_b + north * cos_b
        drop = up - state.slope_x * right - state.slope_y * ahead
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = np.where(drop > 0.0, state.height_mm / drop, np.nan)
    return right, ahead, reach


def tip_partials(
    light: tuple[ArrayLike, ArrayLike, ArrayLike],
    rate: tuple[ArrayLike, ArrayLike, ArrayLike],
    state: BoardState,
) -> Any:
    """How the tip's shadow moves with each unknown of the board.

    Args:
        light: (east, north, up) as for `tip`, shape S.
        rate: its change per second of time, shape S.
        state: the board.

    Returns:
        Array of shape S + (2, 9): millimetres of x and of y per unit of each of `UNKNOWNS`.
        The small change of the board's own axes with its slopes is left out: it alters the
        partials of the slopes by the order of the slopes themselves, a part in 500 at 0.1°.
    """
    right, ahead, reach = _to_board(*light, state)
    east, north, up = (np.asarray(component, dtype=float) for component in light)
    with np.errstate(invalid="ignore", divide="ignore"):
        drop = state.height_mm / reach

    def moved(d_right: Any, d_ahead: Any, d_drop: Any) -> tuple[Any, Any]:
        shortening = reach * d_drop / drop
        return -reach * d_right + shortening * right, -reach * d_ahead + shortening * ahead

    def moved_light(change: tuple[Any, Any, Any]) -> tuple[Any, Any]:
        turned = BoardState(board_azimuth_rad=state.board_azimuth_rad)
        d_right, d_ahead, _ = _to_board(*change, turned)
        d_drop = change[2] - state.slope_x * d_right - state.slope_y * d_ahead
        return moved(d_right, d_ahead, d_drop)

    def lifted() -> tuple[Any, Any]:
        level = np.sqrt(east**2 + north**2)
        with np.errstate(invalid="ignore", divide="ignore"):
            outward = (
                np.where(level > 0, -up * part / level, limit)
                for part, limit in ((east, -1.0), (north, 0.0))
            )
        return moved_light((*outward, level))

    zero = np.zeros_like(right)
    later = -np.asarray(rate[0]), -np.asarray(rate[1]), -np.asarray(rate[2])
    changes = {
        "board_azimuth_rad": moved(-ahead, right, state.slope_x * ahead - state.slope_y * right),
        "foot_x_mm": (zero + 1.0, zero),
        "foot_y_mm": (zero, zero + 1.0),
        "slope_x": moved(zero, zero, -right),
        "slope_y": moved(zero, zero, -ahead),
        "height_mm": (-right / drop, -ahead / drop),
        "watch_error_s": moved_light(later),
        "edge_rad": lifted(),
        "latitude_rad": moved_light((np.zeros_like(east), -up, north)),
    }
    out = np.empty((*np.broadcast(*light).shape, 2, len(UNKNOWNS)))
    for number, name in enumerate(UNKNOWNS):
        out[..., 0, number], out[..., 1, number] = changes[name]
    return out
