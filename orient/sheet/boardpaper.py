"""The paper of a board page: a border of targets, a title block, check bars, the board's window.

The block under the window holds the code, the figures of the day, a line for name and crew,
and the cautions. Its height follows from the paper alone, so that a picture of a page can be
laid on its print knowing no more than the paper's size.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from orient.flags import CAUTIONS
from orient.sheet.filled import Filled
from orient.sheet.paper import (
    BAR_MM,
    BAR_NOTE,
    READ_PT,
    Heading,
    Page,
    Paper,
    Window,
    fitted,
    line_height_mm,
    shortened,
    wrapped,
)
from orient.sheet.targets import QUIET_CELLS, Target, black_cells

#: What printers leave white.
EDGE_MM = 6.0
_CREW_MM = 6.5
_PURE_BLACK = "#000000"


def target_side_mm(paper: Paper) -> float:
    """A target's side: larger on larger paper, for it is photographed from farther away."""
    return 10.0 if min(paper.width_mm, paper.height_mm) < 260.0 else 13.0


def code_side_mm(paper: Paper) -> float:
    """The square code's side with its white."""
    return 24.0 if target_side_mm(paper) < 12.0 else 30.0


def side_mm(paper: Paper) -> float:
    """From the paper's edge to the board and the title block: a target and its white."""
    return EDGE_MM + target_side_mm(paper) + 4.0


def board_window(paper: Paper) -> Window:
    """What a page has for the board."""
    side = side_mm(paper)
    top = paper.height_mm - side + 1.0
    height = float(np.floor(top - side - _block_mm(paper) - 2.0))
    return Window(side, top - height, paper.width_mm - 2 * side, height)


def _text_room_mm(paper: Paper) -> float:
    return paper.width_mm - 2 * side_mm(paper) - code_side_mm(paper) - 5.0


def _figure_lines(paper: Paper) -> int:
    """How many lines of figures there is room for."""
    return max(2, int(np.ceil(290.0 / _text_room_mm(paper))))


@lru_cache(maxsize=16)
def _block_mm(paper: Paper) -> float:
    cautions = len(wrapped(" ".join(CAUTIONS), _text_room_mm(paper), READ_PT))
    lines = _figure_lines(paper) + cautions
    return max(code_side_mm(paper) + 1.0, lines * line_height_mm(READ_PT) + _CREW_MM + 1.0)


def top_targets(paper: Paper) -> int:
    """How many targets stand in the top row, its corners with them."""
    return int(np.clip(round((paper.width_mm - 22.0) / 95.0), 2, 3)) + 1


class BoardSheet(Page):
    """A page for the board, furnished but for its targets and code."""

    def _furnish(self, heading: Heading) -> None:
        self.window = board_window(self.paper)
        self.heading = heading
        self._draw_head()
        self._draw_block()
        self._draw_board_bars()

    def number(self, text: str) -> None:
        right = self.paper.width_mm - side_mm(self.paper)
        room = (self.paper.width_mm - 2 * side_mm(self.paper)) / 3
        shown = fitted(text, room, 9.0, bold=True)
        self.text(right, self.paper.height_mm - 10.0, shown, 9.0, bold=True, across="right")

    def _draw_head(self) -> None:
        top, left = self.paper.height_mm, side_mm(self.paper)
        # Up to the next target of the row.
        parts = 3 if top_targets(self.paper) > 3 else 2
        room = (self.paper.width_mm - 2 * left) / parts - target_side_mm(self.paper)
        title = fitted(self.heading.title, room, 11.0, bold=True)
        self.text(left, top - 10.0, title, 11.0, bold=True)
        self.text(left, top - 15.2, shortened(self.heading.name, room, 10.0), 10.0)

    def _draw_block(self) -> None:
        left, room = side_mm(self.paper) + code_side_mm(self.paper) + 5.0, _text_room_mm(self.paper)
        top = self.window.bottom_mm - 2.0
        step = line_height_mm(READ_PT)
        lines = wrapped(self.heading.figures, room, READ_PT)[: _figure_lines(self.paper)]
        for line in lines:
            self.text(left, top - 0.76 * step, line, READ_PT)
            top -= step
        self.text(
            left, top - 0.76 * _CREW_MM, fitted(_crew(self.heading.filled), room, READ_PT), READ_PT
        )
        top -= _CREW_MM
        self.paragraph(" ".join(CAUTIONS), left, top, room, READ_PT)

    def _draw_board_bars(self) -> None:
        left = side_mm(self.paper)
        right, x, y, start = left + BAR_MM, left - 1.6, 8.5, left + 1.0
        for offset in range(0, int(BAR_MM) + 1, 10):
            tick = 0.9 if 0 < offset < BAR_MM else 1.8
            self.line([left + offset] * 2, [y - tick / 2, y + tick / 2], 0.5)
            self.line([x - tick / 2, x + tick / 2], [start + offset] * 2, 0.5)
        self.line([left, right], [y, y], 0.5, name="bar-across")
        self.line([x, x], [start, start + BAR_MM], 0.5, name="bar-up")
        self.text(left, y + 2.6, fitted(BAR_NOTE, BAR_MM, READ_PT), READ_PT)

    def draw_target(self, target: Target) -> None:
        """A target with its white around it."""
        self._draw_cells(
            black_cells(target.id),
            target.left_mm,
            self.paper.height_mm - target.top_mm,
            target.side_mm,
            quiet_cells=QUIET_CELLS,
        )

    def draw_code(self, text: str, box: Window) -> None:
        """The square code, its white round it inside the box."""
        cells = code_cells(text)
        quiet = 3.0
        side = box.width_mm * len(cells) / (len(cells) + 2 * quiet)
        inset = (box.width_mm - side) / 2
        self._draw_cells(cells, box.left_mm + inset, box.top_mm - inset, side, quiet_cells=quiet)

    def _draw_cells(
        self,
        black: NDArray[np.bool_],
        left_mm: float,
        top_mm: float,
        side_mm: float,
        quiet_cells: float,
    ) -> None:
        from matplotlib.patches import PathPatch, Rectangle
        from matplotlib.path import Path

        cell = side_mm / len(black)
        white = quiet_cells * cell
        ground = Rectangle(
            (left_mm - white, top_mm - side_mm - white), side_mm + 2 * white, side_mm + 2 * white,
            facecolor="white", edgecolor="none", zorder=5,
        )  # fmt: skip
        # One path for all the cells: no hairline of white shows where two meet.
        runs = [
            Path(
                [(left_mm + first * cell, top_mm - row * cell),
                 (left_mm + last * cell, top_mm - row * cell),
                 (left_mm + last * cell, top_mm - (row + 1) * cell),
                 (left_mm + first * cell, top_mm - (row + 1) * cell),
                 (0.0, 0.0)],
                [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY],
            )
            for row, cells in enumerate(black)
            for first, last in _runs(cells)
        ]  # fmt: skip
        shape = PathPatch(
            Path.make_compound_path(*runs), facecolor=_PURE_BLACK, edgecolor="none", zorder=6
        )
        for artist in (ground, shape):
            self.axes.add_artist(artist)
            artist.set_clip_on(False)


def _crew(filled: Filled) -> str:
    return f"Name, crew: {filled.crew or '_' * 30}   Set-up: {filled.setup or '_' * 12}"


def _runs(cells: NDArray[np.bool_]) -> Sequence[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], cells.astype(int), [0]])))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]


def code_cells(text: str) -> NDArray[np.bool_]:
    """The cells of the square code (ISO/IEC 18004) of a text, True for black, no border."""
    import segno

    made = segno.make_qr(text, error="m", boost_error=False)
    return np.array([[bool(cell) for cell in row] for row in made.matrix])
