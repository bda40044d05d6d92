"""Where everything stands on the board pages of a sheet: windows, tiles, targets, codes.

All of it follows from the figures of a `SheetCode`, so that a picture of a page can be laid
on its print without the campaign. Page coordinates here are millimetres from the lower left
corner, x right and y up, as in `paper`; what leaves by `as_layout` counts from the top left,
down plus.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from orient.sheet.boardpaper import (
    EDGE_MM,
    board_window,
    code_side_mm,
    side_mm,
    target_side_mm,
    top_targets,
)
from orient.sheet.code import SheetCode
from orient.sheet.paper import BAR_MM, PAPERS, Paper, Window
from orient.sheet.targets import Target

OVERLAP_MM = 12.0
#: A seam stays this far from the foot, mm.
SEAM_CLEAR_MM = 16.0
#: Room that the rod's base and the foot's cross take: no target stands nearer.
_FOOT_CLEAR_MM = 24.0
#: Of a board of several pages, which is photographed from farther away.
_TILE_CODE_MM = 30.0
_IDS_A_PAGE = 16
_TRACK_IDS = 288


@dataclass(frozen=True)
class Tiles:
    """How a board is cut over pages: pages across and down, and where the first begins.

    `shift_mm` is how far the board's left and top edges lie inside the first page's window.
    """

    window: Window
    across: int
    down: int
    shift_mm: tuple[float, float]

    @property
    def count(self) -> int:
        return self.across * self.down

    @property
    def step_mm(self) -> tuple[float, float]:
        return self.window.width_mm - OVERLAP_MM, self.window.height_mm - OVERLAP_MM


def tiles_of(paper: Paper, board_mm: tuple[float, float], foot_mm: tuple[float, float]) -> Tiles:
    """The pages a board takes, each overlapping the next, no seam near the foot."""
    window = board_window(paper)
    across, left = _cut(board_mm[0], window.width_mm, foot_mm[0])
    down, top = _cut(board_mm[1], window.height_mm, board_mm[1] - foot_mm[1])
    return Tiles(window, across, down, (left, top))


def _cut(board_mm: float, room_mm: float, foot_mm: float) -> tuple[int, float]:
    """How many pages along one side, and the shift of the first that keeps seams off the foot."""
    step = room_mm - OVERLAP_MM
    count = max(1, int(np.ceil((board_mm - OVERLAP_MM - 1e-6) / step)))
    for pages in (count, count + 1):
        slack = pages * step + OVERLAP_MM - board_mm
        shifts = np.linspace(0.0, slack, 41)
        if pages == 1:
            return 1, slack / 2
        seams = np.arange(1, pages) * step + OVERLAP_MM / 2
        # In the middle where that is clear of the foot, else as little off it as does.
        apart = np.abs(foot_mm + shifts[:, None] - seams).min(axis=1) - OVERLAP_MM / 2
        clear = np.flatnonzero(apart >= SEAM_CLEAR_MM)
        if clear.size:
            return pages, float(shifts[clear[np.argmin(np.abs(clear - 20))]])
    return pages, float(shifts[np.argmax(apart)])


@dataclass(frozen=True)
class BoardPage:
    """A page of the board: where the foot comes to lie, and what of the board it shows.

    `origin_mm` is the foot in page millimetres, perhaps off the page; `clip` the part of the
    board that the page shows, `code_box` the square of the printed code; `last` whether no page
    follows to the right, and below.
    """

    number: int
    row: int
    column: int
    paper: Paper
    origin_mm: tuple[float, float]
    clip: Window
    targets: tuple[Target, ...]
    code_box: Window | None
    tiled: bool
    last: tuple[bool, bool]

    @property
    def name(self) -> str:
        return tile_name(self.row, self.column)

    @property
    def uncovered(self) -> Window:
        """What of the page is seen when its neighbours are glued over its right and lower edge."""
        if not self.tiled:
            return self.clip
        return _uncovered(self.clip, self.last)

    @property
    def has_foot(self) -> bool:
        x, y = self.origin_mm
        clip = self.clip
        return clip.left_mm <= x <= clip.right_mm and clip.bottom_mm <= y <= clip.top_mm

    def as_layout(self) -> dict[str, Any]:
        """The page for a layout file: millimetres from the top left corner, down plus."""
        foot = [round(self.origin_mm[0], 4), round(self.paper.height_mm - self.origin_mm[1], 4)]
        return {
            "page": self.number,
            "width_mm": self.paper.width_mm,
            "height_mm": self.paper.height_mm,
            **({"foot_mm": foot} if self.has_foot else {}),
            "x_axis": [1.0, 0.0],
            "y_axis": [0.0, -1.0],
            "north_on_board_deg": 0.0,
            "targets": [
                {
                    "id": target.id,
                    "corners_mm": [[round(x, 4), round(y, 4)] for x, y in target.corners_mm],
                }
                for target in self.targets
            ],
        }


def tile_name(row: int, column: int) -> str:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    return f"{letters[row % 26] * (1 + row // 26)}{column + 1}"


def board_pages(code: SheetCode) -> list[BoardPage]:
    """The board pages that a code's figures describe, row by row from the top left."""
    paper = Paper(*code.paper_mm)
    tiles = tiles_of(paper, code.board_mm, code.foot_mm)
    return [
        _page(code, paper, tiles, row, column)
        for row in range(tiles.down)
        for column in range(tiles.across)
    ]


def _page(code: SheetCode, paper: Paper, tiles: Tiles, row: int, column: int) -> BoardPage:
    window, (step_x, step_y) = tiles.window, tiles.step_mm
    board, foot = code.board_mm, code.foot_mm
    left = window.left_mm + tiles.shift_mm[0] - column * step_x
    top = window.top_mm - tiles.shift_mm[1] + row * step_y
    origin = (left + foot[0], top - board[1] + foot[1])
    clip_left, clip_bottom = max(window.left_mm, left), max(window.bottom_mm, top - board[1])
    clip = Window(
        clip_left,
        clip_bottom,
        min(window.right_mm, left + board[0]) - clip_left,
        min(window.top_mm, top) - clip_bottom,
    )
    index = row * tiles.across + column
    tiled = tiles.count > 1
    last = (column + 1 == tiles.across, row + 1 == tiles.down)
    if tiled:
        boxes, code_box = _inner_places(_uncovered(clip, last), origin)
    else:
        boxes, code_box = _border_places(paper), _code_in_margin(paper)
    first = (_TRACK_IDS if code.kind == "track" else 0) + index * _IDS_A_PAGE % _TRACK_IDS
    targets = tuple(
        Target(first + number, box.left_mm, paper.height_mm - box.top_mm, box.width_mm)
        for number, box in enumerate(boxes)
    )
    return BoardPage(index + 1, row, column, paper, origin, clip, targets, code_box, tiled, last)


def border_pages(ids: Iterable[int]) -> Iterator[tuple[Paper, tuple[Target, ...], Window]]:
    """Pages of the usual papers whose border targets might bear these numbers."""
    first = _TRACK_IDS if min(ids) >= _TRACK_IDS else 0
    for upright in PAPERS.values():
        for paper in (upright, upright.turned()):
            targets = tuple(
                Target(first + number, box.left_mm, paper.height_mm - box.top_mm, box.width_mm)
                for number, box in enumerate(_border_places(paper))
            )
            yield paper, targets, _code_in_margin(paper)


def _border_places(paper: Paper) -> list[Window]:
    """Squares along the border of a page: its corners, and at even steps between them."""
    side = target_side_mm(paper)
    right, top = paper.width_mm - EDGE_MM - side, paper.height_mm - EDGE_MM - side
    rows = int(np.clip(round((paper.height_mm - 22.0) / 62.0), 2, 5))
    columns = top_targets(paper) - 1
    across = np.linspace(EDGE_MM, right, columns + 1)
    places = [(x, top) for x in across]
    places += [(x, y) for y in np.linspace(EDGE_MM, top, rows + 1)[1:-1] for x in (EDGE_MM, right)]
    # The check bar has the left of the lowest row to itself.
    start = board_window(paper).left_mm + BAR_MM + 5.0
    below = np.linspace(start, right, columns)[:-1] if columns > 2 else [max(start, across[1])]
    places += [(x, EDGE_MM) for x in (EDGE_MM, *below, right)]
    return [Window(float(x), float(y), side, side) for x, y in places]


def _code_in_margin(paper: Paper) -> Window:
    left = side_mm(paper)
    side = code_side_mm(paper)
    return Window(left, left + 0.5, side, side)


def _uncovered(clip: Window, last: tuple[bool, bool]) -> Window:
    """What neighbours glued over a tile leave of it."""
    right = 0.0 if last[0] else OVERLAP_MM
    below = 0.0 if last[1] else OVERLAP_MM
    return Window(
        clip.left_mm, clip.bottom_mm + below, clip.width_mm - right, clip.height_mm - below
    )


def _inner_places(
    seen: Window, origin_mm: tuple[float, float]
) -> tuple[list[Window], Window | None]:
    """Targets and code inside a tile, where cutting leaves them, away from the foot."""
    side, inset = 10.0, 2.5
    if min(seen.width_mm, seen.height_mm) < side + 2 * inset:
        return [], None
    across = np.linspace(seen.left_mm + inset, seen.right_mm - inset - side, 3)
    up = np.linspace(seen.bottom_mm + inset, seen.top_mm - inset - side, 3)
    places = [
        Window(float(x), float(y), side, side)
        for x in across
        for y in up
        if (x, y) != (across[1], up[1])
    ]
    if across[1] - across[0] < side + 4.0 or up[1] - up[0] < side + 4.0:
        # A narrow last tile: corners alone, as far as they are apart.
        places = _apart(
            [Window(float(x), float(y), side, side) for x in across[::2] for y in up[::2]]
        )
    away = [place for place in places if _distance_mm(place, origin_mm) > _FOOT_CLEAR_MM]
    boxes = [
        Window(float(x), float(y), _TILE_CODE_MM, _TILE_CODE_MM)
        for x in (across[0] + side + 4.0, across[1] + side + 4.0)
        for y in (seen.bottom_mm + 4.0, seen.top_mm - 4.0 - _TILE_CODE_MM)
    ]
    if min(seen.width_mm, seen.height_mm) < _TILE_CODE_MM + 2 * side + 4 * inset + 4.0:
        return away or places, None
    return away or places, max(boxes, key=lambda box: _distance_mm(box, origin_mm))


def _apart(places: Sequence[Window]) -> list[Window]:
    kept: list[Window] = []
    for place in places:
        if all(_gap(place, other) > 2.5 for other in kept):
            kept.append(place)
    return kept


def _gap(one: Window, other: Window) -> float:
    return max(
        one.left_mm - other.right_mm,
        other.left_mm - one.right_mm,
        one.bottom_mm - other.top_mm,
        other.bottom_mm - one.top_mm,
    )


def _distance_mm(box: Window, point_mm: tuple[float, float]) -> float:
    middle = (box.left_mm + box.right_mm) / 2, (box.bottom_mm + box.top_mm) / 2
    return float(np.hypot(middle[0] - point_mm[0], middle[1] - point_mm[1]))
