"""What is drawn on the board of a field sheet at true scale, on as many pages as it takes.

The marking sheet has foot, axes, rings and an arrow, in a colour that a picture's red channel
does not see, so that pencil on it is found again; the track sheet has the predicted track.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from orient.sheet.code import SheetCode
from orient.sheet.filled import BLANK, Filled
from orient.sheet.geometry import OVERLAP_MM, BoardPage, tile_name
from orient.sheet.layout import ROD_ALLOWANCE_MM, SheetLayout
from orient.sheet.paper import INK, READ_PT, SOFT, Page, Window, line_height_mm, width_mm

_BAND, _TRACK, _RING = "#cfe3f2", "#0b5a8a", "#b06a00"
#: The good hours, under the track.
_GOOD = "#e8a93a"
#: Full in red: a pencil mark on such a line stands alone in the red channel of a picture.
PRINT = "#ff6a3c"
_GUIDE = "#ffb199"
#: What a crew draws on a practice sheet: crosses, the outer end of the line. Their numbers and
#: name are in the print's colour: printed figures are sharper than pencil and look like marks.
_PENCIL = "#3c3c40"
_ARM_MM, _BESIDE_MM, _STROKE_MM = 1.7, 5.5, 45.0


@dataclass
class _Label:
    """A text with its centre on the board, from the foot."""

    x_mm: float
    y_mm: float
    text: str
    size_pt: float
    bold: bool = False
    colour: str = INK

    @property
    def half_mm(self) -> tuple[float, float]:
        size = width_mm(self.text, self.size_pt, self.bold), line_height_mm(self.size_pt)
        return size[0] / 2, size[1] / 2


@dataclass
class _Labels:
    """Labels that have found room: whole on one page of the board, clear of one another.

    `spans_x`, `spans_y`: what each column and row of pages shows of the board.
    """

    spans_x: Sequence[tuple[float, float]]
    spans_y: Sequence[tuple[float, float]]
    placed: list[_Label] = field(default_factory=list)
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def keep_clear(self, x_mm: float, y_mm: float, half_x_mm: float, half_y_mm: float) -> None:
        self.taken.append((x_mm, y_mm, half_x_mm, half_y_mm))

    def put(self, label: _Label) -> bool:
        """Place the label if it has room; say whether it had."""
        half_x, half_y = label.half_mm
        whole = _within(label.x_mm, half_x, self.spans_x) and _within(
            label.y_mm, half_y, self.spans_y
        )
        clear = whole and not any(
            abs(label.x_mm - x) < half_x + other_x + 0.6
            and abs(label.y_mm - y) < half_y + other_y + 0.2
            for x, y, other_x, other_y in self.taken
        )
        if clear:
            self.placed.append(label)
            self.keep_clear(label.x_mm, label.y_mm, half_x, half_y)
        return clear


def _within(middle: float, half: float, spans: Sequence[tuple[float, float]]) -> bool:
    return any(low + 0.5 <= middle - half and middle + half <= high - 0.5 for low, high in spans)


class BoardLines:
    """The board at true scale: what each of its pages shows.

    Args:
        boards: the pages.
        code: the board's figures.
        layout: the day, for a track sheet; None for a marking sheet.
        filled: marks and a line to draw as a crew would have.
    """

    def __init__(
        self,
        boards: Sequence[BoardPage],
        code: SheetCode,
        layout: SheetLayout | None,
        filled: Filled = BLANK,
    ) -> None:
        self.boards, self.code, self.layout, self.filled = boards, code, layout, filled
        foot, board = code.foot_mm, code.board_mm
        self.low = (-foot[0], -foot[1])
        self.high = (board[0] - foot[0], board[1] - foot[1])
        self.ink = INK if layout else PRINT
        self.x, self.y = np.zeros(0), np.zeros(0)
        if layout is not None:
            track = layout.track
            near = (
                track["x_mm"].between(self.low[0] - 60, self.high[0] + 60)
                & track["y_mm"].between(self.low[1] - 60, self.high[1] + 60)
                & ~track["hidden"]
            ).to_numpy()
            # A line with gaps: what lies far off the board, or in a hill's shade, is not drawn.
            self.x = np.where(near, track["x_mm"], np.nan)
            self.y = np.where(near, track["y_mm"], np.nan)
        self.labels = self._label()

    def draw(self, page: Page, board: BoardPage) -> None:
        """Draw what one page shows."""
        origin_x, origin_y = board.origin_mm
        left, top = origin_x + self.low[0], origin_y + self.high[1]
        right, bottom = origin_x + self.high[0], origin_y + self.low[1]
        page.line(
            [left, right, right, left, left], [bottom, bottom, top, top, bottom], 0.5, _GUIDE,
            clip=page.window,
        )  # fmt: skip
        self._draw(page, origin_x, origin_y, board.clip)
        if board.tiled:
            self._draw_crop_marks(page, board)

    def _has(self, row: int, column: int) -> bool:
        return any(board.row == row and board.column == column for board in self.boards)

    def _draw_crop_marks(self, page: Page, board: BoardPage) -> None:
        window, row, column = page.window, board.row, board.column
        for x, way_x in ((window.left_mm, -1), (window.right_mm, 1)):
            for y, way_y in ((window.bottom_mm, -1), (window.top_mm, 1)):
                page.line([x, x + 4 * way_x], [y, y], 0.6)
                page.line([x, x], [y, y + 2 * way_y], 0.6)
        dashes = (0, (2, 3))
        if self._has(row, column + 1):
            x = window.right_mm - OVERLAP_MM
            page.line([x, x], [window.bottom_mm, window.top_mm], 0.5, SOFT, dashes)
            note = f"glue {tile_name(row, column + 1)} here, its cut edge on this line"
            page.text(x + 4.0, window.bottom_mm + 16, note, READ_PT, colour=SOFT, turned_deg=90)
        if self._has(row + 1, column):
            y = window.bottom_mm + OVERLAP_MM
            page.line([window.left_mm, window.right_mm], [y, y], 0.5, SOFT, dashes)
            note = f"glue {tile_name(row + 1, column)} here, its cut edge on this line"
            page.text(window.left_mm + 4, y - 4.4, note, READ_PT, colour=SOFT)

    def _draw(self, page: Page, origin_x: float, origin_y: float, clip: Window) -> None:
        self._draw_rings(page, origin_x, origin_y, clip)
        page.line(
            [origin_x] * 2, [origin_y + self.low[1], origin_y + self.high[1]], 0.5, self.ink,
            clip=clip,
        )  # fmt: skip
        if self.layout is None:
            page.line(
                [origin_x + self.low[0], origin_x + self.high[0]], [origin_y] * 2, 0.5, self.ink,
                clip=clip,
            )  # fmt: skip
        else:
            self._draw_track(page, origin_x, origin_y, clip, self.layout)
        self._draw_foot(page, origin_x, origin_y, clip)
        self._draw_arrow(page, origin_x, origin_y + self._arrow_y(), clip)
        self._draw_labels(page, origin_x, origin_y, clip)
        self._draw_pencil(page, origin_x, origin_y, clip)

    def _draw_pencil(self, page: Page, origin_x: float, origin_y: float, clip: Window) -> None:
        """The marks of a practice sheet, numbered, and the outer part of its reference line."""
        foot = np.array([origin_x, origin_y])
        marks = np.array(self.filled.marks_mm).reshape(-1, 2)
        for number, mark in enumerate(marks, start=1):
            x, y = foot + mark
            for dx, dy in ((_ARM_MM, _ARM_MM), (-_ARM_MM, _ARM_MM)):
                page.line([x - dx, x + dx], [y - dy, y + dy], 1.0, _PENCIL, clip=clip)
            beside = foot + mark * (1.0 + _BESIDE_MM / np.hypot(*mark))
            page.text(
                float(beside[0]), float(beside[1]), str(number), READ_PT, colour=PRINT,
                across="center", up="center", clip=clip,
            )  # fmt: skip
        if self.filled.line_mm is not None:
            self._draw_line(page, foot, marks, np.array(self.filled.line_mm), clip)

    def _draw_line(self, page: Page, foot: Any, marks: Any, end: Any, clip: Window) -> None:
        # Not over a mark: two pencil lines would look like one.
        along = np.linspace(1.0 - min(0.5, _STROKE_MM / np.hypot(*end)), 1.0, 60)
        points = end * along[:, None]
        near = np.hypot(*(points[:, None] - marks[None]).T).min(axis=0, initial=np.inf) < 5.0
        points = np.where(near[:, None], np.nan, points) + foot
        page.line(points[:, 0], points[:, 1], 0.9, _PENCIL, clip=clip)
        inward = foot + end * (1.0 - 2.0 / np.hypot(*end))
        text = f"to {self.filled.reference_name}"
        across = 4.0 * np.array([end[1], -end[0]]) / np.hypot(*end)
        room = width_mm(text, READ_PT) + 1.0
        for way in (across, -across):
            x, y = inward + way
            if clip.left_mm < x + np.sign(way[0]) * room < clip.left_mm + clip.width_mm:
                break
        page.text(
            x, y, text, READ_PT, colour=PRINT,
            across="left" if way[0] >= 0 else "right", up="center", clip=clip,
        )  # fmt: skip

    def _draw_rings(self, page: Page, x: float, y: float, clip: Window) -> None:
        circle = np.radians(np.arange(0, 360.5, 0.5))
        style: Any = "-" if self.layout is None else (0, (6, 3))
        colour = PRINT if self.layout is None else _RING
        for radius in self.code.rings_mm:
            page.line(
                x + radius * np.sin(circle), y + radius * np.cos(circle), 0.5, colour, style,
                clip=clip,
            )  # fmt: skip

    def _draw_track(
        self, page: Page, origin_x: float, origin_y: float, clip: Window, layout: SheetLayout
    ) -> None:
        x, y = origin_x + self.x, origin_y + self.y
        self._draw_band(page, x, y, clip, layout)
        good = layout.track["good"].to_numpy()
        page.line(
            np.where(good, x, np.nan), np.where(good, y, np.nan), 3.4, _GOOD, name="good-hours",
            clip=clip,
        )  # fmt: skip
        page.line(x, y, 1.1, _TRACK, name="track", clip=clip)
        self._draw_ticks(page, x, y, clip, layout)

    def _draw_labels(self, page: Page, origin_x: float, origin_y: float, clip: Window) -> None:
        for label in self.labels.placed:
            half_x, half_y = label.half_mm
            centre_x, centre_y = origin_x + label.x_mm, origin_y + label.y_mm
            if (
                centre_x + half_x < clip.left_mm
                or centre_x - half_x > clip.right_mm
                or centre_y + half_y < clip.bottom_mm
                or centre_y - half_y > clip.top_mm
            ):
                continue
            page.text(
                centre_x, centre_y, label.text, label.size_pt, label.bold, label.colour,
                across="center", up="center", halo=True, clip=clip,
            )  # fmt: skip

    def _draw_band(self, page: Page, x: Any, y: Any, clip: Window, layout: SheetLayout) -> None:
        normal, half = layout.normals(), layout.band_mm()[:, None]
        points = np.stack([x, y], axis=-1)
        drawn = np.isfinite(x)
        for part in np.split(np.arange(len(x)), np.flatnonzero(np.diff(drawn)) + 1):
            if len(part) < 2 or not drawn[part[0]]:
                continue
            outer = points[part] + normal[part] * half[part]
            inner = points[part] - normal[part] * half[part]
            outline = np.concatenate([outer, inner[::-1]])
            page.area(outline[:, 0], outline[:, 1], _BAND, clip)
        origin = points - np.stack([self.x, self.y], axis=-1)
        for change in (-ROD_ALLOWANCE_MM, ROD_ALLOWANCE_MM):
            scaled = origin + np.stack([self.x, self.y], axis=-1) * (1.0 + change / layout.rod_mm)
            page.line(scaled[:, 0], scaled[:, 1], 0.4, _TRACK, (0, (1, 2)), clip=clip)

    def _draw_ticks(self, page: Page, x: Any, y: Any, clip: Window, layout: SheetLayout) -> None:
        track, normal = layout.track, layout.normals()
        for index in np.flatnonzero(track["tick"].to_numpy() & np.isfinite(x)):
            on_hour = track["minute"].iloc[index] == 0
            reach = normal[index] * (2.6 if on_hour else 1.6)
            page.line(
                [x[index] - reach[0], x[index] + reach[0]],
                [y[index] - reach[1], y[index] + reach[1]],
                0.9 if on_hour else 0.6,
                name=f"tick-{track['clock'].iloc[index].replace(':', '')}",
                clip=clip,
            )
        for index in np.flatnonzero(track["noon"].to_numpy() & np.isfinite(x)):
            turn = np.radians(np.arange(0, 360, 30))
            page.area(x[index] + 0.9 * np.cos(turn), y[index] + 0.9 * np.sin(turn), INK, clip)

    def _draw_foot(self, page: Page, x: float, y: float, clip: Window) -> None:
        page.line([x - 10, x + 10], [y, y], 0.6, self.ink, name="foot-across", clip=clip)
        page.line([x, x], [y - 10, y + 10], 0.6, self.ink, name="foot-up", clip=clip)
        turn = np.radians(np.arange(0, 361, 10))
        page.line(x + 3 * np.cos(turn), y + 3 * np.sin(turn), 0.6, self.ink, clip=clip)

    def _arrow_y(self) -> float:
        """Where the north arrow's tip stands: by the edge, below a target that is in its way."""
        tip = self.high[1] - 4
        below = [
            y - half - 3
            for x, y, half in self._inside()
            if abs(x) < half + 2.2 and y - half < tip < y + half + 7
        ]
        return min([tip, *below])

    def _draw_arrow(self, page: Page, x: float, top: float, clip: Window) -> None:
        page.area([x - 2.2, x, x + 2.2], [top - 7, top, top - 7], self.ink, clip)

    # ------------------------------------------------------------ labels

    def _label(self) -> _Labels:
        labels = _Labels(*self._page_spans())
        self._keep_targets_clear(labels)
        self._keep_track_clear(labels)
        labels.keep_clear(0, 0, 10, 10)
        labels.keep_clear(0, self._arrow_y() - 3, 3, 5)
        self._label_north(labels)
        self._label_foot(labels)
        if self.layout is not None:
            self._label_ticks(labels, self.layout)
            self._label_noon(labels, self.layout)
            self._label_nothing(labels, self.layout)
        self._label_rings(labels)
        return labels

    def _page_spans(self) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
        """What each column of pages shows of x, and each row of y."""
        spans_x, spans_y = {}, {}
        for board in self.boards:
            (x, y), clip = board.origin_mm, board.clip
            spans_x[board.column] = (clip.left_mm - x, clip.right_mm - x)
            spans_y[board.row] = (clip.bottom_mm - y, clip.top_mm - y)
        return list(spans_x.values()), list(spans_y.values())

    def _keep_targets_clear(self, labels: _Labels) -> None:
        """No label under a target or code that stands inside a tile."""
        for x, y, half in self._inside():
            labels.keep_clear(x, y, half + 1.5, half + 1.5)

    def _inside(self) -> Iterator[tuple[float, float, float]]:
        """Middles and half sides of the targets and codes inside tiles, from the foot."""
        for board in self.boards:
            if not board.tiled:
                continue
            x, y = board.origin_mm
            boxes = [
                (t.left_mm, board.paper.height_mm - t.top_mm, t.side_mm) for t in board.targets
            ]
            if board.code_box is not None:
                code = board.code_box
                boxes.append((code.left_mm, code.top_mm, code.width_mm))
            for left, top, side in boxes:
                yield left + side / 2 - x, top - side / 2 - y, side / 2

    def _keep_track_clear(self, labels: _Labels) -> None:
        for x, y in zip(self.x, self.y, strict=True):
            if np.isfinite(x):
                labels.keep_clear(float(x), float(y), 0.4, 0.4)

    def _label_north(self, labels: _Labels) -> None:
        text = "true north when the marks lie on the track"
        if self.layout is None:
            text = "turn about to north; the marks tell true north"
        for side in (1, -1):
            label = _Label(0, self._arrow_y() - 2, text, READ_PT, self.layout is not None, self.ink)
            label.x_mm = side * (label.half_mm[0] + 4)
            if labels.put(label):
                return
        labels.put(_Label(8, self._arrow_y() - 2, "N", 10, True, self.ink))

    def _label_foot(self, labels: _Labels) -> None:
        for text in ("foot: plumb under the rod's tip", "foot"):
            for y in (-13.0, 13.0):
                for side in (1, -1):
                    label = _Label(0, y, text, READ_PT, colour=self.ink)
                    label.x_mm = side * (label.half_mm[0] + 2)
                    if labels.put(label):
                        return

    def _label_ticks(self, labels: _Labels, layout: SheetLayout) -> None:
        track, normal = layout.track, layout.normals()
        minute = track["minute"].to_numpy()
        # Where there is no room for all, the rounder times are kept.
        order = np.select([minute == 0, minute == 30, minute % 20 == 0], [0, 1, 2], 3)
        ticks = np.flatnonzero(track["tick"].to_numpy() & np.isfinite(self.x))
        for index in sorted(ticks, key=lambda tick: (order[tick], tick)):
            on_hour = minute[index] == 0
            text = str(track["clock"].iloc[index])
            label = _Label(0, 0, text, 9.0 if on_hour else READ_PT, bold=bool(on_hour))
            half_x, half_y = label.half_mm
            across = normal[index]
            away = 3.4 + abs(across[0]) * half_x + abs(across[1]) * half_y
            # Beside a tick near the edge the label moves in, still next to its tick.
            low, high = self.low[0] + half_x + 0.6, self.high[0] - half_x - 0.6
            label.x_mm = float(np.clip(self.x[index] + across[0] * away, low, high))
            label.y_mm = float(self.y[index] + across[1] * away)
            if abs(label.x_mm - self.x[index]) < half_x + 3.4:
                labels.put(label)

    def _label_noon(self, labels: _Labels, layout: SheetLayout) -> None:
        noon = layout.noon
        if noon is None:
            return
        toward = -1.0 if noon["y_mm"] >= 0 else 1.0
        for away in (6.0, 9.0, 12.0):
            for side in (1, -1):
                text = f"noon {str(noon['local'])[11:19]}"
                label = _Label(0, float(noon["y_mm"]) + toward * away, text, READ_PT)
                label.x_mm = float(noon["x_mm"]) + side * (label.half_mm[0] + 2)
                if labels.put(label):
                    return

    def _label_rings(self, labels: _Labels) -> None:
        middle_y = (self.low[1] + self.high[1]) / 2
        labels.keep_clear(0, middle_y, 0.4, self.code.board_mm[1] / 2)
        # On the side of the foot that has more board; beside the axis, where few marks come.
        start = 0.0 if self.high[1] >= -self.low[1] else 180.0
        turns = [start + side * turn for turn in range(4, 181, 4) for side in (1, -1)]
        for number, radius in enumerate(self.code.rings_mm, start=1):
            text = f"R{number}  {radius:.0f} mm"
            for turn in turns:
                angle = np.radians(turn)
                x, y = radius * np.sin(angle), radius * np.cos(angle)
                colour = PRINT if self.layout is None else _RING
                if labels.put(_Label(float(x), float(y), text, READ_PT, colour=colour)):
                    break

    def _label_nothing(self, labels: _Labels, layout: SheetLayout) -> None:
        if not layout.on_sheet.empty:
            return
        text = "the shadow does not fall on this sheet: see the next page"
        # As far from the foot and its label as there is room.
        for y in sorted(np.linspace(self.low[1] + 30, self.high[1] - 30, 12), key=abs)[::-1]:
            middle = (self.low[0] + self.high[0]) / 2
            if labels.put(_Label(middle, float(y), text, 9.0, bold=True)):
                return
