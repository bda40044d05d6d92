"""Setting out from one line: its figures as tables, words and a diagram."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from orient.numbers import settingout
from orient.numbers.angles import wrap_360
from orient.numbers.settingout import ReferenceLine, Taping
from orient.numbers.tolerances import COVERAGE_95
from orient.pages import page_template
from orient.report.taping import taping_drawings
from orient.text import left_to_right

_REACH, _REFERENCE_REACH = 150.0, 112.0
_LONGEST_NAME = 40


def setting_out_css() -> str:
    """The style of the section, once for a page however many sections it has."""
    return str(page_template("report", "settingout.css").render())


def setting_out_html(line: ReferenceLine, taping: Taping | None = None) -> str:
    """The setting-out of one reference line as an HTML section, to stand in a larger page.

    Args:
        line: the reference line; its texts are escaped here.
        taping: how well the tape is laid; careful work by hand when None.

    Returns:
        One `<section>`, styled by `setting_out_css`.
    """
    return page_template("report", "settingout.html").render(**_figures(line, taping or Taping()))


def in_words(line: ReferenceLine, taping: Taping | None = None) -> list[str]:
    """What to do on the ground, step by step, in plain words; ± figures are at 95 %."""
    taping = taping or Taping()
    table = settingout.offsets(line, taping)
    true = table[(table["north"] == "true") & (table["distance_m"] == 20.0)].iloc[0]
    turn = settingout.turns(line).iloc[settingout.CARDINALS.index(true["cardinal"])]
    square_95 = COVERAGE_95 * settingout.default_right_angle_u_deg(taping)
    check = settingout.closing_check(taping, radii_m=(20.0,))
    steps = [
        f"Stand over the station, where the rod stood, and sight {line.reference_name}.",
        f"The nearest true line is {true['cardinal']}: turn {turn['turn_deg']:.2f}° to the "
        f"{turn['side']} (±{COVERAGE_95 * turn['turn_u_deg']:.2f}°, and what your instrument "
        "adds).",
        f"With a tape alone: peg 20 m toward {line.reference_name}; from that peg, square off "
        f"{true['offset_mm']:.0f} mm to the {true['side']}. That point lies on true "
        f"{true['cardinal']} (±{COVERAGE_95 * true['peg_u_mm']:.0f} mm) and "
        f"{true['along_m']:.3f} m from the station: tape that as a check.",
        f"Or swing 20.000 m from the station and {true['chord_mm']:.0f} mm from the 20 m peg, on "
        f"the {true['side']}: where the arcs meet is on true {true['cardinal']} too "
        f"(±{COVERAGE_95 * true['chord_peg_u_mm']:.0f} mm).",
        "Put the opposite peg in line through the station. Raise the other two by a right angle: "
        "pegs on the line 6 m either way from the station, 10 m swung from both; the arcs meet "
        f"8 m out, square to the line (±{square_95:.2f}°).",
        f"Close the four pegs at 20 m: sides {check['length_m'].iloc[0]:.3f} m, diagonals "
        f"{check['length_m'].iloc[-1]:.3f} m. Set out again when a side is off by more than "
        f"{check['accept_all_mm'].iloc[:4].max():.0f} mm or a diagonal by more than "
        f"{check['accept_all_mm'].iloc[4:].max():.0f} mm.",
    ]
    return steps + _grid_words(line) + _compass_words(line)


def _grid_words(line: ReferenceLine) -> list[str]:
    shift = settingout.grid_north_offsets(line, (20.0,))
    if shift.empty:
        return []
    side = {"right": "east", "left": "west"}[shift["side"].iloc[0]]
    return [
        f"Grid north lies {abs(line.convergence_deg):.2f}° {side} of true north: from the point "
        f"20 m north, {shift['offset_mm'].iloc[0]:.0f} mm to the {side}."
    ]


def _compass_words(line: ReferenceLine) -> list[str]:
    bearing, u_deg = settingout.compass_should_read(line)
    if not np.isfinite(bearing + u_deg):
        return []
    return [
        f"A compass at the station should read {bearing:.1f}° toward {line.reference_name} "
        f"(±{COVERAGE_95 * u_deg:.1f}°, local rock and iron apart)."
    ]


def setting_out_svg(line: ReferenceLine) -> str:
    """Plan of the lines about the station, true north up: the mark, the nearest line, the peg."""
    nearest = _nearest_true(_rows(settingout.turns(line)))
    azimuth, wanted = line.true_azimuth_deg, nearest["true_azimuth_deg"]
    reach = _REFERENCE_REACH * np.cos(np.radians(nearest["turn_deg"])) * 0.75
    foot, peg = (
        _point(azimuth, reach),
        _point(wanted, reach / np.cos(np.radians(nearest["turn_deg"]))),
    )
    # A wedge thinner than a hair shows nothing: never drawn below half a degree.
    half = max(COVERAGE_95 * line.true_azimuth_u_deg, 0.5)
    left, right = _point(azimuth - half, _REFERENCE_REACH), _point(azimuth + half, _REFERENCE_REACH)
    tip = _point(azimuth, _REFERENCE_REACH)
    return page_template("report", "settingout.svg").render(
        label=(
            f"Plan, true north up: the reference mark R at {azimuth:.1f}°, true "
            f"{nearest['cardinal']} {nearest['turn_deg']:.1f}° to the {nearest['side']} of it."
        ),
        grid=_grid_ray(line.convergence_deg) if np.isfinite(line.convergence_deg) else None,
        wedge=f"M0 0L{left[0]} {left[1]}L{right[0]} {right[1]}Z",
        reference={"x": tip[0], "y": tip[1]},
        arc=_arc(azimuth, wanted, nearest["side"] == "right"),
        offset=f"M{foot[0]} {foot[1]}L{peg[0]} {peg[1]}",
    )


def _nearest_true(turns: list[dict[str, Any]]) -> dict[str, Any]:
    return min((row for row in turns if row["north"] == "true"), key=lambda row: row["turn_deg"])


def _grid_ray(convergence_deg: float) -> dict[str, Any]:
    """Grid north, its name to the side away from true north so that the two never meet."""
    side = -1 if convergence_deg < 0 else 1
    x, y = _point(convergence_deg, _REACH)
    name_x, name_y = _point(convergence_deg, _REACH - 8)
    return {
        "x": x,
        "y": y,
        "text_x": round(name_x + side * 6, 2),
        "text_y": name_y,
        "west": side < 0,
    }


def _arc(start_deg: float, end_deg: float, clockwise: bool, radius: float = 60.0) -> str:
    first, last = _point(start_deg, radius), _point(end_deg, radius)
    sweep = 1 if clockwise else 0
    return f"M{first[0]} {first[1]}A{radius} {radius} 0 0 {sweep} {last[0]} {last[1]}"


def _point(azimuth_deg: float, radius: float) -> tuple[float, float]:
    azimuth = np.radians(azimuth_deg)
    return round(float(radius * np.sin(azimuth)), 2), round(float(-radius * np.cos(azimuth)), 2)


def _figures(line: ReferenceLine, taping: Taping) -> dict[str, Any]:
    turned = settingout.turns(line)
    turned["turn_95_deg"] = COVERAGE_95 * turned["turn_u_deg"]
    turned["clockwise_dm"] = [_degrees_minutes(angle) for angle in turned["clockwise_deg"]]
    turns = _rows(turned)
    offsets = settingout.offsets(line, taping)
    offsets["peg_95_mm"] = COVERAGE_95 * offsets["peg_u_mm"]
    offsets["chord_95_mm"] = COVERAGE_95 * offsets["chord_peg_u_mm"]
    bearing, bearing_u = settingout.compass_should_read(line)
    has_grid = bool(np.isfinite(line.convergence_deg))
    return {
        "line": line,
        "azimuth_95_deg": COVERAGE_95 * line.true_azimuth_u_deg,
        "grid_bearing_deg": float(wrap_360(line.true_azimuth_deg - line.convergence_deg))
        if has_grid
        else None,
        "compass": (bearing, COVERAGE_95 * bearing_u) if np.isfinite(bearing + bearing_u) else None,
        "has_grid": has_grid,
        "nearest": _nearest_true(turns),
        "mark": _short(line.reference_name),
        "words": _words(line, taping),
        "turns": turns,
        "offsets": [
            (str(north), _rows(part)) for north, part in offsets.groupby("north", sort=False)
        ],
        "grid_north": _rows(settingout.grid_north_offsets(line)),
        "taped": taping_drawings(taping),
        "diagram": _safe(setting_out_svg(line)),
    }


def _short(name: str) -> str:
    """A name for the running text; the heading has it whole."""
    return name if len(name) <= _LONGEST_NAME else name[: _LONGEST_NAME - 1].rstrip() + "…"


def _words(line: ReferenceLine, taping: Taping) -> list[str]:
    name = _short(line.reference_name)
    if not left_to_right(name):
        # Isolated, a name that is written from the right leaves the figures beside it in order.
        name = f"\N{FIRST STRONG ISOLATE}{name}\N{POP DIRECTIONAL ISOLATE}"
    steps = in_words(replace(line, reference_name=name), taping)
    # A figure keeps its unit, and the sign before it, on its line.
    return [re.sub(r"(?<=±) | (?=mm?\b)", "\N{NO-BREAK SPACE}", step) for step in steps]


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    names = [str(name) for name in table]
    columns = (table[name].tolist() for name in names)
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _degrees_minutes(angle_deg: float) -> str:
    degrees, minutes = divmod(round(angle_deg * 60.0), 60)
    return f"{degrees % 360}°{minutes:02d}′"


def _safe(markup: str) -> Any:
    from markupsafe import Markup

    return Markup(markup)
