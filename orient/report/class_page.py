"""A class compared, as a page to hand back."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from orient.flags import CAUTIONS
from orient.numbers.tolerances import COVERAGE_95
from orient.pages import page_template, sealed, shared_style
from orient.practice.classes import Truth
from orient.report.drawing import WIDTH, Drawing, Frame, bottom_axis, edge, plain, ticks
from orient.text import counted, figure

#: The stamp of the page.
KIND = "orient class"
_ROW, _LEFT, _TOP = 22.0, 92.0, 8.0
# Lines farther off than this many typical figures stand at the edge of the drawing.
_EDGE = 5.0
_LONGEST_NAME = 14


def class_page(title: str, table: pd.DataFrame, truth: Truth) -> str:
    """The comparison of a class as one page of HTML.

    Args:
        title: of the page.
        table: of `classes.compared`.
        truth: what the lines were compared with.
    """
    rows: list[dict[Any, Any]] = table.to_dict("records")
    page = page_template("report", "class.html.j2").render(
        title=title,
        lead=_lead(table, truth),
        chart=_chart(rows, truth),
        truth=truth,
        by_hand=bool(table["hand_difference_deg"].notna().any()),
        rows=[_shown(row) for row in rows],
        cautions=CAUTIONS,
        style=shared_style(),
    )
    return sealed(page, KIND)


def _lead(table: pd.DataFrame, truth: Truth) -> str:
    lines = int(table["error_deg"].notna().sum())
    good = int((table["times_stated"] <= COVERAGE_95).sum())
    return (
        f"Lines: {lines} of {counted(len(table), 'student')}; {good} of them within the figure "
        f"that they state. They are compared with {truth.words}: true azimuth "
        f"{figure(truth.azimuth_deg, 2, '°')}{_sure(truth)}."
    )


def _sure(truth: Truth) -> str:
    """How surely the truth is known, where that is not taken as exact."""
    return f" ± {figure(COVERAGE_95 * truth.u_deg, 2, '°')} (95 %)" if truth.u_deg else ""


def _shown(row: dict[Any, Any]) -> dict[str, str]:
    return {
        "student": str(row["student"]),
        "line": figure(row["reference_azimuth_deg"], 2, "°"),
        "stated": figure(row["reference_azimuth_95_deg"], 2, "°"),
        "error": figure(row["error_deg"], 2, "°", plus=True),
        "by_hand": figure(row["hand_difference_deg"], 2, "°", plus=True),
        "verdict": row["verdict"],
        "mistake": row["likeliest_mistake"],
    }


def _chart(rows: list[dict[Any, Any]], truth: Truth) -> Any:
    """One row a student: the line's distance from the truth, and its stated figure."""
    stated = [row["reference_azimuth_95_deg"] for row in rows]
    known = [each for each in stated if each == each]
    reach = _EDGE * float(np.median(known)) if known else 1.0
    frame = Frame(
        _LEFT,
        _TOP,
        WIDTH - _LEFT - 12.0,
        _ROW * len(rows),
        (-reach, reach),
        (0.0, float(len(rows))),
    )
    drawing = Drawing(
        "Each student's line less the truth, in degrees, with its stated 95 % figure", WIDTH,
        frame.bottom + 34.0,
    )  # fmt: skip
    own = COVERAGE_95 * truth.u_deg
    drawing.box(frame.x(-own), frame.top, frame.x(own) - frame.x(-own), frame.height, "wedge")
    bottom_axis(
        drawing, frame, [(tick, plain(tick)) for tick in ticks(-reach, reach, 5)], "off by, degrees"
    )
    edge(drawing, frame)
    drawing.line(frame.at(0.0, 0.0), frame.at(0.0, float(len(rows))), "meridian")
    for number, row in enumerate(rows):
        _student(drawing, frame, len(rows) - number - 0.5, row, reach)
    return drawing.markup()


def _student(
    drawing: Drawing, frame: Frame, height: float, row: dict[Any, Any], reach: float
) -> None:
    name = str(row["student"])
    if len(name) > _LONGEST_NAME:
        name = f"{name[: _LONGEST_NAME - 1]}…"
    y = frame.y(height)
    drawing.text((frame.left - 6.0, y + 4.0), name, "tick", "end")
    error, stated = row["error_deg"], row["reference_azimuth_95_deg"]
    if error != error:
        drawing.text((frame.x(0.0) + 6.0, y + 4.0), "no line", "note")
    elif abs(error) > reach:
        side = reach if error > 0 else -reach
        inward = frame.x(0.93 * side)
        drawing.arrow((inward, y), (frame.x(side), y), "line")
        place = (inward + (-6.0 if error > 0 else 6.0), y + 4.0)
        text = figure(error, 1, "°", plus=True)
        drawing.text(place, text, "note", "end" if error > 0 else "start")
    else:
        low, high = (max(-reach, error - stated), min(reach, error + stated))
        drawing.line((frame.x(low), y), (frame.x(high), y), "line")
        drawing.dot((frame.x(error), y), 3.0, "mark")
