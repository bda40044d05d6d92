"""The three norths of a place as a diagram: true, grid and magnetic."""

from __future__ import annotations

from math import cos, radians, sin

import pandas as pd
from markupsafe import Markup

from orient.report.drawing import WIDTH, Drawing, Point, nice_below
from orient.text import figure

#: Angles whose largest is smaller than the first are opened to about the second, degrees.
_SMALL_DEG, _OPENED_DEG = 12.0, 24.0
_LENGTHS = {"true": 150.0, "grid": 122.0, "magnetic": 96.0}
#: A line whose end lies nearer to true north than this has its name beyond true north.
_CLEAR = 20.0
_SIGNS = {"true": "TN", "grid": "GN", "magnetic": "MN"}


def norths_diagram(place: pd.Series) -> tuple[Markup, str]:
    """Draw the norths of a row of `site.describe`, true north up.

    Returns:
        The drawing, and a sentence that says whether it is in true proportion.
    """
    azimuths = {
        "true": 0.0,
        "grid": float(place["convergence_deg"]),
        "magnetic": float(place["declination_deg"]),
    }
    azimuths = {name: angle for name, angle in azimuths.items() if angle == angle}
    largest = max(max(azimuths.values()) - min(azimuths.values()), 1e-6)
    opened = 1.0
    if largest < _SMALL_DEG:
        opened = max(1.0, min(nice_below(_OPENED_DEG / largest), 1000.0))
    drawn = {name: angle * opened for name, angle in azimuths.items()}
    ends = {name: _toward(angle, _LENGTHS[name]) for name, angle in drawn.items()}
    top = min(y for _, y in ends.values()) - 26.0
    bottom = max(12.0, max(y for _, y in ends.values()) + 26.0)
    foot = (WIDTH / 2, -top)
    drawing = Drawing(_label(azimuths), WIDTH, bottom - top)
    for name, (x, y) in ends.items():
        tip = (foot[0] + x, foot[1] + y)
        if name == "true":
            drawing.line(foot, tip, "true-north")
        else:
            drawing.arrow(foot, tip, f"{name}-north", 10.0)
    for name, angle in drawn.items():
        _name(drawing, foot, ends[name], name, azimuths[name], _side(name, angle, drawn))
    drawing.dot(foot, 3.0, "mark")
    if opened == 1.0:
        return drawing.markup(), "Angles as they are."
    return drawing.markup(), f"Not to scale: angles drawn {opened:g} times as wide as they are."


def _label(azimuths: dict[str, float]) -> str:
    parts = [
        f"{name} north {figure(angle, 2, plus=True)} degrees"
        for name, angle in azimuths.items()
        if name != "true"
    ]
    return "The norths, counted from true north, east plus: " + "; ".join(parts) + "."


def _side(name: str, angle: float, drawn: dict[str, float]) -> int:
    """−1 to write left of a line, +1 right: outward, or across true north where there is room."""
    others = [other for key, other in drawn.items() if key != name]
    if all(angle <= other for other in others):
        return -1
    if all(angle >= other for other in others):
        return 1
    return 1 if min(others) < 0.0 else -1


def _name(drawing: Drawing, foot: Point, end: Point, name: str, angle: float, side: int) -> None:
    x, y = foot[0] + end[0], foot[1] + end[1]
    if name == "true":
        drawing.text((x, y - 8.0), f"★ {_SIGNS[name]}", "letter", "middle")
        return
    text = f"{_SIGNS[name]} {figure(angle, 2, '°', plus=True)}"
    # Clear of the line itself, and of true north where the name stands beyond it.
    beyond = max(x, foot[0]) if side > 0 else min(x, foot[0])
    beside = x if abs(end[0]) > _CLEAR else beyond
    at = (min(max(beside + 8.0 * side, 4.0), WIDTH - 4.0), y + 10.0)
    drawing.text(at, text, f"{name}-name", "end" if side < 0 else "start")


def _toward(angle_deg: float, length: float) -> Point:
    return length * sin(radians(angle_deg)), -length * cos(radians(angle_deg))
