"""The printer's scale, from the paper's own edges: paper has its size, whatever was printed on it.

Accuracy: an edge is found to 0.3 mm, and paper is cut to ±2 mm (ISO 216, sides of 150 to 600 mm):
together better than 1 %. A print at 97 % is seen, one at 99.5 % only by the check bar.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.photo.picture import Picture
from orient.photo.view import View
from orient.sheet.geometry import BoardPage
from orient.sheet.paper import PAPERS, Paper

Array = NDArray[np.float64]

#: How far from 1 a scale must be before the edges say so.
SEEN = 0.012
_STEP_MM = 0.1
#: Where an edge is sought, from its nominal place, outward plus, mm.
_INWARD_MM, _OUTWARD_MM = 5.0, 24.0
_PLACES = 48
_STRAIGHT_MM, _MOST = 0.6, 0.45
#: How far askew a print lies on its paper, from one end of a side to the other, mm.
_ASKEW_MM = 8.0
#: How alike the sides of a paper's kind are.
_ALIKE = 0.012


def printed_scale(picture: Picture, view: View, board: BoardPage) -> float | None:
    """What a printed millimetre is, in millimetres; None where the edges cannot tell.

    Args:
        picture: the photograph.
        view: its fit.
        board: a page that was not cut.
    """
    if board.tiled:
        return None
    width, height = board.paper.width_mm, board.paper.height_mm
    outward = [_edge(picture, view, board, side) for side in range(4)]
    left, right, bottom, top = outward
    across = None if left is None or right is None else width + left + right
    up = None if bottom is None or top is None else height + bottom + top
    if across is None or up is None:
        return None
    return _scale(across, up, board.paper)


def _scale(across: float, up: float, nominal: Paper) -> float | None:
    """The scale by the paper whose shape it is, the nominal one first."""
    papers = [nominal, *PAPERS.values(), *(paper.turned() for paper in PAPERS.values())]
    for paper in papers:
        one, other = paper.width_mm / across, paper.height_mm / up
        scale = float(np.sqrt(one * other))
        if abs(one / other - 1.0) < _ALIKE and 0.8 < scale < 1.2:
            return scale
    return None


def _edge(picture: Picture, view: View, board: BoardPage, side: int) -> float | None:
    """How far outside its nominal place one edge of the paper lies, printed mm."""
    steps = np.arange(-_INWARD_MM, _OUTWARD_MM, _STEP_MM)
    share = np.linspace(0.08, 0.92, _PLACES)[:, None]
    width, height = board.paper.width_mm, board.paper.height_mm
    low, high = (width, height)[side // 2] * np.array([0.0, 1.0])
    beyond = np.broadcast_to(low - steps if side % 2 == 0 else high + steps, (_PLACES, len(steps)))
    along = np.broadcast_to(share * (height, width)[side // 2], beyond.shape)
    points = np.stack([beyond, along] if side < 2 else [along, beyond], axis=-1)
    level = _levels(picture, view, board, points)
    found = [(at, steps[0] + n * _STEP_MM) for at, row in zip(share.ravel(), level, strict=True)
             for n in _steps(row)]  # fmt: skip
    return _innermost_line(np.array(found).reshape(-1, 2))


def _levels(picture: Picture, view: View, board: BoardPage, points: Array) -> Any:
    """Colours along lines, shape (lines, steps, 3); nan outside the picture."""
    import cv2

    flat = points.reshape(-1, 2) - board.origin_mm
    at = view.pixels(flat, np.full(len(flat), board.number))
    x, y = (at[:, axis].reshape(points.shape[:2]).astype(np.float32) for axis in (0, 1))
    level = cv2.remap(picture.rgb, x, y, cv2.INTER_LINEAR).astype(float)
    height, width = picture.grey.shape
    level[(x < 0) | (y < 0) | (x > width - 1) | (y > height - 1)] = np.nan
    return level


def _steps(level: Array) -> Array:
    """Where along one line the light changes by a quarter: the paper's end, a shadow's edge.

    The mean colour over 2 mm within against that over 2 mm beyond.
    """
    from scipy.signal import find_peaks

    reach = round(2.0 / _STEP_MM)
    total = np.concatenate([np.zeros((1, 3)), np.cumsum(level, axis=0)])
    mean = (total[reach:] - total[:-reach]) / reach
    apart = np.abs(mean[:-reach] - mean[reach:]).max(axis=-1)
    apart = np.nan_to_num(apart / np.maximum(mean[:-reach].max(axis=-1), 1.0))
    return np.asarray(find_peaks(apart, height=0.25, distance=reach)[0] + reach)


def _innermost_line(found: Array) -> float | None:
    """The middle of the innermost straight line that about half of a side's places share.

    Args:
        found: share of the side and place outward, mm; several for one share.
    """
    share, out = found.T
    a, b = np.repeat(found, len(found), axis=0), np.tile(found, (len(found), 1))
    apart = b[:, 0] - a[:, 0] > 0.25
    a, b = a[apart], b[apart]
    slope = (b[:, 1] - a[:, 1]) / (b[:, 0] - a[:, 0])
    middle = a[:, 1] + slope * (0.5 - a[:, 0])
    near = np.abs(middle[:, None] + slope[:, None] * (share - 0.5) - out) < _STRAIGHT_MM
    shared = (near.sum(axis=1) >= _MOST * _PLACES) & (np.abs(slope) < _ASKEW_MM)
    if not shared.any():
        return None
    inner = shared & (middle < middle[shared].min() + 1.0)
    best = near[int(np.argmax(np.where(inner, near.sum(axis=1), 0)))]
    return float(np.polyval(np.polyfit(share[best], out[best], 1), 0.5))
