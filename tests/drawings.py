"""The drawn how-tos of the docs: python tests/drawings.py writes docs/pictures/how-*.svg."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from math import cos, radians, sin
from pathlib import Path

from orient.sheet.pictures import (
    Point,
    arrow,
    cross,
    foot_under_tip,
    level_on_board,
    line_to_far_point,
    measure,
    rod_and_plumb_line,
    soft_shadow,
)

FOLDER = Path(__file__).parents[1] / "docs" / "pictures"

_STYLE = (
    "text{font:13px sans-serif;fill:#1b1b1b}.s{font-size:11px;fill:#444}.n{font-weight:bold}"
    "path,circle,ellipse,rect{fill:none;stroke:#1b1b1b;stroke-width:1.6}"
    ".thin{stroke-width:.9;stroke:#555}.dash{stroke-dasharray:5 4;stroke-width:1}"
    ".sun{stroke:#a65a00;stroke-width:1.2}.wood{fill:#f1e6d2}.dark{fill:#5b6470;stroke:none}"
    ".half{fill:#b7bec8;stroke:none}.fill{fill:#1b1b1b}.good{stroke:#0b6e4f;stroke-width:2}"
    ".liquid{fill:#cfe8d8}.paper{fill:#fff}"
)


class Drawing:
    """Shapes and words on white."""

    def __init__(self, title: str, width: int = 640, height: int = 300) -> None:
        self.title, self.width, self.height = title, width, height
        self.parts: list[str] = []

    def path(self, points: Sequence[Point], style: str = "", closed: bool = False) -> None:
        data = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "Z" * closed
        self.parts.append(f'<path class="{style}" d="{data}"/>')

    def circle(self, at: Point, radius: float, style: str = "") -> None:
        self.parts.append(
            f'<circle class="{style}" cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius}"/>'
        )

    def ellipse(self, at: Point, rx: float, ry: float, style: str = "") -> None:
        self.parts.append(
            f'<ellipse class="{style}" cx="{at[0]}" cy="{at[1]}" rx="{rx}" ry="{ry}"/>'
        )

    def box(self, left: float, top: float, width: float, height: float, style: str = "") -> None:
        self.parts.append(
            f'<rect class="{style}" x="{left}" y="{top}" width="{width}" height="{height}"/>'
        )

    def grey(self, left: float, top: float, width: float, height: float, level: int) -> None:
        self.parts.append(
            f'<rect x="{left}" y="{top}" width="{width}" height="{height}" '
            f'style="fill:rgb({level},{level + 4},{level + 8});stroke:none"/>'
        )

    def words(self, x: float, y: float, text: str, style: str = "", anchor: str = "start") -> None:
        self.parts.append(
            f'<text class="{style}" x="{x}" y="{y}" text-anchor="{anchor}">{escape(text)}</text>'
        )

    def step(self, x: float, number: int, text: str) -> None:
        self.words(x, 26, f"{number}. {text}", "n")

    def svg(self) -> str:
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" '
            f'role="img"><title>{escape(self.title)}</title><style>{_STYLE}</style>'
            f'<rect width="{self.width}" height="{self.height}" style="fill:#fff;stroke:none"/>'
            + "\n".join(self.parts)
            + "</svg>\n"
        )


def levelling() -> Drawing:
    """The level laid twice, end for end."""
    draw = Drawing("Level the board end for end")
    for left, number, text, bubble, turned in (
        (20, 1, "Lay the level, read the bubble", 12, False),
        (340, 2, "Turn it end for end, read again", 12, True),
    ):
        draw.step(left, number, text)
        level_on_board(draw, left, bubble, turned)
    draw.words(20, 222, "Same side of the vial both times: the board slopes. Raise its low side.")
    draw.words(
        20, 242, "Same end of the level both times: the level is out. Set the bubble half-way"
    )
    draw.words(20, 260, "between its two places.")
    draw.words(20, 286, "Then the same across the board. Check again when the day is over.", "s")
    return draw


def plumbing() -> Drawing:
    """The rod sighted against a plumb line from two sides."""
    draw = Drawing("Plumb the rod from two sides")
    draw.step(20, 1, "From the south side")
    draw.step(230, 2, "From the east side")
    draw.step(440, 3, "Mark the foot")
    for left in (20, 230):
        rod_and_plumb_line(draw, left)
        draw.words(left + 54, 45, "plumb line", "s", "middle")
        draw.words(left + 98, 130, "rod", "s")
        draw.words(left, 256, "Rod and line are parallel.", "s")
    foot_under_tip(draw)
    draw.words(552, 95, "capped tip", "s")
    draw.words(553, 228, "foot", "n")
    draw.words(440, 284, "The point plumb under the tip,", "s")
    draw.words(440, 297, "not where the rod stands.", "s")
    return draw


def soft_edge() -> Drawing:
    """Where to mark in the soft edge of the shadow."""
    draw = Drawing("Mark the middle of the soft edge")
    draw.step(20, 1, "The sun is a disc: the edge is soft")
    draw.circle((60, 70), 8, "sun")
    # The rays of the upper and the lower limb, through the rod's tip.
    for start, end in (((64.3, 63.2), (279, 220)), ((55.7, 76.8), (321, 220))):
        draw.path([start, end], "sun dash")
    draw.path([(160, 220), (160, 133)], "good")
    draw.box(30, 220, 310, 10, "wood")
    measure(draw, (279, 244), (321, 244))
    draw.words(300, 262, "soft edge", "s", "middle")
    draw.words(30, 282, "300 mm rod, sun 45° high: about 6 mm", "s")
    draw.step(380, 2, "Mark its middle, every time")
    soft_shadow(draw)
    draw.path([(500, 120), (500, 170)], "thin")
    draw.words(500, 112, "end of full shadow", "s", "middle")
    draw.words(500, 97, "dark", "n", "middle")
    arrow(draw, (540, 205), (540, 156))
    draw.words(540, 221, "middle", "n", "middle")
    draw.words(360, 262, "Write dark in the column edge if you mark", "s")
    draw.words(360, 277, "the end of full shadow. Watch the shadow, never the sun.", "s")
    return draw


def measuring() -> Drawing:
    """x and y of a mark from the foot."""
    draw = Drawing("Measure x and y from the foot", 640, 330)
    draw.box(40, 30, 330, 270, "paper")
    foot = (180.0, 200.0)
    draw.path([(60, foot[1]), (350, foot[1])], "thin")
    arrow(draw, foot, (350, foot[1]))
    arrow(draw, foot, (foot[0], 50))
    draw.path([(foot[0], 285), foot], "thin")
    draw.circle(foot, 4, "fill")
    draw.words(foot[0] - 8, foot[1] + 18, "foot", "n", "end")
    draw.words(345, foot[1] + 18, "+x, right", "", "end")
    draw.words(foot[0] - 8, 56, "+y, up the sheet", "", "end")
    for x, y, name in ((290.0, 110.0, "1"), (110.0, 250.0, "2")):
        cross(draw, x, y, 5)
        draw.words(x + 8, y - 6, name, "n")
    draw.path([(290, 110), (290, 200)], "dash")
    draw.path([(290, 110), (180, 110)], "dash")
    draw.words(235, 103, "x", "n", "middle")
    draw.words(297, 160, "y", "n")
    draw.words(400, 70, "mark 1: x plus, y plus")
    draw.words(400, 92, "mark 2: x minus, y minus")
    draw.words(400, 130, "Measure from the foot,", "s")
    draw.words(400, 146, "not from the sheet's corner.", "s")
    draw.words(400, 172, "Millimetres, to the half.", "s")
    draw.words(400, 198, "Set the square on the +y line;", "s")
    draw.words(400, 214, "look straight down on the ruler.", "s")
    draw.words(400, 240, "+y may point anywhere: its", "s")
    draw.words(400, 256, "azimuth is what you want to know.", "s")
    return draw


def sighting() -> Drawing:
    """A reference line drawn from the foot toward a far point."""
    draw = Drawing("Sight a line from the foot", 640, 320)
    line_to_far_point(draw)
    draw.words(150, 252, "foot", "n")
    draw.words(288, 180, "pin", "s")
    draw.words(560, 55, "far mark, 100 m or more", "s", "middle")
    draw.words(40, 302, "eye", "n")
    draw.words(20, 30, "1. Stand behind the rod, away from the sun.", "n")
    draw.words(20, 52, "2. Move a pin until rod, pin and far mark are in one line.", "n")
    draw.words(20, 74, "3. Draw the line from the foot through the pin;", "n")
    draw.words(20, 94, "   measure x and y of a point on it, far from the foot.", "n")
    draw.words(360, 270, "Never choose a mark toward the sun.", "s")
    draw.words(360, 286, "Draw it again when the day is over: a board", "s")
    draw.words(360, 302, "that has moved shows itself.", "s")
    return draw


def setting_out() -> Drawing:
    """The meridian set out from a reference line by tape."""
    draw = Drawing("Set out true north by tape", 640, 340)
    station = (180.0, 290.0)
    line_deg, north_deg, reach = 62.0, 22.0, 200.0

    def at(bearing_deg: float, length: float) -> Point:
        return (
            station[0] + length * sin(radians(bearing_deg)),
            station[1] - length * cos(radians(bearing_deg)),
        )

    peg = at(line_deg, reach)
    north = at(north_deg, reach)
    draw.path([station, at(line_deg, 270)], "")
    arrow(draw, station, at(north_deg, 275), "good")
    draw.path([peg, north], "dash")
    for place in (station, peg, north):
        draw.circle(place, 5, "fill")
    draw.words(station[0] - 14, station[1] + 22, "station", "n", "end")
    draw.words(peg[0] + 12, peg[1] + 16, "A, on the line", "n")
    draw.words(north[0] - 14, north[1] + 4, "B", "n", "end")
    far = at(north_deg, 275)
    draw.words(far[0] - 12, far[1] + 16, "true north", "n", "end")
    middle = ((peg[0] + north[0]) / 2, (peg[1] + north[1]) / 2)
    draw.words(middle[0] + 6, middle[1] - 10, "chord c")
    draw.words(*(round(v) for v in (at(line_deg, 110)[0] + 10, at(line_deg, 110)[1] + 16)), "10 m")
    draw.words(at(north_deg, 110)[0] - 42, at(north_deg, 110)[1], "10 m")
    draw.words(400, 60, "1. Peg A, 10 m along your line.", "n")
    draw.words(400, 84, "2. Two tapes: 10 m from the", "n")
    draw.words(400, 102, "   station, c from A.", "n")
    draw.words(400, 126, "3. Where they meet, peg B.", "n")
    draw.words(410, 250, "The report gives c for your line", "s")
    draw.words(410, 266, "and the side to go to. Keep the tapes", "s")
    draw.words(410, 282, "level and stretched; measure again", "s")
    draw.words(410, 298, "from B to A as a check.", "s")
    return draw


DRAWINGS: dict[str, Callable[[], Drawing]] = {
    "how-levelling": levelling,
    "how-plumbing": plumbing,
    "how-soft-edge": soft_edge,
    "how-measuring": measuring,
    "how-sighting": sighting,
    "how-setting-out": setting_out,
}


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, make in DRAWINGS.items():
        (FOLDER / f"{name}.svg").write_text(make().svg(), "utf-8")
