"""The board drawn to scale as it lay before its crew: marks, track, north, reference line."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin
from typing import Any, NamedTuple

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from orient.flags import Flag
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.setups import SetupResult
from orient.report.drawing import (
    WIDTH,
    Drawing,
    Frame,
    Labels,
    Point,
    around,
    bottom_axis,
    edge,
    left_axis,
    nice_below,
    plain,
    ticks,
)
from orient.tables import clock
from orient.text import counted

Array = NDArray[np.float64]

_LEFT, _TOP, _RIGHT, _BOTTOM = 38.0, 18.0, 8.0, 34.0
_TALLEST = 430.0
#: The longest residual is drawn about so long, the wedge opened to about so many degrees.
_LONGEST_RESIDUAL, _OPEN_WEDGE_DEG = 34.0, 4.0
_BESIDE_DEG = 15.0
#: A chord over so many degrees cannot be told from the arc.
_ROUND_DEG = 5.0
_TRACK_STEP_S = 120.0


class BoardDrawing(NamedTuple):
    """The drawing and the sentences that belong under it."""

    svg: Markup
    legend: list[str]


@dataclass(frozen=True)
class _View:
    """What is in the picture, mm of the board frame, and how it is laid on the drawing."""

    frame: Frame
    ray_mm: float
    drawing_height: float
    outside: int

    @property
    def per_mm(self) -> float:
        low, high = self.frame.x_range
        return self.frame.width / (high - low)


def board_drawing(result: SetupResult) -> BoardDrawing | None:
    """Draw a reduced set-up to scale, +y of its board up the page; None without marks."""
    if result.reduced is None:
        return None
    view = _view(result)
    drawing = Drawing(_label(result), WIDTH, view.drawing_height)
    frame = view.frame
    bottom_axis(drawing, frame, [(v, plain(v)) for v in ticks(*frame.x_range, 8)], "x on board, mm")
    left_axis(
        drawing,
        frame,
        [(v, plain(v)) for v in ticks(*frame.y_range, max(3, int(8 * frame.height / frame.width)))],
        "y on board, mm",
    )
    labels = Labels((frame.left, frame.top, frame.right, frame.bottom))
    legend = _directions(drawing, view, result, labels)
    if result.reduced.determined:
        legend += _track(drawing, view, result, labels)
    legend += _marks(drawing, view, result, labels)
    drawing.cross(frame.at(0.0, 0.0), 6.0, "foot", upright=True)
    edge(drawing, frame)
    return BoardDrawing(drawing.markup(), legend)


def _label(result: SetupResult) -> str:
    assert result.reduced is not None
    row, fit = result.row, result.reduced.fit
    text = f"The board of set-up {row['setup']} to scale, {counted(fit.kept.size, 'mark')}"
    if not fit.kept.all():
        text += f", {int((~fit.kept).sum())} of them rejected"
    if row["north_on_board_deg"] is not None:
        text += f"; true north lies at board direction {row['north_on_board_deg']:.2f} degrees"
    return text + "."


def _view(result: SetupResult) -> _View:
    """Room for the foot, the marks and the directions; marks far astray are left outside."""
    assert result.reduced is not None
    board, fit = result.reduced.board, result.reduced.fit
    kept = fit.kept if fit.kept.any() else np.ones(board.count, dtype=bool)
    reach = float(board.length_mm[kept].max())
    points = _every_mark(result)
    inside = np.hypot(*points.T) <= 1.6 * reach
    shown = np.vstack([points[inside], [[0.0, 0.0]]])
    ray = _ray_mm(board.length_mm[kept], max(float(np.ptp(shown, axis=0).max()), 0.5 * reach))
    shown = np.vstack([shown, 1.12 * ray * np.array([[1, 1], [-1, -1]])])
    low, high = shown.min(axis=0), shown.max(axis=0)
    pad = 0.06 * float((high - low).max())
    low, high = low - pad, high + pad
    width, tall = WIDTH - _LEFT - _RIGHT, float(high[1] - low[1])
    height = width * tall / float(high[0] - low[0])
    if height > _TALLEST:
        height = _TALLEST
        more = (tall * width / height - float(high[0] - low[0])) / 2
        low[0], high[0] = low[0] - more, high[0] + more
    frame = Frame(
        _LEFT,
        _TOP,
        width,
        height,
        (float(low[0]), float(high[0])),
        (float(low[1]), float(high[1])),
    )
    return _View(frame, ray, _TOP + height + _BOTTOM, int((~inside).sum()))


def _ray_mm(length_mm: Array, extent_mm: float) -> float:
    """How long to draw the directions: short of the track where that leaves them legible."""
    short_of_track = 0.78 * float(length_mm.min())
    return short_of_track if short_of_track >= 0.16 * extent_mm else 0.3 * extent_mm


def _every_mark(result: SetupResult) -> Array:
    assert result.reduced is not None
    board = result.reduced.board
    used = np.stack([board.x_mm, board.y_mm], axis=-1)
    left_out = result.left_out[["x_mm", "y_mm"]].to_numpy(float)
    return np.vstack([used, left_out])


def _directions(drawing: Drawing, view: _View, result: SetupResult, labels: Labels) -> list[str]:
    """The meridian, the four directions, the reference line and the wedge about it."""
    north = result.row["north_on_board_deg"]
    if north is None:
        apart = Flag.SET_APART in result.row["flags"]
        why = "The other set-ups contradict this line" if apart else "These marks fix no direction"
        return [f"{why}: no north is drawn."]
    frame, ray = view.frame, view.ray_mm
    u95 = COVERAGE_95 * float(result.row["board_azimuth_u_deg"])
    magnified = 1.0 if u95 >= _OPEN_WEDGE_DEG / 2 else nice_below(_OPEN_WEDGE_DEG / u95)
    half = min(u95 * magnified, 90.0)
    fan = [
        _toward(north + half * part, 1.0) for part in np.linspace(-1.0, 1.0, 2 + int(half / 4.0))
    ]
    drawing.path(_laid(frame, ray, fan), "wedge", closed=True)
    longest = 2.0 * (abs(frame.x_range[1] - frame.x_range[0]) + frame.height / view.per_mm)
    ends = (_toward(north, -longest), _toward(north, longest))
    for run in frame.runs(ends):
        drawing.path(run, "meridian")
    for number, letter in enumerate("NESW"):
        end = _toward(north + 90.0 * number, ray)
        if letter == "N":
            drawing.arrow(frame.at(0.0, 0.0), frame.at(*end), "north", 11.0)
        else:
            drawing.line(frame.at(0.0, 0.0), frame.at(*end), "cardinal")
        place = frame.at(*_toward(north + 90.0 * number, 1.1 * ray))
        labels.keep(place, 9.0)
        drawing.text((place[0], place[1] + 5.0), letter, "letter", "middle")
    legend = [
        f"Dashed through the foot +: the meridian. Its wedge: ±{u95:.2f}° (95 %)"
        + (f", drawn {magnified:g} times as wide." if magnified > 1 else ", as wide as it is.")
    ]
    angle = result.setup["reference_angle_deg"]
    if np.isfinite(angle):
        # Beside one of the four directions it stays short of that one's letter.
        beside = abs((float(angle) - north + 45.0) % 90.0 - 45.0) < _BESIDE_DEG
        tip = frame.at(*_toward(float(angle), (0.6 if beside else 0.86) * ray))
        drawing.line(frame.at(0.0, 0.0), tip, "reference")
        drawing.dot(tip, 9.0, "reference-head")
        drawing.text((tip[0], tip[1] + 4.0), "R", "reference-letter", "middle")
        labels.keep(tip, 10.0)
        legend.append("R: toward the reference.")
    return legend


def _laid(frame: Frame, ray: float, fan: list[Point]) -> list[Point]:
    return [frame.at(0.0, 0.0), *(frame.at(x * ray, y * ray) for x, y in fan)]


def _toward(direction_deg: float, length: float) -> Point:
    return length * sin(radians(direction_deg)), length * cos(radians(direction_deg))


def _track(drawing: Drawing, view: _View, result: SetupResult, labels: Labels) -> list[str]:
    """The day's track as adjusted, with a tick at every full hour of local time."""
    assert result.reduced is not None
    board, fit = result.reduced.board, result.reduced.fit
    instants = board.noon_utc_s + np.arange(-43200.0, 43200.0 + 1.0, _TRACK_STEP_S)
    x, y = board.tips(instants, fit.state)
    for run in view.frame.runs(np.column_stack([x, y])):
        drawing.curve(run, "track")
    timezone = str(result.place["timezone"])
    hours = full_hours(board.noon_utc_s, timezone)
    x, y = board.tips(hours, fit.state)
    names = clock.local_clock(hours, timezone)
    for x_mm, y_mm, name in zip(x.tolist(), y.tolist(), names.tolist(), strict=True):
        if x_mm == x_mm and view.frame.holds(x_mm, y_mm):
            _hour(drawing, view.frame.at(x_mm, y_mm), view.frame.at(0.0, 0.0), name[:2], labels)
    return ["Curve: the tip's track as adjusted, a tick at every full hour of local time."]


def full_hours(noon_utc_s: float, timezone: str) -> Array:
    """The full hours of civil time in the day about noon, POSIX seconds, shape (24,)."""
    ahead = float(clock.offset_s(noon_utc_s, timezone))
    first = np.ceil((noon_utc_s - 43200.0 + ahead) / 3600.0) * 3600.0 - ahead
    return np.asarray(first + 3600.0 * np.arange(24))


def _hour(drawing: Drawing, at: Point, foot: Point, name: str, labels: Labels) -> None:
    away = np.array(at) - np.array(foot)
    away = away / max(float(np.hypot(*away)), 1e-6)
    start, end = np.array(at) - 5.0 * away, np.array(at) + 5.0 * away
    drawing.line((start[0], start[1]), (end[0], end[1]), "hour")
    places = [np.array(at) + side * away for side in (16.0, -16.0)]
    labels.put(drawing, [(float(x), float(y)) for x, y in places], f"{int(name)} h", "hour-name")


def _marks(drawing: Drawing, view: _View, result: SetupResult, labels: Labels) -> list[str]:
    """Marks, and their residuals drawn larger; rejected ones as crosses, left out as rings."""
    assert result.reduced is not None
    board, fit, frame = result.reduced.board, result.reduced.fit, view.frame
    factor = _residual_factor(fit.residual_mm[fit.kept], view.per_mm)
    names = result.marks["mark"].astype(str).tolist()
    places = list(zip(board.x_mm.tolist(), board.y_mm.tolist(), strict=True))
    for number, (x, y) in enumerate(places):
        if not frame.holds(x, y):
            continue
        at = frame.at(x, y)
        labels.keep(at, 3.0)
        if not fit.kept[number]:
            drawing.cross(at, 5.0, "rejected")
            continue
        if factor:
            dx, dy = (factor * float(part) for part in fit.residual_mm[number])
            drawing.line(at, frame.at(x + dx, y + dy), "residual")
    for x, y in result.left_out[["x_mm", "y_mm"]].to_numpy(float).tolist():
        if frame.holds(x, y):
            drawing.dot(frame.at(x, y), 3.5, "left-out")
    for number, (x, y) in enumerate(places):
        if frame.holds(x, y):
            at, name = frame.at(x, y), names[number]
            named = labels.put(drawing, around(at, 9.0), name[:4], "serial", 8.0)
            if not fit.kept[number]:
                continue
            if named and name == name[:4]:
                drawing.spot(at, "spot")
            else:
                drawing.dot(at, 2.4, "mark", f"mark {name}")
    return _mark_legend(fit.kept, len(result.left_out), view.outside, factor)


def _residual_factor(residual_mm: Array, per_mm: float) -> float:
    longest = float(np.hypot(*residual_mm.T).max()) if residual_mm.size else 0.0
    if not longest > 0.005:
        return 0.0
    return float(min(nice_below(_LONGEST_RESIDUAL / (longest * per_mm)), 1000.0))


def _mark_legend(kept: Any, left_out: int, outside: int, factor: float) -> list[str]:
    text = "Dots: the marks, numbered"
    if factor:
        text += f"; the lines from them are their residuals, {factor:g} times as long"
    legend = [text + "."]
    if not kept.all():
        legend.append("Crosses: rejected marks.")
    if left_out:
        legend.append("Rings: marks left out by the table.")
    if outside:
        legend.append(f"{outside} far-off mark{'s' * (outside > 1)} not in the picture.")
    return legend
