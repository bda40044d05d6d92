"""The plots of a report: methods side by side, the error budget, the sun's day."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from markupsafe import Markup
from numpy.typing import NDArray

from orient.numbers.angles import wrap_180, wrap_360
from orient.numbers.light import Light, Places, light_altitude_deg, light_at_board
from orient.numbers.tolerances import COVERAGE_95
from orient.observation.setups import SetupResult
from orient.report.board_drawing import full_hours
from orient.report.drawing import (
    ENDS,
    WIDTH,
    Drawing,
    Frame,
    bottom_axis,
    edge,
    left_axis,
    nice,
    plain,
    text_width,
    ticks,
)
from orient.tables import clock
from orient.text import figure

Array = NDArray[np.float64]

METHOD_NAMES = {
    "pairs": "equal-altitude pairs",
    "shortest": "shortest shadow",
    "timed": "timed marks",
    "adjustment": "adjustment",
}
TERM_NAMES = {
    "marking": "marking the tips",
    "level": "level of the board",
    "foot": "finding the foot",
    "height": "height of the rod",
    "watch": "watch",
    "edge": "edge of the shadow",
    "deflection": "deflection unknown",
    "reference": "reference's angle",
    "line": "line drawn here",
    "shared": "what is shared",
    "place": "the place, and what is shared",
}
#: Room for the names of most budgets, so that their bars begin alike.
_NAMES_WIDTH = max(text_width(TERM_NAMES[name], 11.0) for name in TERM_NAMES if name != "place")
_ROW = 32.0
#: Intervals this many times the narrowest run off the plot, which keeps the others legible.
_WIDEST_PLOTTED = 12.0
_LARGEST_IN_MINUTES_DEG = 2.0
_UNIT_WORDS = {"′": "minutes of arc", "°": "degrees"}


def method_plot(result: SetupResult) -> Markup | None:
    """Each method's azimuth less the adopted one, with its 95 % interval; None with none."""
    row = result.row
    methods, adopted = row["methods"], row["board_azimuth_deg"]
    if adopted is None or not any(methods.values()):
        return None
    found = [
        (
            name,
            float(wrap_180(methods[name]["board_azimuth_deg"] - adopted)),
            COVERAGE_95 * float(methods[name]["board_azimuth_u_deg"]),
        )
        for name in METHOD_NAMES
        if methods[name]
    ]
    widest = max(abs(off) + u95 for _, off, u95 in found)
    reach = 1.03 * min(widest, _WIDEST_PLOTTED * min(u95 for *_, u95 in found) + 1e-9)
    per, unit = (60.0, "′") if reach < _LARGEST_IN_MINUTES_DEG else (1.0, "°")
    end = nice(reach * per, ENDS)
    # Room at the sides for half of a figure such as −100.
    frame = Frame(17.0, 6.0, WIDTH - 34.0, _ROW * len(found), (-end, end), (0, 1))
    drawing = Drawing(_methods_label(row, found), WIDTH, frame.bottom + 32.0)
    with drawing.same():
        bottom_axis(
            drawing,
            frame,
            [(v, plain(v)) for v in ticks(*frame.x_range)],
            f"board azimuth less the adopted one, {_UNIT_WORDS[unit]}",
        )
        drawing.line((frame.x(0.0), frame.top), (frame.x(0.0), frame.bottom), "zero")
        edge(drawing, frame)
    with drawing.same():
        for number, (name, *_) in enumerate(found):
            words = f"{METHOD_NAMES[name]}, {methods[name]['n']}"
            drawing.text((frame.left + 3, frame.top + _ROW * number + 13), words, "row")
    for number, (name, off, u95) in enumerate(found):
        top = frame.top + _ROW * number
        value = figure(off * per, 1, unit, plus=True) if name != row["method"] else "adopted"
        spread = f"± {figure(u95 * per, 1, unit)}"
        drawing.text((frame.right - 3, top + 13), f"{value}  {spread}", "row", "end")
        _interval(drawing, frame, off * per, u95 * per, top + 23.0, _style(name, row))
    for number, (name, off, _) in enumerate(found):
        if frame.x_range[0] <= off * per <= frame.x_range[1]:
            place = (frame.x(off * per), frame.top + _ROW * number + 23.0)
            drawing.dot(place, 4.0, f"{_style(name, row)}-dot")
    return drawing.markup()


def _style(method: str, row: dict[str, Any]) -> str:
    return "adopted" if method == row["method"] else "method"


def _methods_label(row: dict[str, Any], found: Sequence[tuple[str, float, float]]) -> str:
    parts = [
        f"{METHOD_NAMES[name]} {figure(off, 3)} ± {figure(u95, 3)} degrees"
        for name, off, u95 in found
    ]
    return f"Methods compared, each less the adopted {METHOD_NAMES[row['method']]}: " + "; ".join(
        parts
    )


def _interval(
    drawing: Drawing, frame: Frame, middle: float, half: float, y: float, style: str
) -> None:
    """A value with its interval; an arrow head where it runs off the frame."""
    for sign in (-1.0, 1.0):
        limit = frame.x_range[0 if sign < 0 else 1]
        reach, start = middle + sign * half, max(min(middle, frame.x_range[1]), frame.x_range[0])
        beyond = sign * (reach - limit) > 0
        end = frame.x(limit if beyond else reach)
        if beyond:
            drawing.arrow((frame.x(start), y), (end, y), style)
        else:
            drawing.line((frame.x(start), y), (end, y), style)
            drawing.line((end, y - 4), (end, y + 4), style)


class Term(NamedTuple):
    """A part of an azimuth's uncertainty, standard uncertainty in degrees."""

    name: str
    u_deg: float


def budget_terms(result: SetupResult) -> list[Term]:
    """What the azimuth's uncertainty is made of, the largest first; [] where there is none.

    The squares of the terms add up to that of the reference's azimuth, or, without a
    reference or with one that other set-ups bear on too, of the board's.
    """
    row = result.row
    if result.reduced is None or row["board_azimuth_u_deg"] is None:
        return []
    terms = [
        Term(name, float(np.degrees(value))) for name, value in result.reduced.fit.terms.items()
    ]
    left = row["board_azimuth_u_deg"] ** 2 - result.reduced.board_azimuth_u_deg**2
    if left > 1e-12:
        terms.append(Term("deflection", float(np.sqrt(left))))
    if row["reference_azimuth_u_deg"] is not None and row["combined_setups"] is None:
        terms.append(Term("reference", float(result.setup["reference_sd_deg"])))
    return sorted((term for term in terms if term.u_deg > 0), key=lambda term: -term.u_deg)


def budget_plot(terms: Sequence[Term]) -> Markup:
    """The terms as bars, 95 %, in minutes of arc or in degrees."""
    total = float(np.sqrt(sum(term.u_deg**2 for term in terms)))
    largest = COVERAGE_95 * total
    per, unit, places = (60.0, "′", 1) if largest < _LARGEST_IN_MINUTES_DEG else (1.0, "°", 2)
    rows = [(TERM_NAMES[term.name], term.u_deg) for term in terms] + [("all together", total)]
    left = 7.0 + max(_NAMES_WIDTH, *(text_width(name, 11.0) for name, _ in rows))
    width = WIDTH - left - 62.0
    span = (0.0, nice(largest * per, ENDS))
    frame = Frame(left, 6.0, width, 22.0 * len(rows), span, (0.0, 1.0))
    words = "; ".join(f"{name} {figure(COVERAGE_95 * u * per, places, unit)}" for name, u in rows)
    drawing = Drawing(f"Error budget, 95 per cent: {words}", WIDTH, frame.bottom + 32.0)
    with drawing.same():
        marks = [(v, plain(v)) for v in ticks(*frame.x_range, 5)]
        bottom_axis(drawing, frame, marks, f"part of the uncertainty, 95 %, {_UNIT_WORDS[unit]}")
        edge(drawing, frame)
    with drawing.same():
        for number, (name, _) in enumerate(rows):
            drawing.text((frame.left - 5, frame.top + 22.0 * number + 15), name, "row", "end")
    for number, (name, u) in enumerate(rows):
        top, value = frame.top + 22.0 * number, COVERAGE_95 * u * per
        end = (max(frame.x(value), frame.left + 0.5), top + 11)
        style = "bar" if name != "all together" else "sum"
        drawing.line((frame.left, top + 11), end, style)
        drawing.text((frame.right + 5, top + 15), figure(value, places, unit), "row")
    return drawing.markup()


# The sun's day --------------------------------------------------------------------------


class SunDay(NamedTuple):
    """The sun over one site on one day: arrays of shape (n,), a minute apart, and windows."""

    utc_s: Array
    altitude_deg: Array
    azimuth_deg: Array
    noon_utc_s: float
    timezone: str
    windows: list[tuple[float, float]]
    max_altitude_deg: float

    def spans(self, chosen: NDArray[np.bool_]) -> list[tuple[float, float]]:
        """First and last instants of the runs of chosen minutes."""
        edges = np.flatnonzero(np.diff(np.r_[False, chosen, False].astype(np.int8)))
        return [
            (float(self.utc_s[first]), float(self.utc_s[last - 1]))
            for first, last in zip(edges[::2], edges[1::2], strict=True)
        ]

    @property
    def too_high(self) -> list[tuple[float, float]]:
        """When the sun stands above the limit, to the minute."""
        return self.spans(self.altitude_deg > self.max_altitude_deg)


def sun_day(
    site: pd.Series, place: pd.Series, planned: pd.Series, max_altitude_deg: float
) -> SunDay:
    """The sun of one site-day.

    Args:
        site: row of the sites table.
        place: row of `site.describe` for it and the date.
        planned: row of `planning.hours.plan_chunk` for the same.
        max_altitude_deg: above this it is too high for good marks.
    """
    noon_s = float(place["noon_utc_s"])
    instants = noon_s + np.arange(-720.0, 721.0) * 60.0
    altitude, azimuth = _seen(light_at_board(instants, Places(*_place_values(site))))
    windows = [
        (float(planned[f"{side}_from_utc_s"]), float(planned[f"{side}_to_utc_s"]))
        for side in ("morning", "afternoon")
        if np.isfinite(planned[f"{side}_from_utc_s"])
    ]
    return SunDay(
        instants, altitude, azimuth, noon_s, str(site["timezone"]), windows, max_altitude_deg
    )


def _place_values(site: pd.Series) -> list[float]:
    return [float(site[name]) for name in Places._fields]


def _seen(light: Light) -> tuple[Array, Array]:
    """Apparent altitude and azimuth, degrees."""
    return light_altitude_deg(light), wrap_360(np.degrees(np.arctan2(light[0], light[1])))


def day_plot(day: SunDay, label: str, marked_utc_s: Sequence[float] = ()) -> Markup | None:
    """Altitude and azimuth of the sun through the day; None where it does not rise.

    Args:
        day: the sun.
        label: what the drawing is of, for screen readers.
        marked_utc_s: instants of the marks made that day, drawn on the altitude.
    """
    up = day.altitude_deg > -1.0
    if not (day.altitude_deg > 0).any():
        return None
    hours = _hours(day, float(day.utc_s[up][0]), float(day.utc_s[up][-1]))
    span = (hours[0][0], hours[-1][0])
    top = 90.0 if day.altitude_deg.max() > 55 else 60.0 if day.altitude_deg.max() > 25 else 30.0
    altitude = Frame(44.0, 20.0, WIDTH - 54.0, 150.0, span, (0.0, top))
    azimuth = Frame(44.0, 212.0, WIDTH - 54.0, 84.0, span, (0.0, 360.0))
    drawing = Drawing(label, WIDTH, azimuth.bottom + 32.0)
    for frame in (altitude, azimuth):
        _shade(drawing, frame, day)
    with drawing.same():
        _axes(drawing, altitude, azimuth, hours, day)
    for frame, values in ((altitude, day.altitude_deg), (azimuth, _unbroken(day.azimuth_deg, up))):
        for run in frame.runs(np.column_stack([day.utc_s, values])):
            drawing.curve(run, "sun")
    for instant, height in zip(
        marked_utc_s, np.interp(marked_utc_s, day.utc_s, day.altitude_deg), strict=True
    ):
        if altitude.holds(instant, float(height)):
            drawing.spot(altitude.at(instant, float(height)), "spot")
    for frame in (altitude, azimuth):
        x = frame.x(day.noon_utc_s)
        drawing.line((x, frame.top), (x, frame.bottom), "zero")
    return drawing.markup()


def _axes(
    drawing: Drawing,
    altitude: Frame,
    azimuth: Frame,
    hours: Sequence[tuple[float, str]],
    day: SunDay,
) -> None:
    """What the plots of many days have in common."""
    every = 1 if len(hours) <= 13 else 2 if len(hours) <= 19 else 3
    shown = [(instant, name) for instant, name in hours if int(name) % every == 0]
    top = altitude.y_range[1]
    bottom_axis(drawing, altitude, shown, "")
    heights = np.arange(0.0, top + 1.0, top / 3.0).tolist()
    left_axis(drawing, altitude, [(v, plain(v)) for v in heights], "altitude of the sun, °")
    bottom_axis(drawing, azimuth, shown, f"local time, hours ({day.timezone})")
    quarters = [(90.0 * n, f"{name} {90 * n}") for n, name in enumerate("NESWN")]
    left_axis(drawing, azimuth, quarters, "azimuth of the sun, °")
    if day.altitude_deg.max() > day.max_altitude_deg:
        y = altitude.y(day.max_altitude_deg)
        drawing.line((altitude.left, y), (altitude.right, y), "limit")
        drawing.text(
            (altitude.left + 4, y - 4), f"too high above {day.max_altitude_deg:g}°", "note"
        )
    for frame in (altitude, azimuth):
        edge(drawing, frame)


def _hours(day: SunDay, first_s: float, last_s: float) -> list[tuple[float, str]]:
    """Full hours of local time from before the first instant to after the last one."""
    instants = full_hours(day.noon_utc_s, day.timezone)
    instants = np.r_[instants[0] - 3600.0, instants, instants[-1] + 3600.0]
    names = clock.local_clock(instants, day.timezone).tolist()
    inside = (instants > first_s - 3600.0) & (instants < last_s + 3600.0)
    return [
        (instant, name[:2])
        for instant, name, shown in zip(instants.tolist(), names, inside.tolist(), strict=True)
        if shown
    ]


def _shade(drawing: Drawing, frame: Frame, day: SunDay) -> None:
    for start, stop in day.windows:
        left, right = (
            frame.x(min(max(instant, frame.x_range[0]), frame.x_range[1]))
            for instant in (start, stop)
        )
        drawing.box(left, frame.top, max(right - left, 1.0), frame.height, "good")


def _unbroken(azimuth_deg: Array, up: NDArray[np.bool_]) -> Array:
    """Azimuths by day, with a gap where they pass through north."""
    jump = np.abs(np.diff(azimuth_deg, append=azimuth_deg[-1])) > 180.0
    return np.where(up & ~jump, azimuth_deg, np.nan)
