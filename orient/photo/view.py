"""From the board to the picture: camera, lens, and how the paper lies, fitted to the targets.

The camera is a pinhole with two radial terms. The paper is a surface z(x, y), a polynomial of
the fourth degree that is held flat where the targets do not tell otherwise; paper does not
stretch, so what rises draws in: a point p of it comes to lie at
p − ½ ∫₀¹ ∇z (∇z · p) dτ along the ray to it (second order; exact for a cylinder).

Accuracy: `tests/test_photo.py`, on photographs by code of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: How well a corner is found at best, pixels.
CORNER_SD_PX = 0.06
_POWERS = [(i, n - i) for n in (2, 3, 4) for i in range(n + 1)]
_BEND_SD_MM = {2: 8.0, 3: 2.5, 4: 1.2}
_GAUSS = [(0.1127016654, 5 / 18), (0.5, 8 / 18), (0.8872983346, 5 / 18)]
_CAMERA = 12
# Pages glued to one board: how far from their places.
_GLUE_SD = np.array([0.8, 0.8, 0.004])


@dataclass(frozen=True)
class View:
    """A fitted picture of one board.

    `values`: rotation vector, shift (mm), log of the focal length over the picture's width,
    two radial terms, the principal point's offset (over the width), how far the paper draws
    in; then the bend's coefficients (mm), then shift and turn of every further page.
    """

    values: Array
    covariance: Array
    frame: tuple[int, int]
    middle_mm: Array
    half_mm: float
    pages: tuple[int, ...]
    targets: int

    def pixels(self, page_mm: Any, page: Any) -> Array:
        """Where points of the nominal board come to lie, shape (n, 2), by their page."""
        return _project(self.values, self, np.asarray(page_mm, dtype=float), np.asarray(page))

    def glued(self, page_mm: Any, page: Any) -> Array:
        """Points of the nominal board as the pages are glued, in the first page's frame."""
        points = np.asarray(page_mm, dtype=float)
        return _glued(self.values, self, points, np.asarray(page))

    def on_foot(self, board_mm: Any, foot_page: int) -> Array:
        """Points of the first page's frame from the foot and axes as they are glued."""
        points = np.asarray(board_mm, dtype=float)
        if foot_page not in self.pages:
            return points
        axes = self.glued([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], [foot_page] * 3)
        return np.asarray((points - axes[0]) @ np.linalg.inv(axes[1:] - axes[0]))

    def scale_px_mm(self, page_mm: Any, page: Any) -> Array:
        """Pixels a millimetre at points, the smaller of two directions."""
        jacobian = self._jacobian(page_mm, page)
        return np.asarray(np.linalg.norm(jacobian, axis=1).min(axis=-1))

    def u_mm(self, page_mm: Any, page: Any) -> Array:
        """How well points are placed by the fit, one standard uncertainty an axis."""
        points, pages = np.asarray(page_mm, dtype=float), np.asarray(page)
        steps = np.sqrt(np.diag(self.covariance)) * 1e-3 + 1e-10
        here, moved = self.pixels(points, pages), []
        for number, step in enumerate(steps):
            values = self.values.copy()
            values[number] += step
            moved.append((_project(values, self, points, pages) - here) / step)
        partials = np.stack(moved, axis=-1)
        spread = np.einsum("nik,kl,njl->nij", partials, self.covariance, partials)
        back = np.linalg.inv(self._jacobian(points, pages))
        board = np.einsum("nij,njk,nlk->nil", back, spread, back)
        return np.sqrt(np.trace(board, axis1=1, axis2=2) / 2)

    def _jacobian(self, page_mm: Any, page: Any) -> Array:
        points = np.asarray(page_mm, dtype=float)
        columns = [
            self.pixels(points + step, page) - self.pixels(points - step, page)
            for step in (np.array([0.5, 0.0]), np.array([0.0, 0.5]))
        ]
        return np.stack(columns, axis=-1)


def fit_view(
    seen: Mapping[int, Array],
    printed: Mapping[int, Array],
    page_of: Mapping[int, int],
    frame: tuple[int, int],
) -> View | None:
    """Fit a picture to its targets, leaving out those that do not fit.

    Args:
        seen: number of a target to its corners in the picture, (4, 2).
        printed: the same on the nominal board, mm, x right and y up.
        page_of: the page of each.
        frame: width and height of the picture.

    Returns:
        The view, or None where fewer than four targets agree.
    """
    chosen = sorted(set(seen) & set(printed))
    chosen = _agreeing(chosen, seen, printed, page_of)
    while len(chosen) >= 4:
        view, miss = _fit(chosen, seen, printed, page_of, frame)
        by_target = np.hypot(*miss.reshape(-1, 2).T).reshape(-1, 4).max(axis=1)
        worst = int(np.argmax(by_target))
        if by_target[worst] <= max(4.0 * float(np.median(by_target)), 0.8):
            return view
        chosen = [number for place, number in enumerate(chosen) if place != worst]
    return None


def _agreeing(chosen: list[int], seen: Any, printed: Any, page_of: Any) -> list[int]:
    """Targets that one flat view explains roughly: a bent sheet does, a stray print does not."""
    import cv2

    if len(chosen) < 4:
        return []
    board = np.concatenate([printed[number] for number in chosen])
    picture = np.concatenate([seen[number] for number in chosen])
    side = float(np.median([np.hypot(*(seen[n][1] - seen[n][0])) for n in chosen]))
    matrix, inside = cv2.findHomography(board, picture, cv2.RANSAC, 0.7 * side)
    if matrix is None:
        return []
    good: Any = np.asarray(inside).reshape(-1, 4).all(axis=1)
    return [number for number, kept in zip(chosen, good, strict=True) if kept]


def _fit(
    chosen: list[int], seen: Any, printed: Any, page_of: Any, frame: tuple[int, int]
) -> tuple[View, Array]:
    from scipy.optimize import least_squares

    board = np.concatenate([printed[number] for number in chosen]).astype(float)
    picture = np.concatenate([seen[number] for number in chosen]).astype(float)
    page = np.repeat([page_of[number] for number in chosen], 4)
    pages = tuple(sorted(set(page.tolist()), key=lambda p: -int(np.sum(page == p))))
    low, high = board.min(axis=0), board.max(axis=0)
    count = _CAMERA + len(_POWERS) + 3 * (len(pages) - 1)
    shell = View(
        np.zeros(count), np.zeros((count, count)), frame, (low + high) / 2,
        float(np.hypot(*(high - low)) / 2), pages, len(chosen),
    )  # fmt: skip
    middle, sd = _prior(len(pages))

    basis = _Basis.of((board - shell.middle_mm) / shell.half_mm)

    def misfit(values: Array) -> Array:
        apart = (_project(values, shell, board, page, basis) - picture).ravel() / CORNER_SD_PX
        return np.concatenate([apart, (values - middle)[6:] / sd[6:]])

    found = []
    for start in _starts(board - shell.middle_mm, picture, frame):
        values = middle.copy()
        values[:6] = start
        found.append(least_squares(misfit, values, x_scale="jac", method="lm", max_nfev=40 * count))
    best = min(found, key=lambda each: each.cost)
    miss = best.fun[: 2 * len(board)] * CORNER_SD_PX
    free = max(len(miss) - _CAMERA - 6, 8)
    residual = float(np.sqrt(np.sum(miss**2) / free))
    # Corners of one target err together: what is left over counts for its pair of sides.
    factor = 1.4 * max(1.0, (residual / CORNER_SD_PX) ** 2)
    jacobian = np.asarray(best.jac)
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * factor
    return replace(shell, values=best.x, covariance=covariance), miss


def _prior(pages: int) -> tuple[Array, Array]:
    bend = [_BEND_SD_MM[sum(power)] for power in _POWERS]
    glue = np.tile(_GLUE_SD, pages - 1)
    sd = np.concatenate([np.full(6, np.inf), [0.35, 0.15, 0.15, 0.006, 0.006, 0.5], bend, glue])
    middle = np.zeros(len(sd))
    middle[6] = np.log(0.85)
    middle[11] = 1.0
    return middle, sd


def _starts(board: Array, picture: Array, frame: tuple[int, int]) -> list[Array]:
    """Both poses that a flat sheet allows."""
    import cv2

    focal = 0.85 * max(frame)
    inner = np.array([[focal, 0, frame[0] / 2], [0, focal, frame[1] / 2], [0, 0, 1.0]])
    space = np.column_stack([board[:, 0], -board[:, 1], np.zeros(len(board))])
    _, turns, shifts, _ = cv2.solvePnPGeneric(space, picture, inner, None, flags=cv2.SOLVEPNP_IPPE)[
        :4
    ]
    return [
        np.concatenate([turn.ravel(), shift.ravel()])
        for turn, shift in zip(turns, shifts, strict=True)
    ]


def _glued(values: Array, view: View, points: Array, page: Any) -> Array:
    out = points.copy()
    for number, name in enumerate(view.pages[1:]):
        here = page == name
        dx, dy, turn = values[_CAMERA + len(_POWERS) + 3 * number :][:3]
        around = points[here] - view.middle_mm
        turned = np.stack([around[:, 0] - turn * around[:, 1], around[:, 1] + turn * around[:, 0]])
        out[here] = turned.T + view.middle_mm + [dx, dy]
    return out


def _project(
    values: Array, view: View, points: Array, page: Any, basis: _Basis | None = None
) -> Array:
    if basis is None or len(view.pages) > 1:
        basis = _Basis.of((_glued(values, view, points, page) - view.middle_mm) / view.half_mm)
    flat = basis.flat
    bend = values[_CAMERA : _CAMERA + len(_POWERS)]
    height, drawn = basis.paper(bend, view.half_mm)
    at = flat * view.half_mm + values[11] * drawn
    space = np.column_stack([at[:, 0], -at[:, 1], -height])
    seen = space @ _turn(values[:3]).T + values[3:6]
    ray = seen[:, :2] / np.maximum(seen[:, 2:], 1.0)
    r2 = (ray**2).sum(axis=1, keepdims=True)
    ray = ray * (1.0 + values[7] * r2 + values[8] * r2**2)
    width = max(view.frame)
    focal = np.exp(values[6]) * width
    return np.asarray(
        ray * focal + np.array(view.frame) / 2 - 0.5 + values[9:11] * width, dtype=float
    )


def _turn(vector: Array) -> Array:
    """The rotation of a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    if angle < 1e-12:
        return np.eye(3)
    x, y, z = vector / angle
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross


@dataclass(frozen=True)
class _Basis:
    """The bend's polynomials at flat points (in half widths), and their slopes along the rays."""

    flat: Array
    height: Array
    slopes: tuple[tuple[float, Array, Array], ...]

    @classmethod
    def of(cls, flat: Array) -> _Basis:
        slopes = tuple((weight, *_slopes(flat * share)) for share, weight in _GAUSS)
        x, y = _powers(flat)
        return cls(flat, np.stack([x[i] * y[j] for i, j in _POWERS], axis=-1), slopes)

    def paper(self, bend: Array, half_mm: float) -> tuple[Array, Array]:
        """Height of the paper over its plane and how it draws in, mm."""
        drawn = np.zeros_like(self.flat)
        for weight, across, up in self.slopes:
            slope = np.stack([across @ bend, up @ bend], axis=-1) / half_mm
            rise = np.sum(slope * self.flat, axis=1, keepdims=True) * half_mm
            drawn -= 0.5 * weight * slope * rise
        return self.height @ bend, drawn


def _powers(flat: Array) -> list[list[Array]]:
    powers = [np.ones_like(flat)]
    for _ in range(4):
        powers.append(powers[-1] * flat)
    return [[power[:, axis] for power in powers] for axis in (0, 1)]


def _slopes(flat: Array) -> tuple[Array, Array]:
    x, y = _powers(flat)
    none = np.zeros(len(flat))
    across = [i * x[i - 1] * y[j] if i else none for i, j in _POWERS]
    up = [j * x[i] * y[j - 1] if j else none for i, j in _POWERS]
    return np.stack(across, axis=-1), np.stack(up, axis=-1)
