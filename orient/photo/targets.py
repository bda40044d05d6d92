"""The printed targets in a photograph: which they are, and their corners to a part of a pixel."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.sheet.targets import CELLS

Array = NDArray[np.float64]
_SAMPLES, _PROFILE = 24, 21


def find_targets(grey: Any) -> dict[int, Array]:
    """Targets in a picture: number to corners, shape (4, 2), pixels.

    Corners are top left, top right, bottom right, bottom left of the print; each where the
    straight lines fitted to two sides of the black square meet. Pixel centres are whole
    numbers. Of a number that is seen twice, none is kept.
    """
    import cv2

    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin = 5
    settings.adaptiveThreshWinSizeMax = 53
    settings.adaptiveThreshWinSizeStep = 16
    settings.minMarkerPerimeterRate = 0.012
    corners, numbers, _ = cv2.aruco.ArucoDetector(family, settings).detectMarkers(grey)
    if numbers is None:
        return {}
    listed = [int(number) for number in numbers.ravel()]
    return {
        number: _refined(grey, corner[0].astype(float))
        for number, corner in zip(listed, corners, strict=True)
        if listed.count(number) == 1
    }


def _refined(grey: Any, corners: Array) -> Array:
    """The corners again, from lines fitted to the four sides."""
    for _ in range(2):
        lines = [_side(grey, corners, side) for side in range(4)]
        if any(line is None for line in lines):
            return corners
        corners = np.array([_meet(lines[side - 1], lines[side]) for side in range(4)])
    return corners


def _side(grey: Any, corners: Array, side: int) -> tuple[Array, Array] | None:
    """A point of one side's edge and its direction; None where no edge is clear."""
    import cv2

    start, end = corners[side], corners[(side + 1) % 4]
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length
    outward = np.array([along[1], -along[0]])
    reach = 0.7 * length / CELLS
    place = start + np.linspace(0.1, 0.9, _SAMPLES)[:, None] * (end - start)
    offset = np.linspace(-reach, reach, _PROFILE)
    points = (place[:, None, :] + offset[None, :, None] * outward).astype(np.float32)
    profile = cv2.remap(grey, points[..., 0], points[..., 1], cv2.INTER_LINEAR).astype(float)
    slope = np.diff(cv2.GaussianBlur(profile, (5, 1), 0.9), axis=1)
    # Black within, white without: the light must rise outward.
    slope = np.clip(slope, 0.0, None) ** 2
    weight = slope.sum(axis=1)
    if np.median(weight) <= 0:
        return None
    middle = (offset[:-1] + offset[1:]) / 2
    edge = (slope * middle).sum(axis=1) / np.maximum(weight, 1e-9)
    good = weight > 0.2 * np.median(weight)
    t = (np.linspace(0.1, 0.9, _SAMPLES) - 0.5) * length
    for _ in range(3):
        fit = np.polyfit(t[good], edge[good], 1)
        miss = np.abs(edge - np.polyval(fit, t))
        good = (miss <= max(2.5 * float(np.median(miss[good])), 0.05)) & (weight > 0)
        if good.sum() < _SAMPLES // 2:
            return None
    middle_point = (start + end) / 2 + np.polyval(fit, 0.0) * outward
    direction = along + fit[0] * outward
    return middle_point, direction


def _meet(one: Any, other: Any) -> Array:
    matrix = np.column_stack([one[1], -other[1]])
    share = np.linalg.solve(matrix, other[0] - one[0])
    return np.asarray(one[0] + share[0] * one[1])


def blur_px(grey: Any, seen: dict[int, Array]) -> float:
    """How soft the targets' edges are: the standard deviation of the blur, pixels."""
    import cv2

    widths = []
    for corners in list(seen.values())[:12]:
        start, end = corners[0], corners[1]
        length = float(np.hypot(*(end - start)))
        along = (end - start) / length
        outward = np.array([along[1], -along[0]])
        offset = np.linspace(-1.0, 1.0, 41) * 0.95 * length / CELLS
        place = start + np.linspace(0.15, 0.85, 16)[:, None] * (end - start)
        points = (place[:, None, :] + offset[None, :, None] * outward).astype(np.float32)
        light = cv2.remap(grey, points[..., 0], points[..., 1], cv2.INTER_LINEAR).astype(float)
        rise = np.clip(np.gradient(light.mean(axis=0)), 0.0, None)
        middle = np.sum(rise * offset) / max(float(rise.sum()), 1e-9)
        widths.append(np.sqrt(np.sum(rise * (offset - middle) ** 2) / max(float(rise.sum()), 1e-9)))
    return float(np.median(widths)) if widths else 0.0
