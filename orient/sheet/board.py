"""The board of a field sheet at true scale, on as many pages as it takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from orient.sheet.layout import ROD_ALLOWANCE_MM, SheetLayout
from orient.sheet.paper import (
    INK,
    PALE,
    SOFT,
    Heading,
    Page,
    Paper,
    Window,
    line_height_mm,
    width_mm,
    window_of,
)

OVERLAP_MM = 12.0
_BAND, _TRACK, _RING = "#cfe3f2", "#0b5a8a", "#b06a00"


@dataclass(frozen=True)
class Tiles:
    """How a board is cut over pages: pages across and down, and each page's step."""

    window: Window
    across: int
    down: int

    @property
    def count(self) -> int:
        return self.across * self.down


def tiles_of(paper: Paper, board_mm: tuple[float, float], heading: Heading) -> Tiles:
    """The pages a board takes, each overlapping the next by `OVERLAP_MM`."""
    window = window_of(paper, heading)
    sizes = zip(board_mm, (window.width_mm, window.height_mm), strict=True)
    counts = [
        max(1, int(np.ceil((board - OVERLAP_MM - 1e-6) / (room - OVERLAP_MM))))
        for board, room in sizes
    ]
    return Tiles(window, counts[0], counts[1])


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


class BoardDrawing:
    """The board at true scale, on as many pages as it takes."""

    def __init__(self, layout: SheetLayout, paper: Paper, heading: Heading) -> None:
        self.layout, self.paper, self.heading = layout, paper, heading
        self.tiles = tiles_of(paper, layout.board_mm, heading)
        foot, board = layout.foot_mm, layout.board_mm
        self.low = (-foot[0], -foot[1])
        self.high = (board[0] - foot[0], board[1] - foot[1])
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

    def pages(self) -> list[tuple[Page, str]]:
        """Each page with its tile's name, row by row from the top left."""
        made = []
        for row in range(self.tiles.down):
            for column in range(self.tiles.across):
                page = Page(self.paper, self.heading)
                self._draw_tile(page, row, column)
                made.append((page, tile_name(row, column)))
        return made

    def _draw_tile(self, page: Page, row: int, column: int) -> None:
        window, board, foot = page.window, self.layout.board_mm, self.layout.foot_mm
        step_x, step_y = window.width_mm - OVERLAP_MM, window.height_mm - OVERLAP_MM
        # Where the foot comes to lie on this page; tiles count from the board's top left.
        origin_x = window.left_mm + foot[0] - column * step_x
        origin_y = window.top_mm - (board[1] - foot[1]) + row * step_y
        left, top = origin_x + self.low[0], origin_y + self.high[1]
        right, bottom = origin_x + self.high[0], origin_y + self.low[1]
        clip_left, clip_bottom = max(window.left_mm, left), max(window.bottom_mm, bottom)
        clip = Window(
            clip_left,
            clip_bottom,
            min(window.right_mm, right) - clip_left,
            min(window.top_mm, top) - clip_bottom,
        )
        page.line(
            [left, right, right, left, left], [bottom, bottom, top, top, bottom], 0.5, PALE,
            clip=window,
        )  # fmt: skip
        self._draw(page, origin_x, origin_y, clip)
        if self.tiles.count > 1:
            self._draw_crop_marks(page, row, column)

    def _draw_crop_marks(self, page: Page, row: int, column: int) -> None:
        window = page.window
        for x, way_x in ((window.left_mm, -1), (window.right_mm, 1)):
            for y, way_y in ((window.bottom_mm, -1), (window.top_mm, 1)):
                page.line([x, x + 4 * way_x], [y, y], 0.6)
                page.line([x, x], [y, y + 2 * way_y], 0.6)
        dashes = (0, (2, 3))
        if column + 1 < self.tiles.across:
            x = window.right_mm - OVERLAP_MM
            page.line([x, x], [window.bottom_mm, window.top_mm], 0.5, SOFT, dashes)
            note = f"glue {tile_name(row, column + 1)} here, its cut edge on this line"
            page.text(x + 2.6, window.bottom_mm + 4, note, 5.5, colour=SOFT, turned_deg=90)
        if row + 1 < self.tiles.down:
            y = window.bottom_mm + OVERLAP_MM
            page.line([window.left_mm, window.right_mm], [y, y], 0.5, SOFT, dashes)
            note = f"glue {tile_name(row + 1, column)} here, its cut edge on this line"
            page.text(window.left_mm + 4, y - 2.6, note, 5.5, colour=SOFT)

    def _draw(self, page: Page, origin_x: float, origin_y: float, clip: Window) -> None:
        x, y = origin_x + self.x, origin_y + self.y
        self._draw_band(page, x, y, clip)
        circle = np.radians(np.arange(0, 361, 1))
        for radius in self.layout.rings["radius_mm"]:
            page.line(
                origin_x + radius * np.sin(circle),
                origin_y + radius * np.cos(circle),
                0.5, _RING, (0, (6, 3)), clip=clip,
            )  # fmt: skip
        page.line([origin_x] * 2, [origin_y + self.low[1], origin_y + self.high[1]], 0.5, clip=clip)
        page.line(x, y, 1.1, _TRACK, name="track", clip=clip)
        self._draw_ticks(page, x, y, clip)
        self._draw_foot(page, origin_x, origin_y, clip)
        self._draw_arrow(page, origin_x, origin_y + self.high[1] - 4, clip)
        self._draw_labels(page, origin_x, origin_y, clip)

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

    def _draw_band(self, page: Page, x: Any, y: Any, clip: Window) -> None:
        normal, half = self.layout.normals(), self.layout.band_mm()[:, None]
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
            scaled = origin + np.stack([self.x, self.y], axis=-1) * (
                1.0 + change / self.layout.rod_mm
            )
            page.line(scaled[:, 0], scaled[:, 1], 0.4, _TRACK, (0, (1, 2)), clip=clip)

    def _draw_ticks(self, page: Page, x: Any, y: Any, clip: Window) -> None:
        track, normal = self.layout.track, self.layout.normals()
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
        page.line([x - 10, x + 10], [y, y], 0.6, name="foot-across", clip=clip)
        page.line([x, x], [y - 10, y + 10], 0.6, name="foot-up", clip=clip)
        turn = np.radians(np.arange(0, 361, 10))
        page.line(x + 3 * np.cos(turn), y + 3 * np.sin(turn), 0.6, clip=clip)

    def _draw_arrow(self, page: Page, x: float, top: float, clip: Window) -> None:
        page.area([x - 2.2, x, x + 2.2], [top - 7, top, top - 7], INK, clip)

    # ------------------------------------------------------------ labels

    def _label(self) -> _Labels:
        labels = _Labels(*self._page_spans())
        self._keep_track_clear(labels)
        labels.keep_clear(0, 0, 10, 10)
        labels.keep_clear(0, self.high[1] - 7, 3, 5)
        self._label_north(labels)
        self._label_foot(labels)
        self._label_ticks(labels)
        self._label_noon(labels)
        self._label_nothing(labels)
        self._label_rings(labels)
        return labels

    def _page_spans(self) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
        """What each column of pages shows of x, and each row of y."""
        window = self.tiles.window
        step_x, step_y = window.width_mm - OVERLAP_MM, window.height_mm - OVERLAP_MM
        lefts = [self.low[0] + column * step_x for column in range(self.tiles.across)]
        tops = [self.high[1] - row * step_y for row in range(self.tiles.down)]
        return (
            [(left, min(left + window.width_mm, self.high[0])) for left in lefts],
            [(max(top - window.height_mm, self.low[1]), top) for top in tops],
        )

    def _keep_track_clear(self, labels: _Labels) -> None:
        for x, y in zip(self.x, self.y, strict=True):
            if np.isfinite(x):
                labels.keep_clear(float(x), float(y), 0.4, 0.4)

    def _label_north(self, labels: _Labels) -> None:
        text = "true north when the marks lie on the track"
        for side in (1, -1):
            label = _Label(0, self.high[1] - 6, text, 7.5, bold=True)
            label.x_mm = side * (label.half_mm[0] + 4)
            if labels.put(label):
                return
        labels.put(_Label(8, self.high[1] - 6, "N", 10, bold=True))

    def _label_foot(self, labels: _Labels) -> None:
        for text in ("foot: plumb under the rod's tip", "foot"):
            for y in (-13.0, 13.0):
                for side in (1, -1):
                    label = _Label(0, y, text, 6.5)
                    label.x_mm = side * (label.half_mm[0] + 2)
                    if labels.put(label):
                        return

    def _label_ticks(self, labels: _Labels) -> None:
        track, normal = self.layout.track, self.layout.normals()
        minute = track["minute"].to_numpy()
        # Where there is no room for all, the rounder times are kept.
        order = np.select([minute == 0, minute == 30, minute % 20 == 0], [0, 1, 2], 3)
        ticks = np.flatnonzero(track["tick"].to_numpy() & np.isfinite(self.x))
        for index in sorted(ticks, key=lambda tick: (order[tick], tick)):
            on_hour = minute[index] == 0
            text = str(track["clock"].iloc[index])
            label = _Label(0, 0, text, 8.0 if on_hour else 6.5, bold=bool(on_hour))
            half_x, half_y = label.half_mm
            across = normal[index]
            away = 3.4 + abs(across[0]) * half_x + abs(across[1]) * half_y
            # Beside a tick near the edge the label moves in, still next to its tick.
            low, high = self.low[0] + half_x + 0.6, self.high[0] - half_x - 0.6
            label.x_mm = float(np.clip(self.x[index] + across[0] * away, low, high))
            label.y_mm = float(self.y[index] + across[1] * away)
            if abs(label.x_mm - self.x[index]) < half_x + 3.4:
                labels.put(label)

    def _label_noon(self, labels: _Labels) -> None:
        noon = self.layout.noon
        if noon is None:
            return
        toward = -1.0 if noon["y_mm"] >= 0 else 1.0
        for away in (6.0, 9.0, 12.0):
            for side in (1, -1):
                text = f"noon {str(noon['local'])[11:19]}"
                label = _Label(0, float(noon["y_mm"]) + toward * away, text, 6.5)
                label.x_mm = float(noon["x_mm"]) + side * (label.half_mm[0] + 2)
                if labels.put(label):
                    return

    def _label_rings(self, labels: _Labels) -> None:
        noon = self.layout.noon
        labels.keep_clear(0, (self.low[1] + self.high[1]) / 2, 0.4, self.layout.board_mm[1] / 2)
        start = 0.0 if noon is None or noon["y_mm"] >= 0 else 180.0
        turns = [start + side * turn for turn in range(4, 181, 4) for side in (1, -1)]
        for ring in self.layout.rings.itertuples():
            text = f"{ring.ring}  {ring.radius_mm:.0f} mm"
            for turn in turns:
                angle = np.radians(turn)
                x, y = ring.radius_mm * np.sin(angle), ring.radius_mm * np.cos(angle)
                if labels.put(_Label(float(x), float(y), text, 6.5, colour=_RING)):
                    break

    def _label_nothing(self, labels: _Labels) -> None:
        if not self.layout.on_sheet.empty:
            return
        text = "the shadow does not fall on this sheet: see the next page"
        for y in np.linspace(self.low[1] + 30, self.high[1] - 30, 12)[::-1]:
            middle = (self.low[0] + self.high[0]) / 2
            if labels.put(_Label(middle, float(y), text, 9.0, bold=True)):
                return


def tile_name(row: int, column: int) -> str:
    return f"{'ABCDEFGHIJKLMNOPQRSTUVWXYZ'[row]}{column + 1}"
