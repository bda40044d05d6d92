"""What the set-ups of a campaign share, and what that gained: pictures and a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from markupsafe import Markup

from orient.numbers.tolerances import COVERAGE_95
from orient.observation.joint import words
from orient.observation.joint.linear import WATCH
from orient.observation.joint.model import DAY_S
from orient.observation.joint.together import Known, Together
from orient.observation.setups import SetupResult
from orient.report.drawing import (
    WIDTH,
    Drawing,
    Frame,
    bottom_axis,
    edge,
    left_axis,
    plain,
    text_width,
    ticks,
)
from orient.text import figure

_MOST_ROWS = 60
_ROW = 18.0
_LARGEST_IN_MINUTES_DEG = 2.0
#: A watch beyond this is counted in minutes.
_SECONDS = 300.0


def shared_part(results: Sequence[SetupResult]) -> dict[str, Any] | None:
    """The report's part on what is shared; None where nothing is.

    Args:
        results: of the campaign's set-ups.

    Returns:
        `gain` and `watches`, drawings; `things`, rows of a table; `found`, sentences on what
        was said to be shared and is not; `apart`, how many boards are in the gain's drawing
        and how many there are.
    """
    # One that was set apart so far that it gives no direction has no figure to draw.
    joint = [
        result
        for result in results
        if result.joined.together is not None and result.row["board_azimuth_u_deg"] is not None
    ]
    if not joint or (joint[0].solved and not joint[1:]):
        return None
    together = joint[0].joined.together
    assert together is not None
    known = [
        each for each in together.known if each.thing.members and not _found_here(each, together)
    ]
    return {
        "gain": gain_plot(joint[:_MOST_ROWS]),
        "shown": min(len(joint), _MOST_ROWS),
        "count": len(joint),
        "watches": [
            (_watch_words(each), watch_plot(each, together))
            for each in known
            if each.thing.kind == "timepiece"
        ],
        "things": [_row(each, together) for each in known if each.thing.kind != "timepiece"],
        "scatter": [
            {"name": str(name), "factor": each.factor, "freedom": each.freedom}
            for name, each in together.scatter.items()
        ],
        "found": [words.finding(each, together) for each in together.findings],
    }


# What sharing gained --------------------------------------------------------------------


def gain_plot(results: Sequence[SetupResult]) -> Markup:
    """Each board's 95 % figure alone and together."""
    pairs = [tuple(COVERAGE_95 * float(result.row[key]) for key in _U_KEYS) for result in results]
    largest = max(max(pair) for pair in pairs)
    per, unit, places = (60.0, "′", 1) if largest < _LARGEST_IN_MINUTES_DEG else (1.0, "°", 2)
    left = min(110.0, max(40.0, *(text_width(_name(r), 11.0) for r in results)))
    frame = Frame(
        left + 6.0,
        18.0,
        WIDTH - left - 52.0,
        _ROW * len(results),
        (0.0, 1.04 * largest * per),
        (0.0, 1.0),
    )
    label = "; ".join(
        f"{_name(r)} alone {figure(a * per, places, unit)}, "
        f"together {figure(t * per, places, unit)}"
        for r, (a, t) in zip(results, pairs, strict=True)
    )
    drawing = Drawing(f"Board's azimuth, 95 per cent: {label}", WIDTH, frame.bottom + 32.0)
    marks = [(v, plain(v)) for v in ticks(*frame.x_range, 6)]
    bottom_axis(drawing, frame, marks, f"the board's azimuth is good to ±, 95 %, {unit}")
    drawing.dot((frame.left + 6.0, 8.0), 3.6, "method-dot")
    drawing.text((frame.left + 14.0, 12.0), "alone", "note")
    drawing.dot((frame.left + 66.0, 8.0), 4.0, "adopted-dot")
    drawing.text((frame.left + 74.0, 12.0), "together", "note")
    for number, (result, (alone, joint)) in enumerate(zip(results, pairs, strict=True)):
        y = frame.top + _ROW * (number + 0.5)
        drawing.text((frame.left - 5.0, y + 4.0), _name(result), "row", "end")
        ends = [(frame.x(value * per), y) for value in (alone, joint)]
        drawing.line(ends[0], ends[1], "method")
        drawing.dot(ends[0], 3.6, "method-dot")
        drawing.dot(ends[1], 4.0, "adopted-dot")
        drawing.text((frame.right + 5.0, y + 4.0), figure(joint * per, places, unit), "row")
    edge(drawing, frame)
    return drawing.markup()


_U_KEYS = ("alone_azimuth_u_deg", "board_azimuth_u_deg")


def _name(result: SetupResult) -> str:
    name = str(result.row["setup"])
    return name if len(name) <= 16 else name[:15] + "…"


# The watches ----------------------------------------------------------------------------


def watch_plot(known: Known, together: Together) -> Markup:
    """A watch's error over the days: its line with the 95 % band, and each board's own find."""
    members = sorted(known.thing.members, key=lambda n: _days(known, together, n))
    days = np.array([_days(known, together, n) for n in members])
    fits = [together.members[n].fit for n in members]
    own = np.array([fit.state.watch_error_s for fit in fits])
    own_95 = COVERAGE_95 * np.sqrt([fit.covariance[WATCH, WATCH] for fit in fits])
    margin = max(0.5, 0.06 * float(np.ptp(days)))
    span = (float(days.min()) - margin, float(days.max()) + margin)
    grid = np.linspace(*span, 41)
    line = known.values[0] + known.values[1] * grid
    band = COVERAGE_95 * np.hypot(known.u[0], known.u[1] * grid)
    # A board that finds its watch badly alone runs off the picture, which stays legible.
    reach = np.minimum(own_95, 1.5 * float(band.max()))
    shown = np.concatenate([line - band, line + band, own - reach, own + reach])
    per, unit = (1.0, "s") if np.abs(shown).max() < _SECONDS else (1 / 60.0, "min")
    low, high = float(shown.min()) * per, float(shown.max()) * per
    room = 0.08 * (high - low) + 1e-6
    frame = Frame(46.0, 20.0, WIDTH - 56.0, 150.0, span, (low - room, high + room))
    name = words.label("timepiece", known.thing.key)
    drawing = Drawing(f"Error of the watch {name} over the days", WIDTH, frame.bottom + 32.0)
    first = min(_noon(together, n) for n in members)
    bottom_axis(drawing, frame, _dates(known, first, span), "date")
    left_axis(
        drawing,
        frame,
        [(v, plain(v)) for v in ticks(*frame.y_range, 5)],
        f"watch minus true time, {unit}",
    )
    outline = [
        *zip(grid.tolist(), ((line + band) * per).tolist(), strict=True),
        *zip(grid[::-1].tolist(), ((line - band) * per)[::-1].tolist(), strict=True),
    ]
    drawing.path([frame.at(x, y) for x, y in outline], "wedge", closed=True)
    for day, value, u in zip(days.tolist(), own * per, own_95 * per, strict=True):
        for run in frame.runs([(day, float(value - u)), (day, float(value + u))]):
            drawing.path(run, "method")
        if frame.holds(day, float(value)):
            drawing.dot(frame.at(day, float(value)), 3.0, "method-dot")
    drawing.path([frame.at(x, y) for x, y in zip(grid, line * per, strict=True)], "adopted")
    edge(drawing, frame)
    return drawing.markup()


def _noon(together: Together, number: int) -> float:
    return together.members[number].board.noon_utc_s


def _days(known: Known, together: Together, number: int) -> float:
    return (_noon(together, number) - known.thing.epoch_s) / DAY_S


def _dates(known: Known, first_utc_s: float, span: tuple[float, float]) -> list[tuple[float, str]]:
    """Ticks at the noons of days, with their dates."""
    start = (first_utc_s - known.thing.epoch_s) / DAY_S
    step = max(1, int(np.ceil((span[1] - span[0]) / 6.0)))
    places = np.arange(start, span[1], step)
    epochs = known.thing.epoch_s + places * DAY_S
    dates = epochs.astype("datetime64[s]").astype("datetime64[D]").astype(str)
    return [(float(x), date[5:]) for x, date in zip(places, dates, strict=True)]


def _watch_words(known: Known) -> str:
    error, rate = known.values
    name = words.label("timepiece", known.thing.key)
    again = " once set anew" if known.thing.anew else ""
    count = len(known.thing.members)
    return (
        f"The watch {name}{again}, {count} set-up{'s' * (count != 1)}: in the middle of its days "
        f"{figure(error, 1, ' s', plus=True)} ± {COVERAGE_95 * known.u[0]:.1f} s against true "
        f"time, and {figure(rate, 2, ' s', plus=True)} ± {COVERAGE_95 * known.u[1]:.2f} s a day "
        "(95 %)."
    )


def _found_here(known: Known, together: Together) -> bool:
    """Whether it is a place that was not known at all: the site's own part tells of it."""
    first = together.members[known.thing.members[0]]
    return known.thing.kind == "place" and first.longitude_prior is not None


# Rods, levels, observers, lines, places -------------------------------------------------


def _row(known: Known, together: Together) -> dict[str, Any]:
    thing = known.thing
    values = [_value(thing.kind, v, u) for v, u in zip(known.values, known.u, strict=True)]
    return {
        "kind": words.CALLED[thing.kind],
        "name": words.label(thing.kind, thing.key),
        "setups": len(thing.members),
        "found": "; ".join(values),
        "of": _OF[thing.kind],
    }


_OF = {
    "rod": "taller than measured",
    "level": "(bias, slope up along the board's x and y)",
    "observer": "of the sun higher than the edge that is stated",
    "line": "true azimuth, by the plumb line",
    "place": "farther north and east",
}


def _value(kind: str, value: float, u: float) -> str:
    u95 = COVERAGE_95 * u
    if kind == "rod":
        return f"{figure(value, 2, ' mm', plus=True)} ± {u95:.2f} mm"
    if kind == "level":
        return f"{figure(np.degrees(value), 3, '°', plus=True)} ± {np.degrees(u95):.3f}°"
    if kind == "line":
        return f"{np.degrees(value) % 360.0:.3f}° ± {np.degrees(u95):.3f}°"
    if kind == "place":
        return f"{figure(np.degrees(value) * 60, 2, '′', plus=True)} ± {np.degrees(u95) * 60:.2f}′"
    return f"{figure(np.degrees(value) * 60, 1, '′', plus=True)} ± {np.degrees(u95) * 60:.1f}′"
