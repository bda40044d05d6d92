"""A page laid flat: the picture seen straight from above, the light evened, the print taken away.

The print inside the border is of a colour that is full in red: in the red channel it is as
good as paper, and grey pencil stands alone. Where a printer had no colour, the known print,
drawn again and blurred as the picture is, is taken away instead. A red pen is as good as paper
there, too: away from the print the green channel shows it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.photo.picture import Picture
from orient.photo.view import View
from orient.sheet.geometry import BoardPage
from orient.sheet.paper import MM_PER_INCH, Page, drawing_rules

Grey = NDArray[np.float32]

_STEP_PX = 16
_LEAST_PX_MM, _MOST_PX_MM = 4.0, 9.0
#: Wider than any pencil stroke: darker things of this width are light and shade.
_STROKE_MM = 3.6
#: The board's outline and the blur around it, mm.
_OUTLINE_MM = 0.8
#: How much darker in green than in red a red pen's stroke is, and how far from print, and how far
#: the stroke's colour spreads in a file.
_REDDER, _NEAR_MM, _HALO_MM = 0.12, 0.8, 2.2


@dataclass(frozen=True)
class Flat:
    """One page of the board, laid flat.

    `ink` is how much darker than bare paper, 0 to 1, shape (rows, columns); `hidden` where
    print, target or the picture's edge leaves nothing to see; `noise` the spread of bare
    paper; `light` its mean level. Pixel (0, 0) has its centre at `corner_mm` of the nominal
    board, `px_mm` pixels to the millimetre.
    """

    page: int
    ink: Grey
    hidden: NDArray[np.bool_]
    rgb: NDArray[np.uint8]
    px_mm: float
    corner_mm: tuple[float, float]
    noise: float
    light: float
    glare: float

    def board_mm(self, column: Any, row: Any) -> NDArray[np.float64]:
        """Nominal board millimetres of pixel places, shape (n, 2)."""
        x = self.corner_mm[0] + np.asarray(column, dtype=float) / self.px_mm
        y = self.corner_mm[1] - np.asarray(row, dtype=float) / self.px_mm
        return np.stack([x, y], axis=-1)


def lay_flat(
    picture: Picture,
    view: View,
    board: BoardPage,
    printed: Page,
    over: Sequence[BoardPage] = (),
) -> Flat | None:
    """Lay a page flat; None where less than a tenth of it is in the picture.

    Args:
        picture: the photograph.
        view: its fit.
        board: the page.
        printed: the page's print, drawn again.
        over: pages in the picture that are glued over this one.
    """
    clip, origin = board.clip, board.origin_mm
    left, top = clip.left_mm - origin[0], clip.top_mm - origin[1]
    middle = np.array([[left + clip.width_mm / 2, top - clip.height_mm / 2]])
    scale = float(view.scale_px_mm(middle, np.array([board.number]))[0])
    px_mm = float(np.clip(1.1 * scale, _LEAST_PX_MM, _MOST_PX_MM))
    shape = int(clip.height_mm * px_mm), int(clip.width_mm * px_mm)
    corner = left + 0.5 / px_mm, top - 0.5 / px_mm
    maps = _maps(view, board.number, corner, px_mm, shape)
    rgb, inside = _sampled(picture, maps)
    if inside.mean() < 0.1:
        return None
    ink, light = _ink_beside_colour(rgb, px_mm)
    mask = ~inside
    drawn = _print_of(printed, board, px_mm, shape)
    ink, hidden = _without_print(ink, drawn, px_mm)
    hidden |= mask | _furniture(board, px_mm, shape)
    for other in over:
        hidden |= _covered(view, board, other, corner, px_mm, shape)
    ink = _with_red_pen(rgb, ink, drawn, hidden, px_mm)
    ink[hidden] = 0.0
    bare = ink[~hidden]
    noise = 1.4826 * float(np.median(np.abs(bare - np.median(bare)))) if bare.size else 1.0
    seen = rgb[inside]
    return Flat(
        board.number, ink, hidden, rgb, px_mm, corner, noise,
        float(np.median(light[inside])), float((seen.min(axis=-1) >= 253).mean()),
    )  # fmt: skip


def _maps(view: View, page: int, corner: Any, px_mm: float, shape: tuple[int, int]) -> list[Any]:
    """Where each pixel of the flat page is in the picture; between nodes it is as good as even."""
    import cv2

    rows = np.arange(0, shape[0] + _STEP_PX, _STEP_PX)
    columns = np.arange(0, shape[1] + _STEP_PX, _STEP_PX)
    grid = np.meshgrid(corner[0] + columns / px_mm, corner[1] - rows / px_mm)
    points = np.stack(grid, axis=-1).reshape(-1, 2)
    nodes = view.pixels(points, np.full(len(points), page)).reshape(len(rows), len(columns), 2)
    at = np.meshgrid(
        np.arange(shape[1], dtype=np.float32) / _STEP_PX,
        np.arange(shape[0], dtype=np.float32) / _STEP_PX,
    )
    return [
        cv2.remap(nodes[..., axis].astype(np.float32), at[0], at[1], cv2.INTER_LINEAR)
        for axis in (0, 1)
    ]


def _sampled(picture: Picture, maps: list[Any]) -> tuple[Any, NDArray[np.bool_]]:
    import cv2

    rgb = cv2.remap(picture.rgb, maps[0], maps[1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    height, width = picture.grey.shape
    inside = (maps[0] > 1) & (maps[0] < width - 2) & (maps[1] > 1) & (maps[1] < height - 2)
    return rgb, inside


def _ink(channel: NDArray[np.uint8], px_mm: float) -> tuple[Grey, Any]:
    """How much darker than the paper around it, and the paper's light.

    The paper is what a closing over more than a stroke leaves: a shadow's edge, being a step,
    stays a step.
    """
    import cv2

    level = cv2.GaussianBlur(channel.astype(np.float32), (0, 0), max(0.10 * px_mm, 0.6))
    size = 2 * int(_STROKE_MM * px_mm / 2) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (size, size))
    paper = cv2.morphologyEx(level, cv2.MORPH_CLOSE, kernel)
    ink = 1.0 - level / np.maximum(paper, 4.0)
    return (ink - np.float32(np.median(ink))).astype(np.float32), paper


def _ink_beside_colour(rgb: Any, px_mm: float) -> tuple[Grey, Any]:
    """What is dark both in red and in grey, and the paper's light in red.

    Print is light in red. A file holds colour more coarsely than light: what that spreads beside
    the print is dark in red, but as light as paper in grey.
    """
    import cv2

    red, paper = _ink(rgb[..., 0], px_mm)
    grey, _ = _ink(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), px_mm)
    ink = np.minimum(red, grey)
    return (ink - np.float32(np.median(ink))).astype(np.float32), paper


def _with_red_pen(rgb: Any, ink: Grey, drawn: Any, hidden: Any, px_mm: float) -> Grey:
    """The ink, by the green channel where a red pen was: told by what is not near print."""
    import cv2

    def widened(there: Any, reach_mm: float) -> Any:
        size = 2 * int(reach_mm * px_mm) + 1
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        return cv2.dilate(there.astype(np.uint8), kernel) > 0

    green, _ = _ink(rgb[..., 1], px_mm)
    red_pen = (green - ink > _REDDER) & ~widened(hidden | (drawn[..., 1] > 0.1), _NEAR_MM)
    if not red_pen.any():
        return ink
    green, _ = _without_print(green, drawn, px_mm)
    # A file holds colour more coarsely than light: its halo round a stroke is in the red channel.
    return np.where(widened(red_pen, _HALO_MM), green, ink).astype(np.float32)


def _print_of(printed: Page, board: BoardPage, px_mm: float, shape: tuple[int, int]) -> Any:
    """The print of the page's window at the flat page's scale, darkness of red and of green."""
    import cv2

    printed.figure.set_dpi(px_mm * MM_PER_INCH)
    canvas: Any = printed.figure.canvas
    with drawing_rules():
        canvas.draw()
    whole = np.asarray(canvas.buffer_rgba())[..., :3]
    scale = whole.shape[0] / board.paper.height_mm
    left = board.clip.left_mm * scale
    top = (board.paper.height_mm - board.clip.top_mm) * scale
    shift = np.array([[scale / px_mm, 0, left], [0, scale / px_mm, top]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    part = cv2.warpAffine(whole, shift, shape[::-1], flags=flags, borderValue=(255, 255, 255))
    return 1.0 - part[..., :2].astype(np.float32) / 255.0


def _without_print(ink: Grey, drawn: Any, px_mm: float) -> tuple[Grey, NDArray[np.bool_]]:
    """The ink without the print, and where black print hides what may be there.

    What the print leaves in the ink, faint where the red channel does not see it, full where
    it was printed without colour, is a sum of the print at several blurs: the camera's own,
    and the coarser one that a JPEG gives to colour. The sum is fitted, and taken away.
    """
    import cv2

    size = 2 * int(0.45 * px_mm) + 1
    wide = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    hidden = cv2.dilate((drawn[..., 0] > 0.12).astype(np.uint8), wide) > 0
    blurs = [cv2.GaussianBlur(drawn[..., 1], (0, 0), blur) for blur in (0.6, 1.2, 2.4, 5.0)]
    there = (blurs[-1] > 0.008) & ~hidden
    if there.sum() < 100:
        return ink, hidden
    columns = np.stack([blur[there] for blur in blurs], axis=-1)
    seen = ink[there]
    fitted = np.zeros_like(seen)
    kept = np.abs(seen - np.median(seen)) < 0.6
    for _ in range(4):
        weights = np.linalg.lstsq(columns[kept], seen[kept], rcond=None)[0]
        fitted = columns @ weights
        miss = seen - fitted
        spread = 1.4826 * float(np.median(np.abs(miss[kept]))) + 1e-4
        # Marks lie on the print too, and are no part of it.
        kept = np.abs(miss) < 3.0 * spread
    core = blurs[2][there] > 0.04
    rough = 1.4826 * float(np.median(np.abs(miss[core]))) if core.any() else spread
    out = ink.copy()
    out[there] = np.maximum(miss - np.where(core, 3.0 * rough, 1.0 * spread), 0.0)
    return out, hidden


def _covered(
    view: View, board: BoardPage, other: BoardPage, corner: Any, px_mm: float, shape: Any
) -> NDArray[np.bool_]:
    """Where another page lies over this one as they are glued, with the edge of its paper."""
    import cv2

    clip = other.clip
    x, y = [clip.left_mm, clip.right_mm], [clip.bottom_mm, clip.top_mm]
    nominal = np.array([[x[0], y[0]], [x[1], y[0]], [x[1], y[1]], [x[0], y[1]]]) - other.origin_mm
    laid = view.on_foot(view.glued(nominal, np.full(4, other.number)), board.number)
    outline = np.round((laid - corner) * [px_mm, -px_mm]).astype(np.int32)
    covered = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(covered, outline, 1)
    cv2.polylines(covered, [outline], True, 1, 2 * round(_OUTLINE_MM * px_mm) + 1)
    return covered > 0


def _furniture(board: BoardPage, px_mm: float, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Targets and code inside a tile, with their white, what is glued over, the board's outline."""
    hidden = np.ones(shape, dtype=bool)
    rim = int(_OUTLINE_MM * px_mm) + 1
    hidden[rim:-rim, rim:-rim] = False
    seen = board.uncovered
    hidden[:, int((seen.right_mm - board.clip.left_mm) * px_mm) :] = True
    hidden[int((board.clip.top_mm - seen.bottom_mm) * px_mm) :] = True
    boxes = [
        (t.left_mm, board.paper.height_mm - t.top_mm, t.side_mm, t.side_mm / 8 + 0.6)
        for t in board.targets
    ]
    if board.code_box is not None:
        code = board.code_box
        boxes.append((code.left_mm, code.top_mm, code.width_mm, 0.5))
    for left, top, side, white in boxes:
        column = (left - white - board.clip.left_mm) * px_mm
        row = (board.clip.top_mm - top - white) * px_mm
        reach = (side + 2 * white) * px_mm
        hidden[max(int(row), 0) : max(int(row + reach), 0),
               max(int(column), 0) : max(int(column + reach), 0)] = True  # fmt: skip
    return hidden
