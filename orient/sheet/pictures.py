"""The steps of the work as small drawings: on a sheet's page, and on pages of the docs.

Coordinates are those of a drawing 640 wide and about 300 high, y down.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import hypot
from typing import Protocol

import numpy as np

from orient.sheet.paper import INK, READ_PT, SOFT, Page, Window

Point = tuple[float, float]


class Surface(Protocol):
    """What can be drawn on: outlines and areas in a style, greys, words."""

    def path(self, points: Sequence[Point], style: str = "", closed: bool = False) -> None:
        """A line through points."""

    def circle(self, at: Point, radius: float, style: str = "") -> None:
        """A circle."""

    def ellipse(self, at: Point, rx: float, ry: float, style: str = "") -> None:
        """An ellipse, its axes level and upright."""

    def box(self, left: float, top: float, width: float, height: float, style: str = "") -> None:
        """A rectangle."""

    def grey(self, left: float, top: float, width: float, height: float, level: int) -> None:
        """A rectangle filled with a grey, 0 black to 255 white."""

    def words(self, x: float, y: float, text: str, style: str = "", anchor: str = "start") -> None:
        """A line of text."""


def arrow(draw: Surface, start: Point, end: Point, style: str = "thin") -> None:
    """A line with a head at its end."""
    draw.path([start, end], style)
    length = hypot(end[0] - start[0], end[1] - start[1])
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    wings = [(end[0] - 9 * ux + side * 4 * uy, end[1] - 9 * uy - side * 4 * ux) for side in (1, -1)]
    draw.path([wings[0], end, wings[1]], style)


def measure(draw: Surface, start: Point, end: Point) -> None:
    """A length between two arrow heads."""
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    arrow(draw, middle, start)
    arrow(draw, middle, end)


def cross(draw: Surface, x: float, y: float, reach: float) -> None:
    """A pencil cross."""
    draw.path([(x - reach, y), (x + reach, y)])
    draw.path([(x, y - reach), (x, y + reach)])


def level_on_board(draw: Surface, left: float, bubble: float, turned: bool) -> None:
    """A level on a board, its bubble off the middle; a dot tells one of its ends."""
    draw.box(left, 150, 280, 16, "wood")
    draw.box(left + 60, 112, 160, 38, "paper")
    draw.box(left + 105, 120, 70, 18, "liquid")
    for x in (128, 152):
        draw.path([(left + x, 118), (left + x, 140)], "thin")
    draw.ellipse((left + 140 + bubble, 129), 10, 6, "paper")
    draw.circle((left + 75, 131), 5, "" if turned else "fill")
    draw.circle((left + 205, 131), 5, "fill" if turned else "")
    draw.path([(left + 30, 166), (left + 20, 190), (left + 40, 190)], "wood", True)
    draw.path([(left + 250, 166), (left + 240, 190), (left + 260, 190)], "wood", True)


def rod_and_plumb_line(draw: Surface, left: float) -> None:
    """The rod seen against a plumb line."""
    draw.box(left, 220, 170, 12, "wood")
    draw.path([(left + 90, 220), (left + 90, 90)], "good")
    draw.path([(left + 60, 50), (left + 60, 205)], "thin")
    draw.circle((left + 60, 211), 6, "fill")


def foot_under_tip(draw: Surface) -> None:
    """The board with its rod, the capped tip, and the foot plumb under it."""
    draw.path([(440, 235), (520, 190), (620, 215), (540, 262)], "wood", True)
    draw.path([(530, 222), (530, 90)], "good")
    draw.circle((530, 90), 5, "paper")
    draw.path([(545, 84), (545, 219)], "dash")
    draw.circle((545, 224), 4, "fill")


def soft_shadow(draw: Surface) -> None:
    """The end of a shadow, its edge soft, a cross in the middle of the edge."""
    draw.path([(370, 130), (500, 130), (500, 160), (370, 160)], "dark", True)
    for step in range(10):
        draw.grey(500 + 8 * step, 130, 8.5, 30, 91 + 16 * step)
    cross(draw, 540, 145, 4)


def line_to_far_point(draw: Surface) -> None:
    """Eye, rod, pin and far mark in one line, drawn on the board."""
    draw.path([(60, 260), (230, 190), (330, 230), (160, 305)], "wood", True)
    draw.circle((195, 245), 4, "fill")
    draw.path([(195, 245), (195, 150)], "good")
    draw.circle((280, 217), 3, "fill")
    draw.path([(280, 217), (280, 170)], "thin")
    draw.path([(195, 245), (280, 217)], "")
    draw.path([(280, 217), (560, 125)], "dash")
    draw.path([(560, 125), (560, 85)], "")
    draw.path([(545, 95), (560, 65), (575, 95)], "", True)
    draw.ellipse((96, 278), 9, 6, "")
    draw.circle((96, 278), 2.5, "fill")
    draw.path([(106, 275), (190, 247)], "thin")


def _both_ways(draw: Surface) -> None:
    level_on_board(draw, 20, 12, turned=False)
    level_on_board(draw, 320, 12, turned=True)


def _two_sides(draw: Surface) -> None:
    rod_and_plumb_line(draw, 20)
    rod_and_plumb_line(draw, 230)


def _height(draw: Surface) -> None:
    foot_under_tip(draw)
    measure(draw, (500, 90), (500, 224))
    draw.path([(490, 90), (522, 90)], "thin")


def _watch(draw: Surface) -> None:
    draw.circle((160, 160), 60, "paper")
    for x, y in ((160, 108), (212, 160), (160, 212), (108, 160)):
        draw.circle((x, y), 3, "fill")
    draw.path([(160, 160), (160, 120)])
    draw.path([(160, 160), (188, 176)])
    draw.box(330, 130, 110, 70, "paper")
    draw.circle((365, 165), 20)
    draw.path([(400, 150), (428, 150)])
    draw.path([(400, 165), (428, 165)])
    draw.path([(425, 130), (450, 90)])
    measure(draw, (232, 165), (318, 165))


def _number(draw: Surface) -> None:
    cross(draw, 190, 150, 22)
    draw.words(270, 162, "7", "n")
    measure(draw, (190, 200), (275, 200))
    draw.words(232, 238, "5 mm", "", "middle")


def _from_above(draw: Surface) -> None:
    draw.path([(120, 260), (230, 205), (430, 205), (540, 260)], "paper", True)
    for x, y in ((152, 253), (243, 211), (409, 211), (494, 253)):
        draw.path([(x, y), (x + 8, y - 5), (x + 24, y - 5), (x + 16, y)], "fill", True)
    draw.path([(290, 90), (365, 90), (365, 104), (290, 104)], "dark", True)
    draw.path([(300, 106), (120, 258)], "dash")
    draw.path([(355, 106), (540, 258)], "dash")
    cross(draw, 300, 232, 5)
    cross(draw, 370, 236, 5)


#: What each picture shows: its drawing, and the part of it seen (left, top, width, height).
Picture = tuple[Callable[[Surface], None], tuple[float, float, float, float]]
LEVEL: Picture = (_both_ways, (15, 62, 590, 180))
PLUMB: Picture = (_two_sides, (10, 42, 400, 196))
HEIGHT: Picture = (_height, (390, 78, 280, 190))
WATCH: Picture = (_watch, (80, 80, 400, 155))
EDGE: Picture = (soft_shadow, (365, 95, 225, 100))
NUMBER: Picture = (_number, (60, 115, 340, 140))
FAR_POINT: Picture = (line_to_far_point, (50, 60, 535, 250))
FROM_ABOVE: Picture = (_from_above, (110, 84, 440, 182))


#: Line width in points, colour, area, dashes: lines tell the parts apart in grey print, too.
_STYLES: dict[str, tuple[float, str, str | None, str]] = {
    "": (0.7, INK, None, "-"),
    "thin": (0.4, SOFT, None, "-"),
    "dash": (0.4, SOFT, None, "--"),
    "good": (1.4, INK, None, "-"),
    "fill": (0.4, INK, INK, "-"),
    "dark": (0.0, INK, "#5b5b5b", "-"),
    "wood": (0.6, INK, "#ececec", "-"),
    "paper": (0.6, INK, "#ffffff", "-"),
    "liquid": (0.4, SOFT, "#dddddd", "-"),
}
_TURN = np.linspace(0.0, 2.0 * np.pi, 37)


class Panel:
    """A picture in a window of a page, as large as fits, in its middle."""

    def __init__(self, page: Page, window: Window, picture: Picture) -> None:
        make, (left, top, width, height) = picture
        self.page = page
        self.scale = min(window.width_mm / width, window.height_mm / height)
        self.left = window.left_mm + (window.width_mm - self.scale * width) / 2 - self.scale * left
        self.top = window.top_mm - (window.height_mm - self.scale * height) / 2 + self.scale * top
        make(self)

    def path(self, points: Sequence[Point], style: str = "", closed: bool = False) -> None:
        at = np.array([*points, points[0]] if closed else points, dtype=float)
        x, y = self.left + self.scale * at[:, 0], self.top - self.scale * at[:, 1]
        wide, colour, area, dashes = _STYLES[style]
        if area is not None and len(at) > 2:
            self.page.area(x, y, area)
        if wide:
            self.page.line(x, y, wide, colour, dashes)

    def circle(self, at: Point, radius: float, style: str = "") -> None:
        self.ellipse(at, radius, radius, style)

    def ellipse(self, at: Point, rx: float, ry: float, style: str = "") -> None:
        x, y = at[0] + rx * np.cos(_TURN), at[1] + ry * np.sin(_TURN)
        self.path(list(zip(x, y, strict=True)), style)

    def box(self, left: float, top: float, width: float, height: float, style: str = "") -> None:
        right, low = left + width, top + height
        self.path([(left, top), (right, top), (right, low), (left, low)], style, True)

    def grey(self, left: float, top: float, width: float, height: float, level: int) -> None:
        right, low = left + width, top + height
        corners = np.array([(left, top), (right, top), (right, low), (left, low)])
        x, y = self.left + self.scale * corners[:, 0], self.top - self.scale * corners[:, 1]
        self.page.area(x, y, f"#{level:02x}{level:02x}{level:02x}")

    def words(self, x: float, y: float, text: str, style: str = "", anchor: str = "start") -> None:
        across = {"start": "left", "middle": "center", "end": "right"}[anchor]
        at = self.left + self.scale * x, self.top - self.scale * y
        self.page.text(*at, text, READ_PT, bold=style == "n", across=across)
