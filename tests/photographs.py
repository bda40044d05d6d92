"""Photographs of a marked sheet, made by code of its own: paper, pencil, camera, light, file.

Page coordinates are millimetres from the top left corner, right and down plus. The paper is
bent into a cylinder without stretching; the camera is a pinhole with radial distortion.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

PX = 300 / 25.4  # of the print
_GLYPHS = {
    "0": [[(0, 0.5), (0.2, 0), (0.5, 0.1), (0.6, 0.5), (0.45, 0.95), (0.15, 1), (0, 0.5)]],
    "1": [[(0.3, 0), (0.3, 1)]],
    "2": [[(0, 0.2), (0.3, 0), (0.6, 0.25), (0.3, 0.6), (0, 1), (0.6, 0.97)]],
    "3": [[(0, 0.1), (0.4, 0), (0.5, 0.3), (0.2, 0.5), (0.55, 0.7), (0.35, 1), (0, 0.9)]],
    "4": [[(0.4, 0), (0, 0.6), (0.65, 0.6)], [(0.42, 0.35), (0.4, 1)]],
    "5": [[(0.55, 0), (0.1, 0), (0.05, 0.45), (0.4, 0.4), (0.6, 0.7), (0.3, 1), (0, 0.9)]],
    "6": [[(0.5, 0), (0.1, 0.4), (0, 0.8), (0.3, 1), (0.5, 0.75), (0.3, 0.55), (0.05, 0.7)]],
    "7": [[(0, 0), (0.6, 0), (0.25, 1)]],
    "8": [[(0.3, 0.5), (0.05, 0.2), (0.3, 0), (0.55, 0.2), (0.3, 0.5), (0, 0.8), (0.3, 1),
           (0.6, 0.8), (0.3, 0.5)]],
    "9": [[(0.55, 0.3), (0.25, 0.5), (0.05, 0.2), (0.3, 0), (0.55, 0.2), (0.5, 1)]],
    ":": [[(0.2, 0.3), (0.22, 0.32)], [(0.2, 0.75), (0.22, 0.77)]],
    "a": [[(0.5, 0.5), (0.2, 0.45), (0, 0.75), (0.2, 1), (0.5, 0.7), (0.5, 0.45), (0.55, 1)]],
    "m": [[(0, 0.5), (0, 1), (0.02, 0.6), (0.2, 0.5), (0.28, 1), (0.3, 0.6), (0.5, 0.5),
           (0.58, 1)]],
    "r": [[(0, 0.5), (0.05, 1), (0.05, 0.65), (0.4, 0.5)]],
    "o": [[(0.25, 0.5), (0, 0.75), (0.25, 1), (0.5, 0.75), (0.25, 0.5)]],
    "c": [[(0.45, 0.55), (0.15, 0.5), (0, 0.75), (0.2, 1), (0.5, 0.92)]],
    "k": [[(0, 0), (0.02, 1)], [(0.45, 0.45), (0.05, 0.72), (0.5, 1)]],
}  # fmt: skip


class Pencil:
    """Draws on a print: strokes of uneven grey."""

    def __init__(self, print_rgb, generator, grey=0.55, pen=None):
        self.ink = np.zeros(print_rgb.shape[:2], dtype=np.float32)
        self.generator, self.grey, self.pen = generator, grey, pen

    def stroke(self, points_mm, width_mm):
        g = self.generator
        points = np.asarray(points_mm, dtype=float)
        parts = np.diff(points, axis=0)
        steps = [max(2, int(np.hypot(*part) / 0.05)) for part in parts]
        path = np.concatenate(
            [points[i] + np.linspace(0, 1, n)[:, None] * parts[i] for i, n in enumerate(steps)]
        )
        # The pressure wanders along the stroke, and the paper's grain breaks it up.
        pressure = np.convolve(g.normal(0, 1, len(path) + 40), np.ones(41) / 6.4, "valid")
        dark = np.clip(self.grey * (1 + 0.22 * pressure), 0.12, 0.95)
        low = np.floor((path.min(axis=0) - 1.2) * PX).astype(int)
        high = np.ceil((path.max(axis=0) + 1.2) * PX).astype(int)
        height, width = self.ink.shape
        low, high = np.maximum(low, 0), np.minimum(high, [width, height])
        if (high <= low).any():
            return
        y, x = np.mgrid[low[1] : high[1], low[0] : high[0]]
        at = (np.stack([x, y], axis=-1) + 0.5) / PX
        layer = np.zeros(at.shape[:2], dtype=np.float32)
        for (px, py), d in zip(path[::2], dark[::2], strict=False):
            away = np.hypot(at[..., 0] - px, at[..., 1] - py)
            np.maximum(layer, d * np.clip((width_mm / 2 - away) * 8 + 0.5, 0, 1), out=layer)
        layer *= g.uniform(0.55, 1.0, layer.shape).astype(np.float32)
        region = self.ink[low[1] : high[1], low[0] : high[0]]
        np.maximum(region, cv2.GaussianBlur(layer, (0, 0), 0.8), out=region)

    def mark(self, kind, at_mm):
        g, at = self.generator, np.asarray(at_mm)
        width = g.uniform(0.3, 0.55)
        if kind == "dot":
            size = g.uniform(0.5, 1.1)
            turn = g.uniform(0, np.pi)
            way = 0.15 * np.array([np.cos(turn), np.sin(turn)])
            self.stroke([at - way, at + way], size)
            return
        turns = [g.uniform(0, np.pi)]
        if kind == "cross":
            turns.append(turns[0] + np.radians(g.uniform(75, 105)))
        for turn in turns:
            half = g.uniform(1.6, 3.0)
            way = np.array([np.cos(turn), np.sin(turn)])
            bow = np.array([-way[1], way[0]]) * g.normal(0, 0.04)
            self.stroke([at - half * way, at + bow, at + half * way], width)

    def write(self, text, at_mm, size_mm):
        g = self.generator
        x, y = at_mm
        slant, width = g.normal(0, 0.1), g.uniform(0.3, 0.45)
        for sign in text:
            for line in _GLYPHS.get(sign, []):
                shape = np.array(line) + g.normal(0, 0.025, (len(line), 2))
                shape[:, 0] += slant * (1 - shape[:, 1])
                self.stroke(shape * size_mm * [0.9, 1] + [x, y], width)
            x += size_mm * (0.45 if sign in "1:" else 0.85)

    def on(self, print_rgb):
        colour = np.array([0.16, 0.16, 0.17] if self.pen is None else self.pen)
        ink = self.ink[..., None]
        return (print_rgb / 255.0 * (1 - ink) + colour * ink).astype(np.float32)


@dataclass
class Camera:
    """How a photograph is taken."""

    megapixels: float = 12.0
    tilt_deg: float = 12.0
    tilt_way_deg: float = 30.0
    turn_deg: float = 4.0
    focal: float = 0.78  # in picture widths
    k1: float = 0.04
    k2: float = -0.02
    bend_mm: float = 3.0
    bend_way_deg: float = 20.0
    fill: float = 0.9
    shift: tuple[float, float] = (0.0, 0.0)
    shade: float | None = 0.5
    shade_way_deg: float = 70.0
    light: float = 0.9
    blur_px: float = 0.9
    noise: float = 0.012
    tint: tuple[float, float, float] = (1.0, 0.97, 0.92)
    quality: int = 85
    upright: bool | None = None
    background: tuple[float, float, float] = (0.45, 0.36, 0.27)


@dataclass
class Photograph:
    jpeg: bytes
    camera: Camera
    pixels: np.ndarray = field(repr=False)


def photograph(paper, camera, generator):
    """A picture of a paper (float RGB at 300 dpi) as a JPEG."""
    height, width = paper.shape[:2]
    size = np.array([width, height]) / PX
    landscape = size[0] > size[1]
    long_px = int(np.sqrt(camera.megapixels * 1e6 * 4 / 3))
    frame = (long_px, int(long_px * 0.75)) if landscape else (int(long_px * 0.75), long_px)
    to_pixel = _projection(size, frame, camera)
    step = 16
    columns = np.arange(0, frame[0] + step, step)
    rows = np.arange(0, frame[1] + step, step)
    wanted = np.stack(np.meshgrid(columns, rows), axis=-1).astype(float)
    page = _inverse(to_pixel, wanted, size)
    maps = [_denser(page[..., axis] * PX - 0.5, step, frame) for axis in (0, 1)]
    # Where the picture is coarser than the print, light is gathered over the wider pixel.
    coarser = (
        float(np.median(np.hypot(*np.diff(page, axis=1)[..., :].transpose(2, 0, 1)))) * PX / step
    )
    smooth = cv2.GaussianBlur(paper, (0, 0), max(0.3, 0.45 * coarser))
    picture = cv2.remap(
        smooth, maps[0], maps[1], cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT, borderValue=camera.background,
    )  # fmt: skip
    picture *= _light(frame, camera, generator)[..., None]
    picture *= np.array(camera.tint, dtype=np.float32)
    picture = cv2.GaussianBlur(picture, (0, 0), camera.blur_px)
    small = generator.standard_normal(picture.shape, dtype=np.float32)
    picture += camera.noise * small * np.sqrt(np.clip(picture, 0.05, 1))
    pixels = (np.clip(picture, 0, 1) * 255).astype(np.uint8)
    ok, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, camera.quality])
    assert ok
    return Photograph(data.tobytes(), camera, pixels)


def _denser(nodes, step, frame):
    y = np.arange(frame[1], dtype=np.float32) / step
    x = np.arange(frame[0], dtype=np.float32) / step
    grid = np.meshgrid(x, y)
    return cv2.remap(nodes.astype(np.float32), grid[0], grid[1], cv2.INTER_LINEAR)


def _projection(size, frame, camera):
    """Page millimetres to pixels, for arrays (..., 2)."""
    focal = camera.focal * max(frame)
    tilt, way = np.radians(camera.tilt_deg), np.radians(camera.tilt_way_deg)
    axis = np.array([np.cos(way), np.sin(way), 0.0]) * tilt
    turn = (
        cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0.0, 0.0, np.radians(camera.turn_deg)]))[0]
    )
    distance = focal * max(size[0] / frame[0], size[1] / frame[1]) / camera.fill
    bend = np.radians(camera.bend_way_deg)
    along = np.array([np.cos(bend), np.sin(bend)])
    reach = np.abs(size / 2 @ np.abs(along))

    # A parabola z = c t², its arc length s(t) tabulated: the paper does not stretch.
    t = np.linspace(-reach * 1.6, reach * 1.6, 4001)
    c = camera.bend_mm / reach**2
    slope = np.sqrt(1 + (2 * c * t) ** 2)
    arc = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2 * np.diff(t))])
    arc -= np.interp(0.0, t, arc)

    def to_pixel(page):
        p = page - size / 2
        s = p @ along
        at = np.interp(s, arc, t)
        flat = p + (at - s)[..., None] * along
        space = np.concatenate([flat, (c * at**2)[..., None] * -1.0], axis=-1)
        seen = space @ turn.T + [camera.shift[0], camera.shift[1], distance]
        ray = seen[..., :2] / seen[..., 2:]
        r2 = (ray**2).sum(axis=-1, keepdims=True)
        ray = ray * (1 + camera.k1 * r2 + camera.k2 * r2**2)
        return ray * focal + np.array(frame) / 2

    return to_pixel


def _inverse(to_pixel, wanted, size):
    corners = np.array([[0, 0], [size[0], 0], size, [0, size[1]]], dtype=float)
    matrix, _ = cv2.findHomography(to_pixel(corners), corners)
    guess = cv2.perspectiveTransform(wanted.reshape(-1, 1, 2), matrix).reshape(wanted.shape)
    for _ in range(6):
        miss = wanted - to_pixel(guess)
        right, down = np.array([0.5, 0.0]), np.array([0.0, 0.5])
        dx = to_pixel(guess + right) - to_pixel(guess - right)
        dy = to_pixel(guess + down) - to_pixel(guess - down)
        det = dx[..., 0] * dy[..., 1] - dx[..., 1] * dy[..., 0]
        guess = guess + np.stack(
            [
                (miss[..., 0] * dy[..., 1] - miss[..., 1] * dy[..., 0]) / det,
                (dx[..., 0] * miss[..., 1] - dx[..., 1] * miss[..., 0]) / det,
            ],
            axis=-1,
        )
        # Far beyond the paper the bend is not told: there is table.
        guess = np.clip(guess, -0.25 * size, 1.25 * size)
    return guess


def _light(frame, camera, generator):
    x, y = np.meshgrid(
        np.linspace(-1, 1, frame[0], dtype=np.float32),
        np.linspace(-1, 1, frame[1], dtype=np.float32),
    )
    way = generator.uniform(0, 2 * np.pi)
    light = camera.light * (1 - 0.12 * (x**2 + y**2) + 0.08 * (np.cos(way) * x + np.sin(way) * y))
    if camera.shade is not None:
        turn = np.radians(camera.shade_way_deg)
        across = np.cos(turn) * x + np.sin(turn) * y - 0.15 + 0.05 * np.sin(3 * x)
        soft = 1 / (1 + np.exp(-across / 0.006))
        light = light * (1 - (1 - camera.shade) * soft)
    return light


def printed_at(paper, scale, canvas_mm=None):
    """A print as a printer that scales leaves it on its paper, white around."""
    height, width = paper.shape[:2]
    if canvas_mm is not None:
        width, height = (int(side * PX) for side in canvas_mm)
    shift = [(width - scale * paper.shape[1]) / 2, (height - scale * paper.shape[0]) / 2]
    matrix = np.array([[scale, 0, shift[0]], [0, scale, shift[1]]])
    return cv2.warpAffine(paper, matrix, (width, height), borderValue=(1, 1, 1))


def glued(rasters, boards, generator, shift_mm=0.6, turn=0.003, around_mm=15.0):
    """Printed tiles glued to one board a little amiss, the foot's page true, and its layout.

    A later page lies over the ones before it, cut at its window's edges.
    """
    foot = next(board for board in boards if board.has_foot)
    low, high = _reach(boards)
    size = (high - low + 2 * around_mm) * PX
    board_px = np.full((int(size[1]), int(size[0]), 3), 255, np.uint8)
    for raster, board in zip(rasters, boards, strict=False):
        amiss = generator.normal(0, 1, 3) * (
            [0, 0, 0] if board is foot else [shift_mm] * 2 + [turn]
        )
        nominal = _corners(board) - board.origin_mm
        laid = nominal @ [[1, amiss[2]], [-amiss[2], 1]] + amiss[:2]
        source = np.stack(
            [_corners(board)[:, 0], board.paper.height_mm - _corners(board)[:, 1]], axis=-1
        )
        target = np.stack([laid[:, 0] - low[0], high[1] - laid[:, 1]], axis=-1) + around_mm
        matrix = cv2.getPerspectiveTransform(
            *((p * PX).astype(np.float32) for p in (source, target))
        )
        drawn = cv2.warpPerspective(raster, matrix, board_px.shape[1::-1])
        inside = np.zeros(board_px.shape[:2], np.uint8)
        cv2.fillConvexPoly(inside, np.round(target * PX).astype(np.int32), 1)
        board_px[inside > 0] = drawn[inside > 0]
    return board_px, np.array([-low[0], high[1]]) + around_mm


def _corners(board):
    clip = board.clip
    x, y = (clip.left_mm, clip.right_mm), (clip.bottom_mm, clip.top_mm)
    return np.array([[x[0], y[1]], [x[1], y[1]], [x[1], y[0]], [x[0], y[0]]])


def _reach(boards):
    every = np.concatenate([_corners(board) - board.origin_mm for board in boards])
    return every.min(axis=0), every.max(axis=0)
