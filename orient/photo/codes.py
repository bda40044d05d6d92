"""The square code in a photograph: found by the targets, its cells looked at one by one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.photo.picture import Picture
from orient.photo.view import View, fit_view
from orient.sheet.code import NotACode, SheetCode
from orient.sheet.geometry import border_pages
from orient.sheet.paper import Window

Array = NDArray[np.float64]
_PX_MM = 14.0
_FINDER = np.array(
    [[1] * 7, [1, 0, 0, 0, 0, 0, 1]]
    + [[1, 0, 1, 1, 1, 0, 1]] * 3
    + [[1, 0, 0, 0, 0, 0, 1], [1] * 7]
)


def read_code(picture: Picture, seen: Mapping[int, Array]) -> SheetCode | None:
    """The sheet's code, None where it cannot be read.

    Raises:
        InputError: a code of a layout that this program does not know.
    """
    for text in _texts(picture, seen):
        try:
            return SheetCode.read(text)
        except NotACode:
            continue
    return None


def _texts(picture: Picture, seen: Mapping[int, Array]) -> Iterator[str]:
    import cv2

    for view, box in _border_views(picture, seen):
        yield from _cells_read(_patch(picture, view, box))
    detector = cv2.QRCodeDetector()
    for shrink in (1.0, 0.5):
        image = cv2.resize(picture.grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        yield _decoded(detector, image)
    for corners in seen.values():
        yield _decoded(detector, _around(picture, corners))


def _decoded(detector: Any, image: Any) -> str:
    import cv2

    try:
        return str(detector.detectAndDecode(image)[0])
    except (cv2.error, UnicodeDecodeError):
        return ""


def _border_views(picture: Picture, seen: Mapping[int, Array]) -> Iterator[tuple[View, Window]]:
    """Fits of the two usual papers that explain the targets best as a flat sheet."""
    frame = picture.grey.shape[::-1]
    found: list[tuple[float, int, dict[int, Array], Window]] = []
    for paper, targets, box in border_pages(seen):
        printed = {
            target.id: np.array(target.corners_mm) * [1, -1] + [0, paper.height_mm]
            for target in targets
        }
        found.append((_flat_misfit(seen, printed), len(found), printed, box))
    for misfit, _, printed, box in sorted(found, key=lambda each: each[:2])[:2]:
        if np.isfinite(misfit):
            view = fit_view(seen, printed, dict.fromkeys(printed, 1), frame)
            if view is not None:
                yield view, box


def _flat_misfit(seen: Mapping[int, Array], printed: Mapping[int, Array]) -> float:
    """How badly one flat view explains the targets, pixels; infinite for too few."""
    import cv2

    chosen = sorted(set(seen) & set(printed))
    if len(chosen) < 4:
        return float("inf")
    board = np.concatenate([printed[number] for number in chosen])
    at = np.concatenate([seen[number] for number in chosen])
    matrix, _ = cv2.findHomography(board, at, cv2.LMEDS)
    if matrix is None:
        return float("inf")
    placed = cv2.perspectiveTransform(board[None], matrix)[0]
    return float(np.median(np.hypot(*(placed - at).T))) + 50.0 * (len(seen) - len(chosen))


def _patch(picture: Picture, view: View, box: Window) -> Any:
    import cv2

    count = int(box.width_mm * _PX_MM)
    step = (np.arange(count) + 0.5) / _PX_MM
    x, y = np.meshgrid(box.left_mm + step, box.top_mm - step)
    points = np.stack([x.ravel(), y.ravel()], axis=-1)
    at = view.pixels(points, np.ones(len(points))).astype(np.float32).reshape(count, count, 2)
    return cv2.remap(picture.grey, at[..., 0], at[..., 1], cv2.INTER_CUBIC)


def _cells_read(patch: Any) -> Iterator[str]:
    """Try the sizes that a code may have, and small shifts: its three corners must be there."""
    import cv2

    detector = cv2.QRCodeDetector()
    level = patch.astype(np.float32)
    edges = level - cv2.GaussianBlur(level, (0, 0), 0.35 * _PX_MM)
    for sharpening in (3.0, 1.2):
        light = cv2.GaussianBlur(level + sharpening * edges, (0, 0), 0.05 * _PX_MM)
        for count in range(25, 62, 4):
            side = len(patch) * count / (count + 6)
            tried = [_sampled(light, count, side, dx, dy) for dx, dy in _SHIFTS]
            tried = [cells for cells in tried if _finders(cells) >= 0.88]
            for cells in sorted(tried, key=_finders)[::-1][:3]:
                clean = np.kron(np.pad(cells, 4), np.ones((6, 6)))
                yield _decoded(detector, ((1 - clean) * 255).astype(np.uint8))
    yield _decoded(detector, patch)


_SHIFTS = [
    (dx * _PX_MM, dy * _PX_MM)
    for dx in (0.0, -0.12, 0.12, -0.25, 0.25)
    for dy in (0.0, -0.12, 0.12, -0.25, 0.25)
]


def _sampled(light: Any, count: int, side: float, dx: float, dy: float) -> Any:
    inset = (len(light) - side) / 2
    at = inset + (np.arange(count) + 0.5) * side / count
    rows = np.clip(np.round(at + dy).astype(int), 0, len(light) - 1)
    columns = np.clip(np.round(at + dx).astype(int), 0, len(light) - 1)
    levels = light[np.ix_(rows, columns)]
    # The light may change over the code: each cell against its neighbourhood.
    import cv2

    low = cv2.erode(levels, np.ones((7, 7)))
    high = cv2.dilate(levels, np.ones((7, 7)))
    middle = cv2.blur((low + high) / 2, (7, 7))
    return (levels < middle).astype(int)


def _finders(cells: Any) -> float:
    parts = (cells[:7, :7], cells[:7, -7:], cells[-7:, :7])
    return float(np.mean([(part == _FINDER).mean() for part in parts]))


def _around(picture: Picture, corners: Array) -> Any:
    """What lies about one target, straightened by it."""
    import cv2

    px, reach = 8.0, 60.0
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], dtype=float)
    matrix, _ = cv2.findHomography((square + reach) * px, corners)
    size = int((2 * reach + 10) * px)
    return cv2.warpPerspective(
        picture.grey, matrix, (size, size), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
